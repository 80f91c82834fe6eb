//! Rows, arcs, rings and slopes, in disc radii.

use super::{PieceGeometry, Spot, extent};

/// Angle an arc spans on its longer side, in degrees.
const ARC_HALF_DEG: f64 = 55.0;

/// Slope of the diagonal in degrees.
const SLOPE_DEG: f64 = 30.0;

/// Distances of the pieces along a line from the first, each clear of the last by `gap`.
fn along(pieces: &[PieceGeometry], gap: f64) -> Vec<f64> {
    let mut places = vec![0.0];
    for pair in pieces.windows(2) {
        let last = places[places.len() - 1];
        places.push(last + extent(&pair[0]) + gap + extent(&pair[1]));
    }
    places
}

/// The place on the line that goes to the middle: the middle piece's, else half way.
fn heart(pieces: &[PieceGeometry], along: &[f64]) -> f64 {
    let middle = pieces.iter().position(|p| p.middle);
    middle.map_or_else(|| along[along.len() - 1] / 2.0, |i| along[i])
}

pub(super) fn row(pieces: &[PieceGeometry], gap: f64) -> Vec<Spot> {
    let spot = |(piece, x): (&PieceGeometry, f64)| Spot::new(x, 0.0, piece.reach);
    pieces.iter().zip(along(pieces, gap)).map(spot).collect()
}

/// A slope: rising to the right when the Sun rose between the first and the last piece, else sinking.
pub(super) fn diagonal(pieces: &[PieceGeometry], gap: f64) -> Vec<Spot> {
    let altitude = |piece: Option<&PieceGeometry>| piece.and_then(|p| p.sky).map(|s| s.alt_deg);
    let rises = match (altitude(pieces.first()), altitude(pieces.last())) {
        (Some(first), Some(last)) => last >= first,
        _ => true,
    };
    let (sin, cos) = SLOPE_DEG.to_radians().sin_cos();
    let down = if rises { -sin } else { sin };
    let spot = |(piece, s): (&PieceGeometry, f64)| Spot::new(s * cos, s * down, piece.reach);
    pieces.iter().zip(along(pieces, gap)).map(spot).collect()
}

/// An arc like a rainbow's, the middle at its top, chords between neighbours as long as in a row.
pub(super) fn arc(pieces: &[PieceGeometry], gap: f64) -> Vec<Spot> {
    let along = along(pieces, gap);
    let heart = heart(pieces, &along);
    let radius = arc_radius(&along, heart);
    let turns = turns(&along, radius);
    let top = heart_turn(&along, &turns, heart);
    let spot = |(piece, turn): (&PieceGeometry, &f64)| {
        let (sin, cos) = (turn - top).sin_cos();
        Spot {
            x: radius * sin,
            y: -radius * cos,
            reach: piece.reach,
            // Towards the inside, so that the middle's stands below it.
            caption_way: (-sin, cos),
        }
    };
    pieces.iter().zip(&turns).map(spot).collect()
}

/// Angles from the first piece, in radians, so that each chord is as long as the step along the line.
fn turns(along: &[f64], radius: f64) -> Vec<f64> {
    let mut turns = vec![0.0];
    for pair in along.windows(2) {
        let half_chord = ((pair[1] - pair[0]) / (2.0 * radius)).min(1.0);
        turns.push(turns[turns.len() - 1] + 2.0 * half_chord.asin());
    }
    turns
}

fn heart_turn(along: &[f64], turns: &[f64], heart: f64) -> f64 {
    let at = along.iter().position(|s| (s - heart).abs() < 1e-9);
    at.map_or_else(|| turns[turns.len() - 1] / 2.0, |i| turns[i])
}

/// The radius at which the longer side spans [`ARC_HALF_DEG`]; found by halving, since chords are not arcs.
fn arc_radius(along: &[f64], heart: f64) -> f64 {
    let length = along[along.len() - 1];
    let wanted = ARC_HALF_DEG.to_radians();
    let (mut near, mut far) = (length.max(1.0) / 4.0, length.max(1.0) * 4.0);
    for _ in 0..60 {
        let radius = (near + far) / 2.0;
        let turns = turns(along, radius);
        let top = heart_turn(along, &turns, heart);
        if top.max(turns[turns.len() - 1] - top) > wanted {
            near = radius;
        } else {
            far = radius;
        }
    }
    far
}

/// An even ring around the middle, clockwise from about the bottom, so that totality falls between the top two.
pub(super) fn ring(pieces: &[PieceGeometry], gap: f64, caption: f64) -> Vec<Spot> {
    let before = pieces.iter().take_while(|p| !p.middle).count();
    let outer = pieces.iter().filter(|p| !p.middle).count();
    let corona = pieces
        .iter()
        .filter(|p| p.middle)
        .map(extent)
        .fold(0.0, f64::max);
    let step = std::f64::consts::TAU / outer.max(1) as f64;
    let chord = match outer {
        0 | 1 => 0.0,
        _ => (2.0 + gap) / (2.0 * (step / 2.0).sin()),
    };
    let radius = chord.max(corona + caption + 1.0 + gap);
    let mut seen = 0;
    let spot = |piece: &PieceGeometry| {
        if piece.middle {
            return Spot::new(0.0, 0.0, piece.reach);
        }
        // Before: counted back from the top on the left. After: on from the top on the right.
        let turn = (seen as f64 - before as f64 + 0.5) * step;
        seen += 1;
        let (sin, cos) = turn.sin_cos();
        Spot {
            x: radius * sin,
            y: -radius * cos,
            reach: piece.reach,
            caption_way: (sin, -cos),
        }
    };
    pieces.iter().map(spot).collect()
}
