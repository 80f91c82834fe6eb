//! How likely a frame's look is at any true time: the word of one witness.

use super::course::Course;
use super::heights::Heights;
use super::kind::{Shows, Witness};
use crate::domain::{Contacts, LocalKind};

/// Totality and its edges, as seconds after the course's origin.
#[derive(Clone, Copy, Debug)]
pub(super) struct Totality {
    pub(super) c2_s: f64,
    pub(super) c3_s: f64,
    /// One sigma of either in seconds.
    pub(super) sigma_s: f64,
}

impl Totality {
    /// Totality at the place; `None` where there is none.
    pub(super) fn of(contacts: &Contacts, course: &Course) -> Option<Self> {
        let (c2, c3) = (contacts.c2.as_ref()?, contacts.c3.as_ref()?);
        (contacts.kind == LocalKind::Total).then(|| Self {
            c2_s: c2.utc.seconds_since(course.origin()),
            c3_s: c3.utc.seconds_since(course.origin()),
            sigma_s: c2.sigma_s.max(c3.sigma_s),
        })
    }

    /// Seconds inside totality, negative outside.
    pub(super) fn depth_s(&self, t_s: f64) -> f64 {
        (t_s - self.c2_s).min(self.c3_s - t_s)
    }
}

/// What witnesses are held against.
pub(super) struct Sky<'a> {
    pub(super) course: &'a Course,
    pub(super) totality: Option<Totality>,
    /// Moon's radius over the Sun's at maximum.
    pub(super) ratio: f64,
    pub(super) heights: &'a Heights,
}

/// A corona may be taken for one this long outside totality, one sigma in seconds: the last bead is small, and short exposures
/// show nothing of it (our choice).
const CORONA_EDGE_S: f64 = 2.0;

/// Beads may be seen this long inside totality by the mean limb, one sigma in seconds: through valleys (from memory).
const BEADS_EDGE_S: f64 = 2.5;

/// A ring is a picture people take for this long outside totality, and for a while longer, in seconds: without a filter the
/// crescent drowns the Moon's limb then (from memory; the longest on a real card is 28 s).
const RING_S: f64 = 12.0;
const RING_FADES_S: f64 = 15.0;

/// Chance that a ring near totality passes for the corona, and the corona for a ring: glare and short exposures; it holds within
/// this long of totality, one sigma in seconds (our choice).
const MIXED_UP: f64 = 0.02;
const MIXED_UP_S: f64 = 25.0;

/// A bite this deep into the Sun, in solar radii, may still pass for none.
const UNSEEN_BITE: f64 = 0.03;

/// Free share of the Sun's area from which daylight, and up to which dusk, is what a scene shows.
const DAYLIGHT_FREE: f64 = 0.02;
const DUSK_FREE: f64 = 0.01;

/// The Sun's limb may be seen for this many degrees more than computed.
const ARC_SLACK_DEG: f64 = 25.0;

/// Free share of the area below which no limb of the Sun is fitted.
const LEAST_FREE: f64 = 1e-4;

/// Density of distances of the centres of pictures that are no crescents, per solar radius: anything from 0 to 2.
const ANY_DISTANCE: f64 = 0.5;

/// How likely a disc is with the Sun below the horizon.
const BELOW_HORIZON: f64 = 1e-6;

/// Log of how likely a witness's look is at the true time `t_s`, known to no better than `step_s`.
pub(super) fn log(witness: &Witness, t_s: f64, step_s: f64, sky: &Sky<'_>) -> f64 {
    let blur_s = root_sum(&[witness.reading_sigma_s, step_s / 12f64.sqrt()]);
    let doubt = witness.doubt;
    let of = |chance: f64| doubt + (1.0 - doubt) * chance;
    let here = match witness.shows {
        Shows::Crescent { apart, sigma } => {
            let density = crescent(apart, sigma, t_s, blur_s, sky.course);
            doubt * ANY_DISTANCE + (1.0 - doubt) * density
        }
        Shows::Whole => of(whole(t_s, sky)),
        Shows::SomeSun { arc_deg } => of(some_sun(arc_deg, t_s, sky)),
        Shows::Corona => of(corona(t_s, blur_s, sky)),
        Shows::Ring => of(ring(t_s, blur_s, sky)),
        Shows::MoonsLimb => of(corona(t_s, blur_s, sky).max(ring(t_s, blur_s, sky))),
        Shows::Day => of(f64::from(u8::from(sky.course.at(t_s).free > DAYLIGHT_FREE))),
        Shows::Dusk => of(f64::from(u8::from(sky.course.at(t_s).free < DUSK_FREE))),
    };
    let risen = matches!(witness.shows, Shows::Dusk) || sky.heights.is_up(t_s);
    (if risen { here } else { here * BELOW_HORIZON }).ln()
}

/// The most that [`log`] can be for a witness at any time.
pub(super) fn most(witness: &Witness) -> f64 {
    match witness.shows {
        Shows::Crescent { sigma, .. } => {
            let density = 1.0 / (sigma * std::f64::consts::TAU.sqrt());
            (witness.doubt * ANY_DISTANCE + (1.0 - witness.doubt) * density).ln()
        }
        _ => 0.0,
    }
}

/// Density of a measured distance of the centres.
fn crescent(apart: f64, sigma: f64, t_s: f64, blur_s: f64, course: &Course) -> f64 {
    const APART_S: f64 = 8.0;
    let length = |t_s: f64| {
        let (east, north) = course.at(t_s).through_air(1.0);
        (east * east + north * north).sqrt()
    };
    let stand = course.at(t_s);
    if stand.free < LEAST_FREE {
        return 0.0;
    }
    let rate = (length(t_s + APART_S) - length(t_s - APART_S)) / (2.0 * APART_S);
    let sigma = root_sum(&[sigma, rate * blur_s]);
    let off = (apart - length(t_s)) / sigma;
    bell(off) / (sigma * std::f64::consts::TAU.sqrt())
}

fn whole(t_s: f64, sky: &Sky<'_>) -> f64 {
    let stand = sky.course.at(t_s);
    let depth = (1.0 + sky.ratio - stand.length()).max(0.0);
    bell(depth / UNSEEN_BITE)
}

fn some_sun(arc_deg: f64, t_s: f64, sky: &Sky<'_>) -> f64 {
    let stand = sky.course.at(t_s);
    if stand.free < LEAST_FREE {
        return 0.0;
    }
    let over_deg = (arc_deg - open_arc_deg(stand.length(), sky.ratio)).max(0.0);
    bell(over_deg / ARC_SLACK_DEG)
}

/// How much of the Sun's limb a Moon leaves open: the circles cross where the cosine rule has it.
fn open_arc_deg(apart: f64, ratio: f64) -> f64 {
    if apart >= 1.0 + ratio || apart <= (1.0 - ratio).abs() {
        return 360.0;
    }
    let cos = (apart * apart + 1.0 - ratio * ratio) / (2.0 * apart);
    360.0 - 2.0 * cos.clamp(-1.0, 1.0).acos().to_degrees()
}

fn corona(t_s: f64, blur_s: f64, sky: &Sky<'_>) -> f64 {
    let Some(totality) = sky.totality else {
        return 0.0;
    };
    let outside_s = (-totality.depth_s(t_s)).max(0.0);
    let edge_s = root_sum(&[CORONA_EDGE_S, blur_s, totality.sigma_s]);
    let fall = |sigma_s: f64| bell(outside_s / sigma_s);
    (1.0 - MIXED_UP) * fall(edge_s) + MIXED_UP * fall(MIXED_UP_S)
}

fn ring(t_s: f64, blur_s: f64, sky: &Sky<'_>) -> f64 {
    let Some(totality) = sky.totality else {
        return 0.0;
    };
    let outside_s = -totality.depth_s(t_s);
    let least = if outside_s < 0.0 { MIXED_UP } else { 0.0 };
    let off = if outside_s < 0.0 {
        outside_s / root_sum(&[BEADS_EDGE_S, blur_s, totality.sigma_s])
    } else {
        (outside_s - RING_S).max(0.0) / RING_FADES_S
    };
    bell(off).max(least)
}

/// Beyond so many sigmas a bell is nothing, and working it out is slow.
const NOTHING_SIGMAS: f64 = 37.0;

fn bell(sigmas: f64) -> f64 {
    if sigmas.abs() > NOTHING_SIGMAS {
        return 0.0;
    }
    (-0.5 * sigmas * sigmas).exp()
}

/// Errors put together. None is large or tiny, so that this is quicker than `hypot` and as good; it is asked a million times a card.
fn root_sum(errors: &[f64]) -> f64 {
    errors.iter().map(|e| e * e).sum::<f64>().sqrt()
}
