//! Brightness and white of the filtered discs, matched in linear light.
//!
//! A crescent shows only limb, a full disc mostly centre, and the limb is darker and redder. So frames are compared at
//! the same distance from the Sun's centre: the fall of light towards the limb is learnt from the card's own discs, and
//! a frame's level is the light its disc would have at the centre.

use super::develop::{Disc, middle};
use super::recipe::{Recipe, Tint};

/// Rings of equal area that the fall of light is learnt in.
const RINGS: usize = 24;

/// Farthest out that a disc is measured, in solar radii: beyond, blur and seeing mix in the sky.
const MEASURED_TO: f64 = 0.95;

/// Rounds of learning the fall of light and the frames' levels in turn.
const ROUNDS: usize = 4;

/// Most that a frame is brightened.
const MAX_GAIN: f32 = 64.0;

/// Share of saturated pixels above which a frame's level cannot be trusted.
pub(super) const TOO_CLIPPED: f64 = 0.2;

/// Light of a warm Sun in the strip, red green blue, the brightest being 1: our choice of a late-afternoon yellow.
const WARM: [f32; 3] = [1.0, 0.62, 0.22];

/// Coefficients u2 and v2 of `I/I0 = 1 - u2 - v2 + u2 mu + v2 mu^2` at 0.60, 0.55 and 0.45 micrometres, for red, green
/// and blue. Source: Allen's Astrophysical Quantities, 4th ed. (A. Cox 2000), limb darkening table; from memory. Only
/// a start: the card's own discs overrule it.
const LIMB_DARKENING: [[f64; 2]; 3] = [[0.88, -0.23], [0.93, -0.23], [0.99, -0.17]];

/// The fall of light from centre to limb, per channel and ring, 1 at the centre.
type Fall = [[f32; RINGS]; 3];

/// The light a disc would have at its centre, per channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Level {
    pub(super) rgb: [f32; 3],
}

/// Medians of one disc, per channel and ring; `None` where too little of the Sun is seen there.
type Rings = [[Option<f32>; RINGS]; 3];

/// Ring of a place at `r` solar radii; rings have equal areas.
fn ring_of(r: f64) -> usize {
    ((r / MEASURED_TO).powi(2) * RINGS as f64) as usize
}

/// Mean distance of a ring, in solar radii.
fn ring_radius(ring: usize) -> f64 {
    MEASURED_TO * ((ring as f64 + 0.5) / RINGS as f64).sqrt()
}

fn textbook_fall() -> Fall {
    std::array::from_fn(|c| {
        let [u, v] = LIMB_DARKENING[c];
        std::array::from_fn(|ring| {
            let mu = (1.0 - ring_radius(ring).powi(2)).sqrt();
            (1.0 - u - v + u * mu + v * mu * mu) as f32
        })
    })
}

/// Levels of discs taken by one body; `None` for a disc with no measurable Sun.
pub(super) fn levels(discs: &[&Disc]) -> Vec<Option<Level>> {
    let rings: Vec<Rings> = discs.iter().map(|disc| rings(disc)).collect();
    let mut fall = textbook_fall();
    let mut levels = Vec::new();
    for _ in 0..ROUNDS {
        levels = rings.iter().map(|r| level(r, &fall)).collect();
        learn(&mut fall, &rings, &levels);
    }
    levels
}

/// Medians in rings of what is surely Sun: inside the limb, clear of the Moon.
fn rings(disc: &Disc) -> Rings {
    let mut seen: Vec<Vec<[f32; 3]>> = vec![Vec::new(); RINGS];
    // Thin crescents have no place far from the Moon's limb: come nearer until something is left.
    for clear in [0.08, 0.05, 0.03, 0.015, 0.0] {
        seen.iter_mut().for_each(Vec::clear);
        collect(disc, clear, &mut seen);
        if seen.iter().map(Vec::len).sum::<usize>() >= enough(disc) {
            break;
        }
    }
    let least = (enough(disc) / RINGS).max(6);
    std::array::from_fn(|c| {
        std::array::from_fn(|ring| {
            let mut values: Vec<f32> = seen[ring].iter().map(|rgb| rgb[c]).collect();
            (values.len() >= least).then(|| middle(&mut values))
        })
    })
}

/// Pixels wanted for a level: half a percent of the disc.
fn enough(disc: &Disc) -> usize {
    (0.005 * std::f64::consts::PI * disc.sun.radius_px.powi(2)).max(40.0) as usize
}

fn collect(disc: &Disc, clear: f64, seen: &mut [Vec<[f32; 3]>]) {
    let (sun, margin) = (disc.sun, clear * disc.sun.radius_px);
    let floor = if disc.moon.is_none() {
        0.5 * bright(disc)
    } else {
        0.0
    };
    for y in 0..disc.light.height() {
        for x in 0..disc.light.width() {
            let r = (x as f64 - sun.x_px).hypot(y as f64 - sun.y_px) / sun.radius_px;
            if r >= MEASURED_TO {
                continue;
            }
            let covered = disc.moon.is_some_and(|m| {
                (x as f64 - m.x_px).hypot(y as f64 - m.y_px) < m.radius_px + margin
            });
            let rgb = disc.light.at(x, y);
            if !covered && rgb.iter().copied().fold(0.0, f32::max) > floor {
                seen[ring_of(r).min(RINGS - 1)].push(rgb);
            }
        }
    }
}

/// A high level of the disc, for telling Sun from Moon where the Moon's place is not known.
fn bright(disc: &Disc) -> f32 {
    let mut values: Vec<f32> = disc
        .light
        .data()
        .chunks_exact(3)
        .map(|rgb| rgb.iter().copied().fold(0.0, f32::max))
        .filter(|v| *v > 0.0)
        .collect();
    if values.is_empty() {
        return 0.0;
    }
    let place = values.len() * 9 / 10;
    *values.select_nth_unstable_by(place, f32::total_cmp).1
}

/// The level that fits the rings best: the median of their ratios to the fall of light.
fn level(rings: &Rings, fall: &Fall) -> Option<Level> {
    let mut rgb = [0.0; 3];
    for c in 0..3 {
        let mut ratios: Vec<f32> = rings[c]
            .iter()
            .zip(&fall[c])
            .filter_map(|(seen, fall)| seen.map(|s| s / fall.max(0.05)))
            .collect();
        if ratios.is_empty() {
            return None;
        }
        rgb[c] = middle(&mut ratios);
    }
    (rgb.iter().copied().fold(0.0, f32::max) > 0.0).then_some(Level { rgb })
}

/// The fall of light as the frames show it, in rings that enough frames show; elsewhere it keeps its shape.
fn learn(fall: &mut Fall, rings: &[Rings], levels: &[Option<Level>]) {
    for c in 0..3 {
        for ring in 0..RINGS {
            let mut ratios: Vec<f32> = rings
                .iter()
                .zip(levels)
                .filter_map(|(r, level)| Some((r[c][ring]?, level.as_ref()?.rgb[c])))
                .filter(|(_, level)| *level > 0.0)
                .map(|(seen, level)| seen / level)
                .collect();
            if ratios.len() >= 2 {
                fall[c][ring] = middle(&mut ratios);
            }
        }
        let centre = fall[c][0].max(0.05);
        fall[c].iter_mut().for_each(|f| *f /= centre);
    }
}

/// Colour of the matched discs, red green blue, the brightest being 1.
pub(super) fn hue(recipe: &Recipe, levels: &[Level]) -> [f32; 3] {
    match recipe.tint {
        Tint::Neutral => [1.0; 3],
        Tint::Warm => WARM,
        Tint::AsShot => {
            let part = |c: usize| {
                let share =
                    |l: &Level| l.rgb[c] / l.rgb.iter().copied().fold(f32::MIN_POSITIVE, f32::max);
                let mut shares: Vec<f32> = levels.iter().map(share).collect();
                middle(&mut shares)
            };
            let rgb = [part(0), part(1), part(2)];
            let most = rgb.iter().copied().fold(0.0, f32::max);
            if most > 0.0 {
                rgb.map(|v| v / most)
            } else {
                [1.0; 3]
            }
        }
    }
}

/// Brings a disc to the common level and white.
///
/// As shot, each channel gets its own gain. For white and warm the channels are first joined into one, each counting by
/// how much light it has, for a coloured filter leaves little but noise in some.
pub(super) fn matched(disc: &mut Disc, level: &Level, hue: [f32; 3], recipe: &Recipe) {
    let target = recipe.brightness as f32;
    let most = level.rgb.iter().copied().fold(f32::MIN_POSITIVE, f32::max);
    if recipe.tint == Tint::AsShot {
        let base = (target / most).min(MAX_GAIN);
        let gain: [f32; 3] = std::array::from_fn(|c| {
            let wanted = target * hue[c] / level.rgb[c].max(most * 1e-4);
            wanted.min(base * 8.0).min(MAX_GAIN)
        });
        for rgb in disc.light.data_mut().chunks_exact_mut(3) {
            for c in 0..3 {
                rgb[c] *= gain[c];
            }
        }
        return;
    }
    let luma = [0.2126, 0.7152, 0.0722];
    let weights: [f32; 3] = std::array::from_fn(|c| luma[c] * level.rgb[c] / most);
    let sum: f32 = weights.iter().sum();
    let per: [f32; 3] =
        std::array::from_fn(|c| (weights[c] / sum / level.rgb[c].max(most * 1e-4)).min(MAX_GAIN));
    for rgb in disc.light.data_mut().chunks_exact_mut(3) {
        let one = target * (rgb[0] * per[0] + rgb[1] * per[1] + rgb[2] * per[2]);
        for c in 0..3 {
            rgb[c] = one * hue[c];
        }
    }
}
