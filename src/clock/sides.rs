//! How differently the two sides of an eclipse show edges, by the size of the Sun on either.
//!
//! Glare and tone curves that let a bright shape swell or shrink do so at the Sun's own limb as at the Moon's before it. Where the
//! Suns before and after maximum are equally large, the Moon's limb is worn alike too.

use std::collections::BTreeMap;

use super::ClockFrame;
use super::measured::{Measured, Radii, Vectors};
use crate::domain::Estimate;

/// One sigma in pixels of what the edges of the two sides differ by where nothing tells (our choice).
const UNTOLD_SIDE_PX: f64 = 0.1;

/// Least one sigma in pixels where the Sun's radius tells (measured on drawn cards of three tone curves,
/// `benches/MEASUREMENTS.md`).
const LEAST_SIDE_PX: f64 = 0.015;

/// What is left of it where discs are evened: bites are as deep whatever the edges do. Measured on drawn cards whose sides differ in
/// blur and exposure (`benches/MEASUREMENTS.md`).
const EVENED_SHARE: f64 = 0.3;

/// Least frames of a side that tell how large the Sun shows there.
const LEAST_FRAMES: usize = 4;

/// Least arc of limb, in degrees, of a Sun that tells its radius.
const WELL_SEEN_DEG: f64 = 150.0;

/// One sigma of what the edges of one side differ by from the mean of both, in solar radii.
pub(super) fn side_sigma(frames: &[ClockFrame], vectors: &Vectors, radii: &Radii) -> f64 {
    let smallest_px = radii.values().map(|r| r.radius_px).fold(f64::MAX, f64::min);
    let untold = UNTOLD_SIDE_PX / smallest_px;
    let Some(apart) = apart(frames, &vectors.measured, radii) else {
        return untold;
    };
    let share = if vectors.levelled { EVENED_SHARE } else { 1.0 };
    let told = share * (apart.value / 2.0).hypot(apart.sigma / 2.0);
    told.hypot(LEAST_SIDE_PX / smallest_px).min(untold)
}

/// How much larger the Sun shows after maximum than before it, as a share, of the scale group with most frames that tell.
fn apart(frames: &[ClockFrame], measured: &[Measured], radii: &Radii) -> Option<Estimate> {
    let apart = |m: &Measured| m.right.hypot(m.up);
    let nearest = measured
        .iter()
        .min_by(|a, b| apart(a).total_cmp(&apart(b)))?;
    let mut groups: BTreeMap<usize, [Vec<f64>; 2]> = BTreeMap::new();
    for m in measured {
        let frame = &frames[m.frame];
        let Some((fit, sun)) = frame.fit.and_then(|fit| Some((fit, fit.sun?))) else {
            continue;
        };
        if fit.limb_arc_deg >= WELL_SEEN_DEG
            && let Some(shared) = radii.get(&frame.scale_group)
        {
            let later = usize::from(m.reading_s > nearest.reading_s);
            let sides = groups.entry(frame.scale_group).or_default();
            sides[later].push(sun.radius_px / shared.radius_px);
        }
    }
    let enough = |sides: &&[Vec<f64>; 2]| sides.iter().all(|side| side.len() >= LEAST_FRAMES);
    let most = groups
        .values()
        .filter(enough)
        .max_by_key(|sides| sides[0].len() + sides[1].len())?;
    let [before, after] = [mean_of(&most[0])?, mean_of(&most[1])?];
    Some(Estimate::new(
        after.value - before.value,
        before.sigma.hypot(after.sigma),
    ))
}

/// The middle of some values, and how well it is known: a median's standard error is 1.25 times a mean's.
fn mean_of(values: &[f64]) -> Option<Estimate> {
    let middle = Estimate::middle_of(values.to_vec())?;
    let count = values.len() as f64;
    Some(Estimate::new(
        middle.value,
        1.25 * middle.sigma / count.sqrt(),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_middle_of_a_side_is_known_the_better_the_more_frames_tell() {
        let few = mean_of(&[1.0, 1.01, 0.99, 1.0]).unwrap();
        let many = mean_of(&[1.0, 1.01, 0.99, 1.0].repeat(9)).unwrap();
        assert!((few.value - 1.0).abs() < 1e-12 && (many.value - 1.0).abs() < 1e-12);
        assert!((few.sigma / many.sigma - 3.0).abs() < 1e-9);
        assert!(mean_of(&[]).is_none());
    }
}
