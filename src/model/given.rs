//! What a person knows beforehand.

use std::str::FromStr;

use jiff::civil::Date;

use crate::domain::Site;
use crate::phase::zone::Zone;

/// What a person says of a card; the rest is read from it.
#[derive(Clone, Debug, Default)]
pub struct Given {
    /// Place of the camera.
    pub site: Option<Site>,
    /// Date of the eclipse.
    pub date: Option<Date>,
    /// How the camera clocks were set.
    pub zone: Option<Zone>,
    /// Known clock errors.
    pub clocks: Vec<KnownClock>,
    /// Whether the pictures are mirror images, where the person says so.
    pub mirrored: Option<bool>,
}

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
