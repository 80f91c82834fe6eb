//! The Moon: an uneven limb, and the faint face lit by the Earth.

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

use super::grain::{Grain, rise};

/// Points of the limb profile.
const POINTS: usize = 4096;
/// Root mean square height of the drawn limb in seconds of arc (common practice: real limbs run to +-2 arcsec).
const LIMB_RMS_ARCSEC: f32 = 0.9;
/// Radiance of the earthlit Moon in units of the solar disc: the full Moon is some 2.5e-6 of it, full-Earth light some
/// 1e-4 of that (common practice).
const EARTHSHINE: f32 = 2.5e-10;

/// Cells along a side of the map of the Moon's face.
const FACE_SIDE: usize = 512;

/// The Moon's own look.
#[derive(Clone, Debug)]
pub struct Moon {
    heights_arcsec: Vec<f32>,
    /// Radiance of the dark side, north up, east left, one lunar radius to either side.
    face: Vec<f32>,
}

impl Moon {
    /// A seeded limb and face.
    pub fn new(seed: u64) -> Self {
        Self {
            heights_arcsec: limb(seed),
            face: face(Grain::new(seed, 21)),
        }
    }

    /// The same face in a perfectly round limb.
    pub fn round(seed: u64) -> Self {
        Self {
            heights_arcsec: vec![0.0; POINTS],
            ..Self::new(seed)
        }
    }

    /// Height of the limb over its mean circle, in seconds of arc, towards east and north of the Moon's centre.
    pub fn height_arcsec(&self, east: f32, north: f32) -> f32 {
        let turn = east.atan2(north) / std::f32::consts::TAU;
        let x = turn.rem_euclid(1.0) * POINTS as f32;
        let i = x as usize % POINTS;
        let next = self.heights_arcsec[(i + 1) % POINTS];
        self.heights_arcsec[i] + (next - self.heights_arcsec[i]) * x.fract()
    }

    /// Radiance of the dark side in units of the mean solar disc, at a place in lunar radii east and north of its
    /// centre; beyond the limb, that of the limb.
    pub fn earthshine(&self, east: f32, north: f32) -> f32 {
        let cell = |v: f32| (0.5 - 0.5 * v).clamp(0.0, 1.0) * (FACE_SIDE - 2) as f32;
        let (x, y) = (cell(east), cell(north));
        let (i, j) = (x as usize, y as usize);
        let (fx, fy) = (x - i as f32, y - j as f32);
        let row = |j: usize| {
            let at = j * FACE_SIDE + i;
            self.face[at] + (self.face[at + 1] - self.face[at]) * fx
        };
        let (top, low) = (row(j), row(j + 1));
        top + (low - top) * fy
    }
}

/// Harmonics 3 to 400 with strengths falling as `n^-0.75`, brought to the wanted height.
fn limb(seed: u64) -> Vec<f32> {
    let mut rng = Pcg64::seed_from_u64(seed ^ 0x1B0B);
    let mut heights = vec![0.0_f32; POINTS];
    for n in 3..400 {
        let strength = (n as f32).powf(-0.75) * rng.random_range(0.3..1.0);
        let phase: f32 = rng.random_range(0.0..std::f32::consts::TAU);
        let step = std::f32::consts::TAU * n as f32 / POINTS as f32;
        for (k, height) in heights.iter_mut().enumerate() {
            *height += strength * (step * k as f32 + phase).cos();
        }
    }
    let rms = (heights.iter().map(|h| h * h).sum::<f32>() / POINTS as f32).sqrt();
    heights.iter_mut().for_each(|h| *h *= LIMB_RMS_ARCSEC / rms);
    heights
}

/// Dark seas and a fine mottling.
fn face(grain: Grain) -> Vec<f32> {
    let place = |k: usize| 1.0 - 2.0 * k as f32 / (FACE_SIDE - 2) as f32;
    let shine = |east: f32, north: f32| {
        let swell = grain.planes(east * 2.1 + 4.0, north * 2.1 - 7.0, 3, 0.5);
        let seas = rise(-0.05, 0.35, swell + 0.25 * north);
        let dust = 0.16 * grain.planes(east * 14.0, north * 14.0, 4, 0.7);
        EARTHSHINE * (1.25 - 0.62 * seas + dust)
    };
    (0..FACE_SIDE * FACE_SIDE)
        .map(|k| shine(place(k % FACE_SIDE), place(k / FACE_SIDE)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_limb_is_level_on_the_mean_and_as_rough_as_wanted() {
        let heights = limb(5);
        let mean = heights.iter().sum::<f32>() / POINTS as f32;
        let largest = heights.iter().fold(0.0_f32, |a, h| a.max(h.abs()));
        assert!(mean.abs() < 0.01, "{mean}");
        assert!((1.5..5.0).contains(&largest), "{largest}");
    }
}
