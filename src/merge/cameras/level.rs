//! One camera's light in another's unit.

use rayon::prelude::*;

use crate::domain::quantile;
use crate::merge::Merged;
use crate::merge::light::luminance;
use crate::raster::LinearRgb;

/// Rings, evenly in the logarithm of the distance, between these distances in solar radii.
const RINGS: usize = 16;
const BETWEEN_RADII: [f64; 2] = [1.12, 6.0];

/// Fewest places of a ring that make a median.
const FEWEST: usize = 60;

/// Places of a ring that are looked at, at most.
const MOST: usize = 20_000;

/// Cover from which a place is compared.
const COVERED: f32 = 0.9;

/// What brings a map's light to another's: `factor * light + more`, a channel.
pub(super) struct Levels {
    pub(super) gain: [f32; 3],
    more: [f32; 3],
}

impl Levels {
    pub(super) fn bring(&self, light: &mut LinearRgb) {
        light.data_mut().par_chunks_exact_mut(3).for_each(|rgb| {
            // No light at all stays none.
            if rgb.iter().any(|v| *v > 0.0) {
                for (c, v) in rgb.iter_mut().enumerate() {
                    *v = self.gain[c] * *v + self.more[c];
                }
            }
        });
    }
}

/// The median of each ring in both maps.
type Pair = ([f32; 3], [f32; 3]);

/// The places of each ring that both show.
fn rings(main: &Merged, cover: &[f32]) -> Vec<Vec<usize>> {
    let width = main.radiance.width();
    let [near, far] = BETWEEN_RADII.map(f64::ln);
    let mut rings = vec![Vec::new(); RINGS];
    for (i, cover) in cover.iter().enumerate() {
        if *cover < COVERED {
            continue;
        }
        let (x, y) = ((i % width) as f64, (i / width) as f64);
        let r = (x - main.sun.x_px).hypot(y - main.sun.y_px) / main.sun.radius_px;
        let at = (r.ln() - near) / (far - near) * RINGS as f64;
        let there = main.radiance.at(i % width, i / width);
        if (0.0..RINGS as f64).contains(&at) && there.iter().all(|v| *v > 0.0) {
            rings[at as usize].push(i);
        }
    }
    for ring in &mut rings {
        let step = ring.len().div_ceil(MOST).max(1);
        *ring = ring.iter().copied().step_by(step).collect();
    }
    rings
}

/// Factor and difference by least squares over the rings' medians, each over its own light, so that the bright inner corona gives the
/// factor and the faint outer one the sky; `None` where both share too few rings.
pub(super) fn levels(main: &Merged, light: &LinearRgb, cover: &[f32]) -> Option<Levels> {
    let width = light.width();
    let pairs: Vec<Pair> = rings(main, cover)
        .into_iter()
        .filter(|ring| ring.len() >= FEWEST)
        .map(|ring| {
            let of = |map: &LinearRgb| {
                std::array::from_fn(|c| {
                    let values = ring.iter().map(|i| map.at(i % width, i / width)[c]);
                    quantile(&mut values.collect::<Vec<f32>>(), 0.5).unwrap_or(0.0)
                })
            };
            (of(&main.radiance), of(light))
        })
        .collect();
    let lines: [Option<(f32, f32)>; 3] = [0, 1, 2].map(|c| line(&pairs, c));
    let [Some(red), Some(green), Some(blue)] = lines else {
        return None;
    };
    Some(Levels {
        gain: [red.0, green.0, blue.0],
        more: [red.1, green.1, blue.1],
    })
}

/// `main = gain * other + more`, weighted by `1 / main^2`; the factor alone where there are only two rings.
fn line(pairs: &[Pair], c: usize) -> Option<(f32, f32)> {
    let good = pairs.iter().filter(|(a, b)| a[c] > 0.0 && b[c] > 0.0);
    // Over the main map's light: 1 = gain * (b / a) + more / a.
    let rows: Vec<[f64; 2]> = good
        .map(|(a, b)| [f64::from(b[c] / a[c]), f64::from(1.0 / a[c])])
        .collect();
    let sum = |f: &dyn Fn(&[f64; 2]) -> f64| rows.iter().map(f).sum::<f64>();
    let (xx, xy, yy) = (
        sum(&|r| r[0] * r[0]),
        sum(&|r| r[0] * r[1]),
        sum(&|r| r[1] * r[1]),
    );
    let (x, y) = (sum(&|r| r[0]), sum(&|r| r[1]));
    let det = xx * yy - xy * xy;
    match rows.len() {
        0 | 1 => None,
        _ if det <= 1e-9 * xx * yy || rows.len() == 2 => Some(((x / xx) as f32, 0.0)),
        _ => {
            let (gain, more) = ((x * yy - y * xy) / det, (y * xx - x * xy) / det);
            (gain > 0.0).then_some((gain as f32, more as f32))
        }
    }
}

/// Median departure of the two maps' luminance over the rings within three radii, as a part.
pub(super) fn departure(main: &Merged, light: &LinearRgb, cover: &[f32]) -> Option<f64> {
    let width = light.width();
    let inner = rings(main, cover).into_iter().take(RINGS / 2);
    let mut all: Vec<f32> = inner
        .flatten()
        .map(|i| {
            let of = |map: &LinearRgb| luminance(map.at(i % width, i / width));
            (of(light) / of(&main.radiance).max(f32::MIN_POSITIVE) - 1.0).abs()
        })
        .collect();
    let enough = all.len() >= FEWEST;
    quantile(&mut all, 0.5).filter(|_| enough).map(f64::from)
}
