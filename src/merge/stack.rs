//! Weighted means of frames laid on one canvas.

use rayon::prelude::*;

use super::LimbLight;
use super::light::{Light, smooth_step};
use super::place::Placement;
use super::tile::{Buffers, TILE_COLUMNS, Tile};
use crate::raster::{LinearRgb, Rect};

/// Canvas rows handled by one thread at a time.
const BAND_ROWS: usize = 64;

/// A disc on the canvas that decides which light counts.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Mask {
    /// Only light outside the disc, from `from_px` to `to_px` off its edge growing from nothing to all.
    Outside {
        /// Centre on the canvas.
        centre: [f64; 2],
        /// Radius in canvas pixels where nothing counts yet.
        from_px: f64,
        /// Radius in canvas pixels from where all counts.
        to_px: f64,
    },
    /// All light on the Moon's disc, and some of that in a ring around it.
    Disc {
        /// Centre on the canvas.
        centre: [f64; 2],
        /// The limb's radius in canvas pixels.
        limb_px: f64,
        /// Outer radius of the ring in canvas pixels.
        reach_px: f64,
        /// How much light in the ring counts.
        ring: f32,
    },
    /// All light.
    Nothing,
}

impl Mask {
    /// How much light at a canvas place counts, 0 to 1.
    pub(super) fn at(&self, x: f64, y: f64) -> f32 {
        match *self {
            Self::Outside {
                centre,
                from_px,
                to_px,
            } => {
                let r = (x - centre[0]).hypot(y - centre[1]);
                smooth_step(from_px as f32, to_px as f32, r as f32)
            }
            Self::Disc {
                centre,
                limb_px,
                reach_px,
                ring,
            } => {
                let r = (x - centre[0]).hypot(y - centre[1]);
                if r > reach_px {
                    return 0.0;
                }
                let out = smooth_step(limb_px as f32 - 3.0, limb_px as f32, r as f32);
                1.0 + (ring - 1.0) * out
            }
            Self::Nothing => 1.0,
        }
    }

    /// Whether all of a canvas rectangle gets the same answer, and which.
    pub(super) fn over(&self, x0: f64, y0: f64, x1: f64, y1: f64) -> Option<bool> {
        let (centre, none, all, inside) = match *self {
            Self::Outside {
                centre,
                from_px,
                to_px,
            } => (centre, from_px, to_px, false),
            Self::Disc {
                centre,
                limb_px,
                reach_px,
                ..
            } => (centre, reach_px, limb_px - 3.0, true),
            Self::Nothing => return Some(true),
        };
        let nearest =
            (centre[0].clamp(x0, x1) - centre[0]).hypot(centre[1].clamp(y0, y1) - centre[1]);
        let far = |c: f64, a: f64, b: f64| (c - a).abs().max((c - b).abs());
        let farthest = far(centre[0], x0, x1).hypot(far(centre[1], y0, y1));
        match inside {
            false if nearest >= all => Some(true),
            false if farthest <= none => Some(false),
            true if farthest <= all => Some(true),
            true if nearest > none => Some(false),
            _ => None,
        }
    }
}

/// A yes or no for every place of the canvas.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Grid {
    width: usize,
    bits: Vec<u64>,
}

impl Grid {
    /// Yes where `is` says so of a row-major value.
    pub(crate) fn of(width: usize, values: &[f32], is: impl Fn(f32) -> bool + Sync) -> Self {
        let word = |few: &[f32]| {
            let set = few.iter().enumerate().filter(|(_, v)| is(**v));
            set.fold(0_u64, |word, (i, _)| word | 1 << i)
        };
        Self {
            width,
            bits: values.par_chunks(64).map(word).collect(),
        }
    }

    /// Whether the answer is yes anywhere.
    pub(crate) fn any(&self) -> bool {
        self.bits.iter().any(|word| *word != 0)
    }

    /// The answer at a place.
    pub(crate) fn at(&self, x: usize, y: usize) -> bool {
        let i = y * self.width + x;
        self.bits[i / 64] >> (i % 64) & 1 == 1
    }
}

/// A running weighted mean per pixel of a part of the canvas.
pub(crate) struct Stack {
    /// Left and top edge on the canvas.
    origin: [usize; 2],
    mean: LinearRgb,
    weight: Vec<f32>,
}

impl Stack {
    /// An empty stack over a part of the canvas.
    pub(crate) fn new(area: Rect) -> Self {
        Self {
            origin: [area.x, area.y],
            mean: LinearRgb::new(area.width, area.height),
            weight: vec![0.0; area.width * area.height],
        }
    }

    /// The part of the canvas it covers.
    pub(crate) fn area(&self) -> Rect {
        Rect {
            x: self.origin[0],
            y: self.origin[1],
            width: self.mean.width(),
            height: self.mean.height(),
        }
    }

    /// Mean and weight at a canvas pixel; nothing outside the stack.
    pub(crate) fn at(&self, x: usize, y: usize) -> ([f32; 3], f32) {
        let (Some(x), Some(y)) = (
            x.checked_sub(self.origin[0])
                .filter(|x| *x < self.mean.width()),
            y.checked_sub(self.origin[1])
                .filter(|y| *y < self.mean.height()),
        ) else {
            return ([0.0; 3], 0.0);
        };
        (self.mean.at(x, y), self.weight[y * self.mean.width() + x])
    }

    /// The means over a part of the canvas inside the stack.
    pub(crate) fn cut_out(&self, area: Rect) -> LimbLight {
        let mut light = LinearRgb::new(area.width, area.height);
        for y in 0..area.height {
            for x in 0..area.width {
                light.set(x, y, self.at(area.x + x, area.y + y).0);
            }
        }
        LimbLight {
            light,
            left_px: area.x,
            top_px: area.y,
        }
    }

    /// This stack and another of the same part of the canvas as one.
    pub(crate) fn joined(mut self, other: &Self) -> Self {
        let means = self.mean.data_mut().chunks_exact_mut(3);
        let others = other.mean.data().chunks_exact(3).zip(&other.weight);
        for ((mean, weight), (more, w)) in means.zip(&mut self.weight).zip(others) {
            if *w > 0.0 {
                *weight += w;
                let share = w / *weight;
                for (mean, more) in mean.iter_mut().zip(more) {
                    *mean += (more - *mean) * share;
                }
            }
        }
        self
    }

    /// The means and weights.
    pub(crate) fn into_parts(self) -> (LinearRgb, Vec<f32>) {
        (self.mean, self.weight)
    }

    /// Adds one frame. Frames from the longest exposure to the shortest are quickest.
    pub(crate) fn add(&mut self, light: &Light, place: &Placement, mask: &Mask) {
        let width = self.mean.width();
        if width == 0 {
            return;
        }
        let [left, top] = self.origin;
        let bands = self
            .mean
            .data_mut()
            .par_chunks_mut(BAND_ROWS * width * 3)
            .zip(self.weight.par_chunks_mut(BAND_ROWS * width))
            .enumerate();
        bands.for_each_init(Buffers::default, |buffers, (band, (mean, weight))| {
            for column in (0..width).step_by(TILE_COLUMNS) {
                let mut tile = Tile {
                    canvas: [left + column, top + band * BAND_ROWS],
                    size: [TILE_COLUMNS.min(width - column), weight.len() / width],
                    offset: column,
                    stride: width,
                    mean,
                    weight,
                };
                tile.add(light, place, mask, buffers);
            }
        });
    }
}
