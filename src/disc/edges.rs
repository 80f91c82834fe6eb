//! Edge points of a small image, each with the direction towards the brighter side.

use crate::raster::LinearImage;

/// A point on an edge.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Edge {
    /// Place in pixels of the image.
    pub x: f64,
    /// Place in pixels of the image.
    pub y: f64,
    /// Unit vector towards the brighter side.
    pub to_bright: (f64, f64),
    /// Gradient in square roots of light per pixel.
    pub strength: f64,
}

/// Edges weaker than this fraction of the strong ones are left out.
const WEAK: f64 = 0.12;

/// No edge is weaker than this, in square roots of light per pixel: below it is noise of dark frames.
const FLOOR: f64 = 0.004;

/// Edge points by non-maximum suppression of the gradient of the square root of light, sub-pixel by a parabola.
///
/// The square root evens out the noise of photon counts and lifts the faint side of a corona.
///
/// Source: J. Canny 1986, "A computational approach to edge detection", IEEE PAMI 8, 679; the parabola after
/// F. Devernay 1995, "A non-maxima suppression method for edge detection with sub-pixel accuracy", INRIA RR-2724.
pub(super) fn edges(image: &LinearImage) -> Vec<Edge> {
    let (w, h) = (image.width(), image.height());
    if w < 5 || h < 5 {
        return Vec::new();
    }
    let smooth = smoothed(image);
    let (gx, gy, strength) = gradient(&smooth);
    let least = least_strength(&strength);
    let mut found = Vec::new();
    for y in 2..h - 2 {
        for (n, here) in strength.row(y)[2..w - 2].iter().enumerate() {
            if *here >= least
                && let Some(edge) = ridge_point(&gx, &gy, &strength, n + 2, y)
            {
                found.push(edge);
            }
        }
    }
    found
}

/// Square root of light, blurred by (1 2 1)/4 both ways.
fn smoothed(image: &LinearImage) -> LinearImage {
    let (w, h) = (image.width(), image.height());
    let mut across = LinearImage::new(w, h);
    // With a copy of the first and the last to either side.
    let mut row = vec![0.0; w + 2];
    for y in 0..h {
        for (root, light) in row[1..].iter_mut().zip(image.row(y)) {
            *root = light.max(0.0).sqrt();
        }
        (row[0], row[w + 1]) = (row[1], row[w]);
        blur(across.row_mut(y), [&row, &row[1..], &row[2..]]);
    }
    let mut both = LinearImage::new(w, h);
    for y in 0..h {
        let (up, down) = (y.saturating_sub(1), (y + 1).min(h - 1));
        let rows = [across.row(up), across.row(y), across.row(down)];
        blur(both.row_mut(y), rows);
    }
    both
}

/// A quarter of the first and the last and half of the middle.
fn blur(out: &mut [f32], [before, here, after]: [&[f32]; 3]) {
    for (((out, before), here), after) in out.iter_mut().zip(before).zip(here).zip(after) {
        *out = 0.25 * (before + after) + 0.5 * here;
    }
}

fn gradient(image: &LinearImage) -> (LinearImage, LinearImage, LinearImage) {
    let (w, h) = (image.width(), image.height());
    let (mut gx, mut gy, mut strength) = (
        LinearImage::new(w, h),
        LinearImage::new(w, h),
        LinearImage::new(w, h),
    );
    let inner = 1..w - 1;
    for y in 1..h - 1 {
        let row = image.row(y);
        half_way(&mut gx.row_mut(y)[inner.clone()], &row[2..], row);
        let (below, above) = (image.row(y + 1), image.row(y - 1));
        half_way(
            &mut gy.row_mut(y)[inner.clone()],
            &below[inner.clone()],
            &above[inner.clone()],
        );
        let out = &mut strength.row_mut(y)[inner.clone()];
        let parts = gx.row(y)[inner.clone()]
            .iter()
            .zip(&gy.row(y)[inner.clone()]);
        for (out, (dx, dy)) in out.iter_mut().zip(parts) {
            *out = (dx * dx + dy * dy).sqrt();
        }
    }
    (gx, gy, strength)
}

fn half_way(out: &mut [f32], after: &[f32], before: &[f32]) {
    for ((out, after), before) in out.iter_mut().zip(after).zip(before) {
        *out = 0.5 * (after - before);
    }
}

/// The least gradient that counts: a fraction of the strong ones, and well above the noise.
fn least_strength(strength: &LinearImage) -> f32 {
    let mut all: Vec<f32> = strength.data().iter().copied().step_by(3).collect();
    let n = all.len();
    let median = *all.select_nth_unstable_by(n / 2, f32::total_cmp).1;
    let top = n - 1 - (n / 500).max(8).min(n - 1);
    let strong = *all.select_nth_unstable_by(top, f32::total_cmp).1;
    (strong * WEAK as f32).max(median * 3.0).max(FLOOR as f32)
}

fn ridge_point(
    gx: &LinearImage,
    gy: &LinearImage,
    strength: &LinearImage,
    x: usize,
    y: usize,
) -> Option<Edge> {
    let here = strength.at(x, y);
    let (ux, uy) = (gx.at(x, y) / here, gy.at(x, y) / here);
    let ahead = bilinear(strength, x as f32 + ux, y as f32 + uy);
    let behind = bilinear(strength, x as f32 - ux, y as f32 - uy);
    if here < ahead || here <= behind {
        return None;
    }
    let curve = ahead - 2.0 * here + behind;
    let shift = if curve < 0.0 {
        (0.5 * (behind - ahead) / curve).clamp(-0.6, 0.6)
    } else {
        0.0
    };
    Some(Edge {
        x: f64::from(x as f32 + shift * ux),
        y: f64::from(y as f32 + shift * uy),
        to_bright: (f64::from(ux), f64::from(uy)),
        strength: f64::from(here),
    })
}

/// The value between four pixels; places outside are taken at the border.
pub(super) fn bilinear(image: &LinearImage, x: f32, y: f32) -> f32 {
    let (w, h) = (image.width(), image.height());
    let (x, y) = (x.clamp(0.0, (w - 1) as f32), y.clamp(0.0, (h - 1) as f32));
    let (x0, y0) = (
        (x as usize).min(w.saturating_sub(2)),
        (y as usize).min(h.saturating_sub(2)),
    );
    let (x1, y1) = ((x0 + 1).min(w - 1), (y0 + 1).min(h - 1));
    let (fx, fy) = (x - x0 as f32, y - y0 as f32);
    (image.at(x0, y0) * (1.0 - fx) + image.at(x1, y0) * fx) * (1.0 - fy)
        + (image.at(x0, y1) * (1.0 - fx) + image.at(x1, y1) * fx) * fy
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_edge_points_to_the_bright_side() {
        let mut image = LinearImage::new(12, 12);
        for y in 0..12 {
            for x in 6..12 {
                *image.at_mut(x, y) = 0.8;
            }
        }
        let found = edges(&image);
        assert!(!found.is_empty());
        for edge in found {
            assert!((edge.x - 5.5).abs() < 0.3, "{edge:?}");
            assert!(edge.to_bright.0 > 0.99);
        }
    }

    #[test]
    fn a_flat_image_has_none() {
        assert!(edges(&LinearImage::new(20, 20)).is_empty());
        assert!(edges(&LinearImage::new(2, 2)).is_empty());
    }
}
