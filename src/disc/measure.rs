//! Measures the discs of a frame at full resolution, once rough limbs are known.

use super::arcs::{REST, median};
use super::blurred::{self, BlurredEdge};
use super::circle::{CircleFit, distance, of_radius, resting};
use super::find::LimbArc;
use super::flat::{Flat, Squeeze};
use super::hint::DiscHint;
use super::judge::Verdict;
use super::plain::is_plain;
use super::rays::{LimbPoint, Walk, limb_points};
use super::{partial, totality};
use crate::domain::{Circle, DiscFit, Estimate, Limb, NoDisc};
use crate::raster::{Channel, Frame};

/// A limb is at least this steep: step of light over the light of the bright side, of the Sun's limb and of the Moon's before the corona.
const LEAST_STEP: (f64, f64) = (0.6, 0.15);

/// The same of a Sun's limb in glare, which is believed only where the disc is plain ([`is_plain`]): the field of an eyepiece is
/// filled with stray light (seen there: 0.35 to 0.6).
const LEAST_STEP_IN_GLARE: f64 = 0.3;

/// A limb blurred over more than this part of the radius (Gaussian sigma) is none.
const SOFTEST: f64 = 0.15;

/// The same of one whose light ends: a disc out of focus is dark beyond its blur, a lamp's glow and a Sun lost in cloud go on. So much of the
/// disc's light is left beyond it at most (whole Suns by phone at an eyepiece: 0.01 to 0.04 at blurs of 0.12 to 0.19).
const SOFTEST_THAT_ENDS: f64 = 0.22;
const DARK_BEYOND: f64 = 0.08;

/// A limb blurs over at most this many times what its steepness says. Burnt-out coronae make drawn limbs look 1.4 times as
/// steep as they are; a phone's evened-out picture, whose Moon glows, let the fit run off to 4 times.
const MOST_BLUR: f64 = 1.6;

/// Fewest limb points.
const LEAST_POINTS: usize = 10;

/// The discs of a frame and what was seen on the way.
#[derive(Clone, Debug)]
pub(super) struct Measured {
    /// The discs.
    pub fit: DiscFit,
    /// Widths of the blur along its long and its short axis, Gaussian sigmas in pixels.
    pub blur_px: (f64, f64),
    /// Light on the bright side of the limb, median, brightest channel.
    pub bright: f64,
    /// Light on the dark side.
    pub dark: f64,
    /// Steepest gradient at the limb over the bright side's light, per pixel.
    pub sharpness: f64,
}

/// Limb points at full resolution, circles through them, then the refined discs.
///
/// # Errors
/// [`NoDisc`] when the limb is not one of the Sun's or the Moon's after all.
pub(super) fn measured(
    frame: &Frame,
    verdict: &Verdict,
    hint: &DiscHint,
) -> Result<Measured, NoDisc> {
    let inside = verdict.limb == Limb::Sun;
    let carrier = if inside { &verdict.sun } else { &verdict.moon };
    let carrier = carrier.as_ref().ok_or(NoDisc::NoLimb)?;
    let flat = Flat::known(hint);
    let walk = Walk {
        bright_inside: inside,
        reach_px: 2.0 * verdict.step as f64 + 6.0,
        channel: Channel::Max,
        flat,
    };
    let points = limb_points(frame, carrier, walk);
    let levels = |f: fn(&LimbPoint) -> f64| median(points.iter().map(f).collect());
    let (bright, dark, slope) = (
        levels(|p| p.bright),
        levels(|p| p.dark),
        levels(|p| p.slope),
    );
    let (usual, least) = if inside {
        (LEAST_STEP.0, LEAST_STEP_IN_GLARE)
    } else {
        (LEAST_STEP.1, LEAST_STEP.1)
    };
    if points.len() < LEAST_POINTS || bright - dark < least * bright || slope <= 0.0 {
        let whole = inside && verdict.moon.is_none();
        let soft = whole.then(|| blurred::edge(frame, carrier, flat));
        return soft.flatten().map_or(Err(NoDisc::NotTheSun), |edge| {
            out_of_focus(&edge, verdict, carrier)
        });
    }
    let fit = circle_through(&points, carrier.circle, flat).ok_or(NoDisc::NoLimb)?;
    let blur_px = (0.4 * (bright - dark) / slope).clamp(0.4, 20.0);
    let mut out = Measured {
        fit: rough_fit(verdict.limb, &fit, carrier),
        blur_px: (blur_px, blur_px),
        bright,
        dark,
        sharpness: slope / bright,
    };
    let channel = partial::channel(frame, &points);
    if inside {
        let radius_px = hint.sure_radius_px().map(|radius| radius.value);
        out.fit.sun = Some(held(fit.circle, &points, radius_px, flat));
        let moon = verdict.moon.as_ref().and_then(|arc| {
            let walk = Walk {
                bright_inside: false,
                ..walk
            };
            let points = limb_points(frame, arc, walk);
            let moon = circle_through(&points, arc.circle, flat)?.circle;
            let ratio = hint.moon_ratio.map(|ratio| ratio.value);
            let radius_px = radius_px.zip(ratio).map(|(r, ratio)| r * ratio);
            Some(held(moon, &points, radius_px, flat))
        });
        refine_partial(&mut out, frame, channel, hint, moon);
        // A lamp's glow is round too, but fades over a good part of its radius.
        if out.blur_px.1 > SOFTEST * out.fit.sun.map_or(0.0, |s| s.radius_px) {
            return Err(NoDisc::NoEdge);
        }
    } else {
        refine_totality(&mut out, frame, channel, hint, carrier);
    }
    if bright - dark < usual * bright && !is_plain(&out.fit) {
        return Err(NoDisc::NotTheSun);
    }
    Ok(out)
}

/// What is known of a whole Sun far out of focus: place and size of its half light, no more certain than a part of its blur.
///
/// # Errors
/// [`NoDisc::NoEdge`] where the light fades over a good part of the radius, as a lamp's glow does.
fn out_of_focus(
    edge: &BlurredEdge,
    verdict: &Verdict,
    carrier: &LimbArc,
) -> Result<Measured, NoDisc> {
    let ends = edge.dark < DARK_BEYOND * edge.bright;
    let softest = if ends { SOFTEST_THAT_ENDS } else { SOFTEST };
    if edge.blur_px > softest * edge.fit.circle.radius_px {
        return Err(NoDisc::NoEdge);
    }
    let rough = rough_fit(verdict.limb, &edge.fit, carrier);
    Ok(Measured {
        fit: DiscFit {
            sigma_px: rough.sigma_px + BLUR_PART * edge.blur_px,
            blur_px: Some(edge.blur_px),
            ..rough
        },
        blur_px: (edge.blur_px, edge.blur_px),
        bright: edge.bright,
        dark: edge.dark,
        sharpness: 0.4 * (edge.bright - edge.dark) / (edge.blur_px * edge.bright),
    })
}

/// So much of a blur's sigma the half light of a disc out of focus may be off: the disc's own darkening and stray light pull at it (our
/// choice).
const BLUR_PART: f64 = 0.1;

fn refine_partial(
    out: &mut Measured,
    frame: &Frame,
    channel: Channel,
    hint: &DiscHint,
    moon: Option<Circle>,
) {
    let Some(sun) = out.fit.sun else { return };
    let rough = partial::Rough {
        sun,
        moon,
        limb_level: out.bright,
        sky: out.dark,
        blur_px: out.blur_px.0,
    };
    let Some(r) = partial::refined_discs(frame, channel, rough, hint) else {
        out.fit.moon = moon;
        out.fit.moon_sigma_px = moon.map(|_| out.fit.sigma_px);
        return;
    };
    out.fit = DiscFit {
        sun: Some(r.sun),
        moon: r.moon,
        sigma_px: r.sun_sigma_px,
        moon_sigma_px: r.moon_sigma_px,
        blur_px: Some((r.blur_px.0 * r.blur_px.1).sqrt()),
        ..out.fit
    };
    out.blur_px = r.blur_px;
}

fn refine_totality(
    out: &mut Measured,
    frame: &Frame,
    channel: Channel,
    hint: &DiscHint,
    arc: &LimbArc,
) {
    let Some(moon) = out.fit.moon else { return };
    let radius = hint.sun_radius_px.zip(hint.moon_ratio).map(|(r, k)| {
        let sigma = (r.sigma * k.value).hypot(k.sigma.max(0.002) * r.value);
        Estimate::new(r.value * k.value, sigma)
    });
    let start = totality::Start {
        moon,
        corona: out.bright.max(1e-4),
        veil: out.dark,
        blur_px: out.blur_px.0,
        most_blur_px: MOST_BLUR * out.blur_px.0 + 0.5,
        radius,
        squeeze: Squeeze::known(hint),
    };
    if let Some(m) = totality::refined_moon(frame, channel, arc, &start) {
        out.fit = DiscFit {
            moon: Some(m.circle),
            sigma_px: m.sigma_px,
            moon_sigma_px: Some(m.sigma_px),
            blur_px: Some(m.blur_px),
            ..out.fit
        };
        out.blur_px = (m.blur_px, m.blur_px);
    }
}

/// A circle through limb points given the radius known of it: blur bends the limbs of a thin crescent towards each other.
fn held(circle: Circle, points: &[LimbPoint], radius_px: Option<f64>, flat: Flat) -> Circle {
    let places: Vec<_> = points.iter().map(|p| flat.rounded(p.place)).collect();
    radius_px
        .and_then(|radius_px| of_radius(&places, flat.rounded_circle(circle), radius_px, 1.0))
        .map(|held| flat.flattened_circle(held))
        .filter(|held| is_close(*held, circle))
        .unwrap_or(circle)
}

/// How far off a circle through limb points alone may be, in radii, for an arc that is but a small part of it: two limbs a
/// blur apart bend each other (drawn crescents of 99 % were off by 2 %).
const BENT: f64 = 0.02;

/// A circle through limb points only: biased where the crescent is thin, so its sigma is wide.
fn rough_fit(limb: Limb, fit: &CircleFit, arc: &LimbArc) -> DiscFit {
    let variance = 0.5 * (fit.covariance[(0, 0)] + fit.covariance[(1, 1)]);
    let bent_px = BENT * fit.circle.radius_px * (1.0 - arc.seen_deg / 360.0).max(0.0);
    let sigma_px = variance.sqrt() + 1.0 + bent_px;
    let inside = limb == Limb::Sun;
    DiscFit {
        limb,
        sun: inside.then_some(fit.circle),
        moon: (!inside).then_some(fit.circle),
        sigma_px,
        moon_sigma_px: (!inside).then_some(sigma_px),
        limb_arc_deg: arc.seen_deg,
        residual_px: fit.rms,
        blur_px: None,
    }
}

fn circle_through(points: &[LimbPoint], start: Circle, flat: Flat) -> Option<CircleFit> {
    let places: Vec<_> = points.iter().map(|p| flat.rounded(p.place)).collect();
    let rough = resting(&places, flat.rounded_circle(start), 1.0, REST)?;
    let near: Vec<_> = places
        .into_iter()
        .filter(|&p| distance(rough.circle, p).abs() < (3.0 * rough.rms).clamp(1.0, 4.0))
        .collect();
    let fit = resting(&near, rough.circle, 0.5, REST)?;
    let circle = flat.flattened_circle(fit.circle);
    is_close(circle, start).then_some(CircleFit { circle, ..fit })
}

/// How far a circle through limb points may be from the one found at reduced size, in radii: farther off it is a line.
const SAME_CIRCLE: f64 = 0.3;

fn is_close(circle: Circle, start: Circle) -> bool {
    let moved = (circle.x_px - start.x_px).hypot(circle.y_px - start.y_px);
    let grown = (circle.radius_px - start.radius_px).abs();
    moved.max(grown) < SAME_CIRCLE * start.radius_px
}
