//! Whether limbs found in a picture are those of Sun and Moon, and which.

use super::find::{LimbArc, Limbs};
use super::hint::DiscHint;
use crate::domain::Limb;

/// Least arc of limb, in degrees.
pub(super) const LEAST_ARC_DEG: f64 = 34.0;

/// Least arc of the Moon's limb alone that is called totality, in degrees.
pub(super) const TOTALITY_ARC_DEG: f64 = 150.0;

/// Least arc of it that is worth a closer look, in degrees.
const DARK_ARC_DEG: f64 = 90.0;

/// The Sun's edge in totality is the corona's fading: its gradient is below this fraction of the lunar limb's.
const SOFT: f64 = 0.45;

/// In annularity and deep partial phases the radii agree within this fraction.
const LIKE_RADII: f64 = 0.12;

/// With this much more lunar limb than solar limb the light around the Moon is corona.
const MORE: f64 = 1.3;

/// What limbs are taken for, and how much speaks for it.
#[derive(Clone, Debug)]
pub(super) struct Verdict {
    /// The limb that carries the fit.
    pub limb: Limb,
    /// The Sun's limb, when it carries the fit.
    pub sun: Option<LimbArc>,
    /// The Moon's limb.
    pub moon: Option<LimbArc>,
    /// For ranking candidates: 0 to 1.
    pub weight: f64,
    /// Frame pixels per pixel of the image it was found in.
    pub step: usize,
    /// Fraction of the edge strength around that lies on the limbs, 0 to 1.
    pub explained: f64,
    /// How much limb was seen, degrees.
    pub seen_deg: f64,
}

/// Takes limbs for Sun or Moon; `None` when they are neither.
pub(super) fn judged(limbs: Limbs, hint: &DiscHint) -> Option<Verdict> {
    let (step, explained) = (limbs.step, limbs.explained);
    let sun = limbs.sun.filter(|a| holds(a, step));
    let moon = limbs.moon.filter(|a| holds(a, step));
    let limb = match (&sun, &moon) {
        (None, None) => return None,
        (Some(_), None) => Limb::Sun,
        (None, Some(_)) => Limb::Moon,
        (Some(s), Some(m)) => limb_of_two(s, m, hint),
    };
    let carrier = if limb == Limb::Sun { &sun } else { &moon };
    let seen = carrier.as_ref().map_or(0.0, |a| a.seen_deg);
    if limb == Limb::Moon && seen < DARK_ARC_DEG {
        return None;
    }
    let weight = explained * (seen / 150.0).min(1.0);
    let (sun, moon) = match limb {
        Limb::Sun => {
            let moon = moon.filter(|m| sun.as_ref().is_some_and(|s| bites(s, m)));
            (sun, moon)
        }
        Limb::Moon => (None, moon),
    };
    Some(Verdict {
        limb,
        sun,
        moon,
        weight,
        step,
        explained,
        seen_deg: seen,
    })
}

fn holds(arc: &LimbArc, step: usize) -> bool {
    let rms_limit = (0.9 * step as f64).max(0.015 * arc.circle.radius_px);
    arc.seen_deg >= LEAST_ARC_DEG && arc.rms_px <= rms_limit
}

fn limb_of_two(sun: &LimbArc, moon: &LimbArc, hint: &DiscHint) -> Limb {
    let alike = (moon.circle.radius_px / sun.circle.radius_px - 1.0).abs() < LIKE_RADII;
    let crisp = sun.strength > SOFT * moon.strength;
    match hint.totality {
        Some(true) if moon.seen_deg >= TOTALITY_ARC_DEG => Limb::Moon,
        Some(false) => Limb::Sun,
        _ if !crisp && moon.seen_deg >= DARK_ARC_DEG => Limb::Moon,
        _ if moon.seen_deg < TOTALITY_ARC_DEG => Limb::Sun,
        // A crescent shows at most as much of the Moon's limb as of the Sun's; a corona lights the Moon all around.
        _ if moon.seen_deg > MORE * sun.seen_deg => Limb::Moon,
        // In annularity the radii are alike; a flaw or a large spot on a whole disc is a small dark circle.
        _ if crisp && (alike || moon.circle.radius_px < sun.circle.radius_px) => Limb::Sun,
        _ => Limb::Moon,
    }
}

/// Whether a dark circle can be the Moon in front of this Sun.
pub(super) fn bites(sun: &LimbArc, moon: &LimbArc) -> bool {
    let (s, m) = (sun.circle, moon.circle);
    let apart = (s.x_px - m.x_px).hypot(s.y_px - m.y_px);
    (m.radius_px / s.radius_px - 1.0).abs() < LIKE_RADII && apart < s.radius_px + m.radius_px
}
