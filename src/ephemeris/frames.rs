//! From the true equator and equinox of date to the axes of the ICRS.
//!
//! Good to half an arcsecond from 1994 to 2053, which is 4 m on the Moon: the nutation keeps its four largest terms, and the
//! 0.02" between the ICRS and the mean equator of J2000 is left out.

use crate::domain::Tt;

/// Seconds in a Julian century.
const CENTURY_S: f64 = 36_525.0 * 86_400.0;

/// A rotation, by rows.
type Rotation = [[f64; 3]; 3];

/// The frame of date at an instant.
pub(super) struct FrameOfDate {
    /// Takes ICRS components to those of date.
    from_icrs: Rotation,
    /// Greenwich apparent sidereal time in degrees, were UT1 equal to TT.
    pub(super) sidereal_deg: f64,
}

impl FrameOfDate {
    pub(super) fn at(tt: Tt) -> Self {
        let t = tt.j2000_s / CENTURY_S;
        let (psi, eps) = nutation_deg(t);
        let mean = obliquity_deg(t);
        let nutated = product(&turn_x(-mean - eps), &product(&turn_z(-psi), &turn_x(mean)));
        Self {
            from_icrs: product(&nutated, &precession(t)),
            sidereal_deg: mean_sidereal_deg(tt) + psi * (mean + eps).to_radians().cos(),
        }
    }

    /// Components of date to those of the ICRS.
    pub(super) fn to_icrs(&self, v: [f64; 3]) -> [f64; 3] {
        std::array::from_fn(|n| (0..3).map(|k| self.from_icrs[k][n] * v[k]).sum())
    }
}

/// Mean obliquity of the ecliptic in degrees, `t` Julian centuries from J2000 (N. Capitaine et al. 2003, A&A 412, 567).
pub(super) fn obliquity_deg(t: f64) -> f64 {
    (84_381.406 - 46.836_769 * t) / 3600.0
}

/// Nutation in longitude and obliquity in degrees: the four largest terms of the IAU 1980 theory (J. Meeus 1998,
/// Astronomical Algorithms, ch. 22, good to 0.5" and 0.1").
fn nutation_deg(t: f64) -> (f64, f64) {
    let node = (125.044_52 - 1_934.136_261 * t).to_radians();
    let sun = (280.466_5 + 36_000.769_8 * t).to_radians();
    let moon = (218.316_5 + 481_267.881_3 * t).to_radians();
    let longitude = -17.20 * node.sin() - 1.32 * (2.0 * sun).sin() - 0.23 * (2.0 * moon).sin()
        + 0.21 * (2.0 * node).sin();
    let obliquity = 9.20 * node.cos() + 0.57 * (2.0 * sun).cos() + 0.10 * (2.0 * moon).cos()
        - 0.09 * (2.0 * node).cos();
    (longitude / 3600.0, obliquity / 3600.0)
}

/// From the mean equator of J2000 to that of date: angles of N. Capitaine, P. T. Wallace and J. Chapront 2003, A&A 412, 567,
/// to the cube of time.
fn precession(t: f64) -> Rotation {
    let zeta = 2.650_545 + t * (2_306.083_227 + t * (0.298_849_9 + t * 0.018_018_28));
    let z = -2.650_545 + t * (2_306.077_181 + t * (1.092_734_8 + t * 0.018_268_37));
    let theta = t * (2_004.191_903 - t * (0.429_493_4 + t * 0.041_822_64));
    let tilted = product(&turn_y(theta / 3600.0), &turn_z(-zeta / 3600.0));
    product(&turn_z(-z / 3600.0), &tilted)
}

/// Greenwich mean sidereal time in degrees, were UT1 equal to TT (Earth rotation angle and precession: N. Capitaine et al.
/// 2003, A&A 406, 1135, and A&A 412, 567).
fn mean_sidereal_deg(tt: Tt) -> f64 {
    let days = tt.j2000_s / 86_400.0;
    let t = tt.j2000_s / CENTURY_S;
    let turns = 0.779_057_273_264 + 0.002_737_811_911_354_48 * days + days.rem_euclid(1.0);
    turns.rem_euclid(1.0) * 360.0 + (0.014_506 + t * (4_612.156_534 + t * 1.391_581_7)) / 3600.0
}

/// Turn of the axes by an angle about the first one.
fn turn_x(deg: f64) -> Rotation {
    let (s, c) = deg.to_radians().sin_cos();
    [[1.0, 0.0, 0.0], [0.0, c, s], [0.0, -s, c]]
}

/// Turn of the axes by an angle about the second one.
fn turn_y(deg: f64) -> Rotation {
    let (s, c) = deg.to_radians().sin_cos();
    [[c, 0.0, -s], [0.0, 1.0, 0.0], [s, 0.0, c]]
}

/// Turn of the axes by an angle about the third one.
fn turn_z(deg: f64) -> Rotation {
    let (s, c) = deg.to_radians().sin_cos();
    [[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]
}

fn product(a: &Rotation, b: &Rotation) -> Rotation {
    std::array::from_fn(|i| std::array::from_fn(|j| (0..3).map(|k| a[i][k] * b[k][j]).sum()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Skyfield 1.55 (IAU 2000A nutation): the true pole of date and apparent sidereal time on 2017-08-21 at 18:40 TT.
    #[test]
    fn the_frame_of_date_is_that_of_a_full_theory() {
        let tt = Tt::from_j2000_s(556_612_800.0);
        let frame = FrameOfDate::at(tt);
        let pole = frame.to_icrs([0.0, 0.0, 1.0]);
        for (found, expected) in pole.iter().zip([1.696_066e-3, -3.810_8e-5, 0.999_998_561]) {
            assert!((found - expected).abs() < 3e-6, "{found} {expected}");
        }
        assert!((frame.sidereal_deg - 250.272_438).abs() < 2e-4);
    }
}
