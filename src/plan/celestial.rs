//! From a direction among the stars to a place in the sky and in the frame.

use super::gear::Framing;
use crate::domain::{Site, SunMoon, Utc};

/// Julian century in days.
pub(super) const CENTURY_DAYS: f64 = 36_525.0;

/// Unix time of J2000.0 in seconds, 2000-01-01 12:00:00 TT taken as UT (a minute does not matter here).
const J2000_UNIX_S: f64 = 946_728_000.0;

/// Obliquity of the ecliptic at J2000 in degrees. Source: E. M. Standish, Keplerian Elements for Approximate Positions of the Major
/// Planets (JPL Solar System Dynamics).
const OBLIQUITY_DEG: f64 = 23.439_28;

/// General precession in longitude, seconds of arc a century (IAU 2006, from memory).
const PRECESSION_ARCSEC: f64 = 5_029.0;

/// Days since J2000.0.
pub(super) fn days_from_j2000(utc: Utc) -> f64 {
    (utc.unix_s() - J2000_UNIX_S) / 86_400.0
}

/// The direction on the ecliptic of J2000 of a right ascension and declination of J2000 in degrees.
pub(super) fn ecliptic(ra_deg: f64, dec_deg: f64) -> [f64; 3] {
    let (sin_ra, cos_ra) = ra_deg.to_radians().sin_cos();
    let (sin_dec, cos_dec) = dec_deg.to_radians().sin_cos();
    let (sin_o, cos_o) = OBLIQUITY_DEG.to_radians().sin_cos();
    let (x, y, z) = (cos_dec * cos_ra, cos_dec * sin_ra, sin_dec);
    [x, y * cos_o + z * sin_o, z * cos_o - y * sin_o]
}

/// Altitude and azimuth in degrees of a direction on the ecliptic of J2000; airless.
///
/// Source of Greenwich mean sidereal time: J. Meeus 1998, Astronomical Algorithms, 2nd ed., formula 12.4.
pub(super) fn horizontal(direction: [f64; 3], site: &Site, days: f64) -> (f64, f64) {
    let [x, y, z] = direction;
    let precession = (PRECESSION_ARCSEC / 3600.0 * days / CENTURY_DAYS).to_radians();
    let (sin_p, cos_p) = precession.sin_cos();
    let (x, y) = (x * cos_p - y * sin_p, x * sin_p + y * cos_p);
    let (sin_o, cos_o) = OBLIQUITY_DEG.to_radians().sin_cos();
    let (y, z) = (y * cos_o - z * sin_o, y * sin_o + z * cos_o);
    let sidereal_deg = 280.460_618_37 + 360.985_647_366_29 * days + site.lon_deg;
    let hour = sidereal_deg.to_radians() - y.atan2(x);
    let dec = z.atan2(x.hypot(y));
    let (sin_lat, cos_lat) = site.lat_deg.to_radians().sin_cos();
    let sin_alt = sin_lat * dec.sin() + cos_lat * dec.cos() * hour.cos();
    let north = dec.sin() * cos_lat - dec.cos() * sin_lat * hour.cos();
    let east = -dec.cos() * hour.sin();
    (
        sin_alt.clamp(-1.0, 1.0).asin().to_degrees(),
        east.atan2(north).to_degrees().rem_euclid(360.0),
    )
}

/// Degrees right of the Sun and above it of an altitude and azimuth, as a lens without distortion shows them; `None` outside a level
/// frame with the Sun in its middle.
pub(super) fn in_frame_deg(
    (alt_deg, az_deg): (f64, f64),
    sky: &SunMoon,
    framing: &Framing,
) -> Option<(f64, f64)> {
    let (sin_sun, cos_sun) = sky.sun_alt_deg.to_radians().sin_cos();
    let (sin_alt, cos_alt) = alt_deg.to_radians().sin_cos();
    let (sin_az, cos_az) = (az_deg - sky.sun_az_deg).to_radians().sin_cos();
    let ahead = sin_sun * sin_alt + cos_sun * cos_alt * cos_az;
    let right = (cos_alt * sin_az / ahead).atan().to_degrees();
    let up = ((cos_sun * sin_alt - sin_sun * cos_alt * cos_az) / ahead)
        .atan()
        .to_degrees();
    let inside =
        right.abs() <= framing.frame_width_deg / 2.0 && up.abs() <= framing.frame_height_deg / 2.0;
    (ahead > 0.0 && inside).then_some((right, up))
}

pub(super) fn length(v: [f64; 3]) -> f64 {
    v.iter().map(|x| x * x).sum::<f64>().sqrt()
}

pub(super) fn angle_deg(a: [f64; 3], b: [f64; 3]) -> f64 {
    let dot: f64 = a.iter().zip(&b).map(|(x, y)| x * y).sum();
    (dot / (length(a) * length(b)))
        .clamp(-1.0, 1.0)
        .acos()
        .to_degrees()
}
