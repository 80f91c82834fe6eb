//! One corona from the maps of several cameras.
//!
//! Each camera's frames are merged by themselves first: a tone curve, a black level and hot pixels are one camera's. Its map is then laid on
//! the main one's canvas ([`lay`]): size, turn and place by both maps' Suns and norths, refined on the corona itself; light by a factor and
//! an even difference a channel. [`add`] takes the finest detail from the main map and everything coarser from both, by their noise.

mod blend;
mod level;
mod noise;
mod place;

use rayon::prelude::*;

use super::Merged;
use super::light::smooth_step;
use crate::raster::{LinearRgb, Placing, resampled};

pub use blend::{Added, Change, add};
pub use noise::RingNoise;
pub use place::MapPlace;

/// Median departure, as a part, from which two maps are not of one corona: cloud, curves of edited files, a wrong north (our choice: drawn
/// cameras agree to one in a hundred, and a lens's glare makes a few).
const UNLIKE: f64 = 0.15;

/// Rows that one thread places at a time.
const BAND_ROWS: usize = 64;

/// A map of another camera on the canvas of the main one, in its light.
#[derive(Clone, Debug)]
pub struct Laid {
    /// How it was placed.
    pub place: MapPlace,
    /// Factor its light was brought to the main map's unit with, a channel.
    pub gain: [f32; 3],
    /// Median departure from the main map where both show the corona, as a part.
    pub departure: f64,
    pub(super) light: LinearRgb,
    /// How much each place of it counts, 0 to 1: nothing at its edge and behind either Moon.
    pub(super) cover: Vec<f32>,
}

/// Why a map was not laid on another.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NotLaid {
    /// They share too little of the corona.
    Apart,
    /// They show it differently.
    Unlike {
        /// Median departure as a part.
        departure: f64,
    },
}

/// Lays a map on the canvas of the main one.
///
/// # Errors
/// [`NotLaid`] where it does not show the same corona.
pub fn lay(main: &Merged, other: &Merged) -> Result<Laid, NotLaid> {
    let place = place::found(main, other);
    let mut light = placed(&other.radiance, &place.placing, main);
    let cover = cover(main, other, &light, &place.placing);
    let levels = level::levels(main, &light, &cover).ok_or(NotLaid::Apart)?;
    levels.bring(&mut light);
    let departure = level::departure(main, &light, &cover).ok_or(NotLaid::Apart)?;
    if departure > UNLIKE {
        return Err(NotLaid::Unlike { departure });
    }
    Ok(Laid {
        place,
        gain: levels.gain,
        departure,
        light,
        cover,
    })
}

/// A picture placed on the main map's canvas.
pub fn placed(picture: &LinearRgb, placing: &Placing, main: &Merged) -> LinearRgb {
    let (width, height) = (main.radiance.width(), main.radiance.height());
    let mut out = LinearRgb::new(width, height);
    let bands = out
        .data_mut()
        .par_chunks_mut((BAND_ROWS * width * 3).max(1));
    bands.enumerate().for_each(|(band, rows)| {
        let (x, y) = placing.result_px;
        let here = Placing {
            result_px: (x, y - (band * BAND_ROWS) as f64),
            ..*placing
        };
        let part = resampled(picture, &here, width, rows.len() / (3 * width));
        rows.copy_from_slice(part.data());
    });
    out
}

/// Width over which a map fades in from its edge, in solar radii, and from a Moon's limb, in its own pixels (our choice: no line shows).
const EDGE_RADII: [f32; 2] = [0.02, 0.25];
const LIMB_PX: [f32; 2] = [2.0, 6.0];

fn cover(main: &Merged, other: &Merged, light: &LinearRgb, placing: &Placing) -> Vec<f32> {
    let width = light.width();
    let [right, below] = [other.radiance.width(), other.radiance.height()].map(|v| v as f64 - 1.0);
    let off = |x: f64, y: f64, of: &Merged| {
        (x - of.moon.x_px).hypot(y - of.moon.y_px) - of.moon.radius_px
    };
    let at = |(i, rgb): (usize, &[f32])| {
        if rgb.iter().all(|v| *v <= 0.0) {
            return 0.0;
        }
        let (x, y) = ((i % width) as f64, (i / width) as f64);
        let (sx, sy) = placing.source_of(x, y);
        let edge = sx.min(sy).min(right - sx).min(below - sy) / other.sun.radius_px;
        let limbs = [off(x, y, main), off(sx, sy, other)];
        let limbs = limbs.map(|off| smooth_step(LIMB_PX[0], LIMB_PX[1], off as f32));
        limbs[0] * limbs[1] * smooth_step(EDGE_RADII[0], EDGE_RADII[1], edge as f32)
    };
    light
        .data()
        .par_chunks_exact(3)
        .enumerate()
        .map(at)
        .collect()
}
