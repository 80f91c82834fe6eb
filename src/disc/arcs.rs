//! Circles among edge points: the solar limb, bright inside, and the lunar limb, dark inside.

use super::circle::{CircleFit, algebraic, distance, length, resting};
use super::edges::Edge;
use crate::domain::{Circle, upper_median};

/// Which side of a limb is bright.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Bright {
    /// Inside: the Sun's limb.
    Inside,
    /// Outside: the Moon's limb.
    Outside,
}

impl Bright {
    fn sign(self) -> f64 {
        match self {
            Self::Inside => 1.0,
            Self::Outside => -1.0,
        }
    }
}

/// A circle found among edge points.
#[derive(Clone, Debug)]
pub(super) struct Arc {
    /// The circle, in pixels of the image searched.
    pub fit: CircleFit,
    /// Indices of the edge points on it.
    pub members: Vec<usize>,
    /// How much of the circle has points, degrees.
    pub seen_deg: f64,
    /// Median gradient at its points.
    pub strength: f64,
}

/// What to look for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Wanted {
    /// Which side is bright.
    pub bright: Bright,
    /// Least and greatest radius in pixels of the image searched.
    pub radius: (f64, f64),
    /// How far from the circle a point may lie, in pixels of the image searched.
    pub tolerance: f64,
}

/// A circle that moves by less than this, in radii, is at rest: its points err by much more.
pub(super) const REST: f64 = 1e-6;

/// Pairs of points tried.
const TRIES: usize = 600;

/// Points tried against each circle while searching.
const SAMPLE: usize = 600;

/// Cosine of the largest angle between an edge's normal and the circle's: 30 degrees.
const AGREE: f64 = 0.866;

/// Bins around the circle for the arc seen.
const BINS: usize = 120;

/// The circle that most edge points agree with; `None` when fewer than `least` do.
///
/// Two points with their normals give a centre and a radius; the pair that most others agree with wins, and is fitted
/// to all that agree.
///
/// Source: M. A. Fischler, R. C. Bolles 1981, "Random sample consensus", Comm. ACM 24, 381; pairs are drawn by a fixed
/// sequence, so a picture always gives the same answer.
pub(super) fn best_arc(points: &[Edge], wanted: Wanted, least: usize) -> Option<Arc> {
    if points.len() < least.max(4) {
        return None;
    }
    let stride = points.len().div_ceil(SAMPLE);
    let sample: Vec<&Edge> = points.iter().step_by(stride).collect();
    let mut state = 0x2545_F491_4F6C_DD1D_u64;
    let mut best: Option<(Circle, f64)> = None;
    for _ in 0..TRIES {
        let i = draw(&mut state, points.len());
        let j = draw(&mut state, points.len());
        let Some(circle) = circle_of_pair(&points[i], &points[j], wanted) else {
            continue;
        };
        let score = sample
            .iter()
            .filter(|e| on_circle(circle, e, wanted))
            .count() as f64;
        if best.is_none_or(|(_, top)| score > top) {
            best = Some((circle, score));
        }
    }
    polished(points, best?.0, wanted, least)
}

/// A circle fitted to the edge points that agree with it, from a start.
pub(super) fn polished(
    points: &[Edge],
    start: Circle,
    wanted: Wanted,
    least: usize,
) -> Option<Arc> {
    let mut circle = start;
    let mut result = None;
    for round in 0..4 {
        let loose = Wanted {
            tolerance: wanted.tolerance * [1.5, 1.2, 1.0, 1.0][round],
            ..wanted
        };
        let members: Vec<usize> = (0..points.len())
            .filter(|&i| on_circle(circle, &points[i], loose))
            .collect();
        if members.len() < least {
            return None;
        }
        let places: Vec<_> = members
            .iter()
            .map(|&i| (points[i].x, points[i].y))
            .collect();
        let first = if round == 0 {
            algebraic(&places)
                .filter(|c| within(c.radius_px, wanted.radius))
                .unwrap_or(circle)
        } else {
            circle
        };
        let fit = resting(&places, first, 0.5 * wanted.tolerance, REST)?;
        if !within(fit.circle.radius_px, wanted.radius) {
            return None;
        }
        circle = fit.circle;
        result = Some((fit, members));
    }
    let (fit, members) = result?;
    Some(Arc {
        seen_deg: seen_deg(points, &members, fit.circle),
        strength: median(members.iter().map(|&i| points[i].strength).collect()),
        fit,
        members,
    })
}

fn within(v: f64, (low, high): (f64, f64)) -> bool {
    v >= low && v <= high
}

/// A whole number below `n` from a fixed sequence (G. Marsaglia 2003, "Xorshift RNGs", J. Stat. Softw. 8, 14).
fn draw(state: &mut u64, n: usize) -> usize {
    *state ^= *state << 13;
    *state ^= *state >> 7;
    *state ^= *state << 17;
    (*state >> 11) as usize % n
}

fn circle_of_pair(a: &Edge, b: &Edge, wanted: Wanted) -> Option<Circle> {
    let s = wanted.bright.sign();
    let (dx, dy) = (a.x - b.x, a.y - b.y);
    let (nx, ny) = (
        s * (a.to_bright.0 - b.to_bright.0),
        s * (a.to_bright.1 - b.to_bright.1),
    );
    let turn = nx * nx + ny * ny;
    if turn < 0.06 {
        return None;
    }
    let radius = -(dx * nx + dy * ny) / turn;
    if !within(radius, wanted.radius) {
        return None;
    }
    let centre = |e: &Edge| {
        (
            e.x + s * radius * e.to_bright.0,
            e.y + s * radius * e.to_bright.1,
        )
    };
    let (ca, cb) = (centre(a), centre(b));
    if length(ca.0 - cb.0, ca.1 - cb.1) > 0.2 * radius {
        return None;
    }
    Some(Circle {
        x_px: 0.5 * (ca.0 + cb.0),
        y_px: 0.5 * (ca.1 + cb.1),
        radius_px: radius,
    })
}

/// Whether an edge point lies on a circle with its bright side where it should be.
pub(super) fn on_circle(circle: Circle, edge: &Edge, wanted: Wanted) -> bool {
    if distance(circle, (edge.x, edge.y)).abs() > wanted.tolerance {
        return false;
    }
    let (dx, dy) = (circle.x_px - edge.x, circle.y_px - edge.y);
    let along = wanted.bright.sign() * (dx * edge.to_bright.0 + dy * edge.to_bright.1);
    along > AGREE * length(dx, dy)
}

fn seen_deg(points: &[Edge], members: &[usize], circle: Circle) -> f64 {
    let mut bins = [false; BINS];
    for &i in members {
        let turn =
            (points[i].y - circle.y_px).atan2(points[i].x - circle.x_px) / std::f64::consts::TAU;
        bins[(turn.rem_euclid(1.0) * BINS as f64) as usize % BINS] = true;
    }
    // A small circle has fewer points than bins: fill single gaps of its spacing.
    let spacing = (BINS as f64 / (std::f64::consts::TAU * circle.radius_px)).ceil() as usize;
    let filled = (0..BINS)
        .filter(|&b| (0..=spacing).any(|s| bins[(b + s) % BINS]))
        .count();
    filled as f64 * 360.0 / BINS as f64
}

/// The middle value; 0 when there is none.
pub(super) fn median(mut values: Vec<f64>) -> f64 {
    upper_median(&mut values).unwrap_or(0.0)
}
