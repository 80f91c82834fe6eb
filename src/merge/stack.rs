//! Weighted means of frames laid on one canvas.

use rayon::prelude::*;

use super::light::Light;
use super::mask::Mask;
use super::place::Placement;
use super::tile::{Buffers, TILE_COLUMNS, Tile};
use crate::raster::{LinearRgb, Rect};

/// Canvas rows handled by one thread at a time.
const BAND_ROWS: usize = 64;

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

/// A part of the canvas around the Sun or the Moon.
#[derive(Clone, Debug, PartialEq)]
pub struct LimbLight {
    /// Relative radiance in the unit of the whole; 0 where the Moon covered the place in every frame.
    pub light: LinearRgb,
    /// Left edge on the canvas.
    pub left_px: usize,
    /// Top edge on the canvas.
    pub top_px: usize,
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
