//! Where one camera's map lies on another's.

use crate::domain::quantile;
use crate::merge::Merged;
use crate::merge::light::luminance;
use crate::merge::log_corona::log_corona;
use crate::merge::register::{Found, register};
use crate::merge::response::Response;
use crate::raster::{LinearImage, Placing, resampled};

/// What the pictures that are compared span, in solar radii, and their least and largest side, in pixels.
const SPAN_RADII: f64 = 6.4;
const SIDES: [usize; 2] = [256, 640];

/// Side of the pictures that are compared: no finer than the canvas.
fn side_of(main: &Merged) -> usize {
    let side = (SPAN_RADII * main.sun.radius_px / 32.0).ceil() as usize * 32;
    side.clamp(SIDES[0], SIDES[1])
}

/// Farthest shift believed, in solar radii: the Suns of both maps are known to far less.
const FARTHEST_RADII: f64 = 0.08;

/// Farthest that the scale is refined: limbs give the Sun's size to a few parts in a thousand.
const MOST_SCALE: f64 = 0.01;

/// How a map lies on another's canvas.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MapPlace {
    /// From the map to the canvas.
    pub placing: Placing,
    /// What the corona itself said beyond the maps' own Suns and norths: shift of the Sun's centre in canvas pixels, turn clockwise in
    /// degrees, factor on the size; `None` where it shows too little.
    pub refined: Option<([f64; 2], f64, f64)>,
}

/// By the Suns and norths of both, then by the corona.
pub(super) fn found(main: &Merged, other: &Merged) -> MapPlace {
    let start = by_models(main, other);
    let refined = refined(main, other, &start);
    match refined {
        Some((placing, told)) => MapPlace {
            placing,
            refined: Some(told),
        },
        None => MapPlace {
            placing: start,
            refined: None,
        },
    }
}

/// By what is known of both cameras: the Sun's place and size, celestial north, and whether the picture is mirrored.
fn by_models(main: &Merged, other: &Merged) -> Placing {
    let mirrored = main.mirrored != other.mirrored;
    let hand = if mirrored { -1.0 } else { 1.0 };
    let turn = other.north_deg.zip(main.north_deg);
    Placing {
        source_px: (other.sun.x_px, other.sun.y_px),
        result_px: (main.sun.x_px, main.sun.y_px),
        scale: other.sun.radius_px / main.sun.radius_px,
        mirrored,
        clockwise_deg: turn.map_or(0.0, |(other, main)| hand * other - main),
    }
}

type Told = ([f64; 2], f64, f64);

/// The same moved, turned and scaled so that the coronas lie on each other. The scale is found by how well they do at three sizes, twice,
/// by the vertex of a parabola.
fn refined(main: &Merged, other: &Merged, start: &Placing) -> Option<(Placing, Told)> {
    let level = [main, other].map(limb_light);
    let side = side_of(main);
    let per_px = SPAN_RADII * main.sun.radius_px / side as f64;
    let template = picture(main, &grid_of(main, side), side, level[0]);
    let at = |factor: f64| -> Option<Found> {
        let onto = on_grid(start, factor, per_px, side);
        let moved = picture(other, &onto, side, level[1]);
        let coronas = [&template, &moved].map(|p| log_corona(p, &Response::IDENTITY));
        let limit = FARTHEST_RADII * side as f64 / SPAN_RADII;
        register(&coronas, side, &[0, 1], limit)[1]
    };
    let mut best = (1.0, at(1.0)?);
    for step in [0.006, 0.0015] {
        let sides = [-step, step].map(|by| Some((best.0 + by, at(best.0 + by)?)));
        let [Some(less), Some(more)] = sides else {
            break;
        };
        let bend = less.1.left - 2.0 * best.1.left + more.1.left;
        if bend <= 0.0 {
            break;
        }
        let vertex = 0.5 * (less.1.left - more.1.left) / bend;
        let factor = best.0 + step * vertex.clamp(-1.0, 1.0);
        best = (factor, at(factor)?);
    }
    let (factor, found) = best;
    if (factor - 1.0).abs() > MOST_SCALE {
        return None;
    }
    let turn_deg = -found.turn_rad.to_degrees();
    let shift = found.shift.map(|v| v * per_px);
    let middle = start.result_px;
    let sized = Placing {
        scale: start.scale * factor,
        ..*start
    };
    let placing = Placing {
        source_px: sized.source_of(middle.0 + shift[0], middle.1 + shift[1]),
        clockwise_deg: start.clockwise_deg + turn_deg,
        ..sized
    };
    Some((placing, (shift, turn_deg, factor)))
}

/// A placing onto the canvas taken on to the grid of comparison, with a factor on its scale.
fn on_grid(start: &Placing, factor: f64, per_px: f64, side: usize) -> Placing {
    let middle = (side as f64 - 1.0) / 2.0;
    Placing {
        result_px: (middle, middle),
        scale: start.scale * factor * per_px,
        ..*start
    }
}

fn grid_of(map: &Merged, side: usize) -> Placing {
    let whole = Placing {
        source_px: (map.sun.x_px, map.sun.y_px),
        result_px: (0.0, 0.0),
        scale: 1.0,
        mirrored: false,
        clockwise_deg: 0.0,
    };
    let per_px = SPAN_RADII * map.sun.radius_px / side as f64;
    on_grid(&whole, 1.0, per_px, side)
}

/// Median light in a ring just outside the limb.
fn limb_light(map: &Merged) -> f32 {
    const PLACES: usize = 360;
    let at = |k: usize| {
        let (sin, cos) = (k as f64 / PLACES as f64 * std::f64::consts::TAU).sin_cos();
        let x = (map.sun.x_px + 1.2 * map.sun.radius_px * cos).round();
        let y = (map.sun.y_px + 1.2 * map.sun.radius_px * sin).round();
        let on = x >= 0.0 && y >= 0.0;
        let (x, y) = (x as usize, y as usize);
        let on = on && x < map.radiance.width() && y < map.radiance.height();
        on.then(|| luminance(map.radiance.at(x, y)))
    };
    let mut all: Vec<f32> = (0..PLACES).filter_map(at).collect();
    quantile(&mut all, 0.5).unwrap_or(0.0)
}

/// The fourth root of light over that at the limb, times a half: the range in which single frames are registered, so that the same masks
/// hold. 0 on the Moon.
fn picture(map: &Merged, onto: &Placing, side: usize, level: f32) -> LinearImage {
    let moon = map.moon;
    let light = resampled(&map.radiance, onto, side, side);
    let (mx, my) = onto.result_of(moon.x_px, moon.y_px);
    let reach = moon.radius_px / onto.scale + 2.0;
    let mut out = LinearImage::new(side, side);
    for y in 0..side {
        for x in 0..side {
            if (x as f64 - mx).hypot(y as f64 - my) > reach {
                let share = luminance(light.at(x, y)).max(0.0) / level.max(f32::MIN_POSITIVE);
                *out.at_mut(x, y) = (0.5 * share.powf(0.25)).min(1.0);
            }
        }
    }
    out
}
