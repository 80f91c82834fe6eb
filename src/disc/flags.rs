//! What a careful person would want to know about a frame, and how it ranks among its like.
//!
//! Sharpness is judged by the width of the limb's edge: P. Marziliano et al. 2002, "A no-reference perceptual blur
//! metric", ICIP 2002 III-57; here the width comes from the fit, freed of the disc's own darkening. The steepest
//! gradient over the level (`FrameLook::limb_sharpness`) is the gradient measure of E. Krotkov 1987, "Focusing", Int.
//! J. Computer Vision 1, 223, taken on the limb alone.

use super::arcs::median;
use super::find::{Overview, Region, regions_above};
use super::hint::DiscHint;
use super::measure::Measured;
use super::surface::{self, OuterLimb};
use crate::domain::saturation::FULL_SHARE;
use crate::domain::{APPROXIMATE_PX, Circle, DiscFit, DiscLook, Flag, Flags, Limb, NoDisc};
use crate::raster::{Channel, Frame};

/// A blur wider than this (Gaussian sigma, pixels), and than this fraction of the radius, is out of focus.
const SOFT_PX: f64 = 2.4;
const SOFT_OF_RADIUS: f64 = 0.006;

/// A blur this much longer than wide, and longer by at least this much (Gaussian sigma, pixels), is a shake: the colours of a cheap
/// filter at one limb come to 1.75 on a sharp real crescent, a smear of six pixels to 2.
const SHAKEN_RATIO: f64 = 1.5;
const SHAKEN_PX: f64 = 1.9;

/// Where too little of the limb stands free to see it directly, as on thin crescents, the fit of the discs has to say that much: of 20
/// crescents of a video the sharp ones came to 2.5 at most, those with doubled horns to 2.9 and more.
const SHAKEN_BY_FIT_PX: f64 = 2.7;

/// It must stand out from the scatter of the limb's width around the disc by this many sigmas, and by more where the disc is patchy:
/// cloud's edges across the limb are no scatter (drawn cards: shakes stand out by 11 and more, thick cloud by 5; a scanned corona, burnt
/// out on one side, by 7).
const SHAKEN_SIGMAS: f64 = 8.0;
const SHAKEN_SIGMAS_PATCHY: f64 = 10.0;
const PATCHY: f64 = 0.05;

/// Cloud shows as unevenness of the disc's light, and less surely as a slope across it, which filters make too: this much as a root mean
/// square over the level, the slope counting for a part (drawn clear discs have 0.01, real ones 0.024 at most; cloud that takes a
/// quarter of the light has 0.03 and more).
const CLOUD_UNEVEN: f64 = 0.026;
const TILT_COUNTS: f64 = 1.0 / 3.0;

/// A disc flattened by more than this stands within some 4 degrees of the horizon (refraction after Bennett 1982).
const LOW_SUN: f64 = 0.97;

/// Ghosts are brighter than this over the sky, as a fraction of the disc's level, and larger than this fraction of
/// the disc's area.
const GHOST_LIGHT: f64 = 0.012;
const GHOST_AREA: f64 = 0.003;

/// Flags of a frame with a disc whose light looks so.
pub(super) fn of_disc(
    frame: &Frame,
    view: &Overview,
    found: &Measured,
    look: &DiscLook,
    hint: &DiscHint,
) -> Flags {
    let mut flags = Flags::default();
    let Some(circle) = found.fit.sun.or(found.fit.moon) else {
        return flags;
    };
    let outer = match look.edge {
        Some(_) => None,
        None => surface::outer_limb(frame, &found.fit, hint),
    };
    let marks = [
        (Flag::Cut, cut(frame, circle)),
        (Flag::Shaken, shaken(found, look, outer)),
        (Flag::Soft, soft(found, look, outer)),
        (
            Flag::Clouded,
            found.fit.limb == Limb::Sun && !is_melted(found) && clouded(look, hint),
        ),
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

/// Least light of a frame, at its brightest, that can hold a filtered Sun: with less the rest of a glow is looked at.
const FAINT: f32 = 0.05;

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
        // In so little light round edges are noise.
        NoDisc::Cluttered { .. } if view.peak < FAINT && glow_at_side(view) => {
            flags.set(Flag::OutOfFrame);
        }
        _ => {}
    }
    flags
}

/// Rank of a frame among others of its phase, 0 to 1: sharpness of the limb, signal, saturation, cut and cloud each
/// take their share.
pub(super) fn quality(found: &Measured, look: &DiscLook, flags: &Flags) -> f64 {
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
    let even = match (found.fit.limb, look.uneven) {
        (Limb::Sun, Some(uneven)) if look.saturated <= FULL_SHARE => {
            1.0 / (1.0 + (uneven / 0.05).powi(2))
        }
        _ => 1.0,
    };
    (sharp * signal * sure * kept * even).clamp(0.0, 1.0)
}

fn cut(frame: &Frame, c: Circle) -> bool {
    let (w, h) = (frame.width() as f64 - 0.5, frame.height() as f64 - 0.5);
    c.x_px - c.radius_px < -0.5
        || c.y_px - c.radius_px < -0.5
        || c.x_px + c.radius_px > w
        || c.y_px + c.radius_px > h
}

/// A shake widens the limb's edge along its way, which is a wave of two around the disc in the square of the width: from the mean's
/// square less the wave to the mean's square and the wave.
fn shaken(found: &Measured, look: &DiscLook, outer: Option<OuterLimb>) -> bool {
    let Some(edge) = look.edge else {
        let (long, short) = found.blur_px;
        let smear_px = (long * long - short * short).max(0.0).sqrt();
        return long > SHAKEN_RATIO * short
            && smear_px > SHAKEN_BY_FIT_PX
            && outer.is_none_or(|outer| bears_a_shake(outer, long));
    };
    let (mean, wave) = (edge.median_px * edge.median_px, edge.wave_px2);
    let (long, short) = (mean + wave, (mean - wave).max(0.05));
    let patchy = found.fit.limb == Limb::Sun && look.uneven.is_some_and(|v| v > PATCHY);
    let sigmas = if patchy {
        SHAKEN_SIGMAS_PATCHY
    } else {
        SHAKEN_SIGMAS
    };
    wave > sigmas * edge.wave_sigma_px2
        && long > SHAKEN_RATIO * SHAKEN_RATIO * short
        && 2.0 * wave > SHAKEN_PX * SHAKEN_PX
}

/// A blur all around the limb. Chromosphere, prominences and cloud soften it in some directions only, a shake along its way: what is
/// sharpest counts.
fn soft(found: &Measured, look: &DiscLook, outer: Option<OuterLimb>) -> bool {
    let circle = found.fit.sun.or(found.fit.moon);
    let least = least_soft_px(circle.map_or(0.0, |c| c.radius_px));
    let (long, short) = found.blur_px;
    match (look.edge, outer) {
        (Some(edge), _) => short.min(edge.quartile_px) > least,
        // What the fit says of the blur's axes is half a guess on a thin crescent: its mean is asked where the outer limb bears it out.
        (None, Some(outer)) if outer.quartiles_px.0 > least => (long * short).sqrt() > least,
        (None, Some(outer)) => short > least && outer.quartiles_px.0 > OUTER_LEAST * least,
        (None, None) => short > least,
    }
}

/// Blur and shake as all colours of a frame have them, of a disc fitted in one of them alone: where that is saturated, another may show the
/// limb.
pub(super) fn sharpness_in_colours(frame: &Frame, fit: &DiscFit, flags: &mut Flags) {
    let outer = surface::outer_limb(frame, fit, &DiscHint::default());
    let (Some(outer), Some(blur_px), Some(sun)) = (outer, fit.blur_px, fit.sun) else {
        return;
    };
    let least = least_soft_px(sun.radius_px);
    let (low, _) = outer.quartiles_px;
    let said = flags.has(Flag::Soft) && low > OUTER_LEAST * least;
    flags.put(Flag::Soft, blur_px > least && (said || low > least));
    if !bears_a_shake(outer, blur_px) {
        flags.clear(Flag::Shaken);
    }
}

/// The outer limb of a crescent thinner than its blur has this part of the blur's width at least ([`surface::outer_limb`]).
const OUTER_LEAST: f64 = 0.7;

/// A shake shows along its way only, which a short arc need not have. Where this much of the limb is seen, in directions of 7.5 degrees, one of
/// a ratio of axes of 1.5 shows as so much between the quartiles of its width.
const HALF_OF_LIMB: usize = 20;
const OUTER_SPREAD: f64 = 1.2;

/// Whether the outer limb's width can be that of a shake with this long axis, a Gaussian sigma in pixels.
fn bears_a_shake(outer: OuterLimb, long_px: f64) -> bool {
    let (low, high) = outer.quartiles_px;
    outer.directions < HALF_OF_LIMB || high > 0.5 * long_px && high > OUTER_SPREAD * low
}

/// Least blur of what is out of focus, a Gaussian sigma in pixels, for discs of a radius in pixels.
pub(super) fn least_soft_px(radius_px: f64) -> f64 {
    SOFT_PX.max(SOFT_OF_RADIUS * radius_px)
}

/// A blur of more than this part of the radius reaches into what is looked at of the disc (`surface`): its darkening is no cloud's.
const MELTED: f64 = 0.1;

fn is_melted(found: &Measured) -> bool {
    let radius_px = found.fit.sun.map_or(0.0, |sun| sun.radius_px);
    found.blur_px.1 > MELTED * radius_px
}

/// Near the horizon the air alone dims the lower limb.
fn clouded(look: &DiscLook, hint: &DiscHint) -> bool {
    let low = hint.squeeze.is_some_and(|(squeeze, _)| squeeze < LOW_SUN);
    let tilt = look.tilt.filter(|_| !low).unwrap_or(0.0);
    let uneven = look
        .uneven
        .map_or(0.0, |uneven| uneven.hypot(TILT_COUNTS * tilt));
    look.saturated <= FULL_SHARE && uneven > CLOUD_UNEVEN
}

/// Whether the bare disc is saturated, at the limb or anywhere on a thin grid.
fn clipped(frame: &Frame, found: &Measured, c: Circle, hint: &DiscHint) -> bool {
    let full_at = surface::full_at(hint);
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

/// Least part of its box that a ghost fills, and most that the box is longer than wide: ghosts are images of the aperture. And most of
/// the disc's area.
const GHOST_FILLS: f64 = 0.5;
const GHOST_LONG: f64 = 2.0;
const GHOST_LARGE: f64 = 0.7;

/// A ghost's light over what is as far from the disc in other directions, as a part of what makes it a ghost at all: a halo is the same all
/// around.
const GHOST_ALONE: f64 = 0.7;

/// Compact bright patches well away from the disc, in directions of their own.
fn ghosts(view: &Overview, found: &Measured, c: Circle) -> usize {
    let least = GHOST_LIGHT * found.bright;
    let area = std::f64::consts::PI * c.radius_px * c.radius_px;
    let away = |r: &Region| {
        let x = c.x_px.clamp(r.sides[0], r.sides[2]);
        let y = c.y_px.clamp(r.sides[1], r.sides[3]);
        (x - c.x_px).hypot(y - c.y_px) > 1.05 * c.radius_px + 2.0 * view.step as f64
    };
    let compact = |r: &Region| {
        let (w, h) = (r.sides[2] - r.sides[0], r.sides[3] - r.sides[1]);
        r.area_px > GHOST_FILLS * w * h && w.max(h) < GHOST_LONG * w.min(h)
    };
    let alone = |r: &Region| {
        let light = r.flux / r.area_px + f64::from(view.sky);
        light - light_as_far(view, c, r) > GHOST_ALONE * least
    };
    regions_above(view, view.sky + least as f32)
        .iter()
        .filter(|r| r.area_px > GHOST_AREA * area && r.area_px < GHOST_LARGE * area)
        .filter(|r| away(r) && compact(r) && alone(r))
        .count()
}

/// Middle light of the frame as far from a disc as a region's middle is.
fn light_as_far(view: &Overview, c: Circle, r: &Region) -> f64 {
    let (x, y) = (
        0.5 * (r.sides[0] + r.sides[2]) - c.x_px,
        0.5 * (r.sides[1] + r.sides[3]) - c.y_px,
    );
    let (far, step) = (x.hypot(y), view.step as f64);
    let lights: Vec<f64> = (0..72)
        .filter_map(|n| {
            let (sin, cos) = (f64::from(n) * 5.0_f64.to_radians()).sin_cos();
            let (x, y) = ((c.x_px + far * cos) / step, (c.y_px + far * sin) / step);
            let inside = x >= 0.0
                && y >= 0.0
                && x < view.light.width() as f64
                && y < view.light.height() as f64;
            inside.then(|| f64::from(view.light.row(y as usize)[x as usize]))
        })
        .collect();
    match lights.is_empty() {
        true => 0.0,
        false => median(lights),
    }
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
