//! Brightness and white of the filtered discs, matched in linear light.
//!
//! A crescent shows only limb, a full disc mostly centre, and the limb is darker and redder. So frames are compared at
//! the same distance from the Sun's centre: the fall of light towards the limb is learnt from the card's own discs, and
//! a frame's level is the light its disc would have at the centre.

mod rings;

use super::recipe::{Recipe, Tint};
use crate::domain::upper_median;
use crate::raster::LinearRgb;
use rings::{RINGS, ring_radius};
pub(super) use rings::{Rings, rings};

/// Rounds of learning the fall of light and the frames' levels in turn.
const ROUNDS: usize = 4;

/// Most that a frame is brightened.
const MAX_GAIN: f32 = 64.0;

/// Most by which the gain of one channel may exceed that of the brightest: beyond it there is little in it but noise.
const MOST_APART: f32 = 8.0;

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

fn textbook_fall() -> Fall {
    std::array::from_fn(|c| {
        let [u, v] = LIMB_DARKENING[c];
        std::array::from_fn(|ring| {
            let mu = (1.0 - ring_radius(ring).powi(2)).sqrt();
            (1.0 - u - v + u * mu + v * mu * mu) as f32
        })
    })
}

/// What the levels of a disc are found from.
pub(super) struct Measured<'a> {
    /// Its rings; `None` where the Sun's circle is not known.
    pub(super) rings: Option<&'a Rings>,
    /// How much light was let in, in stops, where the header says.
    pub(super) stops: Option<f64>,
}

/// Levels of discs taken by one body, in time order; `None` for a disc that cannot be measured.
///
/// Thin crescents show little but blurred limb. Where the body's other frames keep step with their exposures, a thin
/// one's level is taken from its exposure instead.
pub(super) fn levels(discs: &[Measured<'_>]) -> Vec<Option<Level>> {
    let rings: Vec<Option<&Rings>> = discs.iter().map(|d| d.rings).collect();
    let mut fall = textbook_fall();
    let mut levels = Vec::new();
    for _ in 0..ROUNDS {
        levels = rings
            .iter()
            .map(|r| r.and_then(|r| level(r, &fall)))
            .collect();
        learn(&mut fall, &rings, &levels);
    }
    let solid: Vec<Option<Level>> = levels
        .iter()
        .zip(&rings)
        .map(|(level, r)| level.filter(|_| r.is_some_and(|r| !r.thin)))
        .collect();
    (0..discs.len())
        .map(|i| {
            solid[i]
                .or_else(|| by_exposure(i, discs, &solid))
                .or(levels[i])
        })
        .collect()
}

/// Frames nearest in time that a level by exposure rests on.
const NEIGHBOURS: usize = 5;

/// Most that those may differ among themselves, as a factor.
const STEADY: f32 = 1.08;

/// The level of a frame by its exposure and its neighbours' levels, where those agree.
fn by_exposure(i: usize, discs: &[Measured<'_>], solid: &[Option<Level>]) -> Option<Level> {
    let stops = discs[i].stops?;
    let mut others: Vec<usize> = (0..discs.len())
        .filter(|&j| solid[j].is_some() && discs[j].stops.is_some())
        .collect();
    others.sort_by_key(|&j| j.abs_diff(i));
    others.truncate(NEIGHBOURS);
    let scaled: Vec<[f32; 3]> = others
        .iter()
        .filter_map(|&j| {
            let gain = (stops - discs[j].stops?).exp2() as f32;
            Some(solid[j]?.rgb.map(|v| v * gain))
        })
        .collect();
    let greens = scaled.iter().map(|rgb| rgb[1]);
    let (least, most) = (
        greens.clone().fold(f32::INFINITY, f32::min),
        greens.fold(0.0, f32::max),
    );
    if scaled.len() < 2 || most > least * STEADY {
        return None;
    }
    let usual = |c: usize| upper_median(&mut scaled.iter().map(|rgb| rgb[c]).collect::<Vec<f32>>());
    Some(Level {
        rgb: [usual(0)?, usual(1)?, usual(2)?],
    })
}

/// The level that fits the rings best: the median of their ratios to the fall of light.
fn level(rings: &Rings, fall: &Fall) -> Option<Level> {
    let mut rgb = [0.0; 3];
    for c in 0..3 {
        let mut ratios: Vec<f32> = rings.medians[c]
            .iter()
            .zip(&fall[c])
            .filter_map(|(seen, fall)| seen.map(|s| s / fall.max(0.05)))
            .collect();
        rgb[c] = upper_median(&mut ratios)?;
    }
    (rgb.iter().copied().fold(0.0, f32::max) > 0.0).then_some(Level { rgb })
}

/// The fall of light as the frames show it, in rings that enough frames show; elsewhere it keeps its shape.
fn learn(fall: &mut Fall, rings: &[Option<&Rings>], levels: &[Option<Level>]) {
    for (c, fall) in fall.iter_mut().enumerate() {
        for (ring, place) in fall.iter_mut().enumerate() {
            let mut ratios: Vec<f32> = rings
                .iter()
                .zip(levels)
                .filter_map(|(r, level)| Some(((*r)?.medians[c][ring]?, (*level)?.rgb[c])))
                .filter(|(_, level)| *level > 0.0)
                .map(|(seen, level)| seen / level)
                .collect();
            if let (2.., Some(usual)) = (ratios.len(), upper_median(&mut ratios)) {
                *place = usual;
            }
        }
        let centre = fall[0].max(0.05);
        fall.iter_mut().for_each(|f| *f /= centre);
    }
}

/// Colour of the matched discs, red green blue, the brightest being 1.
pub(super) fn hue(recipe: &Recipe, levels: &[Level]) -> [f32; 3] {
    match recipe.white_balance {
        Tint::Neutral => [1.0; 3],
        Tint::Warm => WARM,
        Tint::AsShot => {
            let part = |c: usize| {
                let share =
                    |l: &Level| l.rgb[c] / l.rgb.iter().copied().fold(f32::MIN_POSITIVE, f32::max);
                let mut shares: Vec<f32> = levels.iter().map(share).collect();
                upper_median(&mut shares).unwrap_or(0.0)
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
pub(super) fn matched(light: &mut LinearRgb, level: &Level, hue: [f32; 3], recipe: &Recipe) {
    let target = recipe.brightness as f32;
    let most = level.rgb.iter().copied().fold(f32::MIN_POSITIVE, f32::max);
    if recipe.white_balance == Tint::AsShot {
        let base = (target / most).min(MAX_GAIN);
        let wanted: [f32; 3] =
            std::array::from_fn(|c| target * hue[c] / level.rgb[c].max(most * 1e-4));
        // A Sun on the horizon has next to no blue left: then its channels are joined, as for white.
        if wanted.iter().all(|gain| *gain <= MOST_APART * base) {
            let gain = wanted.map(|gain| gain.min(MAX_GAIN));
            for rgb in light.data_mut().chunks_exact_mut(3) {
                for c in 0..3 {
                    rgb[c] *= gain[c];
                }
            }
            return;
        }
    }
    let luma = [0.2126, 0.7152, 0.0722];
    let weights: [f32; 3] = std::array::from_fn(|c| luma[c] * level.rgb[c] / most);
    let sum: f32 = weights.iter().sum();
    let per: [f32; 3] =
        std::array::from_fn(|c| (weights[c] / sum / level.rgb[c].max(most * 1e-4)).min(MAX_GAIN));
    for rgb in light.data_mut().chunks_exact_mut(3) {
        let one = target * (rgb[0] * per[0] + rgb[1] * per[1] + rgb[2] * per[2]);
        for c in 0..3 {
            rgb[c] = one * hue[c];
        }
    }
}
