//! The corona as the logarithm of its light, the Moon, clipped light and noise masked softly.

use super::blur::blur;
use super::response::Response;
use crate::raster::LinearImage;

/// Blur that the high-pass picture is free of, in fractions of the picture's side.
const HIGH_PASS_BLUR: f64 = 0.008;

/// Smoothing of the logarithm, in registration pixels.
pub(super) const SMOOTH_PX: f64 = 1.2;

/// Least light used, in decoded light: below, rounding to stored values is the structure.
const DARKEST: f32 = 0.006;

/// Light from where trust grows and up to where it lasts, so that no edge is set by noise.
const FADES: [[f32; 2]; 2] = [[0.009, 0.025], [0.88, 0.6]];

/// One frame's corona as the natural logarithm of light, with how much each place counts.
#[derive(Clone)]
pub(crate) struct LogCorona {
    pub(super) value: Vec<f32>,
    pub(super) mask: Vec<f32>,
}

/// Makes the logarithm picture; `None` when too little of the corona is usable.
pub(crate) fn log_corona(picture: &LinearImage, response: &Response) -> Option<LogCorona> {
    let side = picture.width();
    let good = |v: f32| v > DARKEST;
    let usable: Vec<f32> = picture.data().iter().map(|v| f32::from(good(*v))).collect();
    let share = usable.iter().sum::<f32>() / usable.len().max(1) as f32;
    if share < 0.01 {
        return None;
    }
    let log: Vec<f32> = picture
        .data()
        .iter()
        .map(|&v| if good(v) { response.light(v).ln() } else { 0.0 })
        .collect();
    let value = masked_blur(&log, &usable, side, SMOOTH_PX);
    let mask = mask(&usable, &value, side);
    Some(LogCorona { value, mask })
}

/// Soft mask: nothing near the unusable and the picture's edge, less where the light is weak and noisy.
fn mask(usable: &[f32], log: &[f32], side: usize) -> Vec<f32> {
    /// Scatter that every place is granted beside its noise, in natural logarithm.
    const STRUCTURE: f32 = 0.01;
    let around = blur(usable, side, 2.0 * SMOOTH_PX);
    let edge = 0.05 * side as f32;
    (0..usable.len())
        .map(|i| {
            let soft = usable[i] * ((around[i] - 0.85) / 0.15).clamp(0.0, 1.0).powi(2);
            let (x, y) = (i % side, i / side);
            let inside = x.min(y).min(side - 1 - x).min(side - 1 - y) as f32;
            let light = log[i].exp();
            let noise = STRUCTURE.powi(2) + 1e-5 / light;
            let [dark, bright] = FADES.map(|[none, all]| smooth(light, none, all));
            soft * dark * bright * (inside / edge).min(1.0) * STRUCTURE.powi(2) / noise
        })
        .collect()
}

/// 0 at `none`, 1 at `all` and beyond, straight between; either may be the larger.
fn smooth(v: f32, none: f32, all: f32) -> f32 {
    ((v - none) / (all - none)).clamp(0.0, 1.0)
}

/// The logarithm less its blurred self, and a mask of where all of the blur's support is good.
pub(super) fn high_pass(corona: &LogCorona, side: usize) -> (Vec<f32>, Vec<f32>) {
    let sigma = HIGH_PASS_BLUR * side as f64;
    let usable: Vec<f32> = corona.mask.iter().map(|m| f32::from(*m > 0.0)).collect();
    let base = masked_blur(&corona.value, &usable, side, sigma);
    let around = blur(&usable, side, sigma);
    let value = corona.value.iter().zip(base).map(|(v, b)| v - b).collect();
    let mask = corona
        .mask
        .iter()
        .zip(around)
        .map(|(m, a)| m * ((a - 0.97) / 0.03).clamp(0.0, 1.0))
        .collect();
    (value, mask)
}

/// Blur of `value * weight` over blur of `weight`; 0 where no weight is near.
fn masked_blur(value: &[f32], weight: &[f32], side: usize, sigma: f64) -> Vec<f32> {
    let weighted: Vec<f32> = value.iter().zip(weight).map(|(v, w)| v * w).collect();
    let (over, under) = (blur(&weighted, side, sigma), blur(weight, side, sigma));
    over.iter()
        .zip(under)
        .map(|(o, u)| if u > 1e-3 { o / u } else { 0.0 })
        .collect()
}
