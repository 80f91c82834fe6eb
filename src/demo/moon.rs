//! The Moon: an uneven limb, and the faint face lit by the Earth.

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

use super::grain::{Grain, rise};

/// Points of the limb profile.
const POINTS: usize = 4096;
/// Root mean square height of the drawn limb in seconds of arc (common practice: real limbs run to +-2 arcsec).
const LIMB_RMS_ARCSEC: f32 = 0.85;
/// Radiance of the earthlit Moon in units of the solar disc: the full Moon is some 2.5e-6 of it, full-Earth light some
/// 1e-4 of that (common practice).
const EARTHSHINE: f32 = 2.5e-10;

/// The Moon's own look.
#[derive(Clone, Debug)]
pub struct Moon {
    heights_arcsec: Vec<f32>,
    grain: Grain,
}

impl Moon {
    /// A seeded limb: harmonics 3 to 400 with strengths falling as `n^-0.9`.
    pub fn new(seed: u64) -> Self {
        let mut rng = Pcg64::seed_from_u64(seed ^ 0x1B0B);
        let mut heights = vec![0.0_f32; POINTS];
        for n in 3..400 {
            let strength = (n as f32).powf(-0.9) * rng.random_range(0.3..1.0);
            let phase: f32 = rng.random_range(0.0..std::f32::consts::TAU);
            let step = std::f32::consts::TAU * n as f32 / POINTS as f32;
            for (k, height) in heights.iter_mut().enumerate() {
                *height += strength * (step * k as f32 + phase).cos();
            }
        }
        let rms = (heights.iter().map(|h| h * h).sum::<f32>() / POINTS as f32).sqrt();
        heights.iter_mut().for_each(|h| *h *= LIMB_RMS_ARCSEC / rms);
        Self {
            heights_arcsec: heights,
            grain: Grain::new(seed, 21),
        }
    }

    /// A Moon with a perfectly round limb.
    pub fn round(seed: u64) -> Self {
        Self {
            heights_arcsec: vec![0.0; POINTS],
            grain: Grain::new(seed, 21),
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

    /// Radiance of the dark side, at a place in lunar radii east and north of its centre.
    pub fn earthshine(&self, east: f32, north: f32) -> f32 {
        let seas = rise(
            -0.05,
            0.35,
            self.grain
                .planes(east * 2.1 + 4.0, north * 2.1 - 7.0, 3, 0.5)
                + 0.25 * north,
        );
        let dust = 0.10 * self.grain.planes(east * 14.0, north * 14.0, 4, 0.7);
        EARTHSHINE * (1.15 - 0.42 * seas + dust)
    }
}
