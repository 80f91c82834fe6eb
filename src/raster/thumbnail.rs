//! Small pictures of frames, for pages.

use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, ImageError};

use super::frame::{Frame, Rect, linear_to_srgb};

/// Points averaged along each side of a small pixel: enough to be smooth, few enough to be quick on large frames.
const POINTS: usize = 3;

/// A part of a frame as a JPEG of at most `side_px` by `side_px` pixels, never enlarged.
///
/// `quality` is 1 to 100. Light is averaged, not stored values.
///
/// # Errors
/// The encoder's, for parts without pixels.
pub fn thumbnail(
    frame: &Frame,
    part: Rect,
    side_px: usize,
    quality: u8,
) -> Result<Vec<u8>, ImageError> {
    let longest = part.width.max(part.height).max(1);
    let scale = (longest as f64 / side_px.max(1) as f64).max(1.0);
    let small = |side: usize| ((side as f64 / scale).round() as usize).max(1);
    let (width, height) = (small(part.width), small(part.height));
    // Means of blocks where they come for nothing and no point is passed over by taking them.
    let reduced = frame
        .colours()
        .filter(|(_, step)| scale >= (POINTS * step) as f64);
    if let Some((means, step)) = reduced {
        return thumbnail(&means, of_means(&means, part, step), side_px, quality);
    }
    let mut pixels = Vec::with_capacity(width * height * 3);
    for y in 0..height {
        for x in 0..width {
            let rgb = mean(frame, part, [x as f64 * scale, y as f64 * scale], scale);
            pixels.extend(rgb.map(|light| (linear_to_srgb(light) * 255.0).round() as u8));
        }
    }
    let mut bytes = Vec::new();
    JpegEncoder::new_with_quality(&mut bytes, quality.clamp(1, 100)).encode(
        &pixels,
        width as u32,
        height as u32,
        ExtendedColorType::Rgb8,
    )?;
    Ok(bytes)
}

/// A part of a frame in pixels of its means.
fn of_means(means: &Frame, part: Rect, step: usize) -> Rect {
    let along = |from: usize, length: usize, limit: usize| {
        let from = (from / step).min(limit - 1);
        (from, (length / step).clamp(1, limit - from))
    };
    let (x, width) = along(part.x, part.width, means.width());
    let (y, height) = along(part.y, part.height, means.height());
    Rect {
        x,
        y,
        width,
        height,
    }
}

/// Mean light of a square of the frame.
fn mean(frame: &Frame, part: Rect, corner: [f64; 2], side: f64) -> [f32; 3] {
    let mut sum = [0.0_f32; 3];
    for j in 0..POINTS {
        for i in 0..POINTS {
            let along = |corner: f64, n: usize, limit: usize| {
                let at = corner + side * (n as f64 + 0.5) / POINTS as f64;
                (at as usize).min(limit.saturating_sub(1))
            };
            let x = part.x + along(corner[0], i, part.width);
            let y = part.y + along(corner[1], j, part.height);
            for (sum, light) in sum.iter_mut().zip(frame.shown(x, y)) {
                *sum += light / (POINTS * POINTS) as f32;
            }
        }
    }
    sum
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;
    use crate::domain::Orientation;
    use crate::raster::{decode_bytes, glimpsed};

    /// A picture of 4800 by 900 pixels, large enough to be decoded where somebody looks: a disc of one colour on another.
    fn drawn() -> Vec<u8> {
        let picture = image::RgbImage::from_fn(4800, 900, |x, y| {
            let off = (f64::from(x) - 700.0).hypot(f64::from(y) - 500.0);
            image::Rgb(if off < 300.0 {
                [240, 150, 60]
            } else {
                [20, 25, 40]
            })
        });
        let mut bytes = Vec::new();
        JpegEncoder::new_with_quality(&mut bytes, 92)
            .encode_image(&picture)
            .unwrap();
        bytes
    }

    #[test]
    fn a_glimpse_shows_what_a_whole_decode_shows() {
        let bytes = drawn();
        let whole = decode_bytes(&bytes, Orientation::UPRIGHT).unwrap();
        let glimpse = glimpsed(&bytes, Orientation::UPRIGHT).unwrap();
        assert_eq!(glimpse.channels(), 1, "decoded where somebody looks");
        let around = whole.clip(700.0, 500.0, 400.0).unwrap();
        for (part, side) in [(around, 160), (whole.full(), 160)] {
            let small = |frame: &Frame| {
                let bytes = thumbnail(frame, part, side, 95).unwrap();
                image::load_from_memory(&bytes).unwrap().into_rgb8()
            };
            let (due, got) = (small(&whole), small(&glimpse));
            assert_eq!(due.dimensions(), got.dimensions());
            let off = due
                .iter()
                .zip(got.iter())
                .map(|(a, b)| f64::from(a.abs_diff(*b)));
            let mean = off.sum::<f64>() / due.len() as f64;
            assert!(mean < 2.0, "{part:?} {side}: {mean}");
        }
    }

    #[test]
    fn turned_and_other_pictures_are_decoded_whole() {
        let turned = Orientation::from_exif(6).unwrap();
        assert_eq!(glimpsed(&drawn(), turned).unwrap().channels(), 3);
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let small = std::fs::read(root.join("fixtures/raster/scan/quarter.jpg")).unwrap();
        assert_eq!(
            glimpsed(&small, Orientation::UPRIGHT).unwrap().channels(),
            3
        );
    }
}
