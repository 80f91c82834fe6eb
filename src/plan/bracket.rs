//! Which bracket reaches from the beads to the outer corona, and how long it takes.

use serde::Serialize;

use super::exposure::{BRIGHTEST_Q, FAINTEST_Q, exposure_s};
use super::gear::Gear;

/// Brackets cameras offer: frames and stops between them (common practice).
const OFFERED: [(u32, f64); 9] = [
    (9, 1.0),
    (7, 1.0),
    (5, 1.0),
    (9, 2.0),
    (7, 2.0),
    (5, 2.0),
    (3, 2.0),
    (5, 3.0),
    (3, 3.0),
];

/// Widest step a merge is comfortable with, in stops; wider ones are listed but not chosen. Common practice.
const WIDEST_STEP_STOPS: f64 = 2.0;

/// Stops a frame may be from a feature's own exposure and still hold it. Common practice for raw files.
pub const LATITUDE_STOPS: f64 = 1.0;

/// Seconds it takes to dial in the base of the next set by hand (common practice).
const REDIAL_S: f64 = 3.0;

/// One way to cover the range.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BracketChoice {
    /// Frames of one set.
    pub frames: u32,
    /// Stops between frames.
    pub step_stops: f64,
    /// Sets, one after the other from ever longer bases, that cover the range.
    pub sets: u32,
    /// Exposures in seconds, set by set, shortest first.
    pub exposures_s: Vec<f64>,
    /// Seconds for all of them: exposures, the camera's pace, and setting the base anew between sets.
    pub takes_s: f64,
}

/// The choice and the others.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Brackets {
    /// Stops from the beads to the corona at 4 radii.
    pub range_stops: f64,
    /// Stops by which the beads want a faster shutter than the camera has; 0 where it is fast enough.
    pub beyond_fastest_stops: f64,
    /// The one the sheet counts with: the person's, else the quickest with steps a merge is comfortable with.
    pub chosen: BracketChoice,
    /// All that were weighed, quickest first.
    pub weighed: Vec<BracketChoice>,
}

/// Weighs the brackets cameras offer, and the person's own, for a Sun whose light the air takes `air_stops` of.
pub(super) fn brackets(gear: &Gear, air_stops: f64) -> Brackets {
    let own = gear
        .bracket_frames
        .map(|n| (n, gear.bracket_step_stops.unwrap_or(1.0)));
    let own = own.or(gear
        .bracket_step_stops
        .map(|step| (gear.limits.most_frames, step)));
    let mut weighed: Vec<_> = OFFERED
        .iter()
        .filter(|(n, step)| *n <= gear.limits.most_frames && *step <= gear.limits.widest_step_stops)
        .map(|&(n, step)| covering(gear, air_stops, n, step))
        .collect();
    weighed.sort_by(|a, b| a.takes_s.total_cmp(&b.takes_s));
    let quickest = weighed
        .iter()
        .find(|c| c.step_stops <= WIDEST_STEP_STOPS)
        .or(weighed.first())
        .cloned();
    let single = || covering(gear, air_stops, 1, 1.0);
    let chosen = own.map_or_else(
        || quickest.unwrap_or_else(single),
        |(n, step)| covering(gear, air_stops, n, step),
    );
    let due_s = exposure_s(gear.f_number, gear.iso, BRIGHTEST_Q) * air_stops.exp2();
    Brackets {
        range_stops: BRIGHTEST_Q - FAINTEST_Q,
        beyond_fastest_stops: (gear.limits.fastest_s / due_s).log2().max(0.0),
        chosen,
        weighed,
    }
}

/// The fewest sets of `frames` at `step_stops` that come within [`LATITUDE_STOPS`] of both ends of the range, within the shutters the
/// camera has: exposures beyond its fastest or slowest are brought to it.
///
/// A run that falls short stands in the middle of the range; one that is long enough starts at the beads, its sets
/// overlapping.
fn covering(gear: &Gear, air_stops: f64, frames: u32, step_stops: f64) -> BracketChoice {
    let range = BRIGHTEST_Q - FAINTEST_Q;
    let needed = ((range - 2.0 * LATITUDE_STOPS) / step_stops).ceil() + 1.0;
    let sets = (needed / f64::from(frames)).ceil().max(1.0) as u32;
    let set_reach = f64::from(frames - 1) * step_stops;
    let run_reach = f64::from(sets * frames - 1) * step_stops;
    let reach = run_reach.min(range).max(set_reach);
    let first_q = BRIGHTEST_Q - (range - reach).max(0.0) / 2.0;
    let shift = (reach - set_reach) / f64::from(sets.saturating_sub(1).max(1));
    let limits = &gear.limits;
    let exposures_s: Vec<f64> = (0..sets)
        .flat_map(|set| (0..frames).map(move |n| (set, n)))
        .map(|(set, n)| first_q - f64::from(set) * shift - f64::from(n) * step_stops)
        .map(|q| exposure_s(gear.f_number, gear.iso, q) * air_stops.exp2())
        .map(|time_s| time_s.clamp(limits.fastest_s, limits.slowest_s))
        .collect();
    let pace = f64::from(sets * frames) / gear.frames_per_s;
    let takes_s = exposures_s.iter().sum::<f64>() + pace + f64::from(sets - 1) * REDIAL_S;
    BracketChoice {
        frames,
        step_stops,
        sets,
        exposures_s,
        takes_s,
    }
}
