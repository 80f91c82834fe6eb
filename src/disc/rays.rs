//! Limb points at full resolution: where light crosses half its step along rays from a circle's centre.

use super::find::{LimbArc, SECTORS};
use super::flat::Flat;
use crate::domain::Circle;
use crate::raster::{Channel, Frame};

/// Rays per sector.
const RAYS: usize = 2;

/// A limb point on one ray.
#[derive(Clone, Copy, Debug)]
pub(super) struct LimbPoint {
    /// Place in the frame.
    pub place: (f64, f64),
    /// Where the light is greatest behind the limb.
    pub top: (f64, f64),
    /// Light on the bright side of the limb.
    pub bright: f64,
    /// Light on the dark side.
    pub dark: f64,
    /// Steepest gradient across the limb, light per pixel.
    pub slope: f64,
}

/// Light at a place between pixels; `None` outside the frame.
pub(super) fn light_at(frame: &Frame, x: f64, y: f64, channel: Channel) -> Option<f64> {
    let (w, h) = (frame.width() as f64, frame.height() as f64);
    if !(x >= 0.0 && y >= 0.0 && x <= w - 1.0 && y <= h - 1.0) {
        return None;
    }
    let (x0, y0) = (x as usize, y as usize);
    let (x1, y1) = (
        (x0 + 1).min(frame.width() - 1),
        (y0 + 1).min(frame.height() - 1),
    );
    let (fx, fy) = (x - x0 as f64, y - y0 as f64);
    let v = |x, y| f64::from(frame.value(x, y, channel));
    Some(
        (v(x0, y0) * (1.0 - fx) + v(x1, y0) * fx) * (1.0 - fy)
            + (v(x0, y1) * (1.0 - fx) + v(x1, y1) * fx) * fy,
    )
}

/// How a limb is walked across.
#[derive(Clone, Copy, Debug)]
pub(super) struct Walk {
    /// Whether the bright side is inside.
    pub bright_inside: bool,
    /// How far the circle may be wrong, pixels.
    pub reach_px: f64,
    /// What is looked at.
    pub channel: Channel,
    /// Flattening.
    pub flat: Flat,
}

/// Limb points on the rays whose sector has edge points.
pub(super) fn limb_points(frame: &Frame, arc: &LimbArc, walk: Walk) -> Vec<LimbPoint> {
    let mut found = Vec::new();
    for sector in (0..SECTORS).filter(|&s| arc.sectors[s]) {
        for ray in 0..RAYS {
            let turn = (sector as f64 + (ray as f64 + 0.5) / RAYS as f64) / SECTORS as f64;
            let (sin, cos) = (turn * std::f64::consts::TAU).sin_cos();
            let ray = Ray {
                frame,
                walk,
                circle: arc.circle,
                cos,
                sin,
            };
            found.extend(ray.crossing());
        }
    }
    found
}

/// A line across the limb, walked from its dark side to its bright side.
struct Ray<'a> {
    frame: &'a Frame,
    walk: Walk,
    circle: Circle,
    /// Direction in the plane where discs are round.
    cos: f64,
    sin: f64,
}

impl Ray<'_> {
    /// The place `t` pixels towards the bright side of the circle.
    fn place(&self, t: f64) -> (f64, f64) {
        let way = if self.walk.bright_inside { -1.0 } else { 1.0 };
        let r = self.circle.radius_px + way * t;
        let (x, y) = self.walk.flat.flattened((r * self.cos, r * self.sin));
        (self.circle.x_px + x, self.circle.y_px + y)
    }

    /// The half-way crossing. The bright level is the first maximum after the steepest rise, so that a thin crescent
    /// is measured at its own level.
    fn crossing(&self) -> Option<LimbPoint> {
        let reach_px = self.walk.reach_px;
        let n = (2.0 * reach_px).ceil() as usize + 1;
        let mut light = Vec::with_capacity(n);
        for i in 0..n {
            let (x, y) = self.place(i as f64 - reach_px);
            light.push(light_at(self.frame, x, y, self.walk.channel)?);
        }
        let (steepest, slope) = (1..n)
            .map(|i| (i, light[i] - light[i - 1]))
            .max_by(|a, b| a.1.total_cmp(&b.1))?;
        if slope <= 0.0 {
            return None;
        }
        let mut top = steepest;
        while top + 1 < n && light[top + 1] > light[top] {
            top += 1;
        }
        let mut foot = steepest - 1;
        while foot > 0 && light[foot - 1] < light[foot] {
            foot -= 1;
        }
        let half = 0.5 * (light[top] + light[foot]);
        let i = (foot + 1..=top).find(|&i| light[i] >= half)?;
        let part = (half - light[i - 1]) / (light[i] - light[i - 1]).max(1e-12);
        Some(LimbPoint {
            place: self.place((i - 1) as f64 + part - reach_px),
            top: self.place(top as f64 - reach_px),
            bright: light[top],
            dark: light[foot],
            slope,
        })
    }
}
