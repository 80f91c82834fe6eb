//! Circles through points.

use nalgebra::{Matrix3, Vector3};

use crate::domain::{Circle, NormalEquations};

/// Most steps of the geometric fit; it usually needs five.
const MAX_STEPS: usize = 40;

/// Steps of a fit whose radius is held; it needs two or three.
const HELD_STEPS: usize = 6;

/// A circle through points, with how well it holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CircleFit {
    /// The circle.
    pub circle: Circle,
    /// Root mean square distance of the points from it, in the points' unit.
    pub rms: f64,
    /// Covariance of (x, y, radius) for points with independent errors of one `rms` each.
    pub covariance: Matrix3<f64>,
}

/// The algebraic fit with the least bias: `None` for fewer than three points or points on a line.
///
/// Points are (x, y) in any unit; the result is in the same unit.
///
/// Source: "Hyper" fit of A. Al-Sharadqah, N. Chernov 2009, "Error analysis for circle fitting algorithms",
/// Electron. J. Stat. 3, 886 (doi:10.1214/09-EJS419); Newton's method on the characteristic polynomial.
pub fn algebraic(points: &[(f64, f64)]) -> Option<Circle> {
    if points.len() < 3 {
        return None;
    }
    let n = points.len() as f64;
    let (mx, my) = points
        .iter()
        .fold((0.0, 0.0), |(sx, sy), p| (sx + p.0 / n, sy + p.1 / n));
    let (mut mxx, mut myy, mut mxy, mut mxz, mut myz, mut mzz) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
    for p in points {
        let (x, y) = (p.0 - mx, p.1 - my);
        let z = x * x + y * y;
        mxx += x * x / n;
        myy += y * y / n;
        mxy += x * y / n;
        mxz += x * z / n;
        myz += y * z / n;
        mzz += z * z / n;
    }
    let mz = mxx + myy;
    let cov = mxx * myy - mxy * mxy;
    let var = mzz - mz * mz;
    let a2 = 4.0 * cov - 3.0 * mz * mz - mzz;
    let a1 = var * mz + 4.0 * cov * mz - mxz * mxz - myz * myz;
    let a0 = mxz * (mxz * myy - myz * mxy) + myz * (myz * mxx - mxz * mxy) - var * cov;
    let mut root = 0.0;
    let mut value = a0;
    for _ in 0..99 {
        let slope = a1 + root * (2.0 * a2 + 16.0 * root * root);
        let next = root - value / slope;
        if !next.is_finite() || (next - root).abs() < 1e-15 * root.abs() {
            break;
        }
        let at_next = a0 + next * (a1 + next * (a2 + 4.0 * next * next));
        if at_next.abs() >= value.abs() {
            break;
        }
        root = next;
        value = at_next;
    }
    let det = root * root - root * mz + cov;
    let (x, y) = (
        (mxz * (myy - root) - myz * mxy) / det / 2.0,
        (myz * (mxx - root) - mxz * mxy) / det / 2.0,
    );
    let radius = (x * x + y * y + mz - 2.0 * root).sqrt();
    // Points on a line give a circle without end.
    let sane = radius > 0.0 && radius < 1e6 * mz.sqrt();
    (x.is_finite() && y.is_finite() && sane).then_some(Circle {
        x_px: x + mx,
        y_px: y + my,
        radius_px: radius,
    })
}

/// The circle with the least sum of squared distances, from a start; points far off are weighted down.
///
/// `huber` is the distance beyond which a point pulls with constant force, `f64::INFINITY` for plain least squares.
/// `None` when the points do not hold a circle.
///
/// Source: Levenberg-Marquardt on orthogonal distances, N. Chernov 2010, "Circular and Linear Regression", ch. 4;
/// weights after P. J. Huber 1964, "Robust estimation of a location parameter", Ann. Math. Stat. 35, 73.
pub fn geometric(points: &[(f64, f64)], start: Circle, huber: f64) -> Option<CircleFit> {
    resting(points, start, huber, 1e-10)
}

/// The same until a step moves nothing by more than a share `rest` of the radius.
pub(super) fn resting(
    points: &[(f64, f64)],
    start: Circle,
    huber: f64,
    rest: f64,
) -> Option<CircleFit> {
    if points.len() < 3 {
        return None;
    }
    let mut now = Vector3::new(start.x_px, start.y_px, start.radius_px);
    let mut damping = 1e-3;
    let (mut sums, mut cost) = normal_equations(points, now, huber);
    for _ in 0..MAX_STEPS {
        let step = sums.damped(damping)?;
        let next = now + step;
        let (s, c) = normal_equations(points, next, huber);
        if c.is_finite() && c <= cost && next[2] > 0.0 {
            (now, sums, cost) = (next, s, c);
            damping *= 0.1;
            if step.amax() < rest * now[2] {
                break;
            }
        } else {
            damping *= 10.0;
            if damping > 1e12 {
                break;
            }
        }
    }
    let circle = Circle {
        x_px: now[0],
        y_px: now[1],
        radius_px: now[2],
    };
    let square: f64 = points.iter().map(|p| distance(circle, *p).powi(2)).sum();
    let freedom = (points.len().max(4) - 3) as f64;
    let covariance = sums.covariance()? * (square / freedom);
    (now.iter().all(|v| v.is_finite())).then_some(CircleFit {
        circle,
        rms: (square / points.len() as f64).sqrt(),
        covariance,
    })
}

/// The circle of this radius with the least sum of squared distances, from a start; points farther off than `huber` pull
/// with constant force. An arc bent a little too weakly or too strongly keeps its place this way.
pub(super) fn of_radius(
    points: &[(f64, f64)],
    start: Circle,
    radius_px: f64,
    huber: f64,
) -> Option<Circle> {
    let middle = points.iter().fold((0.0, 0.0), |sum, p| {
        let (dx, dy) = (p.0 - start.x_px, p.1 - start.y_px);
        let r = length(dx, dy).max(1e-12);
        (sum.0 + dx / r, sum.1 + dy / r)
    });
    // The middle of the arc stays where it is to begin with.
    let slip = (start.radius_px - radius_px) / points.len().max(1) as f64;
    let mut now = Circle {
        x_px: start.x_px + middle.0 * slip,
        y_px: start.y_px + middle.1 * slip,
        radius_px,
    };
    for _ in 0..HELD_STEPS {
        let at = Vector3::new(now.x_px, now.y_px, now.radius_px);
        let (sums, _) = normal_equations(points, at, huber);
        let held = sums.matrix.fixed_view::<2, 2>(0, 0).into_owned();
        let step = held.try_inverse()? * sums.right.fixed_rows::<2>(0);
        (now.x_px, now.y_px) = (now.x_px + step[0], now.y_px + step[1]);
    }
    (now.x_px.is_finite() && now.y_px.is_finite()).then_some(now)
}

/// Length of a vector whose size is that of a picture: no overflow to guard against, and so faster than `hypot`.
pub(super) fn length(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}

/// How far a point lies outside a circle (negative inside).
pub fn distance(circle: Circle, (x, y): (f64, f64)) -> f64 {
    length(x - circle.x_px, y - circle.y_px) - circle.radius_px
}

fn normal_equations(
    points: &[(f64, f64)],
    at: Vector3<f64>,
    huber: f64,
) -> (NormalEquations<3>, f64) {
    let (mut sums, mut cost) = (NormalEquations::zeros(), 0.0);
    for &(x, y) in points {
        let (dx, dy) = (x - at[0], y - at[1]);
        let r = length(dx, dy).max(1e-12);
        let miss = r - at[2];
        let weight = if miss.abs() <= huber {
            1.0
        } else {
            huber / miss.abs()
        };
        let slope = Vector3::new(dx / r, dy / r, 1.0);
        sums.add(&slope, miss, weight);
        cost += if miss.abs() <= huber {
            0.5 * miss * miss
        } else {
            huber * (miss.abs() - 0.5 * huber)
        };
    }
    (sums, cost)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn arc(circle: Circle, from_deg: f64, to_deg: f64, n: usize) -> Vec<(f64, f64)> {
        (0..n)
            .map(|i| {
                let t = (from_deg + (to_deg - from_deg) * i as f64 / (n - 1) as f64).to_radians();
                (
                    circle.x_px + circle.radius_px * t.cos(),
                    circle.y_px + circle.radius_px * t.sin(),
                )
            })
            .collect()
    }

    #[test]
    fn points_on_a_circle_give_it_back() {
        let truth = Circle {
            x_px: 310.2,
            y_px: -45.7,
            radius_px: 151.3,
        };
        for span in [30.0, 120.0, 359.0] {
            let points = arc(truth, 10.0, 10.0 + span, 50);
            let rough = algebraic(&points).unwrap();
            assert!((rough.radius_px - truth.radius_px).abs() < 1e-6, "{span}");
            let fine = geometric(&points, rough, 1.0).unwrap();
            assert!((fine.circle.x_px - truth.x_px).abs() < 1e-7, "{span}");
            assert!(fine.rms < 1e-8);
        }
    }

    #[test]
    fn a_held_radius_leaves_an_arc_in_its_place() {
        let truth = Circle {
            x_px: 100.0,
            y_px: 50.0,
            radius_px: 80.0,
        };
        let off = Circle {
            x_px: 98.0,
            y_px: 51.0,
            radius_px: 83.0,
        };
        let points = arc(truth, 40.0, 160.0, 60);
        let held = of_radius(&points, off, 80.0, 1.0).unwrap();
        assert!((held.x_px - truth.x_px).abs() < 1e-6, "{held:?}");
        assert!((held.y_px - truth.y_px).abs() < 1e-6, "{held:?}");
    }

    #[test]
    fn points_on_a_line_give_none() {
        let line: Vec<_> = (0..20).map(|i| (f64::from(i), 2.0)).collect();
        assert!(algebraic(&line).is_none());
        assert!(algebraic(&line[..2]).is_none());
    }
}
