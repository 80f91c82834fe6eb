//! The normal distribution, from a table.

use std::sync::LazyLock;

/// Beyond this the distribution is taken as 0 or 1 (9.9e-10 off).
const REACH: f64 = 6.0;

/// Table steps per unit.
const PER_UNIT: usize = 64;

/// Share and density at each step, the share by Simpson's rule.
static TABLE: LazyLock<Vec<[f64; 2]>> = LazyLock::new(|| {
    let h = 1.0 / PER_UNIT as f64;
    let mut sum = 0.0;
    let n = (2.0 * REACH) as usize * PER_UNIT;
    (0..=n)
        .map(|i| {
            let z = i as f64 * h - REACH;
            let here = sum;
            sum += h / 6.0 * (exact(z) + 4.0 * exact(z + 0.5 * h) + exact(z + h));
            [here, exact(z)]
        })
        .collect()
});

/// Density of the normal distribution by its formula.
fn exact(z: f64) -> f64 {
    0.398_942_280_401_432_7 * (-0.5 * z * z).exp()
}

/// Share of the normal distribution below `z` and its density there, to about 1e-9, by cubics between the table's entries; the
/// density is 0 beyond the reach of the table.
pub(super) fn share_and_density(z: f64) -> (f64, f64) {
    if z <= -REACH {
        return (0.0, 0.0);
    }
    if z >= REACH {
        return (1.0, 0.0);
    }
    const H: f64 = 1.0 / PER_UNIT as f64;
    let table = TABLE.as_slice();
    let at = (z + REACH) * PER_UNIT as f64;
    let i = (at as usize).min(table.len() - 2);
    let t = at - i as f64;
    let z0 = i as f64 * H - REACH;
    // The share's slope is the density, whose own is -z times itself.
    let ([s0, d0], [s1, d1]) = (table[i], table[i + 1]);
    let (t2, t3) = (t * t, t * t * t);
    let (late, early_slope, late_slope) = (3.0 * t2 - 2.0 * t3, t3 - 2.0 * t2 + t, t3 - t2);
    let share = s0 + (s1 - s0) * late + H * (d0 * early_slope + d1 * late_slope);
    let fall = z0 * d0 * early_slope + (z0 + H) * d1 * late_slope;
    (share, d0 + (d1 - d0) * late - H * fall)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_agree_with_printed_values() {
        // M. Abramowitz, I. A. Stegun 1964, "Handbook of Mathematical Functions", table 26.1.
        for (z, share) in [
            (0.0, 0.5),
            (1.0, 0.841_344_746),
            (-2.0, 0.022_750_132),
            (3.0, 0.998_650_102),
        ] {
            assert!((share_and_density(z).0 - share).abs() < 2e-9, "{z}");
        }
    }

    #[test]
    fn the_tabled_density_is_the_formula() {
        for i in -600..600 {
            let z = f64::from(i) * 0.0099;
            assert!((share_and_density(z).1 - exact(z)).abs() < 1e-9, "{z}");
        }
    }
}
