//! A body that sees no disc: the wide view's sky darkens and brightens with the Sun's free area.

use super::belief;
use super::course::Course;
use super::measured::reading;
use super::{ClockFrame, changed};
use crate::domain::median;
use crate::domain::saturation::FULL_PEAK;

/// Least fall of the sky's light over the frames, in stops, for the fall to be the eclipse.
const LEAST_FALL_STOPS: f64 = 4.0;

/// Fewest frames.
const FEWEST: usize = 6;

/// Most frames used, evenly spread.
const MOST: usize = 200;

/// Scatter of a sky's light about the free area, in stops: haze, clouds, the scene (our choice).
const SCATTER_STOPS: f64 = 0.4;

/// Share of sunlight that a covered Sun still leaves in the sky: from beyond the shadow (from memory: some 10,000 to
/// 1,000 times fainter than day).
const FLOORS: [f64; 5] = [3e-5, 1e-4, 3e-4, 1e-3, 3e-3];

/// Error common to all frames, in seconds: the sky does not darken everywhere at once (our choice).
const COMMON_SIGMA_S: f64 = 3.0;

/// Step of the search in seconds.
const STEP_S: f64 = 2.0;

/// Longest reach of the search on either side of the camera's word, in seconds.
const REACH_S: f64 = 14.0 * 3600.0;

/// A clock error read off the sky.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Darkening {
    pub(super) tau_s: f64,
    pub(super) sigma_s: f64,
    pub(super) frames: u32,
}

struct Sky {
    reading_s: f64,
    stops: f64,
}

/// The clock error at which the sky's light follows the free area best; `None` when the sky tells nothing. `zone_s` is the
/// zone the clock was read in.
pub(super) fn solve(frames: &[ClockFrame], course: &Course, zone_s: i32) -> Option<Darkening> {
    let sky = thinned(skies(frames, course));
    if sky.len() < FEWEST || fall_stops(&sky) < LEAST_FALL_STOPS {
        return None;
    }
    let zone = f64::from(zone_s);
    let from_s = (sky[0].reading_s - course.length_s()).max(zone - REACH_S);
    let to_s = sky[sky.len() - 1].reading_s.min(zone + REACH_S);
    let count = ((to_s - from_s) / STEP_S).max(0.0) as usize;
    let costs: Vec<f64> = (0..count)
        .map(|n| {
            let tau_s = from_s + n as f64 * STEP_S;
            cost(&sky, course, tau_s) + belief::cost(tau_s - zone, zone_s)
        })
        .collect();
    let best = (0..count).min_by(|&a, &b| costs[a].total_cmp(&costs[b]))?;
    let (tau_s, sigma_s) = moments(&costs, best, from_s);
    let fits = costs[best] < 4.0 * sky.len() as f64;
    let alone = sigma_s < 120.0;
    (fits && alone).then_some(Darkening {
        tau_s,
        sigma_s: sigma_s.hypot(COMMON_SIGMA_S),
        frames: sky.len() as u32,
    })
}

/// Mean and one sigma of the clock error over all that is likely.
fn moments(costs: &[f64], best: usize, from_s: f64) -> (f64, f64) {
    let (mut weight, mut first, mut second) = (0.0, 0.0, 0.0);
    for (n, cost) in costs.iter().enumerate() {
        let w = (-(cost - costs[best]) / 2.0).exp();
        let off_s = (n as f64 - best as f64) * STEP_S;
        weight += w;
        first += w * off_s;
        second += w * off_s * off_s;
    }
    let mean_s = first / weight;
    let square = (second / weight - mean_s * mean_s).max(STEP_S * STEP_S / 12.0);
    (from_s + best as f64 * STEP_S + mean_s, square.sqrt())
}

fn cost(sky: &[Sky], course: &Course, tau_s: f64) -> f64 {
    FLOORS
        .iter()
        .map(|floor| cost_with(sky, course, tau_s, *floor))
        .fold(f64::INFINITY, f64::min)
}

fn cost_with(sky: &[Sky], course: &Course, tau_s: f64, floor: f64) -> f64 {
    let mut off: Vec<f64> = sky
        .iter()
        .map(|s| s.stops - (course.at(s.reading_s - tau_s).free + floor).log2())
        .collect();
    let level = median(&mut off).unwrap_or(0.0);
    off.iter()
        .map(|o| ((o - level) / SCATTER_STOPS).powi(2).min(9.0))
        .sum()
}

fn skies(frames: &[ClockFrame], course: &Course) -> Vec<Sky> {
    let mut sky: Vec<Sky> = frames
        .iter()
        .filter(|frame| !changed::is_changed(frame))
        .filter_map(|frame| {
            let level = frame.look?.sky;
            let (reading_s, _) = reading(&frame.stamp?, frame.shutter_s, course);
            let stops = level.log2() - frame.exposure_stops?;
            (level > 1e-5 && level < FULL_PEAK && stops.is_finite())
                .then_some(Sky { reading_s, stops })
        })
        .collect();
    sky.sort_by(|a, b| a.reading_s.total_cmp(&b.reading_s));
    sky
}

fn thinned(sky: Vec<Sky>) -> Vec<Sky> {
    let step = sky.len().div_ceil(MOST).max(1);
    sky.into_iter().step_by(step).collect()
}

fn fall_stops(sky: &[Sky]) -> f64 {
    let most = sky
        .iter()
        .map(|s| s.stops)
        .fold(f64::NEG_INFINITY, f64::max);
    let least = sky.iter().map(|s| s.stops).fold(f64::INFINITY, f64::min);
    most - least
}
