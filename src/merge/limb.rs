//! Products of the Moon's limb: the chromosphere and prominences of a few frames, and the Moon's face.

use std::sync::Arc;

use super::job::sky;
use super::light::{Conversion, LEAST_GOOD, Light, Noise, Weighing, smooth_step};
use super::mask::Mask;
use super::place::{Placement, Sky, centre};
use super::stack::Stack;
use super::{LimbLight, MergeInput, Merged, NotCarried, carried};
use crate::domain::{Circle, true_stops};
use crate::raster::{Frame, Rect};

/// How far outside its fitted limb a frame's Moon still hides light, in pixels: seeing and the fit's own error.
const LIMB_MARGIN_PX: f64 = 1.0;

/// The chromosphere and prominences as some frames show them, in the map's unit, on the part of the canvas around the
/// Sun ([`Merged::limb`] has the same part); 0 where the Moon or clipping hid the place in all of them.
///
/// Frames that were merged, known by their names, lie as the merge laid them; others, such as those within seconds of a
/// contact, by their own circles and header. `open` gives the decoded frame of an input by its index, one at a time.
///
/// # Errors
/// [`NotCarried`] when no frame could be used, or none shows unclipped light redder than the corona beside the limb.
pub fn limb_light(
    merged: &Merged,
    inputs: &[MergeInput],
    open: &dyn Fn(usize) -> Result<Arc<Frame>, String>,
) -> Result<LimbLight, NotCarried> {
    let area = Rect {
        x: merged.limb.left_px,
        y: merged.limb.top_px,
        width: merged.limb.light.width(),
        height: merged.limb.light.height(),
    };
    let mut stack = Stack::new(area);
    let mut used = 0;
    let all: Vec<Option<Laid>> = inputs.iter().map(|input| laid(merged, input)).collect();
    let shortest = all.iter().flatten().map(|l| l.stops);
    let shortest = shortest.fold(f64::INFINITY, f64::min);
    for ((i, input), laid) in inputs.iter().enumerate().zip(&all) {
        let Some(laid) = laid else {
            continue;
        };
        let Ok(frame) = open(i) else {
            continue;
        };
        let conversion = Conversion {
            black: merged.black,
            response: merged.response,
            scale: (merged.unit_stops - laid.stops).exp2(),
            noise: Noise::at_iso(input.exposure.iso.unwrap_or(100.0)),
            weighing: Weighing::ByNoise {
                above_shortest: laid.stops - shortest,
            },
        };
        let on_canvas = laid.place.to_canvas(laid.moon.x_px, laid.moon.y_px);
        let edge = merged.moon.radius_px + LIMB_MARGIN_PX;
        let outside = Mask::Outside {
            centre: on_canvas,
            from_px: edge,
            to_px: edge + 1.5,
        };
        let shared = merged.hot.of([frame.width(), frame.height()]);
        let light = Light::new(&frame, &conversion, shared);
        stack.add(&light, &laid.place, &outside);
        used += 1;
    }
    if used == 0 {
        return Err(NotCarried::Nothing);
    }
    let part = rounded(stack.cut_out(area), &merged.sun);
    let good = |x: usize, y: usize| stack.at(x, y).1 > LEAST_GOOD;
    carried::chromosphere(&part, &good, &merged.sun)?;
    Ok(part)
}

/// Solar radii between which the light around the limb falls to nothing: prominences stand inside, and a layer with a
/// square edge would show it.
const ROUND_OFF_RADII: [f64; 2] = [1.16, 1.29];

fn rounded(mut part: LimbLight, sun: &Circle) -> LimbLight {
    let [from, to] = ROUND_OFF_RADII.map(|r| (r * sun.radius_px) as f32);
    for y in 0..part.light.height() {
        for x in 0..part.light.width() {
            let dx = (x + part.left_px) as f64 - sun.x_px;
            let dy = (y + part.top_px) as f64 - sun.y_px;
            let kept = 1.0 - smooth_step(from, to, dx.hypot(dy) as f32);
            let rgb = part.light.at(x, y).map(|v| v * kept);
            part.light.set(x, y, rgb);
        }
    }
    part
}

/// How a frame lies on the canvas.
struct Laid {
    place: Placement,
    moon: Circle,
    stops: f64,
}

fn laid(merged: &Merged, input: &MergeInput) -> Option<Laid> {
    let known = merged.frames.iter().position(|f| f.name == input.name);
    if let Some(i) = known
        && let Some(place) = merged.placements.get(i).copied().flatten()
    {
        let report = &merged.frames[i];
        return Some(Laid {
            place,
            moon: report.moon,
            stops: report.stops,
        });
    }
    let usable = |c: &Circle| c.x_px.is_finite() && c.y_px.is_finite() && c.radius_px > 0.0;
    if !usable(&input.sun) || !usable(&input.moon) {
        return None;
    }
    let canvas_sky = Sky {
        north_deg: merged.north_deg.unwrap_or(0.0),
        mirrored: merged.mirrored,
    };
    let own = sky(input, canvas_sky.north_deg);
    Some(Laid {
        place: Placement::new(
            centre(&merged.sun),
            canvas_sky,
            centre(&input.sun),
            own,
            1.0,
        )
        .flattened(input.flattened),
        moon: input.moon,
        stops: true_stops(&input.exposure)?,
    })
}

/// Light at which the brighter parts of the Moon's face are shown.
const FACE_LIGHT: f32 = 0.25;

/// The Moon's face alone, brought up so that it can be seen: its light from 0 to 1 with the darkest twentieth of the
/// inner disc near black, falling to black across the limb.
///
/// # Errors
/// [`NotCarried`] when nothing of it was recorded, or two halves of the frames do not show the same.
pub fn earthshine(merged: &Merged) -> Result<LimbLight, NotCarried> {
    carried::face(merged)?;
    let (moon, source) = (&merged.moon, &merged.moon_light);
    let off = |x: usize, y: usize| {
        let (x, y) = ((x + source.left_px) as f64, (y + source.top_px) as f64);
        (x - moon.x_px).hypot(y - moon.y_px)
    };
    let places =
        || (0..source.light.height()).flat_map(|y| (0..source.light.width()).map(move |x| [x, y]));
    // The outer part of the disc has the corona's light scattered into it.
    let inner: Vec<[f32; 3]> = places()
        .filter(|&[x, y]| off(x, y) < 0.85 * moon.radius_px)
        .map(|[x, y]| source.light.at(x, y))
        .filter(|rgb| rgb.iter().all(|v| v.is_finite()))
        .collect();
    let ranked = |channel: usize, part: f64| {
        let mut values: Vec<f32> = inner.iter().map(|rgb| rgb[channel]).collect();
        values.sort_unstable_by(f32::total_cmp);
        let last = values.len().checked_sub(1)?;
        values.get((last as f64 * part) as usize).copied()
    };
    let level = |channel: usize, part: f64| ranked(channel, part).ok_or(NotCarried::Nothing);
    let dark = [level(0, 0.05)?, level(1, 0.05)?, level(2, 0.05)?].map(|v| 0.9 * v.max(0.0));
    let bright = level(1, 0.95)? - dark[1];
    if bright <= 0.0 {
        return Err(NotCarried::Nothing);
    }
    let gain = FACE_LIGHT / bright;
    let mut light = source.light.clone();
    for [x, y] in places() {
        let inside = 1.0
            - smooth_step(
                (moon.radius_px - 5.0) as f32,
                (moon.radius_px - 1.5) as f32,
                off(x, y) as f32,
            );
        let rgb = light.at(x, y);
        let shown = std::array::from_fn(|c| ((rgb[c] - dark[c]) * gain * inside).clamp(0.0, 1.0));
        light.set(x, y, shown);
    }
    Ok(LimbLight {
        light,
        ..source.clone()
    })
}
