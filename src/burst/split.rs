//! Cuts a body's stream of frames into sets and single frames at least cost.

use super::cost;
use super::pattern::{self, Pattern};
use super::piece::{self, LONGEST_IDLE_S, LONGEST_IDLE_UNSEEN_S, Manner, Priced};
use super::stream::{Fired, Run};

/// Most kinds of sets a body is taken to repeat.
const MOST_PATTERNS: usize = 4;

/// The sets of a body's stream, each a list of shots in firing order.
pub(super) fn into_sets(frames: &[Fired]) -> Vec<Vec<usize>> {
    let manner = Manner::of(frames);
    let patterns = candidates(frames);
    let runs: Vec<Priced<'_>> = piece::runs(frames, LONGEST_IDLE_S)
        .iter()
        .filter(|run| run.frames.len() >= 2)
        .map(|run| piece::priced(run, &patterns, &manner))
        .collect();
    let known = chosen(&runs, patterns.len());
    runs.iter()
        .flat_map(|run| cut(run, &known))
        .map(|set| set.iter().map(|frame| frame.shot).collect())
        .collect()
}

/// Learns from runs as tight as cameras fire them; from looser ones when those show nothing.
fn candidates(frames: &[Fired]) -> Vec<Pattern> {
    [LONGEST_IDLE_UNSEEN_S, LONGEST_IDLE_S]
        .into_iter()
        .map(|longest_idle_s| pattern::candidates(&steady_runs(frames, longest_idle_s)))
        .find(|patterns| !patterns.is_empty())
        .unwrap_or_default()
}

/// Runs in which the camera's word on bracketing does not change.
fn steady_runs(frames: &[Fired], longest_idle_s: f64) -> Vec<Run<'_>> {
    frames
        .chunk_by(|a, b| a.bracketing == b.bracketing)
        .flat_map(|steady| piece::runs(steady, longest_idle_s))
        .collect()
}

/// Chooses among `count` patterns one by one, each time the one that makes the cheapest cut, as long as it saves more
/// than its price.
fn chosen(runs: &[Priced<'_>], count: usize) -> Vec<usize> {
    let total = |known: &[usize]| -> f64 {
        let cuts = runs.iter().map(|run| cheapest(run, known));
        let cost: f64 = cuts.filter_map(|cut| Some(cut.last()?.0)).sum();
        cost + cost::PATTERN * known.len() as f64
    };
    let mut known = Vec::new();
    let mut spent = total(&known);
    while known.len() < MOST_PATTERNS {
        let with = |n: usize| total(&[&known[..], &[n]].concat());
        let best = (0..count)
            .filter(|n| !known.contains(n))
            .map(|n| (with(n), n))
            .min_by(|a, b| a.0.total_cmp(&b.0));
        match best {
            Some((cost, n)) if cost < spent => {
                spent = cost;
                known.push(n);
            }
            _ => break,
        }
    }
    known
}

/// For each number of frames from the start of a run: the cost of their cheapest cut, and where its last piece starts;
/// by dynamic programming over the place of the last cut.
fn cheapest(run: &Priced<'_>, known: &[usize]) -> Vec<(f64, usize)> {
    let mut best = vec![(0.0, 0)];
    for end in 1..=run.frames.len() {
        let mut least = (best[end - 1].0 + run.single[end - 1], end - 1);
        for piece in &run.ending[end] {
            let Some(cost) = piece.cost(known) else {
                continue;
            };
            if best[piece.start].0 + cost < least.0 {
                least = (best[piece.start].0 + cost, piece.start);
            }
        }
        best.push(least);
    }
    best
}

/// The sets of the cheapest cut of a run.
fn cut<'a>(run: &Priced<'a>, known: &[usize]) -> Vec<&'a [Fired]> {
    let best = cheapest(run, known);
    let mut sets = Vec::new();
    let mut end = run.frames.len();
    while end > 0 {
        let start = best[end].1;
        if end - start >= 2 {
            sets.push(&run.frames[start..end]);
        }
        end = start;
    }
    sets.reverse();
    sets
}
