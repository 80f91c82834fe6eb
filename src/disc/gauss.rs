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

/// Density of the normal distribution, to about 1e-9; 0 beyond the reach of the table.
pub(super) fn density(z: f64) -> f64 {
    if !(-REACH..REACH).contains(&z) {
        return 0.0;
    }
    let at = (z + REACH) * PER_UNIT as f64;
    let i = (at as usize).min(TABLE.len() - 2);
    let t = at - i as f64;
    let h = 1.0 / PER_UNIT as f64;
    let z0 = i as f64 * h - REACH;
    // The density's own slope is -z times itself.
    let (y0, y1) = (TABLE[i][1], TABLE[i + 1][1]);
    hermite(t, y0, -h * z0 * y0, y1, -h * (z0 + h) * y1)
}

/// Cubic between two values with their slopes, `t` from 0 to 1.
fn hermite(t: f64, y0: f64, m0: f64, y1: f64, m1: f64) -> f64 {
    let (t2, t3) = (t * t, t * t * t);
    y0 * (2.0 * t3 - 3.0 * t2 + 1.0)
        + m0 * (t3 - 2.0 * t2 + t)
        + y1 * (3.0 * t2 - 2.0 * t3)
        + m1 * (t3 - t2)
}

/// Share of the normal distribution below `z`, to about 1e-9.
pub(super) fn share_below(z: f64) -> f64 {
    if z <= -REACH {
        return 0.0;
    }
    if z >= REACH {
        return 1.0;
    }
    let at = (z + REACH) * PER_UNIT as f64;
    let i = (at as usize).min(TABLE.len() - 2);
    let t = at - i as f64;
    let h = 1.0 / PER_UNIT as f64;
    let ([y0, d0], [y1, d1]) = (TABLE[i], TABLE[i + 1]);
    hermite(t, y0, h * d0, y1, h * d1)
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
            assert!((share_below(z) - share).abs() < 2e-9, "{z}");
        }
    }

    #[test]
    fn the_tabled_density_is_the_formula() {
        for i in -600..600 {
            let z = f64::from(i) * 0.0099;
            assert!((density(z) - exact(z)).abs() < 1e-9, "{z}");
        }
    }
}
