//! A decoded photograph, kept as compact as it came, giving linear light on demand.

use std::sync::{LazyLock, OnceLock};

use super::decode::in_srgb;
use super::scan::Luma;
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
#[derive(Clone, Debug)]
pub struct Frame {
    width: usize,
    height: usize,
    channels: usize,
    store: Store,
    transfer: Transfer,
}

/// Where the values of a frame are.
#[derive(Clone, Debug)]
pub(super) enum Store {
    /// All there.
    Whole(Samples),
    /// In a scan, decoded where somebody looks.
    Scan {
        luma: Box<Luma>,
        /// All of it, once somebody asked for that.
        whole: OnceLock<Samples>,
        /// The colour profile of the picture.
        icc: Option<Vec<u8>>,
    },
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
            store: Store::Whole(samples),
            transfer,
        }
    }

    /// A grey frame on the sRGB curve that is decoded where somebody looks; `icc` is the colour profile of its picture.
    pub(super) fn of_scan(luma: Luma, icc: Option<Vec<u8>>) -> Self {
        Self {
            width: luma.width(),
            height: luma.height(),
            channels: 1,
            store: Store::Scan {
                luma: Box::new(luma),
                whole: OnceLock::new(),
                icc,
            },
            transfer: Transfer::Srgb,
        }
    }

    /// The colours of the picture behind a grey frame, and how many pixels of the frame one of theirs is wide: where they come for
    /// nothing. A pixel (i, j) there is centred on `((i + 0.5) * step - 0.5, (j + 0.5) * step - 0.5)` here.
    pub fn colours(&self) -> Option<(Self, usize)> {
        let Store::Scan { luma, icc, .. } = &self.store else {
            return None;
        };
        let (width, height, rgb) = luma.colours()?;
        let (channels, samples) = in_srgb(icc.as_deref(), 3, Samples::U8(rgb));
        let small = Self::new(width, height, channels, samples, Transfer::Srgb);
        Some((small, Luma::BLOCK_PX))
    }

    /// Red, green and blue light at a pixel for showing it small: of a frame that is decoded where somebody looks the colours are
    /// means of what lies about the pixel, of others they are its own.
    pub(super) fn shown(&self, x: usize, y: usize) -> [f32; 3] {
        match &self.store {
            Store::Scan { luma, .. } => luma.coloured(x, y).map(|code| SRGB8[usize::from(code)]),
            Store::Whole(_) => self.rgb(x, y),
        }
    }

    /// Whether [`Frame::shown`] has the colours of the picture: its profile is that of sRGB, or it has none.
    pub(super) fn is_shown_in_its_colours(&self) -> bool {
        let Store::Scan { icc, .. } = &self.store else {
            return true;
        };
        matches!(
            in_srgb(icc.as_deref(), 3, Samples::U8(vec![0; 3])),
            (3, Samples::U8(_))
        )
    }

    /// The memory of an 8-bit frame, for the next one; empty for others.
    pub fn into_scratch(self) -> Vec<u8> {
        match self.store {
            Store::Whole(Samples::U8(values)) => values,
            Store::Whole(Samples::U16(_)) | Store::Scan { .. } => Vec::new(),
        }
    }

    /// About how much memory the frame takes, in bytes.
    pub fn memory_bytes(&self) -> usize {
        let samples_bytes = |samples: &Samples| match samples {
            Samples::U8(values) => values.len(),
            Samples::U16(values) => 2 * values.len(),
        };
        match &self.store {
            Store::Whole(samples) => samples_bytes(samples),
            Store::Scan { luma, whole, .. } => {
                luma.memory_bytes() + whole.get().map_or(0, samples_bytes)
            }
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
        match &self.store {
            Store::Whole(samples) => samples,
            Store::Scan { luma, whole, .. } => whole.get_or_init(|| Samples::U8(luma.all())),
        }
    }

    /// Where they are.
    pub(super) fn store(&self) -> &Store {
        &self.store
    }

    /// One of the three channels as a grey frame, in the same coding; a grey frame as it is. [`Channel::Luma`] and
    /// [`Channel::Max`] are no stored values: `None`.
    pub fn stored_channel(&self, channel: Channel) -> Option<Self> {
        let place = match channel {
            Channel::Red => 0,
            Channel::Green => 1,
            Channel::Blue => 2,
            Channel::Luma | Channel::Max => return None,
        };
        if self.channels == 1 {
            return Some(self.clone());
        }
        let samples = match self.samples() {
            Samples::U8(v) => Samples::U8(v.iter().skip(place).step_by(3).copied().collect()),
            Samples::U16(v) => Samples::U16(v.iter().skip(place).step_by(3).copied().collect()),
        };
        Some(Self::new(
            self.width,
            self.height,
            1,
            samples,
            self.transfer,
        ))
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

    /// Light of one stored value of a pixel inside the frame.
    fn light(&self, x: usize, y: usize, channel: usize) -> f32 {
        let samples = match &self.store {
            Store::Whole(samples) => samples,
            Store::Scan { luma, .. } => return SRGB8[usize::from(luma.at(x, y))],
        };
        let index = (y * self.width + x) * self.channels + channel;
        match (samples, self.transfer) {
            (Samples::U8(v), Transfer::Srgb) => SRGB8[usize::from(v[index])],
            (Samples::U8(v), Transfer::Linear) => f32::from(v[index]) / 255.0,
            (Samples::U16(v), Transfer::Srgb) => SRGB16[usize::from(v[index])],
            (Samples::U16(v), Transfer::Linear) => f32::from(v[index]) / 65_535.0,
        }
    }

    /// Red, green and blue light at a pixel inside the frame.
    pub fn rgb(&self, x: usize, y: usize) -> [f32; 3] {
        if self.channels == 1 {
            [self.light(x, y, 0); 3]
        } else {
            [0, 1, 2].map(|channel| self.light(x, y, channel))
        }
    }

    /// One channel's light at a pixel inside the frame.
    pub fn value(&self, x: usize, y: usize, channel: Channel) -> f32 {
        match (channel, self.channels) {
            (Channel::Red, _) | (_, 1) => self.light(x, y, 0),
            (Channel::Green, _) => self.light(x, y, 1),
            (Channel::Blue, _) => self.light(x, y, 2),
            (Channel::Luma, _) => {
                let [r, g, b] = self.rgb(x, y);
                0.2126 * r + 0.7152 * g + 0.0722 * b
            }
            (Channel::Max, _) => self.rgb(x, y).into_iter().fold(0.0, f32::max),
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
}

impl PartialEq for Frame {
    /// Whether all stored values are the same and mean the same.
    fn eq(&self, other: &Self) -> bool {
        let shape = |f: &Self| (f.width, f.height, f.channels, f.transfer);
        shape(self) == shape(other) && self.samples() == other.samples()
    }
}

impl Eq for Frame {}

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
    fn a_channel_alone_is_a_grey_frame() {
        let frame = Frame::new(2, 1, 3, Samples::U8(vec![1, 2, 3, 4, 5, 6]), Transfer::Srgb);
        let blue = frame.stored_channel(Channel::Blue).unwrap();
        assert_eq!(blue.samples(), &Samples::U8(vec![3, 6]));
        assert_eq!((blue.width(), blue.height(), blue.channels()), (2, 1, 1));
        assert!(frame.stored_channel(Channel::Max).is_none());
    }

    #[test]
    fn clipping_stays_inside() {
        let frame = Frame::new(4, 2, 1, Samples::U8(vec![0; 8]), Transfer::Linear);
        let rect = frame.clip(3.0, 1.0, 2.0).unwrap();
        assert_eq!((rect.x, rect.y, rect.width, rect.height), (1, 0, 3, 2));
        assert!(frame.clip(40.0, 1.0, 2.0).is_none());
    }
}
