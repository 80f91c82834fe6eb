//! Where in the frame a disc may be: bright regions at reduced size, then circles among the edges of each.

use image::{GrayImage, Luma};
use imageproc::region_labelling::{Connectivity, connected_components};

use super::arcs::{Arc, Bright, Wanted, best_arc, on_circle, polished};
use super::edges::{Edge, edges};
use super::flat::Flat;
use crate::domain::{Circle, upper_median};
use crate::raster::{Frame, LinearImage, Rect};

/// About the longest side of the image in which bright regions are looked for, in pixels.
const SEARCH_SIDE: usize = 768;

/// Longest side of the image in which limbs are looked for, in pixels.
const LIMB_SIDE: usize = 420;

/// Smallest radius that is taken for a disc, in full-resolution pixels.
pub(super) const LEAST_RADIUS_PX: f64 = 8.0;

/// With less light than this above the sky at reduced size there is nothing to look for.
pub(super) const NOTHING: f32 = 0.0015;

/// Thresholds for bright regions, fractions of the way from sky to peak.
const THRESHOLDS: [f32; 3] = [0.5, 0.12, 0.03];

/// Most regions looked into per threshold.
const MOST_REGIONS: usize = 3;

/// The frame at reduced size.
#[derive(Clone, Debug)]
pub(super) struct Overview {
    /// Brightest channel.
    pub light: LinearImage,
    /// Frame pixels per pixel here.
    pub step: usize,
    /// Median light.
    pub sky: f32,
    /// Most light.
    pub peak: f32,
}

/// Limbs found in one part of a frame, in full-resolution pixels.
#[derive(Clone, Debug)]
pub(super) struct Limbs {
    /// Bright inside.
    pub sun: Option<LimbArc>,
    /// Dark inside.
    pub moon: Option<LimbArc>,
    /// Full-resolution pixels per pixel of the image the limbs were found in.
    pub step: usize,
    /// Fraction of the edge strength in the part that lies on the two limbs, 0 to 1.
    pub explained: f64,
}

/// One limb, in full-resolution pixels.
#[derive(Clone, Debug)]
pub(super) struct LimbArc {
    /// The circle.
    pub circle: Circle,
    /// Root mean square distance of its edge points.
    pub rms_px: f64,
    /// How much of it has edge points, degrees.
    pub seen_deg: f64,
    /// Median gradient at its edge points, square roots of light per search pixel.
    pub strength: f64,
    /// Directions from the centre, in the plane where discs are round, that have edge points: one flag for each of
    /// [`SECTORS`].
    pub sectors: [bool; SECTORS],
}

/// Directions around a circle that are told apart.
pub(super) const SECTORS: usize = 180;

/// A bright region in full-resolution pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Region {
    /// Left, top, right, bottom edges of its box.
    pub sides: [f64; 4],
    /// Area in square pixels.
    pub area_px: f64,
    /// Light in it above the sky, times area in square pixels.
    pub flux: f64,
}

/// The frame at reduced size, with its sky and peak.
pub(super) fn overview(frame: &Frame) -> Overview {
    let (light, step) = frame.overview(SEARCH_SIDE);
    let peak = light.data().iter().copied().fold(0.0, f32::max);
    // Every third is plenty for a middle.
    let mut some: Vec<f32> = light.data().iter().copied().step_by(3).collect();
    let sky = upper_median(&mut some).unwrap_or(0.0);
    Overview {
        light,
        step,
        sky,
        peak,
    }
}

/// Regions brighter than a level, the one with most light first.
pub(super) fn regions_above(view: &Overview, level: f32) -> Vec<Region> {
    let Some((left, top, right, bottom)) = bright_part(&view.light, level) else {
        return Vec::new();
    };
    // With a dark border: the labelling counts on room for more regions than the smallest images have.
    let (w, h) = (right - left, bottom - top);
    let mut mask = GrayImage::new((w + 2) as u32, (h + 2) as u32);
    let row = |y: usize| &view.light.row(top + y)[left..right];
    for (y, line) in mask.chunks_exact_mut(w + 2).skip(1).take(h).enumerate() {
        for (bright, light) in line[1..].iter_mut().zip(row(y)) {
            *bright = u8::from(*light > level);
        }
    }
    let labels = connected_components(&mask, Connectivity::Eight, Luma([0]));
    let count = labels.iter().copied().max().unwrap_or(0) as usize;
    let mut boxes = vec![(usize::MAX, usize::MAX, 0, 0, 0_u32, 0.0_f64); count];
    for (y, line) in labels.chunks_exact(w + 2).skip(1).take(h).enumerate() {
        for (x, (label, light)) in line[1..].iter().zip(row(y)).enumerate() {
            if *label > 0 {
                let b = &mut boxes[*label as usize - 1];
                let (x, y) = (left + x, top + y);
                b.0 = b.0.min(x);
                b.1 = b.1.min(y);
                b.2 = b.2.max(x);
                b.3 = b.3.max(y);
                b.4 += 1;
                b.5 += f64::from(light - view.sky);
            }
        }
    }
    let step = view.step as f64;
    let mut found: Vec<Region> = boxes
        .into_iter()
        .map(|(x0, y0, x1, y1, area, flux)| Region {
            sides: [x0, y0, x1 + 1, y1 + 1].map(|v| v as f64 * step),
            area_px: f64::from(area) * step * step,
            flux: flux * step * step,
        })
        .collect();
    found.sort_by(|a, b| b.flux.total_cmp(&a.flux));
    found
}

/// Left, top, right and bottom (exclusive) of all that is brighter than a level.
fn bright_part(light: &LinearImage, level: f32) -> Option<(usize, usize, usize, usize)> {
    let mut part: Option<(usize, usize, usize, usize)> = None;
    for y in 0..light.height() {
        let row = light.row(y);
        let Some(first) = row.iter().position(|v| *v > level) else {
            continue;
        };
        let last = row.iter().rposition(|v| *v > level).unwrap_or(first);
        let (left, top, right, _) = part.unwrap_or((first, y, last + 1, y + 1));
        part = Some((left.min(first), top, right.max(last + 1), y + 1));
    }
    part
}

/// Boxes worth looking into for limbs at each threshold, the most promising first, worked out as they are asked for.
pub(super) fn boxes<'a>(frame: &'a Frame, view: &'a Overview) -> impl Iterator<Item = Rect> + 'a {
    let mut seen: Vec<Rect> = Vec::new();
    THRESHOLDS.iter().flat_map(move |fraction| {
        let list = regions_above(view, view.sky + fraction * (view.peak - view.sky));
        let known = seen.len();
        add_boxes(frame, view, &list, &mut seen);
        seen[known..].to_vec()
    })
}

/// Adds the boxes of some regions that are not there yet.
fn add_boxes(frame: &Frame, view: &Overview, list: &[Region], out: &mut Vec<Rect>) {
    if let Some(first) = list.first() {
        let large: Vec<&Region> = list
            .iter()
            .filter(|r| r.flux >= 0.02 * first.flux)
            .take(40)
            .collect();
        let mut all = first.sides;
        for r in &large {
            all = union(all, r.sides);
        }
        let singles = large.iter().take(MOST_REGIONS).map(|r| r.sides);
        for sides in singles.chain([all]) {
            let rect = grown(frame, view, sides);
            if !out.iter().any(|r| similar(r, &rect)) {
                out.push(rect);
            }
        }
    }
}

fn union(a: [f64; 4], b: [f64; 4]) -> [f64; 4] {
    [
        a[0].min(b[0]),
        a[1].min(b[1]),
        a[2].max(b[2]),
        a[3].max(b[3]),
    ]
}

fn grown(frame: &Frame, view: &Overview, [x0, y0, x1, y1]: [f64; 4]) -> Rect {
    let margin = 0.12 * (x1 - x0).max(y1 - y0) + 4.0 * view.step as f64 + 6.0;
    let low = |v: f64| (v - margin).max(0.0) as usize;
    let high = |v: f64, limit: usize| ((v + margin).ceil() as usize).min(limit);
    let (x, y) = (low(x0), low(y0));
    Rect {
        x,
        y,
        width: high(x1, frame.width()).saturating_sub(x),
        height: high(y1, frame.height()).saturating_sub(y),
    }
}

fn similar(a: &Rect, b: &Rect) -> bool {
    let near = |p: usize, q: usize, size: usize| p.abs_diff(q) * 12 <= size;
    let size = a.width.max(a.height).max(1);
    near(a.x, b.x, size)
        && near(a.y, b.y, size)
        && near(a.x + a.width, b.x + b.width, size)
        && near(a.y + a.height, b.y + b.height, size)
}

/// The limbs in a part of the frame, each the circle most edge points agree with; where discs are `flat`, in the plane that shows
/// them round.
pub(super) fn limbs_in(frame: &Frame, rect: Rect, radius_px: (f64, f64), flat: Flat) -> Limbs {
    let part = Part::of(frame, rect, flat);
    let scale = part.step as f64;
    let wanted = |bright| Wanted {
        bright,
        radius: (radius_px.0 / scale, radius_px.1 / scale),
        tolerance: 1.5,
    };
    let find = |bright| best_arc(&part.points, wanted(bright), 10);
    part.limbs(find(Bright::Inside), find(Bright::Outside))
}

/// Circles known to about a pixel of a coarser search, in full-resolution pixels.
#[derive(Clone, Copy, Debug)]
pub(super) struct Near {
    /// The Sun's limb.
    pub sun: Option<Circle>,
    /// The Moon's.
    pub moon: Option<Circle>,
    /// How far off they may be.
    pub slack_px: f64,
    /// Flattening.
    pub flat: Flat,
}

/// The limbs in a part of the frame where the circles are already known roughly.
pub(super) fn limbs_near(frame: &Frame, rect: Rect, near: &Near) -> Limbs {
    let part = Part::of(frame, rect, near.flat);
    let scale = part.step as f64;
    let find = |start: Option<Circle>, bright| {
        let start = start?.in_part((part.rect.x, part.rect.y), scale);
        let start = near.flat.rounded_circle(start);
        let wanted = Wanted {
            bright,
            radius: (0.9 * start.radius_px, 1.1 * start.radius_px),
            tolerance: 1.5,
        };
        let loose = Wanted {
            tolerance: 1.5 + near.slack_px / scale,
            ..wanted
        };
        let first = polished(&part.points, start, loose, 10)?;
        polished(&part.points, first.fit.circle, wanted, 10)
    };
    part.limbs(
        find(near.sun, Bright::Inside),
        find(near.moon, Bright::Outside),
    )
}

/// The edge points of a part of a frame, in the plane where discs are round.
struct Part {
    rect: Rect,
    /// Frame pixels per pixel here.
    step: usize,
    flat: Flat,
    points: Vec<Edge>,
}

impl Part {
    fn of(frame: &Frame, rect: Rect, flat: Flat) -> Self {
        let (image, rect, step) = frame.part(rect, LIMB_SIDE);
        let points = edges(&image);
        let points = points.into_iter().map(|e| flat.rounded_edge(e)).collect();
        Self {
            rect,
            step,
            flat,
            points,
        }
    }

    fn limbs(&self, sun: Option<Arc>, moon: Option<Arc>) -> Limbs {
        let explained = explained(&self.points, &sun, &moon);
        let limb = |arc: Arc| self.limb_arc(&arc);
        Limbs {
            sun: sun.map(limb),
            moon: moon.map(limb),
            step: self.step,
            explained,
        }
    }

    fn limb_arc(&self, arc: &Arc) -> LimbArc {
        let round = arc.fit.circle;
        let mut sectors = [false; SECTORS];
        for &i in &arc.members {
            let (x, y) = (self.points[i].x - round.x_px, self.points[i].y - round.y_px);
            let turn = y.atan2(x) / std::f64::consts::TAU;
            sectors[(turn.rem_euclid(1.0) * SECTORS as f64) as usize % SECTORS] = true;
        }
        let c = self.flat.flattened_circle(round);
        let scale = self.step as f64;
        LimbArc {
            circle: Circle {
                x_px: (c.x_px + 0.5) * scale - 0.5 + self.rect.x as f64,
                y_px: (c.y_px + 0.5) * scale - 0.5 + self.rect.y as f64,
                radius_px: c.radius_px * scale,
            },
            rms_px: arc.fit.rms * scale,
            seen_deg: arc.seen_deg,
            strength: arc.strength,
            sectors,
        }
    }
}

/// Share of the edge strength that lies along the limbs. A blurred limb is a band with edge points all over it, so a
/// band of some width counts.
fn explained(points: &[Edge], sun: &Option<Arc>, moon: &Option<Arc>) -> f64 {
    let along = |e: &Edge, arc: &Option<Arc>, bright| {
        arc.as_ref().is_some_and(|a| {
            let circle = a.fit.circle;
            let wanted = Wanted {
                bright,
                radius: (0.0, f64::INFINITY),
                tolerance: 1.5_f64.max(0.08 * circle.radius_px),
            };
            on_circle(circle, e, wanted)
        })
    };
    let (mut on, mut all) = (0.0, 1e-9);
    for e in points {
        all += e.strength;
        if along(e, sun, Bright::Inside) || along(e, moon, Bright::Outside) {
            on += e.strength;
        }
    }
    on / all
}
