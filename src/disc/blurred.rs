//! A Sun far out of focus: its edge is wider than limb points are looked for, and steepest wherever noise has it.
//!
//! Light is averaged over sectors, and each sector's limb is where the light has fallen half way from disc to sky.

use super::arcs::{REST, median};
use super::circle::{CircleFit, resting};
use super::find::LimbArc;
use super::flat::Flat;
use super::rays::light_at;
use crate::raster::{Channel, Frame};

/// Least of the edge that is seen, in degrees: short soft edges are common in pictures of other things (our choice).
const LEAST_ARC_DEG: f64 = 150.0;

/// Sectors about the centre, and rays in each.
const SECTORS: usize = 30;
const RAYS: usize = 7;

/// Fewest sectors that lie in the frame from disc to sky.
const LEAST_SECTORS: usize = 12;

/// Where light is taken, in radii: from well inside the disc to the sky, in steps: a blur of 0.15 leaves the first
/// nearly whole and the last nearly dark.
const FROM: f64 = 0.66;
const TO: f64 = 1.34;
const STEPS: usize = 34;

/// The disc is about even: its middle has at most this many times the light of its outer parts. A lamp's glow has far more (our choice).
const EVEN: f64 = 3.0;
const MIDDLE: f64 = 0.3;

/// Least step of light over the light of the disc.
const LEAST_STEP: f64 = 0.6;

/// A round edge's points scatter by less than this part of its radius.
const ROUND: f64 = 0.03;

/// Shares of the step between which the blur's width is taken; a Gaussian edge has one sigma to either side.
const SHARES: (f64, f64) = (0.841, 0.159);

/// A round edge and how it looks.
pub(super) struct BlurredEdge {
    /// The circle, half way.
    pub fit: CircleFit,
    /// Light inside.
    pub bright: f64,
    /// Light of the sky.
    pub dark: f64,
    /// Gaussian sigma of the edge, pixels.
    pub blur_px: f64,
}

/// The edge of a disc out of focus near a circle found at reduced size.
pub(super) fn edge(frame: &Frame, arc: &LimbArc, flat: Flat) -> Option<BlurredEdge> {
    if arc.seen_deg < LEAST_ARC_DEG {
        return None;
    }
    let profiles: Vec<(f64, [f64; STEPS + 1])> = (0..SECTORS)
        .filter_map(|sector| Some((angle(sector, 0.5), profile(frame, arc, flat, sector)?)))
        .collect();
    if profiles.len() < LEAST_SECTORS {
        return None;
    }
    let at = |k: usize| median(profiles.iter().map(|p| p.1[k]).collect());
    let (bright, dark) = (at(0), at(STEPS));
    let middle = ring(frame, arc, flat, MIDDLE)?;
    if bright - dark < LEAST_STEP * bright || middle > EVEN * bright {
        return None;
    }
    let crossing = |profile: &[f64; STEPS + 1], share: f64| {
        crossing_radii(profile, dark + share * (bright - dark))
    };
    let widths = profiles
        .iter()
        .filter_map(|(_, p)| Some(crossing(p, SHARES.1)? - crossing(p, SHARES.0)?));
    let radius_px = arc.circle.radius_px;
    let widths: Vec<f64> = widths.collect();
    let places: Vec<(f64, f64)> = profiles
        .iter()
        .filter_map(|(angle, p)| {
            let (sin, cos) = angle.sin_cos();
            let r = radius_px * crossing(p, 0.5)?;
            let (x, y) = flat.flattened((r * cos, r * sin));
            Some(flat.rounded((arc.circle.x_px + x, arc.circle.y_px + y)))
        })
        .collect();
    if places.len() < LEAST_SECTORS || widths.len() < LEAST_SECTORS {
        return None;
    }
    let start = flat.rounded_circle(arc.circle);
    let fit = resting(&places, start, ROUND * radius_px, REST)?;
    let blur_px = 0.5 * radius_px * median(widths);
    let round = fit.rms < ROUND * radius_px;
    (round && blur_px > 0.0).then(|| BlurredEdge {
        fit: CircleFit {
            circle: flat.flattened_circle(fit.circle),
            ..fit
        },
        bright,
        dark,
        blur_px,
    })
}

fn angle(sector: usize, part: f64) -> f64 {
    (sector as f64 + part) / SECTORS as f64 * std::f64::consts::TAU
}

/// Mean light of a sector from inside to outside; `None` where it leaves the frame.
fn profile(frame: &Frame, arc: &LimbArc, flat: Flat, sector: usize) -> Option<[f64; STEPS + 1]> {
    let mut profile = [0.0; STEPS + 1];
    for (k, mean) in profile.iter_mut().enumerate() {
        let radii = FROM + (TO - FROM) * k as f64 / STEPS as f64;
        for ray in 0..RAYS {
            let angle = angle(sector, (ray as f64 + 0.5) / RAYS as f64);
            *mean += light(frame, arc, flat, radii, angle)? / RAYS as f64;
        }
    }
    Some(profile)
}

/// Median light of a ring, as far as it lies in the frame.
fn ring(frame: &Frame, arc: &LimbArc, flat: Flat, radii: f64) -> Option<f64> {
    let lights: Vec<f64> = (0..SECTORS)
        .filter_map(|sector| light(frame, arc, flat, radii, angle(sector, 0.5)))
        .collect();
    (!lights.is_empty()).then(|| median(lights))
}

fn light(frame: &Frame, arc: &LimbArc, flat: Flat, radii: f64, angle: f64) -> Option<f64> {
    let r = radii * arc.circle.radius_px;
    let (sin, cos) = angle.sin_cos();
    let (x, y) = flat.flattened((r * cos, r * sin));
    light_at(
        frame,
        arc.circle.x_px + x,
        arc.circle.y_px + y,
        Channel::Max,
    )
}

/// The last place from inside, in radii, where light falls through a level.
fn crossing_radii(profile: &[f64; STEPS + 1], level: f64) -> Option<f64> {
    let k = (0..STEPS).rfind(|&k| profile[k] >= level && profile[k + 1] < level)?;
    let part = (profile[k] - level) / (profile[k] - profile[k + 1]).max(1e-12);
    Some(FROM + (TO - FROM) * (k as f64 + part) / STEPS as f64)
}
