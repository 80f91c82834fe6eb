//! Cuts a body's stream of frames into sets and single frames at least cost.

use super::pattern::{self, Fit, Pattern, same};
use super::stream::Fired;

/// Idle time between two frames that always ends a set, in seconds (our choice: slow tethered sets take up to ten).
const LONGEST_IDLE_S: f64 = 12.0;
/// The same for sets whose steps the body did not repeat: cameras go on within a second or two (common practice).
const LONGEST_IDLE_UNSEEN_S: f64 = 3.0;
/// Most frames in a set: more than any camera or script in use.
const MOST_FRAMES: usize = 32;

/// Costs, in arbitrary units; only their order of size matters (our choice, tuned on drawn cards).
mod cost {
    /// A frame in no set.
    pub(super) const SINGLE: f64 = 3.0;
    /// The same when the camera said it was bracketing.
    pub(super) const SINGLE_BRACKETING: f64 = 4.5;
    /// The same when the camera said it was not, though it says so of others.
    pub(super) const SINGLE_NOT_BRACKETING: f64 = 2.0;
    /// A set of a kind the body repeats.
    pub(super) const SET: f64 = 1.0;
    /// A set in a usual order, when the body repeats none.
    pub(super) const SET_UNSEEN: f64 = 1.6;
    /// The same when the body repeats others.
    pub(super) const SET_UNSEEN_AMONG_OTHERS: f64 = 4.5;
    /// More for an even number of frames: cameras offer odd ones.
    pub(super) const EVEN: f64 = 0.5;
    /// A frame missing from a set.
    pub(super) const MISSING: f64 = 0.35;
    /// A frame fired twice inside a set.
    pub(super) const TWICE: f64 = 2.0;
    /// A second of idle time beyond the cadence.
    pub(super) const IDLE_PER_S: f64 = 0.7;
    /// A frame in a set of which the camera said it was not bracketing.
    pub(super) const NOT_BRACKETING: f64 = 1.5;
}

/// Frames with no long idle time between them.
pub(super) struct Run<'a> {
    pub(super) frames: &'a [Fired],
}

/// What is known of a body when its stream is cut.
struct Habits {
    patterns: Vec<Pattern>,
    cadence_s: f64,
    says_bracketing: bool,
}

/// The sets of a body's stream, each a list of shots in firing order.
pub(super) fn into_sets(frames: &[Fired]) -> Vec<Vec<usize>> {
    let habits = habits(frames);
    runs(frames, LONGEST_IDLE_S)
        .iter()
        .flat_map(|run| cut(run.frames, &habits))
        .map(|set| set.iter().map(|frame| frame.shot).collect())
        .collect()
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

fn runs(frames: &[Fired], longest_idle_s: f64) -> Vec<Run<'_>> {
    frames
        .chunk_by(|a, b| idle_s(a, b) <= longest_idle_s)
        .map(|frames| Run { frames })
        .collect()
}

/// Learns from runs as tight as cameras fire them; from looser ones when those show nothing.
fn habits(frames: &[Fired]) -> Habits {
    let says_bracketing = frames.iter().any(|f| f.bracketing == Some(true));
    let learned = [LONGEST_IDLE_UNSEEN_S, LONGEST_IDLE_S]
        .into_iter()
        .map(|longest_idle_s| pattern::learn(&runs(frames, longest_idle_s)))
        .find(|patterns| !patterns.is_empty());
    Habits {
        patterns: learned.unwrap_or_default(),
        cadence_s: cadence_s(frames),
        says_bracketing,
    }
}

/// Middle one of the idle times between frames of different exposure that are near in time; 0.5 s without any.
fn cadence_s(frames: &[Fired]) -> f64 {
    let mut idle: Vec<f64> = frames
        .windows(2)
        .filter(|w| matches!((w[0].stops, w[1].stops), (Some(a), Some(b)) if !same(a, b)))
        .map(|w| idle_s(&w[0], &w[1]))
        .filter(|idle| *idle <= LONGEST_IDLE_S)
        .collect();
    idle.sort_by(f64::total_cmp);
    idle.get(idle.len() / 2).copied().unwrap_or(0.5)
}

/// Cheapest cut of a run; dynamic programming over the place of the last cut.
fn cut<'a>(frames: &'a [Fired], habits: &Habits) -> Vec<&'a [Fired]> {
    let mut best: Vec<(f64, usize)> = vec![(0.0, 0)];
    for end in 1..=frames.len() {
        let single = best[end - 1].0 + single_cost(&frames[end - 1], habits);
        let mut cheapest = (single, end - 1);
        for start in (end.saturating_sub(MOST_FRAMES)..end.saturating_sub(1)).rev() {
            if !could_grow(&frames[start..end]) {
                break;
            }
            let Some(set) = set_cost(&frames[start..end], habits) else {
                continue;
            };
            if best[start].0 + set < cheapest.0 {
                cheapest = (best[start].0 + set, start);
            }
        }
        best.push(cheapest);
    }
    let mut sets = Vec::new();
    let mut end = frames.len();
    while end > 0 {
        let start = best[end].1;
        if end - start >= 2 {
            sets.push(&frames[start..end]);
        }
        end = start;
    }
    sets.reverse();
    sets
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

fn single_cost(frame: &Fired, habits: &Habits) -> f64 {
    match frame.bracketing {
        _ if !habits.says_bracketing => cost::SINGLE,
        Some(true) => cost::SINGLE_BRACKETING,
        Some(false) => cost::SINGLE_NOT_BRACKETING,
        None => cost::SINGLE,
    }
}

/// Cost of taking frames as one set; `None` when they cannot be one.
fn set_cost(frames: &[Fired], habits: &Habits) -> Option<f64> {
    let stops: Vec<f64> = frames.iter().map(|f| f.stops).collect::<Option<_>>()?;
    let said = frames.iter().all(|f| f.bracketing == Some(true));
    let seen = habits
        .patterns
        .iter()
        .filter_map(|pattern| Some((pattern.fit(&stops)?, pattern.steps.len())))
        .filter(|(fit, length)| enough(frames.len(), *length, fit, said))
        .map(|(fit, _)| cost::SET + steps_cost(&fit));
    let unseen = unseen_cost(frames, &stops, habits, said);
    let steps = seen.chain(unseen).min_by(f64::total_cmp)?;
    Some(steps + idle_cost(frames, habits) + said_cost(frames, habits))
}

fn steps_cost(fit: &Fit) -> f64 {
    cost::MISSING * fit.missing as f64 + cost::TWICE * fit.twice as f64
}

/// Whether enough of a pattern of `length` frames is there: a third, or the start or end of it, or the camera's word.
fn enough(there: usize, length: usize, fit: &Fit, said: bool) -> bool {
    there * 3 >= length || fit.interrupted || said
}

/// Cost of a set whose steps the body did not repeat: three frames or more in a usual order and fired quickly.
fn unseen_cost(frames: &[Fired], stops: &[f64], habits: &Habits, said: bool) -> Option<f64> {
    let quick = frames
        .windows(2)
        .all(|w| idle_s(&w[0], &w[1]) <= LONGEST_IDLE_UNSEEN_S);
    let fewest = if said { 2 } else { 3 };
    if frames.len() < fewest || !quick {
        return None;
    }
    let fit = pattern::fit_unseen(stops)?;
    let base = if habits.patterns.is_empty() {
        cost::SET_UNSEEN
    } else {
        cost::SET_UNSEEN_AMONG_OTHERS
    };
    let even = (frames.len() + fit.missing) % 2 == 0;
    Some(base + steps_cost(&fit) + if even { cost::EVEN } else { 0.0 })
}

/// Cost of idle time beyond three times the body's cadence, 1.5 s at least; a hole where frames are missing may be as
/// long as those would have taken, which the jump in exposure bounds.
fn idle_cost(frames: &[Fired], habits: &Habits) -> f64 {
    let easy_s = (3.0 * habits.cadence_s).max(1.5);
    frames
        .windows(2)
        .map(|w| {
            let longest_shutter_s = w[0].shutter_s.max(w[1].shutter_s);
            let beyond_s = idle_s(&w[0], &w[1]) - easy_s - longest_shutter_s;
            cost::IDLE_PER_S * beyond_s.max(0.0)
        })
        .sum()
}

fn said_cost(frames: &[Fired], habits: &Habits) -> f64 {
    let not = frames
        .iter()
        .filter(|f| f.bracketing == Some(false))
        .count();
    if habits.says_bracketing {
        cost::NOT_BRACKETING * not as f64
    } else {
        0.0
    }
}
