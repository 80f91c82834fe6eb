//! Refines the discs of a partial phase by fitting a drawn picture of the limbs to the pixels near them.
//!
//! The model: a limb-darkened solar disc, the dark lunar disc in front, a blur that may be longer in one direction, a
//! level with a slope across the disc (thin cloud), sky with a halo, and a tone allowance for the camera's curve.
//! Everything is fitted at once by Levenberg-Marquardt with analytic derivatives; pixels that do not belong (sunspots,
//! cloud edges, dust) are weighted down.
//!
//! The law of limb darkening is the square-root one, which follows the fall close to the limb better than a quadratic:
//! J. Diaz-Cordoves, A. Gimenez 1992, "A new nonlinear approximation to the limb-darkening of hot stars", Astron.
//! Astrophys. 259, 227. Its prior is wide enough for the solar values of D. Hestroffer, C. Magnan 1998, "Wavelength
//! dependency of the solar limb darkening", Astron. Astrophys. 333, 338, and of H. Neckel, D. Labs 1994, "Solar limb
//! darkening 1986-1990", Solar Phys. 153, 91 (both from memory, hence the width).

use nalgebra::{SMatrix, SVector};

use super::arcs::median;
use super::circle::length;
use super::fit::{Drawing, LEAST_VARIANCE, Pixel, Row, Settled, Task, calm_px};
use super::flat::Squeeze;
use super::gauss::share_and_density;
use super::hint::LOOSE_RADIUS;
use super::profile::{Law, Light};
use crate::domain::saturation::FULL_IN_FITS;
use crate::domain::{Circle, Estimate};

/// Number of parameters.
const N: usize = 26;

const SUN_X: usize = 0;
const SUN_Y: usize = 1;
const SUN_R: usize = 2;
const MOON_X: usize = 3;
const MOON_Y: usize = 4;
/// Moon's radius over the Sun's.
const RATIO: usize = 5;
/// Variances of the blur: xx, yy, xy.
const BLUR_XX: usize = 6;
const BLUR_YY: usize = 7;
const BLUR_XY: usize = 8;
/// Logarithm of the level at the disc's centre.
const LOG_LEVEL: usize = 9;
/// Law of limb darkening: value at the limb, and the share of `mu`.
const LAW_0: usize = 10;
const LAW_1: usize = 11;
/// Unevenness of the level: harmonic polynomials of first, second and third degree in solar radii, which are waves
/// around the limb.
const UNEVEN: usize = 12;
const UNEVEN_TERMS: usize = 6;
/// Sky, its fall per solar radius outside the limb, and the light in front of the Moon, all over the level.
const SKY: usize = 18;
const HALO: usize = 19;
const VEIL: usize = 20;
/// Tone allowance: terms that leave darkness and the level where they are and bend what lies between.
const TONE: usize = 21;
const TONE_2: usize = 22;
/// How refraction flattens the discs: width over height, minus 1.
const STRETCH: usize = 23;
/// The same across the vertical: the zenith stands a little elsewhere.
const SKEW: usize = 24;

/// How the flattening grows downwards: [`Squeeze::bow`].
const BOW: usize = 25;

/// One sigma of a computed bow, as a fraction (our choice: layers of warm and cold air bend more than the mean air).
const BOW_SIGMA: f64 = 0.4;

/// One sigma of the skew as a fraction of the stretch: the camera's roll is known to a degree or two.
const SKEW_SIGMA: f64 = 0.05;

/// Least slope of the tone in the deepest shadow: flatter, and the sky could be anything.
const LEAST_TOE: f64 = 0.15;

/// One sigma of a computed stretch, as a fraction: weather and the height of the place change refraction by so much
/// (common practice).
pub(super) const STRETCH_SIGMA: f64 = 0.12;

type Params = SVector<f64, N>;

/// What the fit starts from and leans on.
#[derive(Clone, Copy, Debug)]
pub(super) struct Start {
    /// The Sun.
    pub sun: Circle,
    /// The Moon, when it stands in front.
    pub moon: Option<Circle>,
    /// Light at the disc's centre, about.
    pub level: f64,
    /// Blur's sigma in pixels, about.
    pub blur_px: f64,
    /// Sun's radius in pixels.
    pub radius: Option<Estimate>,
    /// Moon's radius over the Sun's.
    pub ratio: Estimate,
    /// Distance of the centres over the Sun's radius.
    pub offset: Option<Estimate>,
    /// Flattening.
    pub squeeze: Option<Squeeze>,
}

/// The refined discs.
#[derive(Clone, Debug)]
pub(super) struct Refined {
    params: Params,
    /// The Sun.
    pub sun: Circle,
    /// The Moon.
    pub moon: Option<Circle>,
    /// One sigma of the Sun's centre per axis.
    pub sun_sigma_px: f64,
    /// One sigma of the Moon's centre per axis.
    pub moon_sigma_px: Option<f64>,
    /// Widths of the blur along its long and its short axis, Gaussian sigmas.
    pub blur_px: (f64, f64),
    /// Light at the disc's centre; above 1 when saturated.
    pub level: f64,
    /// Fraction of pixels far off the model.
    pub strays: f64,
    /// Sum of squared robust residuals, for choosing between models.
    pub cost: f64,
    /// Unevenness of the level where the disc is bare: its standard deviation there.
    pub uneven: f64,
    /// Sum of the tone terms' sizes.
    pub tone: f64,
    /// Fraction of the pixels that are saturated.
    pub saturated: f64,
    /// Patchiness of the disc: scatter of residuals averaged over patches, over the level.
    pub patches: f64,
}

/// Sun and Moon as drawn by the model.
struct Discs {
    start: Start,
}

/// Fits the model, from the parameters of an earlier fit where there is one; `None` when it does not settle.
pub(super) fn refined(
    pixels: &[Pixel],
    start: &Start,
    earlier: Option<&Refined>,
) -> Option<Refined> {
    let discs = Discs { start: *start };
    let mut free = [true; N];
    if start.moon.is_none() {
        for i in [MOON_X, MOON_Y, RATIO, VEIL] {
            free[i] = false;
        }
    }
    free[STRETCH] = start.squeeze.is_some();
    free[SKEW] = start.squeeze.is_some();
    free[BOW] = start.squeeze.is_some();
    let task = Task {
        drawing: &discs,
        pixels,
        level: start.level,
        free,
        known: known_beforehand(start),
        places: &[SUN_X, SUN_Y, SUN_R, MOON_X, MOON_Y],
        calm_px: calm_px(start.sun.radius_px),
        again: earlier.is_some(),
    };
    let fit = task.settled(earlier.map_or_else(|| first_guess(start), |e| e.params))?;
    result(&task, &fit)
}

fn known_beforehand(start: &Start) -> Vec<(usize, Estimate)> {
    let v = start.blur_px * start.blur_px;
    let mut known = vec![
        // Pixels that do not err independently say less of the Moon's size than they seem to.
        (
            RATIO,
            Estimate::new(start.ratio.value, start.ratio.sigma / CORRELATED),
        ),
        (LOG_LEVEL, Estimate::new(start.level.ln(), 1.5)),
        (LAW_0, Estimate::new(LIMB.0, 0.15)),
        (LAW_1, Estimate::new(LIMB.1, 0.4)),
        (SKY, Estimate::new(0.0, 0.2)),
        (HALO, Estimate::new(0.0, 0.3)),
        (VEIL, Estimate::new(0.0, 0.05)),
        (TONE, Estimate::new(0.0, 0.3)),
        (TONE_2, Estimate::new(0.0, 0.3)),
        (BLUR_XX, Estimate::new(v, 3.0 * v + 2.0)),
        (BLUR_YY, Estimate::new(v, 3.0 * v + 2.0)),
        (BLUR_XY, Estimate::new(0.0, LONG_BLUR.0 * v + LONG_BLUR.1)),
    ];
    known.extend((0..UNEVEN_TERMS).map(|k| (UNEVEN + k, Estimate::new(0.0, 0.2))));
    known.extend(start.radius.map(|r| (SUN_R, r)));
    if let Some(q) = start.squeeze {
        known.push((STRETCH, Estimate::new(q.stretch, STRETCH_SIGMA * q.stretch)));
        known.push((SKEW, Estimate::new(0.0, SKEW_SIGMA * q.stretch)));
        known.push((BOW, Estimate::new(q.bow(), BOW_SIGMA * q.bow())));
    }
    known
}

/// Law of limb darkening to start from: value at the limb, and the share of `mu`.
const LIMB: (f64, f64) = (0.15, 0.35);

/// A ratio known no better than this gives way to the rough circles' own.
const LOOSE_RATIO: f64 = 0.01;

fn first_guess(s: &Start) -> Params {
    let mut p = Params::zeros();
    (p[SUN_X], p[SUN_Y], p[SUN_R]) = (s.sun.x_px, s.sun.y_px, s.sun.radius_px);
    if let Some(radius) = s.radius.filter(|r| r.sigma < LOOSE_RADIUS * r.value) {
        p[SUN_R] = radius.value;
    }
    p[RATIO] = s.ratio.value;
    if let Some(moon) = s.moon {
        (p[MOON_X], p[MOON_Y]) = (moon.x_px, moon.y_px);
        if s.ratio.sigma > LOOSE_RATIO {
            p[RATIO] = moon.radius_px / s.sun.radius_px;
        }
    }
    let v = (s.blur_px * s.blur_px).max(2.0 * LEAST_VARIANCE);
    (p[BLUR_XX], p[BLUR_YY]) = (v, v);
    p[LOG_LEVEL] = s.level.ln();
    p[STRETCH] = s.squeeze.map_or(0.0, |q| q.stretch);
    p[BOW] = s.squeeze.map_or(0.0, Squeeze::bow);
    (p[LAW_0], p[LAW_1]) = LIMB;
    p
}

impl Drawing<N> for Discs {
    /// The law of limb darkening, and the level.
    type Ready = (Law, f64);

    fn ready(&self, p: &Params) -> (Law, f64) {
        let sigma = (0.5 * (p[BLUR_XX] + p[BLUR_YY])).sqrt();
        let c = [p[LAW_0], p[LAW_1], 1.0 - p[LAW_0] - p[LAW_1]];
        (Law::new(p[SUN_R].max(1.0), sigma, c), p[LOG_LEVEL].exp())
    }

    fn bounded(&self, mut p: Params) -> Params {
        let most = self.start.sun.radius_px.powi(2) * 0.05 + 4.0;
        for i in [BLUR_XX, BLUR_YY] {
            p[i] = p[i].clamp(LEAST_VARIANCE, most);
        }
        let limit = 0.9 * (p[BLUR_XX] * p[BLUR_YY]).sqrt();
        p[BLUR_XY] = p[BLUR_XY].clamp(-limit, limit);
        p[SUN_R] = p[SUN_R].max(2.0);
        p[LOG_LEVEL] = p[LOG_LEVEL].clamp(-9.0, 4.0);
        p[LAW_0] = p[LAW_0].clamp(0.0, 1.0);
        p[LAW_1] = p[LAW_1].clamp(-1.0, 2.0);
        p[TONE] = p[TONE].clamp(-0.9, 0.9);
        p[TONE_2] = p[TONE_2].clamp(-1.5, 1.5);
        p[RATIO] = p[RATIO].clamp(0.8, 1.2);
        p[STRETCH] = p[STRETCH].clamp(0.0, 1.0);
        p[SKEW] = p[SKEW].clamp(-0.1, 0.1);
        p[BOW] = p[BOW].clamp(0.0, 0.05);
        p[TONE_2] = p[TONE_2].max(LEAST_TOE - 1.0 + p[TONE]);
        p
    }

    fn ties(&self, p: &Params) -> Vec<Row<N>> {
        let mut rows = vec![round_row(p, self.start.blur_px), toe_row(p)];
        if let (Some(offset), Some(_)) = (self.start.offset, self.start.moon) {
            rows.push(offset_row(p, offset));
        }
        rows
    }

    /// The model at a pixel.
    fn at(&self, pixel: &Pixel, p: &Params, (law, level): &(Law, f64), by: &mut [f64; N]) -> f64 {
        let sun = Rim::new(pixel, p[SUN_X], p[SUN_Y], p[SUN_R], p, self.start.squeeze);
        let moon = self.start.moon.map(|_| {
            let r = p[RATIO] * p[SUN_R];
            Rim::new(pixel, p[MOON_X], p[MOON_Y], r, p, self.start.squeeze)
        });
        let light = match &moon {
            Some(moon) => crossed(law, &sun, moon),
            None => law.blurred(sun.depth, NO_MOON, sun.sigma),
        };
        let (dx, dy) = (
            (pixel.x - p[SUN_X]) / p[SUN_R],
            (pixel.y - p[SUN_Y]) / p[SUN_R],
        );
        let waves = harmonics(dx, dy);
        let uneven: f64 = (0..UNEVEN_TERMS).map(|k| p[UNEVEN + k] * waves[k]).sum();
        let slope = (1.0 + uneven).max(0.05);
        let outside = (length(dx, dy) - 1.0).max(0.0);
        let veil = moon
            .as_ref()
            .map_or(0.0, |m| (m.depth / m.sigma).clamp(-1.0, 1.0) * 0.5 + 0.5)
            * f64::from(u8::from(sun.depth > 0.0));
        let sky = p[SKY] + p[HALO] * outside + p[VEIL] * veil;
        let disc = light.value * slope;
        let s = disc + sky;
        // Tone allowance in the root of light, as camera curves bend most in the shadows.
        let u = s.clamp(1e-4, 4.0).sqrt();
        let (t1, t2) = (u - 1.0, (u - 1.0) * (2.0 * u - 1.0));
        let value = level * s * (1.0 + p[TONE] * t1 + p[TONE_2] * t2);
        let by_u = p[TONE] + p[TONE_2] * (4.0 * u - 3.0);
        let by_s = level * (1.0 + p[TONE] * t1 + p[TONE_2] * t2 + 0.5 * u * by_u);
        sun.spread(by, SUN_X, by_s * slope * light.by_a);
        by[STRETCH] = by_s * slope * light.by_a * sun.by_stretch.0;
        by[SKEW] = by_s * slope * light.by_a * sun.by_stretch.1;
        by[BOW] = by_s * slope * light.by_a * sun.by_bow;
        by[SUN_R] += by_s * slope * light.by_a * sun.by_radius;
        let mut by_variance = 0.5 * light.by_sigma / sun.sigma - light.by_a * sun.by_variance;
        if let Some(moon) = &moon {
            moon.spread(by, MOON_X, by_s * slope * light.by_b);
            by[STRETCH] += by_s * slope * light.by_b * moon.by_stretch.0;
            by[SKEW] += by_s * slope * light.by_b * moon.by_stretch.1;
            by[BOW] += by_s * slope * light.by_b * moon.by_bow;
            by[SUN_R] += by_s * slope * light.by_b * moon.by_radius * p[RATIO];
            by[RATIO] = by_s * slope * light.by_b * moon.by_radius * p[SUN_R];
            by_variance -= light.by_b * moon.by_variance;
        }
        let v = by_s * slope * by_variance;
        by[BLUR_XX] = v * sun.normal.0 * sun.normal.0;
        by[BLUR_YY] = v * sun.normal.1 * sun.normal.1;
        by[BLUR_XY] = v * 2.0 * sun.normal.0 * sun.normal.1;
        by[LOG_LEVEL] = value;
        by[LAW_0] = by_s * slope * (light.terms[0] - light.terms[2]);
        by[LAW_1] = by_s * slope * (light.terms[1] - light.terms[2]);
        for (k, wave) in waves.iter().enumerate() {
            by[UNEVEN + k] = by_s * light.value * wave;
        }
        by[SKY] = by_s;
        by[HALO] = by_s * outside;
        by[VEIL] = by_s * veil;
        by[TONE] = level * s * t1;
        by[TONE_2] = level * s * t2;
        value
    }
}

fn result(task: &Task<'_, Discs, N>, fit: &Settled<N>) -> Option<Refined> {
    let (p, cov) = (&fit.p, &fit.covariance);
    let together = task.grouped_covariance(fit, GROUPS, |q| along_limb(q, p, task.drawing.start));
    let sigma = |i: usize, j: usize| {
        let per_axis =
            |cov: &SMatrix<f64, N, N>| (0.5 * (cov[(i, i)] + cov[(j, j)])).max(0.0).sqrt();
        (per_axis(cov) * CORRELATED).max(per_axis(&together))
    };
    let drawn = task.drawn(p);
    let strays = task
        .pixels
        .iter()
        .zip(&drawn)
        .filter(|(q, d)| task.misfit(q, **d).abs() > 5.0 * fit.scale)
        .count();
    let saturated = task
        .pixels
        .iter()
        .filter(|q| q.light >= FULL_IN_FITS)
        .count();
    let (mean, half) = (
        0.5 * (p[BLUR_XX] + p[BLUR_YY]),
        (0.5 * (p[BLUR_XX] - p[BLUR_YY])).hypot(p[BLUR_XY]),
    );
    let moon = task.drawing.start.moon.map(|_| Circle {
        x_px: p[MOON_X],
        y_px: p[MOON_Y],
        radius_px: p[RATIO] * p[SUN_R],
    });
    let mut out = Refined {
        params: *p,
        sun: Circle {
            x_px: p[SUN_X],
            y_px: p[SUN_Y],
            radius_px: p[SUN_R],
        },
        moon,
        sun_sigma_px: sigma(SUN_X, SUN_Y),
        moon_sigma_px: moon.map(|_| sigma(MOON_X, MOON_Y)),
        blur_px: ((mean + half).sqrt(), (mean - half).max(0.0).sqrt()),
        level: p[LOG_LEVEL].exp(),
        strays: strays as f64 / task.pixels.len() as f64,
        cost: fit.cost,
        uneven: unevenness(task, p, &drawn),
        tone: p[TONE].abs() + p[TONE_2].abs(),
        saturated: saturated as f64 / task.pixels.len() as f64,
        patches: patches(task, p, &drawn),
    };
    let (for_sun, for_moon) = model_sigma_px(&out);
    out.sun_sigma_px = out.sun_sigma_px.hypot(for_sun);
    out.moon_sigma_px = out.moon_sigma_px.map(|s| s.hypot(for_moon));
    Some(out)
}

/// Stretches of a limb whose pixels err together, around it.
const STRETCHES: usize = 24;

/// Groups of pixels that err together: stretches of the Sun's limb, and of the Moon's.
const GROUPS: usize = 2 * STRETCHES;

/// The group of a pixel.
fn along_limb(q: &Pixel, p: &Params, start: Start) -> usize {
    let from = |x: f64, y: f64| (q.x - x, q.y - y);
    let (sun, moon) = (from(p[SUN_X], p[SUN_Y]), from(p[MOON_X], p[MOON_Y]));
    let near_moon = start.moon.is_some()
        && (length(moon.0, moon.1) - p[RATIO] * p[SUN_R]).abs()
            < (length(sun.0, sun.1) - p[SUN_R]).abs();
    let ((x, y), first) = if near_moon {
        (moon, STRETCHES)
    } else {
        (sun, 0)
    };
    let turn = (y.atan2(x) / std::f64::consts::TAU).rem_euclid(1.0);
    first + (turn * STRETCHES as f64) as usize % STRETCHES
}

/// One sigma, in pixels, for light around the limb as bright as the disc.
const GLOW_PX: f64 = 2.0;

/// What light around the limb (a filter's halo, glare, haze) does to the places of thin crescents, pixels: it is not the even
/// veil that is fitted, and on one side alone it is not evened out by the opposite limb. Measured on drawn frames: halos of a
/// tenth of the disc's light move crescents of 90 and 97 % by 0.08 and 0.14 px, whole discs by 0.01.
fn glow_px(r: &Refined) -> f64 {
    let Some(moon) = r.moon else { return 0.0 };
    let apart = length(moon.x_px - r.sun.x_px, moon.y_px - r.sun.y_px);
    let width = (r.sun.radius_px + apart - moon.radius_px) / (2.0 * r.sun.radius_px);
    GLOW_PX * r.params[SKY].max(0.0) * (1.0 - width).clamp(0.0, 1.0).powi(2)
}

/// What the model cannot draw, as one sigma per axis of the Sun's and of the Moon's centre: a shake is no Gaussian,
/// cloud no wave, and beyond saturation the level is a guess. Measured on drawn frames.
fn model_sigma_px(r: &Refined) -> (f64, f64) {
    let (long, short) = r.blur_px;
    let smear = (long * long - short * short).max(0.0).sqrt();
    let smear = if smear > 0.6 { 0.07 * smear } else { 0.0 };
    let cloud = (r.patches - 0.01).max(0.0) * 4.0 + (r.uneven - 0.03).max(0.0) * 0.5;
    let full = if r.saturated > 0.02 { 0.1 } else { 0.0 };
    let astray = if r.strays > 0.2 {
        0.01 * r.sun.radius_px
    } else {
        0.0
    };
    let shared = smear
        .hypot(cloud)
        .hypot(full)
        .hypot(astray)
        .hypot(glow_px(r));
    let sun = shared.hypot(0.003);
    let moon = (1.5 * shared).hypot(0.02 + 0.1 * r.tone);
    (sun, moon)
}

/// Standard deviation of the level's waves over the bare part of the disc. A crescent says little about the waves
/// elsewhere, so that their sizes alone would tell of cloud that is not there.
fn unevenness(task: &Task<'_, Discs, N>, p: &Params, drawn: &[f64]) -> f64 {
    let level = p[LOG_LEVEL].exp().min(1.0);
    let waves: Vec<f64> = task
        .pixels
        .iter()
        .zip(drawn)
        .filter(|(_, d)| **d > 0.3 * level)
        .map(|(q, _)| {
            let (dx, dy) = ((q.x - p[SUN_X]) / p[SUN_R], (q.y - p[SUN_Y]) / p[SUN_R]);
            let waves = harmonics(dx, dy);
            (0..UNEVEN_TERMS).map(|k| p[UNEVEN + k] * waves[k]).sum()
        })
        .collect();
    let n = waves.len().max(1) as f64;
    let mean = waves.iter().sum::<f64>() / n;
    let square: f64 = waves.iter().map(|w| (w - mean).powi(2)).sum();
    (square / n).sqrt()
}

/// Patches along each side of the disc's box.
const PATCHES: usize = 6;

/// Scatter of the residuals of the bare disc, averaged over patches away from the limbs, over the level.
fn patches(task: &Task<'_, Discs, N>, p: &Params, drawn: &[f64]) -> f64 {
    let level = p[LOG_LEVEL].exp().min(1.0);
    let mut cells = vec![Vec::new(); PATCHES * PATCHES];
    for (q, d) in task.pixels.iter().zip(drawn) {
        let (dx, dy) = ((q.x - p[SUN_X]) / p[SUN_R], (q.y - p[SUN_Y]) / p[SUN_R]);
        if dx.hypot(dy) < 0.95 && *d > 0.3 * level && q.light < FULL_IN_FITS {
            let cell = |v: f64| ((0.5 + 0.5 * v) * PATCHES as f64) as usize;
            cells[cell(dy).min(PATCHES - 1) * PATCHES + cell(dx).min(PATCHES - 1)]
                .push((q.light - d) / level);
        }
    }
    let means: Vec<f64> = cells
        .into_iter()
        .filter(|c| c.len() >= 5)
        .map(median)
        .collect();
    if means.len() < 3 {
        return 0.0;
    }
    let square: f64 = means.iter().map(|m| m * m).sum();
    (square / means.len() as f64).sqrt()
}

/// Depth inside the Moon's limb where there is no Moon: far outside.
const NO_MOON: f64 = -1e9;

/// Real and imaginary parts of z, z^2 and z^3 for z = x + iy, not beyond the limb's own size.
fn harmonics(x: f64, y: f64) -> [f64; UNEVEN_TERMS] {
    let shrink = 1.0 / length(x, y).max(1.0);
    let (x, y) = (x * shrink, y * shrink);
    let (x2, y2) = (x * x - y * y, 2.0 * x * y);
    [x, y, x2, y2, x2 * x - y2 * y, x2 * y + y2 * x]
}

/// Neighbouring pixels of a developed picture do not err independently: sigmas grow by about this much.
const CORRELATED: f64 = 3.0;

/// A pixel against one limb.
struct Rim {
    /// Depth inside the blurred limb, pixels.
    depth: f64,
    /// Outward normal.
    normal: (f64, f64),
    /// Blur along the normal, Gaussian sigma.
    sigma: f64,
    /// Derivative of the depth by the radius.
    by_radius: f64,
    /// How much the depth falls per unit of blur variance: a blurred disc looks smaller.
    by_variance: f64,
    /// Derivatives of the depth by stretch and skew, their part in the steepness left out.
    by_stretch: (f64, f64),
    /// The same by the bow.
    by_bow: f64,
}

impl Rim {
    fn new(
        pixel: &Pixel,
        x: f64,
        y: f64,
        radius: f64,
        p: &Params,
        squeeze: Option<Squeeze>,
    ) -> Self {
        let (mut dx, mut dy) = (pixel.x - x, pixel.y - y);
        let (rho, steep, normal);
        let (mut by_stretch, mut by_bow) = ((0.0, 0.0), 0.0);
        match squeeze {
            None => {
                rho = length(dx, dy).max(1e-9);
                normal = (dx / rho, dy / rho);
                steep = 1.0;
            }
            Some(q) => {
                // Along the vertical and across it.
                let turned = |x: f64, y: f64| (x * q.up.0 + y * q.up.1, y * q.up.0 - x * q.up.1);
                let (unit, bow, skew) = (1.0 / p[SUN_R], p[BOW], p[SKEW]);
                // A disc higher than the Sun is stretched less.
                let lift = turned(x - p[SUN_X], y - p[SUN_Y]).0 * unit;
                let stretch = p[STRETCH] - 2.0 * bow * lift;
                let (u, w) = turned(dx, dy);
                let (up, across) = (
                    u + stretch * u + skew * w - bow * unit * u * u,
                    w + skew * u,
                );
                rho = length(up, across).max(1e-9);
                let along = 1.0 + stretch - 2.0 * bow * unit * u;
                let slope = (
                    (up * along + across * skew) / rho,
                    (up * skew + across) / rho,
                );
                steep = length(slope.0, slope.1);
                (dx, dy) = (
                    slope.0 * q.up.0 - slope.1 * q.up.1,
                    slope.0 * q.up.1 + slope.1 * q.up.0,
                );
                normal = (dx / steep, dy / steep);
                let less = -1.0 / (rho * steep);
                by_stretch = (up * u * less, (up * w + across * u) * less);
                by_bow = -up * (u * unit + 2.0 * lift) * u * less;
            }
        }
        let variance = p[BLUR_XX] * normal.0 * normal.0
            + p[BLUR_YY] * normal.1 * normal.1
            + 2.0 * p[BLUR_XY] * normal.0 * normal.1;
        let variance = variance.max(LEAST_VARIANCE);
        let by_variance = 0.5 / radius.max(1.0);
        Self {
            depth: (radius - rho) / steep - variance * by_variance,
            normal,
            sigma: variance.sqrt(),
            by_radius: 1.0 / steep,
            by_variance,
            by_stretch,
            by_bow,
        }
    }

    /// Adds the derivatives by the centre: moving it outwards along the normal deepens the pixel.
    fn spread(&self, by: &mut [f64; N], x: usize, by_depth: f64) {
        by[x] += by_depth * self.normal.0;
        by[x + 1] += by_depth * self.normal.1;
    }
}

/// Cosine of the angle between two limbs beyond which they are taken as lying along each other.
const ALONG: f64 = 0.7;

/// Sine of the angle below which their crossing is not felt.
const SLIGHT: f64 = 0.08;

/// Abscissas and weights of the three-point Gauss-Hermite rule for a normal distribution.
const HERMITE: [(f64, f64); 3] = [
    (-1.732_050_807_568_877_2, 1.0 / 6.0),
    (0.0, 2.0 / 3.0),
    (1.732_050_807_568_877_2, 1.0 / 6.0),
];

/// Light where both limbs may be near.
///
/// On a crescent the limbs bend the same way and the bare part lies between them; on a small bite they bend against
/// each other and the bare part is what the lens leaves. Where they cross steeply, the two edges blur independently
/// but for the light's being on one side of the solar limb.
fn crossed(law: &Law, sun: &Rim, moon: &Rim) -> Light {
    let reach = 5.5 * sun.sigma.max(moon.sigma);
    if moon.depth < -reach {
        return law.blurred(sun.depth, NO_MOON, sun.sigma);
    }
    let cos = sun.normal.0 * moon.normal.0 + sun.normal.1 * moon.normal.1;
    let sin = (sun.normal.0 * moon.normal.1 - sun.normal.1 * moon.normal.0).abs();
    if sun.depth > reach {
        return along(law, sun.depth, moon.depth, moon.sigma, cos > 0.0);
    }
    if cos.abs() < ALONG {
        return across(law, sun, moon, cos, sin);
    }
    if sin < SLIGHT {
        return along(law, sun.depth, moon.depth, sun.sigma, cos > 0.0);
    }
    let mut out = Light::default();
    for (place, weight) in HERMITE {
        let b = (moon.depth + sin * place * sun.sigma) / cos.abs();
        out.add(weight, &along(law, sun.depth, b, sun.sigma, cos > 0.0));
    }
    out.by_b /= cos.abs();
    out
}

/// Limbs along each other: bent the same way or against each other.
fn along(law: &Law, a: f64, b: f64, sigma: f64, same_way: bool) -> Light {
    if same_way {
        return law.blurred(a, b, sigma);
    }
    let mut out = law.blurred(a, NO_MOON, sigma);
    let mut lens = law.blurred(a, -b, sigma);
    lens.by_b = -lens.by_b;
    out.add(-1.0, &lens);
    out
}

/// Limbs across each other: light inside the Sun's, times the share of the blur that misses the Moon.
fn across(law: &Law, sun: &Rim, moon: &Rim, cos: f64, sin: f64) -> Light {
    let mut out = law.blurred(sun.depth, NO_MOON, sun.sigma);
    let z = sun.depth / sun.sigma;
    let (share, there) = share_and_density(z);
    let mills = there / share.max(1e-12);
    let mean = -sun.sigma * mills;
    let narrowed = (1.0 - z * mills - mills * mills).clamp(0.0, 1.0);
    let sigma = sun.sigma * (sin * sin + cos * cos * narrowed).sqrt();
    let zb = (moon.depth - cos * mean) / sigma;
    let (bare, edge) = share_and_density(-zb);
    out.by_b = -out.value * edge / sigma;
    out.by_sigma = out.by_sigma * bare + out.value * edge * zb / sigma;
    out.value *= bare;
    out.by_a *= bare;
    out.terms = out.terms.map(|t| t * bare);
    out
}

/// One sigma of how much longer than wide a blur is, as a share of its variance and in square pixels: small, so that only a
/// shake that is seen in the picture makes it so.
const LONG_BLUR: (f64, f64) = (0.25, 0.1);

/// One sigma of the tone in the deepest shadow.
const TOE_SIGMA: f64 = 0.3;

/// A blur is as wide as long.
fn round_row(p: &Params, blur_px: f64) -> Row<N> {
    let unit = 1.0 / (LONG_BLUR.0 * blur_px * blur_px + LONG_BLUR.1);
    let mut by = [0.0; N];
    (by[BLUR_XX], by[BLUR_YY]) = (unit, -unit);
    ((p[BLUR_YY] - p[BLUR_XX]) * unit, by)
}

/// Deep shadows are about as bright as they should be.
fn toe_row(p: &Params) -> Row<N> {
    let mut by = [0.0; N];
    (by[TONE], by[TONE_2]) = (-1.0 / TOE_SIGMA, 1.0 / TOE_SIGMA);
    ((p[TONE] - p[TONE_2]) / TOE_SIGMA, by)
}

fn offset_row(p: &Params, offset: Estimate) -> Row<N> {
    let (dx, dy) = (p[MOON_X] - p[SUN_X], p[MOON_Y] - p[SUN_Y]);
    let apart = length(dx, dy).max(1e-9);
    let unit = 1.0 / (p[SUN_R] * offset.sigma);
    let mut by = [0.0; N];
    by[MOON_X] = dx / apart * unit;
    by[MOON_Y] = dy / apart * unit;
    by[SUN_X] = -by[MOON_X];
    by[SUN_Y] = -by[MOON_Y];
    by[SUN_R] = -apart / p[SUN_R] * unit;
    ((offset.value - apart / p[SUN_R]) / offset.sigma, by)
}
