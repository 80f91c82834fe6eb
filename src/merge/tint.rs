//! Colour in the picture.

use std::collections::HashMap;

use super::Merged;
use super::light::{luminance, smooth_step};
use super::look::Look;
use super::masked::Masked;
use crate::raster::srgb_to_linear;

/// Spreads of the sky's light at which half of a place's colour is that of what lies about it: the eye sees colour in faint
/// light coarsely, and grain and rounding of single channels show as stains and rings (our choice).
const COLOUR_UNRESTS: f32 = 60.0;

/// Light of each channel averaged over an eighth of the Sun's radius.
pub(super) struct Colours([Masked; 3]);

impl Colours {
    pub(super) fn of(merged: &Merged, look: &Look) -> Self {
        let map = &merged.radiance;
        let sigma_px = (look.sun.radius_px / 8.0).clamp(4.0, 64.0);
        Self([0, 1, 2].map(|c| {
            Masked::blurred([map.width(), map.height()], sigma_px, |x, y| {
                let rgb = map.at(x, y);
                let lit = look.off_moon(x, y) > 3.0 && rgb.iter().any(|v| *v > 0.0);
                lit.then(|| look.light(rgb, x, y)[c] / look.mean(look.radius(x, y)))
            })
        }))
    }

    /// The colour of a place of such light.
    pub(super) fn at(&self, look: &Look, own: [f32; 3], [x, y]: [usize; 2]) -> [f32; 3] {
        let light = luminance(own);
        if look.off_moon(x, y) < 3.0 || light <= 0.0 {
            return own;
        }
        let about = self.0.each_ref().map(|mean| mean.at(x, y).max(0.0));
        let scale = light / luminance(about).max(f32::MIN_POSITIVE);
        let doubt = (COLOUR_UNRESTS * look.unrest).powi(2);
        let sure = light * light / (light * light + doubt).max(f32::MIN_POSITIVE);
        std::array::from_fn(|c| about[c] * scale + (own[c] - about[c] * scale) * sure)
    }
}

/// Linear light of a coded level in the colour of `rgb`, so much of it kept; faded to grey where the light, `light`, is no
/// surer than the sky, or than what strays over the limb on the Moon's disc.
pub(super) fn coloured(
    look: &Look,
    (rgb, light): ([f32; 3], f32),
    level: f32,
    off_moon: f32,
    keep: f32,
) -> [f32; 3] {
    let shown = srgb_to_linear(level);
    let own = luminance(rgb);
    if light <= 0.0 || own <= 0.0 {
        return [shown; 3];
    }
    let on_disc = 1.0 - smooth_step(-5.0, 0.5, off_moon);
    // A dozen spreads: rounding in single channels makes rings of colour about the Sun.
    let doubt = 1.5 * luminance(look.veil.sky) + 12.0 * look.unrest;
    let sure = light / (light + doubt + (2e-4 + 0.2 * on_disc) * look.limb);
    let tint = rgb.map(|v| 1.0 + keep * sure * ((v.max(0.0) / own).min(3.0) - 1.0));
    let scale = shown / luminance(tint).max(1e-6);
    within(tint.map(|t| t * scale))
}

/// Colours of places beside the limb that even the shortest exposure clips: that of what surrounds them, carried inwards
/// pixel by pixel, so that a prominence is no white core in a pink outline. Light is left as it is.
pub(super) fn cores(merged: &Merged, look: &Look) -> HashMap<usize, [f32; 3]> {
    /// Pixels a colour is carried over at most, in solar radii.
    const REACH_RADII: f64 = 0.04;
    let map = &merged.radiance;
    let part = &merged.limb;
    let (left, top) = (part.left_px, part.top_px);
    let (width, height) = (part.light.width(), part.light.height());
    let is_clipped = |x: usize, y: usize| map.at(x, y).iter().any(|v| *v >= look.clipped);
    let mut open: Vec<[usize; 2]> = (top..top + height)
        .flat_map(|y| (left..left + width).map(move |x| [x, y]))
        .filter(|&[x, y]| is_clipped(x, y))
        .collect();
    let mut out: HashMap<usize, [f32; 3]> = HashMap::new();
    for _ in 0..(REACH_RADII * merged.sun.radius_px).ceil() as usize {
        let mut found = Vec::new();
        open.retain(|&[x, y]| {
            let tint = tint_about(merged, look, &out, [x, y], &is_clipped);
            found.extend(tint.map(|t| (y * map.width() + x, t)));
            tint.is_none()
        });
        if found.is_empty() {
            break;
        }
        out.extend(found);
    }
    out
}

/// Mean colour, of luminance 1, of a pixel's neighbours whose colour is known.
fn tint_about(
    merged: &Merged,
    look: &Look,
    known: &HashMap<usize, [f32; 3]>,
    [x, y]: [usize; 2],
    is_clipped: &dyn Fn(usize, usize) -> bool,
) -> Option<[f32; 3]> {
    let map = &merged.radiance;
    let (mut sum, mut count) = ([0.0_f32; 3], 0.0_f32);
    for (px, py) in (0..9).map(|k| ((x + k % 3).wrapping_sub(1), (y + k / 3).wrapping_sub(1))) {
        if (px, py) == (x, y) || px >= map.width() || py >= map.height() {
            continue;
        }
        if look.off_moon(px, py) < 0.5 {
            continue;
        }
        let tint = match known.get(&(py * map.width() + px)) {
            Some(tint) => *tint,
            None if is_clipped(px, py) => continue,
            None => look.light(map.at(px, py), px, py),
        };
        let light = luminance(tint);
        if light > 0.0 {
            for (sum, v) in sum.iter_mut().zip(tint) {
                *sum += v.max(0.0) / light;
            }
            count += 1.0;
        }
    }
    (count >= 2.0).then(|| sum.map(|s| s / count))
}

/// Brings a colour's strongest channel to 1 where it is above: mostly by dimming, which keeps prominences pink, and a
/// little by fading towards grey, which keeps them bright.
fn within(rgb: [f32; 3]) -> [f32; 3] {
    /// Share of the excess that is dimmed away.
    const DIMMED: f32 = 0.75;
    let top = rgb[0].max(rgb[1]).max(rgb[2]);
    if top <= 1.0 {
        return rgb;
    }
    let dimmed = rgb.map(|v| v * top.powf(-DIMMED));
    let (top, grey) = (top.powf(1.0 - DIMMED), luminance(dimmed).min(1.0));
    let keep = ((1.0 - grey) / (top - grey).max(1e-6)).clamp(0.0, 1.0);
    dimmed.map(|v| grey + (v - grey) * keep)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strong_pink_stays_pink() {
        let [r, g, b] = within([2.0, 0.6, 0.9]);
        assert!(r <= 1.0 && g < 0.62 * r && b < 0.75 * r, "{r} {g} {b}");
        assert!(luminance([r, g, b]) > 0.35);
    }
}
