//! Brightness against distance from the Sun.

use crate::domain::{Circle, upper_median};

/// Rings per factor of e in distance.
const RINGS_PER_E: f64 = 90.0;

/// Median light in rings about the Sun, made to fall steadily outwards and joined smoothly.
#[derive(Clone, Debug)]
pub(crate) struct Profile {
    /// Natural logarithm of the radius of the first ring, in pixels.
    start: f64,
    /// Natural logarithm of light per ring.
    log_light: Vec<f32>,
}

impl Profile {
    /// Profile of `light` outside the Moon's limb. Rings without light take their inner neighbour's.
    pub(crate) fn of_medians(
        size: [usize; 2],
        sun: &Circle,
        moon: &Circle,
        light: impl Fn(usize, usize) -> f32,
    ) -> Self {
        let start = (0.97 * sun.radius_px).max(2.0).ln();
        let corner = [(0, 0), (size[0], 0), (0, size[1]), (size[0], size[1])]
            .map(|(x, y)| (x as f64 - sun.x_px).hypot(y as f64 - sun.y_px))
            .into_iter()
            .fold(0.0, f64::max);
        let rings = (((corner.max(2.0).ln() - start) * RINGS_PER_E)
            .ceil()
            .max(0.0) as usize)
            + 2;
        let mut lists: Vec<Vec<f32>> = vec![Vec::new(); rings];
        let step = (size[0] * size[1] / 4_000_000).max(1);
        for y in 0..size[1] {
            // Fewer columns on large pictures, at a place that changes from row to row.
            for x in ((y * 7) % step..size[0]).step_by(step) {
                let (px, py) = (x as f64, y as f64);
                let off = (px - moon.x_px).hypot(py - moon.y_px) - moon.radius_px;
                let ring = ((px - sun.x_px).hypot(py - sun.y_px).ln() - start) * RINGS_PER_E;
                if off <= 2.5 || ring < 0.0 {
                    continue;
                }
                if let Some(list) = lists.get_mut(ring.round() as usize) {
                    list.push(light(x, y));
                }
            }
        }
        Self {
            start,
            log_light: smoothed(&steady(lists)),
        }
    }

    /// One light at all distances.
    pub(crate) fn level(light: f32) -> Self {
        Self {
            start: 0.0,
            log_light: vec![light.ln()],
        }
    }

    /// Radius of the first ring in pixels.
    pub(crate) fn innermost(&self) -> f32 {
        self.start.exp() as f32
    }

    /// Light at a distance in pixels; the ends hold beyond.
    pub(crate) fn at(&self, r_px: f32) -> f32 {
        let last = self.log_light.len() - 1;
        let at = (f64::from(r_px.max(1.0)).ln() - self.start) * RINGS_PER_E;
        let at = (at.max(0.0) as f32).min(last as f32);
        let i = (at as usize).min(last.saturating_sub(1));
        let t = at - i as f32;
        let next = self.log_light[(i + 1).min(last)];
        (self.log_light[i] + (next - self.log_light[i]) * t).exp()
    }
}

/// Medians as logarithms, never rising outwards; empty inner rings take the first filled one's.
fn steady(lists: Vec<Vec<f32>>) -> Vec<f32> {
    let mut out: Vec<Option<f32>> = lists
        .into_iter()
        .map(|mut list| {
            if list.len() < 12 {
                return None;
            }
            let median = upper_median(&mut list)?;
            (median > 0.0).then(|| median.ln())
        })
        .collect();
    let first = out.iter().flatten().next().copied().unwrap_or(0.0);
    let mut last = first;
    for ring in &mut out {
        last = ring.map_or(last, |v| v.min(last));
        *ring = Some(last);
    }
    out.into_iter().map(|v| v.unwrap_or(first)).collect()
}

/// A mean over nine rings.
fn smoothed(rings: &[f32]) -> Vec<f32> {
    (0..rings.len())
        .map(|i| {
            let (from, to) = (i.saturating_sub(4), (i + 5).min(rings.len()));
            rings[from..to].iter().sum::<f32>() / (to - from) as f32
        })
        .collect()
}
