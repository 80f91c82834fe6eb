//! How far a frame is turned against the others, from the corona's structure in rings about the Sun.
//!
//! Least squares find a turn of a few degrees by themselves; a tripod under a high Sun turns the picture by more within one
//! totality, and where nothing told celestial north all of that is left to find.

use super::log_corona::LogCorona;

/// Directions in a ring: half a degree each.
const ANGLES: usize = 720;

/// Rings, evenly between these distances in half-widths of the picture (3.2 solar radii): where structure is strong and a
/// centre off by pixels turns little.
const RINGS: usize = 24;
const BETWEEN: [f64; 2] = [0.36, 0.8];

/// Farthest turn looked for, in steps: 15 degrees, more than the sky turns in any totality below 85 degrees of height.
const FARTHEST: i64 = 30;

/// Least correlation that is believed.
const LEAST: f64 = 0.3;

/// Turn of the frame's structure against the template's about the middle, in radians, in the sense of `Found::turn_rad`;
/// `None` where the rings show too little.
pub(super) fn turn(template: &LogCorona, frame: &LogCorona, side: usize) -> Option<f64> {
    let (first, second) = (unrolled(template, side), unrolled(frame, side));
    let scores: Vec<f64> = (-FARTHEST..=FARTHEST)
        .map(|lag| correlation(&first, &second, lag))
        .collect();
    let best = (1..scores.len() - 1).max_by(|&a, &b| scores[a].total_cmp(&scores[b]))?;
    let (before, top, after) = (scores[best - 1], scores[best], scores[best + 1]);
    if top < LEAST || before > top || after > top {
        return None;
    }
    let bend = before - 2.0 * top + after;
    let vertex = if bend < 0.0 {
        0.5 * (before - after) / bend
    } else {
        0.0
    };
    let lag = best as f64 - FARTHEST as f64 + vertex;
    Some(lag * std::f64::consts::TAU / ANGLES as f64)
}

/// Value less the ring's level and what a centre off its place makes of it, and weight, ring by ring.
fn unrolled(corona: &LogCorona, side: usize) -> Vec<[f64; 2]> {
    let middle = (side as f64 - 1.0) / 2.0;
    let mut out = Vec::with_capacity(RINGS * ANGLES);
    for ring in 0..RINGS {
        let part = ring as f64 / (RINGS - 1) as f64;
        let r = middle * (BETWEEN[0] + (BETWEEN[1] - BETWEEN[0]) * part);
        let mut values: Vec<[f64; 2]> = (0..ANGLES)
            .map(|k| {
                let (sin, cos) = direction(k);
                let (x, y) = ((middle + r * cos).round(), (middle + r * sin).round());
                let i = y as usize * side + x as usize;
                [f64::from(corona.value[i]), f64::from(corona.mask[i])]
            })
            .collect();
        flatten(&mut values);
        out.extend(values);
    }
    out
}

fn direction(k: usize) -> (f64, f64) {
    (k as f64 * std::f64::consts::TAU / ANGLES as f64).sin_cos()
}

/// Takes level and first harmonic off a ring by weighted least squares.
fn flatten(values: &mut [[f64; 2]]) {
    let row = |k: usize| {
        let (sin, cos) = direction(k);
        nalgebra::Vector3::new(1.0, cos, sin)
    };
    let mut normal = nalgebra::Matrix3::identity() * 1e-6;
    let mut right = nalgebra::Vector3::zeros();
    for (k, [v, w]) in values.iter().enumerate() {
        normal += *w * row(k) * row(k).transpose();
        right += *w * *v * row(k);
    }
    let Some(fit) = normal.cholesky().map(|c| c.solve(&right)) else {
        return;
    };
    for (k, value) in values.iter_mut().enumerate() {
        value[0] -= fit.dot(&row(k));
    }
}

fn correlation(first: &[[f64; 2]], second: &[[f64; 2]], lag: i64) -> f64 {
    let (mut both, mut one, mut other) = (0.0, 0.0, 0.0);
    for (a, b) in first.chunks_exact(ANGLES).zip(second.chunks_exact(ANGLES)) {
        for (k, [va, wa]) in a.iter().enumerate() {
            let [vb, wb] = b[(k as i64 + lag).rem_euclid(ANGLES as i64) as usize];
            let w = wa * wb;
            both += w * va * vb;
            one += w * va * va;
            other += w * vb * vb;
        }
    }
    both / (one * other).sqrt().max(f64::MIN_POSITIVE)
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIDE: usize = 256;

    fn rays(turned_rad: f64) -> LogCorona {
        let middle = (SIDE as f64 - 1.0) / 2.0;
        let value = (0..SIDE * SIDE).map(|i| {
            let (dx, dy) = ((i % SIDE) as f64 - middle, (i / SIDE) as f64 - middle);
            let angle = dy.atan2(dx) - turned_rad;
            (0.4 * (5.0 * angle).cos() + 0.3 * (2.0 * angle).sin() - 0.01 * dx.hypot(dy)) as f32
        });
        LogCorona {
            value: value.collect(),
            mask: vec![1.0; SIDE * SIDE],
        }
    }

    #[test]
    fn turns_are_found_to_a_tenth_of_a_degree() {
        for deg in [-11.3_f64, -2.0, 0.0, 7.7] {
            let found = turn(&rays(0.0), &rays(deg.to_radians()), SIDE).unwrap();
            assert!((found.to_degrees() - deg).abs() < 0.15, "{deg}: {found}");
        }
    }

    #[test]
    fn rings_without_structure_tell_nothing() {
        let flat = LogCorona {
            value: vec![0.0; SIDE * SIDE],
            mask: vec![1.0; SIDE * SIDE],
        };
        assert_eq!(turn(&flat, &flat, SIDE), None);
    }
}
