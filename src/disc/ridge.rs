//! How wide a sliver of light is across the Moon's limb.

use super::rays::light_at;
use super::surface::{PROFILE_PX, reach_px};
use crate::domain::Circle;
use crate::domain::saturation::FULL_DISC;
use crate::raster::{Channel, Frame};

/// A sliver's width is told where it is this bright, of its brightest place, in so many directions.
const BRIGHT: f64 = 0.5;
const LEAST_DIRECTIONS: usize = 16;
const DIRECTIONS: usize = 180;

/// Saturated over more than this part of its width, it is as wide as its glare.
const MOST_FULL: f64 = 0.6;

/// Lower quartile of a sliver's width at half height in pixels, across the Moon's limb; `None` where it is saturated or short.
pub(super) fn across_px(frame: &Frame, moon: Circle) -> Option<f64> {
    let profiles: Vec<Vec<f64>> = (0..DIRECTIONS)
        .filter_map(|n| profile(frame, moon, n as f64 / DIRECTIONS as f64))
        .collect();
    let most = |p: &[f64]| p.iter().copied().fold(0.0, f64::max).min(FULL_DISC);
    let peak = profiles.iter().map(|p| most(p)).fold(0.0, f64::max);
    let mut widths: Vec<f64> = profiles
        .iter()
        .filter(|p| most(p) > BRIGHT * peak)
        .filter_map(|p| half_width_px(p))
        .collect();
    widths.sort_by(f64::total_cmp);
    (widths.len() >= LEAST_DIRECTIONS).then(|| widths[widths.len() / 4])
}

/// Light across the Moon's limb, in a direction as a part of a turn; `None` where it leaves the frame.
fn profile(frame: &Frame, moon: Circle, part: f64) -> Option<Vec<f64>> {
    let (sin, cos) = (part * std::f64::consts::TAU).sin_cos();
    let reach = reach_px(moon.radius_px);
    let count = (2.0 * reach / PROFILE_PX) as usize;
    (0..=count)
        .map(|k| {
            let r = moon.radius_px - reach + k as f64 * PROFILE_PX;
            let (x, y) = (moon.x_px + r * cos, moon.y_px + r * sin);
            light_at(frame, x, y, Channel::Max)
        })
        .collect()
}

/// Width at half height over the brighter end of a profile, in pixels; `None` where the ridge lies at an end, or is saturated.
///
/// Of a Gaussian cut off at some level the width at half of that level squared, less that at the level squared, is its own width at half
/// height squared.
fn half_width_px(profile: &[f64]) -> Option<f64> {
    let top = (0..profile.len()).max_by(|a, b| profile[*a].total_cmp(&profile[*b]))?;
    let foot = profile.first()?.max(*profile.last()?);
    let half = 0.5 * (profile[top].min(FULL_DISC) + foot);
    let first = (0..top).rfind(|k| profile[*k] < half)?;
    let last = (top..profile.len()).find(|k| profile[*k] < half)?;
    let wide_px = (last - first - 1) as f64 * PROFILE_PX;
    let full_px = profile.iter().filter(|v| **v >= FULL_DISC).count() as f64 * PROFILE_PX;
    let told = full_px < MOST_FULL * wide_px;
    told.then(|| (wide_px * wide_px - full_px * full_px).sqrt())
}
