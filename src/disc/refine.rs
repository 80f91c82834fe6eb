//! Refines the discs of a partial phase by fitting a drawn picture of the limbs to the pixels near them.
//!
//! The model: a limb-darkened solar disc, the dark lunar disc in front, a blur that may be longer in one direction, a
//! level with a slope across the disc (thin cloud), sky with a halo, and a tone allowance for the camera's curve.
//! Everything is fitted at once by Levenberg-Marquardt with analytic derivatives; pixels that do not belong (sunspots,
//! cloud edges, dust) are weighted down.
//!
//! Sources: D. Marquardt 1963, "An algorithm for least-squares estimation of nonlinear parameters", J. SIAM 11, 431;
//! weights of A. E. Beaton, J. W. Tukey 1974, "The fitting of power series", Technometrics 16, 147; the law of limb
//! darkening is the quadratic one, centred on the values for green light in A. N. Cox (ed.) 2000, "Allen's
//! Astrophysical Quantities", 4th ed., sect. 14.7 (from memory, hence the wide prior).

use nalgebra::{SMatrix, SVector};

use super::arcs::median;
use super::profile::{Law, Light};
use crate::domain::Circle;

/// Number of parameters.
const N: usize = 18;

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
/// Slope of the level, per solar radius.
const SLOPE_X: usize = 12;
const SLOPE_Y: usize = 13;
/// Sky, its fall per solar radius outside the limb, and the light in front of the Moon, all over the level.
const SKY: usize = 14;
const HALO: usize = 15;
const VEIL: usize = 16;
/// Tone allowance.
const TONE: usize = 17;

type Params = SVector<f64, N>;
type Square = SMatrix<f64, N, N>;

/// Least variance of the blur in square pixels: a pixel is not a point.
const LEAST_VARIANCE: f64 = 0.06;

/// Stored light from here on is at saturation.
pub(super) const SATURATED: f64 = 0.94;

/// Most steps of the fit.
const MAX_STEPS: usize = 40;

/// A pixel that takes part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Pixel {
    /// Place in the frame.
    pub x: f64,
    /// Place in the frame.
    pub y: f64,
    /// Light, 1 at saturation.
    pub light: f64,
}

/// How refraction flattens the discs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Squeeze {
    /// Width over height, minus 1.
    pub stretch: f64,
    /// Unit vector along the vertical, in picture axes.
    pub up: (f64, f64),
}

/// A value known beforehand.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Known {
    /// The value.
    pub value: f64,
    /// Its one sigma.
    pub sigma: f64,
}

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
    pub radius: Option<Known>,
    /// Moon's radius over the Sun's.
    pub ratio: Known,
    /// Distance of the centres over the Sun's radius.
    pub offset: Option<Known>,
    /// Flattening.
    pub squeeze: Option<Squeeze>,
}

/// The refined discs.
#[derive(Clone, Debug)]
pub(super) struct Refined {
    /// The Sun.
    pub sun: Circle,
    /// The Moon.
    pub moon: Option<Circle>,
    /// One sigma of the Sun's centre per axis.
    pub sun_sigma_px: f64,
    /// One sigma of the Moon's centre per axis.
    pub moon_sigma_px: Option<f64>,
    /// One sigma of the Sun's radius.
    pub radius_sigma_px: f64,
    /// Widths of the blur along its long and its short axis, Gaussian sigmas.
    pub blur_px: (f64, f64),
    /// Light at the disc's centre; above 1 when saturated.
    pub level: f64,
    /// Robust scatter of the residuals over the level.
    pub scatter: f64,
    /// Fraction of pixels far off the model.
    pub strays: f64,
    /// Sum of squared robust residuals, for choosing between models.
    pub cost: f64,
    /// Sky over level.
    pub sky: f64,
}

struct Problem<'a> {
    pixels: &'a [Pixel],
    start: Start,
    free: [bool; N],
    priors: Vec<(usize, Known)>,
}

/// Value and derivatives of the model at a pixel.
struct At {
    value: f64,
    by: [f64; N],
}

/// Fits the model; `None` when it does not settle.
pub(super) fn refined(pixels: &[Pixel], start: &Start) -> Option<Refined> {
    let problem = Problem::new(pixels, *start);
    if pixels.len() < 60 {
        return None;
    }
    let mut now = problem.first_guess();
    let mut scale = problem.scale(&now);
    let mut damping = 1e-2;
    let (mut normal, mut pull, mut cost) = problem.normal_equations(&now, scale);
    let mut calm = 0;
    for step_no in 0..MAX_STEPS {
        let mut damped = normal;
        for i in 0..N {
            damped[(i, i)] += damping * normal[(i, i)].max(1e-12);
        }
        let step = damped.cholesky()?.solve(&pull);
        let next = problem.bounded(now + step);
        let next_cost = problem.cost(&next, scale);
        if next_cost.is_finite() && next_cost <= cost {
            let gain = (cost - next_cost) / cost.max(1e-12);
            now = next;
            damping = (damping * 0.2).max(1e-7);
            if step_no % 3 == 2 {
                scale = problem.scale(&now);
            }
            (normal, pull, cost) = problem.normal_equations(&now, scale);
            calm = if gain < 1e-5 { calm + 1 } else { 0 };
        } else {
            damping *= 6.0;
            if damping > 1e8 {
                break;
            }
        }
        if calm >= 2 {
            break;
        }
    }
    problem.result(&now, &normal, scale, cost)
}

impl<'a> Problem<'a> {
    fn new(pixels: &'a [Pixel], start: Start) -> Self {
        let mut free = [true; N];
        if start.moon.is_none() {
            for i in [MOON_X, MOON_Y, RATIO, VEIL] {
                free[i] = false;
            }
        }
        let known = |value, sigma| Known { value, sigma };
        let v = start.blur_px * start.blur_px;
        let mut priors = vec![
            (RATIO, start.ratio),
            (LOG_LEVEL, known(start.level.ln(), 1.5)),
            (LAW_0, known(0.36, 0.1)),
            (LAW_1, known(0.78, 0.25)),
            (SLOPE_X, known(0.0, 0.3)),
            (SLOPE_Y, known(0.0, 0.3)),
            (SKY, known(0.0, 0.2)),
            (HALO, known(0.0, 0.3)),
            (VEIL, known(0.0, 0.05)),
            (TONE, known(0.0, 0.2)),
            (BLUR_XX, known(v, 3.0 * v + 2.0)),
            (BLUR_YY, known(v, 3.0 * v + 2.0)),
            (BLUR_XY, known(0.0, 0.5 * v + 0.2)),
        ];
        if let Some(radius) = start.radius {
            priors.push((SUN_R, radius));
        }
        Self {
            pixels,
            start,
            free,
            priors,
        }
    }

    fn first_guess(&self) -> Params {
        let s = &self.start;
        let mut p = Params::zeros();
        (p[SUN_X], p[SUN_Y], p[SUN_R]) = (s.sun.x_px, s.sun.y_px, s.sun.radius_px);
        if let Some(radius) = s.radius {
            p[SUN_R] = radius.value;
        }
        p[RATIO] = s.ratio.value;
        if let Some(moon) = s.moon {
            (p[MOON_X], p[MOON_Y]) = (moon.x_px, moon.y_px);
        }
        let v = (s.blur_px * s.blur_px).max(2.0 * LEAST_VARIANCE);
        (p[BLUR_XX], p[BLUR_YY]) = (v, v);
        p[LOG_LEVEL] = s.level.ln();
        (p[LAW_0], p[LAW_1]) = (0.36, 0.78);
        p
    }

    fn bounded(&self, mut p: Params) -> Params {
        let most = self.start.sun.radius_px.powi(2) * 0.05 + 4.0;
        for i in [BLUR_XX, BLUR_YY] {
            p[i] = p[i].clamp(LEAST_VARIANCE, most);
        }
        let limit = 0.9 * (p[BLUR_XX] * p[BLUR_YY]).sqrt();
        p[BLUR_XY] = p[BLUR_XY].clamp(-limit, limit);
        p[LOG_LEVEL] = p[LOG_LEVEL].clamp(-9.0, 4.0);
        p[LAW_0] = p[LAW_0].clamp(0.02, 1.0);
        p[LAW_1] = p[LAW_1].clamp(-0.5, 1.6);
        p[TONE] = p[TONE].clamp(-0.8, 0.8);
        p[RATIO] = p[RATIO].clamp(0.8, 1.2);
        p
    }

    fn law(&self, p: &Params) -> Law {
        let sigma = (0.5 * (p[BLUR_XX] + p[BLUR_YY])).sqrt();
        let c = [p[LAW_0], p[LAW_1], 1.0 - p[LAW_0] - p[LAW_1]];
        Law::new(p[SUN_R].max(1.0), sigma, c)
    }

    /// One sigma of a pixel's light, up to a common factor: even in the dark, growing as photon counts do.
    fn noise(&self, light: f64) -> f64 {
        let level = self.start.level;
        (1e-4 * level * level + 4e-4 * level * light.clamp(0.0, 1.0)).sqrt()
    }

    /// Misfit of a pixel in units of its noise, and the noise; saturated pixels only say "at least this bright".
    fn misfit(&self, pixel: &Pixel, value: f64) -> (f64, f64) {
        let noise = self.noise(pixel.light);
        if pixel.light >= SATURATED {
            return ((SATURATED - value).max(0.0) / noise, noise);
        }
        ((pixel.light - value.min(1.1)) / noise, noise)
    }

    fn scale(&self, p: &Params) -> f64 {
        let law = self.law(p);
        let misfits = self
            .pixels
            .iter()
            .filter(|q| q.light < SATURATED)
            .map(|q| self.misfit(q, self.value(q, p, &law)).0.abs())
            .collect();
        (1.4826 * median(misfits)).max(0.15)
    }

    fn value(&self, pixel: &Pixel, p: &Params, law: &Law) -> f64 {
        self.at(pixel, p, law).value
    }

    fn cost(&self, p: &Params, scale: f64) -> f64 {
        let law = self.law(p);
        let pixels: f64 = self
            .pixels
            .iter()
            .map(|q| robust(self.misfit(q, self.value(q, p, &law)).0 / scale).0)
            .sum();
        let priors: f64 = self
            .prior_rows(p)
            .iter()
            .map(|(miss, _)| 0.5 * miss * miss)
            .sum();
        pixels + priors
    }

    fn normal_equations(&self, p: &Params, scale: f64) -> (Square, Params, f64) {
        let law = self.law(p);
        let (mut normal, mut pull, mut cost) = (Square::zeros(), Params::zeros(), 0.0);
        for pixel in self.pixels {
            let at = self.at(pixel, p, &law);
            let (miss, noise) = self.misfit(pixel, at.value);
            let (c, weight) = robust(miss / scale);
            cost += c;
            if weight <= 0.0 || (pixel.light >= SATURATED && miss <= 0.0) {
                continue;
            }
            let unit = 1.0 / (noise * scale);
            add_row(&mut normal, &mut pull, &at.by, unit, weight, miss / scale);
        }
        for (miss, by) in self.prior_rows(p) {
            cost += 0.5 * miss * miss;
            add_row(&mut normal, &mut pull, &by, 1.0, 1.0, miss);
        }
        for i in 0..N {
            for j in 0..i {
                normal[(j, i)] = normal[(i, j)];
            }
        }
        for i in (0..N).filter(|&i| !self.free[i]) {
            normal.row_mut(i).fill(0.0);
            normal.column_mut(i).fill(0.0);
            normal[(i, i)] = 1.0;
            pull[i] = 0.0;
        }
        (normal, pull, cost)
    }

    /// What is known beforehand, as misfits in sigmas with derivatives.
    fn prior_rows(&self, p: &Params) -> Vec<(f64, [f64; N])> {
        let mut rows: Vec<_> = self
            .priors
            .iter()
            .map(|&(i, known)| {
                let mut by = [0.0; N];
                by[i] = 1.0 / known.sigma;
                ((known.value - p[i]) / known.sigma, by)
            })
            .collect();
        if let (Some(offset), Some(_)) = (self.start.offset, self.start.moon) {
            rows.push(offset_row(p, offset));
        }
        rows
    }

    /// The model at a pixel.
    fn at(&self, pixel: &Pixel, p: &Params, law: &Law) -> At {
        let mut by = [0.0; N];
        let sun = Rim::new(pixel, p[SUN_X], p[SUN_Y], p[SUN_R], p, self.start.squeeze);
        let moon = self.start.moon.map(|_| {
            let r = p[RATIO] * p[SUN_R];
            Rim::new(pixel, p[MOON_X], p[MOON_Y], r, p, self.start.squeeze)
        });
        let light = match &moon {
            Some(moon) => crossed(law, &sun, moon),
            None => law.blurred(sun.depth, f64::NEG_INFINITY, sun.sigma),
        };
        let (dx, dy) = (
            (pixel.x - p[SUN_X]) / p[SUN_R],
            (pixel.y - p[SUN_Y]) / p[SUN_R],
        );
        let slope = (1.0 + p[SLOPE_X] * dx + p[SLOPE_Y] * dy).max(0.05);
        let outside = (dx.hypot(dy) - 1.0).max(0.0);
        let veil = moon
            .as_ref()
            .map_or(0.0, |m| (m.depth / m.sigma).clamp(-1.0, 1.0) * 0.5 + 0.5)
            * f64::from(u8::from(sun.depth > 0.0));
        let sky = p[SKY] + p[HALO] * outside + p[VEIL] * veil;
        let disc = light.value * slope;
        let s = disc + sky;
        let level = p[LOG_LEVEL].exp();
        // Tone allowance: leaves 0 and the level where they are and bends what lies between.
        let value = level * s * (1.0 + p[TONE] * (s - 1.0));
        let by_s = level * (1.0 + p[TONE] * (2.0 * s - 1.0));
        sun.spread(&mut by, SUN_X, by_s * slope * light.by_a);
        by[SUN_R] += by_s * slope * light.by_a * sun.by_radius;
        let mut by_variance = 0.5 * light.by_sigma / sun.sigma - light.by_a * sun.by_variance;
        if let Some(moon) = &moon {
            moon.spread(&mut by, MOON_X, by_s * slope * light.by_b);
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
        by[SLOPE_X] = by_s * light.value * dx;
        by[SLOPE_Y] = by_s * light.value * dy;
        by[SKY] = by_s;
        by[HALO] = by_s * outside;
        by[VEIL] = by_s * veil;
        by[TONE] = level * s * (s - 1.0);
        At { value, by }
    }

    fn result(&self, p: &Params, normal: &Square, scale: f64, cost: f64) -> Option<Refined> {
        if !p.iter().all(|v| v.is_finite()) || p[SUN_R] <= 0.0 {
            return None;
        }
        let covariance = normal.cholesky()?.inverse();
        let sigma = |i: usize, j: usize| {
            (0.5 * (covariance[(i, i)] + covariance[(j, j)]))
                .max(0.0)
                .sqrt()
                * CORRELATED
        };
        let law = self.law(p);
        let strays = self
            .pixels
            .iter()
            .filter(|q| self.misfit(q, self.value(q, p, &law)).0.abs() > 5.0 * scale)
            .count();
        let (mean, half) = (
            0.5 * (p[BLUR_XX] + p[BLUR_YY]),
            (0.5 * (p[BLUR_XX] - p[BLUR_YY])).hypot(p[BLUR_XY]),
        );
        let moon = self.start.moon.map(|_| Circle {
            x_px: p[MOON_X],
            y_px: p[MOON_Y],
            radius_px: p[RATIO] * p[SUN_R],
        });
        Some(Refined {
            sun: Circle {
                x_px: p[SUN_X],
                y_px: p[SUN_Y],
                radius_px: p[SUN_R],
            },
            moon,
            sun_sigma_px: sigma(SUN_X, SUN_Y),
            moon_sigma_px: moon.map(|_| sigma(MOON_X, MOON_Y)),
            radius_sigma_px: sigma(SUN_R, SUN_R),
            blur_px: ((mean + half).sqrt(), (mean - half).max(0.0).sqrt()),
            level: p[LOG_LEVEL].exp(),
            scatter: scale * 0.01,
            strays: strays as f64 / self.pixels.len() as f64,
            cost,
            sky: p[SKY],
        })
    }
}

/// Neighbouring pixels of a developed picture do not err independently: sigmas grow by about this much.
const CORRELATED: f64 = 2.0;

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
        let (mut rho, mut steep, mut normal);
        match squeeze {
            None => {
                rho = dx.hypot(dy).max(1e-9);
                normal = (dx / rho, dy / rho);
                steep = 1.0;
            }
            Some(q) => {
                let along = q.stretch * (dx * q.up.0 + dy * q.up.1);
                dx += along * q.up.0;
                dy += along * q.up.1;
                rho = dx.hypot(dy).max(1e-9);
                let again = q.stretch * (dx * q.up.0 + dy * q.up.1);
                normal = ((dx + again * q.up.0) / rho, (dy + again * q.up.1) / rho);
                steep = normal.0.hypot(normal.1);
                normal = (normal.0 / steep, normal.1 / steep);
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
        }
    }

    /// Adds the derivatives by the centre: moving it outwards along the normal deepens the pixel.
    fn spread(&self, by: &mut [f64; N], x: usize, by_depth: f64) {
        by[x] += by_depth * self.normal.0;
        by[x + 1] += by_depth * self.normal.1;
    }
}

/// Light where both limbs may be near. Where they cross at an angle the blur along the solar limb is averaged over
/// three places (Gauss-Hermite).
fn crossed(law: &Law, sun: &Rim, moon: &Rim) -> Light {
    let cos = sun.normal.0 * moon.normal.0 + sun.normal.1 * moon.normal.1;
    let sin = (sun.normal.0 * moon.normal.1 - sun.normal.1 * moon.normal.0).abs();
    let reach = 5.0 * sun.sigma;
    let apart = sun.depth.abs() > reach || moon.depth < -reach || moon.depth > reach;
    if apart || sin < 0.08 {
        return law.blurred(
            sun.depth,
            moon.depth,
            if apart {
                moon_sigma(sun, moon)
            } else {
                sun.sigma
            },
        );
    }
    let cos = cos.max(0.3);
    let mut out = Light::default();
    for (place, weight) in [
        (-1.732_050_807_568_877_2, 1.0 / 6.0),
        (0.0, 2.0 / 3.0),
        (1.732_050_807_568_877_2, 1.0 / 6.0),
    ] {
        let b = (moon.depth + sin * place * sun.sigma) / cos;
        let part = law.blurred(sun.depth, b, sun.sigma);
        out.value += weight * part.value;
        for i in 0..3 {
            out.terms[i] += weight * part.terms[i];
        }
        out.by_a += weight * part.by_a;
        out.by_b += weight * part.by_b / cos;
        out.by_sigma += weight * part.by_sigma;
    }
    out
}

/// The blur that matters: that of the nearer limb.
fn moon_sigma(sun: &Rim, moon: &Rim) -> f64 {
    if moon.depth.abs() < sun.depth.abs() {
        moon.sigma
    } else {
        sun.sigma
    }
}

/// Cost and weight of a misfit in scales: a parabola near zero, flat far out (Tukey's biweight, 6 scales wide).
fn robust(miss: f64) -> (f64, f64) {
    const WIDTH: f64 = 6.0;
    let t = 1.0 - (miss / WIDTH).powi(2);
    if t <= 0.0 {
        (WIDTH * WIDTH / 6.0, 0.0)
    } else {
        (WIDTH * WIDTH / 6.0 * (1.0 - t * t * t), t * t)
    }
}

fn add_row(
    normal: &mut Square,
    pull: &mut Params,
    by: &[f64; N],
    unit: f64,
    weight: f64,
    miss: f64,
) {
    let w = weight * unit * unit;
    for i in 0..N {
        let wi = w * by[i];
        if wi == 0.0 {
            continue;
        }
        pull[i] += wi * miss / unit;
        for j in 0..=i {
            normal[(i, j)] += wi * by[j];
        }
    }
}

fn offset_row(p: &Params, offset: Known) -> (f64, [f64; N]) {
    let (dx, dy) = (p[MOON_X] - p[SUN_X], p[MOON_Y] - p[SUN_Y]);
    let apart = dx.hypot(dy).max(1e-9);
    let unit = 1.0 / (p[SUN_R] * offset.sigma);
    let mut by = [0.0; N];
    by[MOON_X] = dx / apart * unit;
    by[MOON_Y] = dy / apart * unit;
    by[SUN_X] = -by[MOON_X];
    by[SUN_Y] = -by[MOON_Y];
    by[SUN_R] = -apart / p[SUN_R] * unit;
    ((offset.value - apart / p[SUN_R]) / offset.sigma, by)
}
