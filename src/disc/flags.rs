//! What a careful person would want to know about a frame, and how it ranks among its like.
//!
//! Sharpness is judged by the width of the limb's edge: P. Marziliano et al. 2002, "A no-reference perceptual blur
//! metric", ICIP 2002 III-57; here the width comes from the fit, freed of the disc's own darkening. The steepest
//! gradient over the level (`FrameLook::limb_sharpness`) is the gradient measure of E. Krotkov 1987, "Focusing", Int.
//! J. Computer Vision 1, 223, taken on the limb alone.

use super::find::{Overview, Region, regions_above};
use super::measure::Measured;
use super::{DiscHint, NoDisc};
use crate::domain::{APPROXIMATE_PX, Circle, Flag, Flags, Limb};
use crate::raster::{Channel, Frame};

/// A blur wider than this (Gaussian sigma, pixels), and than this fraction of the radius, is out of focus.
const SOFT_PX: f64 = 2.4;
const SOFT_OF_RADIUS: f64 = 0.006;

/// A blur this much longer than wide, and at least this long (Gaussian sigma, pixels), is a shake.
const SHAKEN_RATIO: f64 = 1.5;
const SHAKEN_PX: f64 = 1.2;

/// It must be this many sigmas longer, as variances: a short arc of limb tells little of the blur along it, so that fringes
/// of colour at one limb make the blur of a thin crescent look longer across it than it is.
const SHAKEN_SIGMAS: f64 = 3.0;

/// Moved by more than this (Gaussian sigma, pixels) it is a shake even so: of 20 crescents of a video the sharp ones came to 2.5 at
/// most, those with doubled horns to 2.9 and more.
const PLAINLY_SHAKEN_PX: f64 = 2.7;

/// Cloud shows as patches on the disc, unevenness across it, or light around it, each over the level.
const CLOUD_PATCHES: f64 = 0.03;
const CLOUD_UNEVEN: f64 = 0.08;
const CLOUD_GLOW: f64 = 0.02;

/// A disc flattened by more than this stands within some 4 degrees of the horizon (refraction after Bennett 1982).
const LOW_SUN: f64 = 0.97;

/// Saturated from here on, brightest channel.
const CLIPPED: f64 = 0.97;

/// Ghosts are brighter than this over the sky, as a fraction of the disc's level, and larger than this fraction of
/// the disc's area.
const GHOST_LIGHT: f64 = 0.012;
const GHOST_AREA: f64 = 0.003;

/// Flags of a frame with a disc.
pub(super) fn of_disc(frame: &Frame, view: &Overview, found: &Measured, hint: &DiscHint) -> Flags {
    let mut flags = Flags::default();
    let Some(circle) = found.fit.sun.or(found.fit.moon) else {
        return flags;
    };
    let marks = [
        (Flag::Cut, cut(frame, circle)),
        (Flag::Shaken, shaken(found)),
        (
            Flag::Soft,
            found.blur_px.1 > SOFT_PX.max(SOFT_OF_RADIUS * circle.radius_px),
        ),
        (Flag::Clouded, clouded(found, hint)),
        (
            Flag::Clipped,
            found.fit.limb == Limb::Sun && clipped(frame, found, circle, hint),
        ),
        (
            Flag::Flare,
            found.fit.limb == Limb::Sun && ghosts(view, found, circle) > 0,
        ),
        (Flag::Approximate, found.fit.sigma_px > APPROXIMATE_PX),
    ];
    for (flag, _) in marks.into_iter().filter(|(_, on)| *on) {
        flags.set(flag);
    }
    flags
}

/// Flags of a frame without a disc.
///
/// A dark frame while the Sun is covered is taken for a filter left on, at any other time for a cover left on; light
/// leaking in from one side of a dark frame says the Sun stood just outside.
pub(super) fn without_disc(view: &Overview, hint: &DiscHint, why: NoDisc) -> Flags {
    let mut flags = Flags::default();
    match why {
        NoDisc::Dark { .. } if glow_at_side(view) => flags.set(Flag::OutOfFrame),
        NoDisc::Dark { .. } if hint.totality == Some(true) => flags.set(Flag::FilterOn),
        NoDisc::Dark { .. } => flags.set(Flag::Capped),
        NoDisc::NoLimb if view.sky < 0.1 && glow_at_side(view) => flags.set(Flag::OutOfFrame),
        _ => {}
    }
    flags
}

/// Rank of a frame among others of its phase, 0 to 1: sharpness of the limb, signal, saturation, cut and cloud each
/// take their share.
pub(super) fn quality(found: &Measured, flags: &Flags) -> f64 {
    let radius = found
        .fit
        .sun
        .or(found.fit.moon)
        .map_or(1.0, |c| c.radius_px);
    let width = found.blur_px.0 / (2.0_f64).max(0.006 * radius);
    let sharp = 1.0 / (1.0 + width * width);
    let signal = (found.bright / 0.25).min(1.0).powf(0.3);
    let sure = 1.0 / (1.0 + found.fit.sigma_px);
    let lost = [
        (Flag::Clipped, 0.6),
        (Flag::Cut, 0.4),
        (Flag::Clouded, 0.6),
        (Flag::Flare, 0.85),
        (Flag::Shaken, 0.8),
    ];
    let kept: f64 = lost
        .iter()
        .filter(|(flag, _)| flags.has(*flag))
        .map(|(_, factor)| factor)
        .product();
    let even = found.refined.as_ref().map_or(1.0, |r| {
        1.0 / (1.0 + (r.patches / 0.03).powi(2) + (r.uneven / 0.2).powi(2))
    });
    (sharp * signal * sure * kept * even).clamp(0.0, 1.0)
}

fn cut(frame: &Frame, c: Circle) -> bool {
    let (w, h) = (frame.width() as f64 - 0.5, frame.height() as f64 - 0.5);
    c.x_px - c.radius_px < -0.5
        || c.y_px - c.radius_px < -0.5
        || c.x_px + c.radius_px > w
        || c.y_px + c.radius_px > h
}

fn shaken(found: &Measured) -> bool {
    let (long, short) = found.blur_px;
    let smear_px = smear_px(found);
    let sigma_px2 = found.refined.as_ref().map_or(0.0, |r| r.longer_sigma_px2);
    long > SHAKEN_RATIO * short
        && smear_px > SHAKEN_PX
        && (smear_px * smear_px > SHAKEN_SIGMAS * sigma_px2 || smear_px > PLAINLY_SHAKEN_PX)
}

/// How far the picture moved, as the Gaussian sigma that was added along the movement.
fn smear_px(found: &Measured) -> f64 {
    let (long, short) = found.blur_px;
    (long * long - short * short).max(0.0).sqrt()
}

/// Near the horizon the air alone dims the lower limb.
fn clouded(found: &Measured, hint: &DiscHint) -> bool {
    let low = hint.squeeze.is_some_and(|(squeeze, _)| squeeze < LOW_SUN);
    found.refined.as_ref().is_some_and(|r| {
        r.patches > CLOUD_PATCHES || (r.uneven > CLOUD_UNEVEN && !low) || r.sky > CLOUD_GLOW
    })
}

/// Whether the bare disc is saturated, at the limb or anywhere on a thin grid.
fn clipped(frame: &Frame, found: &Measured, c: Circle, hint: &DiscHint) -> bool {
    let full_at = CLIPPED / hint.tint.unwrap_or(1.0).max(1.0);
    if found.bright >= full_at {
        return true;
    }
    let (mut lit, mut full) = (0, 0);
    let step = c.radius_px / 15.0;
    for j in -15_i32..=15 {
        for i in -15_i32..=15 {
            let (x, y) = (
                (c.x_px + f64::from(i) * step).round(),
                (c.y_px + f64::from(j) * step).round(),
            );
            let inside = x >= 0.0 && y >= 0.0;
            let (x, y) = (x as usize, y as usize);
            if inside && i * i + j * j < 225 && x < frame.width() && y < frame.height() {
                let v = f64::from(frame.value(x, y, Channel::Max));
                lit += usize::from(v > 0.4 * found.bright);
                full += usize::from(v >= full_at);
            }
        }
    }
    full * 20 > lit
}

/// Bright patches well away from the disc.
fn ghosts(view: &Overview, found: &Measured, c: Circle) -> usize {
    let level = view.sky + (GHOST_LIGHT * found.bright) as f32;
    let area = std::f64::consts::PI * c.radius_px * c.radius_px * GHOST_AREA;
    let away = |r: &Region| {
        let x = c.x_px.clamp(r.sides[0], r.sides[2]);
        let y = c.y_px.clamp(r.sides[1], r.sides[3]);
        (x - c.x_px).hypot(y - c.y_px) > 1.05 * c.radius_px + 2.0 * view.step as f64
    };
    regions_above(view, level)
        .iter()
        .filter(|r| r.area_px > area && away(r))
        .count()
}

/// Whether one side of the frame is clearly brighter than its middle.
fn glow_at_side(view: &Overview) -> bool {
    let (w, h) = (view.light.width(), view.light.height());
    if w < 16 || h < 16 {
        return false;
    }
    let mean = |x0: usize, y0: usize, x1: usize, y1: usize| {
        let mut sum = 0.0;
        for y in y0..y1 {
            sum += view.light.row(y)[x0..x1]
                .iter()
                .map(|&v| f64::from(v))
                .sum::<f64>();
        }
        sum / ((x1 - x0) * (y1 - y0)) as f64
    };
    let middle = mean(w / 4, h / 4, w - w / 4, h - h / 4);
    let (tx, ty) = ((w / 40).max(2), (h / 40).max(2));
    [
        mean(0, 0, w, ty),
        mean(0, h - ty, w, h),
        mean(0, 0, tx, h),
        mean(w - tx, 0, w, h),
    ]
    .into_iter()
    .any(|side| side > 1.5 * middle + 4e-4)
}
