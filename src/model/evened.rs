//! Discs made equal in size among the frames of a lens, so that the vectors between them do not follow what edges do.
//!
//! How wide a bright shape is drawn hangs on blur, tone and the darkening of the limb, and a fit shares that out anew in each frame: a
//! Sun that comes out small by some hundredths of a pixel has lost them all around, and along the Moon's limb before it too. There the
//! Moon's edge lies too far in, its circle is held to a share of the small Sun, and its centre comes out nearer by about twice as much.
//! How deep the Moon bites into the Sun stays true. So the vector is taken from the bite, with radii that all frames of a lens share.

use std::collections::BTreeMap;

use super::lens::{self, LEAST_MOONS};
use crate::domain::{Circle, DiscFit, median};

/// Discs farther than this share of the Sun's radius from those of their lens, both radii together, are of another zoom or cut out
/// and resized (our choice: as a zoom that slipped is told by half of it in the Sun alone).
const MOST_UNEVEN: f64 = 0.01;

/// Discs of one frame, and what is known of it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Level {
    /// The discs.
    pub(crate) fit: DiscFit,
    /// The computed ratio of the radii.
    pub(crate) ratio: f64,
    /// Which frames share a scale with it.
    pub(crate) scale: usize,
}

/// How large the frames of one scale show the discs: the Sun's radius, and the Moon's over the computed one, in pixels.
#[derive(Clone, Copy, Debug)]
struct Sizes {
    sun_px: f64,
    excess_px: f64,
}

impl Sizes {
    /// The middle of some frames, `None` where they are too few.
    fn of(levels: &[Level]) -> Option<Self> {
        let well_seen = || levels.iter().filter(|level| lens::is_well_seen(&level.fit));
        let mut suns: Vec<f64> = well_seen()
            .filter_map(|l| Some(l.fit.sun?.radius_px))
            .collect();
        let sun_px = median(&mut suns)?;
        let mut excesses: Vec<f64> = well_seen()
            .filter_map(|level| Some(level.fit.moon?.radius_px - level.ratio * sun_px))
            .collect();
        let excess_px = median(&mut excesses).filter(|_| excesses.len() >= LEAST_MOONS)?;
        Some(Self { sun_px, excess_px })
    }

    /// The Moon where it stands with both radii as they should be and a bite as deep as it is.
    fn evened(&self, level: &Level) -> Option<Circle> {
        let (sun, mut moon) = level.fit.sun.zip(level.fit.moon)?;
        let due_px = level.ratio * self.sun_px + self.excess_px;
        let grown_px = (sun.radius_px - self.sun_px) + (moon.radius_px - due_px);
        let (dx, dy) = (moon.x_px - sun.x_px, moon.y_px - sun.y_px);
        let apart_px = dx.hypot(dy);
        if grown_px.abs() > MOST_UNEVEN * self.sun_px || apart_px <= grown_px.abs() {
            return None;
        }
        moon.x_px -= dx / apart_px * grown_px;
        moon.y_px -= dy / apart_px * grown_px;
        moon.radius_px = due_px;
        Some(moon)
    }
}

/// The discs of the frames with the Moon moved to where it stands before a Sun of the size that its lens shows.
pub(crate) fn evened(levels: &[Option<Level>]) -> Vec<Option<DiscFit>> {
    let mut scales: BTreeMap<usize, Vec<Level>> = BTreeMap::new();
    for level in levels.iter().flatten() {
        scales.entry(level.scale).or_default().push(*level);
    }
    let sizes: BTreeMap<usize, Sizes> = scales
        .into_iter()
        .filter_map(|(scale, levels)| Some((scale, Sizes::of(&levels)?)))
        .collect();
    let one = |level: &Level| {
        let moon = sizes.get(&level.scale).and_then(|s| s.evened(level));
        DiscFit {
            moon: moon.or(level.fit.moon),
            ..level.fit
        }
    };
    levels.iter().map(|level| level.as_ref().map(one)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::Limb;

    const SUN_PX: f64 = 150.0;
    const RATIO: f64 = 1.03;

    /// A bite with the centres `apart_px` apart whose bright edges are worn away by `worn_px`, fitted with the ratio of the radii held.
    fn worn(apart_px: f64, worn_px: f64) -> Level {
        let sun_px = SUN_PX - worn_px;
        let near_px = apart_px - RATIO * SUN_PX - worn_px;
        let disc = |x_px: f64, radius_px: f64| Circle {
            x_px: 300.0 + 0.6 * x_px,
            y_px: 200.0 - 0.8 * x_px,
            radius_px,
        };
        let fit = DiscFit {
            limb: Limb::Sun,
            sun: Some(disc(0.0, sun_px)),
            moon: Some(disc(near_px + RATIO * sun_px, RATIO * sun_px)),
            sigma_px: 0.02,
            moon_sigma_px: Some(0.1),
            limb_arc_deg: 240.0,
            residual_px: 0.1,
            blur_px: Some(1.0),
        };
        Level {
            fit,
            ratio: RATIO,
            scale: 0,
        }
    }

    fn apart_px(fit: &DiscFit) -> f64 {
        let (sun, moon) = fit.sun.zip(fit.moon).unwrap();
        (moon.x_px - sun.x_px).hypot(moon.y_px - sun.y_px)
    }

    #[test]
    fn worn_edges_leave_the_vectors_alone() {
        let cases = [
            (120.0, 0.1),
            (150.0, 0.2),
            (180.0, 0.1),
            (200.0, 0.0),
            (220.0, 0.15),
        ];
        let levels: Vec<Option<Level>> = cases
            .iter()
            .map(|&(apart, e)| Some(worn(apart, e)))
            .collect();
        // What is common to all of them stays: the middle of what is worn away, twice.
        for (fit, (apart, e)) in evened(&levels).iter().zip(cases) {
            let off_px = apart_px(&fit.unwrap()) - apart;
            assert!((off_px + 0.2).abs() < 0.02, "{apart} {e}: {off_px}");
        }
        let before: Vec<f64> = levels.iter().flatten().map(|l| apart_px(&l.fit)).collect();
        assert!((before[1] - 150.0 + 0.4).abs() < 0.02 && (before[3] - 200.0).abs() < 1e-9);
    }

    #[test]
    fn another_zoom_is_left_as_it_is() {
        let mut levels: Vec<Option<Level>> = (0..6)
            .map(|n| Some(worn(120.0 + 15.0 * f64::from(n), 0.1)))
            .collect();
        levels.push(Some(worn(150.0, 3.0)));
        levels.push(None);
        let fits = evened(&levels);
        assert_eq!(fits[6], levels[6].map(|level| level.fit));
        assert!(fits[7].is_none());
    }

    #[test]
    fn too_few_frames_are_left_as_they_are() {
        let levels = [Some(worn(120.0, 0.1)), Some(worn(150.0, 0.3))];
        let same = levels.map(|level| level.map(|l| l.fit));
        assert_eq!(evened(&levels), same);
    }
}
