//! Refines the Moon in totality by fitting a drawn picture of its limb against the corona.
//!
//! The model: a dark disc with a little light of its own (earthshine, veil) in front of a corona that falls with a
//! power of the distance and differs around the limb, blurred, with a tone allowance. The corona may be far beyond
//! saturation: then only the foot of the blurred limb is seen, and the fit leans on its shape.

use nalgebra::{SMatrix, SVector};

use super::circle::length;
use super::find::{LimbArc, SECTORS};
use super::fit::{Drawing, LEAST_VARIANCE, Pixel, Row, Task, calm_px, pixels_at};
use super::flat::{Flat, Squeeze};
use super::gauss::share_and_density;
use super::refine::STRETCH_SIGMA;
use super::sampled::{Band, Places};
use crate::domain::saturation::FULL_IN_FITS;
use crate::domain::{Circle, Estimate};
use crate::raster::{Channel, Frame};

/// Number of parameters.
const N: usize = 19;

const X: usize = 0;
const Y: usize = 1;
const RADIUS: usize = 2;
/// Variance of the blur in square pixels.
const BLUR: usize = 3;
/// Light in front of the Moon, over the typical corona at the limb.
const VEIL: usize = 4;
/// Power with which the corona falls.
const FALL: usize = 5;
/// Tone allowance.
const TONE: usize = 6;
/// Logarithm of the corona at the limb: mean, then cosine and sine pairs.
const CORONA: usize = 7;
/// Pairs of the corona's Fourier series.
const PAIRS: usize = 5;
/// How refraction flattens the Moon: width over height, minus 1.
const STRETCH: usize = CORONA + 2 * PAIRS + 1;

/// About this many pixels take part at first, and in the end.
const FIRST_PIXELS: f64 = 1200.0;
const PIXELS: f64 = 3000.0;

/// Stretches of the limb whose pixels err together.
const STRETCHES: usize = 24;

/// Neighbouring pixels of a developed picture do not err independently: sigmas grow by about this much.
const CORRELATED: f64 = 2.5;

type Params = SVector<f64, N>;

/// What the fit starts from.
#[derive(Clone, Copy, Debug)]
pub(super) struct Start {
    /// The Moon.
    pub moon: Circle,
    /// Light of the corona at the limb.
    pub corona: f64,
    /// Light on the Moon.
    pub veil: f64,
    /// Blur's sigma in pixels, about.
    pub blur_px: f64,
    /// Most it can be, by how steep the limb is seen.
    pub most_blur_px: f64,
    /// Moon's radius in pixels.
    pub radius: Option<Estimate>,
    /// Flattening.
    pub squeeze: Option<Squeeze>,
}

/// The refined Moon.
#[derive(Clone, Copy, Debug)]
pub(super) struct Moon {
    /// The circle.
    pub circle: Circle,
    /// One sigma of its centre per axis.
    pub sigma_px: f64,
    /// Blur as a Gaussian sigma.
    pub blur_px: f64,
}

struct Silhouette {
    start: Start,
}

/// Fits the Moon's limb where the arc has edge points; `None` when the fit does not settle.
pub(super) fn refined_moon(
    frame: &Frame,
    channel: Channel,
    arc: &LimbArc,
    start: &Start,
) -> Option<Moon> {
    let (first, params) = once(frame, channel, arc, start, FIRST_PIXELS, None)?;
    let again = Start {
        moon: first.circle,
        blur_px: first.blur_px,
        ..*start
    };
    let (moon, _) = once(frame, channel, arc, &again, PIXELS, Some(params))?;
    Some(moon)
}

fn once(
    frame: &Frame,
    channel: Channel,
    arc: &LimbArc,
    start: &Start,
    count: f64,
    earlier: Option<Params>,
) -> Option<(Moon, Params)> {
    let pixels = gathered(frame, channel, arc, start, count);
    let silhouette = Silhouette { start: *start };
    let v = start.blur_px * start.blur_px;
    let mut known = vec![
        (BLUR, Estimate::new(v, 2.0 * v + 1.0)),
        (VEIL, Estimate::new(start.veil / start.corona, 0.3)),
        (FALL, Estimate::new(6.0, 4.0)),
        (TONE, Estimate::new(0.0, 0.2)),
        (CORONA, Estimate::new(0.0, 1.5)),
    ];
    for k in 1..=PAIRS {
        let spread = 1.2 / k as f64;
        known.push((CORONA + 2 * k - 1, Estimate::new(0.0, spread)));
        known.push((CORONA + 2 * k, Estimate::new(0.0, spread)));
    }
    // Pixels that do not err independently, and glare the model cannot draw, say less of the size than they seem to.
    known.extend(
        start
            .radius
            .map(|r| (RADIUS, Estimate::new(r.value, r.sigma / CORRELATED))),
    );
    known.extend(
        start
            .squeeze
            .map(|q| (STRETCH, Estimate::new(q.stretch, STRETCH_SIGMA * q.stretch))),
    );
    let mut free = [true; N];
    free[STRETCH] = start.squeeze.is_some();
    let task = Task {
        drawing: &silhouette,
        pixels: &pixels,
        level: start.corona,
        free,
        known,
        places: &[X, Y, RADIUS],
        calm_px: calm_px(start.moon.radius_px),
        again: earlier.is_some(),
    };
    let fit = task.settled(earlier.unwrap_or_else(|| silhouette.first_guess()))?;
    let per_axis = |cov: &SMatrix<f64, N, N>| (0.5 * (cov[(X, X)] + cov[(Y, Y)])).max(0.0).sqrt();
    let together = task.grouped_covariance(&fit, STRETCHES, |q| {
        let turn = (q.y - fit.p[Y]).atan2(q.x - fit.p[X]) / std::f64::consts::TAU;
        (turn.rem_euclid(1.0) * STRETCHES as f64) as usize % STRETCHES
    });
    let shown_px = (per_axis(&fit.covariance) * CORRELATED).max(per_axis(&together));
    let saturated = pixels.iter().filter(|q| q.light >= FULL_IN_FITS).count();
    let saturated = saturated as f64 / pixels.len() as f64;
    // Measured on drawn frames: streamers are finer than the model's waves, and beyond saturation the limb hides.
    let model = 0.03 + 0.15 * (saturated / 0.2).min(1.0);
    // A limb as soft as it may be is not one the model can draw: its foot has been lifted or its corona flattened.
    let soft = fit.p[BLUR].sqrt() > 0.98 * start.most_blur_px;
    let model = if soft {
        model.hypot(0.5 * start.most_blur_px)
    } else {
        model
    };
    let moon = Moon {
        circle: Circle {
            x_px: fit.p[X],
            y_px: fit.p[Y],
            radius_px: fit.p[RADIUS],
        },
        sigma_px: shown_px.hypot(model),
        blur_px: fit.p[BLUR].sqrt(),
    };
    Some((moon, fit.p))
}

fn gathered(
    frame: &Frame,
    channel: Channel,
    arc: &LimbArc,
    start: &Start,
    count: f64,
) -> Vec<Pixel> {
    let blur = start.blur_px.clamp(0.5, 0.15 * start.moon.radius_px + 0.5);
    let flat = Flat(start.squeeze);
    let mut places = Places::new();
    let band = Band {
        circle: start.moon,
        flat,
        reach: (5.0 * blur + 4.0, 4.0 * blur + 4.0),
        count,
    };
    band.add(&mut places, frame, |x, y| {
        let (dx, dy) = flat.rounded((x - start.moon.x_px, y - start.moon.y_px));
        let turn = (dy.atan2(dx) / std::f64::consts::TAU).rem_euclid(1.0);
        arc.sectors[(turn * SECTORS as f64) as usize % SECTORS]
    });
    pixels_at(places, frame, channel)
}

impl Silhouette {
    fn first_guess(&self) -> Params {
        let s = &self.start;
        let mut p = Params::zeros();
        (p[X], p[Y], p[RADIUS]) = (s.moon.x_px, s.moon.y_px, s.moon.radius_px);
        p[BLUR] = (s.blur_px * s.blur_px).max(2.0 * LEAST_VARIANCE);
        p[VEIL] = s.veil / s.corona;
        p[FALL] = 6.0;
        p[STRETCH] = s.squeeze.map_or(0.0, |q| q.stretch);
        p
    }
}

/// A pixel against the limb.
struct Rim {
    /// Distance from the centre in the plane where the Moon is round.
    rho: f64,
    /// Outward normal in the picture.
    normal: (f64, f64),
    /// How much the distance grows along it, per pixel of the picture.
    steep: f64,
    /// Derivative of the height above the limb by the stretch, its part in the steepness left out.
    by_stretch: f64,
}

impl Rim {
    fn new(squeeze: Option<Squeeze>, (dx, dy): (f64, f64), p: &Params, bow: f64) -> Self {
        let Some(q) = squeeze else {
            let rho = length(dx, dy).max(1e-9);
            return Self {
                rho,
                normal: (dx / rho, dy / rho),
                steep: 1.0,
                by_stretch: 0.0,
            };
        };
        let up = dx * q.up.0 + dy * q.up.1;
        let bend = bow / p[RADIUS] * up;
        let more = up * (p[STRETCH] - bend);
        let (x, y) = (dx + more * q.up.0, dy + more * q.up.1);
        let rho = length(x, y).max(1e-9);
        // The gradient of the distance: stretched twice along the vertical.
        let again = (p[STRETCH] - 2.0 * bend) * (up + more);
        let slope = ((x + again * q.up.0) / rho, (y + again * q.up.1) / rho);
        let steep = length(slope.0, slope.1);
        Self {
            rho,
            normal: (slope.0 / steep, slope.1 / steep),
            steep,
            by_stretch: up * (up + more) / (rho * steep),
        }
    }
}

impl Drawing<N> for Silhouette {
    /// Bow of the flattening.
    type Ready = f64;

    fn ready(&self, _: &Params) -> f64 {
        self.start.squeeze.map_or(0.0, Squeeze::bow)
    }

    fn at(&self, pixel: &Pixel, p: &Params, bow: &f64, by: &mut [f64; N]) -> f64 {
        let away = (pixel.x - p[X], pixel.y - p[Y]);
        let rim = Rim::new(self.start.squeeze, away, p, *bow);
        let (nx, ny) = rim.normal;
        let sigma = p[BLUR].sqrt();
        // Height above the blurred limb: the blurred Moon looks smaller.
        let height = (rim.rho - p[RADIUS]) / rim.steep + 0.5 * p[BLUR] / p[RADIUS];
        let z = height / sigma;
        let (bare, edge) = share_and_density(z);
        let mut log = p[CORONA];
        let (mut cos, mut sin) = (1.0, 0.0);
        for k in 1..=PAIRS {
            (cos, sin) = (cos * nx - sin * ny, sin * nx + cos * ny);
            let i = CORONA + 2 * k - 1;
            log += p[i] * cos + p[i + 1] * sin;
            (by[i], by[i + 1]) = (cos, sin);
        }
        // The mean height of the bare part of the blur keeps the fall off the dark side.
        let mean_height = height * bare + sigma * edge;
        let relative = mean_height / bare.max(1e-6) / p[RADIUS];
        let fall = (-p[FALL] * relative.min(1.0)).exp();
        let corona = log.clamp(-12.0, 12.0).exp() * fall;
        let s = corona * bare + p[VEIL];
        let level = self.start.corona;
        let value = level * s * (1.0 + p[TONE] * (s.min(1.5) - 1.0));
        let bend = if s < 1.5 { 2.0 * s - 1.0 } else { 0.5 };
        let by_s = level * (1.0 + p[TONE] * bend);
        let by_log = by_s * corona * bare;
        for v in &mut by[CORONA + 1..=CORONA + 2 * PAIRS] {
            *v *= by_log;
        }
        by[CORONA] = by_log;
        by[FALL] = -by_log * relative.min(1.0);
        let by_height = by_s * corona * (edge / sigma - p[FALL] / p[RADIUS] * bare);
        by[X] = -by_height * nx;
        by[Y] = -by_height * ny;
        by[RADIUS] = -by_height / rim.steep;
        by[STRETCH] = by_height * rim.by_stretch;
        by[BLUR] = by_s * corona * (-0.5 * edge * z / p[BLUR]) + by_height * 0.5 / p[RADIUS];
        by[VEIL] = by_s;
        by[TONE] = level * s * (s.min(1.5) - 1.0);
        value
    }

    fn bounded(&self, mut p: Params) -> Params {
        p[RADIUS] = p[RADIUS].max(2.0);
        let most = self.start.most_blur_px.powi(2).max(2.0 * LEAST_VARIANCE);
        p[BLUR] = p[BLUR].clamp(LEAST_VARIANCE, most);
        p[VEIL] = p[VEIL].clamp(-0.1, 2.0);
        p[FALL] = p[FALL].clamp(0.0, 25.0);
        p[TONE] = p[TONE].clamp(-0.6, 0.6);
        p[CORONA] = p[CORONA].clamp(-6.0, 6.0);
        p[STRETCH] = p[STRETCH].clamp(0.0, 1.0);
        p
    }

    fn ties(&self, _: &Params) -> Vec<Row<N>> {
        Vec::new()
    }
}
