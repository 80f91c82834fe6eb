//! How a camera's clock is turned into true time.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{CameraStamp, CameraTime, Utc};

/// What pictures are called that name no camera.
pub(super) const UNNAMED_BODY: &str = "shots of no named camera";

/// Where the zone of a camera's clock came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ZoneSource {
    /// The camera wrote its offset in the header.
    Header,
    /// The person gave it.
    Given,
    /// The zone of the place.
    Place,
    /// Read off the pictures: the eclipse itself told the hour.
    Pictures,
}

/// What a clock correction rests on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ClockEvidence {
    /// Nothing but the camera's own word.
    Camera,
    /// The person gave the error.
    Given,
    /// Fitted Sun-to-Moon vectors of partial frames.
    Partials {
        /// Frames used.
        frames: u32,
    },
    /// Totality itself: frames of the corona, of beads and of the ring.
    Contacts {
        /// Frames used.
        frames: u32,
    },
    /// The darkening of the sky in a view that shows no disc.
    Sky {
        /// Frames used.
        frames: u32,
    },
    /// Times of the GPS receiver, which bound the clock from one side.
    Gps {
        /// Frames that have one.
        frames: u32,
    },
    /// The Sun's height: a frame that shows it is of the day.
    Daylight {
        /// Frames used.
        frames: u32,
    },
    /// Weighed together with another body of the card.
    OtherBody {
        /// That body's make and model; `None` for pictures that name no camera.
        camera: Option<String>,
    },
}

impl fmt::Display for ClockEvidence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let s = |count: &u32| if *count == 1 { "" } else { "s" };
        match self {
            Self::Camera => f.write_str("the camera's own clock"),
            Self::Given => f.write_str("given"),
            Self::Partials { frames } => write!(f, "{frames} partial{}", s(frames)),
            Self::Contacts { frames } => write!(f, "{frames} frame{} of totality", s(frames)),
            Self::Sky { frames } => {
                write!(f, "the sky's darkening in {frames} frame{}", s(frames))
            }
            Self::Gps { frames } => write!(f, "the GPS time of {frames} frame{}", s(frames)),
            Self::Daylight { frames } => {
                write!(f, "the Sun's height in {frames} frame{}", s(frames))
            }
            Self::OtherBody { camera } => {
                let camera = camera.as_deref().unwrap_or(UNNAMED_BODY);
                write!(f, "the pictures of {camera}")
            }
        }
    }
}

/// How to turn one body's camera times into UTC: `utc = clock - zone - error`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ClockCorrection {
    /// Local minus UTC, in seconds.
    pub zone_offset_s: i32,
    /// Where the zone came from.
    pub zone_source: ZoneSource,
    /// Camera minus true time in seconds, the zone taken out.
    pub error_s: f64,
    /// One sigma of `error_s` in seconds.
    pub sigma_s: f64,
    /// What it rests on, best first; never empty.
    pub evidence: Vec<ClockEvidence>,
}

impl ClockCorrection {
    /// A correction that takes the camera at its word: no error, `sigma_s` wide.
    pub fn trusting(zone_offset_s: i32, zone_source: ZoneSource, sigma_s: f64) -> Self {
        Self {
            zone_offset_s,
            zone_source,
            error_s: 0.0,
            sigma_s,
            evidence: vec![ClockEvidence::Camera],
        }
    }

    /// True time for a reading of this clock.
    pub fn utc(&self, time: CameraTime) -> Utc {
        time.read_as_utc()
            .plus_s(-f64::from(self.zone_offset_s) - self.error_s)
    }

    /// True time and its one sigma for a stamp; a stamp cut off to whole seconds is taken at the middle of its second.
    ///
    /// Where the zone comes from headers a stamp's own offset goes before the body's usual one: a telephone that
    /// crossed a zone says so picture by picture.
    pub fn utc_of(&self, stamp: &CameraStamp) -> (Utc, f64) {
        let own = stamp
            .offset_s
            .filter(|_| self.zone_source == ZoneSource::Header);
        let zone_s = own.unwrap_or(self.zone_offset_s);
        let utc = self
            .utc(stamp.time)
            .plus_s(f64::from(self.zone_offset_s) - f64::from(zone_s));
        if stamp.has_subsec {
            (utc, self.sigma_s)
        } else {
            (utc.plus_s(0.5), self.sigma_s.hypot(TRUNCATION_SIGMA_S))
        }
    }
}

/// Standard deviation of a time cut off to whole seconds: of a uniform distribution one second wide, `1/sqrt(12)` s.
pub const TRUNCATION_SIGMA_S: f64 = 0.288_675_134_594_812_9;
