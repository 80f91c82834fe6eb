//! One frame as radiance: a table from stored values to light, and how far each part of it can be trusted.

use rayon::prelude::*;

use super::response::Response;
use crate::raster::{Frame, Rect, Samples, Transfer, srgb_to_linear};

/// Pixels on a side of the blocks that trust is worked out for.
pub(crate) const BLOCK_PX: usize = 4;

/// Coded values, as fractions of the largest, between which trust falls to nothing on the way to clipping. The upper
/// leaves a margin below saturation, since tone curves flatten and noise straddles it.
const CLIP_FADE: [f32; 2] = [0.82, 0.95];

/// Blocks over which trust grows from next to nothing at a frame's edge, so that no edge shows in the stack.
const EDGE_FADE_BLOCKS: f32 = 16.0;

/// Trust left to clipped light, relative to good light: only ever counts where there is nothing else.
const LAST_RESORT: f64 = 1e-12;

/// Weight of any good light is more than this, of clipped light less: inverse variances in units of the shortest exposure.
pub(super) const LEAST_GOOD: f32 = 1e-3;

/// Noise of one frame in decoded light: `variance = read² + gain * value`, after the affine model of Hasinoff, Durand
/// & Freeman 2010, "Noise-optimal capture for high dynamic range photography" (CVPR).
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Noise {
    /// Standard deviation without light.
    pub(crate) read: f64,
    /// Variance per unit of light: the inverse of the electrons at saturation.
    pub(crate) gain: f64,
}

impl Noise {
    /// Of no use but to tell lone hot pixels from grain.
    const PLAIN: Self = Self {
        read: 4e-4,
        gain: 4e-5,
    };

    /// A camera of some 25,000 electrons at saturation at ISO 100 (from memory: full-frame bodies hold 50,000 to
    /// 100,000, small sensors fewer); the ratio of weights hardly depends on it.
    pub(crate) fn at_iso(iso: f64) -> Self {
        let speed = (iso / 100.0).clamp(0.1, 1000.0);
        Self {
            read: 4e-4 * speed.sqrt(),
            gain: 4e-5 * speed,
        }
    }
}

/// A frame ready to be stacked.
pub(crate) struct Light<'a> {
    frame: &'a Frame,
    /// Radiance for each stored value and channel.
    tables: [Vec<f32>; 3],
    /// Weight of each block, row-major.
    weights: Vec<f32>,
    blocks: [usize; 2],
    /// Single pixels far brighter than their neighbours, as row-major indices in order.
    hot: Vec<u32>,
    /// Hot pixels that many frames share, the same way; each mended with the eight around it.
    shared: &'a [u32],
}

/// How much the parts of a frame count.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Weighing {
    /// By how well they were exposed.
    ByNoise {
        /// Stops above the shortest exposure. Clipped light may stand where there is nothing else, that of the shortest
        /// exposure there before all.
        above_shortest: f64,
    },
    /// All alike.
    Even,
}

/// How stored values become radiance.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Conversion {
    /// Black level per channel in decoded light.
    pub(crate) black: [f32; 3],
    /// Residual response.
    pub(crate) response: Response,
    /// Radiance per unit of light: 2 to the power of minus the exposure in stops.
    pub(crate) scale: f64,
    /// Noise of the frame.
    pub(crate) noise: Noise,
    /// What counts.
    pub(crate) weighing: Weighing,
}

impl Conversion {
    /// Decoded light as the file has it, all of it alike.
    pub(crate) const PLAIN: Self = Self {
        black: [0.0; 3],
        response: Response::IDENTITY,
        scale: 1.0,
        noise: Noise::PLAIN,
        weighing: Weighing::Even,
    };
}

impl<'a> Light<'a> {
    /// Prepares a frame; `shared` are its hot pixels that other frames have too, row-major and in order.
    pub(crate) fn new(frame: &'a Frame, how: &Conversion, shared: &'a [u32]) -> Self {
        let tables = std::array::from_fn(|channel| table(frame, how, channel));
        let blocks = [
            frame.width().div_ceil(BLOCK_PX),
            frame.height().div_ceil(BLOCK_PX),
        ];
        let around = Surroundings::of(shared, frame.width());
        let (means, tops, hot) = match frame.samples() {
            Samples::U8(v) => block_looks(frame, v, &tables, blocks, how, &around),
            Samples::U16(v) => block_looks(frame, v, &tables, blocks, how, &around),
        };
        let weights = weights(&means, &tops, blocks, how, steps(frame));
        Self {
            frame,
            tables,
            weights,
            blocks,
            hot,
            shared,
        }
    }

    /// The same frame's decoded light as the file has it, all of it alike, hot pixels as found here.
    pub(crate) fn plain(&self) -> Self {
        let how = Conversion::PLAIN;
        let weights = (0..self.blocks[1])
            .flat_map(|y| (0..self.blocks[0]).map(move |x| [x, y]))
            .map(|at| inside(at, self.blocks))
            .collect();
        Self {
            frame: self.frame,
            tables: std::array::from_fn(|channel| table(self.frame, &how, channel)),
            weights,
            blocks: self.blocks,
            hot: self.hot.clone(),
            shared: self.shared,
        }
    }

    /// Pixels across.
    pub(crate) fn width(&self) -> usize {
        self.frame.width()
    }

    /// Pixels down.
    pub(crate) fn height(&self) -> usize {
        self.frame.height()
    }

    /// Hot pixels mended.
    pub(crate) fn hot_count(&self) -> usize {
        self.hot.len() + self.shared.len()
    }

    /// Largest weight among the blocks that touch a part of the frame.
    pub(crate) fn top_weight(&self, rect: Rect) -> f32 {
        let (x0, y0) = (
            (rect.x / BLOCK_PX).saturating_sub(1),
            (rect.y / BLOCK_PX).saturating_sub(1),
        );
        let x1 = ((rect.x + rect.width) / BLOCK_PX + 2).min(self.blocks[0]);
        let y1 = ((rect.y + rect.height) / BLOCK_PX + 2).min(self.blocks[1]);
        let mut top = 0.0_f32;
        for y in y0..y1 {
            for &w in &self.weights[y * self.blocks[0] + x0..y * self.blocks[0] + x1] {
                top = top.max(w);
            }
        }
        top
    }

    /// Weight at a place of the frame, smoothly between blocks.
    pub(crate) fn weight(&self, x: f32, y: f32) -> f32 {
        let along = |v: f32, n: usize| {
            let at = ((v + 0.5) / BLOCK_PX as f32 - 0.5).clamp(0.0, (n - 1) as f32);
            let low = (at as usize).min(n.saturating_sub(2));
            (low, (low + 1).min(n - 1), at - low as f32)
        };
        let (x0, x1, fx) = along(x, self.blocks[0]);
        let (y0, y1, fy) = along(y, self.blocks[1]);
        let at = |x: usize, y: usize| self.weights[y * self.blocks[0] + x];
        let top = at(x0, y0) + (at(x1, y0) - at(x0, y0)) * fx;
        let low = at(x0, y1) + (at(x1, y1) - at(x0, y1)) * fx;
        top + (low - top) * fy
    }

    /// Radiance of a part of the frame into `out`, row-major, red green blue and a 0 that fills a vector register; hot
    /// pixels mended.
    pub(crate) fn fill(&self, rect: Rect, out: &mut Vec<[f32; 4]>) {
        out.clear();
        out.resize(rect.width * rect.height, [0.0; 4]);
        match self.frame.samples() {
            Samples::U8(v) => self.convert(v, rect, out),
            Samples::U16(v) => self.convert(v, rect, out),
        }
        self.mend(rect, out);
        match self.frame.samples() {
            Samples::U8(v) => self.mend_shared(v, rect, out),
            Samples::U16(v) => self.mend_shared(v, rect, out),
        }
    }

    /// Replaces shared hot pixels and the eight around each, over which raw conversion spreads them, by what lies around
    /// those, nearer pixels counting more.
    fn mend_shared<T: Copy + Into<usize>>(&self, samples: &[T], rect: Rect, out: &mut [[f32; 4]]) {
        let (width, height) = (self.frame.width(), self.frame.height());
        let first = (rect.y.saturating_sub(1) * width) as u32;
        let from = self.shared.partition_point(|&h| h < first);
        let last = ((rect.y + rect.height + 1) * width) as u32;
        let rows = self.shared[from..].iter().take_while(|&&h| h < last);
        for &hot in rows {
            let (x, y) = (hot as usize % width, hot as usize / width);
            if x + 1 < rect.x || x > rect.x + rect.width || x < 2 || y < 2 {
                continue;
            }
            if x + 2 >= width || y + 2 >= height {
                continue;
            }
            for (px, py) in (0..9).map(|k| (x + k % 3 - 1, y + k / 3 - 1)) {
                if (rect.x..rect.x + rect.width).contains(&px)
                    && (rect.y..rect.y + rect.height).contains(&py)
                {
                    let i = (py - rect.y) * rect.width + px - rect.x;
                    let mended = self.mean_of_ring(samples, [x, y], [px, py]);
                    // Where raw conversion spread nothing the neighbours are good as they are.
                    let out_of_line = |c: usize| out[i][c] > SPREAD * mended[c];
                    if (px, py) == (x, y) || (0..3).any(out_of_line) {
                        out[i] = mended;
                    }
                }
            }
        }
    }

    /// Radiance of a pixel from the ring two pixels about `hot`, by inverse squares of distance.
    fn mean_of_ring<T: Copy + Into<usize>>(
        &self,
        samples: &[T],
        hot: [usize; 2],
        at: [usize; 2],
    ) -> [f32; 4] {
        let channels = self.frame.channels();
        let (mut sum, mut weight) = ([0.0_f32; 4], 0.0_f32);
        for (i, j) in (0..25).map(|k| (k % 5, k / 5)) {
            if i % 4 != 0 && j % 4 != 0 {
                continue;
            }
            let (x, y) = (hot[0] + i - 2, hot[1] + j - 2);
            let w = 1.0 / (x.abs_diff(at[0]).pow(2) + y.abs_diff(at[1]).pow(2)) as f32;
            let pixel = &samples[(y * self.frame.width() + x) * channels..][..channels];
            for (c, sum) in sum.iter_mut().enumerate().take(3) {
                *sum += w * self.tables[c][pixel[c.min(channels - 1)].into()];
            }
            weight += w;
        }
        sum.map(|s| s / weight)
    }

    fn convert<T: Copy + Into<usize>>(&self, samples: &[T], rect: Rect, out: &mut [[f32; 4]]) {
        let [red, green, blue] = &self.tables;
        let channels = self.frame.channels();
        for (y, out) in (rect.y..).zip(out.chunks_exact_mut(rect.width)) {
            let start = (y * self.frame.width() + rect.x) * channels;
            let row = &samples[start..start + rect.width * channels];
            if channels == 3 {
                for (to, rgb) in out.iter_mut().zip(row.chunks_exact(3)) {
                    let [r, g, b] = [rgb[0].into(), rgb[1].into(), rgb[2].into()];
                    *to = [red[r], green[g], blue[b], 0.0];
                }
            } else {
                for (to, &v) in out.iter_mut().zip(row) {
                    let v: usize = v.into();
                    *to = [red[v], green[v], blue[v], 0.0];
                }
            }
        }
    }

    /// Replaces hot pixels by the mean of the four beside them.
    fn mend(&self, rect: Rect, out: &mut [[f32; 4]]) {
        if self.hot.is_empty() {
            return;
        }
        let width = self.frame.width();
        for y in 1..rect.height.saturating_sub(1) {
            let start = ((rect.y + y) * width + rect.x) as u32;
            let from = self.hot.partition_point(|&h| h < start);
            let row = self.hot[from..].iter();
            for &hot in row.take_while(|&&h| h < start + rect.width as u32) {
                let x = (hot - start) as usize;
                if x == 0 || x + 1 >= rect.width {
                    continue;
                }
                let i = y * rect.width + x;
                let around = [i - 1, i + 1, i - rect.width, i + rect.width].map(|i| out[i]);
                out[i] = std::array::from_fn(|c| around.iter().map(|v| v[c]).sum::<f32>() / 4.0);
            }
        }
    }
}

/// Number of stored values.
pub(super) fn steps(frame: &Frame) -> usize {
    match frame.samples() {
        Samples::U8(_) => 256,
        Samples::U16(_) => 65_536,
    }
}

/// Decoded light of a coded fraction.
fn decoded(frame: &Frame, coded: f32) -> f32 {
    match frame.transfer() {
        Transfer::Srgb => srgb_to_linear(coded),
        Transfer::Linear => coded,
    }
}

/// Radiance for every stored value of one channel.
fn table(frame: &Frame, how: &Conversion, channel: usize) -> Vec<f32> {
    let n = steps(frame);
    (0..n)
        .map(|v| {
            let light = decoded(frame, v as f32 / (n - 1) as f32) - how.black[channel];
            let gain = how.response.log_gain(light.max(0.0)).exp() * how.scale;
            (f64::from(light) * gain) as f32
        })
        .collect()
}

/// The pixels that shared hot ones spoil, row-major and in order, and the blocks they lie in.
struct Surroundings {
    spoilt: Vec<u32>,
    width: usize,
}

impl Surroundings {
    fn of(shared: &[u32], width: usize) -> Self {
        let about = |&hot: &u32| {
            let row = |by: i64| i64::from(hot) + by * width as i64;
            [-1, 0, 1].map(|by| [row(by) - 1, row(by), row(by) + 1])
        };
        let mut spoilt: Vec<u32> = shared
            .iter()
            .flat_map(about)
            .flatten()
            .filter_map(|i| u32::try_from(i).ok())
            .collect();
        spoilt.sort_unstable();
        spoilt.dedup();
        Self { spoilt, width }
    }

    /// Whether none of a row's pixels from `x0` to `x1` is spoilt; cheap where nothing is.
    fn is_clean(&self, y: usize, x0: usize, x1: usize) -> bool {
        let (from, to) = ((y * self.width + x0) as u32, (y * self.width + x1) as u32);
        let at = self.spoilt.partition_point(|&s| s < from);
        self.spoilt.get(at).is_none_or(|&s| s >= to)
    }

    fn holds(&self, x: usize, y: usize) -> bool {
        let i = (y * self.width + x) as u32;
        self.spoilt.binary_search(&i).is_ok()
    }
}

/// Mean light (before scaling by exposure) and largest coded fraction of every block, and the hot pixels.
fn block_looks<T: Copy + Into<usize> + Ord + Sync>(
    frame: &Frame,
    samples: &[T],
    tables: &[Vec<f32>; 3],
    blocks: [usize; 2],
    how: &Conversion,
    around: &Surroundings,
) -> (Vec<f32>, Vec<f32>, Vec<u32>) {
    let top = (steps(frame) - 1) as f32;
    let unscale = (1.0 / how.scale) as f32;
    let rows: Vec<(Vec<[f32; 2]>, Vec<u32>)> = (0..blocks[1])
        .into_par_iter()
        .map(|by| {
            let mut hot = Vec::new();
            let row = (0..blocks[0])
                .map(|bx| {
                    let (mean, max) = block(frame, samples, tables, [bx, by], around);
                    let peak = max as f32 / top;
                    let mean = mean * unscale;
                    if decoded(frame, peak) > 2.0 * mean + 6.0 * sigma(how, mean) {
                        hot_in(frame, samples, tables, [bx, by], how, &mut hot);
                    }
                    [mean, peak]
                })
                .collect();
            hot.sort_unstable();
            (row, hot)
        })
        .collect();
    let mut means = Vec::with_capacity(blocks[0] * blocks[1]);
    let mut tops = Vec::with_capacity(blocks[0] * blocks[1]);
    let mut hot = Vec::new();
    for (row, found) in rows {
        means.extend(row.iter().map(|b| b[0]));
        tops.extend(row.iter().map(|b| b[1]));
        hot.extend(found);
    }
    hot.sort_unstable();
    (means, tops, hot)
}

fn sigma(how: &Conversion, light: f32) -> f32 {
    let variance = how.noise.read.powi(2) + how.noise.gain * f64::from(light.max(0.0));
    variance.sqrt() as f32
}

/// Mean radiance over channels and largest stored value of one block.
fn block<T: Copy + Into<usize>>(
    frame: &Frame,
    samples: &[T],
    tables: &[Vec<f32>; 3],
    [bx, by]: [usize; 2],
    around: &Surroundings,
) -> (f32, usize) {
    let channels = frame.channels();
    let x0 = bx * BLOCK_PX;
    let x1 = (x0 + BLOCK_PX).min(frame.width());
    let y0 = by * BLOCK_PX;
    let y1 = (y0 + BLOCK_PX).min(frame.height());
    let (mut sum, mut max, mut count) = (0.0_f32, 0_usize, 0_usize);
    for y in y0..y1 {
        let start = y * frame.width();
        let row = &samples[(start + x0) * channels..(start + x1) * channels];
        let clean = around.is_clean(y, x0, x1);
        for (x, pixel) in (x0..).zip(row.chunks_exact(channels)) {
            if !clean && around.holds(x, y) {
                continue;
            }
            for (channel, &v) in pixel.iter().enumerate() {
                let v: usize = v.into();
                sum += tables[channel][v];
                max = max.max(v);
            }
            count += channels;
        }
    }
    (sum / count.max(1) as f32, max)
}

/// Light over what lies around from where a hot pixel's neighbour is taken to have some of it.
const SPREAD: f32 = 1.15;

/// Times the brightest neighbour that a hot pixel must exceed: more than any star a lens can draw over two pixels.
const HOT_TIMES: f32 = 2.5;

/// Notes the pixels of a block that stand alone above all eight neighbours.
fn hot_in<T: Copy + Into<usize>>(
    frame: &Frame,
    samples: &[T],
    tables: &[Vec<f32>; 3],
    [bx, by]: [usize; 2],
    how: &Conversion,
    hot: &mut Vec<u32>,
) {
    let (width, height, channels) = (frame.width(), frame.height(), frame.channels());
    let unscale = (1.0 / how.scale) as f32;
    let light = |x: usize, y: usize| {
        let i = (y * width + x) * channels;
        let pixel = samples[i..i + channels].iter().enumerate();
        unscale * pixel.fold(0.0_f32, |m, (c, &v)| m.max(tables[c][v.into()]))
    };
    for y in (by * BLOCK_PX).max(1)..((by + 1) * BLOCK_PX).min(height.saturating_sub(1)) {
        for x in (bx * BLOCK_PX).max(1)..((bx + 1) * BLOCK_PX).min(width.saturating_sub(1)) {
            let mut around = 0.0_f32;
            for (dx, dy) in [
                (0, 0),
                (1, 0),
                (2, 0),
                (0, 1),
                (2, 1),
                (0, 2),
                (1, 2),
                (2, 2),
            ] {
                around = around.max(light(x + dx - 1, y + dy - 1));
            }
            if light(x, y) > HOT_TIMES * around + 6.0 * sigma(how, around) {
                hot.push((y * width + x) as u32);
            }
        }
    }
}

/// Inverse variance of radiance per block, nothing where the block or one beside it nears clipping.
///
/// The variance is that of the noise model at the block's mean, not at the pixel's own value: weights that follow a
/// pixel's noise pull its mean down. Weighting by inverse variance is the maximum-likelihood merge of Granados et al.
/// 2010, "Optimal HDR reconstruction with linear digital cameras" (CVPR).
fn weights(
    means: &[f32],
    tops: &[f32],
    blocks: [usize; 2],
    how: &Conversion,
    steps: usize,
) -> Vec<f32> {
    let [across, down] = blocks;
    (0..down)
        .into_par_iter()
        .flat_map_iter(|y| {
            (0..across).map(move |x| {
                let mut top = 0.0_f32;
                for j in y.saturating_sub(1)..(y + 2).min(down) {
                    for &t in
                        &tops[j * across + x.saturating_sub(1)..j * across + (x + 2).min(across)]
                    {
                        top = top.max(t);
                    }
                }
                let inside = inside([x, y], [across, down]);
                let Weighing::ByNoise { above_shortest } = how.weighing else {
                    return inside;
                };
                let good = 1.0 - smooth_step(CLIP_FADE[0], CLIP_FADE[1], top);
                let least = (LAST_RESORT * (-4.0 * above_shortest.max(0.0)).exp2()) as f32;
                let variance = variance(how, f64::from(means[y * across + x].max(0.0)), steps);
                (f64::from(good.max(least) * inside) / variance) as f32
            })
        })
        .collect()
}

/// What a frame's edge leaves of a block's weight.
fn inside([x, y]: [usize; 2], [across, down]: [usize; 2]) -> f32 {
    let edge = x.min(y).min(across - 1 - x).min(down - 1 - y) as f32;
    smooth_step(0.0, EDGE_FADE_BLOCKS, edge + 0.3)
}

/// Variance of radiance where the mean light is `light`: camera noise and the rounding to stored values.
fn variance(how: &Conversion, light: f64, steps: usize) -> f64 {
    let camera = how.noise.read.powi(2) + how.noise.gain * light;
    (camera + rounding(light, steps)) * how.scale.powi(2)
}

/// Variance of decoded light by rounding to so many stored values.
pub(super) fn rounding(light: f64, steps: usize) -> f64 {
    // Slope of the sRGB curve, light per coded fraction (IEC 61966-2-1); a uniform error of one step has a variance
    // of a twelfth.
    let slope = if light < 0.003_130_8 {
        1.0 / 12.92
    } else {
        2.4 / 1.055 * light.powf(1.4 / 2.4)
    };
    (slope / (steps - 1) as f64).powi(2) / 12.0
}

/// Luminance of linear red, green and blue (ITU-R BT.709-6).
pub(crate) fn luminance([r, g, b]: [f32; 3]) -> f32 {
    0.2126 * r + 0.7152 * g + 0.0722 * b
}

/// 0 below `low`, 1 above `high`, smooth between (cubic).
pub(crate) fn smooth_step(low: f32, high: f32, v: f32) -> f32 {
    let t = ((v - low) / (high - low)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}
