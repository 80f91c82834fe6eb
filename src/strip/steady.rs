//! The Moon's place in frames whose own fit is poor: beads and rings spoil both limbs, but a mount drifts evenly.

use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::Circle;

/// Fits at least this good are trusted, as one sigma in pixels.
const GOOD_SIGMA_PX: f64 = 0.3;

/// How far in time neighbours are asked, in seconds.
const NEAR_S: f64 = 6.0;

/// Most neighbours asked.
const MOST: usize = 8;

/// The Moon in a frame: its own fit where that is good, else where the body's good frames within seconds say it must
/// be; `None` when there are fewer than two of those.
pub(super) fn steady_moon(catalogue: &Catalogue, record: &ShotRecord) -> Option<Circle> {
    if let Some(own) = good_moon(record) {
        return Some(own);
    }
    let utc = record.utc?;
    let mut near: Vec<(f64, Circle)> = catalogue
        .shots
        .iter()
        .filter(|s| s.shot.camera == record.shot.camera)
        .filter_map(|s| Some((s.utc?.seconds_since(utc), good_moon(s)?)))
        .filter(|(off_s, _)| off_s.abs() <= NEAR_S)
        .collect();
    near.sort_by(|a, b| a.0.abs().total_cmp(&b.0.abs()));
    near.truncate(MOST);
    if near.len() < 2 {
        return None;
    }
    let at_zero = |f: fn(&Circle) -> f64| line_at_zero(near.iter().map(|(t, c)| (*t, f(c))));
    let mean_radius = near.iter().map(|(_, c)| c.radius_px).sum::<f64>() / near.len() as f64;
    Some(Circle {
        x_px: at_zero(|c| c.x_px),
        y_px: at_zero(|c| c.y_px),
        radius_px: mean_radius,
    })
}

fn good_moon(record: &ShotRecord) -> Option<Circle> {
    let fit = record.disc.as_ref()?;
    fit.moon.filter(|_| fit.sigma_px <= GOOD_SIGMA_PX)
}

/// The value at zero of the straight line through points (least squares); their mean when they share one abscissa.
fn line_at_zero(points: impl Iterator<Item = (f64, f64)> + Clone) -> f64 {
    let n = points.clone().count().max(1) as f64;
    let mean = |f: fn((f64, f64)) -> f64| points.clone().map(f).sum::<f64>() / n;
    let (t0, v0) = (mean(|p| p.0), mean(|p| p.1));
    let (mut tt, mut tv) = (0.0, 0.0);
    for (t, v) in points {
        tt += (t - t0).powi(2);
        tv += (t - t0) * (v - v0);
    }
    if tt < 1e-9 { v0 } else { v0 - tv / tt * t0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_read_at_zero() {
        let points = [(-2.0, 4.0), (-1.0, 5.0), (3.0, 9.0)];
        assert!((line_at_zero(points.into_iter()) - 6.0).abs() < 1e-12);
        assert!((line_at_zero([(1.0, 2.0), (1.0, 4.0)].into_iter()) - 3.0).abs() < 1e-12);
    }
}
