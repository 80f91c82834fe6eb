//! A lens's ghost: a round patch of another colour than the Sun's, faint beside something brighter and larger.

use super::find::{self, Overview, Region};
use crate::domain::{Circle, DiscFit, Limb};
use crate::raster::Frame;

/// Shapes brighter than this part of the way from sky to peak are looked at as others than the disc.
const BRIGHT_SHAPE: f32 = 0.4;

/// A shape whose sides come nearer than this many radii to the disc's centre belongs to the disc or its glow.
const TOUCHES: f64 = 1.4;

/// Blue over red of a ghost differs from that of the Sun by this factor at least (our choice: filters give all Suns of a card one colour
/// within saturation's doubling; coatings leave ghosts of the colour that they pass least, ten and more times apart where seen).
const OTHER_COLOUR: f64 = 4.0;

/// Steps from the centre of the disc to its edge.
const STEPS: i32 = 8;

/// Light above which shapes are looked at as others than the disc.
pub(super) fn shape_level(view: &Overview) -> f32 {
    view.sky + BRIGHT_SHAPE * (view.peak - view.sky)
}

/// Whether a disc is a ghost by its colour: of another one than something larger and as bright that stands away from it. A frame of one
/// channel never tells.
pub(super) fn is_ghost(frame: &Frame, view: &Overview, fit: &DiscFit) -> bool {
    let (3, Limb::Sun, Some(sun)) = (frame.channels(), fit.limb, fit.sun) else {
        return false;
    };
    let shapes = find::regions_above(view, shape_level(view));
    let larger: Vec<&Region> = larger_away(&shapes, &sun).collect();
    if larger.is_empty() {
        return false;
    }
    blue_over_red(&disc_places(frame, sun), frame)
        .zip(blue_over_red(&shape_places(view, &larger), frame))
        .is_some_and(|(disc, shape)| (disc / shape).ln().abs() > OTHER_COLOUR.ln())
}

/// Whether a disc is faint in the whole frame, beside something bright that is larger than it.
pub(super) fn is_outshone(view: &Overview, fit: &DiscFit) -> bool {
    let Some(c) = fit.sun.or(fit.moon) else {
        return false;
    };
    let shapes = find::regions_above(view, shape_level(view));
    !shapes.iter().any(|r| touches(r, &c)) && larger_away(&shapes, &c).next().is_some()
}

fn larger_away<'a>(shapes: &'a [Region], disc: &'a Circle) -> impl Iterator<Item = &'a Region> {
    let disc_px = std::f64::consts::PI * disc.radius_px * disc.radius_px;
    let away = move |r: &&Region| r.area_px > disc_px && !touches(r, disc);
    shapes.iter().filter(away)
}

fn touches(shape: &Region, c: &Circle) -> bool {
    let (x, y) = (
        c.x_px.clamp(shape.sides[0], shape.sides[2]),
        c.y_px.clamp(shape.sides[1], shape.sides[3]),
    );
    (x - c.x_px).hypot(y - c.y_px) < TOUCHES * c.radius_px
}

/// Places evenly over a disc, in pixels of the frame.
fn disc_places(frame: &Frame, disc: Circle) -> Vec<(usize, usize)> {
    let step = 0.9 * disc.radius_px / f64::from(STEPS);
    let inside = |v: f64, side: usize| v >= 0.0 && v < side as f64;
    (-STEPS..=STEPS)
        .flat_map(|j| (-STEPS..=STEPS).map(move |i| (i, j)))
        .filter(|(i, j)| i * i + j * j <= STEPS * STEPS)
        .map(|(i, j)| {
            (
                disc.x_px + f64::from(i) * step,
                disc.y_px + f64::from(j) * step,
            )
        })
        .filter(|(x, y)| inside(*x, frame.width()) && inside(*y, frame.height()))
        .map(|(x, y)| (x as usize, y as usize))
        .collect()
}

/// Places of bright shapes.
fn shape_places(view: &Overview, shapes: &[&Region]) -> Vec<(usize, usize)> {
    let level = shape_level(view);
    let light = &view.light;
    let within = |x: f64, y: f64| {
        let has = |r: &Region| {
            (r.sides[0]..r.sides[2]).contains(&x) && (r.sides[1]..r.sides[3]).contains(&y)
        };
        shapes.iter().any(|r| has(r))
    };
    (0..light.height())
        .flat_map(|y| (0..light.width()).map(move |x| (x, y)))
        .filter(|(x, y)| light.row(*y)[*x] > level)
        .map(|(x, y)| (x * view.step + view.step / 2, y * view.step + view.step / 2))
        .filter(|(x, y)| within(*x as f64, *y as f64))
        .collect()
}

/// One step of 8 bits in the linear part of the sRGB curve: darker light than this is not told from none.
const DARK: f64 = 1.0 / 255.0 / 12.92;

/// Blue light over red of all the places together; `None` without places.
fn blue_over_red(places: &[(usize, usize)], frame: &Frame) -> Option<f64> {
    let (mut red, mut blue) = (0.0, 0.0);
    for (x, y) in places {
        let x = (*x).min(frame.width() - 1);
        let y = (*y).min(frame.height() - 1);
        let [r, _, b] = frame.rgb(x, y);
        red += f64::from(r) + DARK;
        blue += f64::from(b) + DARK;
    }
    (!places.is_empty()).then(|| blue / red)
}
