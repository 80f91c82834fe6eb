//! Every frame's place on the Sun's frame, from limb fit and corona.

use rayon::prelude::*;

use super::MergeOptions;
use super::job::{Job, median};
use super::log_corona::log_corona;
use super::photometry::Photometry;
use super::place::Placement;
use super::register::{self, Found};
use super::response::Response;
use super::rings;
use super::survey::Survey;
use crate::domain::Notice;

/// How much of the way to no shift a frame may be off its limb fit and still be believed, in solar radii.
const FARTHEST_SHIFT_RADII: f64 = 0.06;

/// Mean square left on the corona over that on the limb's place from where the corona is followed against the sigmas (our
/// choice: well below what chance makes of some thousand places).
const DOUBTFUL_GAIN: f64 = 0.7;

/// Where one frame was put and why.
#[derive(Clone, Copy, Debug)]
pub(super) struct Placed {
    pub(super) place: Placement,
    pub(super) shift_px: [f64; 2],
    /// The Moon's shift: the Sun's less what a turn about the Moon moves the Sun by.
    pub(super) moon_shift_px: [f64; 2],
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
    let common_turn = median(found.iter().flatten().map(|f| f.turn_rad));
    let common = common_offset(job, &found, pitch, common_turn);
    (0..job.len())
        .map(|i| {
            let placed = combined(job, i, found[i], common, common_turn);
            if let Some((off, sigma)) = placed.corona {
                let expected = 5.0 * sigma.hypot(job.sigma_px(i)) + 1.0;
                if off[0].hypot(off[1]) > expected {
                    let [x, y] = placed.shift_px;
                    let followed = match x.hypot(y) > 0.5 * off[0].hypot(off[1]) {
                        true => "corona",
                        false => "limb",
                    };
                    notices.push(
                        Notice::note(format!(
                            "the corona puts the Sun {:.1} px (one sigma {:.1}) from where the limb does (one sigma {:.1}); the {followed} was followed, which lies better on the other frames",
                            off[0].hypot(off[1]), sigma, job.sigma_px(i)
                        ))
                        .about(&job.inputs[i].name),
                    );
                }
            }
            placed
        })
        .collect()
}

/// Turns of frames against each other in radians that the photometry has to know of, from the rings about the limb's Sun; 0
/// where they are small or nothing tells. Each frame is held against the nearest in exposure that was held before.
pub(super) fn coarse_turns(job: &Job, surveys: &[Result<Survey, String>]) -> Vec<f64> {
    /// Smaller turns shift cells of structure by less than their size (a cell is 3.6 degrees wide at one radius).
    const SMALL_RAD: f64 = 0.0175;
    let coronas: Vec<_> = surveys
        .par_iter()
        .map(|s| {
            let picture = s.as_ref().ok()?.picture.as_ref()?;
            log_corona(picture, &Response::IDENTITY)
        })
        .collect();
    let worth = |i: usize| coronas[i].as_ref().map_or(0.0, register::worth);
    let stops = |i: usize| job.stops[i].unwrap_or(0.0);
    let shown: Vec<usize> = (0..coronas.len()).filter(|&i| worth(i) > 0.0).collect();
    let mut turns = vec![0.0; coronas.len()];
    let Some(&best) = shown
        .iter()
        .max_by(|&&a, &&b| worth(a).total_cmp(&worth(b)))
    else {
        return turns;
    };
    let mut order = shown.clone();
    let away = |i: usize, from: usize| (stops(i) - stops(from)).abs();
    order.sort_by(|&a, &b| away(a, best).total_cmp(&away(b, best)).then(a.cmp(&b)));
    let mut held = vec![best];
    for i in order.into_iter().filter(|&i| i != best) {
        let near = held
            .iter()
            .min_by(|&&a, &&b| away(i, a).total_cmp(&away(i, b)));
        if let (Some(&near), Some(corona)) = (near, &coronas[i])
            && let Some(template) = &coronas[near]
            && let Some(turn) = rings::turn(template, corona, job.grids.side)
        {
            turns[i] = turns[near] + turn;
            held.push(i);
        }
    }
    let common = median(turns.iter().copied());
    turns
        .into_iter()
        .map(|turn| turn - common)
        .map(|turn| if turn.abs() > SMALL_RAD { turn } else { 0.0 })
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
            log_corona(s.picture.as_ref()?, &photometry.response)
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
pub(super) fn common_offset(
    job: &Job,
    found: &[Option<Found>],
    pitch: f64,
    common_turn_rad: f64,
) -> [f64; 2] {
    let mut sum = [0.0; 3];
    for (i, f) in found.iter().enumerate() {
        if let Some(f) = f {
            let w = job.sigma_px(i).powi(-2);
            let swung = swing(job, i, own_turn(f, common_turn_rad));
            sum[0] += w * (f.shift[0] * pitch - swung[0]);
            sum[1] += w * (f.shift[1] * pitch - swung[1]);
            sum[2] += w;
        }
    }
    if sum[2] > 0.0 {
        [sum[0] / sum[2], sum[1] / sum[2]]
    } else {
        [0.0; 2]
    }
}

/// A frame's turn beyond what all share, where that is more than chance.
fn own_turn(found: &Found, common_turn_rad: f64) -> f64 {
    let turn = found.turn_rad - common_turn_rad;
    let turned = turn.abs() > 3.0 * found.turn_sigma_rad;
    if turned { turn } else { 0.0 }
}

/// What a turn about the Moon moves the Sun by, on the canvas.
pub(super) fn swing(job: &Job, i: usize, turn_rad: f64) -> [f64; 2] {
    let moon = &job.inputs[i].moon;
    let [x, y] = job.places[i].to_canvas(moon.x_px, moon.y_px);
    // The Sun lies at the canvas's origin, the Moon at (x, y) from it.
    let (sin, cos) = turn_rad.sin_cos();
    [x - (x * cos - y * sin), y - (x * sin + y * cos)]
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
            moon_shift_px: [0.0; 2],
        };
    };
    let pitch = job.grids.pitch_px;
    let turn_rad = own_turn(&found, common_turn_rad);
    // The limb gave the Moon; the Sun was computed from it in a direction that the turn says was off by so much.
    let swung = swing(job, i, turn_rad);
    let off = [0, 1].map(|k| found.shift[k] * pitch - common[k] - swung[k]);
    // Never believed beyond a fiftieth of a pixel: systematic errors of interpolation and masks remain.
    let sigma = (found.sigma * pitch).max(0.02);
    let far = off[0].hypot(off[1]) > 5.0 * sigma.hypot(limb);
    let share = if far {
        // Sigmas that cannot both be right: the surer one, unless it lies worse on the other frames.
        let corona_fits = found.left < DOUBTFUL_GAIN * found.left_unmoved;
        f64::from(u8::from(
            corona_fits || (sigma < limb && found.left < found.left_unmoved),
        ))
    } else {
        limb.powi(2) / (limb.powi(2) + sigma.powi(2))
    };
    let on_frame = |canvas: [f64; 2]| {
        let [x, y] = given.nudged(canvas, 0.0).frame_centre();
        [x - given.frame_centre()[0], y - given.frame_centre()[1]]
    };
    let moved = off.map(|v| v * share);
    let sun = [moved[0] + swung[0], moved[1] + swung[1]];
    Placed {
        place: given.nudged(sun, turn_rad),
        shift_px: on_frame(sun),
        moon_shift_px: on_frame(moved.map(|v| v * job.moon_share(i))),
        corona: Some((on_frame([off[0] + swung[0], off[1] + swung[1]]), sigma)),
        sigma_px: (limb.powi(-2) + sigma.powi(-2)).powf(-0.5),
        turn_rad,
    }
}
