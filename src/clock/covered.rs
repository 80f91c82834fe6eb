//! What frames around second and third contact say: which show the Sun covered and which do not.
//!
//! A frame counts as covered when the Moon's limb was fitted against the corona and its exposure-corrected light is that
//! of totality; as open when it is brighter by two stops or the Sun's limb was fitted. A filter taken off or put back
//! changes the light by some 16 stops, but a filtered crescent is darker than the corona without filter or shows its
//! limb, so the moment of the filter says nothing here, and nothing is read into it.

use super::ClockFrame;
use super::course::Course;
use super::measured::{middle, reading};
use crate::domain::{Contacts, Limb, LocalKind};

/// Brighter than totality by this many stops, sunlight is in the frame. The last bead outshines the corona by more.
const OPEN_STOPS: f64 = 2.0;

/// Within this many stops of totality's light a frame with the Moon's limb is covered.
const COVERED_STOPS: f64 = 1.5;

/// Chance that a frame was taken for what it is not.
const MISTAKEN: f64 = 0.02;

/// Step of the likelihood in seconds.
const STEP_S: f64 = 0.1;

/// Frames farther than this from C2 and C3, in seconds, do not bear on the time.
pub(super) const NEAR_S: f64 = 60.0;

/// Longest span of clock errors looked at, in seconds.
const LONGEST_SPAN_S: f64 = 3_600.0;

/// One frame known to be covered or open.
#[derive(Clone, Copy, Debug)]
struct Witness {
    reading_s: f64,
    blur_s: f64,
    covered: bool,
}

/// The frames' word on the clock error.
pub(super) struct Likelihood {
    /// Clock error of the first value.
    pub(super) from_s: f64,
    /// Log likelihood every [`Likelihood::STEP_S`].
    pub(super) log: Vec<f64>,
    /// Frames within [`NEAR_S`] of a contact at the likeliest error.
    pub(super) frames: u32,
}

impl Likelihood {
    /// Step in seconds.
    pub(super) const STEP_S: f64 = STEP_S;

    /// Minus twice the log of how much less likely a clock error known to `sigma_s` is than the likeliest.
    pub(super) fn cost(&self, tau_s: f64, sigma_s: f64) -> f64 {
        let top = self.top();
        let near = (0..self.log.len())
            .filter(|&n| (self.tau_s(n) - tau_s).abs() <= 2.0 * sigma_s + STEP_S)
            .map(|n| self.log[n])
            .fold(f64::NEG_INFINITY, f64::max);
        2.0 * (top - near)
    }

    /// The largest log likelihood.
    pub(super) fn top(&self) -> f64 {
        self.log.iter().copied().fold(f64::NEG_INFINITY, f64::max)
    }

    /// Clock error of a value.
    pub(super) fn tau_s(&self, n: usize) -> f64 {
        self.from_s + n as f64 * STEP_S
    }
}

/// The likelihood of clock errors by covered and open frames; `None` without a covered frame or a total eclipse.
pub(super) fn likelihood(
    frames: &[ClockFrame],
    contacts: &Contacts,
    course: &Course,
) -> Option<Likelihood> {
    if contacts.kind != LocalKind::Total {
        return None;
    }
    let (c2, c3) = (contacts.c2.as_ref()?, contacts.c3.as_ref()?);
    let c2_s = c2.utc.seconds_since(course.origin());
    let c3_s = c3.utc.seconds_since(course.origin());
    let witnesses = witnesses(frames, course);
    let mut covered: Vec<f64> = witnesses
        .iter()
        .filter(|w| w.covered)
        .map(|w| w.reading_s)
        .collect();
    let centre_s = middle(&mut covered)? - (c2_s + c3_s) / 2.0;
    let half_s = ((c3_s - c2_s) + 60.0).min(LONGEST_SPAN_S / 2.0);
    let count = (2.0 * half_s / STEP_S) as usize + 1;
    let from_s = centre_s - half_s;
    let near: Vec<&Witness> = witnesses
        .iter()
        .filter(|w| (w.reading_s - centre_s - (c2_s + c3_s) / 2.0).abs() < half_s + c3_s - c2_s)
        .collect();
    let sharp: Vec<f64> = (0..count)
        .map(|n| {
            let tau_s = from_s + n as f64 * STEP_S;
            near.iter()
                .map(|w| chance(w, c2_s + tau_s, c3_s + tau_s).ln())
                .sum()
        })
        .collect();
    let log = blurred(
        &sharp,
        (c2.sigma_s.hypot(c3.sigma_s) / 2f64.sqrt()).max(0.1),
    );
    let best = (0..count).max_by(|&a, &b| log[a].total_cmp(&log[b]))?;
    let tau_s = from_s + best as f64 * STEP_S;
    let bears = |w: &&&Witness| {
        let t_s = w.reading_s - tau_s;
        (t_s - c2_s).abs().min((t_s - c3_s).abs()) <= NEAR_S
    };
    Some(Likelihood {
        from_s,
        frames: near.iter().filter(bears).count() as u32,
        log,
    })
}

/// Chance of a frame's look when the Sun is covered from `from_s` to `to_s` on the camera's clock.
fn chance(witness: &Witness, from_s: f64, to_s: f64) -> f64 {
    let inside = if witness.blur_s > 0.0 {
        let early = witness.reading_s - witness.blur_s;
        let late = witness.reading_s + witness.blur_s;
        ((late.min(to_s) - early.max(from_s)) / (late - early)).clamp(0.0, 1.0)
    } else {
        f64::from(u8::from((from_s..=to_s).contains(&witness.reading_s)))
    };
    let right = if witness.covered {
        inside
    } else {
        1.0 - inside
    };
    MISTAKEN + (1.0 - 2.0 * MISTAKEN) * right
}

/// The log of a likelihood after an error of `sigma_s` common to all frames: of the predicted contacts.
fn blurred(log: &[f64], sigma_s: f64) -> Vec<f64> {
    let top = log.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let reach = (4.0 * sigma_s / STEP_S).ceil() as i64;
    let kernel: Vec<f64> = (-reach..=reach)
        .map(|k| (-0.5 * (k as f64 * STEP_S / sigma_s).powi(2)).exp())
        .collect();
    let whole: f64 = kernel.iter().sum();
    let last = log.len() as i64 - 1;
    (0..=last)
        .map(|n| {
            let sum: f64 = kernel
                .iter()
                .zip(n - reach..)
                .map(|(weight, m)| weight * (log[m.clamp(0, last) as usize] - top).exp())
                .sum();
            (sum / whole).max(1e-300).ln() + top
        })
        .collect()
}

/// Exposure-corrected light of a frame in stops: its mean level over its exposure. Saturation makes it too low.
fn light_stops(frame: &ClockFrame) -> Option<f64> {
    let mean = frame.look?.mean;
    (mean > 0.0).then(|| Some(mean.log2() - frame.exposure_stops?))?
}

fn witnesses(frames: &[ClockFrame], course: &Course) -> Vec<Witness> {
    let with_moon = |frame: &&ClockFrame| frame.fit.is_some_and(|fit| fit.limb == Limb::Moon);
    let mut lights: Vec<f64> = frames
        .iter()
        .filter(with_moon)
        .filter_map(light_stops)
        .collect();
    let totality = middle(&mut lights);
    let clear = clear_stops(frames.iter().filter(with_moon));
    frames
        .iter()
        .filter_map(|frame| {
            let brighter = light_stops(frame).zip(totality).map(|(b, t)| b - t);
            let covered = is_covered(frame, brighter, clear)?;
            let (reading_s, sigma_s) = reading(&frame.stamp?, frame.shutter_s, course);
            Some(Witness {
                reading_s,
                blur_s: if sigma_s > 0.0 { 0.5 } else { 0.0 },
                covered,
            })
        })
        .collect()
}

/// From this peak on a frame is saturated somewhere.
const SATURATED: f64 = 0.95;

/// The longest exposure, in stops, at which the corona alone does not saturate: the second longest of the frames with the
/// Moon's limb that do not, so that one mistaken frame does not decide.
fn clear_stops<'a>(with_moon: impl Iterator<Item = &'a ClockFrame>) -> Option<f64> {
    let mut stops: Vec<f64> = with_moon
        .filter(|frame| frame.look.is_some_and(|look| look.peak < SATURATED))
        .filter_map(|frame| frame.exposure_stops)
        .collect();
    stops.sort_by(f64::total_cmp);
    stops.iter().rev().nth(1).copied()
}

/// Whether a frame shows the Sun covered; `None` when that cannot be told.
///
/// A frame that saturates where the corona alone does not, at no longer exposure, has sunlight in it, whatever limb was
/// fitted: the ring shows the Moon's limb as well as totality does. One that saturates at longer exposures says nothing.
fn is_covered(
    frame: &ClockFrame,
    brighter_stops: Option<f64>,
    clear_stops: Option<f64>,
) -> Option<bool> {
    let limb = frame.fit.map(|fit| fit.limb);
    let saturated = frame.look.is_some_and(|look| look.peak >= SATURATED);
    let short = frame
        .exposure_stops
        .zip(clear_stops)
        .is_some_and(|(stops, clear)| stops <= clear + 0.1);
    match (limb, brighter_stops) {
        (Some(Limb::Sun), _) => Some(false),
        (_, Some(b)) if b >= OPEN_STOPS => Some(false),
        (Some(Limb::Moon), _) if saturated => short.then_some(false),
        (Some(Limb::Moon), Some(b)) if b > COVERED_STOPS => None,
        (Some(Limb::Moon), _) => Some(true),
        (None, _) => None,
    }
}
