//! A frame at reduced size: for finding things, and for plain measures.

use std::sync::LazyLock;

use super::frame::{Channel, Frame, Rect, Samples, Store, Transfer, srgb_to_linear};
use super::scan::Luma;
use super::{LinearImage, LinearRgb};

/// Light for each of 4096 steps of an sRGB value.
static SRGB12: LazyLock<Vec<f32>> = LazyLock::new(|| {
    (0..4096)
        .map(|v| srgb_to_linear(v as f32 / 4095.0))
        .collect()
});

/// Steps in which the mean of a block is told apart.
const MEANS: usize = 2048;

/// Light for each mean of a block.
static LIGHT_OF_MEAN: LazyLock<[f32; MEANS]> = LazyLock::new(|| {
    std::array::from_fn(|index| {
        let mean = (index as i32 - MEANS as i32 / 2) as i16;
        srgb_to_linear(Luma::level(mean).clamp(0.0, 255.0) / 255.0)
    })
});

/// Place of a block's mean in [`LIGHT_OF_MEAN`].
fn mean_index(mean: i16) -> usize {
    (i32::from(mean) + MEANS as i32 / 2).clamp(0, MEANS as i32 - 1) as usize
}

/// Most rows of a block that [`Frame::coarse`] reads.
const COARSE_ROWS: usize = 2;

impl Frame {
    /// A part of the frame at `1/step` size for finding things, not for measuring: stored values are averaged before
    /// they are turned into light, over at most two rows of each `step` by `step` block; part blocks at the
    /// right and bottom are dropped. A pixel (i, j) there is centred on
    /// `(rect.x + (i + 0.5) * step - 0.5, rect.y + (j + 0.5) * step - 0.5)` here. `step` is taken as 1 to 256.
    pub fn coarse(&self, rect: Rect, step: usize) -> LinearRgb {
        let step = step.clamp(1, 256);
        let mut out = LinearRgb::new(rect.width / step, rect.height / step);
        self.coarse_blocks(rect, step, |i, j, rgb| {
            out.row_mut(j)[3 * i..3 * i + 3].copy_from_slice(&rgb);
        });
        out
    }

    /// The same, of the brightest channel alone.
    pub fn coarse_brightest(&self, rect: Rect, step: usize) -> LinearImage {
        let step = step.clamp(1, 256);
        let mut out = LinearImage::new(rect.width / step, rect.height / step);
        self.coarse_blocks(rect, step, |i, j, rgb| {
            out.row_mut(j)[i] = rgb[0].max(rgb[1]).max(rgb[2]);
        });
        out
    }

    /// The whole frame at reduced size for finding things, and how many pixels of the frame one of it is wide: about as many
    /// as make its longest side `longest` pixels. Otherwise as [`Frame::coarse_brightest`].
    pub fn overview(&self, longest: usize) -> (LinearImage, usize) {
        let step = self.width().max(self.height()).div_ceil(longest);
        match self.store() {
            Store::Scan { luma, .. } => {
                let blocks = (step as f64 / Luma::BLOCK_PX as f64).round().max(1.0) as usize;
                let image = self.of_blocks(luma, self.full(), blocks);
                (image, blocks * Luma::BLOCK_PX)
            }
            Store::Whole(_) => (self.coarse_brightest(self.full(), step), step),
        }
    }

    /// A part of the frame at reduced size for finding things, as [`Frame::coarse_brightest`]; with it the part that is shown and
    /// how many pixels of the frame one of it is wide. Its longest side is `longest` pixels at most; the part may be a little larger
    /// than `rect`.
    pub fn part(&self, rect: Rect, longest: usize) -> (LinearImage, Rect, usize) {
        let step = rect.width.max(rect.height).div_ceil(longest).max(1);
        match self.store() {
            Store::Scan { luma, .. } if step >= Luma::BLOCK_PX => {
                let blocks = step.div_ceil(Luma::BLOCK_PX);
                let step = blocks * Luma::BLOCK_PX;
                let (left, top) = (rect.x / step * step, rect.y / step * step);
                let rect = Rect {
                    x: left,
                    y: top,
                    width: (rect.x + rect.width - left)
                        .next_multiple_of(step)
                        .min(self.width() - left),
                    height: (rect.y + rect.height - top)
                        .next_multiple_of(step)
                        .min(self.height() - top),
                };
                (self.of_blocks(luma, rect, blocks), rect, step)
            }
            _ => (self.coarse_brightest(rect, step), rect, step),
        }
    }

    /// Light of the mean of each `blocks` by `blocks` blocks in a part of the frame that begins with one.
    fn of_blocks(&self, luma: &Luma, rect: Rect, blocks: usize) -> LinearImage {
        let step = blocks * Luma::BLOCK_PX;
        let mut out = LinearImage::new(rect.width / step, rect.height / step);
        if blocks == 1 {
            let left = rect.x / step;
            for j in 0..out.height() {
                let means = &luma.means(rect.y / step + j)[left..];
                for (light, mean) in out.row_mut(j).iter_mut().zip(means) {
                    *light = LIGHT_OF_MEAN[mean_index(*mean)];
                }
            }
            return out;
        }
        let scale = 4095.0 / (255.0 * (blocks * blocks) as f32);
        let mut sums = vec![0.0; out.width()];
        let (left, top) = (rect.x / Luma::BLOCK_PX, rect.y / Luma::BLOCK_PX);
        for j in 0..out.height() {
            sums.fill(0.0);
            for row in top + j * blocks..top + (j + 1) * blocks {
                let means = &luma.means(row)[left..];
                for (sum, means) in sums.iter_mut().zip(means.chunks_exact(blocks)) {
                    *sum += means.iter().copied().map(Luma::level).sum::<f32>();
                }
            }
            for (light, sum) in out.row_mut(j).iter_mut().zip(&sums) {
                *light = self.coarse_light((sum * scale).clamp(0.0, 4095.0));
            }
        }
        out
    }

    /// How often each stored value, cut to 8 bits, comes up as the brightest channel's: counted over some `about` pixels spread
    /// over the frame, or once a block of a frame that is decoded where somebody looks.
    pub fn counts(&self, about: usize) -> [usize; 256] {
        let samples = match self.store() {
            Store::Scan { luma, .. } => return luma.counts(),
            Store::Whole(samples) => samples,
        };
        let pixels = (self.width() * self.height()) as f64;
        let step = (pixels / about as f64).sqrt().ceil().max(1.0) as usize;
        let mut counts = [0; 256];
        for y in (step / 2..self.height()).step_by(step) {
            let line = y * self.width() * self.channels()..(y + 1) * self.width() * self.channels();
            match samples {
                Samples::U8(v) => count(&v[line], self.channels(), step, usize::from, &mut counts),
                Samples::U16(v) => {
                    count(
                        &v[line],
                        self.channels(),
                        step,
                        |v| usize::from(v >> 8),
                        &mut counts,
                    );
                }
            }
        }
        counts
    }

    /// Calls `put` with column, row and light of each block.
    fn coarse_blocks(&self, rect: Rect, step: usize, put: impl FnMut(usize, usize, [f32; 3])) {
        let channels = self.channels();
        let start = |y: usize| (y * self.width() + rect.x) * channels;
        let line = rect.width / step * step;
        match self.store() {
            Store::Whole(Samples::U8(v)) => self.coarse_codes(rect, step, 255.0, put, |y, sums| {
                add::<u8, u16>(sums, &v[start(y)..][..line * channels]);
            }),
            Store::Whole(Samples::U16(v)) => {
                self.coarse_codes(rect, step, 65_535.0, put, |y, sums| {
                    add::<u16, u32>(sums, &v[start(y)..][..line * channels]);
                });
            }
            Store::Scan { luma, .. } => self.coarse_codes(rect, step, 255.0, put, |y, sums| {
                let mut rest: &mut [u16] = sums;
                for piece in luma.line(y, rect.x..rect.x + line) {
                    let (now, later) = rest.split_at_mut(piece.len());
                    add(now, piece);
                    rest = later;
                }
            }),
        }
    }

    /// `add` adds the codes of a row to the sums, each of which has room for those of [`COARSE_ROWS`].
    fn coarse_codes<S: Copy + Default + Into<u32>>(
        &self,
        rect: Rect,
        step: usize,
        white: f32,
        mut put: impl FnMut(usize, usize, [f32; 3]),
        add: impl Fn(usize, &mut [S]),
    ) {
        let (width, height) = (rect.width / step, rect.height / step);
        let stride = step.div_ceil(COARSE_ROWS);
        let rows = step.div_ceil(stride);
        let scale = 4095.0 / (white * (rows * step) as f32);
        let mut sums = vec![S::default(); width * step * self.channels()];
        for j in 0..height {
            sums.fill(S::default());
            for dy in (0..step).step_by(stride) {
                add(rect.y + j * step + dy, &mut sums);
            }
            for (i, block) in sums.chunks_exact(step * self.channels()).enumerate() {
                let light = |c: usize| {
                    let values = block.iter().skip(c).step_by(self.channels());
                    let sum: u32 = values.map(|&v| v.into()).sum();
                    self.coarse_light(sum as f32 * scale)
                };
                put(
                    i,
                    j,
                    match self.channels() {
                        1 => [light(0); 3],
                        _ => [light(0), light(1), light(2)],
                    },
                );
            }
        }
    }

    /// Light of a mean stored value, 0 to 4095.
    fn coarse_light(&self, code: f32) -> f32 {
        match self.transfer() {
            Transfer::Linear => code / 4095.0,
            Transfer::Srgb => SRGB12[(code + 0.5) as usize & 4095],
        }
    }

    /// One channel of the whole frame at `1/step` size: the mean of each `step` by `step` block; part blocks at the
    /// right and bottom are dropped. A pixel (i, j) there is centred on `(i + 0.5) * step - 0.5` here.
    pub fn reduced(&self, step: usize, channel: Channel) -> LinearImage {
        let step = step.max(1);
        let (width, height) = (self.width() / step, self.height() / step);
        let mut out = LinearImage::new(width, height);
        let scale = 1.0 / (step * step) as f32;
        for y in 0..height {
            for dy in 0..step {
                for (x, sum) in out.row_mut(y).iter_mut().enumerate() {
                    for dx in 0..step {
                        *sum += self.value(x * step + dx, y * step + dy, channel) * scale;
                    }
                }
            }
        }
        out
    }
}

/// Adds codes to their sums.
fn add<T: Copy + Into<S>, S: Copy + std::ops::AddAssign>(sums: &mut [S], codes: &[T]) {
    for (sum, &code) in sums.iter_mut().zip(codes) {
        *sum += code.into();
    }
}

/// Counts every `step`th pixel of a line by the code of its brightest value.
fn count<T: Copy + Ord + Default>(
    line: &[T],
    channels: usize,
    step: usize,
    code: impl Fn(T) -> usize,
    counts: &mut [usize; 256],
) {
    for pixel in line.chunks_exact(channels).skip(step / 2).step_by(step) {
        counts[code(pixel.iter().copied().max().unwrap_or_default())] += 1;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_block_mean_is_centred_on_its_block() {
        let frame = Frame::new(
            4,
            2,
            1,
            Samples::U8(vec![0, 0, 255, 255, 0, 0, 255, 255]),
            Transfer::Linear,
        );
        assert_eq!(frame.reduced(2, Channel::Luma).data(), [0.0, 1.0]);
    }

    #[test]
    fn a_coarse_part_starts_at_its_corner() {
        let frame = Frame::new(
            4,
            3,
            1,
            Samples::U8(vec![9, 9, 9, 9, 9, 0, 0, 255, 9, 0, 0, 255]),
            Transfer::Srgb,
        );
        let rect = Rect {
            x: 1,
            y: 1,
            width: 3,
            height: 2,
        };
        let small = frame.coarse(rect, 1);
        assert_eq!((small.width(), small.height()), (3, 2));
        assert!(small.at(2, 1)[1] > 0.999);
        assert!(frame.coarse(rect, 2).data()[0] < 1e-6);
    }
}
