//! A part of a frame at the size of a screen.

use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageError};
use rayon::prelude::*;

use crate::raster::{Frame, linear_to_srgb};

/// Points a side of a pixel that stand for what it covers (our choice: as smooth as the eye tells, and quick).
const POINTS: usize = 3;

/// Steps of light between nothing and saturation that are told apart when it is coded.
const LIGHT_STEPS: usize = 4_095;

/// Quality of the pictures, 1 to 100.
const QUALITY: u8 = 88;

/// What to show of a frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Part {
    /// Left and top edge in full-resolution pixels; may lie beyond the frame.
    pub(super) corner: (f64, f64),
    /// Width and height of the picture in its own pixels.
    pub(super) size: (usize, usize),
    /// Full-resolution pixels that one of the picture is wide; 1 at least.
    pub(super) scale: f64,
}

impl Part {
    /// All of a frame, no side longer than `side` pixels.
    pub(super) fn whole((width, height): (usize, usize), side: usize) -> Self {
        let scale = (width.max(height) as f64 / side.max(1) as f64).max(1.0);
        let small = |full: usize| ((full as f64 / scale).round() as usize).max(1);
        Self {
            corner: (0.0, 0.0),
            size: (small(width), small(height)),
            scale,
        }
    }

    /// The square about a place, `half_px` full-resolution pixels to either side, in no more than `side` pixels.
    pub(super) fn about((x, y): (f64, f64), half_px: f64, side: usize) -> Self {
        let scale = (2.0 * half_px / side.max(1) as f64).max(1.0);
        let side = ((2.0 * half_px / scale).round() as usize).max(1);
        let reach = scale * side as f64 / 2.0;
        // A pixel's own place is its centre.
        Self {
            corner: (x + 0.5 - reach, y + 0.5 - reach),
            size: (side, side),
            scale,
        }
    }
}

/// The part as a JPEG, black where it lies beyond the frame. Full-resolution pixels are shown as they are, others are averaged in linear
/// light.
pub(super) fn jpeg(frame: &Frame, part: &Part) -> Result<Vec<u8>, ImageError> {
    let coded: Vec<u8> = (0..=LIGHT_STEPS)
        .map(|n| (linear_to_srgb(n as f32 / LIGHT_STEPS as f32) * 255.0).round() as u8)
        .collect();
    let (width, height) = part.size;
    let points = if part.scale > 1.0 { POINTS } else { 1 };
    let rows: Vec<Vec<u8>> = (0..height)
        .into_par_iter()
        .map(|y| {
            let pixel = |x: usize| {
                let light = mean(frame, part, (x, y), points);
                light.map(|v| coded[(v.clamp(0.0, 1.0) * LIGHT_STEPS as f32).round() as usize])
            };
            (0..width).flat_map(pixel).collect()
        })
        .collect();
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, QUALITY).encode(
        &rows.concat(),
        width as u32,
        height as u32,
        ExtendedColorType::Rgb8,
    )?;
    Ok(bytes)
}

/// Mean light of what a pixel of the picture covers.
fn mean(frame: &Frame, part: &Part, (x, y): (usize, usize), points: usize) -> [f32; 3] {
    let mut sum = [0.0_f32; 3];
    let along = |corner: f64, at: usize, n: usize| {
        corner + part.scale * (at as f64 + (n as f64 + 0.5) / points as f64)
    };
    for j in 0..points {
        let v = along(part.corner.1, y, j);
        for i in 0..points {
            let u = along(part.corner.0, x, i);
            if u < 0.0 || v < 0.0 || u >= frame.width() as f64 || v >= frame.height() as f64 {
                continue;
            }
            for (sum, light) in sum.iter_mut().zip(frame.rgb(u as usize, v as usize)) {
                *sum += light / (points * points) as f32;
            }
        }
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::raster::{Samples, Transfer};

    #[test]
    fn parts_are_no_larger_than_asked_and_never_blown_up() {
        let whole = Part::whole((6_000, 4_000), 1_200);
        assert_eq!((whole.size, whole.scale), ((1_200, 800), 5.0));
        assert_eq!(Part::whole((300, 200), 1_200).size, (300, 200));
        let about = Part::about((1_000.0, 500.0), 450.0, 300);
        assert_eq!(
            (about.size, about.scale, about.corner),
            ((300, 300), 3.0, (550.5, 50.5))
        );
        assert_eq!(Part::about((10.0, 10.0), 50.0, 300).size, (100, 100));
    }

    #[test]
    fn pixels_at_full_size_are_those_of_the_frame() {
        let values: Vec<u8> = (0..16 * 8).flat_map(|n| [n as u8; 3]).collect();
        let frame = Frame::new(16, 8, 3, Samples::U8(values), Transfer::Srgb);
        let part = Part::about((7.5, 3.5), 8.0, 100);
        let picture = image::load_from_memory(&jpeg(&frame, &part).unwrap())
            .unwrap()
            .to_rgb8();
        assert_eq!(picture.dimensions(), (16, 16));
        // Rows -4 to 11 of the frame: what lies beyond is black.
        assert!(picture.get_pixel(8, 0)[0] < 12);
        let (found, true_code) = (picture.get_pixel(9, 8)[0], (4 * 16 + 9) as u8);
        assert!(found.abs_diff(true_code) < 14, "{found} {true_code}");
    }
}
