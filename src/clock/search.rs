//! Where on the clock the frames can lie at all: a search by the distance of the centres alone.
//!
//! The distance does not depend on how the camera was turned, and the order of the frames tells the side of maximum. The
//! search runs over every clock error that puts a frame into the eclipse, so a wrong zone, date or year is found like
//! a wrong minute.

use super::course::Course;
use super::measured::Measured;

/// Step of the search in seconds.
const STEP_S: f64 = 15.0;

/// A frame's part in the cost of a clock error is at most this.
const MOST_COST: f64 = 25.0;

/// Most places kept.
const MOST_PLACES: usize = 8;

/// Places that cost this much more than the best, and this many times as much, are past hope: no fit makes up for lengths so wrong
/// (our choice: wide, as stated errors may be too small; then the best costs much as well).
const HOPELESS: (f64, f64) = (60.0, 3.0);

/// A frame farther than this from the next one, in seconds, is of another shoot.
const SHOOT_GAP_S: f64 = 6.0 * 3600.0;

/// The frames of the shoot that has most of them; clock errors can be told only from one shoot. `measured` is in the
/// camera's time order.
pub(super) fn main_shoot(measured: &[Measured]) -> &[Measured] {
    measured
        .chunk_by(|a, b| b.reading_s - a.reading_s <= SHOOT_GAP_S)
        .max_by_key(|shoot| shoot.len())
        .unwrap_or(&[])
}

/// Likely clock errors (camera reading as UTC, minus UTC) in seconds, best first.
pub(super) fn places(shoot: &[Measured], course: &Course) -> Vec<f64> {
    let (Some(first), Some(last)) = (shoot.first(), shoot.last()) else {
        return Vec::new();
    };
    let from_s = first.reading_s - course.length_s();
    let count = ((last.reading_s - from_s) / STEP_S).ceil().max(1.0) as usize + 1;
    let costs: Vec<f64> = (0..count)
        .map(|n| cost(shoot, course, from_s + n as f64 * STEP_S))
        .collect();
    let mut low: Vec<usize> = (0..count)
        .filter(|&n| {
            let below =
                |m: Option<usize>| m.and_then(|m| costs.get(m)).is_none_or(|c| costs[n] <= *c);
            below(n.checked_sub(1)) && below(Some(n + 1))
        })
        .collect();
    low.sort_by(|&a, &b| costs[a].total_cmp(&costs[b]));
    low.truncate(MOST_PLACES);
    let best = low.first().map_or(0.0, |&n| costs[n]);
    let most = (best + HOPELESS.0).max(best * HOPELESS.1);
    low.retain(|&n| costs[n] <= most);
    low.into_iter()
        .map(|n| from_s + n as f64 * STEP_S)
        .collect()
}

/// How badly the distances fit a clock error, each frame's part bounded.
fn cost(shoot: &[Measured], course: &Course, tau_s: f64) -> f64 {
    shoot
        .iter()
        .map(|m| {
            let t_s = m.reading_s - tau_s;
            let predicted = course.at(t_s).length();
            let rate = (course.at(t_s + STEP_S).length() - course.at(t_s - STEP_S).length())
                / (2.0 * STEP_S);
            let (between, model) = (rate * STEP_S / 2.0, 0.003 * predicted);
            let sigma = (m.sigma * m.sigma + between * between + model * model).sqrt();
            let off = ((m.right * m.right + m.up * m.up).sqrt() - predicted) / sigma;
            (off * off).min(MOST_COST)
        })
        .sum()
}
