//! How each frame is turned: where celestial north lies, and whether the picture is mirrored.

use std::collections::{BTreeMap, BTreeSet};

use nalgebra::Vector2;

use super::ClockFrame;
use super::course::Course;
use super::fit::{self, Look, Solved};
use super::measured::{Radii, place_in, reading, shared_radii, upright};
use super::partials::Partials;
use super::tracks::{Sight, Tracks};
use crate::domain::{Limb, Orientation};

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

/// One sigma per axis of a Sun's place that is not known, as a tangent: half a degree, of a long lens aimed at the Sun (our choice).
const UNKNOWN_PLACE: f64 = 0.5 * std::f64::consts::PI / 180.0;

/// The turn of every frame that has a stamp and shares its scale with frames the clock was solved from.
pub(super) fn turns(
    frames: &[ClockFrame],
    partials: &Partials,
    tracks: &Tracks,
    course: &Course,
) -> Vec<Option<Turn>> {
    let Some(solved) = &partials.solved else {
        return vec![None; frames.len()];
    };
    let shoot = partials.shoot.iter().zip(&solved.used);
    let used = shoot.filter(|(_, used)| **used).map(|(m, _)| m.frame);
    let lenses = used.map(|n| frames[n].scale_group).collect();
    Card::of(solved, tracks, course).turns(frames, &lenses)
}

/// The same where no clock was solved: on a camera left standing the way of the discs through the frame tells, given a clock error
/// (camera reading as UTC, minus UTC) and its one sigma, in seconds. Whether the picture is mirrored it does not tell.
pub(super) fn turns_by_drift(
    frames: &[ClockFrame],
    tracks: &Tracks,
    course: &Course,
    (tau_s, sigma_s): (f64, f64),
    mirrored: bool,
) -> Vec<Option<Turn>> {
    let Some(solved) = fit::by_drift(tracks, course, (tau_s, sigma_s), mirrored) else {
        return vec![None; frames.len()];
    };
    let told = tracks.stretches.iter().enumerate();
    let told = told.filter(|(k, _)| solved.stray_of(*k).is_some());
    let lenses = told
        .flat_map(|(_, sights)| sights.iter().map(|s| frames[s.frame].scale_group))
        .collect();
    Card::of(&solved, tracks, course).turns(frames, &lenses)
}

/// What is known of a body's frames.
struct Card<'a> {
    solved: &'a Solved,
    course: &'a Course,
    /// Per frame with a disc: where the Sun falls, and its stretch.
    places: BTreeMap<usize, (Vector2<f64>, usize)>,
    /// First and last reading of each stretch.
    spans: Vec<(f64, f64)>,
    /// Mean reading and stray of each stretch that has evidence, in time order.
    strays: Vec<(f64, f64)>,
}

impl<'a> Card<'a> {
    fn of(solved: &'a Solved, tracks: &Tracks, course: &'a Course) -> Self {
        let stretches = tracks.stretches.iter().enumerate();
        let places = stretches
            .clone()
            .flat_map(|(k, sights)| sights.iter().map(move |s| (s.frame, (s.place, k))))
            .collect();
        let strays = stretches
            .filter_map(|(k, sights)| {
                let sum: f64 = sights.iter().map(|s| s.reading_s).sum();
                Some((sum / sights.len() as f64, solved.stray_of(k)?))
            })
            .collect();
        let ends =
            |sights: &Vec<Sight>| Some((sights.first()?.reading_s, sights.last()?.reading_s));
        let nowhere = (f64::INFINITY, f64::NEG_INFINITY);
        let spans = tracks.stretches.iter().map(|s| ends(s).unwrap_or(nowhere));
        Self {
            solved,
            course,
            spans: spans.collect(),
            places,
            strays,
        }
    }

    /// The turns of the frames of some scale groups.
    fn turns(&self, frames: &[ClockFrame], lenses: &BTreeSet<usize>) -> Vec<Option<Turn>> {
        let radii = shared_radii(frames);
        frames
            .iter()
            .enumerate()
            .map(|(n, frame)| {
                lenses.get(&frame.scale_group)?;
                let (reading_s, _) = reading(frame.stamp.as_ref()?, frame.shutter_s, self.course);
                let tracked = self.places.get(&n).map(|(place, k)| (*place, Some(*k)));
                let spot = tracked.or_else(|| self.spot(frame, &radii, reading_s));
                self.turn(frame, reading_s, spot)
            })
            .collect()
    }

    /// Where the disc of a frame falls that has no say in the tracks, and the stretch it was taken in.
    fn spot(
        &self,
        frame: &ClockFrame,
        radii: &Radii,
        reading_s: f64,
    ) -> Option<(Vector2<f64>, Option<usize>)> {
        let fit = frame.fit?;
        let disc = if fit.limb == Limb::Moon {
            fit.moon?
        } else {
            fit.sun?
        };
        let px_per_rad = radii.get(&frame.scale_group)?.radius_px / self.course.sun_radius_rad();
        let inside = |(from, to): &(f64, f64)| (*from..=*to).contains(&reading_s);
        let stretch = self.spans.iter().position(inside);
        Some((place_in(frame, &disc, px_per_rad)?, stretch))
    }

    fn turn(
        &self,
        frame: &ClockFrame,
        reading_s: f64,
        spot: Option<(Vector2<f64>, Option<usize>)>,
    ) -> Option<Turn> {
        let look = Look {
            reading_s,
            place: spot.map_or_else(Vector2::zeros, |(place, _)| place),
            stretch: spot.and_then(|(_, stretch)| stretch),
            stray: self.stray_at(reading_s),
        };
        let north = self.solved.north(&look, self.course);
        let unplaced = if spot.is_some() {
            0.0
        } else {
            self.by_place(&look)
        };
        let sigma_deg = north.sigma.hypot(unplaced).to_degrees();
        let hold = self.solved.hold;
        let (north_deg, mirrored) = in_upright(frame.orientation, north.angle, hold.mirrored);
        (sigma_deg <= LARGEST_SIGMA_DEG).then_some(Turn {
            north_deg,
            north_sigma_deg: sigma_deg,
            mirrored,
        })
    }

    /// One sigma of north, in radians, that comes of a place that is not known.
    fn by_place(&self, look: &Look) -> f64 {
        let at = |x: f64, y: f64| {
            let place = look.place + Vector2::new(x, y) * UNKNOWN_PLACE;
            self.solved
                .north(&Look { place, ..*look }, self.course)
                .angle
        };
        let half = |a: f64, b: f64| {
            let (sin, cos) = (a - b).sin_cos();
            0.5 * sin.atan2(cos)
        };
        half(at(1.0, 0.0), at(-1.0, 0.0)).hypot(half(at(0.0, 1.0), at(0.0, -1.0)))
    }

    /// The stray of a stretch without evidence: between those of the stretches before and after it.
    fn stray_at(&self, reading_s: f64) -> Option<f64> {
        let before = self.strays.iter().rev().find(|s| s.0 <= reading_s);
        let after = self.strays.iter().find(|s| s.0 > reading_s);
        match (before, after) {
            (Some(a), Some(b)) => {
                let part = (reading_s - a.0) / (b.0 - a.0).max(1e-9);
                Some(a.1 + (b.1 - a.1) * part)
            }
            (Some(one), None) | (None, Some(one)) => Some(one.1),
            (None, None) => None,
        }
    }
}

/// Whether turning pictures upright by their headers turns them over: of the first that says so.
pub(super) fn flips(frames: &[ClockFrame]) -> bool {
    frames
        .iter()
        .find(|frame| frame.fit.is_some())
        .is_some_and(|frame| is_flip(frame.orientation))
}

fn is_flip(orientation: Orientation) -> bool {
    matches!(orientation.exif(), 2 | 4 | 5 | 7)
}

/// North and hand of the stored picture as they lie in the upright one.
fn in_upright(orientation: Orientation, north: f64, mirrored: bool) -> (f64, bool) {
    let (sin, cos) = north.sin_cos();
    let (x, y) = upright(orientation, -sin, -cos);
    (
        (-x).atan2(-y).to_degrees(),
        mirrored != is_flip(orientation),
    )
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
