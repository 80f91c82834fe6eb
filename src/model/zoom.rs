//! A zoom that slipped: from a moment on the Sun shows in another size, and no header says so.
//!
//! The radii of a scale's well-seen Suns, in time order, are cut where they step. A step is told from a stray frame by several
//! frames agreeing on either side, and from a slow drift by its being between neighbours.

use std::ops::Range;

use crate::domain::{Estimate, SIGMAS_PER_MAD, median, upper_median};

/// Least step, as a fraction of the radius: a third of a pixel at 60 px.
const LEAST_STEP: f64 = 0.005;

/// Least step over its error.
const SURE_SIGMAS: f64 = 5.0;

/// Frames on either side that say what the radius is there.
const AROUND: usize = 3;

/// Fewest frames on either side.
const FEWEST: usize = 2;

/// Radii of frames err by at least this fraction: seeing and the Moon's mountains (from memory).
const LEAST_ERROR: f64 = 0.0005;

/// One frame's Sun.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct SunSize {
    /// When it was taken, in seconds by the camera's clock.
    pub(crate) time_s: f64,
    /// Which shot it is.
    pub(crate) shot: usize,
    /// Its radius.
    pub(crate) radius_px: f64,
    /// One sigma of it.
    pub(crate) sigma_px: f64,
}

/// A run of frames with a Sun of one size.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Stretch {
    /// Time of the first of them.
    pub(crate) from_s: f64,
    /// Time of the last of them.
    pub(crate) to_s: f64,
    /// First shot.
    pub(crate) first: usize,
    /// Last shot.
    pub(crate) last: usize,
    /// The middle radius.
    pub(crate) radius_px: Estimate,
}

/// Cuts frames of one scale where the size of the Sun steps; a single stretch where it does not, none without frames.
/// `least_sigma` is the least one sigma of a stretch's radius, as a fraction.
pub(crate) fn stretches(mut suns: Vec<SunSize>, least_sigma: f64) -> Vec<Stretch> {
    suns.sort_by(|a, b| a.time_s.total_cmp(&b.time_s).then(a.shot.cmp(&b.shot)));
    let mut cuts = Vec::new();
    cut(&suns, 0..suns.len(), &mut cuts);
    cuts.sort_unstable();
    let ends = cuts.iter().copied().chain([suns.len()]);
    let starts = [0].into_iter().chain(cuts.iter().copied());
    starts
        .zip(ends)
        .filter_map(|(from, to)| stretch(&suns[from..to], least_sigma))
        .collect()
}

/// The radius at a time, if frames of this scale have not all the same: between two stretches both are
/// possible.
pub(crate) fn radius_at(stretches: &[Stretch], time_s: f64) -> Option<Estimate> {
    let after = stretches.iter().position(|s| time_s <= s.to_s);
    match after {
        None => stretches.last().map(|s| s.radius_px),
        Some(0) => Some(stretches[0].radius_px),
        Some(n) if time_s >= stretches[n].from_s => Some(stretches[n].radius_px),
        Some(n) => {
            let (a, b) = (stretches[n - 1].radius_px, stretches[n].radius_px);
            let half_step = 0.5 * (a.value - b.value).abs();
            Some(Estimate::new(
                0.5 * (a.value + b.value),
                half_step + a.sigma.max(b.sigma),
            ))
        }
    }
}

fn cut(suns: &[SunSize], span: Range<usize>, cuts: &mut Vec<usize>) {
    let jump = |k: &usize| (suns[*k].radius_px - suns[*k - 1].radius_px).abs();
    let inner = span.start + FEWEST..(span.end + 1).saturating_sub(FEWEST);
    let best = inner
        .filter(|&k| steps(&suns[span.start..k], &suns[k..span.end]))
        .max_by(|a, b| jump(a).total_cmp(&jump(b)));
    if let Some(k) = best {
        cuts.push(k);
        cut(suns, span.start..k, cuts);
        cut(suns, k..span.end, cuts);
    }
}

/// Whether the radius steps between the last frames before and the first after.
fn steps(before: &[SunSize], after: &[SunSize]) -> bool {
    let before = &before[before.len().saturating_sub(AROUND)..];
    let after = &after[..after.len().min(AROUND)];
    let (Some(old), Some(new)) = (middle(before), middle(after)) else {
        return false;
    };
    // Of two frames that disagree the one that says less counts.
    let nearest = |side: &[SunSize], own: f64, other: f64| match side.len() {
        FEWEST => side
            .iter()
            .map(|s| s.radius_px)
            .min_by(|a, b| (a - other).abs().total_cmp(&(b - other).abs()))
            .unwrap_or(own),
        _ => own,
    };
    let (old, new) = (nearest(before, old, new), nearest(after, new, old));
    let error = |side: &[SunSize]| {
        let worst = side.iter().map(|s| s.sigma_px).fold(0.0, f64::max);
        worst.max(LEAST_ERROR * old) / (side.len() as f64).sqrt()
    };
    let step = (new - old).abs();
    step > LEAST_STEP * old && step > SURE_SIGMAS * error(before).hypot(error(after))
}

fn stretch(suns: &[SunSize], least_sigma: f64) -> Option<Stretch> {
    let (first, last) = (suns.first()?, suns.last()?);
    let radius_px = middle(suns)?;
    let mut apart: Vec<f64> = suns
        .iter()
        .map(|s| (s.radius_px - radius_px).abs())
        .collect();
    let spread_px = SIGMAS_PER_MAD * upper_median(&mut apart)?;
    Some(Stretch {
        from_s: first.time_s,
        to_s: last.time_s,
        first: first.shot,
        last: last.shot,
        radius_px: Estimate::new(radius_px, spread_px.max(least_sigma * radius_px)),
    })
}

fn middle(suns: &[SunSize]) -> Option<f64> {
    median(&mut suns.iter().map(|s| s.radius_px).collect::<Vec<f64>>())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn series(radii: &[f64]) -> Vec<SunSize> {
        radii
            .iter()
            .enumerate()
            .map(|(n, &radius_px)| SunSize {
                time_s: 60.0 * n as f64,
                shot: n,
                radius_px,
                sigma_px: 0.05,
            })
            .collect()
    }

    fn cuts(radii: &[f64]) -> Vec<usize> {
        let all = stretches(series(radii), 0.002);
        all.iter().skip(1).map(|s| s.first).collect()
    }

    #[test]
    fn a_step_is_found_where_it_is() {
        assert_eq!(cuts(&[100.0, 100.1, 99.9, 101.0, 101.1, 101.0]), [3]);
        assert_eq!(cuts(&[100.0, 100.1, 105.0, 105.1]), [2]);
        assert_eq!(
            cuts(&[100.0, 100.0, 100.1, 95.0, 95.1, 95.0, 99.0, 99.1]),
            [3, 6]
        );
    }

    #[test]
    fn neither_strays_nor_drift_nor_noise_are_a_step() {
        assert!(cuts(&[100.0, 100.1, 104.0, 99.9, 100.0]).is_empty());
        assert!(cuts(&[100.0, 100.1, 100.0, 100.0, 104.0]).is_empty());
        let drift: Vec<f64> = (0..40).map(|n| 100.0 + 0.05 * f64::from(n)).collect();
        assert!(cuts(&drift).is_empty());
        assert!(cuts(&[100.0, 100.2, 99.8, 100.3, 99.9, 100.2]).is_empty());
        assert!(cuts(&[]).is_empty());
    }

    #[test]
    fn between_two_sizes_both_are_possible() {
        let all = stretches(series(&[100.0, 100.0, 102.0, 102.0]), 0.002);
        assert_eq!(radius_at(&all, 0.0), Some(Estimate::new(100.0, 0.2)));
        assert_eq!(radius_at(&all, 1e6).map(|r| r.value), Some(102.0));
        let between = radius_at(&all, 90.0).unwrap();
        assert!((between.value - 101.0).abs() < 1e-9 && between.sigma > 1.0);
    }
}
