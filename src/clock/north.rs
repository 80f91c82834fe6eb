//! How each frame is turned: where celestial north lies, and whether the picture is mirrored.

use super::ClockFrame;
use super::course::Course;
use super::fit::Solved;
use super::measured::{Measured, reading, upright};
use super::partials::Partials;
use crate::domain::Orientation;

/// How a frame is turned, in upright axes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Turn {
    /// Angle of celestial north, degrees anticlockwise from picture up, -180 to 180.
    pub north_deg: f64,
    /// One sigma of it in degrees.
    pub north_sigma_deg: f64,
    /// Whether east and west have changed sides.
    pub mirrored: bool,
}

/// Less sure than this, in degrees, north is not given.
const LARGEST_SIGMA_DEG: f64 = 30.0;

/// The turn of every frame that has a stamp and shares its scale with frames the clock was solved from.
pub(super) fn turns(
    frames: &[ClockFrame],
    partials: &Partials,
    course: &Course,
) -> Vec<Option<Turn>> {
    let Some(solved) = &partials.solved else {
        return vec![None; frames.len()];
    };
    let known: Vec<Stray> = partials
        .shoot
        .iter()
        .zip(&solved.used)
        .filter(|(_, used)| **used)
        .map(|(m, _)| Stray::of(m, solved, course))
        .collect();
    frames
        .iter()
        .enumerate()
        .map(|(n, frame)| {
            let same_lens = |s: &&Stray| frames[s.frame].scale_group == frame.scale_group;
            known.iter().find(same_lens)?;
            turn(n, frame, solved, &known, course)
        })
        .collect()
}

/// How far a used frame's roll strays from the mean.
struct Stray {
    frame: usize,
    reading_s: f64,
    turn: f64,
    sigma: f64,
}

impl Stray {
    /// The frame's own turn, drawn towards none by as much as it is uncertain.
    fn of(m: &Measured, solved: &Solved, course: &Course) -> Self {
        let (turn, sigma) = solved.stray_of(m, course);
        let trust = solved.stray.powi(2) / (solved.stray.powi(2) + sigma * sigma);
        Self {
            frame: m.frame,
            reading_s: m.reading_s,
            turn: turn * trust,
            sigma: sigma * trust.sqrt(),
        }
    }
}

fn turn(
    index: usize,
    frame: &ClockFrame,
    solved: &Solved,
    known: &[Stray],
    course: &Course,
) -> Option<Turn> {
    let (reading_s, _) = reading(frame.stamp.as_ref()?, frame.shutter_s, course);
    let (stray, stray_sigma) = stray_at(index, reading_s, solved, known);
    let north = solved.north_rad(reading_s - solved.tau_s(), course) + stray;
    let sigma_deg = solved.roll_sigma.hypot(stray_sigma).to_degrees();
    let (north_deg, mirrored) = in_upright(frame.orientation, north, solved.hold.mirrored);
    (sigma_deg <= LARGEST_SIGMA_DEG).then_some(Turn {
        north_deg,
        north_sigma_deg: sigma_deg,
        mirrored,
    })
}

/// The stray of a frame: its own, or between those of the frames before and after it.
fn stray_at(index: usize, reading_s: f64, solved: &Solved, known: &[Stray]) -> (f64, f64) {
    if let Some(own) = known.iter().find(|s| s.frame == index) {
        return (own.turn, own.sigma);
    }
    let before = known.iter().rev().find(|s| s.reading_s <= reading_s);
    let after = known.iter().find(|s| s.reading_s > reading_s);
    let between = match (before, after) {
        (Some(a), Some(b)) => {
            let part = (reading_s - a.reading_s) / (b.reading_s - a.reading_s).max(1e-9);
            a.turn + (b.turn - a.turn) * part
        }
        (Some(one), None) | (None, Some(one)) => one.turn,
        (None, None) => 0.0,
    };
    (between, solved.stray)
}

/// North and hand of the stored picture as they lie in the upright one.
fn in_upright(orientation: Orientation, north: f64, mirrored: bool) -> (f64, bool) {
    let (sin, cos) = north.sin_cos();
    let (x, y) = upright(orientation, -sin, -cos);
    let flips = matches!(orientation.exif(), 2 | 4 | 5 | 7);
    ((-x).atan2(-y).to_degrees(), mirrored != flips)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn turning_the_picture_turns_north() {
        let north = |exif, deg: f64| {
            let turn = Orientation::from_exif(exif).unwrap();
            in_upright(turn, deg.to_radians(), false)
        };
        assert!((north(1, 30.0).0 - 30.0).abs() < 1e-9);
        assert!(
            (north(6, 30.0).0 + 60.0).abs() < 1e-9,
            "a quarter turn clockwise"
        );
        assert!(
            (north(8, 30.0).0 - 120.0).abs() < 1e-9,
            "a quarter turn anticlockwise"
        );
        let (deg, mirrored) = north(2, 30.0);
        assert!((deg + 30.0).abs() < 1e-9 && mirrored);
    }
}
