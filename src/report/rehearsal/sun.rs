//! The ordinary Sun on a day: its size and how fast it crosses a fixed frame.

use crate::domain::{CameraTime, Utc};

/// Apparent motion of the Sun along the equator in seconds of arc per second: 360 degrees in a mean solar day.
pub(super) const SOLAR_RATE_ARCSEC_S: f64 = 15.0;

/// The Sun's radius at 1 au in seconds of arc (Auwers 1891, as in the IAU's conventional value).
const RADIUS_ARCSEC: f64 = 959.63;

/// Size and place of the Sun on a day.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sun {
    /// Apparent radius in seconds of arc.
    pub(super) radius_arcsec: f64,
    /// Declination in degrees.
    pub(super) declination_deg: f64,
}

/// Days of 86,400 s since 2000-01-01 12:00 (J2000.0), when Unix time was this.
const J2000_UNIX_S: f64 = 946_728_000.0;

/// Ecliptic longitude and obliquity in radians, and the distance in au.
///
/// Source: The Astronomical Almanac, low precision formulas for the Sun (0.01 degrees, 1950 to 2050), from memory.
fn ecliptic(days: f64) -> (f64, f64, f64) {
    let g = (357.528 + 0.985_600_3 * days).to_radians();
    let mean_long = 280.460 + 0.985_647_4 * days;
    let longitude = (mean_long + 1.915 * g.sin() + 0.020 * (2.0 * g).sin()).to_radians();
    let distance_au = 1.000_14 - 0.016_71 * g.cos() - 0.000_14 * (2.0 * g).cos();
    let obliquity = (23.439 - 0.000_000_4 * days).to_radians();
    (longitude, obliquity, distance_au)
}

/// The Sun at a reading of a camera's clock; a day's error of the clock does not matter here.
pub(super) fn sun_on(time: CameraTime) -> Sun {
    let days = (time.read_as_utc().unix_s() - J2000_UNIX_S) / 86_400.0;
    let (longitude, obliquity, distance_au) = ecliptic(days);
    Sun {
        radius_arcsec: RADIUS_ARCSEC / distance_au,
        declination_deg: (obliquity.sin() * longitude.sin()).asin().to_degrees(),
    }
}

/// Hour angle of the Sun in degrees, west positive, -180 to 180, at a longitude in degrees, east positive.
///
/// Sidereal time: J. Meeus 1998, Astronomical Algorithms, chapter 12, linear terms, from memory; good to 0.05 degrees
/// with the Sun of above.
pub(super) fn hour_angle_deg(utc: Utc, lon_deg: f64) -> f64 {
    let days = (utc.unix_s() - J2000_UNIX_S) / 86_400.0;
    let (longitude, obliquity, _) = ecliptic(days);
    let right_ascension = (obliquity.cos() * longitude.sin()).atan2(longitude.cos());
    let sidereal_deg = 280.460_62 + 360.985_647_37 * days;
    let angle = sidereal_deg + lon_deg - right_ascension.to_degrees();
    (angle + 180.0).rem_euclid(360.0) - 180.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn solstice_and_perihelion_come_out() {
        let on = |text: &str| sun_on(CameraTime::new(text.parse().unwrap()));
        assert!((on("2024-06-20T20:51:00").declination_deg - 23.44).abs() < 0.02);
        assert!(on("2024-03-20T03:06:00").declination_deg.abs() < 0.02);
        // 16' 15.9" in early January, 15' 43.9" in early July.
        assert!((on("2024-01-03T00:00:00").radius_arcsec - 975.9).abs() < 0.5);
        assert!((on("2024-07-05T00:00:00").radius_arcsec - 943.9).abs() < 0.5);
    }
}
