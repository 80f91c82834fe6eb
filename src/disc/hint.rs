//! What is known about a frame before looking.

/// What is known about a frame before looking.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DiscHint {
    /// The Sun's radius and its one sigma in pixels, from other frames of this body at this focal length.
    pub sun_radius_px: Option<(f64, f64)>,
    /// Moon's radius over the Sun's as this camera shows them, and its one sigma: from the ephemeris, or from it and what
    /// other frames of this body add to it.
    pub moon_ratio: Option<(f64, f64)>,
    /// Distance of the Moon's centre from the Sun's and its one sigma, in solar radii.
    pub offset_solar_radii: Option<(f64, f64)>,
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
