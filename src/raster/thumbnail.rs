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
            for (sum, light) in sum.iter_mut().zip(frame.rgb(x, y)) {
                *sum += light / (POINTS * POINTS) as f32;
            }
        }
    }
    sum
}
