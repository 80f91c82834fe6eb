//! Products beside the map: each frame in register, the sky's level, and the absolute scale.

use super::Merged;
use super::light::{Conversion, Light};
use super::mask::Mask;
use super::stack::Stack;
use crate::domain::{Exposure, true_stops, upper_median};
use crate::raster::{Frame, LinearRgb, Rect};

/// One input frame brought into register with the merged map, for blending by hand: the same size, the same Sun,
/// decoded light from 0 to 1 as the frame has it, brightness untouched. 0 where the frame does not reach.
///
/// `frame` is the decoded frame of the input `index`. `None` when that input was not used in the merge, or does not
/// exist.
pub fn layer(merged: &Merged, index: usize, frame: &Frame) -> Option<LinearRgb> {
    let place = (*merged.placements.get(index)?)?;
    let [width, height] = merged.size;
    let mut stack = Stack::new(Rect {
        x: 0,
        y: 0,
        width,
        height,
    });
    let shared = merged.hot.of([frame.width(), frame.height()]);
    let light = Light::new(frame, &Conversion::PLAIN, shared);
    stack.add(&light, &place, &Mask::Nothing);
    let (mut out, _) = stack.into_parts();
    for v in out.data_mut() {
        *v = v.clamp(0.0, 1.0);
    }
    Some(out)
}

/// Light of the sky per channel, in the map's unit: the fifth percentile far from the Sun, which holds the faintest
/// outer corona too. 0 where the map has too little sky to tell.
pub fn sky_level(merged: &Merged) -> [f32; 3] {
    sky_percentiles(merged, [0.05])[0].map(|v| v.max(0.0))
}

/// Light of each channel far from the Sun at some fractions of its ranking; 0 where the map has too little sky.
pub(super) fn sky_percentiles<const N: usize>(merged: &Merged, parts: [f64; N]) -> [[f32; 3]; N] {
    let mut lists = sky_samples(merged);
    let mut out = [[0.0; 3]; N];
    for (channel, list) in lists.iter_mut().enumerate() {
        list.sort_unstable_by(f32::total_cmp);
        for (out, part) in out.iter_mut().zip(parts) {
            if list.len() >= 20 {
                out[channel] = list[((list.len() - 1) as f64 * part) as usize];
            }
        }
    }
    out
}

/// Spread of the sky's light between places a twentieth of a solar radius apart, as a sigma of green light: noise and
/// cloud, but not the slow fall of the corona. 0 where the map has too little sky.
pub(super) fn sky_unrest(merged: &Merged) -> f32 {
    let (map, apart) = (
        &merged.radiance,
        (merged.sun.radius_px / 20.0).ceil() as usize,
    );
    let mut steps: Vec<f32> = sky_places(merged)
        .filter(|[x, _]| x + apart < map.width())
        .map(|[x, y]| (map.at(x, y)[1] - map.at(x + apart, y)[1]).abs())
        .collect();
    if steps.len() < 20 {
        return 0.0;
    }
    // Median to sigma, and from a difference to one of the two.
    upper_median(&mut steps).unwrap_or(0.0) * 1.4826 / std::f32::consts::SQRT_2
}

/// Some of the light far from the Sun, per channel.
fn sky_samples(merged: &Merged) -> [Vec<f32>; 3] {
    let mut out: [Vec<f32>; 3] = Default::default();
    for [x, y] in sky_places(merged) {
        for (list, v) in out.iter_mut().zip(merged.radiance.at(x, y)) {
            list.push(v);
        }
    }
    out
}

/// A grid of lit pixels far from the Sun.
fn sky_places(merged: &Merged) -> impl Iterator<Item = [usize; 2]> {
    let map = &merged.radiance;
    let (width, height, sun) = (map.width(), map.height(), merged.sun);
    let distance = move |x: usize, y: usize| (x as f64 - sun.x_px).hypot(y as f64 - sun.y_px);
    let corner = [(0, 0), (width, 0), (0, height), (width, height)]
        .map(|(x, y)| distance(x, y))
        .into_iter()
        .fold(0.0, f64::max);
    let step = (width.max(height) / 500).max(1);
    let all = (0..height)
        .step_by(step)
        .flat_map(move |y| (0..width).step_by(step).map(move |x| [x, y]));
    all.filter(move |&[x, y]| {
        let far = distance(x, y) > (0.6 * corner).max(1.5 * sun.radius_px);
        far && map.at(x, y).iter().any(|v| *v > 0.0)
    })
}

/// The map with the sky's level taken off; nothing falls below 0.
pub fn without_sky(merged: &Merged) -> LinearRgb {
    let level = sky_level(merged);
    let mut out = merged.radiance.clone();
    for rgb in out.data_mut().chunks_exact_mut(3) {
        for (v, sky) in rgb.iter_mut().zip(level) {
            *v = (*v - sky).max(0.0);
        }
    }
    out
}

/// Factor from the map's unit to the mean brightness of the solar disc.
///
/// `disc_level` is the mean light of the whole Sun, 0 to 1, in a frame of the same camera and lens taken with
/// `exposure` through a filter of optical `density` (5.0 lets through a hundred-thousandth). `None` when the level is
/// not between 0 and 1, the exposure has no shutter time, or the density is not a finite number.
pub fn solar_disc_factor(
    merged: &Merged,
    disc_level: f64,
    exposure: &Exposure,
    density: f64,
) -> Option<f64> {
    let stops = true_stops(exposure)?;
    let usable = disc_level > 0.0 && disc_level < 1.0 && density.is_finite();
    usable.then(|| (stops - merged.unit_stops).exp2() / (disc_level * 10_f64.powf(density)))
}
