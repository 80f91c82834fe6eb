//! The Sun as light on the sky: photosphere, spots, chromosphere and prominences.
//!
//! Places are in solar radii, east and north of the Sun's centre. Radiances are in units of the mean solar disc.

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

use super::grain::{Grain, rise};

/// Mean wavelengths of red, green and blue, in micrometres (common practice for camera filters).
const WAVELENGTHS_UM: [f32; 3] = [0.60, 0.54, 0.46];

/// Exponent of the limb-darkening law `I = mu^alpha` at a wavelength: `alpha = -0.023 + 0.292 / lambda`.
///
/// Source: Hestroffer & Magnan 1998, Astron. Astrophys. 333, 338, with u = 1 as there for 416 to 1099 nm; coefficients
/// from memory.
fn darkening_exponent(wavelength_um: f32) -> f32 {
    -0.023 + 0.292 / wavelength_um
}

/// A sunspot: a dark core in a greyer ring.
#[derive(Clone, Copy, Debug)]
struct Spot {
    east: f32,
    north: f32,
    radius: f32,
}

/// The bright disc.
#[derive(Clone, Debug)]
pub struct Photosphere {
    exponents: [f32; 3],
    /// Disc centre over disc mean, by colour.
    centre: [f32; 3],
    spots: Vec<Spot>,
}

impl Photosphere {
    /// A disc with a few spots. They are invented: the real Sun was all but spotless in July 2019.
    pub fn new(seed: u64) -> Self {
        let exponents = WAVELENGTHS_UM.map(darkening_exponent);
        let mut rng = Pcg64::seed_from_u64(seed ^ 0x5907);
        let mut spots = Vec::new();
        for (east, north, size) in [(-0.42, 0.24, 0.034), (0.31, -0.21, 0.028)] {
            for n in 0..6 {
                let away = 0.075 * n as f32 / 5.0;
                spots.push(Spot {
                    east: east + away * rng.random_range(0.5..1.3),
                    north: north + 0.025 * rng.random_range(-1.0..1.0),
                    radius: size
                        * if n == 0 {
                            1.0
                        } else {
                            rng.random_range(0.15..0.6)
                        },
                });
            }
        }
        Self {
            exponents,
            centre: exponents.map(|a| (a + 2.0) / 2.0),
            spots,
        }
    }

    /// Radiance; zero outside the limb.
    pub fn at(&self, east: f32, north: f32) -> [f32; 3] {
        let mu2 = 1.0 - east * east - north * north;
        if mu2 <= 0.0 {
            return [0.0; 3];
        }
        let shade = self.shade(east, north, mu2.sqrt());
        std::array::from_fn(|c| self.centre[c] * mu2.powf(0.5 * self.exponents[c]) * shade)
    }

    /// What spots leave of the light, 0 to 1; foreshortened towards the limb.
    fn shade(&self, east: f32, north: f32, mu: f32) -> f32 {
        let mut left = 1.0_f32;
        for spot in &self.spots {
            let (de, dn) = (east - spot.east, north - spot.north);
            if de.abs() > 2.0 * spot.radius || dn.abs() > 2.0 * spot.radius {
                continue;
            }
            let r = (spot.east * spot.east + spot.north * spot.north)
                .sqrt()
                .max(1e-3);
            let (ue, un) = (spot.east / r, spot.north / r);
            let along = (de * ue + dn * un) / mu.max(0.1);
            let across = de * un - dn * ue;
            let d = (along * along + across * across).sqrt() / spot.radius;
            left = left
                .min(1.0 - 0.32 * (1.0 - rise(0.75, 1.05, d)) - 0.48 * (1.0 - rise(0.3, 0.5, d)));
        }
        left
    }
}

/// Height of the prominence map over the limb, in solar radii.
const FLAMES_TOP: f32 = 0.16;
/// Cells of the prominence map around the limb and up from it.
const FLAMES_SIZE: (usize, usize) = (4096, 96);
/// Colour of hydrogen light: the red line with some blue (H-alpha, H-beta).
const PINK: [f32; 3] = [1.0, 0.20, 0.36];
/// Radiance of the brightest parts of prominences in red. Espenak's exposure guide gives Q = 9 for prominences against
/// 7 for the corona at 0.1 radii: four times the corona there.
const FLAME_RADIANCE: f32 = 1.7e-5;
/// Radiance at the foot of the chromosphere in red; in the same guide, Q = 11: sixteen times the corona at 0.1 radii.
const CHROMOSPHERE_RADIANCE: f32 = 6e-5;
/// Scale height of the chromosphere in solar radii: about 2,000 km of 696,000 km (common practice).
const CHROMOSPHERE_HEIGHT: f32 = 0.0029;

/// Chromosphere and prominences.
#[derive(Clone, Debug)]
pub struct Chromosphere {
    grain: Grain,
    flames: Vec<f32>,
}

impl Chromosphere {
    /// Seeded prominences of many sizes about the limb; one near each of `favoured_deg` (position angles).
    pub fn new(seed: u64, favoured_deg: &[f32]) -> Self {
        let mut rng = Pcg64::seed_from_u64(seed ^ 0xF1A3E);
        let mut list: Vec<[f32; 3]> = (0..15)
            .map(|_| {
                [
                    rng.random_range(0.0..360.0),
                    rng.random_range(0.012..0.034),
                    rng.random_range(0.5..1.8),
                ]
            })
            .collect();
        for (n, &pa) in favoured_deg.iter().enumerate() {
            list.push([
                pa + rng.random_range(-4.0..4.0),
                0.085 - 0.017 * n as f32,
                1.9,
            ]);
            list.push([pa + rng.random_range(9.0..17.0), 0.042, 1.3]);
            list.push([pa - rng.random_range(14.0..30.0), 0.034, 2.4]);
        }
        let grain = Grain::new(seed, 31);
        Self {
            grain,
            flames: flame_map(grain, &list),
        }
    }

    /// Radiance at a place outside the limb; zero inside and high above it.
    pub fn at(&self, east: f32, north: f32) -> [f32; 3] {
        let height = (east * east + north * north).sqrt() - 1.0;
        if !(0.0..FLAMES_TOP).contains(&height) {
            return [0.0; 3];
        }
        let turn = east.atan2(north).rem_euclid(std::f32::consts::TAU) / std::f32::consts::TAU;
        let spikes = 1.0 + 0.5 * self.grain.lines(turn * 900.0, 2, 0.6);
        let carpet = CHROMOSPHERE_RADIANCE * (-height / (CHROMOSPHERE_HEIGHT * spikes)).exp();
        let light = carpet + FLAME_RADIANCE * self.flame(turn, height);
        PINK.map(|c| c * light)
    }

    /// Bilinear look-up in the prominence map.
    fn flame(&self, turn: f32, height: f32) -> f32 {
        let (around, up) = FLAMES_SIZE;
        let (x, y) = (turn * around as f32, height / FLAMES_TOP * (up - 1) as f32);
        let (i, j) = ((x as usize) % around, (y as usize).min(up - 2));
        let (fx, fy) = (x - x.floor(), y - j as f32);
        let at = |i: usize, j: usize| self.flames[j * around + i % around];
        let low = at(i, j) + (at(i + 1, j) - at(i, j)) * fx;
        let high = at(i, j + 1) + (at(i + 1, j + 1) - at(i, j + 1)) * fx;
        low + (high - low) * fy
    }
}

/// Draws arches and hedgerows into a map of position angle and height, 0 to about 1.
fn flame_map(grain: Grain, list: &[[f32; 3]]) -> Vec<f32> {
    let (around, up) = FLAMES_SIZE;
    let mut map = vec![0.0; around * up];
    for &[pa, tall, wide] in list {
        let half = (wide * 3.5 / 360.0 * around as f32) as isize;
        let middle = (pa / 360.0 * around as f32) as isize;
        for i in middle - half..=middle + half {
            let column = i.rem_euclid(around as isize) as usize;
            let from = (i - middle) as f32 / around as f32 * 360.0 / wide;
            for j in 0..up {
                let height = j as f32 / (up - 1) as f32 * FLAMES_TOP;
                map[j * around + column] += flame_body(grain, pa, from, height / tall, wide);
            }
        }
    }
    map
}

/// One prominence at `from` half-widths sideways and `up` heights above the limb.
fn flame_body(grain: Grain, pa: f32, from: f32, up: f32, wide: f32) -> f32 {
    let lean = from + 0.25 * up * grain.line(pa);
    let ring = (lean * lean + up * up).sqrt();
    let arch = (-((ring - 0.8) / 0.22).powi(2)).exp();
    let hedge = (-(lean / 0.6).powi(2)).exp() * (1.0 - rise(0.3, 1.0, up));
    let threads = 0.5 + 1.1 * grain.planes(lean * 3.0 * wide + pa, up * 2.2 + lean.abs(), 4, 0.7);
    (arch + 0.7 * hedge) * threads.max(0.0).powf(1.3) * (1.0 - rise(1.0, 1.35, up))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_disc_is_one_on_the_mean() {
        let sun = Photosphere {
            spots: Vec::new(),
            ..Photosphere::new(1)
        };
        let (mut sum, mut n) = ([0.0_f64; 3], 0.0_f64);
        for y in -500..=500 {
            for x in -500..=500 {
                let (e, nn) = (x as f32 / 500.0, y as f32 / 500.0);
                if e * e + nn * nn < 1.0 {
                    let rgb = sun.at(e, nn);
                    (0..3).for_each(|c| sum[c] += f64::from(rgb[c]));
                    n += 1.0;
                }
            }
        }
        for s in sum {
            assert!((s / n - 1.0).abs() < 2e-3, "{}", s / n);
        }
    }
}
