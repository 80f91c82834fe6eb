//! Lens, sensor and filter, and how the Sun sits and drifts in the frame.

use serde::{Deserialize, Serialize};

use crate::domain::{Site, SunMoon};

/// Apparent motion of the Sun along the equator in seconds of arc per second: 360 degrees in a mean solar day.
pub const SUN_RATE_ARCSEC_S: f64 = 15.0;

/// Seconds of arc in a radian.
pub(super) const ARCSEC_PER_RAD: f64 = 648_000.0 / std::f64::consts::PI;

/// A sensor.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Sensor {
    /// Long side in millimetres.
    pub width_mm: f64,
    /// Short side in millimetres.
    pub height_mm: f64,
    /// Pixels along the long side.
    pub width_px: f64,
    /// Pixels along the short side.
    pub height_px: f64,
}

/// Sensor formats by name with their sides in millimetres (common practice).
const FORMATS: [(&[&str], f64, f64); 6] = [
    (
        &["full-frame", "fullframe", "full", "ff", "fx", "35mm"],
        36.0,
        24.0,
    ),
    (&["aps-c", "apsc", "dx", "crop"], 23.5, 15.6),
    (&["aps-h", "apsh"], 28.7, 19.0),
    (
        &["micro-four-thirds", "four-thirds", "mft", "m43", "m4/3"],
        17.3,
        13.0,
    ),
    (&["medium-format", "medium", "44x33"], 43.8, 32.9),
    (&["1-inch", "1inch", "one-inch", "1\""], 13.2, 8.8),
];

/// Megapixels taken when only the size of the sensor is given.
pub const DEFAULT_MEGAPIXELS: f64 = 24.0;

/// Numbers above this are pixels, below it millimetres.
const LARGEST_SENSOR_MM: f64 = 150.0;

/// The text is no sensor.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error(
    "cannot read the sensor '{0}': give a format (full-frame, aps-c, micro-four-thirds, medium-format, \
         1-inch), or its sides in mm and pixels such as 36x24 or 36x24,6000x4000"
)]
pub struct SensorError(String);

impl std::str::FromStr for Sensor {
    type Err = SensorError;

    /// Reads a format's name, `36x24` (mm), `6000x4000` (pixels on a full frame), or both, `36x24,6000x4000`.
    ///
    /// Without pixels the sensor is taken at [`DEFAULT_MEGAPIXELS`], without millimetres at 36 mm on its long side.
    fn from_str(text: &str) -> Result<Self, SensorError> {
        let lower = text.trim().to_lowercase();
        let fail = || SensorError(text.to_owned());
        let mut sides_mm = None;
        let mut sides_px = None;
        for part in lower
            .split([',', ':', '@', ';', ' '])
            .filter(|p| !p.is_empty())
        {
            let named = FORMATS.iter().find(|(names, ..)| names.contains(&part));
            let (a, b) = match named {
                Some((_, w, h)) => (*w, *h),
                None => sides(part).ok_or_else(fail)?,
            };
            let slot = if a.max(b) > LARGEST_SENSOR_MM {
                &mut sides_px
            } else {
                &mut sides_mm
            };
            *slot = Some((a.max(b), a.min(b)));
        }
        Self::from_sides(sides_mm, sides_px).ok_or_else(fail)
    }
}

/// Two positive numbers with a cross between them; units are left out.
fn sides(text: &str) -> Option<(f64, f64)> {
    let (a, b) = text.split_once(['x', '×', '*'])?;
    let number = |t: &str| -> Option<f64> {
        let digits = t.trim_matches(|c: char| c.is_ascii_alphabetic() || c.is_whitespace());
        digits
            .parse()
            .ok()
            .filter(|v: &f64| v.is_finite() && *v > 0.0)
    };
    Some((number(a)?, number(b)?))
}

impl Sensor {
    /// Fills in what was not given; `None` when nothing was or the numbers are of no sensor.
    fn from_sides(sides_mm: Option<(f64, f64)>, sides_px: Option<(f64, f64)>) -> Option<Self> {
        let (width_mm, height_mm) = match (sides_mm, sides_px) {
            (Some(mm), _) => mm,
            (None, Some((w, h))) => (36.0, 36.0 * h / w),
            (None, None) => return None,
        };
        let (width_px, height_px) = sides_px.unwrap_or_else(|| {
            let per_mm = (DEFAULT_MEGAPIXELS * 1e6 / (width_mm * height_mm)).sqrt();
            ((width_mm * per_mm).round(), (height_mm * per_mm).round())
        });
        let whole =
            (1.0..=LARGEST_SENSOR_MM).contains(&height_mm) && (100.0..=1e5).contains(&height_px);
        (whole && width_px <= 1e5).then_some(Self {
            width_mm,
            height_mm,
            width_px,
            height_px,
        })
    }

    /// The sensor with the pixels of its frames, as wide as it was; frames of another shape use less or more of its height.
    #[must_use]
    pub fn with_sides_px(self, width_px: f64, height_px: f64) -> Self {
        Self {
            height_mm: self.width_mm * height_px / width_px,
            width_px,
            height_px,
            ..self
        }
    }

    /// Pixels in millions.
    pub fn megapixels(&self) -> f64 {
        self.width_px * self.height_px / 1e6
    }

    /// Side of a pixel in millimetres.
    pub fn pixel_mm(&self) -> f64 {
        self.width_mm / self.width_px
    }
}

/// What the person brings.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Gear {
    /// Focal length in millimetres, 1 to 20,000.
    pub focal_mm: f64,
    /// Aperture as an f-number, 0.5 to 128.
    pub f_number: f64,
    /// ISO speed, 1 to 1,000,000.
    pub iso: f64,
    /// Stops the front filter takes, 0 to 40.
    pub filter_stops: f64,
    /// The sensor.
    pub sensor: Sensor,
    /// Frames of one bracket, where the person has chosen; 1 to 99.
    pub bracket_frames: Option<u32>,
    /// Stops between its frames, where the person has chosen; 0.3 to 5.
    pub bracket_step_stops: Option<f64>,
    /// Frames a second the camera keeps up, besides the exposures themselves; 0.1 to 200.
    pub frames_per_s: f64,
    /// Whether the mount follows the Sun.
    pub tracked: bool,
    /// Seconds before second contact and after third that the lens's filter is off, where the person has chosen to shoot beads and ring
    /// without it; 0 to 30, 0 keeps the moments inside totality.
    pub filter_off_s: f64,
    /// What the camera itself can do.
    pub limits: CameraLimits,
}

/// What a camera can do, whatever the lens.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct CameraLimits {
    /// Fastest shutter in seconds, 1/100,000 to 1/100.
    pub fastest_s: f64,
    /// Slowest shutter of a bracket in seconds, 0.1 to 900.
    pub slowest_s: f64,
    /// Most frames of one bracket, 1 to 15.
    pub most_frames: u32,
    /// Widest step of a bracket in stops, 0.3 to 5.
    pub widest_step_stops: f64,
}

impl Default for CameraLimits {
    /// What most bodies with a focal-plane shutter do (common practice).
    fn default() -> Self {
        Self {
            fastest_s: 1.0 / 8000.0,
            slowest_s: 30.0,
            most_frames: 9,
            widest_step_stops: 3.0,
        }
    }
}

/// How the Sun sits in the frame.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Framing {
    /// Scale in seconds of arc per pixel.
    pub arcsec_per_px: f64,
    /// Diameter of the Sun in pixels.
    pub disc_px: f64,
    /// Diameter of the Sun over the short side of the frame.
    pub disc_share: f64,
    /// Long side of the frame in degrees.
    pub frame_width_deg: f64,
    /// Short side of the frame in degrees.
    pub frame_height_deg: f64,
    /// Solar radii from the centre of the Sun to the nearest edge when it stands in the middle of the frame.
    pub radii_to_edge: f64,
    /// Drift in a fixed frame, seconds of arc per second.
    pub drift_arcsec_s: f64,
    /// Drift to the right in a level frame as a fraction of the whole, -1 to 1.
    pub drift_right: f64,
    /// Drift upwards in a level frame as a fraction of the whole, -1 to 1.
    pub drift_up: f64,
    /// Seconds until the limb touches the edge of a fixed, level frame, the Sun starting in the middle; `None` when the
    /// disc does not fit the frame.
    pub limb_at_edge_s: Option<f64>,
    /// Seconds until the Sun's centre crosses the edge.
    pub centre_at_edge_s: f64,
    /// The same when the drift runs straight across the short side, the worst a tilted frame can do.
    pub limb_at_short_edge_s: Option<f64>,
    /// Seconds between one aiming and the next, however the frame is turned; `None` when the disc does not fit it.
    pub reaim_s: Option<f64>,
    /// Longest exposure in seconds that drifts by no more than one pixel in a fixed frame.
    pub one_px_blur_s: f64,
}

/// Frames are aimed again after this share of the time the limb takes to the edge at worst, so the disc keeps as much room again
/// for the corona and for being late. Common practice.
const REAIM_SHARE: f64 = 0.5;

/// How the Sun at `sky` sits in the frame of `gear` at `site`: a level frame, long side along the horizon.
pub fn framing(gear: &Gear, site: &Site, sky: &SunMoon) -> Framing {
    let sensor = &gear.sensor;
    let arcsec_per_px = (sensor.pixel_mm() / gear.focal_mm) * ARCSEC_PER_RAD;
    let side_arcsec = |mm: f64| 2.0 * (mm / 2.0 / gear.focal_mm).atan() * ARCSEC_PER_RAD;
    let (width, height) = (side_arcsec(sensor.width_mm), side_arcsec(sensor.height_mm));
    let radius = sky.sun_radius_arcsec;
    let drift = SUN_RATE_ARCSEC_S * declination_rad(site, sky).cos();
    // West lies a quarter turn clockwise from north; north stands at -q from the zenith, angles anticlockwise.
    let west = (-90.0 - sky.parallactic_deg).to_radians();
    let (right, up) = (-west.sin(), west.cos());
    let to_edge = |inset: f64| {
        ((width / 2.0 - inset) / right.abs()).min((height / 2.0 - inset) / up.abs()) / drift
    };
    let fits = height / 2.0 > radius;
    let limb_at_short_edge_s = fits.then(|| (height / 2.0 - radius) / drift);
    let limb_at_edge_s = fits.then(|| to_edge(radius));
    Framing {
        arcsec_per_px,
        disc_px: 2.0 * radius / arcsec_per_px,
        disc_share: 2.0 * radius / height,
        frame_width_deg: width / 3600.0,
        frame_height_deg: height / 3600.0,
        radii_to_edge: height / 2.0 / radius,
        drift_arcsec_s: drift,
        drift_right: right,
        drift_up: up,
        limb_at_edge_s,
        centre_at_edge_s: to_edge(0.0),
        limb_at_short_edge_s,
        reaim_s: limb_at_short_edge_s.map(|s| s * REAIM_SHARE),
        one_px_blur_s: arcsec_per_px / drift,
    }
}

/// Declination of the Sun in radians from its altitude and azimuth: `sin d = sin lat sin h + cos lat cos h cos A`.
fn declination_rad(site: &Site, sky: &SunMoon) -> f64 {
    let (sin_lat, cos_lat) = site.lat_deg.to_radians().sin_cos();
    let (sin_alt, cos_alt) = sky.sun_alt_deg.to_radians().sin_cos();
    let sin_dec = sin_lat * sin_alt + cos_lat * cos_alt * sky.sun_az_deg.to_radians().cos();
    sin_dec.clamp(-1.0, 1.0).asin()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sensors_are_read_by_name_and_by_size() {
        let full: Sensor = "full-frame".parse().unwrap();
        assert!((full.width_px - 6000.0).abs() < 0.5 && (full.height_px - 4000.0).abs() < 0.5);
        let both: Sensor = "35.9x23.9mm, 8256x5504px".parse().unwrap();
        assert!((both.megapixels() - 45.44).abs() < 0.01);
        let pixels: Sensor = "6000x4000".parse().unwrap();
        assert!((pixels.height_mm - 24.0).abs() < 1e-9);
        for wrong in [
            "", "big", "0x0", "36x", "36x24x3", "nanx2", "-36x24", "infx24", "1e9x1e9",
        ] {
            assert!(wrong.parse::<Sensor>().is_err(), "{wrong} was read");
        }
    }
}
