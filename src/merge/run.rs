//! The merge from first look to finished map.

use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use super::canvas::Canvas;
use super::compose::advice;
use super::hot::{self, HotMap, Say};
use super::job::{Job, Open, usable_inputs};
use super::photometry::{self, Exposed, Photometry};
use super::placing::{coarse_turns, registered, swing};
use super::second_pass::Ready;
use super::survey::{self, Survey};
use super::{ExposureLayer, MergeError, MergeInput, MergeOptions, Merged};

/// Takes the layer of each exposure as soon as it is done; `None` where no layers are wanted, which takes less time and
/// memory.
pub type Layers<'a> = Option<&'a mut (dyn FnMut(ExposureLayer) + 'a)>;

/// Frames held decoded at a time while they are looked at: nothing else of size is in memory yet (our choice: four of 24
/// megapixels are 300 MB, and keep as many cores busy).
const LOOKED_AT_ONCE: usize = 4;

/// Merges frames of totality, given in any order, into one radiance map on the Sun's frame.
///
/// `open` gives the decoded frame of an input by its index; it is called twice per input at most, from any thread, and
/// four frames at most are held at a time. `layers` takes the frames of each exposure averaged, from the longest to the
/// shortest. `progress` is told how many steps of how many are done.
///
/// A frame that cannot be opened or that disagrees with the others is left out with a notice. One frame alone is
/// merged too: its radiance with the clipped parts as they are.
///
/// # Errors
/// [`MergeError`] when there is nothing to merge.
pub fn merge(
    inputs: &[MergeInput],
    open: Open,
    options: &MergeOptions,
    layers: Layers,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Merged, MergeError> {
    let usable = usable_inputs(inputs)?;
    let mut notices = Vec::new();
    let job = Job::new(inputs, &usable, options);
    let steps = 2 * usable.len() + 1;
    let pictured = options.register && job.len() > 1;
    let mut surveys = look(&job, open, pictured, &|done| progress(done, steps))?;
    if pictured {
        turn_cells(&job, &mut surveys);
    }
    let photometry = measure(&job, &surveys, options);
    let places = registered(&job, &surveys, &photometry, options, &mut notices);
    let used = used_frames(&job, &surveys, &photometry);
    let canvas = Canvas::new(&job, &surveys, &places, &used, options);
    let hot = shared_hot(&job, &surveys);
    let frames = Ready {
        hot: &hot,
        job: &job,
        photometry: &photometry,
        places: &places,
        used: &used,
        canvas: &canvas,
    };
    let stacked = frames.stacked(open, layers, &|done| progress(usable.len() + done, steps));
    let mut merged = frames.compose(stacked, inputs);
    merged.notices.splice(0..0, notices);
    merged.notices.extend(advice(&job, &surveys, &used));
    progress(steps, steps);
    Ok(merged)
}

/// Brings the photometric cells of frames that are turned against the others into place.
fn turn_cells(job: &Job, surveys: &mut [Result<Survey, String>]) {
    for (i, turn_rad) in coarse_turns(job, surveys).into_iter().enumerate() {
        if let (Ok(survey), true) = (&mut surveys[i], turn_rad.abs() > 0.0) {
            survey.turn_cells(turn_rad, swing(job, i, turn_rad), &job.grids);
        }
    }
}

/// The sensor's hot pixels, from all frames that could be opened.
fn shared_hot(job: &Job, surveys: &[Result<Survey, String>]) -> HotMap {
    let says: Vec<Say> = surveys
        .iter()
        .zip(&job.inputs)
        .filter_map(|(survey, input)| {
            let sun = input.sun;
            Some(Say {
                specks: &survey.as_ref().ok()?.specks,
                sun: [sun.x_px, sun.y_px, sun.radius_px],
            })
        })
        .collect();
    hot::shared(&says)
}

/// The first look at every frame; an entry is the trouble where a frame could not be opened.
fn look(
    job: &Job,
    open: Open,
    pictured: bool,
    progress: &(dyn Fn(usize) + Sync),
) -> Result<Vec<Result<Survey, String>>, MergeError> {
    let (next, done) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let lane = |_| {
        let mut found = Vec::new();
        loop {
            let i = next.fetch_add(1, Ordering::Relaxed);
            if i >= job.len() {
                return found;
            }
            found.push((i, look_at(job, open, pictured, i)));
            progress(1 + done.fetch_add(1, Ordering::Relaxed));
        }
    };
    let lanes: Vec<Vec<(usize, Result<Survey, String>)>> =
        (0..LOOKED_AT_ONCE).into_par_iter().map(lane).collect();
    let mut all: Vec<(usize, Result<Survey, String>)> = lanes.into_iter().flatten().collect();
    all.sort_by_key(|(i, _)| *i);
    let out: Vec<Result<Survey, String>> = all.into_iter().map(|(_, found)| found).collect();
    if let (Some(Err(first)), true) = (out.first(), out.iter().all(Result::is_err)) {
        return Err(MergeError::Unreadable {
            tried: out.len(),
            first: first.clone(),
        });
    }
    Ok(out)
}

fn look_at(job: &Job, open: Open, pictured: bool, i: usize) -> Result<Survey, String> {
    let frame = open(job.indices[i])?;
    let (place, moon, sigma) = (&job.places[i], &job.inputs[i].moon, job.sigma_px(i));
    Ok(survey::survey(
        &frame, place, moon, sigma, &job.grids, pictured,
    ))
}

/// Exposures and response. Entries of frames that were not opened keep their header's exposure.
fn measure(job: &Job, surveys: &[Result<Survey, String>], options: &MergeOptions) -> Photometry {
    let any_known = job.stops.iter().any(Option::is_some);
    let seen: Vec<usize> = (0..job.len())
        .filter(|&i| surveys[i].is_ok() && (job.stops[i].is_some() || !any_known))
        .collect();
    let exposed: Vec<Exposed> = seen
        .iter()
        .filter_map(|&i| {
            Some(Exposed {
                survey: surveys[i].as_ref().ok()?,
                stops: job.stops[i].unwrap_or(0.0),
                known: job.stops[i].is_some(),
                blur_radii: 2.0 * job.sigma_px(i) / job.inputs[i].sun.radius_px,
            })
        })
        .collect();
    let found = photometry::solve(&exposed, options.refine_exposures, options.recover_response);
    let mut out = Photometry {
        stops: job.stops.iter().map(|s| s.unwrap_or(0.0)).collect(),
        odd: vec![None; job.len()],
        ..found
    };
    for (k, &i) in seen.iter().enumerate() {
        out.stops[i] = found.stops[k];
        out.odd[i].clone_from(&found.odd[k]);
    }
    for (i, survey) in surveys.iter().enumerate() {
        if let Err(trouble) = survey {
            out.odd[i] = Some(format!("it cannot be opened: {trouble}"));
        } else if any_known && job.stops[i].is_none() {
            out.odd[i] = Some("its header has no exposure time".into());
        }
    }
    out
}

/// Positions of the frames that are stacked, from the longest exposure to the shortest.
fn used_frames(
    job: &Job,
    surveys: &[Result<Survey, String>],
    photometry: &Photometry,
) -> Vec<usize> {
    let mut used: Vec<usize> = (0..job.len())
        .filter(|&i| photometry.odd[i].is_none())
        .collect();
    if used.is_empty() {
        // Frames that all disagree make no merge: the one whose Sun is best known stands for itself.
        let seen = (0..job.len()).filter(|&i| surveys[i].is_ok());
        used = seen
            .min_by(|&a, &b| job.sigma_px(a).total_cmp(&job.sigma_px(b)).then(a.cmp(&b)))
            .into_iter()
            .collect();
    }
    // By the header first, so that frames of one exposure follow each other.
    let stops = |i: usize| job.stops[i].unwrap_or(photometry.stops[i]);
    let settings = |i: usize| {
        let e = &job.inputs[i].exposure;
        [e.iso, e.f_number].map(|v| v.map_or(0, f64::to_bits))
    };
    used.sort_by(|&a, &b| {
        stops(b)
            .total_cmp(&stops(a))
            .then_with(|| settings(a).cmp(&settings(b)))
            .then(a.cmp(&b))
    });
    used
}
