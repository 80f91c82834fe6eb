//! The second look: frames opened again, one after another, and stacked.

use super::canvas::Canvas;
use super::job::Job;
use super::light::{Conversion, Light, Noise};
use super::photometry::Photometry;
use super::place::{Placement, centre};
use super::placing::Placed;
use super::run::Open;
use super::stack::{Mask, Stack};
use crate::domain::Circle;
use crate::raster::Frame;

/// Slip of the Moon at which a frame's light just outside the limb hardly counts: there the corona, not the Moon,
/// should stand still.
const RING_SLIP_PX: f64 = 0.7;

/// All that the second pass needs.
pub(super) struct Ready<'a> {
    pub(super) job: &'a Job<'a>,
    pub(super) photometry: &'a Photometry,
    pub(super) places: &'a [Placed],
    pub(super) used: &'a [usize],
    pub(super) canvas: &'a Canvas,
}

/// The two stacks and what was noticed on the way.
pub(super) struct Stacked {
    pub(super) sun: Stack,
    pub(super) moon: Stack,
    pub(super) hot: Vec<usize>,
    pub(super) lost: Vec<(usize, String)>,
}

impl Ready<'_> {
    /// Stops of the shortest exposure used.
    pub(super) fn unit_stops(&self) -> f64 {
        let last = self.used.last().map(|&i| self.photometry.stops[i]);
        last.unwrap_or(0.0)
    }

    fn conversion(&self, i: usize) -> Conversion {
        let unit = self.unit_stops();
        Conversion {
            black: self.photometry.black,
            response: self.photometry.response,
            scale: (unit - self.photometry.stops[i]).exp2(),
            noise: Noise::at_iso(self.job.inputs[i].exposure.iso.unwrap_or(100.0)),
            last_resort: self.photometry.stops[i] < unit + 0.4,
        }
    }

    /// From the canvas to a frame by the Sun.
    pub(super) fn by_sun(&self, i: usize) -> Placement {
        let place = self.places[i].place;
        place.about(centre(&self.canvas.sun), place.frame_centre())
    }

    /// From the canvas to a frame by the Moon.
    fn by_moon(&self, i: usize) -> Placement {
        let moon = self.moon_in(i);
        self.places[i]
            .place
            .about(centre(&self.canvas.moon), [moon.x_px, moon.y_px])
    }

    /// The Moon in a frame: limb and Sun were fitted as one, so both move by the same.
    pub(super) fn moon_in(&self, i: usize) -> Circle {
        let [dx, dy] = self.places[i].shift_px;
        let moon = self.job.inputs[i].moon;
        Circle {
            x_px: moon.x_px + dx,
            y_px: moon.y_px + dy,
            ..moon
        }
    }

    /// Stacks every used frame, decoding the next while one is being stacked.
    pub(super) fn stacked(&self, open: Open, progress: &(dyn Fn(usize) + Sync)) -> Stacked {
        let mut out = Stacked {
            sun: Stack::new(self.canvas.area()),
            moon: Stack::new(self.canvas.moon_area()),
            hot: vec![0; self.job.len()],
            lost: Vec::new(),
        };
        let opened = |k: usize| self.used.get(k).map(|&i| open(self.job.indices[i]));
        let mut next = opened(0);
        for (k, &i) in self.used.iter().enumerate() {
            let frame = next.take();
            let ((), after) = rayon::join(
                || match frame {
                    Some(Ok(frame)) => self.add(i, &frame, &mut out),
                    Some(Err(trouble)) => out.lost.push((i, trouble)),
                    None => {}
                },
                || opened(k + 1),
            );
            next = after;
            progress(k + 1);
        }
        out
    }

    fn add(&self, i: usize, frame: &Frame, out: &mut Stacked) {
        let light = Light::new(frame, &self.conversion(i));
        out.hot[i] = light.hot_count();
        let by_sun = self.by_sun(i);
        let moon = self.moon_in(i);
        let on_canvas = by_sun.to_canvas(moon.x_px, moon.y_px);
        let edge = self.canvas.moon.radius_px;
        let margin = 1.2 + 2.0 * self.places[i].sigma_px.min(1.0);
        let outside = Mask::Outside {
            centre: on_canvas,
            from_px: edge + margin,
            to_px: edge + margin + 1.5,
        };
        out.sun.add(&light, &by_sun, &outside);
        let slip =
            (on_canvas[0] - self.canvas.moon.x_px).hypot(on_canvas[1] - self.canvas.moon.y_px);
        let inside = Mask::Disc {
            centre: centre(&self.canvas.moon),
            limb_px: edge,
            reach_px: edge + self.canvas.ring_px(),
            ring: (-0.5 * (slip / RING_SLIP_PX).powi(2)).exp().max(1e-3) as f32,
        };
        out.moon.add(&light, &self.by_moon(i), &inside);
    }
}
