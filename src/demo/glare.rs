//! What a lens does to light much brighter than the rest: blur, halo, rays of the diaphragm.

use crate::raster::{LinearImage, LinearRgb};

/// Blurs a part of an image by a Gaussian of `sigma_px`, the edges of the frame held. The part runs from `from` to `to`
/// (x, y, exclusive).
pub(super) fn blur(image: &mut LinearRgb, sigma_px: f32, from: (usize, usize), to: (usize, usize)) {
    let taps = gaussian(sigma_px);
    let reach = (taps.len() / 2) as isize;
    let (width, height) = (to.0 - from.0, to.1 - from.1);
    let (last_x, last_y) = (image.width() as isize - 1, image.height() as isize - 1);
    let mut across = vec![0.0_f32; width * (height + 2 * reach as usize) * 3];
    for (n, line) in across.chunks_exact_mut(width * 3).enumerate() {
        let y = (from.1 as isize + n as isize - reach).clamp(0, last_y) as usize;
        let row = image.row(y);
        for (k, weight) in taps.iter().enumerate() {
            for (x, out) in line.chunks_exact_mut(3).enumerate() {
                let at = (from.0 as isize + x as isize + k as isize - reach).clamp(0, last_x)
                    as usize
                    * 3;
                out[0] += weight * row[at];
                out[1] += weight * row[at + 1];
                out[2] += weight * row[at + 2];
            }
        }
    }
    for y in 0..height {
        let out = &mut image.row_mut(from.1 + y)[from.0 * 3..to.0 * 3];
        out.fill(0.0);
        for (k, weight) in taps.iter().enumerate() {
            let line = &across[(y + k) * width * 3..(y + k + 1) * width * 3];
            out.iter_mut().zip(line).for_each(|(o, v)| *o += weight * v);
        }
    }
}

/// Weights of a Gaussian, out to three sigma.
fn gaussian(sigma_px: f32) -> Vec<f32> {
    let reach = (3.0 * sigma_px).ceil().max(1.0) as i32;
    let raw: Vec<f32> = (-reach..=reach)
        .map(|k| (-0.5 * (k as f32 / sigma_px.max(0.05)).powi(2)).exp())
        .collect();
    let sum: f32 = raw.iter().sum();
    raw.into_iter().map(|w| w / sum).collect()
}

/// Smears an image along a line of `dx`, `dy` pixels: a star trail.
pub(super) fn trail(image: &LinearRgb, dx: f32, dy: f32) -> LinearRgb {
    let steps = (dx.hypot(dy) / 0.6).ceil() as usize + 1;
    let (width, height) = (image.width(), image.height());
    let mut out = LinearRgb::new(width, height);
    let share = 1.0 / steps as f32;
    for n in 0..steps {
        let t = (n as f32 + 0.5) / steps as f32 - 0.5;
        let (sx, sy) = (t * dx, t * dy);
        let (ix, iy) = (sx.floor(), sy.floor());
        let (fx, fy) = (sx - ix, sy - iy);
        for y in 0..height {
            let edge =
                |k: f32| (y as isize + (iy + k) as isize).clamp(0, height as isize - 1) as usize;
            let (top, low) = (image.row(edge(0.0)), image.row(edge(1.0)));
            for (x, pixel) in out.row_mut(y).chunks_exact_mut(3).enumerate() {
                let side = |k: f32| {
                    (x as isize + (ix + k) as isize).clamp(0, width as isize - 1) as usize * 3
                };
                let (a, b) = (side(0.0), side(1.0));
                for c in 0..3 {
                    let upper = top[a + c] + (top[b + c] - top[a + c]) * fx;
                    let lower = low[a + c] + (low[b + c] - low[a + c]) * fx;
                    pixel[c] += share * (upper + (lower - upper) * fy);
                }
            }
        }
    }
    out
}

/// Coarsest level of the halo: features some 2^9 pixels wide.
const HALO_LEVELS: usize = 9;

/// The scattered light of an image: `share` of its light spread over a halo whose brightness falls off about as
/// `r^-fall`. A sum of ever wider blurs, each level half the size of the one before.
pub(super) fn halo(image: &LinearImage, share: f32, fall: f32) -> LinearImage {
    let mut levels = vec![halved(image)];
    while levels.len() < HALO_LEVELS
        && levels[levels.len() - 1]
            .width()
            .min(levels[levels.len() - 1].height())
            > 3
    {
        levels.push(halved(&levels[levels.len() - 1]));
    }
    let weight = |n: usize| 2.0_f32.powf((2.0 - fall) * n as f32);
    let total: f32 = (0..levels.len()).map(weight).sum();
    let mut sum: Option<LinearImage> = None;
    for (n, mut level) in levels.into_iter().enumerate().rev() {
        level
            .data_mut()
            .iter_mut()
            .for_each(|v| *v *= share * weight(n) / total);
        if let Some(coarser) = sum {
            add_doubled(&mut level, &coarser);
        }
        sum = Some(level);
    }
    let mut out = LinearImage::new(image.width(), image.height());
    if let Some(level) = sum {
        add_doubled(&mut out, &level);
    }
    out
}

/// Half the size: means of two by two, then a small blur (1 2 1).
fn halved(image: &LinearImage) -> LinearImage {
    let (width, height) = (image.width().div_ceil(2), image.height().div_ceil(2));
    let mut small = LinearImage::new(width, height);
    for y in 0..height {
        let (a, b) = (
            image.row(2 * y),
            image.row((2 * y + 1).min(image.height() - 1)),
        );
        for (x, value) in small.row_mut(y).iter_mut().enumerate() {
            let next = (2 * x + 1).min(image.width() - 1);
            *value = 0.25 * (a[2 * x] + a[next] + b[2 * x] + b[next]);
        }
    }
    softened(&small)
}

fn softened(image: &LinearImage) -> LinearImage {
    let (width, height) = (image.width(), image.height());
    let mut across = LinearImage::new(width, height);
    for y in 0..height {
        let row = image.row(y);
        for (x, value) in across.row_mut(y).iter_mut().enumerate() {
            *value = 0.25 * (row[x.saturating_sub(1)] + row[(x + 1).min(width - 1)]) + 0.5 * row[x];
        }
    }
    let mut out = LinearImage::new(width, height);
    for y in 0..height {
        let (a, b, c) = (
            across.row(y.saturating_sub(1)),
            across.row(y),
            across.row((y + 1).min(height - 1)),
        );
        for (x, value) in out.row_mut(y).iter_mut().enumerate() {
            *value = 0.25 * (a[x] + c[x]) + 0.5 * b[x];
        }
    }
    out
}

/// Adds an image of half the size, enlarged with straight lines between its pixels.
fn add_doubled(image: &mut LinearImage, half: &LinearImage) {
    let place = |v: usize, limit: usize| {
        let at = (v as f32 - 0.5) / 2.0;
        let low = at.floor().max(0.0) as usize;
        (
            low,
            (low + 1).min(limit - 1),
            (at - low as f32).clamp(0.0, 1.0),
        )
    };
    for y in 0..image.height() {
        let (j, j1, fy) = place(y, half.height());
        let (a, b) = (half.row(j), half.row(j1));
        for (x, value) in image.row_mut(y).iter_mut().enumerate() {
            let (i, i1, fx) = place(x, half.width());
            let top = a[i] + (a[i1] - a[i]) * fx;
            let low = b[i] + (b[i1] - b[i]) * fx;
            *value += top + (low - top) * fy;
        }
    }
}

/// A point that throws rays: place in pixels and light in pixel units.
#[derive(Clone, Copy, Debug)]
pub(super) struct Source {
    pub(super) x: f32,
    pub(super) y: f32,
    pub(super) light: f32,
}

/// Most points that throw rays in one frame.
const SOURCES_MAX: usize = 3;

/// The brightest separate patches of an image: centroids of its light in boxes of `box_px`.
pub(super) fn sources(image: &LinearImage, box_px: usize) -> Vec<Source> {
    let (across, down) = (
        image.width().div_ceil(box_px),
        image.height().div_ceil(box_px),
    );
    let mut sums = vec![[0.0_f32; 3]; across * down];
    for y in 0..image.height() {
        for (x, &v) in image.row(y).iter().enumerate().filter(|(_, v)| **v > 0.0) {
            let sum = &mut sums[y / box_px * across + x / box_px];
            sum[0] += v;
            sum[1] += v * x as f32;
            sum[2] += v * y as f32;
        }
    }
    let mut list: Vec<Source> = sums
        .iter()
        .filter(|s| s[0] > 0.0)
        .map(|s| Source {
            x: s[1] / s[0],
            y: s[2] / s[0],
            light: s[0],
        })
        .collect();
    list.sort_by(|a, b| b.light.total_cmp(&a.light));
    list.truncate(SOURCES_MAX);
    list
}

/// Diffraction of a diaphragm with nine blades: eighteen rays, falling off as the square of the distance.
pub(super) fn add_rays(image: &mut LinearImage, source: Source, strength: f32, reach_px: f32) {
    const RAYS: f32 = 18.0;
    let spacing = std::f32::consts::TAU / RAYS;
    let (width, height) = (image.width() as f32, image.height() as f32);
    let range = |c: f32, limit: f32| {
        (c - reach_px).clamp(0.0, limit) as usize..(c + reach_px).clamp(0.0, limit) as usize
    };
    for y in range(source.y, height) {
        let dy = y as f32 - source.y;
        for x in range(source.x, width) {
            let dx = x as f32 - source.x;
            let r2 = dx * dx + dy * dy;
            if r2 > reach_px * reach_px {
                continue;
            }
            let r = r2.sqrt();
            let turn = (dy.atan2(dx) + 0.11) / spacing;
            let away = (turn - turn.round()) * spacing * r;
            let thick = 0.9 + 0.006 * r;
            let fade = 1.0 - r / reach_px;
            *image.at_mut(x, y) +=
                source.light * strength * fade * (-(away / thick).powi(2)).exp() / (r2 + 12.0);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_halo_keeps_its_share_of_the_light() {
        let mut image = LinearImage::new(256, 256);
        *image.at_mut(128, 128) = 1000.0;
        let sum: f32 = halo(&image, 0.1, 2.2).data().iter().sum();
        assert!((60.0..=110.0).contains(&sum), "{sum}");
    }

    #[test]
    fn a_blur_keeps_the_light_and_the_place() {
        let mut image = LinearRgb::new(41, 31);
        image.set(20, 15, [1.0; 3]);
        blur(&mut image, 1.5, (0, 0), (41, 31));
        let (mut sum, mut x_sum) = (0.0, 0.0);
        for y in 0..31 {
            for x in 0..41 {
                sum += image.at(x, y)[1];
                x_sum += image.at(x, y)[1] * x as f32;
            }
        }
        assert!((sum - 1.0).abs() < 1e-4 && (x_sum / sum - 20.0).abs() < 1e-4);
    }
}
