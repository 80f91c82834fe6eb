//! A decoded photograph, kept as compact as it came, giving linear light on demand.

use std::sync::LazyLock;

use super::{LinearImage, LinearRgb};

/// How stored values relate to light.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Transfer {
    /// The sRGB curve (IEC 61966-2-1).
    Srgb,
    /// Proportional to light.
    Linear,
}

impl Transfer {
    /// Light, 0 to 1, for a stored value scaled to 0 to 1.
    pub fn light(self, value: f32) -> f32 {
        match self {
            Self::Srgb => srgb_to_linear(value),
            Self::Linear => value,
        }
    }
}

/// Stored values, row-major, channels interleaved.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Samples {
    /// 0 to 255.
    U8(Vec<u8>),
    /// 0 to 65,535.
    U16(Vec<u16>),
}

/// One channel of light taken from a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Channel {
    /// Red.
    Red,
    /// Green.
    Green,
    /// Blue.
    Blue,
    /// Luminance of linear light: 0.2126 R + 0.7152 G + 0.0722 B (ITU-R BT.709).
    Luma,
    /// The largest of the three: what saturates first, and what a coloured filter leaves.
    Max,
}

/// A part of a frame in whole pixels; always inside the frame when made by [`Frame::clip`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rect {
    /// Left edge.
    pub x: usize,
    /// Top edge.
    pub y: usize,
    /// Pixels across.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
}

/// A decoded photograph, upright, with one or three channels.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Frame {
    width: usize,
    height: usize,
    channels: usize,
    samples: Samples,
    transfer: Transfer,
}

/// Light for each 8-bit sRGB value.
static SRGB8: LazyLock<[f32; 256]> =
    LazyLock::new(|| std::array::from_fn(|v| srgb_to_linear(v as f32 / 255.0)));

/// Light for each 16-bit sRGB value.
static SRGB16: LazyLock<Vec<f32>> = LazyLock::new(|| {
    (0..=u16::MAX)
        .map(|v| srgb_to_linear(f32::from(v) / 65_535.0))
        .collect()
});

/// Light for each of 4096 steps of an sRGB value.
static SRGB12: LazyLock<Vec<f32>> = LazyLock::new(|| {
    (0..4096)
        .map(|v| srgb_to_linear(v as f32 / 4095.0))
        .collect()
});

/// Most rows of a block that [`Frame::coarse`] reads.
const COARSE_ROWS: usize = 2;

/// Light, 0 to 1, for an sRGB value, 0 to 1 (IEC 61966-2-1).
pub fn srgb_to_linear(v: f32) -> f32 {
    if v <= 0.040_45 {
        v / 12.92
    } else {
        ((v + 0.055) / 1.055).powf(2.4)
    }
}

/// sRGB value, 0 to 1, for light, 0 to 1 (IEC 61966-2-1); held inside that range.
pub fn linear_to_srgb(l: f32) -> f32 {
    let l = l.clamp(0.0, 1.0);
    if l <= 0.003_130_8 {
        l * 12.92
    } else {
        1.055 * l.powf(1.0 / 2.4) - 0.055
    }
}

impl Frame {
    /// Wraps decoded values.
    ///
    /// # Panics
    /// When `channels` is not 1 or 3, or `samples` does not hold exactly the values of the pixels.
    pub fn new(
        width: usize,
        height: usize,
        channels: usize,
        samples: Samples,
        transfer: Transfer,
    ) -> Self {
        let len = match &samples {
            Samples::U8(v) => v.len(),
            Samples::U16(v) => v.len(),
        };
        assert!(matches!(channels, 1 | 3), "one or three channels");
        assert_eq!(len, width * height * channels, "one value per place");
        Self {
            width,
            height,
            channels,
            samples,
            transfer,
        }
    }

    /// The memory of an 8-bit frame, for the next one; empty for others.
    pub fn into_scratch(self) -> Vec<u8> {
        match self.samples {
            Samples::U8(values) => values,
            Samples::U16(_) => Vec::new(),
        }
    }

    /// Pixels across.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Pixels down.
    pub fn height(&self) -> usize {
        self.height
    }

    /// Values per pixel, 1 or 3.
    pub fn channels(&self) -> usize {
        self.channels
    }

    /// The stored values.
    pub fn samples(&self) -> &Samples {
        &self.samples
    }

    /// How they relate to light.
    pub fn transfer(&self) -> Transfer {
        self.transfer
    }

    /// The whole frame.
    pub fn full(&self) -> Rect {
        Rect {
            x: 0,
            y: 0,
            width: self.width,
            height: self.height,
        }
    }

    /// The square of half-width `half_px` about a centre, clipped to the frame; `None` when nothing is left.
    pub fn clip(&self, x_px: f64, y_px: f64, half_px: f64) -> Option<Rect> {
        let edge = |v: f64, limit: usize| v.clamp(0.0, limit as f64) as usize;
        let (x0, y0) = (
            edge((x_px - half_px).floor(), self.width),
            edge((y_px - half_px).floor(), self.height),
        );
        let (x1, y1) = (
            edge((x_px + half_px).ceil() + 1.0, self.width),
            edge((y_px + half_px).ceil() + 1.0, self.height),
        );
        (x1 > x0 && y1 > y0).then_some(Rect {
            x: x0,
            y: y0,
            width: x1 - x0,
            height: y1 - y0,
        })
    }

    /// Light of one stored value.
    fn light(&self, index: usize) -> f32 {
        match (&self.samples, self.transfer) {
            (Samples::U8(v), Transfer::Srgb) => SRGB8[usize::from(v[index])],
            (Samples::U8(v), Transfer::Linear) => f32::from(v[index]) / 255.0,
            (Samples::U16(v), Transfer::Srgb) => SRGB16[usize::from(v[index])],
            (Samples::U16(v), Transfer::Linear) => f32::from(v[index]) / 65_535.0,
        }
    }

    /// Red, green and blue light at a pixel inside the frame.
    pub fn rgb(&self, x: usize, y: usize) -> [f32; 3] {
        let i = (y * self.width + x) * self.channels;
        if self.channels == 1 {
            [self.light(i); 3]
        } else {
            [self.light(i), self.light(i + 1), self.light(i + 2)]
        }
    }

    /// One channel's light at a pixel inside the frame.
    pub fn value(&self, x: usize, y: usize, channel: Channel) -> f32 {
        let i = (y * self.width + x) * self.channels;
        match (channel, self.channels) {
            (Channel::Red, _) | (_, 1) => self.light(i),
            (Channel::Green, _) => self.light(i + 1),
            (Channel::Blue, _) => self.light(i + 2),
            (Channel::Luma, _) => {
                0.2126 * self.light(i) + 0.7152 * self.light(i + 1) + 0.0722 * self.light(i + 2)
            }
            (Channel::Max, _) => self.light(i).max(self.light(i + 1)).max(self.light(i + 2)),
        }
    }

    /// One channel of a part of the frame, at full resolution. Pixel (0, 0) of the result is `(rect.x, rect.y)` here.
    pub fn linear(&self, rect: Rect, channel: Channel) -> LinearImage {
        let mut out = LinearImage::new(rect.width, rect.height);
        for y in 0..rect.height {
            for (x, value) in out.row_mut(y).iter_mut().enumerate() {
                *value = self.value(rect.x + x, rect.y + y, channel);
            }
        }
        out
    }

    /// Three channels of a part of the frame, at full resolution. Pixel (0, 0) of the result is `(rect.x, rect.y)`.
    pub fn linear_rgb(&self, rect: Rect) -> LinearRgb {
        let mut out = LinearRgb::new(rect.width, rect.height);
        for y in 0..rect.height {
            for (x, rgb) in out.row_mut(y).chunks_exact_mut(3).enumerate() {
                rgb.copy_from_slice(&self.rgb(rect.x + x, rect.y + y));
            }
        }
        out
    }

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

    /// Calls `put` with column, row and light of each block.
    fn coarse_blocks(&self, rect: Rect, step: usize, put: impl FnMut(usize, usize, [f32; 3])) {
        match &self.samples {
            Samples::U8(v) => self.coarse_codes::<u8, u16>(v, rect, step, 255.0, put),
            Samples::U16(v) => self.coarse_codes::<u16, u32>(v, rect, step, 65_535.0, put),
        }
    }

    /// `S` holds the sum of [`COARSE_ROWS`] codes.
    fn coarse_codes<T: Copy + Into<S>, S: Copy + Default + std::ops::AddAssign + Into<u32>>(
        &self,
        codes: &[T],
        rect: Rect,
        step: usize,
        white: f32,
        mut put: impl FnMut(usize, usize, [f32; 3]),
    ) {
        let (width, height) = (rect.width / step, rect.height / step);
        let stride = step.div_ceil(COARSE_ROWS);
        let rows = step.div_ceil(stride);
        let scale = 4095.0 / (white * (rows * step) as f32);
        let line = width * step * self.channels;
        let mut sums = vec![S::default(); line];
        for j in 0..height {
            sums.fill(S::default());
            for dy in (0..step).step_by(stride) {
                let start = ((rect.y + j * step + dy) * self.width + rect.x) * self.channels;
                for (sum, &code) in sums.iter_mut().zip(&codes[start..start + line]) {
                    *sum += code.into();
                }
            }
            for (i, block) in sums.chunks_exact(step * self.channels).enumerate() {
                let rgb = if self.channels == 1 {
                    let sum: u32 = block.iter().map(|&v| v.into()).sum();
                    [self.coarse_light(sum as f32 * scale); 3]
                } else {
                    std::array::from_fn(|c| {
                        let values = block.iter().skip(c).step_by(self.channels);
                        let sum: u32 = values.map(|&v| v.into()).sum();
                        self.coarse_light(sum as f32 * scale)
                    })
                };
                put(i, j, rgb);
            }
        }
    }

    /// Light of a mean stored value, 0 to 4095.
    fn coarse_light(&self, code: f32) -> f32 {
        match self.transfer {
            Transfer::Linear => code / 4095.0,
            Transfer::Srgb => SRGB12[(code + 0.5) as usize & 4095],
        }
    }

    /// One channel of the whole frame at `1/step` size: the mean of each `step` by `step` block; part blocks at the
    /// right and bottom are dropped. A pixel (i, j) there is centred on `(i + 0.5) * step - 0.5` here.
    pub fn reduced(&self, step: usize, channel: Channel) -> LinearImage {
        let step = step.max(1);
        let (width, height) = (self.width / step, self.height / step);
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_curve_and_its_inverse_agree() {
        for v in 0..=255_u8 {
            let there = linear_to_srgb(SRGB8[usize::from(v)]) * 255.0;
            assert!(
                (there - f32::from(v)).abs() < 1e-2,
                "{v} came back as {there}"
            );
        }
    }

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

    #[test]
    fn clipping_stays_inside() {
        let frame = Frame::new(4, 2, 1, Samples::U8(vec![0; 8]), Transfer::Linear);
        let rect = frame.clip(3.0, 1.0, 2.0).unwrap();
        assert_eq!((rect.x, rect.y, rect.width, rect.height), (1, 0, 3, 2));
        assert!(frame.clip(40.0, 1.0, 2.0).is_none());
    }
}
