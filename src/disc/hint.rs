//! What is known about a frame before looking.

use crate::domain::Estimate;

/// What is known about a frame before looking.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DiscHint {
    /// The Sun's radius and its one sigma in pixels, from other frames of this body at this focal length.
    pub sun_radius_px: Option<Estimate>,
    /// Moon's radius over the Sun's as this camera shows them, and its one sigma: from the ephemeris, or from it and what
    /// other frames of this body add to it.
    pub moon_ratio: Option<Estimate>,
    /// Distance of the Moon's centre from the Sun's and its one sigma, in solar radii.
    pub offset_solar_radii: Option<Estimate>,
    /// Moon's centre from the Sun's in solar radii, right and down in the upright picture, refraction included, and its
    /// one sigma per axis.
    pub moon_offset: Option<([f64; 2], f64)>,
    /// Height of the refracted disc over its width, and the direction of the zenith in degrees anticlockwise from
    /// picture up.
    pub squeeze: Option<(f64, f64)>,
    /// How much brighter the disc is in its brightest channel than in a grey frame, in light; `None` where frames come in
    /// colour or this is not known.
    pub tint: Option<f64>,
    /// Whether the Sun is covered; `None` when not known.
    pub totality: Option<bool>,
}

/// A radius known no better than this, as a fraction, gives way to the rough circle's.
pub(super) const LOOSE_RADIUS: f64 = 0.01;

impl DiscHint {
    /// The Sun's radius, where it is known well enough to tell its limb from other edges.
    pub(super) fn sure_radius_px(&self) -> Option<Estimate> {
        self.sun_radius_px
            .filter(|radius| radius.sigma < LOOSE_RADIUS * radius.value)
    }
}
