//! The corona as one would share it: bright and faint, inner and outer, in one natural picture.

use rayon::prelude::*;

use super::Merged;
use super::edge::draw_limb;
use super::light::{luminance, smooth_step};
use super::look::Look;
use super::relief::{Fine, Relief};
use super::tint::{Colours, coloured, cores};
use crate::domain::quantile;
use crate::raster::LinearRgb;

/// How to show a merged corona.
#[derive(Clone, Debug, PartialEq)]
pub struct ViewOptions {
    /// Coded value, 0 to 1, of the corona of mean brightness just outside the limb.
    pub limb_level: f64,
    /// Light, as a fraction of that at the limb, below which the stretch turns from logarithmic to even: lower shows
    /// more of the outer corona. Raised where the sky is restless: noise, cloud, files of few levels.
    pub knee: f64,
    /// Power of the stretch's coded values over that at the limb: more makes the middle darker, so that the corona stands out
    /// from what glows about it.
    pub fall: f64,
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

impl ViewOptions {
    /// The usual picture with structure this much stronger: 0 as light falls, 1 as usual, 2 twice as strong; held to 0 to 3.
    pub fn of_strength(strength: f64) -> Self {
        let usual = Self::default();
        let strength = if strength.is_finite() {
            strength.clamp(0.0, 3.0)
        } else {
            1.0
        };
        Self {
            contrast: usual.contrast * (0.5 + 0.5 * strength),
            detail: usual.detail * strength,
            ..usual
        }
    }
}

impl Default for ViewOptions {
    fn default() -> Self {
        Self {
            limb_level: 0.78,
            knee: 3e-4,
            fall: 1.3,
            contrast: 0.45,
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
/// there is no ring. What is no more than noise or rounding is neither lifted nor shown as structure. Sky and veil of haze
/// are taken off first, and what strays over the limb is held down, so that the Moon is dark. Colours are balanced so that
/// the corona as a whole is neutral, which is what sunlight scattered by electrons is; prominences keep theirs, also where
/// they are saturated. Faint light has the colour of what lies about it, and loses it along with its certainty;
/// what every frame clips in all channels is white. The Moon's edge is drawn last, once, between what stands either side.
pub fn view(merged: &Merged, options: &ViewOptions) -> LinearRgb {
    let look = Look::new(merged, options.sky as f32, options.knee as f32);
    let relief = Relief::of(merged, &look);
    let scene = Scene::new(merged, options, &look, &relief);
    let cores = cores(merged, &look);
    let width = merged.radiance.width();
    let mut out = LinearRgb::new(width, merged.radiance.height());
    let rows = out.data_mut().par_chunks_mut((width * 3).max(1));
    rows.enumerate().for_each(|(y, row)| {
        for (x, rgb) in row.chunks_exact_mut(3).enumerate() {
            let tint = cores.get(&(y * width + x)).copied();
            rgb.copy_from_slice(&scene.shown(x, y, tint));
        }
    });
    draw_limb(&mut out, &merged.moon);
    out
}

/// Coded value of the brightest part of a picture.
const WHITE: f32 = 0.97;

/// Coded value of a limb that is clipped all round: near white, with room for what is brighter farther out.
const CLIPPED: f32 = 0.90;

/// Most that a picture is brightened for it.
const MOST_BRIGHTENED: f32 = 1.25;

/// Coded value of the brightest of the Moon's disc but for its edge: it is dark, its markings have a layer of their own.
const DISC: f32 = 0.10;

/// How white light is that the shortest exposure clips in all channels, 0 to 1: clipped light has no colour. Tone curves
/// flatten below saturation.
fn whiteness(radiance: [f32; 3]) -> f32 {
    const TURNS: [f32; 2] = [0.7, 0.92];
    let least = radiance[0].min(radiance[1]).min(radiance[2]);
    smooth_step(TURNS[0], TURNS[1], least)
}

/// A map with all that decides how it is shown.
struct Scene<'a> {
    merged: &'a Merged,
    options: &'a ViewOptions,
    look: &'a Look,
    relief: &'a Relief,
    fine: Fine<'a>,
    colours: Colours,
    /// Level of the corona of mean brightness just outside the limb.
    limb_level: f32,
    /// Factor on the levels of the Moon's disc.
    disc: f32,
    /// Factor on all levels.
    brightened: f32,
}

impl<'a> Scene<'a> {
    fn new(
        merged: &'a Merged,
        options: &'a ViewOptions,
        look: &'a Look,
        relief: &'a Relief,
    ) -> Self {
        let mut scene = Self {
            merged,
            options,
            look,
            relief,
            fine: relief.fine(look.sun.radius_px),
            colours: Colours::of(merged, look),
            limb_level: options.limb_level as f32,
            disc: 1.0,
            brightened: 1.0,
        };
        scene.limb_level += (CLIPPED - scene.limb_level).max(0.0) * scene.clipped_at_limb();
        let moon_px = merged.moon.radius_px as f32;
        let inside = |off: f32| off < -5.0 && off > -moon_px;
        scene.disc = (DISC / scene.ranked(0.97, inside).max(DISC)).min(1.0);
        let about = |off: f32| off > 3.0 && off < 0.9 * moon_px;
        let top = scene.ranked(0.995, about);
        scene.brightened = (WHITE / top.max(1e-6)).clamp(1.0, MOST_BRIGHTENED);
        scene
    }

    /// Part of the places beside the limb that even the shortest exposure clips: light there is as bright as any, and the
    /// picture is exposed as its frames were.
    fn clipped_at_limb(&self) -> f32 {
        let beside = |off: f32| off > 3.0 && off < 0.12 * self.merged.moon.radius_px as f32;
        let (mut all, mut clipped) = (0, 0);
        for (x, y) in self.places(beside) {
            all += 1;
            clipped += usize::from(whiteness(self.merged.radiance.at(x, y)) > 0.5);
        }
        clipped as f32 / f32::max(all as f32, 1.0)
    }

    /// Level at a part of the ranking of the places so far off the Moon's limb; 0 where there are none.
    fn ranked(&self, part: f64, is: impl Fn(f32) -> bool) -> f32 {
        let mut levels: Vec<f32> = self.places(is).map(|(x, y)| self.level(x, y)).collect();
        quantile(&mut levels, part).unwrap_or(0.0)
    }

    /// Some 40,000 places within two lunar radii, of those so far off the Moon's limb.
    fn places(&self, is: impl Fn(f32) -> bool) -> impl Iterator<Item = (usize, usize)> {
        let (moon, map) = (&self.merged.moon, &self.merged.radiance);
        let reach = 2.0 * moon.radius_px;
        let step = (reach / 100.0).ceil().max(1.0) as usize;
        let range = move |centre: f64, limit: usize| {
            let at = |v: f64| v.clamp(0.0, limit as f64) as usize;
            (at(centre - reach)..at(centre + reach)).step_by(step)
        };
        let all = range(moon.y_px, map.height())
            .flat_map(move |y| range(moon.x_px, map.width()).map(move |x| (x, y)));
        all.filter(move |&(x, y)| is(self.look.off_moon(x, y)))
    }

    /// Coded value of a place.
    fn level(&self, x: usize, y: usize) -> f32 {
        let (look, options) = (self.look, self.options);
        let off = look.off_moon(x, y);
        let light = luminance(look.light(self.merged.radiance.at(x, y), x, y)).max(0.0);
        let disc = self.disc * self.stretch(light / look.limb);
        if off <= -3.0 {
            return shoulder(disc * self.brightened);
        }
        let mean = look.mean(look.radius(x, y));
        let relief = self.relief.at(x, y).unwrap_or(light / mean).max(0.0);
        let corona = self.stretch(mean / look.limb)
            * relief.powf(options.contrast as f32)
            * (options.detail as f32 * self.fine.at(x, y)).exp();
        shoulder(self.brightened * (disc + (corona - disc) * smooth_step(-3.0, 1.0, off)))
    }

    /// Coded value for light over that at the limb.
    fn stretch(&self, light: f32) -> f32 {
        let share = (light / self.look.knee).asinh() / (1.0 / self.look.knee).asinh();
        self.limb_level * share.powf(self.options.fall as f32)
    }

    /// Linear display light of one pixel; `tint` is the colour of a saturated prominence.
    fn shown(&self, x: usize, y: usize, tint: Option<[f32; 3]>) -> [f32; 3] {
        let own = self.merged.radiance.at(x, y);
        let off = self.look.off_moon(x, y);
        let rgb = self.look.light(own, x, y);
        let white = match tint {
            Some(tint) if is_red(tint) => 0.0,
            _ if off < 0.0 => 0.0,
            _ => whiteness(own),
        };
        let keep = self.options.colour as f32 * (1.0 - white);
        let light = luminance(rgb);
        let tint = tint.unwrap_or_else(|| self.colours.at(self.look, rgb, [x, y]));
        coloured(self.look, (tint, light), self.level(x, y), off, keep)
    }
}

/// Whether a colour of luminance 1 is a prominence's rather than the corona's.
fn is_red([red, green, _]: [f32; 3]) -> bool {
    red > 1.3 * green
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

#[cfg(test)]
mod tests {
    use super::*;

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
