//! A finished picture: 16 bits a channel, sRGB.

use rayon::prelude::*;

use super::super::{LinearRgb, Rect, linear_to_srgb, srgb_to_linear};

/// Anything that can give finished rows: three channels interleaved, sRGB-coded, 0 to 65,535.
pub trait Rows: Sync {
    /// Pixels across.
    fn width(&self) -> usize;

    /// Pixels down.
    fn height(&self) -> usize;

    /// Fills `out` with the rows from `y` on; `out` holds whole rows (`3 * width` values each) inside the picture.
    fn fill(&self, y: usize, out: &mut [u16]);
}

/// A finished picture in memory.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    width: usize,
    height: usize,
    data: Vec<u16>,
}

impl Picture {
    /// Wraps row-major values, red green blue interleaved, sRGB-coded.
    ///
    /// # Panics
    /// When `data` does not hold exactly the values of `width` by `height` pixels.
    pub fn new(width: usize, height: usize, data: Vec<u16>) -> Self {
        assert_eq!(data.len(), width * height * 3, "three values per place");
        Self {
            width,
            height,
            data,
        }
    }

    /// All the rows of a source, in memory.
    pub fn from_rows(rows: &dyn Rows) -> Self {
        let mut data = vec![0; rows.width() * rows.height() * 3];
        let bands = data.par_chunks_mut((super::BAND_ROWS * rows.width() * 3).max(1));
        bands
            .enumerate()
            .for_each(|(n, band)| rows.fill(n * super::BAND_ROWS, band));
        Self::new(rows.width(), rows.height(), data)
    }

    /// Codes linear light; values outside 0 to 1 are held at the ends, and what is not a number is black.
    pub fn from_linear(image: &LinearRgb) -> Self {
        let data = image.data().par_iter().map(|&l| coded(l)).collect();
        Self::new(image.width(), image.height(), data)
    }

    /// The light of the picture.
    pub fn to_linear(&self) -> LinearRgb {
        let light = |&v: &u16| srgb_to_linear(f32::from(v) / 65_535.0);
        LinearRgb::from_data(
            self.width,
            self.height,
            self.data.par_iter().map(light).collect(),
        )
    }

    /// Pixels across.
    pub fn width(&self) -> usize {
        self.width
    }

    /// Pixels down.
    pub fn height(&self) -> usize {
        self.height
    }

    /// A part of the picture, as far as it is on it.
    pub fn part(&self, part: Rect) -> Self {
        let (left, top) = (part.x.min(self.width), part.y.min(self.height));
        let width = part.width.min(self.width - left);
        let height = part.height.min(self.height - top);
        let row = |y: usize| {
            let start = (y * self.width + left) * 3;
            &self.data[start..start + 3 * width]
        };
        let data = (top..top + height).flat_map(row).copied().collect();
        Self::new(width, height, data)
    }

    /// The values, row-major.
    pub fn data(&self) -> &[u16] {
        &self.data
    }

    /// Red, green and blue at a pixel inside the picture.
    pub fn at(&self, x: usize, y: usize) -> [u16; 3] {
        let i = (y * self.width + x) * 3;
        [self.data[i], self.data[i + 1], self.data[i + 2]]
    }
}

impl Rows for Picture {
    fn width(&self) -> usize {
        self.width
    }

    fn height(&self) -> usize {
        self.height
    }

    fn fill(&self, y: usize, out: &mut [u16]) {
        let start = y * self.width * 3;
        out.copy_from_slice(&self.data[start..start + out.len()]);
    }
}

/// Light is coded on the way out; values outside 0 to 1 are held at the ends, and what is not a number is black.
impl Rows for LinearRgb {
    fn width(&self) -> usize {
        LinearRgb::width(self)
    }

    fn height(&self) -> usize {
        LinearRgb::height(self)
    }

    fn fill(&self, y: usize, out: &mut [u16]) {
        let start = y * LinearRgb::width(self) * 3;
        for (value, light) in out.iter_mut().zip(&self.data()[start..]) {
            *value = if *light > 0.0 { coded(*light) } else { 0 };
        }
    }
}

/// The 16-bit sRGB value of light.
pub(crate) fn coded(light: f32) -> u16 {
    // Not-a-number survives the clamp and becomes 0 in the cast.
    (linear_to_srgb(light) * 65_535.0 + 0.5) as u16
}

/// The nearest 8-bit value of a 16-bit one.
pub(super) fn eight_bit(v: u16) -> u8 {
    // 257 = 65,535 / 255, so the quotient never passes 255.
    ((u32::from(v) + 128) / 257) as u8
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn light_survives_the_round_trip() {
        let ramp: Vec<f32> = (0..=300).map(|v| v as f32 / 300.0).collect();
        let image = LinearRgb::from_data(301, 1, ramp.iter().flat_map(|&v| [v; 3]).collect());
        let back = Picture::from_linear(&image).to_linear();
        for (a, b) in image.data().iter().zip(back.data()) {
            assert!((a - b).abs() < 4e-5, "{a} came back as {b}");
        }
    }

    #[test]
    fn strange_light_is_held() {
        assert_eq!(coded(f32::NAN), 0);
        assert_eq!(coded(-1.0), 0);
        assert_eq!(coded(f32::INFINITY), 65_535);
    }

    #[test]
    fn eight_bits_are_the_nearest() {
        assert_eq!(eight_bit(65_535), 255);
        assert_eq!(eight_bit(0), 0);
        assert_eq!(eight_bit(257 * 100 + 128), 100);
        assert_eq!(eight_bit(257 * 100 + 129), 101);
    }
}
