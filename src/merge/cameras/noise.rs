//! How noisy each of two maps is, ring by ring, at the detail both show.

use rayon::prelude::*;

use crate::domain::Circle;

/// Rings evenly in the logarithm of the distance from the Sun's centre, between these distances in solar radii.
const RINGS: usize = 20;
const BETWEEN_RADII: [f64; 2] = [1.05, 12.0];

/// Fewest places that tell a ring's noise.
const FEWEST: f64 = 200.0;

/// Least part of the scatter of both that is one map's noise: neither counts as free of it (our choice).
const LEAST_PART: f64 = 0.02;

/// Noise of two maps at one distance from the Sun.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RingNoise {
    /// Distance of the ring's middle in solar radii.
    pub radii: f64,
    /// One sigma of the main map's luminance, at the detail of the other, over the light there.
    pub main: f64,
    /// The same of the other map.
    pub other: f64,
    /// Weight of the other map, 0 to 1.
    pub weight: f64,
}

/// Sums over a ring's places.
#[derive(Clone, Copy, Default)]
struct Sums {
    count: f64,
    light: f64,
    main: f64,
    other: f64,
    both: f64,
}

impl Sums {
    fn plus(self, o: Self) -> Self {
        Self {
            count: self.count + o.count,
            light: self.light + o.light,
            main: self.main + o.main,
            other: self.other + o.other,
            both: self.both + o.both,
        }
    }
}

/// Two maps of luminance of one width at one detail, and where both may be compared.
pub(super) struct Compared<'a> {
    pub(super) sun: Circle,
    pub(super) width: usize,
    pub(super) main: &'a [f32],
    pub(super) other: &'a [f32],
    pub(super) is_good: &'a (dyn Fn(usize) -> bool + Sync),
    /// Distance in pixels at which differences are taken: noise is no longer shared there.
    pub(super) apart_px: usize,
}

/// The noise of both maps in rings. Differences between a place and the mean of two neighbours along the ring hold the corona's structure and
/// each map's noise; what both maps share of them is the structure (their covariance), so a map's noise is its variance less that.
pub(super) fn rings(of: &Compared<'_>) -> Vec<RingNoise> {
    let height = of.main.len() / of.width.max(1);
    let rows: Vec<usize> = (of.apart_px..height.saturating_sub(of.apart_px)).collect();
    // Rows are added up in order, so that the sums are the same however many threads there are.
    let by_row: Vec<[Sums; RINGS]> = rows.into_par_iter().map(|y| row(of, y)).collect();
    let mut sums = [Sums::default(); RINGS];
    for row in by_row {
        for (sum, more) in sums.iter_mut().zip(row) {
            *sum = sum.plus(more);
        }
    }
    let known: Vec<RingNoise> = sums
        .iter()
        .enumerate()
        .filter(|(_, sum)| sum.count >= FEWEST)
        .map(|(n, sum)| ring(n, sum))
        .collect();
    smoothed(&known)
}

fn row(of: &Compared<'_>, y: usize) -> [Sums; RINGS] {
    let mut sums = [Sums::default(); RINGS];
    let [near, far] = BETWEEN_RADII.map(f64::ln);
    for x in of.apart_px..of.width.saturating_sub(of.apart_px) {
        let (dx, dy) = (x as f64 - of.sun.x_px, y as f64 - of.sun.y_px);
        let r = dx.hypot(dy);
        let at = ((r / of.sun.radius_px).ln() - near) / (far - near) * RINGS as f64;
        if !(0.0..RINGS as f64).contains(&at) {
            continue;
        }
        // Along the ring, to the next pixel.
        let step = of.apart_px as f64 / r;
        let (ax, ay) = ((-dy * step).round() as isize, (dx * step).round() as isize);
        let i = y * of.width + x;
        let by = ay * of.width as isize + ax;
        let [a, b] = [i.wrapping_add_signed(by), i.wrapping_add_signed(-by)];
        if ![i, a, b].into_iter().all(of.is_good) {
            continue;
        }
        let bent = |map: &[f32]| f64::from(map[i]) - 0.5 * (f64::from(map[a]) + f64::from(map[b]));
        let (main, other) = (bent(of.main), bent(of.other));
        let sum = &mut sums[at as usize];
        *sum = sum.plus(Sums {
            count: 1.0,
            light: f64::from(of.main[i]),
            main: main * main,
            other: other * other,
            both: main * other,
        });
    }
    sums
}

fn ring(n: usize, sum: &Sums) -> RingNoise {
    let [near, far] = BETWEEN_RADII.map(f64::ln);
    let mean = |v: f64| v / sum.count;
    let least = LEAST_PART * 0.5 * mean(sum.main + sum.other);
    // A place less the mean of two has one and a half times the variance of one.
    let noise = |own: f64| (mean(own - sum.both).max(least)) / 1.5;
    let (main, other) = (noise(sum.main), noise(sum.other));
    let light = mean(sum.light).abs().max(f64::MIN_POSITIVE);
    RingNoise {
        radii: (near + (far - near) * (n as f64 + 0.5) / RINGS as f64).exp(),
        main: main.sqrt() / light,
        other: other.sqrt() / light,
        weight: main / (main + other).max(f64::MIN_POSITIVE),
    }
}

/// Weights as means over three rings: they must not jump.
fn smoothed(rings: &[RingNoise]) -> Vec<RingNoise> {
    let near = |n: usize| {
        let few = &rings[n.saturating_sub(1)..(n + 2).min(rings.len())];
        few.iter().map(|r| r.weight).sum::<f64>() / few.len() as f64
    };
    let one = |(n, ring): (usize, &RingNoise)| RingNoise {
        weight: near(n),
        ..*ring
    };
    rings.iter().enumerate().map(one).collect()
}

/// The other map's weight at a distance in solar radii.
pub(super) fn weight_at(rings: &[RingNoise], radii: f64) -> f64 {
    between(rings, radii, |ring| ring.weight)
}

/// One sigma of the difference of the two maps at a distance in solar radii, over the light there.
pub(super) fn sigma_at(rings: &[RingNoise], radii: f64) -> f64 {
    between(rings, radii, |ring| ring.main.hypot(ring.other))
}

/// A value of the rings at a distance, between those that are known and as at the last beyond them; 0 without any.
fn between(rings: &[RingNoise], radii: f64, of: impl Fn(&RingNoise) -> f64) -> f64 {
    let after = rings.partition_point(|ring| ring.radii < radii);
    match (after.checked_sub(1).map(|n| rings[n]), rings.get(after)) {
        (Some(a), Some(b)) => {
            let part = (radii / a.radii).ln() / (b.radii / a.radii).ln();
            of(&a) + (of(b) - of(&a)) * part
        }
        (Some(only), None) => of(&only),
        (None, Some(only)) => of(only),
        (None, None) => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A repeatable draw of noise of variance 1/12, evenly spread.
    fn draw(seed: u64) -> f32 {
        let h = (seed ^ (seed >> 31)).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        let h = (h ^ (h >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        (h >> 40) as f32 / (1 << 24) as f32 - 0.5
    }

    #[test]
    fn structure_both_show_is_no_noise() {
        let width = 300;
        let place = |i: usize| ((i % width) as f32, (i / width) as f32);
        let wave = |i: usize| 10.0 + 0.4 * (place(i).0 * 0.9).sin() * (place(i).1 * 0.7).cos();
        let noisy = |by: f32, seed: u64| -> Vec<f32> {
            let at = |i: usize| wave(i) + by * draw(seed + i as u64);
            (0..width * width).map(at).collect()
        };
        let (main, other) = (noisy(0.4, 7), noisy(0.1, 900_000));
        let found = rings(&Compared {
            sun: Circle {
                x_px: 150.0,
                y_px: 150.0,
                radius_px: 40.0,
            },
            width,
            main: &main,
            other: &other,
            is_good: &|_| true,
            apart_px: 3,
        });
        assert!(found.len() > 6);
        // The innermost rings have too few places to tell the lesser noise to a half.
        for ring in &found[4..] {
            // Sigma of an even spread is its width over the root of 12.
            let due = [0.4, 0.1].map(|by| by / 12.0_f64.sqrt() / 10.0);
            assert!((ring.main / due[0] - 1.0).abs() < 0.15, "{ring:?}");
            assert!((ring.other / due[1] - 1.0).abs() < 0.5, "{ring:?}");
            assert!((ring.weight - 16.0 / 17.0).abs() < 0.06, "{ring:?}");
        }
        assert!((weight_at(&found, 0.5) - found[0].weight).abs() < 1e-12);
    }
}
