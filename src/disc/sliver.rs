//! Beads and the diamond ring: a thin bright sliver on the Moon's limb, too narrow for two limbs to be told apart.
//!
//! With the Sun's radius, the Moon's and the vector between their centres known from elsewhere, only the place is left.
//! The ridge of the sliver runs along the Moon's limb, since glare widens it alike to both sides; a circle of the known
//! radius through the ridge gives the Moon's centre, and the vector the Sun's.

use nalgebra::Vector2;

use super::find::{NOTHING, Overview, regions_above};
use super::flags::least_soft_px;
use super::hint::{DiscHint, LOOSE_RADIUS};
use super::ridge;
use crate::domain::{APPROXIMATE_PX, Circle, DiscFit, Flag, Flags, Limb, NormalEquations};
use crate::raster::{Channel, Frame};

/// Widest sliver taken for one, in solar radii: some 40 s from a contact.
const WIDEST: f64 = 0.02;

/// Far inside totality there is no sliver, in solar radii of cover to spare.
const DEEPEST: f64 = -0.012;

/// The vector must be known to this, in solar radii.
const SURE_OFFSET: f64 = 0.02;

/// Share of the way from sky to peak at which the sliver is cut out of its glare.
const CUT: f32 = 0.5;

/// Regions smaller than this share of the largest are not part of the sliver.
const LEAST_SHARE: f64 = 0.002;

/// An arc longer than this, in degrees, is a corona and no sliver.
const LONGEST_ARC_DEG: f64 = 200.0;

/// Less sure than this, in pixels per axis, there is no disc.
const LEAST_SURE_PX: f64 = 8.0;

/// Ridge points this many pixels apart along the limb err on their own (our choice: glare and JPEG blocks).
const APART_PX: f64 = 8.0;

/// Ridge points err by at least this, in pixels.
const LEAST_SCATTER_PX: f64 = 0.3;

/// Share of the width of its glare by which a ridge may lean to one side (our choice, after drawn diamond rings).
const LEAN: f64 = 0.1;

/// One sigma, in degrees, of where along the limb the middle of the sliver may lie: valleys choose.
const VALLEY_DEG: f64 = 20.0;

/// What is known about a sliver before looking, in pixels of an upright frame.
struct Known {
    sun_radius_px: f64,
    moon_radius_px: f64,
    /// Moon's centre from the Sun's.
    offset_px: Vector2<f64>,
    offset_sigma_px: f64,
    /// Direction of the zenith (right, down) and height of the disc over its width.
    zenith: Vector2<f64>,
    squeeze: f64,
}

/// Whether a frame is near enough to second or third contact for its light to be a sliver.
pub(super) fn is_due(hint: &DiscHint) -> bool {
    known(hint).is_some()
}

/// Whether a fit found in the usual way agrees with what is known, so that it is the better one.
pub(super) fn agrees(fit: &DiscFit, hint: &DiscHint) -> bool {
    let Some(known) = known(hint) else {
        return true;
    };
    match (fit.limb, fit.sun, fit.moon) {
        (Limb::Moon, _, Some(moon)) => {
            (moon.radius_px / known.moon_radius_px - 1.0).abs() < 0.015 && fit.sigma_px < 2.0
        }
        (Limb::Sun, Some(sun), Some(moon)) => {
            let off = Vector2::new(moon.x_px - sun.x_px, moon.y_px - sun.y_px) - known.offset_px;
            let slack = 0.01 * known.sun_radius_px + 3.0 * known.offset_sigma_px;
            off.norm() < slack && fit.sigma_px < 1.0
        }
        _ => false,
    }
}

/// Puts the Sun of a sliver where the vector has it.
pub(super) fn follow(fit: &mut DiscFit, hint: &DiscHint) {
    let (Some(known), Limb::Sun, None, Some(moon)) =
        (known(hint), fit.limb, fit.moon_sigma_px, fit.moon)
    else {
        return;
    };
    fit.sun = Some(Circle {
        x_px: moon.x_px - known.offset_px.x,
        y_px: moon.y_px - known.offset_px.y,
        radius_px: known.sun_radius_px,
    });
}

/// The flags of a fitted sliver: whether its glare makes the place doubtful, whether it is far wider than the Moon leaves it.
pub(super) fn flags(frame: &Frame, fit: &DiscFit, hint: &DiscHint) -> Flags {
    let marks = [
        (Flag::Approximate, fit.sigma_px > APPROXIMATE_PX),
        (Flag::Soft, is_soft(frame, fit, hint)),
    ];
    marks
        .into_iter()
        .filter(|(_, on)| *on)
        .map(|(flag, _)| flag)
        .collect()
}

/// What a blur is to exceed the least of a soft limb by: beads and the chromosphere have a width of their own (our choice).
const WIDER: f64 = 1.25;

/// Widths at half height of a Gaussian, in its sigmas, and the variance of an even band over its width squared.
const HALF_HEIGHT: f64 = 2.355;
const BAND: f64 = 1.0 / 12.0;

/// Whether a sliver is wider than the Moon leaves it by a blur out of focus. A defocused point has a steep rim, so that the width tells and
/// not the steepness.
fn is_soft(frame: &Frame, fit: &DiscFit, hint: &DiscHint) -> bool {
    let (Some(known), Some(moon)) = (known(hint), fit.moon) else {
        return false;
    };
    let due_px = (known.sun_radius_px + known.offset_px.norm() - known.moon_radius_px).max(0.0);
    // Near the horizon the air smears.
    if known.squeeze < LOW_SUN {
        return false;
    }
    ridge::across_px(frame, moon).is_some_and(|wide_px| {
        let blur2 = (wide_px / HALF_HEIGHT).powi(2) - BAND * due_px * due_px;
        blur2.max(0.0).sqrt() > WIDER * least_soft_px(known.sun_radius_px)
    })
}

/// A disc flattened by more than this stands within some 4 degrees of the horizon (refraction after Bennett 1982).
const LOW_SUN: f64 = 0.97;

fn known(hint: &DiscHint) -> Option<Known> {
    let radius = hint.sun_radius_px?;
    let sun_radius_px = radius.value;
    // Of a Sun of any size a thin sliver says too little.
    if radius.sigma > LOOSE_RADIUS * sun_radius_px {
        return None;
    }
    let ratio = hint.moon_ratio?.value;
    let ([right, down], sigma) = hint.moon_offset?;
    let width = 1.0 + right.hypot(down) - ratio;
    if sigma > SURE_OFFSET || !(DEEPEST - sigma..WIDEST + sigma).contains(&width) {
        return None;
    }
    let (squeeze, zenith_deg) = hint.squeeze.unwrap_or((1.0, 0.0));
    let (sin, cos) = zenith_deg.to_radians().sin_cos();
    Some(Known {
        sun_radius_px,
        moon_radius_px: ratio * sun_radius_px,
        offset_px: Vector2::new(right, down) * sun_radius_px,
        offset_sigma_px: sigma * sun_radius_px,
        zenith: Vector2::new(-sin, -cos),
        squeeze: squeeze.clamp(0.5, 1.0),
    })
}

/// Fits the discs of a frame near second or third contact to the ridge of its sliver of light.
///
/// `None` when no sliver is due by the hint, or none is seen that lies along the Moon's limb on the side where the Sun
/// is still, or again, open.
pub(super) fn fitted(frame: &Frame, view: &Overview, hint: &DiscHint) -> Option<DiscFit> {
    let known = known(hint)?;
    if view.peak - view.sky < NOTHING {
        return None;
    }
    let level = view.sky + CUT * (view.peak - view.sky);
    let light = lit_points(frame, view, level)?;
    let middle = light_middle(&light);
    let points: Vec<(Vector2<f64>, f64)> = light
        .iter()
        .map(|(p, w)| (upright(p - middle, &known, 1.0 / known.squeeze), *w))
        .collect();
    // The sliver lies away from the Moon's displacement.
    let towards = -upright(known.offset_px, &known, 1.0 / known.squeeze).normalize();
    let width = known.sun_radius_px + known.offset_px.norm() - known.moon_radius_px;
    let rho = known.moon_radius_px + 0.5 * width.max(0.0);
    let ridge_fit = along_ridge(&points, towards, rho)?;
    let moon = middle + upright(ridge_fit.centre, &known, known.squeeze);
    let sun = moon - known.offset_px;
    let band_px = points.len() as f64 / (ridge_fit.arc_deg.to_radians() * rho).max(1.0);
    let sigma_px = ridge_fit
        .sigma_px
        .hypot(known.offset_sigma_px)
        .hypot(LEAN * band_px);
    let circle = |at: Vector2<f64>, radius_px: f64| Circle {
        x_px: at.x,
        y_px: at.y,
        radius_px,
    };
    (sigma_px < LEAST_SURE_PX).then(|| DiscFit {
        limb: Limb::Sun,
        sun: Some(circle(sun, known.sun_radius_px)),
        moon: Some(circle(moon, known.moon_radius_px)),
        sigma_px,
        // The vector came from the hint: it says nothing of its own.
        moon_sigma_px: None,
        limb_arc_deg: ridge_fit.arc_deg,
        residual_px: ridge_fit.rms_px,
        blur_px: None,
    })
}

/// A vector with its part towards the zenith scaled.
fn upright(v: Vector2<f64>, known: &Known, scale: f64) -> Vector2<f64> {
    v + known.zenith * (v.dot(&known.zenith) * (scale - 1.0))
}

/// Pixels brighter than the cut in the bright regions, with their light above it.
fn lit_points(frame: &Frame, view: &Overview, level: f32) -> Option<Vec<(Vector2<f64>, f64)>> {
    let regions = regions_above(view, level);
    let largest = regions.iter().map(|r| r.flux).fold(0.0, f64::max);
    let mut points = Vec::new();
    for region in regions.iter().filter(|r| r.flux >= LEAST_SHARE * largest) {
        let [left, top, right, bottom] = region.sides;
        let half = 0.5 * (right - left).max(bottom - top) + 2.0 * view.step as f64;
        let rect = frame.clip(0.5 * (left + right), 0.5 * (top + bottom), half)?;
        let own = |x: usize, y: usize| {
            let reach = 2.0 * view.step as f64;
            let (x, y) = (x as f64, y as f64);
            x >= left - reach && x <= right + reach && y >= top - reach && y <= bottom + reach
        };
        for y in rect.y..rect.y + rect.height {
            for x in rect.x..rect.x + rect.width {
                if own(x, y) {
                    let above = frame.value(x, y, Channel::Max) - level;
                    if above > 0.0 {
                        points.push((Vector2::new(x as f64, y as f64), f64::from(above)));
                    }
                }
            }
        }
    }
    (points.len() >= 4).then_some(points)
}

fn light_middle(points: &[(Vector2<f64>, f64)]) -> Vector2<f64> {
    let weight: f64 = points.iter().map(|p| p.1).sum();
    points.iter().map(|(p, w)| p * *w).sum::<Vector2<f64>>() / weight
}

/// A circle of known radius through a ridge.
struct RidgeFit {
    centre: Vector2<f64>,
    sigma_px: f64,
    rms_px: f64,
    arc_deg: f64,
}

/// Fits the centre of a circle of radius `rho` to the ridge of the light; `towards` points from it to the light.
fn along_ridge(
    points: &[(Vector2<f64>, f64)],
    towards: Vector2<f64>,
    rho: f64,
) -> Option<RidgeFit> {
    let mut centre = -towards * rho;
    let mut ridge = Vec::new();
    for _ in 0..12 {
        ridge = ridge_about(points, centre, rho);
        let sums = normal(&ridge, centre, rho, towards, LEAST_SCATTER_PX);
        let step = sums.covariance()? * sums.right;
        centre += step;
        if step.norm() < 1e-3 {
            break;
        }
    }
    let square: f64 = ridge
        .iter()
        .map(|p| ((p - centre).norm() - rho).powi(2))
        .sum();
    let rms_px = (square / ridge.len().max(1) as f64).sqrt();
    let arc_deg = (ridge.len() as f64 * BIN_PX / rho).to_degrees();
    let scatter = rms_px.max(LEAST_SCATTER_PX);
    let covariance = normal(&ridge, centre, rho, towards, scatter).covariance()?;
    let sigma_px = (0.5 * covariance.trace()).sqrt();
    let middle = ridge.iter().sum::<Vector2<f64>>() / ridge.len().max(1) as f64 - centre;
    let on_its_side = middle.dot(&towards) > 0.5 * middle.norm();
    let good = on_its_side && arc_deg < LONGEST_ARC_DEG && rms_px < 0.03 * rho + 2.0;
    (good && sigma_px.is_finite()).then_some(RidgeFit {
        centre,
        sigma_px,
        rms_px,
        arc_deg,
    })
}

/// Width of the directions a ridge is told by, in pixels along the limb.
const BIN_PX: f64 = 2.0;

/// The middle of the light in each direction from a centre.
fn ridge_about(
    points: &[(Vector2<f64>, f64)],
    centre: Vector2<f64>,
    rho: f64,
) -> Vec<Vector2<f64>> {
    let bins = ((std::f64::consts::TAU * rho / BIN_PX).ceil() as usize).clamp(8, 100_000);
    let mut sums = vec![(Vector2::zeros(), 0.0); bins];
    for (p, w) in points {
        let away = p - centre;
        let turn = away.y.atan2(away.x) / std::f64::consts::TAU;
        let bin = ((turn.rem_euclid(1.0) * bins as f64) as usize).min(bins - 1);
        sums[bin].0 += p * *w;
        sums[bin].1 += w;
    }
    sums.into_iter()
        .filter(|(_, w)| *w > 0.0)
        .map(|(sum, w)| sum / w)
        .collect()
}

/// Normal equations for a step of the centre, a prior on the direction of the light included.
fn normal(
    ridge: &[Vector2<f64>],
    centre: Vector2<f64>,
    rho: f64,
    towards: Vector2<f64>,
    scatter_px: f64,
) -> NormalEquations<2> {
    let weight = BIN_PX / APART_PX / (scatter_px * scatter_px);
    let mut sums = NormalEquations::zeros();
    let mut middle = Vector2::zeros();
    for p in ridge {
        let away = p - centre;
        let distance = away.norm().max(1e-9);
        let outward = away / distance;
        let off = distance - rho;
        // Far points (a ghost, a second light) count less, after Huber 1964.
        let robust = (3.0 * scatter_px / off.abs().max(1e-9)).min(1.0) * weight;
        sums.add(&outward, off, robust);
        middle += away;
    }
    let across = Vector2::new(-towards.y, towards.x);
    let middle = middle / ridge.len().max(1) as f64;
    let swing = 1.0 / (rho * VALLEY_DEG.to_radians()).powi(2);
    sums.add(&across, across.dot(&middle), swing);
    sums
}
