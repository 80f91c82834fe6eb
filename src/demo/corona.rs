//! The corona: Baumbach's brightness with the shape of a solar minimum.
//!
//! The mean over all position angles falls off as Baumbach found; around it, broad helmet streamers along the equator,
//! plumes over the poles that spread like lines of a dipole, arches low down, and fine rays. The structure is invented.

use rayon::prelude::*;

use super::grain::{Grain, rise};

/// Mean radiance of the corona at `r` solar radii from the centre, in units of the mean solar disc.
///
/// `1e-6 (0.0532 r^-2.5 + 1.425 r^-7 + 2.565 r^-17)`. Source: Baumbach 1937, Astron. Nachr. 263, 121 (coefficients from
/// memory; quoted there per disc centre, a fifth brighter than the mean, which changes nothing in a drawing). Held at
/// its value on the limb inside the limb.
pub fn baumbach(r: f32) -> f32 {
    let (dust, electrons) = parts(r.max(1.0));
    1e-6 * (dust + electrons)
}

/// Dust (F) and electron (K) part of Baumbach's law, in millionths.
fn parts(r: f32) -> (f32, f32) {
    (
        0.0532 * r.powf(-2.5),
        1.425 * r.powi(-7) + 2.565 * r.powi(-17),
    )
}

/// Half side of the map in solar radii; beyond it the mean law takes over.
const REACH: f32 = 6.5;
/// Structure fades out between here and the edge of the map.
const FADE_FROM: f32 = 5.2;
/// Cell of the map in solar radii.
const CELL: f32 = 0.008;
/// Radii at which the mean over angle is levelled to Baumbach's law, from 1 to [`REACH`], evenly in the logarithm.
const LEVELS: usize = 160;
/// Angles averaged for a level.
const LEVEL_ANGLES: usize = 720;
/// Position angle of the Sun's north pole on 2019-07-02 in degrees (rounded; from memory of the almanac's P).
const AXIS_DEG: f32 = -2.6;

/// A helmet streamer.
#[derive(Clone, Copy, Debug)]
struct Streamer {
    /// Position angle from the Sun's north pole, radians.
    angle: f32,
    /// Half-width at the limb, radians.
    width: f32,
    /// Strength of the stalk over the mean.
    strength: f32,
    /// Where the helmet closes, in solar radii.
    cusp: f32,
}

/// Position angle from the pole (degrees), half-width (degrees), strength, cusp (radii).
const STREAMERS: [[f32; 4]; 8] = [
    [64.0, 15.0, 0.75, 2.1],
    [88.0, 17.0, 1.15, 2.5],
    [111.0, 12.0, 0.95, 2.2],
    [126.0, 8.0, 0.35, 1.8],
    [242.0, 10.0, 0.45, 1.9],
    [257.0, 14.0, 1.0, 2.3],
    [279.0, 17.0, 1.2, 2.6],
    [301.0, 10.0, 0.55, 2.0],
];

/// A corona as a map of radiance about the Sun, north up, east left.
#[derive(Clone, Debug)]
pub struct Corona {
    side: usize,
    map: Vec<f32>,
}

impl Corona {
    /// Draws the map: about half a second of work on two cores.
    pub fn new(seed: u64) -> Self {
        let shape = Shape::new(seed);
        let side = (2.0 * REACH / CELL) as usize + 1;
        let mut map = vec![0.0; side * side];
        map.par_chunks_mut(side).enumerate().for_each(|(y, row)| {
            let north = REACH - y as f32 * CELL;
            for (x, value) in row.iter_mut().enumerate() {
                *value = shape.levelled(REACH - x as f32 * CELL, north);
            }
        });
        Self { side, map }
    }

    /// Radiance in units of the mean solar disc, at a place in solar radii east and north of the Sun's centre; inside
    /// the limb, that of the limb.
    pub fn at(&self, east: f32, north: f32) -> f32 {
        let (x, y) = ((REACH - east) / CELL, (REACH - north) / CELL);
        let last = (self.side - 2) as f32;
        if !(x >= 0.0 && y >= 0.0 && x < last && y < last) {
            return baumbach((east * east + north * north).sqrt());
        }
        let (i, j) = (x as usize, y as usize);
        let (fx, fy) = (x - i as f32, y - j as f32);
        let row = |j: usize| {
            let at = j * self.side + i;
            self.map[at] + (self.map[at + 1] - self.map[at]) * fx
        };
        let (top, low) = (row(j), row(j + 1));
        top + (low - top) * fy
    }
}

/// What the map is drawn from.
struct Shape {
    streamers: Vec<Streamer>,
    rays: Grain,
    plumes: Grain,
    loops: Grain,
    drift: Grain,
    /// Mean over angle of the raw shape, over Baumbach's law, at even steps of the logarithm of the radius.
    levels: Vec<f32>,
}

impl Shape {
    fn new(seed: u64) -> Self {
        let streamers = STREAMERS
            .iter()
            .map(|&[angle, width, strength, cusp]| Streamer {
                angle: angle.to_radians(),
                width: width.to_radians(),
                strength,
                cusp,
            });
        let mut shape = Self {
            streamers: streamers.collect(),
            rays: Grain::new(seed, 11),
            plumes: Grain::new(seed, 12),
            loops: Grain::new(seed, 13),
            drift: Grain::new(seed, 14),
            levels: Vec::new(),
        };
        shape.levels = (0..LEVELS)
            .into_par_iter()
            .map(|n| {
                let r = REACH.powf(n as f32 / (LEVELS - 1) as f32);
                shape.ring_mean(r) / (1e6 * baumbach(r))
            })
            .collect();
        shape
    }

    fn ring_mean(&self, r: f32) -> f32 {
        let step = std::f32::consts::TAU / LEVEL_ANGLES as f32;
        (0..LEVEL_ANGLES)
            .map(|n| self.raw(r, n as f32 * step))
            .sum::<f32>()
            / LEVEL_ANGLES as f32
    }

    /// Radiance with the mean over angle brought to Baumbach's law and the structure faded out far away.
    fn levelled(&self, east: f32, north: f32) -> f32 {
        let r = east.hypot(north).max(1.0);
        let mean = baumbach(r);
        if r >= REACH {
            return mean;
        }
        let angle = east.atan2(north) - AXIS_DEG.to_radians();
        let place = r.ln() / REACH.ln() * (LEVELS - 1) as f32;
        let n = (place as usize).min(LEVELS - 2);
        let level = self.levels[n] + (self.levels[n + 1] - self.levels[n]) * (place - n as f32);
        let drawn = 1e-6 * self.raw(r, angle) / level;
        drawn + (mean - drawn) * rise(FADE_FROM, REACH, r)
    }

    /// Unlevelled brightness in millionths, `angle` from the Sun's pole.
    fn raw(&self, r: f32, angle: f32) -> f32 {
        let (dust, electrons) = parts(r);
        // Height above the equator, 0 to 1, decides between closed equatorial and open polar corona.
        let lat = angle.cos().abs();
        let polar = rise(0.50, 0.92, lat);
        let hole = 1.0 - polar * (0.35 + 0.42 * rise(1.0, 1.35, r));
        let dust = dust * (1.0 + 0.18 * (1.0 - 2.0 * lat * lat));
        let base = electrons * hole * self.base_texture(r, angle, polar);
        dust + base + self.streamer_light(r, angle, electrons)
    }

    /// Plumes over the poles, faint rays elsewhere; about 1.
    fn base_texture(&self, r: f32, angle: f32, polar: f32) -> f32 {
        let foot = footpoint(r, angle);
        let wander = 0.6 * self.drift.plane(foot * 9.0, r.ln() * 5.0);
        let plume = self.plumes.lines(foot * 26.0 + wander * 0.35, 4, 0.72);
        let sharp = plume.max(0.0).powf(0.8) * 1.1 - 0.18;
        let ray = self.rays.lines(angle * 22.0 + 0.3 * wander, 4, 0.65);
        let lift = rise(1.0, 1.18, r);
        1.0 + polar * (0.35 + 0.75 * lift) * sharp + (1.0 - polar) * (0.15 + 0.25 * lift) * ray
    }

    /// Helmets with arches under them, narrowing to stalks that fall off slowly.
    fn streamer_light(&self, r: f32, angle: f32, electrons: f32) -> f32 {
        let mut light = 0.0;
        for (n, s) in self.streamers.iter().enumerate() {
            let away = wrapped(angle - s.angle);
            if away.abs() > 1.2 {
                continue;
            }
            let bend = 0.05 * (r - 1.0) * self.drift.line(n as f32 * 7.7);
            let closing = rise(1.0, s.cusp, r);
            let width = s.width * (1.0 - 0.72 * closing) * (1.0 + 0.10 * (r - s.cusp).max(0.0));
            let across = (away + bend) / width;
            let profile = (-across.abs().powf(1.7) * 1.1).exp();
            if profile < 1e-4 {
                continue;
            }
            let threads = self.rays.lines(
                across * 3.6 + 31.0 * n as f32 + 0.4 * self.drift.plane(across * 2.0, r * 2.0),
                4,
                0.7,
            );
            let stalk = 0.55 * r.powf(-4.3) * s.strength * rise(1.05, 1.9, r);
            let helmet = electrons * s.strength * 1.05 * self.arches(r, across, n);
            light += profile * (helmet * (1.0 + 0.22 * threads) + stalk * (1.0 + 0.55 * threads));
        }
        light
    }

    /// Arches: shells of constant `r / cos^2` about the streamer's axis, fading out towards the cusp.
    fn arches(&self, r: f32, across: f32, n: usize) -> f32 {
        let cos = (across * 0.9).clamp(-1.35, 1.35).cos();
        let shell = (r - 0.8) / (cos * cos).max(0.05);
        let weight = (1.0 - rise(1.05, 1.75, r)) * 0.38;
        1.0 + weight * self.loops.lines(shell * 11.0 + 13.0 * n as f32, 3, 0.7)
    }
}

/// Label of the line of force through a place: where it leaves the limb, in radians from its pole, the four quadrants
/// kept apart by whole numbers. A dipole that opens radially beyond some 2.5 radii.
fn footpoint(r: f32, angle: f32) -> f32 {
    let stretch = 1.0 + 1.6 * (1.0 - (-(r - 1.0) / 0.9).exp());
    let sin = angle.sin() / stretch.sqrt();
    let south = if angle.cos() < 0.0 { 40.0 } else { 0.0 };
    sin.clamp(-1.0, 1.0).asin() + south
}

/// An angle brought to -pi to pi.
fn wrapped(angle: f32) -> f32 {
    (angle + std::f32::consts::PI).rem_euclid(std::f32::consts::TAU) - std::f32::consts::PI
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_mean_over_angle_is_baumbachs() {
        let corona = Corona::new(3);
        for r in [1.05_f32, 1.3, 2.0, 3.0, 4.0] {
            let n = 3600;
            let mean: f32 = (0..n)
                .map(|k| k as f32 / n as f32 * std::f32::consts::TAU)
                .map(|a| corona.at(r * a.sin(), r * a.cos()))
                .sum::<f32>()
                / n as f32;
            let off = mean / baumbach(r) - 1.0;
            assert!(off.abs() < 0.01, "{off} at {r}");
        }
    }

    #[test]
    fn the_equator_outshines_the_poles() {
        let corona = Corona::new(3);
        assert!(corona.at(1.5, 0.0) > 2.0 * corona.at(0.0, 1.5));
    }
}
