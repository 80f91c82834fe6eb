//! What practice frames of the filtered Sun measure.

use serde::{Deserialize, Serialize};

/// What practice frames of the ordinary filtered Sun measure of one body, its lens and its filter.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Practice {
    /// The body's name, empty where the headers name none.
    pub body: String,
    /// Its frames.
    pub frames: usize,
    /// Day of the first frame by the camera's clock.
    pub day: Option<jiff::civil::Date>,
    /// Sides of its frames in pixels, the longer first.
    pub sides_px: Option<(f64, f64)>,
    /// Radius of the Sun in pixels.
    pub sun_radius_px: Option<f64>,
    /// Scale in seconds of arc a pixel, from the Sun's size on that day.
    pub arcsec_per_px: Option<f64>,
    /// Drift of the Sun in the frame in seconds of arc a second.
    pub drift_arcsec_s: Option<f64>,
    /// Whether the mount follows the Sun, as far as the drift tells.
    pub follows: Option<bool>,
    /// Brightness exponent `Q` of the filtered disc: `t = N^2 / (ISO 2^Q)` brings it to the level wanted.
    pub filtered_q: Option<f64>,
    /// Altitude of the Sun in degrees while the light was measured, where the frames say where and when.
    pub sun_alt_deg: Option<f64>,
    /// Error of the camera's clock in seconds, camera minus true, by GPS.
    pub clock_error_s: Option<f64>,
}

impl Practice {
    /// The same with what is not known taken from another session with this body.
    pub fn or(self, other: &Self) -> Self {
        // Size and scale belong together, and so do the light and the height it was measured at.
        let scaled = self.arcsec_per_px.is_some();
        let lit = self.filtered_q.is_some();
        let moved = self.drift_arcsec_s.is_some();
        let pick =
            |known: bool, own: Option<f64>, others: Option<f64>| if known { own } else { others };
        Self {
            frames: self.frames + other.frames,
            day: self.day.or(other.day),
            sides_px: if scaled {
                self.sides_px
            } else {
                other.sides_px
            },
            sun_radius_px: pick(scaled, self.sun_radius_px, other.sun_radius_px),
            arcsec_per_px: pick(scaled, self.arcsec_per_px, other.arcsec_per_px),
            drift_arcsec_s: pick(moved, self.drift_arcsec_s, other.drift_arcsec_s),
            follows: if moved { self.follows } else { other.follows },
            filtered_q: pick(lit, self.filtered_q, other.filtered_q),
            sun_alt_deg: pick(lit, self.sun_alt_deg, other.sun_alt_deg),
            clock_error_s: self.clock_error_s.or(other.clock_error_s),
            body: self.body,
        }
    }
}
