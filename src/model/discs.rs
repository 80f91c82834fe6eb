//! What was seen in a frame, which frames share a scale, and work on many at once.

use rayon::prelude::*;

use super::{ModelError, Watch};
use crate::disc::{DiscHint, DiscReport};
use crate::domain::{CameraId, DiscFit, Shot};
use crate::raster;

/// What came of looking at one frame.
#[derive(Clone, Debug)]
pub(crate) enum Seen {
    /// Not looked at: its pixels are not decoded, or it is of another day.
    No,
    /// Looked at: what was found, and what was expected of the frame then.
    Yes(Box<DiscReport>, DiscHint),
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

    /// Height over width of the disc that was taken into account in fitting, and the direction of the zenith.
    pub(crate) fn squeeze(&self) -> Option<(f64, f64)> {
        match self {
            Self::Yes(_, hint) => hint.squeeze,
            Self::No | Self::Broken(_) => None,
        }
    }

    /// What was expected of the frame when it was looked at.
    pub(crate) fn hint(&self) -> Option<&DiscHint> {
        match self {
            Self::Yes(_, hint) => Some(hint),
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

impl ScaleKey {
    /// Whether the headers name the camera.
    pub(crate) fn names_camera(&self) -> bool {
        self.camera.is_some()
    }
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

/// Works on some indices in parallel, in order, stopping when the person interrupts.
pub(crate) fn each<T: Send>(
    indices: &[usize],
    watch: &dyn Watch,
    work: impl Fn(usize) -> T + Sync,
) -> Result<Vec<T>, ModelError> {
    indices
        .par_iter()
        .map(|&index| {
            if watch.interrupted() {
                return Err(ModelError::Interrupted);
            }
            let result = work(index);
            watch.advance(1);
            Ok(result)
        })
        .collect()
}
