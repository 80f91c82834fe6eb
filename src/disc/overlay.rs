//! Small pictures with the fitted circles drawn, for a person to look at.

use image::{Rgb, RgbImage};
use imageproc::drawing::draw_line_segment_mut;

use crate::domain::{Circle, DiscFit};
use crate::raster::{Frame, Rect, linear_to_srgb};

/// Longest side of the picture in pixels.
const SIDE: usize = 720;

/// The fitted disc takes this part of the picture's half-width.
const DISC_SHARE: f64 = 0.7;

/// Corners of the polygon that stands for a circle.
const CORNERS: u32 = 240;

/// Colour of the Sun's circle.
const SUN: Rgb<u8> = Rgb([255, 140, 30]);

/// Colour of the Moon's circle.
const MOON: Rgb<u8> = Rgb([70, 200, 255]);

/// Colour of the frame's own edge where the picture reaches beyond it.
const BEYOND: Rgb<u8> = Rgb([40, 40, 40]);

/// The part of the frame around the discs, at most 720 pixels on a side, with the circles drawn: the Sun's orange, the
/// Moon's blue, and a cross at each centre. Without a fit, the whole frame.
pub fn overlay(frame: &Frame, fit: Option<&DiscFit>) -> RgbImage {
    let main = fit.and_then(|f| f.sun.or(f.moon));
    let rect = main
        .and_then(|c| frame.clip(c.x_px, c.y_px, c.radius_px / DISC_SHARE + 10.0))
        .unwrap_or(frame.full());
    let step = rect.width.max(rect.height).div_ceil(SIDE).max(1);
    let mut picture = shrunk(frame, rect, step);
    for (circle, colour) in [
        (fit.and_then(|f| f.sun), SUN),
        (fit.and_then(|f| f.moon), MOON),
    ] {
        if let Some(circle) = circle {
            draw(&mut picture, circle, rect, step, colour);
        }
    }
    picture
}

fn shrunk(frame: &Frame, rect: Rect, step: usize) -> RgbImage {
    let small = frame.coarse(rect, step);
    let (w, h) = (small.width().max(1), small.height().max(1));
    RgbImage::from_fn(w as u32, h as u32, |x, y| {
        let (x, y) = (x as usize, y as usize);
        if x < small.width() && y < small.height() {
            Rgb(small
                .at(x, y)
                .map(|v| (linear_to_srgb(v) * 255.0).round() as u8))
        } else {
            BEYOND
        }
    })
}

fn draw(picture: &mut RgbImage, circle: Circle, rect: Rect, step: usize, colour: Rgb<u8>) {
    let Circle {
        x_px: x,
        y_px: y,
        radius_px: r,
    } = circle.in_part((rect.x, rect.y), step as f64);
    let place = |corner: u32, r: f64| {
        let (sin, cos) = (std::f64::consts::TAU * f64::from(corner) / f64::from(CORNERS)).sin_cos();
        ((x + r * cos) as f32, (y + r * sin) as f32)
    };
    for corner in 0..CORNERS {
        draw_line_segment_mut(picture, place(corner, r), place(corner + 1, r), colour);
    }
    let arm = 5.0_f32;
    let (x, y) = (x as f32, y as f32);
    draw_line_segment_mut(picture, (x - arm, y), (x + arm, y), colour);
    draw_line_segment_mut(picture, (x, y - arm), (x, y + arm), colour);
}
