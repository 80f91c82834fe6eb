//! The sets a body usually fires: which steps, in which order.

use super::cost;
use super::stream::{Fired, Run};
use crate::domain::upper_median;

/// Exposures closer than this are the same, in stops. Half a third of a stop, the finest step cameras offer; nominal
/// shutter times (1/60 for 1/64) are rounded by up to 0.1 stop.
pub(super) const SAME_STOPS: f64 = 0.16;

/// A learned set: exposures in stops from its first frame, in firing order, all different.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Pattern {
    pub(super) steps: Vec<f64>,
    /// How many whole sets showed it.
    seen: usize,
    /// More that a set of it costs, for an order that cameras do not offer.
    pub(super) extra_cost: f64,
}

/// How a set of frames lies in a pattern.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Fit {
    /// Place of each frame in the pattern.
    pub(super) places: Vec<usize>,
    /// Frames of the pattern that are not there.
    pub(super) missing: usize,
    /// Frames fired twice.
    pub(super) twice: usize,
    /// Whether the frames there are follow each other in the pattern from its start or to its end.
    pub(super) interrupted: bool,
}

/// Whether two exposures are the same.
pub(super) fn same(a: f64, b: f64) -> bool {
    (a - b).abs() < SAME_STOPS
}

impl Pattern {
    fn new(steps: Vec<f64>, seen: usize) -> Self {
        let usual = is_usual_order(&steps);
        Self {
            steps,
            seen,
            extra_cost: if usual { 0.0 } else { cost::UNUSUAL },
        }
    }

    /// Lays exposures (in stops, firing order) into the pattern: the base is free, the order is not. `None` when they do
    /// not fit.
    pub(super) fn fit(&self, stops: &[f64]) -> Option<Fit> {
        let first = *stops.first()?;
        (0..self.steps.len())
            .filter_map(|at| self.fit_from(stops, first - self.steps[at], at))
            .min_by_key(|fit| (fit.missing, fit.twice))
    }

    /// The same with the base given and the first frame at place `at`.
    fn fit_from(&self, stops: &[f64], base: f64, at: usize) -> Option<Fit> {
        let (mut place, mut twice, mut holes) = (at, 0, 0);
        let mut places = vec![at];
        for (n, &e) in stops.iter().enumerate().skip(1) {
            let inside = place > at && n + 1 < stops.len();
            if inside && same(e, base + self.steps[place]) {
                twice += 1;
                places.push(place);
                continue;
            }
            let next = (place + 1..self.steps.len()).find(|&k| same(e, base + self.steps[k]))?;
            holes += next - place - 1;
            place = next;
            places.push(place);
        }
        let missing = self.steps.len() + twice - stops.len();
        let ends_whole = at == 0 || place + 1 == self.steps.len();
        Some(Fit {
            places,
            missing,
            twice,
            interrupted: holes == 0 && ends_whole,
        })
    }
}

/// Candidates for a body's usual sets, most frames explained first.
///
/// They are the sequences of different exposures its runs show twice or more, and the sets cameras offer at the steps
/// its runs show, seen whole or not: where every set lost a frame none is whole.
pub(super) fn candidates(runs: &[Run<'_>]) -> Vec<Pattern> {
    let stretches: Vec<Vec<f64>> = runs
        .iter()
        .flat_map(|run| distinct_stretches(run.frames))
        .collect();
    let mut patterns: Vec<Pattern> = Vec::new();
    for steps in &stretches {
        match patterns.iter_mut().find(|p| alike(&p.steps, steps)) {
            Some(known) => known.seen += 1,
            None => patterns.push(Pattern::new(steps.clone(), 1)),
        }
    }
    patterns.retain(|p| p.seen >= 2);
    patterns.sort_by_key(|p| std::cmp::Reverse(p.seen * p.steps.len()));
    patterns.truncate(MOST_SEEN);
    let offered: Vec<Pattern> = offered(&stretches)
        .into_iter()
        .filter(|o| !patterns.iter().any(|p| alike(&p.steps, &o.steps)))
        .collect();
    patterns.extend(offered);
    patterns
}

/// Most sequences kept that were seen: bodies repeat two or three kinds of sets.
const MOST_SEEN: usize = 12;

/// Most steps of which the sets on offer are tried.
const MOST_STEPS: usize = 3;

/// The sets of three to nine frames that cameras offer, at the commonest steps of the stretches.
fn offered(stretches: &[Vec<f64>]) -> Vec<Pattern> {
    let mut steps: Vec<(usize, f64)> = Vec::new();
    for step in stretches.iter().filter_map(|s| smallest_step(s)) {
        match steps.iter_mut().find(|(_, known)| same(*known, step)) {
            Some((seen, _)) => *seen += 1,
            None => steps.push((1, step)),
        }
    }
    steps.sort_by_key(|(seen, _)| std::cmp::Reverse(*seen));
    let sizes = [3, 5, 7, 9];
    steps
        .iter()
        .take(MOST_STEPS)
        .flat_map(|&(_, step)| {
            sizes
                .iter()
                .flat_map(|&n| camera_orders(n))
                .map(move |order| at_step(&order, step))
        })
        .collect()
}

/// Ranks turned to exposures from the first frame. The step is rounded to a third of a stop, as cameras step.
fn at_step(order: &[usize], step: f64) -> Pattern {
    let step = (step * 3.0).round().max(1.0) / 3.0;
    let first = order[0] as f64;
    let steps = order.iter().map(|&k| (k as f64 - first) * step).collect();
    Pattern::new(steps, 0)
}

fn from_first(stops: &[f64]) -> Vec<f64> {
    stops.iter().map(|e| e - stops[0]).collect()
}

fn alike(a: &[f64], b: &[f64]) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(x, y)| same(*x, *y))
}

/// The longest stretches in which no exposure comes again, in steps from their first frame; those of fewer than three
/// frames are left out (of two, unless the camera said it was bracketing).
fn distinct_stretches(frames: &[Fired]) -> Vec<Vec<f64>> {
    let timed: Vec<(f64, bool)> = frames
        .iter()
        .filter_map(|f| Some((f.stops?, f.bracketing == Some(true))))
        .collect();
    let (mut start, mut stretches) = (0, Vec::new());
    for end in 0..=timed.len() {
        let again = timed
            .get(end)
            .and_then(|(next, _)| timed[start..end].iter().rposition(|(e, _)| same(*e, *next)));
        if again.is_none() && end < timed.len() {
            continue;
        }
        stretches.push(&timed[start..end]);
        start += again.map_or(0, |at| at + 1);
    }
    stretches
        .into_iter()
        .filter(|s| {
            s.len()
                >= if s.iter().all(|(_, said)| *said) {
                    2
                } else {
                    3
                }
        })
        .map(|s| from_first(&s.iter().map(|(e, _)| *e).collect::<Vec<_>>()))
        .collect()
}

/// Whether exposures come in an order cameras offer: ever more light, ever less, or evenly stepped in a `0 - +` order.
pub(super) fn is_usual_order(stops: &[f64]) -> bool {
    is_monotone(stops) || even_places(stops).is_some_and(|places| is_camera_order(&places))
}

/// Whether each exposure is more than the one before, or each less.
pub(super) fn is_monotone(stops: &[f64]) -> bool {
    let rising = |a: f64, b: f64| b - a >= SAME_STOPS;
    stops.windows(2).all(|w| rising(w[0], w[1])) || stops.windows(2).all(|w| rising(w[1], w[0]))
}

/// Ranks of evenly stepped exposures, 0 the darkest; `None` when the steps are uneven by more than rounding.
fn even_places(stops: &[f64]) -> Option<Vec<usize>> {
    let mut sorted = stops.to_vec();
    sorted.sort_by(f64::total_cmp);
    let (low, high) = (*sorted.first()?, *sorted.last()?);
    let step = (high - low) / (stops.len().max(2) - 1) as f64;
    let even = sorted
        .iter()
        .enumerate()
        .all(|(n, e)| same(*e, low + step * n as f64));
    let ranks = stops
        .iter()
        .map(|e| sorted.iter().take_while(|s| *s < e).count());
    (even && step > SAME_STOPS).then(|| ranks.collect())
}

/// Whether the ranks (0 darkest) come in one of the orders cameras offer (common practice).
fn is_camera_order(ranks: &[usize]) -> bool {
    camera_orders(ranks.len())
        .iter()
        .any(|order| order == ranks)
}

/// The orders cameras offer for `n` frames, as ranks by exposure.
pub(super) fn camera_orders(n: usize) -> Vec<Vec<usize>> {
    let rising: Vec<usize> = (0..n).collect();
    let falling: Vec<usize> = rising.iter().rev().copied().collect();
    let mut orders = vec![rising, falling];
    if n >= 3 && n % 2 == 1 {
        let middle = n / 2;
        let zigzag = |under_first: bool| {
            let pair = move |k: usize| match under_first {
                true => [middle - k, middle + k],
                false => [middle + k, middle - k],
            };
            std::iter::once(middle)
                .chain((1..=middle).flat_map(pair))
                .collect::<Vec<_>>()
        };
        let led = |rest: Vec<usize>| std::iter::once(middle).chain(rest).collect::<Vec<_>>();
        let under: Vec<usize> = (0..middle).collect();
        let over: Vec<usize> = (middle + 1..n).collect();
        let reversed = |side: &[usize]| side.iter().rev().copied().collect::<Vec<_>>();
        orders.extend([
            zigzag(true),
            zigzag(false),
            led([under.clone(), over.clone()].concat()),
            led([reversed(&over), reversed(&under)].concat()),
            led([reversed(&under), over.clone()].concat()),
            led([over, reversed(&under)].concat()),
        ]);
    }
    orders
}

/// Lays exposures into an evenly stepped set of a usual order that was never seen whole, one or two frames missing.
///
/// Five frames there allow one missing, seven two.
pub(super) fn fit_unseen(stops: &[f64]) -> Option<Fit> {
    if is_usual_order(stops) {
        return Some(Fit {
            places: (0..stops.len()).collect(),
            missing: 0,
            twice: 0,
            interrupted: true,
        });
    }
    let allowed = match stops.len() {
        0..=4 => return None,
        5 | 6 => 1,
        _ => 2,
    };
    let step = smallest_step(stops)?;
    (stops.len() + 1..=stops.len() + allowed)
        .flat_map(camera_orders)
        .filter_map(|order| {
            let steps = order.iter().map(|&rank| rank as f64 * step).collect();
            Pattern::new(steps, 0).fit(stops)
        })
        .filter(|fit| fit.twice == 0)
        .min_by_key(|fit| fit.missing)
}

/// Middle one of the differences between neighbouring exposures: the step, when few are missing.
fn smallest_step(stops: &[f64]) -> Option<f64> {
    let mut sorted = stops.to_vec();
    sorted.sort_by(f64::total_cmp);
    let mut differences: Vec<f64> = sorted.windows(2).map(|w| w[1] - w[0]).collect();
    upper_median(&mut differences).filter(|step| *step >= SAME_STOPS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nine_in_zigzag_order_with_two_dropped_fit_their_pattern() {
        let pattern = Pattern::new(vec![0.0, -1.0, 1.0, -2.0, 2.0, -3.0, 3.0, -4.0, 4.0], 2);
        assert_eq!(
            pattern.fit(&[-6.0, -5.0, -8.0, -7.0]),
            None,
            "it skips back"
        );
        let fit = pattern
            .fit(&[-6.0, -5.0, -8.0, -4.0, -9.0, -10.0, -2.0])
            .unwrap();
        assert_eq!((fit.missing, fit.twice), (2, 0));
    }

    #[test]
    fn nominal_shutter_times_count_as_even() {
        let stops: Vec<f64> = [2000.0, 1000.0, 500.0, 250.0, 125.0, 60.0, 30.0, 15.0, 8.0]
            .iter()
            .map(|d: &f64| -d.log2())
            .collect();
        assert!(even_places(&stops).is_some());
    }
}
