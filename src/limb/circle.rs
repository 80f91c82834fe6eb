//! The circle that a fitter of circles sees in a stretch of uneven limb.

/// A point of limb: how far it stands off a circle, towards which position angle, and how much it counts.
#[derive(Clone, Copy, Debug)]
pub struct LimbPoint {
    /// Position angle in degrees.
    pub position_deg: f64,
    /// Height over the circle, in any unit.
    pub height: f64,
    /// Weight in the fit.
    pub weight: f64,
}

/// How a circle through uneven limb is off the one that heights are counted from, in the heights' unit.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct CircleShift {
    /// Its centre, towards east.
    pub east: f64,
    /// Its centre, towards north.
    pub north: f64,
    /// Its radius.
    pub radius: f64,
}

/// The circle with the least sum of squared distances from the points; `held` is the weight with which the fitter holds the
/// radius, as a share of the sum of all weights. `None` for fewer than three points or an arc that holds no circle.
///
/// To first order in the heights: a circle moved by (e, n) and grown by r stands at `e sin P + n cos P + r` (the linear limit of
/// orthogonal distances, N. Chernov 2010, "Circular and Linear Regression", ch. 4).
pub fn circle_shift(points: &[LimbPoint], held: f64) -> Option<CircleShift> {
    let (mut normal, mut right, mut total) = ([[0.0; 3]; 3], [0.0; 3], 0.0);
    for point in points {
        let (sin, cos) = point.position_deg.to_radians().sin_cos();
        let slope = [sin, cos, 1.0];
        for i in 0..3 {
            right[i] += point.weight * slope[i] * point.height;
            for j in 0..3 {
                normal[i][j] += point.weight * slope[i] * slope[j];
            }
        }
        total += point.weight;
    }
    normal[2][2] += held * total;
    let [east, north, radius] = solved(normal, right).filter(|_| points.len() >= 3)?;
    Some(CircleShift {
        east,
        north,
        radius,
    })
}

/// Solves three linear equations by Cramer's rule; `None` where they hardly hold.
fn solved(m: [[f64; 3]; 3], right: [f64; 3]) -> Option<[f64; 3]> {
    let det = determinant(&m);
    // The determinant of equations that do not hang together at all.
    let apart = m[0][0] * m[1][1] * m[2][2];
    if det.abs() <= 1e-9 * apart {
        return None;
    }
    Some(std::array::from_fn(|column| {
        let mut other = m;
        for row in 0..3 {
            other[row][column] = right[row];
        }
        determinant(&other) / det
    }))
}

fn determinant(m: &[[f64; 3]; 3]) -> f64 {
    m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1])
        - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
        + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn arc(from: i32, to: i32, height: impl Fn(f64) -> f64) -> Vec<LimbPoint> {
        (from..to)
            .map(|deg| {
                let position_deg = f64::from(deg);
                LimbPoint {
                    position_deg,
                    height: height(position_deg.to_radians()),
                    weight: 1.0,
                }
            })
            .collect()
    }

    #[test]
    fn a_moved_circle_is_found_in_an_arc_of_it() {
        let points = arc(200, 290, |p| 0.4 * p.sin() - 0.2 * p.cos() + 0.1);
        let shift = circle_shift(&points, 0.0).unwrap();
        assert!((shift.east - 0.4).abs() < 1e-9 && (shift.north + 0.2).abs() < 1e-9);
        assert!((shift.radius - 0.1).abs() < 1e-9);
    }

    #[test]
    fn a_held_radius_sends_an_even_height_into_the_centre() {
        // A stretch a unit high all along, its middle towards the east.
        let points = arc(60, 120, |_| 1.0);
        let free = circle_shift(&points, 0.0).unwrap();
        let held = circle_shift(&points, 1e6).unwrap();
        assert!((free.radius - 1.0).abs() < 1e-6 && free.east.abs() < 1e-6);
        assert!(held.radius.abs() < 1e-3 && held.east > 1.0 && held.east < 1.1);
    }

    #[test]
    fn two_points_hold_no_circle() {
        assert!(circle_shift(&arc(10, 12, |_| 1.0), 0.0).is_none());
        assert!(circle_shift(&[], 0.1).is_none());
    }
}
