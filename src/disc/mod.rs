//! Finds the discs of Sun and Moon in a frame.
//!
//! Three steps, each on less of the frame: bright regions at reduced size; limbs as circles among the edges of a
//! region; then limb points at full resolution. All on linear light; axes x right, y down, (0, 0) the centre of the
//! top-left pixel.

mod arcs;
mod blurred;
mod circle;
mod edges;
mod find;
mod fit;
mod flags;
mod flat;
mod gauss;
mod ghost;
mod glare;
mod hint;
mod judge;
mod look;
mod measure;
mod overlay;
mod partial;
mod plain;
mod profile;
mod rays;
mod refine;
mod ridge;
mod sampled;
mod sliver;
mod surface;
mod tint;
mod totality;

use std::cell::LazyCell;
use std::cmp::Ordering;

use serde::{Deserialize, Serialize};

use crate::domain::{Circle, DiscFit, Flag, Flags, FrameLook, Limb, NoDisc};
use crate::raster::{Channel, Frame, Rect};

pub use circle::{CircleFit, algebraic, distance, geometric};
use find::{LEAST_RADIUS_PX, LimbArc, NOTHING};
use flat::Flat;
pub use hint::DiscHint;
use judge::Verdict;
pub use overlay::overlay;
use plain::{is_plain, is_vague};
pub use tint::tint;

/// What was found in one frame.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct DiscReport {
    /// The discs, or why there are none.
    pub fit: Result<DiscFit, NoDisc>,
    /// Plain measures.
    pub look: FrameLook,
    /// What a careful person would want to know.
    pub flags: Flags,
    /// For ranking frames of one phase, 0 to 1; 0 without a disc.
    pub quality: f64,
}

/// A frame without a disc and with no more light than this at reduced size is nothing but dark.
const DARK: f32 = 0.012;

/// Most candidates measured when none convinces at once.
const MOST_CANDIDATES: usize = 3;

/// A candidate that explains this much is taken without looking further.
const CONVINCING: f64 = 0.6;

/// Of the edge strength around a disc this much lies on its limbs; the less limb is seen the more is asked for, up to
/// the second value.
const LEAST_EXPLAINED: (f64, f64) = (0.5, 0.8);

/// Whether a frame looked at without knowing the vector between the centres has nothing to gain from it: `false` for
/// frames near second and third contact whose discs were not found, or do not fit what is known by now.
pub fn is_settled(report: &DiscReport, hint: &DiscHint) -> bool {
    match &report.fit {
        Ok(fit) => sliver::agrees(fit, hint),
        Err(_) => !sliver::is_due(hint),
    }
}

/// Moves the Sun of a sliver to where a better known vector puts it; other fits stay as they are.
///
/// The Moon of a sliver is fitted to its ridge, the Sun placed by the vector.
pub fn follow_vector(report: &mut DiscReport, hint: &DiscHint) {
    if let Ok(fit) = &mut report.fit {
        sliver::follow(fit, hint);
    }
}

/// Rank of a perfectly placed frame of beads or ring, before its sigma takes its share.
const SLIVER_QUALITY: f64 = 0.7;

/// The same of a limb of the lens's own size: other edges may be those of an eyepiece's field that cuts the Sun.
const EXPLAINED_IF_KNOWN: f64 = 0.35;

/// A limb is of the lens's size within this part of it, and over so many degrees that another round thing's would not be.
const OF_SIZE: f64 = 0.03;
const OF_SIZE_ARC_DEG: f64 = 120.0;

/// Whether the limb that carries the fit, over a good part of it, has the radius that the lens is known to show: the Sun's, or the Moon's
/// where the Sun is covered.
fn is_of_known_size(verdict: &Verdict, hint: &DiscHint) -> bool {
    let known = hint.sure_radius_px();
    let covered = hint.totality == Some(true);
    let (arc, times) = match verdict.limb {
        Limb::Sun => (&verdict.sun, Some(1.0)),
        Limb::Moon => {
            let ratio = hint.moon_ratio.filter(|_| covered);
            (&verdict.moon, ratio.map(|ratio| ratio.value))
        }
    };
    let all = known.zip(times).zip(arc.as_ref());
    all.is_some_and(|((radius, times), arc)| {
        let off = (arc.circle.radius_px / (radius.value * times) - 1.0).abs();
        off < OF_SIZE && arc.seen_deg >= OF_SIZE_ARC_DEG
    })
}

fn needed_share(seen_deg: f64) -> f64 {
    let (low, high) = LEAST_EXPLAINED;
    low + (high - low) * (1.0 - seen_deg / 150.0).clamp(0.0, 1.0)
}

/// Looks for the discs of Sun and Moon in a frame and measures it. Never fails; a frame without a disc says why.
///
/// Where the brightest channel of a coloured frame shows no disc, or a saturated one, each channel is looked at by itself: a filter
/// or glare often leaves one of them a clean limb.
pub fn examine(frame: &Frame, hint: &DiscHint) -> DiscReport {
    if frame.channels() == 1 {
        return examined(frame, hint);
    }
    // The brightest channel of a coloured frame says itself when it is saturated.
    let hint = DiscHint {
        tint: None,
        ..*hint
    };
    let report = examined(frame, &hint);
    match hides(&report) {
        true => by_channel(frame, &hint, report),
        false => report,
    }
}

/// Whether a frame may hold a disc that the light looked at does not show, or a better limb than it shows: one of its colours may.
pub fn hides(report: &DiscReport) -> bool {
    match &report.fit {
        Ok(fit) => fit.limb == Limb::Sun && report.flags.has(Flag::Clipped),
        Err(NoDisc::Dark { .. } | NoDisc::Astray { .. }) => false,
        Err(_) => true,
    }
}

/// A plain disc of another size than the lens's: cut out and enlarged by its owner, or at a zoom the header does not tell.
fn of_another_size(
    frame: &Frame,
    view: &find::Overview,
    hint: &DiscHint,
    why: NoDisc,
) -> Result<measure::Measured, NoDisc> {
    let round = matches!(
        why,
        NoDisc::NoLimb | NoDisc::Cluttered { .. } | NoDisc::NotTheSun
    );
    if !round || hint.sun_radius_px.is_none() {
        return Err(why);
    }
    let any_size = DiscHint {
        sun_radius_px: None,
        ..*hint
    };
    searched(frame, view, &any_size)
        .ok()
        .filter(|found| is_plain(&found.fit))
        .ok_or(why)
}

/// The report of the channel that places the disc best, where that is better than what all of them together showed.
fn by_channel(frame: &Frame, hint: &DiscHint, all: DiscReport) -> DiscReport {
    // A clean limb is worth more than a small sigma: that of a saturated one is a guess.
    let rank = |report: &DiscReport| {
        let sigma_px = report.fit.as_ref().map_or(f64::MAX, |fit| fit.sigma_px);
        (hides(report), sigma_px)
    };
    let better = |a: &DiscReport, b: &DiscReport| rank(a).partial_cmp(&rank(b));
    // Only a disc found in one of them asks for it.
    let view = LazyCell::new(|| find::overview(frame));
    let is_sun = |fit: &DiscFit| {
        is_plain(fit) && !ghost::is_outshone(&view, fit) && !ghost::is_ghost(frame, &view, fit)
    };
    let alone = [Channel::Red, Channel::Green, Channel::Blue]
        .into_iter()
        .filter_map(|channel| frame.stored_channel(channel))
        .map(|channel| examined(&channel, hint))
        .filter(|report| !report.flags.has(Flag::Cut))
        .filter(|report| report.fit.as_ref().is_ok_and(is_sun))
        .min_by(|a, b| better(a, b).unwrap_or(Ordering::Equal));
    match alone {
        Some(one) if is_better(&one, &all) => of_channel(frame, one, all),
        _ => all,
    }
}

/// A saturated channel's disc must be surer than that of all together by this factor (our choice): its sigma is a guess.
const SURER: f64 = 0.5;

/// Whether a channel alone places the disc better than all of them together.
fn is_better(one: &DiscReport, all: &DiscReport) -> bool {
    let (Ok(one_fit), Ok(all_fit)) = (&one.fit, &all.fit) else {
        return one.fit.is_ok();
    };
    if hides(one) {
        one_fit.sigma_px < SURER * all_fit.sigma_px
    } else {
        hides(all) || one_fit.sigma_px < all_fit.sigma_px
    }
}

/// With so much of the disc's area saturated in some channel the disc is clipped, as a twentieth of its lit part is
/// ([`flags`]).
const SATURATED_SHARE: f64 = 0.02;

/// What one channel says of the discs, and all together of the rest of the frame.
fn of_channel(frame: &Frame, mut one: DiscReport, all: DiscReport) -> DiscReport {
    let disc = one.fit.as_ref().ok().and_then(|fit| fit.sun);
    let full = |disc: Circle| {
        let saturated_px = all.look.clipped * (frame.width() * frame.height()) as f64;
        saturated_px > SATURATED_SHARE * std::f64::consts::PI * disc.radius_px.powi(2)
    };
    if all.flags.has(Flag::Clipped) || disc.is_some_and(full) {
        one.flags.set(Flag::Clipped);
    }
    if let Ok(fit) = &one.fit {
        flags::sharpness_in_colours(frame, fit, &mut one.flags);
    }
    // Glare and fringes are uneven in one colour of a disc that is saturated in others; cloud is not told by it.
    if !all.flags.has(Flag::Clouded) {
        one.flags.clear(Flag::Clouded);
    }
    one.look = FrameLook {
        limb_sharpness: one.look.limb_sharpness,
        disc_level: all.look.disc_level.or(one.look.disc_level),
        disc: all.look.disc.or(one.look.disc),
        ..all.look
    };
    one
}

fn examined(frame: &Frame, hint: &DiscHint) -> DiscReport {
    let view = find::overview(frame);
    let mut look = look::look(frame, &view);
    let usual = searched(frame, &view, hint)
        .or_else(|why| of_another_size(frame, &view, hint, why))
        .and_then(|found| not_astray(found, hint))
        .and_then(|found| match ghost::is_ghost(frame, &view, &found.fit) {
            true => Err(NoDisc::NotTheSun),
            false => Ok(found),
        });
    let settled = usual
        .as_ref()
        .is_ok_and(|found| sliver::agrees(&found.fit, hint));
    if !settled && let Some(fit) = sliver::fitted(frame, &view, hint) {
        return DiscReport {
            quality: SLIVER_QUALITY / (1.0 + fit.sigma_px),
            flags: sliver::flags(frame, &fit, hint),
            fit: Ok(fit),
            look,
        };
    }
    if !settled && sliver::is_due(hint) {
        return DiscReport {
            fit: Err(NoDisc::NoLimb),
            look,
            flags: usual.map_or_else(
                |why| flags::without_disc(&view, hint, why),
                |_| Flags::default(),
            ),
            quality: 0.0,
        };
    }
    match usual {
        Ok(found) => {
            look.disc = surface::measured(frame, &view, &found.fit, hint);
            let light = look.disc.unwrap_or_default();
            let flags = flags::of_disc(frame, &view, &found, &light, hint);
            look.disc_level = (found.fit.limb == Limb::Sun).then_some(found.bright);
            look.limb_sharpness = Some(found.sharpness);
            look.limb_glare = (found.fit.limb == Limb::Moon)
                .then(|| glare::moon_glare(frame, &found.fit))
                .flatten();
            DiscReport {
                quality: flags::quality(&found, &light, &flags),
                fit: Ok(found.fit),
                look,
                flags,
            }
        }
        Err(why) => DiscReport {
            fit: Err(why),
            flags: flags::without_disc(&view, hint, why),
            look,
            quality: 0.0,
        },
    }
}

/// A disc flattened by more than this is only believed when its radius is the lens's own.
const VERY_FLAT: f64 = 0.97;

/// Share by which the radius of a very flat disc may differ from the lens's own.
const SAME_RADIUS: f64 = 0.02;

/// The measured disc, unless it is a very flat Sun of the wrong size.
fn not_astray(found: measure::Measured, hint: &DiscHint) -> Result<measure::Measured, NoDisc> {
    let flat = hint.squeeze.is_some_and(|(squeeze, _)| squeeze < VERY_FLAT);
    let off = found
        .fit
        .sun
        .zip(hint.sure_radius_px())
        .map(|(sun, radius)| (sun.radius_px / radius.value - 1.0).abs());
    match off {
        Some(off) if flat && found.fit.limb == Limb::Sun && off > SAME_RADIUS => {
            Err(NoDisc::Astray {
                percent: 100.0 * off,
            })
        }
        _ => Ok(found),
    }
}

fn searched(
    frame: &Frame,
    view: &find::Overview,
    hint: &DiscHint,
) -> Result<measure::Measured, NoDisc> {
    let dark = NoDisc::Dark {
        peak: f64::from(view.peak),
    };
    if view.peak - view.sky < NOTHING {
        return Err(dark);
    }
    let mut why = if view.peak < DARK {
        dark
    } else {
        NoDisc::NoLimb
    };
    let mut candidates: Vec<Verdict> = Vec::new();
    for rect in find::boxes(frame, view) {
        let Some(verdict) = candidate(frame, rect, hint) else {
            continue;
        };
        if verdict.weight > CONVINCING {
            match settled(frame, view, &verdict, hint) {
                Ok(found) => return Ok(found),
                Err(error) => why = error,
            }
        } else {
            candidates.push(verdict);
        }
    }
    candidates.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    for verdict in candidates.iter().take(MOST_CANDIDATES) {
        match settled(frame, view, verdict, hint) {
            Ok(found) => return Ok(found),
            Err(error) => why = error,
        }
    }
    Err(if view.peak < DARK { dark } else { why })
}

/// Measures a candidate and makes sure that it is one disc alone.
fn settled(
    frame: &Frame,
    view: &find::Overview,
    verdict: &Verdict,
    hint: &DiscHint,
) -> Result<measure::Measured, NoDisc> {
    let needed = match is_of_known_size(verdict, hint) {
        true => EXPLAINED_IF_KNOWN,
        false => needed_share(verdict.seen_deg),
    };
    if verdict.explained < needed {
        return Err(NoDisc::Cluttered {
            percent: 100.0 * verdict.explained,
        });
    }
    let found = measure::measured(frame, verdict, hint)?;
    if hint.sun_radius_px.is_none() && is_vague(&found.fit) {
        return Err(NoDisc::NoLimb);
    }
    match rivals(view, &found.fit) {
        0 => Ok(found),
        n => Err(NoDisc::Several { shapes: n + 1 }),
    }
}

/// The limbs in a part of the frame, where they can be those of Sun or Moon.
fn candidate(frame: &Frame, rect: Rect, hint: &DiscHint) -> Option<Verdict> {
    let longest = frame.width().max(frame.height()) as f64;
    let radius_px = match hint.sun_radius_px {
        Some(r) => (
            0.93 * r.value - 5.0 * r.sigma,
            1.12 * r.value + 5.0 * r.sigma,
        ),
        None => (LEAST_RADIUS_PX, 0.75 * longest),
    };
    let verdict = judge::judged(
        find::limbs_in(frame, rect, radius_px, Flat::known(hint)),
        hint,
    )?;
    let verdict = closer(frame, verdict, hint);
    let enough = verdict.limb == Limb::Sun || verdict.seen_deg >= judge::TOTALITY_ARC_DEG;
    enough.then_some(verdict)
}

/// Looks again from closer by, when the limbs were found at a smaller size than their own box allows.
fn closer(frame: &Frame, verdict: Verdict, hint: &DiscHint) -> Verdict {
    let circles = |v: &Verdict| {
        let circle = |a: &Option<LimbArc>| a.as_ref().map(|a| a.circle);
        (circle(&v.sun), circle(&v.moon))
    };
    let (sun, moon) = circles(&verdict);
    let Some(c) = sun.or(moon) else {
        return verdict;
    };
    let Some(rect) = frame.clip(c.x_px, c.y_px, 1.15 * c.radius_px + 8.0) else {
        return verdict;
    };
    let near = find::Near {
        sun,
        moon,
        slack_px: verdict.step as f64,
        flat: Flat::known(hint),
    };
    match judge::judged(find::limbs_near(frame, rect, &near), hint) {
        Some(near) if near.limb == verdict.limb => Verdict {
            weight: verdict.weight.max(near.weight),
            explained: verdict.explained.max(near.explained),
            ..near
        },
        _ => verdict,
    }
}

/// Bright shapes away from the fitted disc that are like it in size.
fn rivals(view: &find::Overview, fit: &DiscFit) -> usize {
    let Some(c) = fit.sun.or(fit.moon) else {
        return 0;
    };
    let list = find::regions_above(view, ghost::shape_level(view));
    let away = |r: &find::Region| {
        let (x, y) = (
            0.5 * (r.sides[0] + r.sides[2]),
            0.5 * (r.sides[1] + r.sides[3]),
        );
        (x - c.x_px).hypot(y - c.y_px) > 1.4 * c.radius_px
    };
    let own: f64 = list.iter().filter(|r| !away(r)).map(|r| r.area_px).sum();
    list.iter()
        .filter(|r| away(r) && r.area_px > 0.2 * own)
        .count()
}
