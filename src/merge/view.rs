//! The corona as one would share it: bright and faint, inner and outer, in one natural picture.

use rayon::prelude::*;

use super::Merged;
use super::layer::{sky_percentiles, sky_unrest};
use super::light::smooth_step;
use super::profile::Profile;
use crate::domain::Circle;
use crate::raster::{LinearRgb, srgb_to_linear};

/// How to show a merged corona.
#[derive(Clone, Debug, PartialEq)]
pub struct ViewOptions {
    /// Coded value, 0 to 1, of the corona of mean brightness just outside the limb.
    pub limb_level: f64,
    /// Light, as a fraction of that at the limb, below which the stretch turns from logarithmic to even: lower shows
    /// more of the outer corona. Raised where the sky is restless: noise, cloud, a single frame.
    pub knee: f64,
    /// Strength of differences at one distance from the Sun (streamers against holes): 1 leaves them, as the coded
    /// value goes with the logarithm of light, as strong as in the logarithm.
    pub contrast: f64,
    /// Strength added to fine structure; 0 adds none.
    pub detail: f64,
    /// Colour kept: 1 as recorded after balancing the corona to neutral, 0 grey.
    pub colour: f64,
    /// Fraction of the sky's light taken off.
    pub sky: f64,
}

impl Default for ViewOptions {
    fn default() -> Self {
        Self {
            limb_level: 0.90,
            knee: 6e-4,
            contrast: 0.42,
            detail: 0.9,
            colour: 0.9,
            sky: 0.97,
        }
    }
}

/// A display picture in linear light, 0 to 1, to be coded as sRGB.
///
/// Brightness is stretched by an inverse hyperbolic sine of the mean brightness at each distance from the Sun (the
/// stretch after Lupton et al. 2004, PASP 116, 133), times a power of the light over that mean. The mean is taken over
/// whole rings, so there is nothing local in it to make halos; inside the Moon's limb the plain stretch applies and
/// there is no ring. Colours are balanced so that the corona as a whole is neutral, which is what sunlight scattered
/// by electrons is; prominences keep theirs. Faint light loses its colour along with its certainty.
pub fn view(merged: &Merged, options: &ViewOptions) -> LinearRgb {
    let look = Look::new(merged, options);
    let detail = detail(merged, &look);
    let width = merged.radiance.width();
    let mut out = LinearRgb::new(width, merged.radiance.height());
    out.data_mut()
        .par_chunks_mut((width * 3).max(1))
        .enumerate()
        .for_each(|(y, row)| {
            for (x, rgb) in row.chunks_exact_mut(3).enumerate() {
                let fine = detail[y * width + x];
                rgb.copy_from_slice(&look.shown(merged.radiance.at(x, y), x, y, fine));
            }
        });
    out
}

/// The stretch stays even up to this many times the spread of the sky's light: what is lost in noise is not lifted.
const KNEE_UNRESTS: f32 = 6.0;

/// What of the whole picture decides how a pixel is shown.
struct Look<'a> {
    options: &'a ViewOptions,
    sun: Circle,
    moon: Circle,
    balance: [f32; 3],
    sky: [f32; 3],
    profile: Profile,
    limb: f32,
    /// Spread of the sky's light from place to place, as a sigma: noise and cloud.
    unrest: f32,
    knee: f32,
}

impl<'a> Look<'a> {
    fn new(merged: &Merged, options: &'a ViewOptions) -> Self {
        let balance = balance(merged);
        let part = options.sky as f32;
        let [low, middle] = sky_percentiles(merged, [0.05, 0.5]);
        let unrest = sky_unrest(merged);
        // In noise the fifth percentile lies under the sky.
        let level = |c: usize| low[c] + (middle[c] - low[c]).min(2.0 * unrest);
        let sky = std::array::from_fn(|c| level(c).max(0.0) * balance[c] * part);
        let light =
            |x: usize, y: usize| luminance(taken_off(merged.radiance.at(x, y), balance, sky));
        let size = [merged.radiance.width(), merged.radiance.height()];
        let profile = Profile::of_medians(size, &merged.sun, &merged.moon, light);
        let limb = profile.at(profile.innermost()).max(f32::MIN_POSITIVE);
        Self {
            options,
            sun: merged.sun,
            moon: merged.moon,
            balance,
            sky,
            profile,
            limb,
            unrest,
            knee: (options.knee as f32)
                .max(KNEE_UNRESTS * unrest / limb)
                .min(0.5),
        }
    }

    /// Linear display light of one pixel; `fine` is the natural logarithm of its fine structure.
    fn shown(&self, rgb: [f32; 3], x: usize, y: usize, fine: f32) -> [f32; 3] {
        let rgb = taken_off(rgb, self.balance, self.sky);
        let light = luminance(rgb).max(0.0);
        let (x, y) = (x as f64, y as f64);
        let r = (x - self.sun.x_px).hypot(y - self.sun.y_px) as f32;
        let off = ((x - self.moon.x_px).hypot(y - self.moon.y_px) - self.moon.radius_px) as f32;
        let mean = self.profile.at(r).max(f32::MIN_POSITIVE);
        let corona = self.stretch(mean / self.limb)
            * (light / mean).powf(self.options.contrast as f32)
            * (self.options.detail as f32 * fine).exp();
        let disc = self.stretch(light / self.limb);
        let outside = smooth_step(-3.0, 1.0, off);
        let level = shoulder(disc + (corona - disc) * outside);
        let on_disc = 1.0 - smooth_step(-5.0, 0.5, off);
        self.coloured(rgb, light, level, on_disc)
    }

    /// Coded value for light over that at the limb.
    fn stretch(&self, light: f32) -> f32 {
        let full = (1.0 / self.knee).asinh();
        self.options.limb_level as f32 * (light / self.knee).asinh() / full
    }

    /// Linear light of a coded level in the colour of `rgb`, faded to grey where the light is no surer than the sky,
    /// or than what strays over the limb on the Moon's disc.
    fn coloured(&self, rgb: [f32; 3], light: f32, level: f32, on_disc: f32) -> [f32; 3] {
        let shown = srgb_to_linear(level);
        if light <= 0.0 {
            return [shown; 3];
        }
        let doubt = 1.5 * luminance(self.sky) + 4.0 * self.unrest;
        let sure = light / (light + doubt + (2e-4 + 0.2 * on_disc) * self.limb);
        let keep = self.options.colour as f32 * sure;
        let tint = rgb.map(|v| 1.0 + keep * ((v.max(0.0) / light).min(3.0) - 1.0));
        let scale = shown / luminance(tint).max(1e-6);
        within(tint.map(|t| t * scale))
    }
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

/// Holds coded values below 1, bending from about three quarters on.
fn shoulder(level: f32) -> f32 {
    const START: f32 = 0.72;
    if level <= START {
        return level.max(0.0);
    }
    let over = (level - START) / (1.0 - START);
    START + (1.0 - START) * over / (1.0 + over.powi(3)).cbrt()
}

pub(super) fn luminance([r, g, b]: [f32; 3]) -> f32 {
    0.2126 * r + 0.7152 * g + 0.0722 * b
}

fn taken_off(rgb: [f32; 3], balance: [f32; 3], sky: [f32; 3]) -> [f32; 3] {
    std::array::from_fn(|c| rgb[c] * balance[c] - sky[c])
}

/// Channel factors that make the corona between 1.2 and 2 radii neutral, held between a third and three.
fn balance(merged: &Merged) -> [f32; 3] {
    let mut sum = [0.0_f64; 3];
    let (sun, moon) = (merged.sun, merged.moon);
    for y in (0..merged.radiance.height()).step_by(2) {
        for x in (0..merged.radiance.width()).step_by(2) {
            let r = (x as f64 - sun.x_px).hypot(y as f64 - sun.y_px) / sun.radius_px;
            let off = (x as f64 - moon.x_px).hypot(y as f64 - moon.y_px) / moon.radius_px;
            if !(1.2..2.0).contains(&r) || off < 1.05 {
                continue;
            }
            let rgb = merged.radiance.at(x, y);
            let light = luminance(rgb);
            if light > 0.0 {
                for (sum, v) in sum.iter_mut().zip(rgb) {
                    *sum += f64::from(v / light);
                }
            }
        }
    }
    let grey = 0.2126 * sum[0] + 0.7152 * sum[1] + 0.0722 * sum[2];
    sum.map(|s| {
        if s > 0.0 && grey > 0.0 {
            (grey / s).clamp(1.0 / 3.0, 3.0) as f32
        } else {
            1.0
        }
    })
}

/// Natural logarithm of fine structure: light over its surroundings at two scales, with the Moon left out of them.
/// Held small, so that nothing is drawn around stars and edges; nothing where light is no surer than the sky.
fn detail(merged: &Merged, look: &Look) -> Vec<f32> {
    let (width, height) = (merged.radiance.width(), merged.radiance.height());
    let mut flat = vec![0.0_f32; width * height];
    let mut outside = vec![0.0_f32; width * height];
    flat.par_chunks_mut(width.max(1))
        .zip(outside.par_chunks_mut(width.max(1)))
        .enumerate()
        .for_each(|(y, (flat, outside))| {
            for x in 0..width {
                let rgb = taken_off(merged.radiance.at(x, y), look.balance, look.sky);
                let light = luminance(rgb);
                let (px, py) = (x as f64, y as f64);
                let r = (px - look.sun.x_px).hypot(py - look.sun.y_px) as f32;
                let mean = look.profile.at(r).max(f32::MIN_POSITIVE);
                let off =
                    ((px - look.moon.x_px).hypot(py - look.moon.y_px) - look.moon.radius_px) as f32;
                outside[x] = smooth_step(0.0, 3.0, off);
                let doubt = 2.0 * luminance(look.sky) + 4.0 * look.unrest;
                let sure = light / (light + doubt + 1e-4 * look.limb);
                flat[x] = (light / mean).clamp(0.05, 20.0).ln() * sure.max(0.0) * outside[x];
            }
        });
    let mut out = vec![0.0_f32; width * height];
    for (sigma_radii, strength) in [(0.012, 0.45), (0.05, 0.35)] {
        let sigma = (sigma_radii * merged.sun.radius_px).max(1.0);
        let (over, under) = (
            super::blur::blur(&flat, width, sigma),
            super::blur::blur(&outside, width, sigma),
        );
        out.par_iter_mut().enumerate().for_each(|(i, out)| {
            if outside[i] > 0.0 && under[i] > 1e-3 {
                let fine = flat[i] / outside[i] - over[i] / under[i];
                *out += strength * 0.3 * (fine / 0.3).tanh() * outside[i];
            }
        });
    }
    out
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

    #[test]
    fn the_shoulder_rises_to_one() {
        let mut last = 0.0;
        for i in 1..400 {
            let now = shoulder(i as f32 / 100.0);
            assert!(now > last && now <= 1.0);
            last = now;
        }
    }
}
