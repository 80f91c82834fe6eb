//! Whether sunlight stands at one place of the Moon's limb: a bead or a ring floods over the limb into the Moon's disc there,
//! while the corona leaves the disc evenly dark all round.

use super::arcs::median;
use crate::domain::DiscFit;
use crate::raster::{Channel, Frame};

/// Sectors of the limb: a bead's glare fills one or two.
const SECTORS: usize = 24;

/// Directions and distances looked at in a sector.
const DIRECTIONS: usize = 6;
const DISTANCES: usize = 4;

/// The ring of the Moon's disc that is looked at is this wide, in radii.
const WIDTH: f64 = 0.06;

/// It begins this far inside the limb, in radii and in widths of the blur, so that the corona's own blur stays out of it.
const CLEAR: f64 = 0.03;
const CLEAR_BLURS: f64 = 3.0;

/// Outside the limb the corona is looked at between these distances, in radii.
const CORONA: (f64, f64) = (1.03, 1.10);

/// Fewest sectors inside the frame.
const LEAST_SECTORS: usize = 12;

/// Light just inside the Moon at the brightest sector of its limb, less the median sector's, over the median light just
/// outside; `None` where too little of the Moon is in the frame or it is too small.
pub(super) fn moon_glare(frame: &Frame, fit: &DiscFit) -> Option<f64> {
    let moon = fit.moon?;
    let blur = fit.blur_px.unwrap_or(1.0) / moon.radius_px;
    let outer = 1.0 - CLEAR.max(CLEAR_BLURS * blur);
    if moon.radius_px < 20.0 || outer < 0.6 {
        return None;
    }
    let ring = |from: f64, to: f64| -> Vec<f64> {
        (0..SECTORS)
            .filter_map(|n| sector(frame, fit, n, (from, to)))
            .collect()
    };
    let inside = ring(outer - WIDTH, outer);
    let corona = median(ring(CORONA.0, CORONA.1));
    if inside.len() < LEAST_SECTORS || corona <= 0.0 {
        return None;
    }
    let most = inside.iter().copied().fold(0.0, f64::max);
    Some((most - median(inside)) / corona)
}

/// Mean light of a sector between two distances in Moon's radii; `None` where it leaves the frame.
fn sector(frame: &Frame, fit: &DiscFit, n: usize, (from, to): (f64, f64)) -> Option<f64> {
    let moon = fit.moon?;
    let mut sum = 0.0;
    for d in 0..DIRECTIONS {
        let part = (n as f64 + (d as f64 + 0.5) / DIRECTIONS as f64) / SECTORS as f64;
        let (sin, cos) = (part * std::f64::consts::TAU).sin_cos();
        for k in 0..DISTANCES {
            let away = from + (to - from) * (k as f64 + 0.5) / DISTANCES as f64;
            let x = (moon.x_px + away * moon.radius_px * cos).round();
            let y = (moon.y_px + away * moon.radius_px * sin).round();
            let inside = x >= 0.0 && y >= 0.0;
            let (x, y) = (x as usize, y as usize);
            if !inside || x >= frame.width() || y >= frame.height() {
                return None;
            }
            sum += f64::from(frame.value(x, y, Channel::Max));
        }
    }
    Some(sum / (DIRECTIONS * DISTANCES) as f64)
}
