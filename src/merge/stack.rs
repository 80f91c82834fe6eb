//! Weighted means of frames laid on one canvas.

use rayon::prelude::*;

use super::light::{Light, smooth_step};
use super::place::Placement;
use crate::raster::{LinearRgb, Rect};

/// Canvas rows handled by one thread at a time.
const BAND_ROWS: usize = 64;

/// Canvas columns handled at a time, so that the part of a turned frame behind them stays small.
const TILE_COLUMNS: usize = 256;

/// Light this much weaker in weight than what is there already is passed over: it could not move the mean by a
/// thousandth.
const NEGLIGIBLE: f32 = 1e-3;

/// Phases of the sub-pixel kernel per pixel.
const PHASES: usize = 128;

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
    fn at(&self, x: f64, y: f64) -> f32 {
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
    fn over(&self, x0: f64, y0: f64, x1: f64, y1: f64) -> Option<bool> {
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
        bands.for_each_init(Vec::new, |buffer, (band, (mean, weight))| {
            for column in (0..width).step_by(TILE_COLUMNS) {
                let mut tile = Tile {
                    canvas: [left + column, top + band * BAND_ROWS],
                    size: [TILE_COLUMNS.min(width - column), weight.len() / width],
                    offset: column,
                    stride: width,
                    mean,
                    weight,
                };
                tile.add(light, place, mask, buffer);
            }
        });
    }
}

/// A rectangle of the stack that one thread works on.
struct Tile<'a> {
    /// Left and top edge on the canvas.
    canvas: [usize; 2],
    size: [usize; 2],
    /// Column in the band.
    offset: usize,
    stride: usize,
    mean: &'a mut [f32],
    weight: &'a mut [f32],
}

impl Tile<'_> {
    fn add(&mut self, light: &Light, place: &Placement, mask: &Mask, buffer: &mut Vec<f32>) {
        let [x0, y0] = self.canvas.map(|v| v as f64);
        let (x1, y1) = (x0 + self.size[0] as f64, y0 + self.size[1] as f64);
        let masked = mask.over(x0, y0, x1, y1);
        if masked == Some(false) {
            return;
        }
        let Some(source) = self.source(light, place) else {
            return;
        };
        let top = light.top_weight(source);
        if top <= 0.0 || top < NEGLIGIBLE * self.least_weight() {
            return;
        }
        light.fill(source, buffer);
        let mask = if masked == Some(true) {
            &Mask::Nothing
        } else {
            mask
        };
        let window = Window {
            rect: source,
            rgb: buffer,
        };
        for row in 0..self.size[1] {
            self.add_row(row, light, place, mask, &window);
        }
    }

    fn least_weight(&self) -> f32 {
        let mut least = f32::INFINITY;
        for row in 0..self.size[1] {
            let start = row * self.stride + self.offset;
            for &w in &self.weight[start..start + self.size[0]] {
                least = least.min(w);
            }
        }
        least
    }

    /// The part of the frame behind the tile, with room for the kernel; `None` when there is none.
    fn source(&self, light: &Light, place: &Placement) -> Option<Rect> {
        let [x0, y0] = self.canvas.map(|v| v as f64);
        let (x1, y1) = (
            x0 + self.size[0] as f64 - 1.0,
            y0 + self.size[1] as f64 - 1.0,
        );
        let corners = [(x0, y0), (x1, y0), (x0, y1), (x1, y1)].map(|(x, y)| place.to_frame(x, y));
        let range = |axis: usize, limit: usize| {
            let low = corners
                .iter()
                .map(|c| c[axis])
                .fold(f64::INFINITY, f64::min);
            let high = corners
                .iter()
                .map(|c| c[axis])
                .fold(f64::NEG_INFINITY, f64::max);
            let from = (low.floor() - 2.0).clamp(0.0, limit as f64) as usize;
            let to = (high.floor() + 4.0).clamp(0.0, limit as f64) as usize;
            (to > from + 4).then_some((from, to - from))
        };
        let (x, width) = range(0, light.width())?;
        let (y, height) = range(1, light.height())?;
        Some(Rect {
            x,
            y,
            width,
            height,
        })
    }

    fn add_row(
        &mut self,
        row: usize,
        light: &Light,
        place: &Placement,
        mask: &Mask,
        window: &Window,
    ) {
        let y = (self.canvas[1] + row) as f64;
        let [sx, sy] = place.step();
        let start = place.to_frame(self.canvas[0] as f64, y);
        for column in 0..self.size[0] {
            let step = column as f64;
            let (fx, fy) = (start[0] + sx * step, start[1] + sy * step);
            let counts = mask.at((self.canvas[0] + column) as f64, y);
            if counts <= 0.0 {
                continue;
            }
            let Some(rgb) = window.sample(fx, fy) else {
                continue;
            };
            let w = counts * light.weight(fx as f32, fy as f32);
            if w > 0.0 {
                self.put(row * self.stride + self.offset + column, rgb, w);
            }
        }
    }

    fn put(&mut self, i: usize, rgb: [f32; 3], w: f32) {
        let total = self.weight[i] + w;
        let share = w / total;
        self.weight[i] = total;
        for (mean, v) in self.mean[i * 3..i * 3 + 3].iter_mut().zip(rgb) {
            *mean += (v - *mean) * share;
        }
    }
}

/// A part of a frame as radiance.
struct Window<'a> {
    rect: Rect,
    rgb: &'a [f32],
}

impl Window<'_> {
    /// Radiance at a place of the frame by cubic convolution over 4 by 4 pixels (Keys 1981, "Cubic convolution
    /// interpolation for digital image processing", IEEE Trans. ASSP 29, 1153, with a = -1/2); `None` within two
    /// pixels of the window's edge.
    fn sample(&self, fx: f64, fy: f64) -> Option<[f32; 3]> {
        let (x, y) = (fx - self.rect.x as f64, fy - self.rect.y as f64);
        let (left, top) = (x.floor(), y.floor());
        if left < 1.0
            || top < 1.0
            || left + 2.0 >= self.rect.width as f64
            || top + 2.0 >= self.rect.height as f64
        {
            return None;
        }
        let kernel = &*KERNEL;
        let kx = &kernel[phase(x - left)];
        let ky = &kernel[phase(y - top)];
        let mut out = [0.0_f32; 3];
        for (j, wy) in ky.iter().enumerate() {
            let start = ((top as usize + j - 1) * self.rect.width + left as usize - 1) * 3;
            let row: &[f32; 12] = self.rgb[start..start + 12].try_into().ok()?;
            for (c, out) in out.iter_mut().enumerate() {
                *out += wy
                    * (kx[0] * row[c]
                        + kx[1] * row[3 + c]
                        + kx[2] * row[6 + c]
                        + kx[3] * row[9 + c]);
            }
        }
        Some(out)
    }
}

fn phase(part: f64) -> usize {
    ((part * PHASES as f64 + 0.5) as usize).min(PHASES)
}

/// Keys' kernel at each phase, for the pixels at -1, 0, 1 and 2.
static KERNEL: std::sync::LazyLock<Vec<[f32; 4]>> = std::sync::LazyLock::new(|| {
    (0..=PHASES)
        .map(|p| {
            let t = p as f64 / PHASES as f64;
            let (t2, t3) = (t * t, t * t * t);
            [
                -0.5 * t3 + t2 - 0.5 * t,
                1.5 * t3 - 2.5 * t2 + 1.0,
                -1.5 * t3 + 2.0 * t2 + 0.5 * t,
                0.5 * t3 - 0.5 * t2,
            ]
            .map(|v| v as f32)
        })
        .collect()
});
