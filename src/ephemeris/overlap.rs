//! How much of the Sun is covered.

use std::f64::consts::PI;

/// Covered fraction of the Sun's area, 0 to 1: two circles in a plane.
///
/// `separation`, `sun` and `moon` (radii) share any one unit. Source: area of a lens of two circles, elementary geometry.
pub fn covered_area(separation: f64, sun: f64, moon: f64) -> f64 {
    if separation >= sun + moon {
        return 0.0;
    }
    if separation <= (moon - sun).abs() {
        return (moon / sun).min(1.0).powi(2);
    }
    let at_sun = half_angle(separation, sun, moon);
    let at_moon = half_angle(separation, moon, sun);
    let lens = sun * sun * (at_sun - at_sun.sin() * at_sun.cos())
        + moon * moon * (at_moon - at_moon.sin() * at_moon.cos());
    (lens / (PI * sun * sun)).clamp(0.0, 1.0)
}

/// Half the angle at the centre of circle `here` between the two crossings with circle `there`.
///
/// From the half-angle tangent, which keeps its digits where the cosine is near one.
fn half_angle(separation: f64, here: f64, there: f64) -> f64 {
    let s = (separation + here + there) / 2.0;
    let opposite = (s - separation) * (s - here);
    2.0 * (opposite.max(0.0))
        .sqrt()
        .atan2((s * (s - there)).max(0.0).sqrt())
}

/// Covered fraction of the Sun's diameter: `(sun + moon - separation) / (2 sun)`, above 1 in totality, 0 when apart.
pub fn covered_diameter(separation: f64, sun: f64, moon: f64) -> f64 {
    ((sun + moon - separation) / (2.0 * sun)).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lens_agrees_with_counted_squares() {
        let (sep, sun, moon) = (0.8, 1.0, 1.03);
        let n = 2000;
        let (mut inside, mut both) = (0u32, 0u32);
        for i in 0..n {
            for j in 0..n {
                let x = (f64::from(i) + 0.5) / f64::from(n) * 2.0 - 1.0;
                let y = (f64::from(j) + 0.5) / f64::from(n) * 2.0 - 1.0;
                if x.hypot(y) < sun {
                    inside += 1;
                    both += u32::from((x - sep).hypot(y) < moon);
                }
            }
        }
        let counted = f64::from(both) / f64::from(inside);
        assert!((covered_area(sep, sun, moon) - counted).abs() < 1e-4);
    }

    #[test]
    fn the_ends_are_exact() {
        assert!(covered_area(2.1, 1.0, 1.0) < 1e-12);
        assert!((covered_area(0.01, 1.0, 1.05) - 1.0).abs() < 1e-12);
        assert!((covered_area(0.0, 1.0, 0.9) - 0.81).abs() < 1e-12);
        assert!((covered_area(0.5, 1.0, 0.5 + 1e-12) - 0.25).abs() < 1e-6);
    }
}
