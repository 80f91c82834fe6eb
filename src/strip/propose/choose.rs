//! Which frames of a side are taken: the best chain of them, by steps of time or of obscuration.
//!
//! A chain of frames is worth what its steps are: one for each frame, less what speaks against the frame and less what its
//! distance from the last one is off an even step. The best chain is found exactly, by dynamic programming over the frames in
//! time order (R. Bellman 1957, "Dynamic Programming"), so that no frame is refused but for a better one.

use std::collections::BTreeMap;

use super::candidate::Candidate;
use super::wish::{By, MOMENT_S, MOST_EACH_SIDE, Wish};
use crate::domain::{Utc, upper_median};

/// Partials every five minutes (common practice).
const USUAL_STEP_S: f64 = 300.0;

/// With no more moments than this on the card every one counts: steps are no longer than the usual one.
const FEW_MOMENTS: usize = 8;

/// What is nearer than this part of a step to the last frame costs more than any frame is worth; a minute in five does no harm (common
/// practice), so the cost rises steeply between the two.
const CROWDED: f64 = 0.5;
const CROWDED_POWER: i32 = 4;

/// What a whole step too far costs where the number of frames is given, and where it is not the most that a gap of any width does:
/// less than any frame is worth, so that a gap is never left open for the look of it.
const FAR: f64 = 1.0;
const FAR_AT_MOST: f64 = 0.05;

/// What a frame of another body than most costs: its disc has another sharpness and colour. Less than any flaw that a person sees in a
/// strip, so that of two cameras the one with the clear frame is taken (our choice).
const OTHER_BODY: f64 = 0.15;

/// Most that speaks against any frame.
const MOST_COST: f64 = 0.9;

/// Frames closer together than these count as one moment, the first that leaves as many moments as were asked for.
const MOMENTS_S: [f64; 4] = [MOMENT_S, 10.0, 2.0, 0.0];

/// One side of the strip: candidates with their distance from the middle, counted outwards.
pub(super) struct Side<'a> {
    frames: Vec<Outward<'a>>,
}

/// A candidate and its seconds from the inner end of its side.
#[derive(Clone, Copy)]
pub(super) struct Outward<'a> {
    pub(super) out_s: f64,
    pub(super) frame: &'a Candidate,
}

impl<'a> Side<'a> {
    pub(super) fn new(frames: &[&'a Candidate], inner: Utc) -> Self {
        let outward = |frame: &&'a Candidate| Outward {
            out_s: frame.utc.seconds_since(inner).abs(),
            frame,
        };
        let mut frames: Vec<Outward<'a>> = frames.iter().map(outward).collect();
        frames.sort_by(|a, b| {
            a.out_s
                .total_cmp(&b.out_s)
                .then_with(|| a.frame.name.cmp(&b.frame.name))
        });
        Self { frames }
    }

    fn length_s(&self) -> f64 {
        self.frames.last().map_or(0.0, |f| f.out_s)
    }

    /// The frame with the least against it of each moment, in order; frames within `moment_s` of its first one are one.
    fn moments(&self, moment_s: f64, body: &str) -> Vec<Outward<'a>> {
        let mut best: Vec<Outward<'a>> = Vec::new();
        let mut start_s = f64::NEG_INFINITY;
        for frame in &self.frames {
            match best.last_mut() {
                Some(last) if frame.out_s - start_s < moment_s => {
                    if cost(frame, body) < cost(last, body) {
                        *last = *frame;
                    }
                }
                _ => {
                    start_s = frame.out_s;
                    best.push(*frame);
                }
            }
        }
        best
    }
}

/// What is chosen of the two sides, outwards, and the step in seconds that was aimed at.
pub(super) struct Chosen<'a> {
    pub(super) picks: [Vec<Outward<'a>>; 2],
    pub(super) step_s: f64,
}

/// The frames of both sides.
pub(super) fn chosen<'a>(sides: &[Side<'a>; 2], wish: &Wish) -> Chosen<'a> {
    let body = main_body(sides);
    let step_s = step_s(sides, wish);
    let picks = [0, 1].map(|n| match wish.by {
        By::Time => by_time(&sides[n], step_s, wish, &body),
        By::Obscuration => by_obscuration(&sides[n], wish, &body),
    });
    Chosen { picks, step_s }
}

fn cost(frame: &Outward<'_>, body: &str) -> f64 {
    let other = frame.frame.body != body;
    (frame.frame.cost + if other { OTHER_BODY } else { 0.0 }).min(MOST_COST)
}

/// The body with the most frames; of equals the first by name.
fn main_body(sides: &[Side<'_>; 2]) -> String {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for frame in sides.iter().flat_map(|side| &side.frames) {
        *counts.entry(frame.frame.body.as_str()).or_default() += 1;
    }
    let most = counts.values().copied().max();
    let found = counts.iter().find(|(_, n)| Some(**n) == most);
    found.map_or_else(String::new, |(body, _)| (*body).to_owned())
}

/// The step that frames are to keep: the card's own pace, or whole multiples of it when that gives too many frames.
fn step_s(sides: &[Side<'_>; 2], wish: &Wish) -> f64 {
    let moments = sides.each_ref().map(|side| side.moments(MOMENT_S, ""));
    let mut paces: Vec<f64> = moments
        .iter()
        .flat_map(|side| side.windows(2).map(|pair| pair[1].out_s - pair[0].out_s))
        .collect();
    let length_s = sides
        .iter()
        .map(Side::length_s)
        .fold(0.0, f64::max)
        .max(1.0);
    let pace_s = upper_median(&mut paces).unwrap_or(length_s);
    let few = moments.iter().map(Vec::len).sum::<usize>() <= FEW_MOMENTS;
    let pace_s = if few {
        pace_s.min(USUAL_STEP_S)
    } else {
        pace_s
    };
    if let Some(asked) = wish.each_side {
        // From half a step beside the middle to the outermost frame.
        return length_s / (asked.max(1) as f64 - 0.5);
    }
    let least_s = length_s / (MOST_EACH_SIDE as f64 + 0.5);
    pace_s * (least_s / pace_s - 0.1).ceil().max(1.0)
}

/// What a step of `steps` even ones costs; `most` where it is too long.
fn uneven(steps: f64, most: f64) -> f64 {
    if steps < 1.0 {
        ((1.0 - steps) / CROWDED).powi(CROWDED_POWER)
    } else {
        (FAR * (steps - 1.0).powi(2)).min(most)
    }
}

fn by_time<'a>(side: &Side<'a>, step_s: f64, wish: &Wish, body: &str) -> Vec<Outward<'a>> {
    let frames = enough(side, wish, body);
    let most = match wish.each_side {
        Some(_) => f64::INFINITY,
        None => FAR_AT_MOST,
    };
    let links = Links {
        worth: frames.iter().map(|f| 1.0 - cost(f, body)).collect(),
        apart: &|from, to| uneven((frames[to].out_s - frames[from].out_s) / step_s, most),
    };
    let count = match wish.each_side {
        Some(asked) => asked.min(frames.len())..=asked.min(frames.len()),
        None => 0..=MOST_EACH_SIDE.min(frames.len()),
    };
    let chain = links.best_chain(count);
    chain.into_iter().map(|i| frames[i]).collect()
}

/// The best frame of each moment, moments being taken shorter where there are fewer than were asked for.
fn enough<'a>(side: &Side<'a>, wish: &Wish, body: &str) -> Vec<Outward<'a>> {
    let asked = wish.each_side.unwrap_or(0);
    let all = MOMENTS_S.map(|moment_s| side.moments(moment_s, body));
    let found = all.iter().position(|moments| moments.len() >= asked);
    all.into_iter()
        .nth(found.unwrap_or(MOMENTS_S.len() - 1))
        .unwrap_or_default()
}

/// What a chain of frames is worth.
struct Links<'a> {
    /// What each frame is worth.
    worth: Vec<f64>,
    /// What it costs that one frame follows another.
    apart: &'a dyn Fn(usize, usize) -> f64,
}

impl Links<'_> {
    /// The chain of most worth with a number of frames within `count`, in order.
    fn best_chain(&self, count: std::ops::RangeInclusive<usize>) -> Vec<usize> {
        let n = self.worth.len();
        // Worth of the best chain of so many frames that ends at each, and the frame before the last of it.
        let mut layers: Vec<Vec<(f64, usize)>> = vec![
            self.worth
                .iter()
                .map(|worth| (*worth, usize::MAX))
                .collect(),
        ];
        for k in 1..*count.end() {
            let last = &layers[k - 1];
            let ending = |i: usize| {
                (0..i)
                    .map(|j| (last[j].0 - (self.apart)(j, i) + self.worth[i], j))
                    .max_by(|a, b| a.0.total_cmp(&b.0))
                    .unwrap_or((f64::NEG_INFINITY, usize::MAX))
            };
            layers.push((0..n).map(ending).collect());
        }
        let wanted = |k: &usize| count.contains(&(k + 1));
        let best = (0..layers.len())
            .filter(wanted)
            .flat_map(|k| (0..n).map(move |i| (k, i)))
            .max_by(|a, b| layers[a.0][a.1].0.total_cmp(&layers[b.0][b.1].0));
        let Some((k, mut i)) = best.filter(|_| *count.end() > 0) else {
            return Vec::new();
        };
        let mut chain = vec![i];
        for layer in layers[1..=k].iter().rev() {
            i = layer[i].1;
            chain.push(i);
        }
        chain.reverse();
        chain
    }
}

/// Equal steps of obscuration; frames of which it is not known are passed over. Without a number asked for a step that no
/// frame is near stays empty.
fn by_obscuration<'a>(side: &Side<'a>, wish: &Wish, body: &str) -> Vec<Outward<'a>> {
    let mut frames = enough(side, wish, body);
    frames.retain(|f| f.frame.obscuration.is_some());
    let count = steps_of_obscuration(wish);
    let off = |i: usize, step: usize| {
        let due = due_obscuration(step, count);
        let covered = frames[i].frame.obscuration.unwrap_or(due);
        2.0 * (covered - due).abs() * count as f64
    };
    let open = |i: usize, step: usize| wish.each_side.is_some() || off(i, step) <= 1.0;
    // Most steps filled first, then least against it; the steps run outwards, as the frames do.
    let mut best: Vec<(usize, f64, Vec<usize>)> = vec![(0, 0.0, Vec::new()); frames.len() + 1];
    for step in 0..count {
        for i in (0..frames.len()).rev() {
            if !open(i, step) {
                continue;
            }
            let (filled, spent, chain) = &best[i];
            let spent = spent + off(i, step).powi(2) + cost(&frames[i], body);
            let next = (filled + 1, spent, [chain.as_slice(), &[i]].concat());
            for place in &mut best[i + 1..] {
                // What is no better with fewer frames is none with more.
                if (next.0, place.1) <= (place.0, next.1) {
                    break;
                }
                *place = next.clone();
            }
        }
    }
    let chain = best.pop().map_or_else(Vec::new, |(.., chain)| chain);
    chain.into_iter().map(|i| frames[i]).collect()
}

/// Steps of obscuration on either side.
pub(super) fn steps_of_obscuration(wish: &Wish) -> usize {
    wish.each_side.unwrap_or(MOST_EACH_SIDE / 2).max(1)
}

/// The obscuration due at a step, counted outwards from 0.
pub(super) fn due_obscuration(step: usize, count: usize) -> f64 {
    ((count - 1 - step) as f64 + 0.5) / count as f64
}
