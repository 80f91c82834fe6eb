//! The corona's fine structure as grey pictures, by the two normalisations.

use rayon::prelude::*;

use super::light::{luminance, smooth_step};
use super::normalise::{MgnOptions, mgn, nrgf};
use super::profile::Profile;
use super::{Merged, NotCarried, carried};
use crate::domain::Circle;
use crate::raster::{LinearImage, LinearRgb, srgb_to_linear};

/// Standard deviations of a ring either side of its mean that the radial normalisation shows from black to white.
const SHOWN_SIGMAS: f32 = 2.5;

/// A way to bring out fine structure.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fine {
    /// [`nrgf`] in rings two pixels wide.
    Radial,
    /// [`mgn`] with the paper's settings.
    MultiScale,
}

/// The fine structure in grey, 0 to 1 in linear light, black on the Moon and where there is no light.
///
/// The values of the normalisations stand as sRGB-coded values, so that their middle is a middle grey. The Moon is
/// filled with the light just outside its limb before they run, so that its edge leaves no rim around it.
///
/// # Errors
/// [`NotCarried`] when noise would be what is brought out.
pub fn fine(merged: &Merged, how: Fine) -> Result<LinearRgb, NotCarried> {
    carried::fine_structure(merged)?;
    let light = flattened(merged);
    let shown = match how {
        Fine::Radial => nrgf(&light, &merged.sun, 0.0, 2.0),
        Fine::MultiScale => mgn(&light, &MgnOptions::default()),
    };
    let mut out = LinearRgb::new(light.width(), light.height());
    let rows = out.data_mut().par_chunks_mut(3 * light.width().max(1));
    rows.enumerate().for_each(|(y, row)| {
        for (x, rgb) in row.chunks_exact_mut(3).enumerate() {
            let value = shown.at(x, y);
            let coded = match how {
                Fine::Radial => 0.5 + value / (2.0 * SHOWN_SIGMAS),
                Fine::MultiScale => value,
            };
            let lit = merged.radiance.at(x, y).iter().any(|v| *v > 0.0);
            if lit && coded.is_finite() {
                rgb.fill(srgb_to_linear(coded.clamp(0.0, 1.0)) * outside(&merged.moon, x, y));
            }
        }
    });
    Ok(out)
}

/// 0 on the Moon, 1 outside, half on its limb.
fn outside(moon: &Circle, x: usize, y: usize) -> f32 {
    let off = (x as f64 - moon.x_px).hypot(y as f64 - moon.y_px) - moon.radius_px;
    smooth_step(-0.5, 2.5, off as f32)
}

/// Luminance over its median at each distance from the Sun, 1 where there is none: what the normalisations make of it is
/// the same where rings are thin, but its steep fall leaves no steps within them. The Moon is filled with the light just
/// outside its limb.
fn flattened(merged: &Merged) -> LinearImage {
    let map = &merged.radiance;
    let (width, height) = (map.width(), map.height());
    let light = |x: usize, y: usize| luminance(map.at(x, y));
    let profile = Profile::of_medians([width, height], &merged.sun, &merged.moon, light);
    let mut out = LinearImage::new(width, height);
    let rows = out.data_mut().par_chunks_mut(width.max(1)).enumerate();
    rows.for_each(|(y, row)| {
        for (x, value) in row.iter_mut().enumerate() {
            let r = (x as f64 - merged.sun.x_px).hypot(y as f64 - merged.sun.y_px);
            let usual = profile.at(r as f32);
            let flat = light(x, y) / usual;
            *value = if flat.is_finite() && flat > 0.0 && usual > 0.0 {
                flat
            } else {
                1.0
            };
        }
    });
    fill_moon(&mut out, &merged.moon);
    out
}

fn fill_moon(out: &mut LinearImage, moon: &Circle) {
    let ring = moon.radius_px + 4.0;
    let (width, height) = (out.width(), out.height());
    for y in 0..height {
        for x in 0..width {
            let (dx, dy) = (x as f64 - moon.x_px, y as f64 - moon.y_px);
            let r = dx.hypot(dy);
            if r >= ring {
                continue;
            }
            // The light straight outwards; the very centre has no outwards and takes the right.
            let (ux, uy) = if r > 0.5 {
                (dx / r, dy / r)
            } else {
                (1.0, 0.0)
            };
            let at = |centre: f64, u: f64, most: usize| {
                (centre + (ring + 1.0) * u)
                    .round()
                    .clamp(0.0, most as f64 - 1.0) as usize
            };
            let from = out.at(at(moon.x_px, ux, width), at(moon.y_px, uy, height));
            *out.at_mut(x, y) = from;
        }
    }
}
