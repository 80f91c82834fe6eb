//! Two maps of one corona as one.

use rayon::prelude::*;

use super::Laid;
use super::noise::{self, Compared, RingNoise};
use crate::domain::quantile;
use crate::merge::Merged;
use crate::merge::blur::blur;
use crate::merge::light::luminance;
use crate::raster::{LinearRgb, srgb_to_linear};

/// Blurs tried, as sigmas in pixels of the canvas, to bring the main map to the other's detail.
const BLURS_PX: [f64; 7] = [0.0, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0];

/// The part of the corona on which they are tried: from this distance on, so far either way, in solar radii; no more pixels than that.
const TRIED_AT_RADII: f64 = 1.55;
const TRIED_RADII: f64 = 0.4;
const TRIED_PX: usize = 320;

/// The main map counts from this far off the Moon's limb, in pixels.
const OFF_LIMB_PX: f64 = 2.0;

/// What came of a map that was added.
#[derive(Clone, Debug, PartialEq)]
pub struct Added {
    /// Blur that brings the main map to its detail, as a sigma in pixels of the canvas.
    pub blur_px: f64,
    /// Noise of both and weight, by the distance from the Sun.
    pub rings: Vec<RingNoise>,
    /// What differs between the two, in units of its noise.
    pub change: Option<Change>,
}

/// The difference of two maps at one detail, over one sigma of their noise.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// To look at: middle grey where there is none, white and black at [`Change::FULL_SIGMAS`] either way, black where one map has nothing.
    pub picture: LinearRgb,
    /// Median size of it within three radii, in sigmas: 0.67 where nothing but noise differs.
    pub median_sigmas: f64,
    /// Median sigma there, over the light.
    pub noise: f64,
}

impl Change {
    /// Sigmas of white and of black.
    pub const FULL_SIGMAS: f64 = 5.0;
}

/// Adds a map that was laid on the main one: what is finer than the other camera resolves stays the main map's, the rest is the mean of both by
/// their noise; where only one has light, or the main one is clipped in every frame, it is the other's.
///
/// `main + weight (other - blurred main)`, so that the two are compared at one detail.
///
/// With `changed`, what differs between the two is drawn too.
pub fn add(main: &mut Merged, laid: &Laid, changed: bool) -> Added {
    let width = main.radiance.width();
    let usable = usable(main);
    let light: Vec<f32> = plane(&main.radiance, luminance);
    let other: Vec<f32> = plane(&laid.light, luminance);
    let blur_px = blur_of(main, laid, [&light, &other]);
    let (rings, change) = {
        let soft = softened(&light, &usable, width, blur_px);
        let is_good = |i: usize| laid.cover[i] > 0.9 && usable[i] > 0.0;
        let rings = noise::rings(&Compared {
            sun: main.sun,
            width,
            main: &soft,
            other: &other,
            is_good: &is_good,
            apart_px: (2.0 * blur_px).ceil().max(2.0) as usize,
        });
        let change = changed.then(|| change(main, [&soft, &other], &is_good, &rings));
        (rings, change)
    };
    drop((light, other));
    let weights = weights(main, laid, &rings);
    for c in 0..3 {
        let own = plane(&main.radiance, |rgb| rgb[c]);
        let soft = softened(&own, &usable, width, blur_px);
        blend(main, (c, &soft), (laid, &weights));
    }
    Added {
        blur_px,
        rings,
        change,
    }
}

/// Difference of luminance over its noise.
fn change(
    main: &Merged,
    [soft, other]: [&[f32]; 2],
    is_good: &(dyn Fn(usize) -> bool + Sync),
    rings: &[RingNoise],
) -> Change {
    /// Distance in solar radii within which it is summed up.
    const WITHIN_RADII: f64 = 3.0;
    let (width, sun) = (main.radiance.width(), main.sun);
    let mut picture = LinearRgb::new(width, main.radiance.height());
    let (mut sizes, mut sigmas) = (Vec::new(), Vec::new());
    for (i, rgb) in picture.data_mut().chunks_exact_mut(3).enumerate() {
        if !is_good(i) {
            continue;
        }
        let (x, y) = ((i % width) as f64, (i / width) as f64);
        let radii = (x - sun.x_px).hypot(y - sun.y_px) / sun.radius_px;
        let sigma = noise::sigma_at(rings, radii).max(f64::MIN_POSITIVE);
        let off =
            f64::from(other[i] - soft[i]) / (sigma * f64::from(soft[i].max(f32::MIN_POSITIVE)));
        let coded = 0.5 + 0.5 * (off / Change::FULL_SIGMAS).clamp(-1.0, 1.0);
        rgb.fill(srgb_to_linear(coded as f32));
        if radii < WITHIN_RADII && i % 7 == 0 {
            sizes.push(off.abs() as f32);
            sigmas.push(sigma as f32);
        }
    }
    let middle = |all: &mut Vec<f32>| quantile(all, 0.5).map_or(0.0, f64::from);
    Change {
        picture,
        median_sigmas: middle(&mut sizes),
        noise: middle(&mut sigmas),
    }
}

fn plane(map: &LinearRgb, of: impl Fn([f32; 3]) -> f32 + Sync) -> Vec<f32> {
    let all = map.data().par_chunks_exact(3);
    all.map(|rgb| of([rgb[0], rgb[1], rgb[2]])).collect()
}

/// 1 where the main map shows the corona, 0 on its Moon and where no light reached.
fn usable(main: &Merged) -> Vec<f32> {
    let (width, moon) = (main.radiance.width(), main.moon);
    let at = |(i, rgb): (usize, &[f32])| {
        let (x, y) = ((i % width) as f64, (i / width) as f64);
        let off = (x - moon.x_px).hypot(y - moon.y_px) - moon.radius_px;
        f32::from(off > OFF_LIMB_PX && rgb.iter().any(|v| *v > 0.0))
    };
    main.radiance
        .data()
        .par_chunks_exact(3)
        .enumerate()
        .map(at)
        .collect()
}

/// A plane blurred within what is usable.
fn softened(light: &[f32], usable: &[f32], width: usize, sigma_px: f64) -> Vec<f32> {
    if sigma_px < 0.5 {
        return light.to_vec();
    }
    let held: Vec<f32> = light.iter().zip(usable).map(|(v, u)| v * u).collect();
    let mut over = blur(&held, width, sigma_px);
    drop(held);
    let under = blur(usable, width, sigma_px);
    let all = over.par_iter_mut().zip(&under).zip(light);
    all.for_each(|((over, under), own)| {
        *over = if *under > 0.05 { *over / under } else { *own };
    });
    over
}

/// The blur at which the main map departs least from the other, over its light, on four parts of the inner corona.
fn blur_of(main: &Merged, laid: &Laid, [light, other]: [&[f32]; 2]) -> f64 {
    let half = (TRIED_RADII * main.sun.radius_px).min(TRIED_PX as f64 / 2.0);
    let away = TRIED_AT_RADII * main.sun.radius_px;
    let parts: Vec<Part> = [(1.0, 0.0), (-1.0, 0.0), (0.0, 1.0), (0.0, -1.0)]
        .into_iter()
        .filter_map(|(right, down)| {
            let middle = [main.sun.x_px + right * away, main.sun.y_px + down * away];
            Part::of(main, middle, half)
        })
        .collect();
    let left = |sigma_px: f64| -> f64 {
        let one = |part: &Part| part.departure(sigma_px, (light, other), &laid.cover);
        parts.iter().map(one).sum()
    };
    let tried = BLURS_PX.map(|sigma_px| (sigma_px, left(sigma_px)));
    let best = tried.iter().min_by(|a, b| a.1.total_cmp(&b.1));
    best.map_or(0.0, |(sigma_px, _)| *sigma_px)
}

/// A square of the canvas.
struct Part {
    left: usize,
    top: usize,
    side: usize,
    canvas: usize,
}

impl Part {
    fn of(main: &Merged, middle: [f64; 2], half: f64) -> Option<Self> {
        let (width, height) = (main.radiance.width(), main.radiance.height());
        let [left, top] = middle.map(|v| v - half);
        let side = (2.0 * half) as usize;
        let inside = left >= 0.0 && top >= 0.0;
        let (left, top) = (left as usize, top as usize);
        let inside = inside && left + side <= width && top + side <= height && side > 16;
        inside.then_some(Self {
            left,
            top,
            side,
            canvas: width,
        })
    }

    fn departure(&self, sigma_px: f64, (light, other): (&[f32], &[f32]), cover: &[f32]) -> f64 {
        let index = |k: usize| (self.top + k / self.side) * self.canvas + self.left + k % self.side;
        let own: Vec<f32> = (0..self.side * self.side)
            .map(|k| light[index(k)])
            .collect();
        let soft = softened(&own, &vec![1.0; own.len()], self.side, sigma_px);
        // Values beyond the square count as nothing in a blur: its rim is left out.
        let rim = (3.0 * BLURS_PX[BLURS_PX.len() - 1]).ceil() as usize;
        let rim = rim.min(self.side / 4);
        let inner = rim..self.side - rim;
        let mut sum = 0.0;
        for y in inner.clone() {
            for x in inner.clone() {
                let k = y * self.side + x;
                let i = index(k);
                let off = f64::from((other[i] - soft[k]) / own[k].max(f32::MIN_POSITIVE));
                sum += f64::from(cover[i]) * off * off;
            }
        }
        sum
    }
}

/// How much the other map counts at each place.
fn weights(main: &Merged, laid: &Laid, rings: &[RingNoise]) -> Vec<f32> {
    let (width, sun) = (main.radiance.width(), main.sun);
    let at = |(i, cover): (usize, &f32)| {
        if *cover <= 0.0 {
            return 0.0;
        }
        let (x, y) = ((i % width) as f64, (i / width) as f64);
        let radii = (x - sun.x_px).hypot(y - sun.y_px) / sun.radius_px;
        cover * noise::weight_at(rings, radii) as f32
    };
    laid.cover.par_iter().enumerate().map(at).collect()
}

fn blend(main: &mut Merged, (c, soft): (usize, &[f32]), (laid, weights): (&Laid, &[f32])) {
    let width = main.radiance.width();
    let bounds = &main.bounds;
    let own = main.radiance.data_mut().par_chunks_exact_mut(3);
    let all = own.zip(laid.light.data().par_chunks_exact(3)).enumerate();
    all.for_each(|(i, (rgb, other))| {
        let (cover, weight) = (laid.cover[i], weights[i]);
        if cover <= 0.0 {
            return;
        }
        let (own, other) = (rgb[c], other[c]);
        rgb[c] = if own <= 0.0 {
            other.max(0.0)
        } else if bounds.at(i % width, i / width) && other > own {
            own + cover * (other - own)
        } else {
            // Light is never taken away wholly by what is a difference of noise.
            (own + weight * (other - soft[i])).max(0.25 * own)
        };
    });
}
