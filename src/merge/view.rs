//! The corona as one would share it: bright and faint, inner and outer, in one natural picture.

use std::collections::HashMap;

use rayon::prelude::*;

use super::Merged;
use super::layer::sky_unrest;
use super::light::smooth_step;
use super::profile::Profile;
use super::veil::Veil;
use crate::domain::Circle;
use crate::raster::{LinearRgb, linear_to_srgb, srgb_to_linear};

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
/// there is no ring. The stretch lifts no more than the range of the exposures holds. Sky and veil of haze are taken off
/// first, so that the Moon is dark. Colours are balanced so that the corona as a whole is neutral, which is what
/// sunlight scattered by electrons is; prominences keep theirs, also where they are saturated. Faint light loses its
/// colour, and its grain, along with its certainty. The Moon's edge is drawn last, once, between what stands either side.
pub fn view(merged: &Merged, options: &ViewOptions) -> LinearRgb {
    let look = Look::new(merged, options);
    let smooth = Smooth::of(merged, &look);
    let cores = cores(merged, &look);
    let detail = detail(merged, &look);
    let width = merged.radiance.width();
    let mut out = LinearRgb::new(width, merged.radiance.height());
    out.data_mut()
        .par_chunks_mut((width * 3).max(1))
        .enumerate()
        .for_each(|(y, row)| {
            for (x, rgb) in row.chunks_exact_mut(3).enumerate() {
                let fine = detail[y * width + x];
                let light = look.light(merged.radiance.at(x, y), x, y);
                let tint = cores.get(&(y * width + x)).copied();
                let bound = merged.bounds.at(x, y);
                let shown = look.shown(light, smooth.at(x, y), [x, y], fine, (tint, bound));
                rgb.copy_from_slice(&shown);
            }
        });
    draw_limb(&mut out, &merged.moon);
    out
}

/// The stretch stays even up to this many times the spread of the sky's light: what is lost in noise is not lifted.
const KNEE_UNRESTS: f32 = 6.0;

/// Stops below the light at the limb at which a single exposure of eight bits is still clean enough to be lifted (our
/// choice: with it, one photograph looks about as it did); each stop of the bracket adds one.
const STOPS_OF_ONE: f32 = 5.0;

/// What of the whole picture decides how a pixel is shown.
struct Look<'a> {
    options: &'a ViewOptions,
    sun: Circle,
    moon: Circle,
    balance: [f32; 3],
    veil: Veil,
    profile: Profile,
    limb: f32,
    /// Spread of the sky's light from place to place, as a sigma: noise and cloud.
    unrest: f32,
    knee: f32,
    /// Radiance from which the shortest exposure is clipped.
    clipped: f32,
}

impl<'a> Look<'a> {
    fn new(merged: &Merged, options: &'a ViewOptions) -> Self {
        let part = options.sky as f32;
        let found = Veil::of(merged);
        let veil = Veil {
            sky: found.sky.map(|v| v * part),
            ..found
        };
        let unrest = sky_unrest(merged);
        let stops = merged.frames.iter().filter(|f| f.left_out.is_none());
        let stops = stops.map(|f| f.stops);
        let range =
            stops.clone().fold(f64::NEG_INFINITY, f64::max) - stops.fold(f64::INFINITY, f64::min);
        let mut look = Self {
            options,
            sun: merged.sun,
            moon: merged.moon,
            balance: balance(merged, &veil),
            veil,
            profile: Profile::level(1.0),
            limb: 1.0,
            unrest,
            knee: 0.5,
            clipped: 0.8 * merged.response.light(0.9),
        };
        let light = |x: usize, y: usize| luminance(look.light(merged.radiance.at(x, y), x, y));
        let size = [merged.radiance.width(), merged.radiance.height()];
        look.profile = Profile::of_medians(size, &merged.sun, &merged.moon, light);
        look.limb = look
            .profile
            .at(look.profile.innermost())
            .max(f32::MIN_POSITIVE);
        look.knee = (options.knee as f32)
            .max((-STOPS_OF_ONE - range.max(0.0) as f32).exp2())
            .max(KNEE_UNRESTS * unrest / look.limb)
            .min(0.5);
        look
    }

    /// Balanced light of a pixel without sky and veil.
    fn light(&self, rgb: [f32; 3], x: usize, y: usize) -> [f32; 3] {
        let r = (x as f64 - self.sun.x_px).hypot(y as f64 - self.sun.y_px) / self.sun.radius_px;
        let veil = self.veil.at(r as f32);
        std::array::from_fn(|c| (rgb[c] - veil[c]) * self.balance[c])
    }

    /// Certainty of light beside the noise of the sky, 0 to 1.
    fn sure(&self, light: f32) -> f32 {
        let light = light.max(0.0);
        light * light / (light * light + (GRAIN_UNRESTS * self.unrest).powi(2)).max(1e-30)
    }

    /// Linear display light of one pixel; `smooth` is the mean light about it, `fine` the natural logarithm of its fine
    /// structure, `tint` the colour of a saturated prominence, `bound` whether every frame is clipped there.
    fn shown(
        &self,
        rgb: [f32; 3],
        smooth: f32,
        [x, y]: [usize; 2],
        fine: f32,
        (tint, bound): (Option<[f32; 3]>, bool),
    ) -> [f32; 3] {
        let sharp = luminance(rgb);
        let (x, y) = (x as f64, y as f64);
        let r = (x - self.sun.x_px).hypot(y - self.sun.y_px) as f32;
        let off = ((x - self.moon.x_px).hypot(y - self.moon.y_px) - self.moon.radius_px) as f32;
        let sure = self.sure(sharp);
        let smooth = if off > 3.0 { smooth } else { 0.0 };
        let light = (smooth + (sharp - smooth) * sure).max(0.0);
        let mean = self.profile.at(r).max(f32::MIN_POSITIVE);
        // Where every frame is clipped the map has a lower bound, darker than all around it.
        let light = if bound && off > 0.0 {
            light.max(mean)
        } else {
            light
        };
        let corona = self.stretch(mean / self.limb)
            * (light / mean).powf(self.options.contrast as f32)
            * (self.options.detail as f32 * fine).exp();
        let disc = self.stretch(light / self.limb);
        let outside = smooth_step(-3.0, 1.0, off);
        let level = shoulder(disc + (corona - disc) * outside);
        let on_disc = 1.0 - smooth_step(-5.0, 0.5, off);
        self.coloured(tint.unwrap_or(rgb), sharp, level, on_disc)
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
        let own = luminance(rgb);
        if light <= 0.0 || own <= 0.0 {
            return [shown; 3];
        }
        let doubt = 1.5 * luminance(self.veil.sky) + 4.0 * self.unrest;
        let sure = light / (light + doubt + (2e-4 + 0.2 * on_disc) * self.limb);
        let keep = self.options.colour as f32 * sure;
        let tint = rgb.map(|v| 1.0 + keep * ((v.max(0.0) / own).min(3.0) - 1.0));
        let scale = shown / luminance(tint).max(1e-6);
        within(tint.map(|t| t * scale))
    }
}

/// Spreads of the sky at which half of a place's own light gives way to that about it: grain is not shown as structure.
const GRAIN_UNRESTS: f32 = 4.0;

/// Light averaged over the grain, at half size; the Moon's disc and the corona apart.
struct Smooth {
    width: usize,
    height: usize,
    light: Vec<f32>,
}

impl Smooth {
    fn of(merged: &Merged, look: &Look) -> Self {
        let map = &merged.radiance;
        let (width, height) = (map.width().div_ceil(2), map.height().div_ceil(2));
        let mut light = vec![0.0_f32; width * height];
        let mut outside = vec![0.0_f32; width * height];
        light
            .par_chunks_mut(width.max(1))
            .zip(outside.par_chunks_mut(width.max(1)))
            .enumerate()
            .for_each(|(j, (light, outside))| {
                for i in 0..width {
                    let (mut sum, mut lit) = (0.0, 0.0);
                    for (x, y) in (0..4).map(|k| (2 * i + k % 2, 2 * j + k / 2)) {
                        if x < map.width() && y < map.height() {
                            let rgb = map.at(x, y);
                            let some = f32::from(rgb.iter().any(|v| *v > 0.0));
                            sum += some * luminance(look.light(rgb, x, y));
                            lit += some;
                        }
                    }
                    let (dx, dy) = (
                        2.0 * i as f64 + 0.5 - look.moon.x_px,
                        2.0 * j as f64 + 0.5 - look.moon.y_px,
                    );
                    let off = dx.hypot(dy) - look.moon.radius_px;
                    // Where the corona is sure of itself its own light stands, so that only the faint is averaged.
                    outside[i] = f32::from(lit > 0.0 && off > 3.0);
                    light[i] = sum / f32::max(lit, 1.0) * outside[i];
                }
            });
        let sigma = (look.sun.radius_px / 50.0).clamp(1.5, 8.0);
        let over = super::blur::blur(&light, width, sigma);
        let under = super::blur::blur(&outside, width, sigma);
        let light = over
            .into_iter()
            .zip(under)
            .map(|(o, u)| if u > 1e-3 { o / u } else { 0.0 })
            .collect();
        Self {
            width,
            height,
            light,
        }
    }

    /// Between the four nearest values.
    fn at(&self, x: usize, y: usize) -> f32 {
        let along = |v: usize, n: usize| {
            let at = ((v as f32 - 0.5) / 2.0).clamp(0.0, (n - 1) as f32);
            (at as usize, (at as usize + 1).min(n - 1), at.fract())
        };
        let (x0, x1, fx) = along(x, self.width);
        let (y0, y1, fy) = along(y, self.height);
        let at = |x: usize, y: usize| self.light[y * self.width + x];
        let top = at(x0, y0) + (at(x1, y0) - at(x0, y0)) * fx;
        let low = at(x0, y1) + (at(x1, y1) - at(x0, y1)) * fx;
        top + (low - top) * fy
    }
}

/// Colours of places beside the limb that even the shortest exposure clips: that of what surrounds them, carried inwards
/// pixel by pixel, so that a prominence is no white core in a pink outline. Light is left as it is.
fn cores(merged: &Merged, look: &Look) -> HashMap<usize, [f32; 3]> {
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
        let (dx, dy) = (px as f64 - look.moon.x_px, py as f64 - look.moon.y_px);
        if dx.hypot(dy) < look.moon.radius_px + 0.5 {
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

/// Pixels either side of the Moon's edge from where what is shown is taken for the edge: inside, optics and seeing spread light
/// of the limb over some pixels, which the stretch would show as a grey rim.
const EDGE_PX: [f64; 2] = [-4.5, 1.5];

/// Draws the Moon's edge over a pixel or so between what is shown inside and outside it. In light it is as sharp as the
/// optics; but the stretch makes of the first part of its rise nearly all, and of a smooth edge a row of steps.
fn draw_limb(out: &mut LinearRgb, moon: &Circle) {
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
            let along = |off: f64| {
                let at = (moon.radius_px + off) / r;
                coded_at(&source, moon.x_px + dx * at, moon.y_px + dy * at)
            };
            let (Some(inside), Some(outside)) = (along(EDGE_PX[0]), along(EDGE_PX[1])) else {
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

/// Channel factors that make the corona between 1.2 and 2 radii neutral, held between a third and three.
fn balance(merged: &Merged, veil: &Veil) -> [f32; 3] {
    let mut sum = [0.0_f64; 3];
    let (sun, moon) = (merged.sun, merged.moon);
    for y in (0..merged.radiance.height()).step_by(2) {
        for x in (0..merged.radiance.width()).step_by(2) {
            let r = (x as f64 - sun.x_px).hypot(y as f64 - sun.y_px) / sun.radius_px;
            let off = (x as f64 - moon.x_px).hypot(y as f64 - moon.y_px) / moon.radius_px;
            if !(1.2..2.0).contains(&r) || off < 1.05 {
                continue;
            }
            let veil = veil.at(r as f32);
            let rgb = merged.radiance.at(x, y);
            let rgb: [f32; 3] = std::array::from_fn(|c| rgb[c] - veil[c]);
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
                let rgb = look.light(merged.radiance.at(x, y), x, y);
                let light = luminance(rgb);
                let (px, py) = (x as f64, y as f64);
                let r = (px - look.sun.x_px).hypot(py - look.sun.y_px) as f32;
                let mean = look.profile.at(r).max(f32::MIN_POSITIVE);
                let off =
                    ((px - look.moon.x_px).hypot(py - look.moon.y_px) - look.moon.radius_px) as f32;
                outside[x] = smooth_step(0.0, 3.0, off);
                let doubt = 2.0 * luminance(look.veil.sky) + 4.0 * look.unrest;
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
