//! What a run was asked to do, resolved from what was typed.

use std::path::PathBuf;
use std::str::FromStr;

use jiff::civil::Date;

use crate::domain::Site;
use crate::phase::zone::Zone;

/// A clock error the person knows.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownClock {
    /// Label, model or serial number of the body; `None` for all bodies.
    pub camera: Option<String>,
    /// Camera minus true time in seconds.
    pub error_s: f64,
}

/// A clock error that cannot be understood.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "cannot read the clock error '{0}': it is camera minus true in seconds, such as +37.5 or \"MODEL=-12\""
)]
pub struct KnownClockError(String);

impl FromStr for KnownClock {
    type Err = KnownClockError;

    fn from_str(text: &str) -> Result<Self, KnownClockError> {
        let (camera, seconds) = match text.rsplit_once('=') {
            Some((camera, seconds)) => (Some(camera.trim().to_owned()), seconds),
            None => (None, text),
        };
        let error_s = seconds
            .trim()
            .parse::<f64>()
            .ok()
            .filter(|s| s.is_finite())
            .ok_or_else(|| KnownClockError(text.to_owned()))?;
        Ok(Self { camera, error_s })
    }
}

/// What to read and what is known beforehand.
#[derive(Clone, Debug, Default)]
pub struct Settings {
    /// Folders to read.
    pub cards: Vec<PathBuf>,
    /// Folder for the results.
    pub out: PathBuf,
    /// Place of the camera.
    pub site: Option<Site>,
    /// Date of the eclipse.
    pub date: Option<Date>,
    /// How the camera clocks were set.
    pub zone: Option<Zone>,
    /// Known clock errors.
    pub clocks: Vec<KnownClock>,
    /// Whether the pictures are mirror images, as through a star diagonal; `None` lets them tell.
    pub mirrored: Option<bool>,
    /// Write small pictures with the fitted circles.
    pub overlays: bool,
    /// Write nothing.
    pub dry_run: bool,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn clock_errors_may_name_a_body() {
        let known: KnownClock = "Long 600=-12.5".parse().unwrap();
        assert_eq!(known.camera.as_deref(), Some("Long 600"));
        assert!((known.error_s + 12.5).abs() < 1e-12);
        assert!("Long 600=soon".parse::<KnownClock>().is_err());
        assert!("nan".parse::<KnownClock>().is_err());
    }
}
