//! Which discs are beyond doubt by their own picture, and which are none.

use crate::domain::{Circle, DiscFit};

/// Less sure than this, in radii, or seen over less than this, in degrees, a disc that was not looked for in the usual way is none:
/// round edges are common in pictures of other things (the rim of an eyepiece, of a lamp).
const PLAIN_SIGMA: f64 = 0.01;
const PLAIN_ARC_DEG: f64 = 150.0;

/// Whether a disc is beyond doubt by its own picture.
pub(super) fn is_plain(fit: &DiscFit) -> bool {
    let sure = |c: Circle| fit.sigma_px < PLAIN_SIGMA * c.radius_px;
    fit.blur_px.is_some()
        && fit.limb_arc_deg >= PLAIN_ARC_DEG
        && fit.sun.or(fit.moon).is_some_and(sure)
}

/// Degrees of limb below which an unsure round edge of no known size is none: a crescent shows its Sun's limb over twice as much (our
/// choice; seen on a tent by lamplight, 81 degrees).
const VAGUE_ARC_DEG: f64 = 90.0;

/// Whether a disc is no more than a short round edge that no drawing of Sun and Moon could be fitted to.
pub(super) fn is_vague(fit: &DiscFit) -> bool {
    let unsure = |c: Circle| fit.sigma_px > PLAIN_SIGMA * c.radius_px;
    fit.blur_px.is_none()
        && fit.limb_arc_deg < VAGUE_ARC_DEG
        && fit.sun.or(fit.moon).is_some_and(unsure)
}
