//! The Moon's edge in the picture.

use super::light::smooth_step;
use crate::domain::Circle;
use crate::raster::{LinearRgb, linear_to_srgb, srgb_to_linear};

/// Pixels either side of the Moon's edge from where what is shown is taken for the edge: inside, optics and seeing spread light
/// of the limb over some pixels, which the stretch would show as a grey rim.
const EDGE_PX: [f64; 2] = [-4.5, 1.5];

/// Pixels along the edge of the places whose mean stands for the disc beside it: the grain of a single one, drawn out to the edge,
/// would be a tick on it.
const ASIDE_PX: [f64; 7] = [-6.0, -4.0, -2.0, 0.0, 2.0, 4.0, 6.0];

/// Mean of some coded values; `None` of none.
fn mean(values: impl Iterator<Item = [f32; 3]>) -> Option<[f32; 3]> {
    let add = |(sum, n): ([f32; 3], f32), v: [f32; 3]| ([0, 1, 2].map(|c| sum[c] + v[c]), n + 1.0);
    let (sum, n) = values.fold(([0.0; 3], 0.0), add);
    (n > 0.0).then(|| sum.map(|s| s / n))
}

/// Draws the Moon's edge over a pixel or so between what is shown inside and outside it. In light it is as sharp as the
/// optics; but the stretch makes of the first part of its rise nearly all, and of a smooth edge a row of steps.
pub(super) fn draw_limb(out: &mut LinearRgb, moon: &Circle) {
    let (width, height) = (out.width(), out.height());
    let source = out.clone();
    let half = moon.radius_px + EDGE_PX[1] + 1.0;
    let range = |centre: f64, limit: usize| {
        let from = (centre - half).floor().clamp(0.0, limit as f64) as usize;
        let to = (centre + half + 1.0).ceil().clamp(0.0, limit as f64) as usize;
        from..to
    };
    for y in range(moon.y_px, height) {
        for x in range(moon.x_px, width) {
            let (dx, dy) = (x as f64 - moon.x_px, y as f64 - moon.y_px);
            let r = dx.hypot(dy);
            let off = r - moon.radius_px;
            if r < 1.0 || !(EDGE_PX[0]..EDGE_PX[1]).contains(&off) {
                continue;
            }
            let [ux, uy] = [dx / r, dy / r];
            // `off` pixels from the edge and `aside` along it.
            let along = |off: f64, aside: f64| {
                let at = moon.radius_px + off;
                coded_at(
                    &source,
                    moon.x_px + ux * at - uy * aside,
                    moon.y_px + uy * at + ux * aside,
                )
            };
            let inside = mean(
                ASIDE_PX
                    .iter()
                    .filter_map(|aside| along(EDGE_PX[0], *aside)),
            );
            let (Some(inside), Some(outside)) = (inside, along(EDGE_PX[1], 0.0)) else {
                continue;
            };
            let share = smooth_step(-1.2, 0.9, off as f32);
            let rgb = std::array::from_fn(|c| {
                srgb_to_linear(inside[c] + (outside[c] - inside[c]) * share)
            });
            out.set(x, y, rgb);
        }
    }
}

/// sRGB-coded values between the four nearest pixels; `None` off the picture.
fn coded_at(picture: &LinearRgb, x: f64, y: f64) -> Option<[f32; 3]> {
    let on = x >= 0.0 && y >= 0.0;
    let (i, j) = (x as usize, y as usize);
    if !on || i + 1 >= picture.width() || j + 1 >= picture.height() {
        return None;
    }
    let (fx, fy) = ((x - i as f64) as f32, (y - j as f64) as f32);
    let at = |i: usize, j: usize| picture.at(i, j).map(linear_to_srgb);
    let (a, b, c, d) = (at(i, j), at(i + 1, j), at(i, j + 1), at(i + 1, j + 1));
    Some(std::array::from_fn(|k| {
        let top = a[k] + (b[k] - a[k]) * fx;
        let low = c[k] + (d[k] - c[k]) * fx;
        top + (low - top) * fy
    }))
}
