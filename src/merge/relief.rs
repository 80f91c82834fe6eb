//! How light differs from its mean at the same distance from the Sun, and how much of that is no more than grain.
//!
//! A map of few or of eight-bit frames holds noise, blocks and steps of rounding that a stretch would bring out. Each
//! place is held against two means about it: what differs by no more than grain does is taken for grain and left out,
//! what differs by more stays as it is (a soft threshold at two scales, after Donoho 1995, "De-noising by
//! soft-thresholding", IEEE Transactions on Information Theory 41, 613, in the smooth form of Wiener's gain).

use rayon::prelude::*;

use super::Merged;
use super::light::luminance;
use super::look::Look;
use super::masked::Masked;
use crate::domain::{quantile, upper_median};

/// Sigmas of grain at which half of a difference is left out (our choice, by real and drawn coronas: three and more lose
/// faint streamers of grainy film, two leave some grain).
const GRAIN_SIGMAS: f32 = 2.5;

/// Pixels over which noise of developed pictures goes together: a mean over more pixels is no more certain than one
/// over so many fewer (our choice, for demosaicing and noise reduction in cameras).
const GRAIN_PX: f32 = 1.7;

/// Light over the mean of its ring for every pixel of a map, without grain; `NaN` where there is no light, or the Moon.
pub(super) struct Relief {
    width: usize,
    height: usize,
    values: Vec<f32>,
}

impl Relief {
    pub(super) fn of(merged: &Merged, look: &Look) -> Self {
        let mut out = Self::with_grain(merged, look);
        let radius_px = look.sun.radius_px;
        let near_px = near_px(look);
        let near = out.blurred(near_px);
        let wide = out.blurred((radius_px / 8.0).clamp(4.0, 64.0));
        let grain = Grain::of(merged, look, &out, &near);
        let averaged = (GRAIN_PX / near_px as f32).min(1.0);
        let mut values = vec![f32::NAN; out.values.len()];
        let rows = values.par_chunks_mut(out.width.max(1)).enumerate();
        rows.for_each(|(y, row)| {
            for (x, value) in row.iter_mut().enumerate() {
                let Some(own) = out.at(x, y) else { continue };
                let (near, wide) = (near.at(x, y), wide.at(x, y));
                let [noise, rounding] = grain.at(look.radius(x, y));
                let noise = noise * near.max(LEAST);
                // Rounding makes terraces as wide as the near mean and wider: averaging does not lessen it.
                let off = near - wide;
                let base = wide + off * kept(off * off, averaged * noise + rounding);
                *value = base + (own - base) * out.structure(base, [x, y], noise.hypot(rounding));
            }
        });
        out.values = values;
        out
    }

    fn with_grain(merged: &Merged, look: &Look) -> Self {
        let map = &merged.radiance;
        let (width, height) = (map.width(), map.height());
        // A border of what is clipped follows the blocks of the files: it is crossed over some pixels, not in a step.
        let size = [width, height];
        let clipped = merged.bounds.any().then(|| {
            Masked::blurred(size, near_px(look), |x, y| {
                Some(f32::from(u8::from(merged.bounds.at(x, y))))
            })
        });
        let mut values = vec![f32::NAN; width * height];
        let rows = values.par_chunks_mut(width.max(1)).enumerate();
        rows.for_each(|(y, row)| {
            for (x, value) in row.iter_mut().enumerate() {
                let rgb = map.at(x, y);
                let off = look.off_moon(x, y);
                if off > EDGE_PX && rgb.iter().any(|v| *v > 0.0) {
                    let own = luminance(look.light(rgb, x, y)) / look.mean(look.radius(x, y));
                    // Where every frame is clipped the map has a lower bound, darker than all around it.
                    let clipped = clipped.as_ref().map_or(0.0, |near| near.at(x, y));
                    let lifted = (2.0 * clipped).min(1.0);
                    *value = own + (1.0 - own).max(0.0) * lifted;
                }
            }
        });
        Self {
            width,
            height,
            values,
        }
    }

    /// Light over its ring's mean; `None` where there is none.
    pub(super) fn at(&self, x: usize, y: usize) -> Option<f32> {
        Some(self.values[y * self.width + x]).filter(|v| !v.is_nan())
    }

    /// Part of what a place differs from `base` by that is structure, beside grain of such a sigma. Structure goes together: what
    /// stands out among the next pixels alone is a large grain, and is asked once more of those two pixels away.
    fn structure(&self, base: f32, at: [usize; 2], sigma: f32) -> f32 {
        /// A part so small is not worth a second look.
        const NOTHING: f32 = 0.05;
        let next = kept(self.square_off(base, at, 1), sigma);
        if next < NOTHING {
            return next;
        }
        next.min(kept(self.square_off(base, at, 2), sigma))
    }

    /// Mean square of what the places up to `reach` pixels from one, itself among them, differ from a value by.
    fn square_off(&self, from: f32, [x, y]: [usize; 2], reach: usize) -> f32 {
        let (mut sum, mut count) = (0.0, 0.0);
        for j in y.saturating_sub(reach)..(y + reach + 1).min(self.height) {
            for i in x.saturating_sub(reach)..(x + reach + 1).min(self.width) {
                if let Some(v) = self.at(i, j) {
                    sum += (v - from) * (v - from);
                    count += 1.0;
                }
            }
        }
        sum / f32::max(count, 1.0)
    }

    /// Its mean about each place.
    fn blurred(&self, sigma_px: f64) -> Masked {
        Masked::blurred([self.width, self.height], sigma_px, |x, y| self.at(x, y))
    }

    /// Natural logarithm of fine structure: light over its surroundings at two scales, with the Moon left out of them. Held
    /// small, so that nothing is drawn around stars and edges.
    pub(super) fn fine(&self, radius_px: f64) -> Fine<'_> {
        Fine {
            relief: self,
            scales: [(0.012, 0.45), (0.05, 0.35)].map(|(radii, strength)| {
                let log = |x, y| self.at(x, y).map(log);
                let size = [self.width, self.height];
                let sigma_px = f64::max(radii * radius_px, 1.0);
                (Masked::blurred(size, sigma_px, log), strength)
            }),
        }
    }
}

/// Sigma in pixels of the nearer mean about a place.
fn near_px(look: &Look) -> f64 {
    (look.sun.radius_px / 50.0).clamp(1.5, 8.0)
}

/// Pixels off the Moon's limb where its blurred edge is over.
const EDGE_PX: f32 = 3.0;

/// Least mean that noise is taken to go with.
const LEAST: f32 = 0.02;

fn log(relief: f32) -> f32 {
    relief.clamp(0.05, 20.0).ln()
}

/// Part kept of a difference of such a square beside grain of such a sigma.
fn kept(square: f32, sigma: f32) -> f32 {
    let grain = (GRAIN_SIGMAS * sigma).powi(2);
    let fourth = square * square;
    fourth / (fourth + grain * grain).max(f32::MIN_POSITIVE)
}

/// Fine structure of a relief.
pub(super) struct Fine<'a> {
    relief: &'a Relief,
    scales: [(Masked, f32); 2],
}

impl Fine<'_> {
    /// Natural logarithm of fine structure at a place; 0 where there is none.
    pub(super) fn at(&self, x: usize, y: usize) -> f32 {
        let Some(own) = self.relief.at(x, y).map(log) else {
            return 0.0;
        };
        let scales = self.scales.iter();
        let part = |(mean, strength): &(Masked, f32)| {
            strength * 0.3 * ((own - mean.at(x, y)) / 0.3).tanh()
        };
        scales.map(part).sum()
    }
}

/// Rings per factor of e in distance from the Sun in which grain is measured.
const RINGS_PER_E: f32 = 20.0;

/// Parts of each ring, so that streamers in some of them count for little.
const SECTORS: usize = 24;

/// Part of the ranking of the sectors that is taken for the ring's: more than the quietest, which rounding may have
/// made flat, less than those with much structure.
const QUIET: f64 = 0.4;

/// Pixels between the three places whose second difference tells grain: over fewer, demosaicing has made it smooth, over
/// more, structure comes in.
const APART_PX: usize = 3;

/// Grain at each distance from the Sun, over the mean there, as sigmas: noise over the light about it, and rounding.
struct Grain {
    radius_px: f32,
    rings: Vec<[f32; 2]>,
}

impl Grain {
    fn of(merged: &Merged, look: &Look, relief: &Relief, near: &Masked) -> Self {
        let radius_px = look.sun.radius_px as f32;
        let rounding = |ring: usize| {
            let radii = (ring as f32 / RINGS_PER_E).exp();
            let mean = look.mean(radii * radius_px);
            merged.rounding.sigma(mean + luminance(look.veil.at(radii))) / mean
        };
        let noise = ring_noise(look, relief, near).into_iter().enumerate();
        Self {
            radius_px,
            rings: noise.map(|(i, n)| [n, rounding(i)]).collect(),
        }
    }

    /// Noise and rounding at a distance in pixels.
    fn at(&self, r_px: f32) -> [f32; 2] {
        let last = self.rings.len() - 1;
        let at = ring(r_px / self.radius_px).min(last as f32);
        let i = (at as usize).min(last.saturating_sub(1));
        let (here, next) = (self.rings[i], self.rings[(i + 1).min(last)]);
        [0, 1].map(|k| here[k] + (next[k] - here[k]) * (at - i as f32))
    }
}

/// Ring, in fractions, of a distance in solar radii.
fn ring(radii: f32) -> f32 {
    radii.max(1.0).ln() * RINGS_PER_E
}

/// Sigma of noise in each ring, over the light about it. Rings that tell nothing take that of the last one that does.
fn ring_noise(look: &Look, relief: &Relief, near: &Masked) -> Vec<f32> {
    let told: Vec<Option<f32>> = second_differences(look, relief, near)
        .into_iter()
        .map(|sectors| of_sectors(sectors.into()))
        .collect();
    let mut last = told.iter().flatten().next().copied().unwrap_or(0.0);
    let filled = told.into_iter().map(|noise| {
        last = noise.unwrap_or(last);
        last
    });
    filled.collect()
}

/// A ring's noise from the second differences in its sectors.
fn of_sectors(sectors: Vec<Vec<f32>>) -> Option<f32> {
    /// Differences in a sector that tell its noise.
    const ENOUGH: usize = 30;
    let full = sectors.into_iter().filter(|list| list.len() >= ENOUGH);
    let mut medians: Vec<f32> = full
        .filter_map(|mut list| upper_median(&mut list))
        .collect();
    // Median to sigma, and from a second difference (variance of 1, 4 and 1) to one of the three.
    quantile(&mut medians, QUIET).map(|m| m * 1.4826 / 6.0_f32.sqrt())
}

/// Second differences along rows over the light about them, by ring and sector.
fn second_differences(look: &Look, relief: &Relief, near: &Masked) -> Vec<[Vec<f32>; SECTORS]> {
    /// Differences taken of a whole picture, about.
    const MOST: usize = 2_000_000;
    let (width, height) = (relief.width, relief.height);
    let step = (width * height / MOST).max(1);
    let mut out: Vec<[Vec<f32>; SECTORS]> = vec![Default::default(); 2];
    for y in 0..height {
        // Fewer columns on large pictures, at a place that changes from row to row.
        let last = width.saturating_sub(APART_PX);
        for x in (APART_PX + (y * 7) % step..last).step_by(step) {
            let three = [x - APART_PX, x, x + APART_PX].map(|x| relief.at(x, y));
            let [Some(left), Some(own), Some(right)] = three else {
                continue;
            };
            let (dx, dy) = (x as f64 - look.sun.x_px, y as f64 - look.sun.y_px);
            let turn = dy.atan2(dx) / std::f64::consts::TAU + 0.5;
            let sector = ((turn * SECTORS as f64) as usize).min(SECTORS - 1);
            let radii = look.radius(x, y) / look.sun.radius_px as f32;
            let ring = ring(radii).round() as usize;
            if ring >= out.len() {
                out.resize(ring + 1, Default::default());
            }
            out[ring][sector].push((left - 2.0 * own + right).abs() / near.at(x, y).max(LEAST));
        }
    }
    out
}
