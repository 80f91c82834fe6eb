//! Looks at every frame: first at a few of each body to learn the size of the Sun, then at all with that known.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::{PipelineError, Watch};
use crate::disc::{self, DiscHint, DiscReport};
use crate::domain::{CameraId, DiscFit, Limb, Shot};
use crate::raster::{self, Frame, Reading};

/// Frames of a body and focal length that are looked at first.
const SAMPLE: usize = 12;

/// Least arc of solar limb, in degrees, for a frame to have a say in the shared radius.
const LEAST_ARC_DEG: f64 = 100.0;

/// Least relative sigma of the shared radius: seeing, refraction and focus change it from frame to frame (from memory).
const LEAST_RADIUS_SIGMA: f64 = 0.002;

/// What came of looking at one frame.
#[derive(Clone, Debug)]
pub(crate) enum Seen {
    /// Not looked at: its pixels are not decoded, or it is of another day.
    No,
    /// Looked at, with the squeeze of the disc that was taken into account, if one was.
    Yes(Box<DiscReport>, Option<f64>),
    /// It could not be decoded.
    Broken(String),
}

impl Seen {
    /// The report, where the frame was looked at.
    pub(crate) fn report(&self) -> Option<&DiscReport> {
        match self {
            Self::Yes(report, _) => Some(report),
            Self::No | Self::Broken(_) => None,
        }
    }

    /// Height over width of the disc that was taken into account in fitting.
    pub(crate) fn squeeze(&self) -> Option<f64> {
        match self {
            Self::Yes(_, squeeze) => *squeeze,
            Self::No | Self::Broken(_) => None,
        }
    }

    /// The discs, where some were found.
    pub(crate) fn fit(&self) -> Option<&DiscFit> {
        self.report()?.fit.as_ref().ok()
    }
}

/// Frames that share one scale: same body, focal length and picture size.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct ScaleKey {
    camera: Option<CameraId>,
    focal_tenths_mm: Option<i64>,
    sides_px: Option<(u32, u32)>,
}

/// The scale group of a shot.
pub(crate) fn scale_key(shot: &Shot) -> ScaleKey {
    let sides = shot.width_px.zip(shot.height_px);
    ScaleKey {
        camera: shot.camera.clone(),
        focal_tenths_mm: shot.exposure.focal_mm.map(|mm| (mm * 10.0).round() as i64),
        sides_px: sides.map(|(w, h)| (w.max(h), w.min(h))),
    }
}

/// Whether our decoders read the pixels of a file.
pub(crate) fn has_pixels(shot: &Shot) -> bool {
    raster::reads_pixels(shot.file.format)
}

/// Does something with a frame while it is decoded.
pub(crate) type Keep<'a> = &'a (dyn Fn(&Shot, &Frame, &DiscReport) + Sync);

/// What a few frames of each scale say before all are looked at.
pub(crate) struct Learned {
    radii: BTreeMap<ScaleKey, (f64, f64)>,
}

impl Learned {
    /// The Sun's radius in a shot's frames and its one sigma, in pixels.
    pub(crate) fn radius_px(&self, shot: &Shot) -> Option<(f64, f64)> {
        self.radii.get(&scale_key(shot)).copied()
    }
}

/// Looks at a few frames of each scale marked in `wanted`. `moon_ratio` is the Moon's radius over the Sun's.
pub(crate) fn learn(
    shots: &[Shot],
    wanted: &[bool],
    moon_ratio: f64,
    watch: &dyn Watch,
) -> Result<Learned, PipelineError> {
    let mut groups: BTreeMap<ScaleKey, Vec<usize>> = BTreeMap::new();
    for (index, shot) in shots.iter().enumerate() {
        if wanted[index] {
            groups.entry(scale_key(shot)).or_default().push(index);
        }
    }
    let sample: Vec<usize> = groups
        .values()
        .flat_map(|group| spread(shots, group))
        .collect();
    let hint = DiscHint {
        moon_ratio: Some(moon_ratio),
        ..DiscHint::default()
    };
    watch.begin("learning the Sun's size", sample.len() as u64);
    let samples = each(&sample, watch, |index| {
        open_and_examine(&shots[index], &hint, &|_, _, _| ())
    })?;
    watch.end();
    let looked: BTreeMap<usize, Seen> = sample.into_iter().zip(samples).collect();
    let radii = groups
        .into_iter()
        .filter_map(|(key, group)| {
            let fits = group.iter().filter_map(|index| looked.get(index)?.fit());
            Some((key, shared_radius(fits)?))
        })
        .collect();
    Ok(Learned { radii })
}

/// Looks at all frames marked in `wanted`, each with its hint; one [`Seen`] a shot, in order. `keep` is called once for
/// each frame that was decoded.
pub(crate) fn look(
    shots: &[Shot],
    wanted: &[bool],
    hint: &(dyn Fn(usize) -> DiscHint + Sync),
    keep: Keep<'_>,
    watch: &dyn Watch,
) -> Result<Vec<Seen>, PipelineError> {
    let all: Vec<usize> = (0..shots.len()).filter(|&i| wanted[i]).collect();
    let mut seen = vec![Seen::No; shots.len()];
    look_at(shots, &all, &mut seen, hint, keep, "finding discs", watch)?;
    Ok(seen)
}

/// Looks at some frames, each with its hint, and puts what was seen in its place.
fn look_at(
    shots: &[Shot],
    indices: &[usize],
    seen: &mut [Seen],
    hint: &(dyn Fn(usize) -> DiscHint + Sync),
    keep: Keep<'_>,
    stage: &str,
    watch: &dyn Watch,
) -> Result<(), PipelineError> {
    watch.begin(stage, indices.len() as u64);
    let reports = each(indices, watch, |index| {
        open_and_examine(&shots[index], &hint(index), keep)
    })?;
    watch.end();
    for (&index, report) in indices.iter().zip(reports) {
        seen[index] = report;
    }
    Ok(())
}

/// A disc flattened by more than this much is fitted again when the first look did not know it.
const FLAT_ENOUGH: f64 = 0.9985;

/// Looks once more at the frames that can gain from what is known by now: beads and rings, and low Suns whose squeeze was
/// not known.
pub(crate) fn look_again(
    shots: &[Shot],
    seen: &mut [Seen],
    hint: &(dyn Fn(usize) -> DiscHint + Sync),
    keep: Keep<'_>,
    watch: &dyn Watch,
) -> Result<(), PipelineError> {
    let flat = |index: usize, hint: &DiscHint| {
        let low = hint
            .squeeze
            .is_some_and(|(squeeze, _)| squeeze < FLAT_ENOUGH);
        low && seen[index].squeeze().is_none() && seen[index].fit().is_some()
    };
    let gains = |index: usize| {
        let hint = hint(index);
        let report = seen[index].report();
        report.is_some_and(|report| flat(index, &hint) || !disc::is_settled(report, &hint))
    };
    let open: Vec<usize> = (0..shots.len()).filter(|&index| gains(index)).collect();
    look_at(shots, &open, seen, hint, keep, "looking closer", watch)
}

/// Works on some indices in parallel, in order, stopping when the person interrupts.
pub(crate) fn each<T: Send>(
    indices: &[usize],
    watch: &dyn Watch,
    work: impl Fn(usize) -> T + Sync,
) -> Result<Vec<T>, PipelineError> {
    indices
        .par_iter()
        .map(|&index| {
            if watch.interrupted() {
                return Err(PipelineError::Interrupted);
            }
            let result = work(index);
            watch.advance(1);
            Ok(result)
        })
        .collect()
}

/// Up to [`SAMPLE`] of a group, evenly spread in time, so that long series of brackets do not crowd out the partials; evenly
/// spread in order where there are no times.
fn spread(shots: &[Shot], group: &[usize]) -> Vec<usize> {
    let mut timed: Vec<(f64, usize)> = group
        .iter()
        .filter_map(|&index| {
            let stamp = shots[index].stamp.as_ref()?;
            Some((stamp.time.read_as_utc().unix_s(), index))
        })
        .collect();
    let count = group.len().min(SAMPLE);
    if timed.len() < count {
        return (0..count).map(|n| group[n * group.len() / count]).collect();
    }
    timed.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (first, last) = (timed[0].0, timed[timed.len() - 1].0);
    let mut chosen: Vec<usize> = (0..count)
        .filter_map(|n| {
            let due = first + (last - first) * (n as f64 + 0.5) / count as f64;
            let away = |place: &usize| (timed[*place].0 - due).abs();
            let best = (0..timed.len()).min_by(|a, b| away(a).total_cmp(&away(b)))?;
            Some(timed.remove(best).1)
        })
        .collect();
    chosen.sort_unstable();
    chosen
}

/// Decodes one frame and looks at it.
fn open_and_examine(shot: &Shot, hint: &DiscHint, keep: Keep<'_>) -> Seen {
    match raster::photograph(&shot.file, shot.orientation, Reading::Quick) {
        Ok(frame) => {
            let report = disc::examine(&frame, hint);
            keep(shot, &frame, &report);
            Seen::Yes(Box::new(report), hint.squeeze.map(|(squeeze, _)| squeeze))
        }
        Err(error) => Seen::Broken(error.to_string()),
    }
}

/// The middle radius of the well-seen Suns and its one sigma, in pixels; `None` without any.
fn shared_radius<'a>(fits: impl Iterator<Item = &'a DiscFit>) -> Option<(f64, f64)> {
    let mut radii: Vec<f64> = fits
        .filter(|fit| fit.limb == Limb::Sun && fit.limb_arc_deg >= LEAST_ARC_DEG)
        .filter_map(|fit| fit.sun.map(|sun| sun.radius_px))
        .collect();
    let middle = median(&mut radii)?;
    let mut apart: Vec<f64> = radii.iter().map(|r| (r - middle).abs()).collect();
    let spread = 1.4826 * median(&mut apart)?;
    Some((middle, spread.max(LEAST_RADIUS_SIGMA * middle)))
}

fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    match n {
        0 => None,
        n if n % 2 == 1 => Some(values[n / 2]),
        n => Some(0.5 * (values[n / 2 - 1] + values[n / 2])),
    }
}
