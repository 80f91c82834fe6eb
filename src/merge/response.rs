//! What the camera's tone curve adds to the curve of the file format.

use crate::raster::linear_to_srgb;

/// Terms of the polynomial.
pub(crate) const TERMS: usize = 5;

/// Coded value where the correction is nothing.
const ANCHOR: f64 = 0.6;

/// Range of coded values the polynomial is asked for; beyond, its end values hold.
const RANGE: [f64; 2] = [0.06, 0.97];

/// A residual response: `true light = v * exp(h(u))` with `v` the light the file's curve gives and `u` its
/// sRGB-coded value, `h` a polynomial that is 0 at `u = 0.6`.
///
/// The polynomial form is after Mitsunaga & Nayar 1999, "Radiometric self calibration" (CVPR); fitting in the
/// logarithm, as a sum over frame pairs, after Debevec & Malik 1997, "Recovering high dynamic range radiance maps
/// from photographs" (SIGGRAPH).
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Response {
    pub(crate) terms: [f64; TERMS],
}

impl Response {
    /// The curve of the file format is all there is.
    pub const IDENTITY: Self = Self {
        terms: [0.0; TERMS],
    };

    /// Natural logarithm of true light over decoded light at a decoded value in 0 to 1.
    pub fn log_gain(&self, value: f32) -> f64 {
        basis(value)
            .iter()
            .zip(self.terms)
            .map(|(b, c)| b * c)
            .sum()
    }

    /// True light for decoded light, in the unit where the coded value 0.6 is left alone.
    pub fn light(&self, value: f32) -> f32 {
        value * self.log_gain(value).exp() as f32
    }

    /// Whether more decoded light always means more light.
    pub(crate) fn rises(&self) -> bool {
        let at = |code: i32| self.light(crate::raster::srgb_to_linear(code as f32 / 255.0));
        (16..255).all(|code| at(code + 1) > at(code))
    }

    /// A weaker copy.
    pub(crate) fn scaled(&self, by: f64) -> Self {
        Self {
            terms: self.terms.map(|t| t * by),
        }
    }
}

/// The polynomials at a decoded value: Legendre on 0 to 1, each less its value at the anchor.
pub(crate) fn basis(value: f32) -> [f64; TERMS] {
    let coded = f64::from(linear_to_srgb(value)).clamp(RANGE[0], RANGE[1]);
    let (here, there) = (legendre(2.0 * coded - 1.0), legendre(2.0 * ANCHOR - 1.0));
    std::array::from_fn(|k| here[k] - there[k])
}

/// Legendre polynomials of degree 1 to `TERMS` (Bonnet's recursion).
fn legendre(x: f64) -> [f64; TERMS] {
    let mut out = [0.0; TERMS];
    let (mut before, mut now) = (1.0, x);
    for (k, slot) in out.iter_mut().enumerate() {
        *slot = now;
        let n = (k + 1) as f64;
        let next = ((2.0 * n + 1.0) * x * now - n * before) / (n + 1.0);
        (before, now) = (now, next);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn legendre_matches_the_closed_forms() {
        let x = 0.3_f64;
        let got = legendre(x);
        assert!((got[1] - (3.0 * x * x - 1.0) / 2.0).abs() < 1e-12);
        assert!((got[2] - (5.0 * x.powi(3) - 3.0 * x) / 2.0).abs() < 1e-12);
    }

    #[test]
    fn identity_changes_nothing() {
        assert!((Response::IDENTITY.light(0.37) - 0.37).abs() < 1e-7);
        assert!(Response::IDENTITY.rises());
    }
}
