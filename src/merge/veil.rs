//! What lies before the corona in the picture: the sky's even light, and a veil of haze or stray light about the Sun.
//!
//! Both are the scene's own light and stay in the map. They are told apart by radii: the sky is what is left far from
//! the Sun, the veil is what more there is on the Moon's disc, where no corona shines. How wide the veil is nothing
//! measures directly; it is taken as wide as it can be without eating the faintest part of any ring (our choice: too narrow
//! a veil leaves grey about the Sun, too wide a one is ruled out by the rings).

use super::Merged;
use super::layer::{sky_percentiles, sky_unrest};
use super::light::luminance;
use crate::domain::quantile;

/// Sky and veil per channel, in the map's unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Veil {
    /// Even light of the sky.
    pub(crate) sky: [f32; 3],
    /// Light beyond that on the Moon's disc.
    pub(crate) excess: [f32; 3],
    /// Distance from the limb at which the excess has fallen to half, in solar radii.
    pub(crate) width_radii: f32,
}

/// Widths that are tried, in solar radii.
const WIDTHS: [f32; 8] = [8.0, 5.6, 4.0, 2.8, 2.0, 1.4, 1.0, 0.7];

/// The narrowest veil: beside the limb, where nothing tells it from glare.
const NARROWEST: f32 = 0.4;

/// Part of a ring's faintest tenth that the veil may make.
const MOST_OF_RING: f32 = 0.85;

/// Part of the Moon's ranking taken as its level: the picture shows the Moon dark, its markings have a layer of their own.
const FACE_PART: f64 = 0.9;

impl Veil {
    pub(crate) fn of(merged: &Merged) -> Self {
        let [low, middle] = sky_percentiles(merged, [0.05, 0.5]);
        let unrest = sky_unrest(merged);
        // In noise the fifth percentile lies under the sky.
        let sky = [0, 1, 2].map(|c| (low[c] + (middle[c] - low[c]).min(2.0 * unrest)).max(0.0));
        let face = face_level(merged);
        let excess = [0, 1, 2].map(|c| (face[c] - sky[c]).max(0.0));
        let rings = faint_rings(merged, luminance(sky));
        let fits = |width: f32| {
            let veil = |r: f32| luminance(excess) * fall(r, width);
            rings
                .iter()
                .all(|&(r, light)| veil(r) <= MOST_OF_RING * light)
        };
        Self {
            sky,
            excess,
            width_radii: WIDTHS.into_iter().find(|w| fits(*w)).unwrap_or(NARROWEST),
        }
    }

    /// The light to take off at a distance from the Sun in solar radii.
    pub(crate) fn at(&self, r_radii: f32) -> [f32; 3] {
        let share = fall(r_radii, self.width_radii);
        [0, 1, 2].map(|c| self.sky[c] + self.excess[c] * share)
    }
}

/// 1 on the disc, falling outside the limb (a Lorentz curve: far wings, as scattering has).
fn fall(r: f32, width: f32) -> f32 {
    1.0 / (1.0 + ((r - 1.06).max(0.0) / width).powi(2))
}

/// Light of all but the brightest of the Moon's face.
fn face_level(merged: &Merged) -> [f32; 3] {
    let (moon, part) = (&merged.moon, &merged.moon_light);
    let mut lists: [Vec<f32>; 3] = Default::default();
    for y in 0..part.light.height() {
        for x in 0..part.light.width() {
            let (px, py) = ((x + part.left_px) as f64, (y + part.top_px) as f64);
            let off = (px - moon.x_px).hypot(py - moon.y_px);
            if off < 0.8 * moon.radius_px {
                for (list, v) in lists.iter_mut().zip(part.light.at(x, y)) {
                    list.push(v);
                }
            }
        }
    }
    lists.map(|mut list| quantile(&mut list, FACE_PART).map_or(0.0, |v| v.max(0.0)))
}

/// Distance in solar radii and light over the sky of the faintest tenth of rings about the Sun, from beside the limb to
/// where half the ring leaves the map.
fn faint_rings(merged: &Merged, sky: f32) -> Vec<(f32, f32)> {
    const ANGLES: usize = 240;
    let map = &merged.radiance;
    let mut out = Vec::new();
    for k in 0..40 {
        let r = 1.12 * 1.06_f64.powi(k);
        let mut list: Vec<f32> = (0..ANGLES)
            .filter_map(|i| {
                let (sin, cos) = (i as f64 / ANGLES as f64 * std::f64::consts::TAU).sin_cos();
                let x = (merged.sun.x_px + r * merged.sun.radius_px * cos).round();
                let y = (merged.sun.y_px + r * merged.sun.radius_px * sin).round();
                let off = (x - merged.moon.x_px).hypot(y - merged.moon.y_px);
                let on = x >= 0.0 && y >= 0.0 && x < map.width() as f64 && y < map.height() as f64;
                let clear = off > merged.moon.radius_px + 3.0;
                (on && clear).then(|| luminance(map.at(x as usize, y as usize)) - sky)
            })
            .collect();
        if list.len() < ANGLES / 2 {
            continue;
        }
        let tenth = list.len() / 10;
        let light = *list.select_nth_unstable_by(tenth, f32::total_cmp).1;
        // Far out noise makes the tenth negative; there the sky itself is what fits.
        if light > 0.0 {
            out.push((r as f32, light));
        }
    }
    out
}
