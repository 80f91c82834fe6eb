//! Images in linear light.

/// One channel of linear light, row-major.
#[derive(Clone, Debug, PartialEq)]
pub struct LinearImage {
    width: usize,
    height: usize,
    data: Vec<f32>,
}

/// Three channels of linear light, row-major, red green blue interleaved.
#[derive(Clone, Debug, PartialEq)]
pub struct LinearRgb {
    width: usize,
    height: usize,
    data: Vec<f32>,
}

macro_rules! planes {
    ($name:ident, $channels:literal) => {
        impl $name {
            /// Values per pixel.
            pub const CHANNELS: usize = $channels;

            /// A black image.
            pub fn new(width: usize, height: usize) -> Self {
                Self::from_data(width, height, vec![0.0; width * height * $channels])
            }

            /// Wraps row-major values.
            ///
            /// # Panics
            /// When `data` does not hold exactly the values of `width` by `height` pixels.
            pub fn from_data(width: usize, height: usize, data: Vec<f32>) -> Self {
                assert_eq!(
                    data.len(),
                    width * height * $channels,
                    "one value per place"
                );
                Self {
                    width,
                    height,
                    data,
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

            /// The values, row-major.
            pub fn data(&self) -> &[f32] {
                &self.data
            }

            /// The values, to change.
            pub fn data_mut(&mut self) -> &mut [f32] {
                &mut self.data
            }

            /// One row's values.
            pub fn row(&self, y: usize) -> &[f32] {
                let stride = self.width * $channels;
                &self.data[y * stride..(y + 1) * stride]
            }

            /// One row's values, to change.
            pub fn row_mut(&mut self, y: usize) -> &mut [f32] {
                let stride = self.width * $channels;
                &mut self.data[y * stride..(y + 1) * stride]
            }
        }
    };
}

planes!(LinearImage, 1);
planes!(LinearRgb, 3);

impl LinearImage {
    /// The value at a pixel.
    pub fn at(&self, x: usize, y: usize) -> f32 {
        self.data[y * self.width + x]
    }

    /// The value at a pixel, to change.
    pub fn at_mut(&mut self, x: usize, y: usize) -> &mut f32 {
        &mut self.data[y * self.width + x]
    }
}

impl LinearRgb {
    /// Red, green and blue at a pixel.
    pub fn at(&self, x: usize, y: usize) -> [f32; 3] {
        let i = (y * self.width + x) * 3;
        [self.data[i], self.data[i + 1], self.data[i + 2]]
    }

    /// Sets red, green and blue at a pixel.
    pub fn set(&mut self, x: usize, y: usize, rgb: [f32; 3]) {
        let i = (y * self.width + x) * 3;
        self.data[i..i + 3].copy_from_slice(&rgb);
    }
}
