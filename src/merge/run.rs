//! The merge from first look to finished map.

use std::sync::Arc;

use rayon::prelude::*;

use super::canvas::Canvas;
use super::compose::advice;
use super::job::{Job, usable_inputs};
use super::photometry::{self, Exposed, Photometry};
use super::placing::registered;
use super::second_pass::Ready;
use super::survey::{self, Survey};
use super::{MergeError, MergeInput, MergeOptions, Merged};
use crate::raster::Frame;

/// Opens the frame of an input by its index; shared, so that frames that are held already are lent rather than copied.
pub(super) type Open<'a> = &'a (dyn Fn(usize) -> Result<Arc<Frame>, String> + Sync);

/// Frames held decoded at a time.
const FRAMES_AT_ONCE: usize = 2;

/// Merges frames of totality, given in any order, into one radiance map on the Sun's frame.
///
/// `open` gives the decoded frame of an input by its index; it is called twice per input at most, from any thread, and
/// two frames at most are held at a time. `progress` is told how many steps of how many are done.
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
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Merged, MergeError> {
    let usable = usable_inputs(inputs)?;
    let mut notices = Vec::new();
    let job = Job::new(inputs, &usable, options);
    let steps = 2 * usable.len() + 1;
    let pictured = options.register && job.len() > 1;
    let surveys = look(&job, open, pictured, &|done| progress(done, steps))?;
    let photometry = measure(&job, &surveys, options);
    let places = registered(&job, &surveys, &photometry, options, &mut notices);
    let used = used_frames(&job, &surveys, &photometry);
    let canvas = Canvas::new(&job, &surveys, &places, &used, options);
    let frames = Ready {
        job: &job,
        photometry: &photometry,
        places: &places,
        used: &used,
        canvas: &canvas,
    };
    let stacked = frames.stacked(open, &|done| progress(usable.len() + done, steps));
    let mut merged = frames.compose(stacked, inputs);
    merged.notices.splice(0..0, notices);
    merged.notices.extend(advice(&job, &surveys, &used));
    progress(steps, steps);
    Ok(merged)
}

/// The first look at every frame; an entry is the trouble where a frame could not be opened.
fn look(
    job: &Job,
    open: Open,
    pictured: bool,
    progress: &(dyn Fn(usize) + Sync),
) -> Result<Vec<Result<Survey, String>>, MergeError> {
    let mut out: Vec<Result<Survey, String>> = Vec::with_capacity(job.len());
    let positions: Vec<usize> = (0..job.len()).collect();
    for few in positions.chunks(FRAMES_AT_ONCE) {
        let found: Vec<_> = few
            .par_iter()
            .map(|&i| {
                let frame = open(job.indices[i])?;
                let moon = &job.inputs[i].moon;
                let sigma = job.sigma_px(i);
                Ok(survey::survey(
                    &frame,
                    &job.places[i],
                    moon,
                    sigma,
                    &job.grids,
                    pictured,
                ))
            })
            .collect();
        out.extend(found);
        progress(out.len());
    }
    if let (Some(Err(first)), true) = (out.first(), out.iter().all(Result::is_err)) {
        return Err(MergeError::Unreadable {
            tried: out.len(),
            first: first.clone(),
        });
    }
    Ok(out)
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
        used = (0..job.len()).filter(|&i| surveys[i].is_ok()).collect();
    }
    let stops = &photometry.stops;
    used.sort_by(|&a, &b| stops[b].total_cmp(&stops[a]).then(a.cmp(&b)));
    used
}
