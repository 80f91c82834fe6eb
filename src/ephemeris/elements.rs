//! Polynomial Besselian elements in vector form.

use crate::domain::EclipseKind;

/// One eclipse of the table. Times in hours of TT from `t0`; coefficients ascending in those hours.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Elements {
    /// Year, month and day (TT) of greatest eclipse.
    pub(super) date: (i16, i8, i8),
    /// What the eclipse is along its track.
    pub(super) kind: EclipseKind,
    /// Whether the axis of the shadow meets the Earth.
    pub(super) axis_touches: bool,
    /// The origin of the polynomials, TT seconds from J2000.
    pub(super) t0_j2000_s: f64,
    /// First touch of the penumbra, rounded outwards.
    pub(super) begin_h: f64,
    /// Last touch of the penumbra, rounded outwards.
    pub(super) end_h: f64,
    /// Least distance of the axis from the Earth's centre.
    pub(super) greatest_h: f64,
    /// That distance in equatorial Earth radii, negative when the axis passes south.
    pub(super) gamma: f64,
    /// Moon's centre towards east, Earth radii.
    pub(super) x: [f64; 4],
    /// Moon's centre towards north, Earth radii.
    pub(super) y: [f64; 4],
    /// Moon's centre along the axis, Earth radii.
    pub(super) z: [f64; 4],
    /// Distance from Moon to Sun, Earth radii.
    pub(super) g: [f64; 3],
    /// Declination of the axis, degrees.
    pub(super) d: [f64; 4],
    /// Hour angle of the axis at the ephemeris meridian, degrees.
    pub(super) mu: [f64; 3],
}

/// Value of a polynomial with ascending coefficients (W. G. Horner's scheme).
pub(super) fn polynomial(coefficients: &[f64], t: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * t + c)
}
