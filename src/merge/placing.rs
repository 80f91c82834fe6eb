//! Every frame's place on the Sun's frame, from limb fit and corona.

use rayon::prelude::*;

use super::MergeOptions;
use super::job::{Job, median};
use super::photometry::Photometry;
use super::place::Placement;
use super::register::{self, Found};
use super::survey::Survey;
use crate::domain::Notice;

/// How much of the way to no shift a frame may be off its limb fit and still be believed, in solar radii.
const FARTHEST_SHIFT_RADII: f64 = 0.06;

/// Where one frame was put and why.
#[derive(Clone, Copy, Debug)]
pub(super) struct Placed {
    pub(super) place: Placement,
    pub(super) shift_px: [f64; 2],
    pub(super) corona: Option<([f64; 2], f64)>,
    pub(super) sigma_px: f64,
    pub(super) turn_rad: f64,
}

/// Registers on the corona and combines that with the limb fits by their errors.
pub(super) fn registered(
    job: &Job,
    surveys: &[Result<Survey, String>],
    photometry: &Photometry,
    options: &MergeOptions,
    notices: &mut Vec<Notice>,
) -> Vec<Placed> {
    let found = if options.register && job.len() > 1 {
        correlated(job, surveys, photometry)
    } else {
        vec![None; job.len()]
    };
    let pitch = job.grids.pitch_px;
    let common = common_offset(job, &found, pitch);
    let common_turn = median(found.iter().flatten().map(|f| f.turn_rad));
    (0..job.len())
        .map(|i| {
            let placed = combined(job, i, found[i], common, common_turn);
            if let Some((off, sigma)) = placed.corona {
                let expected = 5.0 * sigma.hypot(job.sigma_px(i)) + 1.0;
                if off[0].hypot(off[1]) > expected {
                    notices.push(
                        Notice::note(format!(
                            "the corona puts the Sun {:.1} px from where the limb does; the corona was followed",
                            off[0].hypot(off[1])
                        ))
                        .about(&job.inputs[i].name),
                    );
                }
            }
            placed
        })
        .collect()
}

pub(super) fn correlated(
    job: &Job,
    surveys: &[Result<Survey, String>],
    photometry: &Photometry,
) -> Vec<Option<Found>> {
    let coronas: Vec<_> = surveys
        .par_iter()
        .enumerate()
        .map(|(i, s)| {
            let s = s.as_ref().ok().filter(|_| photometry.odd[i].is_none())?;
            register::log_corona(s.picture.as_ref()?, &photometry.response)
        })
        .collect();
    let worth: Vec<f64> = coronas
        .iter()
        .map(|c| c.as_ref().map_or(0.0, register::worth))
        .collect();
    let stops = &photometry.stops;
    let best = (0..worth.len()).fold(0, |best, i| if worth[i] > worth[best] { i } else { best });
    let mut order: Vec<usize> = (0..worth.len()).collect();
    let away = |i: usize| (stops[i] - stops[best]).abs();
    order.sort_by(|&a, &b| {
        (b == best)
            .cmp(&(a == best))
            .then(away(a).total_cmp(&away(b)))
            .then(a.cmp(&b))
    });
    let radius_px = job.inputs[job.reference].sun.radius_px;
    let limit = (FARTHEST_SHIFT_RADII * radius_px).max(8.0) / job.grids.pitch_px;
    register::register(&coronas, job.grids.side, &order, limit)
}

/// The corona gives places only relative to each other; the limb fits say where all of it lies: their weighted mean.
pub(super) fn common_offset(job: &Job, found: &[Option<Found>], pitch: f64) -> [f64; 2] {
    let mut sum = [0.0; 3];
    for (i, f) in found.iter().enumerate() {
        if let Some(f) = f {
            let w = job.sigma_px(i).powi(-2);
            sum[0] += w * f.shift[0] * pitch;
            sum[1] += w * f.shift[1] * pitch;
            sum[2] += w;
        }
    }
    if sum[2] > 0.0 {
        [sum[0] / sum[2], sum[1] / sum[2]]
    } else {
        [0.0; 2]
    }
}

/// One frame's place from limb and corona, weighted by their errors.
pub(super) fn combined(
    job: &Job,
    i: usize,
    found: Option<Found>,
    common: [f64; 2],
    common_turn_rad: f64,
) -> Placed {
    let given = job.places[i];
    let limb = job.sigma_px(i);
    let Some(found) = found else {
        return Placed {
            place: given,
            shift_px: [0.0; 2],
            corona: None,
            sigma_px: limb,
            turn_rad: 0.0,
        };
    };
    let pitch = job.grids.pitch_px;
    let off = [0, 1].map(|k| found.shift[k] * pitch - common[k]);
    // Never believed beyond a fiftieth of a pixel: systematic errors of interpolation and masks remain.
    let sigma = (found.sigma * pitch).max(0.02);
    let far = off[0].hypot(off[1]) > 5.0 * sigma.hypot(limb);
    let share = if far {
        1.0
    } else {
        limb.powi(2) / (limb.powi(2) + sigma.powi(2))
    };
    let turn = found.turn_rad - common_turn_rad;
    let turned = turn.abs() > 3.0 * found.turn_sigma_rad;
    let turn_rad = if turned { turn } else { 0.0 };
    let on_frame = |canvas: [f64; 2]| {
        let [x, y] = given.nudged(canvas, 0.0).frame_centre();
        [x - given.frame_centre()[0], y - given.frame_centre()[1]]
    };
    Placed {
        place: given.nudged(off.map(|v| v * share), turn_rad),
        shift_px: on_frame(off.map(|v| v * share)),
        corona: Some((on_frame(off), sigma)),
        sigma_px: (limb.powi(-2) + sigma.powi(-2)).powf(-0.5),
        turn_rad,
    }
}
