//! Every stretch of a run that could be a set, and what it would cost.

use super::cost;
use super::pattern::{self, Fit, Pattern, same};
use super::stream::{Fired, Run};
use crate::domain::upper_median;

/// Idle time between two frames that always ends a set, in seconds (our choice: slow tethered sets take up to ten).
pub(super) const LONGEST_IDLE_S: f64 = 12.0;
/// The same for sets whose steps the body did not repeat: cameras go on within a second or two (common practice).
pub(super) const LONGEST_IDLE_UNSEEN_S: f64 = 3.0;
/// Most frames in a set: more than any camera or script in use.
const MOST_FRAMES: usize = 32;

/// How a body shoots, as far as every way of cutting its stream needs it.
pub(super) struct Manner {
    cadence_s: f64,
    says_bracketing: bool,
}

/// A stretch that could be a set.
pub(super) struct Piece {
    pub(super) start: usize,
    /// Cost whatever steps it follows.
    other: f64,
    /// Cost of its steps when they follow none of the body's patterns.
    unseen: Option<f64>,
    /// Patterns its steps follow, by their number, and the cost of that.
    seen: Vec<(usize, f64)>,
}

/// A run with all that its cheapest cut needs.
pub(super) struct Priced<'a> {
    pub(super) frames: &'a [Fired],
    /// Cost of each frame in no set.
    pub(super) single: Vec<f64>,
    /// Stretches by the number of frames up to their end.
    pub(super) ending: Vec<Vec<Piece>>,
}

impl Manner {
    pub(super) fn of(frames: &[Fired]) -> Self {
        Self {
            cadence_s: cadence_s(frames),
            says_bracketing: frames.iter().any(|f| f.bracketing == Some(true)),
        }
    }
}

impl Piece {
    /// Cost of taking the stretch as a set when the body repeats the patterns `known`; `None` when it cannot be one.
    pub(super) fn cost(&self, known: &[usize]) -> Option<f64> {
        let seen = self
            .seen
            .iter()
            .filter(|(pattern, _)| known.contains(pattern))
            .map(|(_, cost)| *cost);
        let base = if known.is_empty() {
            cost::SET_UNSEEN
        } else {
            cost::SET_UNSEEN_AMONG_OTHERS
        };
        let unseen = self.unseen.map(|steps| base + steps);
        let steps = seen.chain(unseen).min_by(f64::total_cmp)?;
        Some(self.other + steps)
    }
}

/// Prices all stretches of a run under all `patterns`.
pub(super) fn priced<'a>(run: &Run<'a>, patterns: &[Pattern], manner: &Manner) -> Priced<'a> {
    let frames = run.frames;
    let single = (0..frames.len())
        .map(|at| single_cost(frames, at, manner))
        .collect();
    let ending = (0..=frames.len())
        .map(|end| {
            (end.saturating_sub(MOST_FRAMES)..end.saturating_sub(1))
                .rev()
                .take_while(|&start| could_grow(&frames[start..end]))
                .filter_map(|start| piece(frames, start, end, patterns, manner))
                .collect()
        })
        .collect();
    Priced {
        frames,
        single,
        ending,
    }
}

fn piece(
    frames: &[Fired],
    start: usize,
    end: usize,
    patterns: &[Pattern],
    manner: &Manner,
) -> Option<Piece> {
    let frames = &frames[start..end];
    let stops: Vec<f64> = frames.iter().map(|f| f.stops).collect::<Option<_>>()?;
    let said = frames.iter().all(|f| f.bracketing == Some(true));
    let seen: Vec<(usize, f64)> = patterns
        .iter()
        .enumerate()
        .filter_map(|(n, pattern)| Some((n, pattern, pattern.fit(&stops)?)))
        .filter(|(_, pattern, fit)| enough(frames.len(), pattern.steps.len(), fit, said))
        .map(|(n, pattern, fit)| (n, pattern.extra_cost + cost::SET + steps_cost(frames, &fit)))
        .collect();
    let unseen = unseen_cost(frames, &stops, said);
    if seen.is_empty() && unseen.is_none() {
        return None;
    }
    Some(Piece {
        start,
        other: idle_cost(frames, manner) + said_cost(frames, manner),
        unseen,
        seen,
    })
}

/// Time from the end of one exposure to the start of the next, in seconds; stamps cut to whole seconds make it up to one
/// second wrong, in favour of short.
fn idle_s(a: &Fired, b: &Fired) -> f64 {
    let blur_s = if a.whole_second || b.whole_second {
        1.0
    } else {
        0.0
    };
    (b.start_s - a.start_s - a.shutter_s - blur_s).max(0.0)
}

pub(super) fn runs(frames: &[Fired], longest_idle_s: f64) -> Vec<Run<'_>> {
    frames
        .chunk_by(|a, b| idle_s(a, b) <= longest_idle_s)
        .map(|frames| Run { frames })
        .collect()
}

/// Middle one of the idle times between frames of different exposure that are near in time; 0.5 s without any.
fn cadence_s(frames: &[Fired]) -> f64 {
    let mut idle: Vec<f64> = frames
        .windows(2)
        .filter(|w| matches!((w[0].stops, w[1].stops), (Some(a), Some(b)) if !same(a, b)))
        .map(|w| idle_s(&w[0], &w[1]))
        .filter(|idle| *idle <= LONGEST_IDLE_S)
        .collect();
    upper_median(&mut idle).unwrap_or(0.5)
}

/// Whether frames may still be the end of a set: each has an exposure, and the first of them does not come a third time.
fn could_grow(frames: &[Fired]) -> bool {
    let Some(first) = frames[0].stops else {
        return false;
    };
    let again = frames[1..]
        .iter()
        .filter(|f| f.stops.is_some_and(|e| same(e, first)))
        .count();
    again <= 1
}

fn single_cost(frames: &[Fired], at: usize, manner: &Manner) -> f64 {
    let before = at.checked_sub(1).and_then(|before| frames[before].stops);
    let again = matches!((before, frames[at].stops), (Some(a), Some(b)) if same(a, b));
    match frames[at].bracketing {
        Some(true) => cost::SINGLE_BRACKETING,
        _ if again => cost::SINGLE_AGAIN,
        Some(false) if manner.says_bracketing => cost::SINGLE_NOT_BRACKETING,
        _ => cost::SINGLE,
    }
}

/// Cost of frames missing, frames fired twice, and of file numbers lost where no frame is missing.
fn steps_cost(frames: &[Fired], fit: &Fit) -> f64 {
    let lost: usize = frames
        .iter()
        .skip(1)
        .zip(fit.places.windows(2))
        .map(|(frame, places)| {
            let missing = (places[1] - places[0]).saturating_sub(1);
            frame.lost_before.saturating_sub(missing)
        })
        .sum();
    cost::MISSING * fit.missing as f64 + cost::TWICE * fit.twice as f64 + cost::LOST * lost as f64
}

/// Whether enough of a pattern of `length` frames is there: a third, or the start or end of it, or the camera's word.
fn enough(there: usize, length: usize, fit: &Fit, said: bool) -> bool {
    there * 3 >= length || fit.interrupted || said
}

/// Cost of a set whose steps the body did not repeat: three frames or more in a usual order and fired quickly.
fn unseen_cost(frames: &[Fired], stops: &[f64], said: bool) -> Option<f64> {
    let quick = frames
        .windows(2)
        .all(|w| idle_s(&w[0], &w[1]) <= LONGEST_IDLE_UNSEEN_S);
    let fewest = if said { 2 } else { 3 };
    if frames.len() < fewest || !quick {
        return None;
    }
    let fit = pattern::fit_unseen(stops)?;
    let even = (frames.len() + fit.missing).is_multiple_of(2);
    Some(steps_cost(frames, &fit) + if even { cost::EVEN } else { 0.0 })
}

/// Cost of idle time beyond three times the body's cadence, 1.5 s at least; a hole where frames are missing may be as
/// long as those would have taken, which the jump in exposure bounds.
fn idle_cost(frames: &[Fired], manner: &Manner) -> f64 {
    let easy_s = (3.0 * manner.cadence_s).max(1.5);
    frames
        .windows(2)
        .map(|w| {
            let longest_shutter_s = w[0].shutter_s.max(w[1].shutter_s);
            let beyond_s = idle_s(&w[0], &w[1]) - easy_s - longest_shutter_s;
            cost::IDLE_PER_S * beyond_s.max(0.0)
        })
        .sum()
}

fn said_cost(frames: &[Fired], manner: &Manner) -> f64 {
    let not = frames
        .iter()
        .filter(|f| f.bracketing == Some(false))
        .count();
    if manner.says_bracketing {
        cost::NOT_BRACKETING * not as f64
    } else {
        0.0
    }
}
