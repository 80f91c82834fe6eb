//! Maximum and contacts as roots, in seconds from the view's origin.

use crate::domain::LocalKind;
use crate::ephemeris::{Discs, EclipseView};

/// Step of the first search for the least separation. The separation has one minimum within hours of it: the shadow
/// sweeps over a place faster than the Earth turns.
const GRID_S: f64 = 900.0;
/// How far beyond the span of the penumbra on Earth is searched.
const MARGIN_S: f64 = 1_800.0;
/// Half the base of the difference that stands for the derivative of the separation.
const DIFFERENCE_S: f64 = 3.6;
/// Roots are solved to this.
const TOLERANCE_S: f64 = 1e-7;
/// Longest time from maximum to C1 or C4 searched; the longest partial phase lasts some 3.8 hours in all (reckoned from
/// the table).
const LONGEST_HALF_S: f64 = 3.5 * 3600.0;

/// Instant of least separation of the centres.
pub(super) fn maximum(view: &EclipseView) -> f64 {
    let (begin, end) = view.span_s();
    let (begin, end) = (begin - MARGIN_S, end + MARGIN_S);
    let squared = |t: f64| view.discs(t).separation_arcsec.powi(2);
    let steps = ((end - begin) / GRID_S).ceil() as usize;
    let mut best = (f64::INFINITY, begin);
    for n in 0..=steps {
        let t = begin + n as f64 * GRID_S;
        let value = squared(t);
        if value < best.0 {
            best = (value, t);
        }
    }
    let slope = |t: f64| squared(t + DIFFERENCE_S) - squared(t - DIFFERENCE_S);
    root(slope, best.1 - GRID_S, best.1 + GRID_S).unwrap_or(best.1)
}

/// Gap between the limbs from outside, as a difference of squares so that it is smooth at a grazing contact.
fn outer_gap(d: &Discs) -> f64 {
    d.separation_arcsec.powi(2) - (d.sun_radius_arcsec + d.moon_radius_arcsec).powi(2)
}

/// The same from inside: negative in totality and annularity.
fn inner_gap(d: &Discs) -> f64 {
    d.separation_arcsec.powi(2) - (d.sun_radius_arcsec - d.moon_inner_radius_arcsec).powi(2)
}

/// C1 and C4, or nothing when the discs stay apart.
pub(super) fn outer(view: &EclipseView, maximum_s: f64) -> Option<(f64, f64)> {
    pair(|t| outer_gap(&view.discs(t)), maximum_s, 1_200.0)
}

/// Kind at the place, and C2 and C3 where there are any.
pub(super) fn inner(view: &EclipseView, maximum_s: f64) -> (LocalKind, Option<(f64, f64)>) {
    let Some(pair) = pair(|t| inner_gap(&view.discs(t)), maximum_s, 30.0) else {
        return (LocalKind::Partial, None);
    };
    let discs = view.discs(maximum_s);
    if discs.moon_inner_radius_arcsec > discs.sun_radius_arcsec {
        (LocalKind::Total, Some(pair))
    } else {
        (LocalKind::Annular, Some(pair))
    }
}

/// The crossings either side of `middle`, where `gap` is negative there.
fn pair(gap: impl Fn(f64) -> f64, middle: f64, first_step: f64) -> Option<(f64, f64)> {
    if gap(middle) >= 0.0 {
        return None;
    }
    Some((
        side(&gap, middle, -first_step)?,
        side(&gap, middle, first_step)?,
    ))
}

/// The crossing on one side of `middle`, where `gap` is negative; steps begin with `first_step` and grow.
pub(super) fn side(gap: &impl Fn(f64) -> f64, middle: f64, first_step: f64) -> Option<f64> {
    let mut inside = middle;
    let mut step = first_step;
    while (inside - middle).abs() < LONGEST_HALF_S {
        let outside = inside + step;
        if gap(outside) >= 0.0 {
            return root(gap, inside, outside);
        }
        inside = outside;
        step *= 1.5;
    }
    None
}

/// Root of `f` between `a` and `b`, or nothing when the ends have one sign.
///
/// Source: inverse quadratic interpolation kept in check by bisection, T. R. Chandrupatla 1997, Advances in Engineering
/// Software 28, 145.
pub(super) fn root(f: impl Fn(f64) -> f64, mut a: f64, mut b: f64) -> Option<f64> {
    let (mut fa, mut fb) = (f(a), f(b));
    if !(fa.is_finite() && fb.is_finite()) || fa * fb > 0.0 {
        return None;
    }
    let mut t = 0.5;
    for _ in 0..200 {
        let x = a + t * (b - a);
        let fx = f(x);
        let (c, fc);
        if (fx > 0.0) == (fa > 0.0) {
            (c, fc) = (a, fa);
        } else {
            (c, fc) = (b, fb);
            (b, fb) = (a, fa);
        }
        (a, fa) = (x, fx);
        let least = TOLERANCE_S / (b - a).abs();
        if fa == 0.0 || least > 0.5 {
            break;
        }
        t = interpolated(a, fa, b, fb, c, fc).clamp(least, 1.0 - least);
    }
    Some(if fa.abs() < fb.abs() { a } else { b })
}

/// Where in the bracket from `a` to `b` to look next, as a fraction; a half where the parabola cannot be trusted.
fn interpolated(a: f64, fa: f64, b: f64, fb: f64, c: f64, fc: f64) -> f64 {
    let xi = (a - b) / (c - b);
    let phi = (fa - fb) / (fc - fb);
    if phi * phi < xi && (1.0 - phi).powi(2) < 1.0 - xi {
        fa / (fb - fa) * fc / (fb - fc) + (c - a) / (b - a) * fa / (fc - fa) * fb / (fc - fb)
    } else {
        0.5
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn roots_are_found_and_their_absence_told() {
        let found = root(|x| x * x - 2.0, 0.0, 2.0).unwrap();
        assert!((found - 2f64.sqrt()).abs() < TOLERANCE_S);
        assert!(root(|x| x * x + 1.0, -1.0, 2.0).is_none());
        assert!(root(|_| f64::NAN, -1.0, 2.0).is_none());
        let steep = root(|x| (x - 1e-3).powi(9), -1.0, 1000.0).unwrap();
        assert!((steep - 1e-3).abs() < 1e-6);
    }
}
