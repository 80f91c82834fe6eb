//! How bright a disc is at each distance from its centre.

use crate::domain::{Circle, upper_median};
use crate::raster::LinearRgb;

/// Rings of equal area that the fall of light is learnt in.
pub(super) const RINGS: usize = 32;

/// Farthest out that a disc is measured, in solar radii: beyond, blur and seeing mix in the sky.
const MEASURED_TO: f64 = 0.985;

/// Distances kept from the Moon's limb, in solar radii, the first that leaves enough being taken: thin crescents have
/// no place far from it.
const CLEAR_OF_MOON: [f64; 5] = [0.08, 0.05, 0.03, 0.02, 0.01];

/// Least distance kept from the Moon's limb, in pixels: its blur.
const CLEAR_PX: f64 = 1.5;

/// Share of the disc's area that gives a sound level.
const SOUND_AREA: f64 = 0.01;

/// Fewest pixels that give any.
const FEWEST: usize = 24;

/// Medians of one disc.
#[derive(Clone, Debug)]
pub(in super::super) struct Rings {
    /// Per channel and ring; `None` where too little of the Sun is seen there.
    pub(super) medians: [[Option<f32>; RINGS]; 3],
    /// Whether so little is seen that the level is not sound.
    pub(super) thin: bool,
}

/// Ring of a place at `r` solar radii; rings have equal areas.
fn ring_of(r: f64) -> usize {
    (((r / MEASURED_TO).powi(2) * RINGS as f64) as usize).min(RINGS - 1)
}

/// Mean distance of a ring, in solar radii.
pub(super) fn ring_radius(ring: usize) -> f64 {
    MEASURED_TO * ((ring as f64 + 0.5) / RINGS as f64).sqrt()
}

/// Medians in rings of what is surely Sun: inside the limb, clear of the Moon, the sky's light taken off.
///
/// Where the Moon is not known, what is less than half as bright as the bright parts counts as covered.
pub(in super::super) fn rings(
    source: &LinearRgb,
    sun: &Circle,
    moon: Option<&Circle>,
    sky: [f32; 3],
) -> Rings {
    let area = std::f64::consts::PI * sun.radius_px.powi(2);
    let sound = ((SOUND_AREA * area) as usize).max(FEWEST);
    let mut seen = Vec::new();
    for clear in CLEAR_OF_MOON {
        seen = match moon {
            Some(moon) => {
                let margin = (clear * sun.radius_px).max(CLEAR_PX);
                collected(source, sun, |x, y, _| {
                    (x - moon.x_px).hypot(y - moon.y_px) >= moon.radius_px + margin
                })
            }
            None => {
                let floor = 0.5 * bright(source, sun);
                collected(source, sun, |_, _, light| light > floor)
            }
        };
        if moon.is_none() || count(&seen) >= sound {
            break;
        }
    }
    let least = (sound / RINGS / 4).max(6);
    let median = |ring: &Vec<[f32; 3]>, c: usize| {
        let mut values: Vec<f32> = ring.iter().map(|rgb| rgb[c] - sky[c]).collect();
        upper_median(&mut values).filter(|_| values.len() >= least)
    };
    Rings {
        medians: std::array::from_fn(|c| std::array::from_fn(|ring| median(&seen[ring], c))),
        thin: count(&seen) < sound,
    }
}

fn count(seen: &[Vec<[f32; 3]>]) -> usize {
    seen.iter().map(Vec::len).sum()
}

/// Pixels of the disc that `open` lets through (place, brightest channel), by ring.
fn collected(
    source: &LinearRgb,
    sun: &Circle,
    open: impl Fn(f64, f64, f32) -> bool,
) -> Vec<Vec<[f32; 3]>> {
    let mut seen = vec![Vec::new(); RINGS];
    let rows = span(sun.y_px, sun.radius_px, source.height());
    for y in rows {
        for x in span(sun.x_px, sun.radius_px, source.width()) {
            let (px, py) = (x as f64, y as f64);
            let r = (px - sun.x_px).hypot(py - sun.y_px) / sun.radius_px;
            let rgb = source.at(x, y);
            if r < MEASURED_TO && open(px, py, brightest(rgb)) {
                seen[ring_of(r)].push(rgb);
            }
        }
    }
    seen
}

/// Pixels of an axis that a circle covers.
fn span(centre: f64, radius: f64, len: usize) -> std::ops::Range<usize> {
    let edge = |v: f64| v.clamp(0.0, len as f64) as usize;
    edge((centre - radius).floor())..edge((centre + radius).ceil() + 1.0)
}

fn brightest(rgb: [f32; 3]) -> f32 {
    rgb.into_iter().fold(0.0, f32::max)
}

/// A high level of the disc: the median of what is at least a fifth as bright as its brightest place.
fn bright(source: &LinearRgb, sun: &Circle) -> f32 {
    let all = collected(source, sun, |_, _, _| true);
    let lights = || all.iter().flatten().map(|rgb| brightest(*rgb));
    let most = lights().fold(0.0, f32::max);
    let mut high: Vec<f32> = lights().filter(|v| *v > most / 5.0).collect();
    upper_median(&mut high).unwrap_or(0.0)
}
