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
    pub(super) const SINGLE: f64 = 1.5;
    /// The same when the camera said it was bracketing.
    pub(super) const SINGLE_BRACKETING: f64 = 3.0;
    /// The same when the camera said it was not, though it says so of others.
    pub(super) const SINGLE_NOT_BRACKETING: f64 = 0.5;
    /// A frame in no set at the exposure of the frame before: continuous shooting.
    pub(super) const SINGLE_AGAIN: f64 = 0.3;
    /// More for a set in an order that cameras do not offer.
    pub(super) const UNUSUAL: f64 = 1.0;
    /// A set of a kind the body repeats.
    pub(super) const SET: f64 = 1.0;
    /// A set in a usual order, when the body repeats none.
    pub(super) const SET_UNSEEN: f64 = 1.6;
    /// The same when the body repeats others.
    pub(super) const SET_UNSEEN_AMONG_OTHERS: f64 = 3.0;
    /// More for an even number of frames: cameras offer odd ones.
    pub(super) const EVEN: f64 = 0.5;
    /// A frame missing from a set.
    pub(super) const MISSING: f64 = 0.35;
    /// A frame fired twice inside a set.
    pub(super) const TWICE: f64 = 2.0;
    /// A file number lost inside a set where its steps miss no frame.
    pub(super) const LOST: f64 = 1.5;
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
    cuts(frames, &habits)
        .into_iter()
        .map(|set| set.frames.iter().map(|frame| frame.shot).collect())
        .collect()
}

/// A set that was cut out, and which of the body's patterns it follows.
struct Set<'a> {
    frames: &'a [Fired],
    pattern: Option<usize>,
}

fn cuts<'a>(frames: &'a [Fired], habits: &Habits) -> Vec<Set<'a>> {
    runs(frames, LONGEST_IDLE_S)
        .iter()
        .flat_map(|run| cut(run.frames, habits))
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
    let learned = [LONGEST_IDLE_UNSEEN_S, LONGEST_IDLE_S]
        .into_iter()
        .map(|longest_idle_s| pattern::candidates(&steady_runs(frames, longest_idle_s)))
        .find(|patterns| !patterns.is_empty());
    let mut habits = Habits {
        patterns: learned.unwrap_or_default(),
        cadence_s: cadence_s(frames),
        says_bracketing: frames.iter().any(|f| f.bracketing == Some(true)),
    };
    keep_useful(frames, &mut habits);
    habits
}

/// Cuts the stream with all candidates and keeps those that were of use; of one sequence turned in several ways, the most
/// useful one.
fn keep_useful(frames: &[Fired], habits: &mut Habits) {
    let mut used = vec![0; habits.patterns.len()];
    for set in cuts(frames, habits) {
        if let Some(pattern) = set.pattern {
            used[pattern] += 1;
        }
    }
    let mut ranked: Vec<(usize, Pattern)> = used
        .into_iter()
        .zip(habits.patterns.drain(..))
        .filter(|(used, _)| *used > 0)
        .collect();
    ranked.sort_by_key(|(used, _)| std::cmp::Reverse(*used));
    for (_, pattern) in ranked {
        if !habits
            .patterns
            .iter()
            .any(|p| pattern::is_turn(p, &pattern))
        {
            habits.patterns.push(pattern);
        }
    }
}

/// Runs in which the camera's word on bracketing does not change.
fn steady_runs(frames: &[Fired], longest_idle_s: f64) -> Vec<Run<'_>> {
    frames
        .chunk_by(|a, b| a.bracketing == b.bracketing)
        .flat_map(|steady| runs(steady, longest_idle_s))
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
    idle.sort_by(f64::total_cmp);
    idle.get(idle.len() / 2).copied().unwrap_or(0.5)
}

/// Cheapest cut of a run; dynamic programming over the place of the last cut.
fn cut<'a>(frames: &'a [Fired], habits: &Habits) -> Vec<Set<'a>> {
    let mut best: Vec<(f64, usize, Option<usize>)> = vec![(0.0, 0, None)];
    for end in 1..=frames.len() {
        let single = best[end - 1].0 + single_cost(frames, end - 1, habits);
        let mut cheapest = (single, end - 1, None);
        for start in (end.saturating_sub(MOST_FRAMES)..end.saturating_sub(1)).rev() {
            if !could_grow(&frames[start..end]) {
                break;
            }
            let Some((set, pattern)) = set_cost(&frames[start..end], habits) else {
                continue;
            };
            if best[start].0 + set < cheapest.0 {
                cheapest = (best[start].0 + set, start, pattern);
            }
        }
        best.push(cheapest);
    }
    traced(frames, &best)
}

/// The sets of the cheapest cut, read from its end.
fn traced<'a>(frames: &'a [Fired], best: &[(f64, usize, Option<usize>)]) -> Vec<Set<'a>> {
    let mut sets = Vec::new();
    let mut end = frames.len();
    while end > 0 {
        let (_, start, pattern) = best[end];
        if end - start >= 2 {
            sets.push(Set {
                frames: &frames[start..end],
                pattern,
            });
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

fn single_cost(frames: &[Fired], at: usize, habits: &Habits) -> f64 {
    let before = at.checked_sub(1).and_then(|before| frames[before].stops);
    let again = matches!((before, frames[at].stops), (Some(a), Some(b)) if same(a, b));
    match frames[at].bracketing {
        Some(true) => cost::SINGLE_BRACKETING,
        _ if again => cost::SINGLE_AGAIN,
        Some(false) if habits.says_bracketing => cost::SINGLE_NOT_BRACKETING,
        _ => cost::SINGLE,
    }
}

/// Cost of taking frames as one set, and the pattern it follows; `None` when they cannot be one.
fn set_cost(frames: &[Fired], habits: &Habits) -> Option<(f64, Option<usize>)> {
    let stops: Vec<f64> = frames.iter().map(|f| f.stops).collect::<Option<_>>()?;
    let said = frames.iter().all(|f| f.bracketing == Some(true));
    let seen = habits
        .patterns
        .iter()
        .enumerate()
        .filter_map(|(n, pattern)| Some((n, pattern.steps.len(), pattern.fit(&stops)?)))
        .filter(|(_, length, fit)| enough(frames.len(), *length, fit, said))
        .map(|(n, _, fit)| {
            let usual = pattern::is_usual_order(&habits.patterns[n].steps);
            let set = cost::SET + if usual { 0.0 } else { cost::UNUSUAL };
            (set + steps_cost(frames, &fit), Some(n))
        });
    let unseen = unseen_cost(frames, &stops, habits, said).map(|cost| (cost, None));
    let (steps, pattern) = seen.chain(unseen).min_by(|a, b| a.0.total_cmp(&b.0))?;
    let all = steps + idle_cost(frames, habits) + said_cost(frames, habits);
    Some((all, pattern))
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
    Some(base + steps_cost(frames, &fit) + if even { cost::EVEN } else { 0.0 })
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
