//! The Moon: its mountains, and the faint face lit by the Earth.

use super::grain::{Grain, rise};
use super::limb::{LimbNow, LimbTable};
use crate::domain::Utc;

/// Radiance of the earthlit Moon in units of the solar disc: the full Moon is some 2.5e-6 of it, full-Earth light some
/// 1e-4 of that (common practice).
const EARTHSHINE: f32 = 2.5e-10;

/// Cells along a side of the map of the Moon's face.
const FACE_SIDE: usize = 512;

/// The Moon's own look.
#[derive(Clone, Debug)]
pub struct Moon {
    limb: LimbTable,
    /// Radiance of the dark side, north up, east left, one lunar radius to either side.
    face: Vec<f32>,
}

impl Moon {
    /// A Moon with a limb as known and a seeded face.
    pub fn new(seed: u64, limb: LimbTable) -> Self {
        Self {
            limb,
            face: face(Grain::new(seed, 21)),
        }
    }

    /// Its limb at an instant.
    pub fn limb_at(&self, utc: Utc) -> LimbNow {
        self.limb.at(utc)
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
