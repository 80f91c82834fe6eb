//! The Earth's figure and turn, and directions from it.

use super::EARTH_RADIUS_KM;
use crate::domain::Site;

/// Degrees the Earth turns in a second of UT1 (IAU 2000, Earth rotation angle; Capitaine et al. 2000, A&A 355, 398).
pub(super) const EARTH_TURN_DEG_PER_S: f64 = 360.0 * 1.002_737_811_911_354_5 / 86_400.0;

/// Flattening of the ellipsoid (WGS 84, NIMA TR8350.2).
pub(super) const FLATTENING: f64 = 1.0 / 298.257_223_563;

/// Distance from the axis of the Earth and height above the equator, in equatorial radii.
pub(super) fn geocentric(site: &Site) -> (f64, f64) {
    let e2 = FLATTENING * (2.0 - FLATTENING);
    let (sin, cos) = site.lat_deg.to_radians().sin_cos();
    let curvature = 1.0 / (1.0 - e2 * sin * sin).sqrt();
    let height = site.elev_m / 1000.0 / EARTH_RADIUS_KM;
    (
        (curvature + height) * cos,
        (curvature * (1.0 - e2) + height) * sin,
    )
}

/// Scalar product.
pub(super) fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// Position angle at direction `from` of direction `to`, radians from north through east; vectors of any length.
pub(super) fn position_angle(from: [f64; 3], to: [f64; 3]) -> f64 {
    let flat = from[0].hypot(from[1]);
    let length = flat.hypot(from[2]);
    // North at `from` is (-z x, -z y, flat^2) / (flat length); east is (-y, x, 0) / flat.
    let east = from[0] * to[1] - from[1] * to[0];
    let north = (to[2] * flat * flat - from[2] * (from[0] * to[0] + from[1] * to[1])) / length;
    east.atan2(north)
}
