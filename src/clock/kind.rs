//! What each frame shows of the eclipse, as far as its discs and its light tell.
//!
//! A frame shows both limbs, the Sun's alone, the Moon's against the corona (with or without sunlight in it), or no disc but
//! daylight or dusk. The Moon's limb is fitted in totality and in a ring alike: what tells them apart is light, by exposure
//! where the body has frames enough to compare, and by whether one place of the limb outshines the rest.

use super::ClockFrame;
use super::course::Course;
use super::measured::{Vectors, reading};
use crate::domain::saturation::FULL_PEAK;
use crate::domain::{Limb, median};

/// What a frame shows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Shows {
    /// Both limbs: distance of the centres and its one sigma, in solar radii.
    Crescent {
        /// Distance of the centres.
        apart: f64,
        /// One sigma of it, errors common to all frames included.
        sigma: f64,
    },
    /// The Sun's limb all round.
    Whole,
    /// The Sun's limb, this many degrees of it, and no word on the Moon.
    SomeSun {
        /// Degrees of limb seen.
        arc_deg: f64,
    },
    /// The Moon's limb against the corona, no sunlight.
    Corona,
    /// The Moon's limb with sunlight at one place: beads or a ring.
    Ring,
    /// The Moon's limb; whether there is sunlight cannot be told.
    MoonsLimb,
    /// No disc, but daylight.
    Day,
    /// No disc, and the light of dusk between frames of daylight.
    Dusk,
}

/// One frame's word.
#[derive(Clone, Copy, Debug)]
pub(super) struct Witness {
    /// The frame's index.
    pub(super) frame: usize,
    /// Middle of the exposure on the camera's clock, read as UTC, in seconds after the course's origin.
    pub(super) reading_s: f64,
    /// One sigma of that in seconds.
    pub(super) reading_sigma_s: f64,
    /// What it shows.
    pub(super) shows: Shows,
    /// Chance that it was taken for what it is not.
    pub(super) doubt: f64,
}

/// Error of a distance of the centres that no fit tells of, in solar radii: thin cloud, glare and a phone's evened-out
/// picture move both limbs (measured on pictures of telephones: a hundredth; our choice for all).
const UNTOLD: f64 = 0.006;

/// The same besides for blurs wider than this, as a share of the excess, and in saturated pictures, whose glare makes the Sun grow
/// over the Moon (seen through a telephone at an eyepiece: distances 0.03 to 0.09 too long).
const SHARP_PX: f64 = 2.0;
const BLUR_SHARE: f64 = 2.0;
const FLOODED: f64 = 0.03;

/// A Sun whose limb is seen for this many degrees, without a Moon, is whole.
const WHOLE_DEG: f64 = 330.0;

/// A Moon's limb seen for this many degrees is beyond doubt that of totality or a ring.
const WELL_SEEN_DEG: f64 = 200.0;

/// Chances of a mistake, by kind (our choice: a clear corona is never anything else; the rest errs about as often as the disc
/// bench and real cards show).
const DOUBT_CRESCENT: (f64, f64) = (0.005, 0.03);
const DOUBT_CORONA: (f64, f64) = (1e-6, 1e-3);
const DOUBT_MOONS_LIMB: (f64, f64) = (1e-4, 1e-2);
const DOUBT_RING: f64 = 0.005;
const DOUBT_SUN: f64 = 0.02;
const DOUBT_DAY: f64 = 0.02;
const DOUBT_DUSK: f64 = 0.05;

/// Chance that a limb blurred over more than [`BLURRED_PX`] was taken for a crescent that is none: what bounds the light may be an
/// eyepiece's field, a hand, cloud (seen through a telephone at an eyepiece; several such frames that agree still tell).
const DOUBT_BLURRED: f64 = 0.3;
const BLURRED_PX: f64 = 6.0;
const ARC_FOR_MOON_DEG: f64 = 150.0;

/// A crescent's centres known to this, in solar radii, are beyond doubt.
const SURE_CRESCENT: f64 = 0.02;

/// The brightest part of the Moon's limb outshines the rest by this, as in [`crate::domain::FrameLook::limb_glare`]: below the
/// first there is no sunlight, above the second there is (measured on drawn and real coronae and rings).
const GLARE: (f64, f64) = (0.12, 0.35);

/// Degrees of the Moon's limb that stand out: from the first on no sunlight drowns any of it; below the second, in a saturated
/// picture, some may (seen on real cards: 360 in eleven coronae, 327 and 297 in a bead and a ring, but 297 in a corona through
/// thin cloud as well, so that a short arc leaves it open).
const ARC_DEG: (f64, f64) = (350.0, 340.0);

/// Fewest frames with the Moon's limb whose light says what totality's is.
const LIGHTS: usize = 4;

/// Brighter than totality by this many stops, sunlight is in the frame. The last bead outshines the corona by more.
const OPEN_STOPS: f64 = 2.0;

/// Within this many stops of totality's light a frame with the Moon's limb is covered.
const COVERED_STOPS: f64 = 1.5;

/// Exposure values at ISO 100 of scenes by daylight, from this on, and in totality, up to this (from memory: sunlit 15,
/// heavily overcast 11; totality some half an hour after sunset, 2 to 6).
const DAY_EV: f64 = 11.0;
const DUSK_EV: f64 = 7.0;

/// A dusk is the eclipse's when daylight was there no longer than this before and after, in seconds.
const DUSK_REACH_S: f64 = 3600.0;

/// What the frames show, those that show nothing left out, in the order of `frames`.
pub(super) fn witnesses(frames: &[ClockFrame], vectors: &Vectors, course: &Course) -> Vec<Witness> {
    let light = Light::of(frames);
    let mut all: Vec<Witness> = frames
        .iter()
        .enumerate()
        .filter_map(|(n, frame)| {
            let (reading_s, reading_sigma_s) = reading(&frame.stamp?, frame.shutter_s, course);
            let (shows, doubt) = by_discs(n, frame, vectors, &light).or_else(|| by_sky(frame))?;
            Some(Witness {
                frame: n,
                reading_s,
                reading_sigma_s,
                shows,
                doubt,
            })
        })
        .collect();
    let bright: Vec<f64> = (all.iter())
        .filter(|w| w.shows == Shows::Day)
        .map(|w| w.reading_s)
        .collect();
    all.retain(|w| w.shows != Shows::Dusk || between(w.reading_s, &bright));
    all
}

/// Whether there was daylight shortly before and after.
fn between(reading_s: f64, bright: &[f64]) -> bool {
    let near = |sign: f64| {
        bright
            .iter()
            .any(|b| (0.0..DUSK_REACH_S).contains(&(sign * (b - reading_s))))
    };
    near(1.0) && near(-1.0)
}

fn by_discs(
    index: usize,
    frame: &ClockFrame,
    vectors: &Vectors,
    light: &Light,
) -> Option<(Shows, f64)> {
    let fit = frame.fit?;
    match fit.limb {
        Limb::Moon => Some(light.of_moons_limb(frame)),
        Limb::Sun => Some(
            crescent(index, frame, vectors)
                .unwrap_or_else(|| of_the_sun(fit.limb_arc_deg, fit.moon.is_some())),
        ),
    }
}

fn crescent(index: usize, frame: &ClockFrame, vectors: &Vectors) -> Option<(Shows, f64)> {
    let m = vectors.measured.iter().find(|m| m.frame == index)?;
    let blurred = frame.fit.and_then(|fit| fit.blur_px) > Some(BLURRED_PX);
    // A short piece of a blurred limb does not tell a Moon from what else bounds the light.
    if blurred
        && frame
            .fit
            .is_some_and(|fit| fit.limb_arc_deg < ARC_FOR_MOON_DEG)
    {
        return None;
    }
    let apart = m.right.hypot(m.up);
    let sigma = [
        m.sigma,
        vectors.edge_sigma,
        vectors.side_sigma,
        vectors.scale_sigma * apart,
        untold(frame),
    ]
    .into_iter()
    .fold(0.0, f64::hypot);
    let (sure, unsure) = DOUBT_CRESCENT;
    let doubt = if blurred {
        DOUBT_BLURRED
    } else if m.sigma < SURE_CRESCENT {
        sure
    } else {
        unsure
    };
    Some((Shows::Crescent { apart, sigma }, doubt))
}

/// What no fit tells of a frame's distance of the centres: more where it is blurred or saturated.
fn untold(frame: &ClockFrame) -> f64 {
    let radius_px = frame.fit.and_then(|fit| fit.sun).map(|sun| sun.radius_px);
    let blur_px = frame.fit.and_then(|fit| fit.blur_px).unwrap_or(0.0);
    let blurred = radius_px.map_or(0.0, |r| BLUR_SHARE * (blur_px - SHARP_PX).max(0.0) / r);
    let saturated = frame.look.is_some_and(|look| look.peak >= FULL_PEAK);
    let flooded = if saturated { FLOODED } else { 0.0 };
    UNTOLD.hypot(blurred).hypot(flooded)
}

fn of_the_sun(arc_deg: f64, with_moon: bool) -> (Shows, f64) {
    if arc_deg >= WHOLE_DEG && !with_moon {
        (Shows::Whole, DOUBT_SUN)
    } else {
        (Shows::SomeSun { arc_deg }, DOUBT_SUN)
    }
}

/// Daylight or dusk by the light of a scene without a disc.
fn by_sky(frame: &ClockFrame) -> Option<(Shows, f64)> {
    /// Level of a grey card in a well exposed picture, of saturation (ISO 12232).
    const GREY: f64 = 0.18;
    let level = frame.look?.mean.max(1e-5);
    let ev = (level / GREY).log2() - frame.scene_stops?;
    if ev >= DAY_EV {
        Some((Shows::Day, DOUBT_DAY))
    } else if ev <= DUSK_EV && level > 1e-3 {
        Some((Shows::Dusk, DOUBT_DUSK))
    } else {
        None
    }
}

/// The light of a body's frames of totality.
struct Light {
    /// Middle of their exposure-corrected light in stops.
    totality: Option<f64>,
    /// Longest exposure in stops at which the corona alone does not saturate.
    clear_stops: Option<f64>,
}

impl Light {
    fn of(frames: &[ClockFrame]) -> Self {
        let with_moon = |frame: &&ClockFrame| frame.fit.is_some_and(|fit| fit.limb == Limb::Moon);
        let mut lights: Vec<f64> = frames
            .iter()
            .filter(with_moon)
            .filter_map(light_stops)
            .collect();
        let enough = lights.len() >= LIGHTS;
        Self {
            totality: median(&mut lights).filter(|_| enough),
            clear_stops: clear_stops(frames.iter().filter(with_moon)),
        }
    }

    /// Whether sunlight is in a frame with the Moon's limb, by its light; `None` when that cannot be told.
    ///
    /// A frame that saturates where the corona alone does not, at no longer exposure, has sunlight in it. One that saturates
    /// at longer exposures says nothing.
    fn sunlit(&self, frame: &ClockFrame) -> Option<bool> {
        let brighter = light_stops(frame)? - self.totality?;
        let saturated = frame.look.is_some_and(|look| look.peak >= FULL_PEAK);
        let short = frame
            .exposure_stops
            .zip(self.clear_stops)
            .is_some_and(|(stops, clear)| stops <= clear + 0.1);
        match brighter {
            b if b >= OPEN_STOPS => Some(true),
            _ if saturated => short.then_some(true),
            b if b > COVERED_STOPS => None,
            _ => Some(false),
        }
    }

    fn of_moons_limb(&self, frame: &ClockFrame) -> (Shows, f64) {
        let by_glare = frame
            .look
            .and_then(|look| look.limb_glare)
            .and_then(|glare| {
                let (corona, ring) = GLARE;
                (glare >= ring)
                    .then_some(true)
                    .or((glare <= corona).then_some(false))
            });
        let arc_deg = frame.fit.map_or(0.0, |fit| fit.limb_arc_deg);
        let saturated = frame.look.is_some_and(|look| look.peak >= FULL_PEAK);
        let by_glare = match by_glare {
            Some(true) if arc_deg >= ARC_DEG.0 => None,
            Some(false) if arc_deg < ARC_DEG.1 && saturated => None,
            told => told,
        };
        let well = frame
            .fit
            .is_some_and(|fit| fit.limb_arc_deg >= WELL_SEEN_DEG);
        let of = |(sure, unsure): (f64, f64)| if well { sure } else { unsure };
        match (by_glare, self.sunlit(frame)) {
            (Some(true), Some(true) | None) | (None, Some(true)) => (Shows::Ring, DOUBT_RING),
            (Some(false), Some(false) | None) => (Shows::Corona, of(DOUBT_CORONA)),
            (None, Some(false)) => (Shows::Corona, of(DOUBT_CORONA)),
            _ => (Shows::MoonsLimb, of(DOUBT_MOONS_LIMB)),
        }
    }
}

/// Exposure-corrected light of a frame in stops: its mean level over its exposure. Saturation makes it too low.
fn light_stops(frame: &ClockFrame) -> Option<f64> {
    let mean = frame.look?.mean;
    (mean > 0.0).then(|| Some(mean.log2() - frame.exposure_stops?))?
}

/// The longest exposure, in stops, at which the corona alone does not saturate: the second longest of the frames with the
/// Moon's limb that do not, so that one mistaken frame does not decide.
fn clear_stops<'a>(with_moon: impl Iterator<Item = &'a ClockFrame>) -> Option<f64> {
    let mut stops: Vec<f64> = with_moon
        .filter(|frame| frame.look.is_some_and(|look| look.peak < FULL_PEAK))
        .filter_map(|frame| frame.exposure_stops)
        .collect();
    stops.sort_by(f64::total_cmp);
    stops.iter().rev().nth(1).copied()
}
