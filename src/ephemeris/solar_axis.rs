//! How the Sun's own axis stands, seen from the Earth.

use super::time_scale::tt_from_utc;
use crate::domain::Utc;

/// The Sun's axis at an instant, from the middle of the Earth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SolarAxis {
    /// Position angle of the northern end, from celestial north (of date) through east, in degrees.
    pub position_angle_deg: f64,
    /// Latitude on the Sun of the middle of its disc, in degrees: how far the northern end leans towards us.
    pub tilt_deg: f64,
}

/// Inclination of the Sun's equator to the ecliptic, in degrees (R. C. Carrington 1863).
const INCLINATION_DEG: f64 = 7.25;

/// The axis at an instant, to 0.01 degrees.
///
/// Source: J. Meeus 1998, Astronomical Algorithms, 2nd edition, chapters 25 (the Sun's longitude, to 0.01 degrees) and 29 (P and B0); held
/// against sunpy in `fixtures/fits/axis.csv`.
pub fn solar_axis(utc: Utc) -> SolarAxis {
    let days = tt_from_utc(utc).j2000_s / 86_400.0;
    let t = days / 36_525.0;
    let sin = |deg: f64| deg.to_radians().sin();
    let mean_longitude = 280.466_46 + 36_000.769_83 * t + 0.000_303_2 * t * t;
    let anomaly = 357.529_11 + 35_999.050_29 * t - 0.000_153_7 * t * t;
    let centre = (1.914_602 - 0.004_817 * t) * sin(anomaly)
        + 0.019_993 * sin(2.0 * anomaly)
        + 0.000_289 * sin(3.0 * anomaly);
    let longitude = mean_longitude + centre - 0.005_69; // with aberration
    let moon_node = 125.04 - 1_934.136 * t;
    let apparent = longitude - 0.004_78 * sin(moon_node); // with nutation too
    let obliquity = 23.439_291 - 0.013_004_2 * t + 0.002_56 * moon_node.to_radians().cos();
    let node = 73.666_7 + 1.395_833_3 * (days + 2_451_545.0 - 2_396_758.0) / 36_525.0;
    let from_node = (longitude - node).to_radians();
    let x = -apparent.to_radians().cos() * obliquity.to_radians().tan();
    let y = -from_node.cos() * INCLINATION_DEG.to_radians().tan();
    SolarAxis {
        position_angle_deg: (x.atan() + y.atan()).to_degrees(),
        tilt_deg: (from_node.sin() * sin(INCLINATION_DEG)).asin().to_degrees(),
    }
}
