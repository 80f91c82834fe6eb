//! The second look: frames opened again, one after another, and stacked.

use super::canvas::Canvas;
use super::hot::HotMap;
use super::job::{Job, Open};
use super::light::{Conversion, Light, Noise, Weighing};
use super::mask::Mask;
use super::photometry::Photometry;
use super::place::{Placement, centre};
use super::placing::Placed;
use super::rounding::Rounding;
use super::stack::Stack;
use super::{ExposureLayer, Layers};
use crate::domain::{Circle, true_stops};
use crate::raster::LinearRgb;

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
    pub(super) hot: &'a HotMap,
}

/// Frames laid on the Sun, each without its Moon, and on the Moon: every other frame on one of two stacks there, so that
/// what both show is no accident.
pub(super) struct Pair {
    pub(super) sun: Stack,
    pub(super) moon: [Stack; 2],
    laid: usize,
}

impl Pair {
    fn new(canvas: &Canvas) -> Self {
        Self {
            sun: Stack::new(canvas.area()),
            moon: [0, 1].map(|_| Stack::new(canvas.moon_area())),
            laid: 0,
        }
    }
}

/// The two stacks and what was noticed on the way.
pub(super) struct Stacked {
    pub(super) pair: Pair,
    pub(super) hot: Vec<usize>,
    pub(super) lost: Vec<(usize, String)>,
    pub(super) rounding: Rounding,
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
            weighing: Weighing::ByNoise {
                above_shortest: self.photometry.stops[i] - unit,
            },
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

    /// The Moon in a frame: limb and Sun were fitted as one, so both move by the same, but for a turn about the Moon.
    pub(super) fn moon_in(&self, i: usize) -> Circle {
        let [dx, dy] = self.places[i].moon_shift_px;
        let moon = self.job.inputs[i].moon;
        Circle {
            x_px: moon.x_px + dx,
            y_px: moon.y_px + dy,
            ..moon
        }
    }

    /// Stacks every used frame, decoding the next while one is being stacked; frames of one exposure follow each other,
    /// and are handed to `layers` averaged.
    pub(super) fn stacked(
        &self,
        open: Open,
        mut layers: Layers,
        progress: &(dyn Fn(usize) + Sync),
    ) -> Stacked {
        let mut out = Stacked {
            pair: Pair::new(self.canvas),
            hot: vec![0; self.job.len()],
            lost: Vec::new(),
            rounding: Rounding::default(),
        };
        let opened = |k: usize| self.used.get(k).map(|&i| open(self.job.indices[i]));
        let mut layer: Option<Layer> = None;
        let changes = self.used.windows(2).filter(|w| !self.alike(w[0], w[1]));
        let mut rank = changes.count() + 1;
        let layered = layers.is_some();
        let mut next = opened(0);
        for (k, &i) in self.used.iter().enumerate() {
            let frame = next.take();
            let ((), after) = rayon::join(
                || match frame {
                    Some(Ok(frame)) => {
                        let shared = self.hot.of([frame.width(), frame.height()]);
                        let how = self.conversion(i);
                        let light = Light::new(&frame, &how, shared);
                        out.rounding.add(how.scale, super::light::steps(&frame));
                        out.hot[i] = light.hot_count();
                        self.lay(i, &light, &mut out.pair);
                        if layered {
                            let layer = layer.get_or_insert_with(|| Layer::new(self.canvas, rank));
                            self.lay(i, &light.plain(), &mut layer.pair);
                            layer.frames.push(i);
                            layer.steps = layer.steps.max(super::light::steps(&frame));
                        }
                    }
                    Some(Err(trouble)) => out.lost.push((i, trouble)),
                    None => {}
                },
                || opened(k + 1),
            );
            next = after;
            let followed = self.used.get(k + 1).is_some_and(|&j| self.alike(i, j));
            if !followed {
                if let (Some(give), Some(layer)) = (&mut layers, layer.take()) {
                    give(self.finished(layer));
                }
                rank -= 1;
            }
            progress(k + 1);
        }
        out
    }

    /// Whether two frames have the same shutter, aperture and speed.
    fn alike(&self, i: usize, j: usize) -> bool {
        let settings = |i: usize| {
            let e = &self.job.inputs[i].exposure;
            [true_stops(e), e.shutter_s, e.f_number, e.iso].map(|v| v.map(f64::to_bits))
        };
        settings(i) == settings(j)
    }

    fn finished(&self, layer: Layer) -> ExposureLayer {
        let (first, index) = (layer.frames[0], &self.job.indices);
        let (mut light, weight) = layer.pair.sun.into_parts();
        let [one, other] = layer.pair.moon;
        set_moon(&mut light, &weight, &one.joined(&other), self.canvas);
        for v in light.data_mut() {
            *v = v.clamp(0.0, 1.0);
        }
        ExposureLayer {
            exposure: self.job.inputs[first].exposure,
            frames: layer.frames.iter().map(|&i| index[i]).collect(),
            rank: layer.rank,
            steps: layer.steps,
            light,
        }
    }

    /// Lays a frame's light on the Sun, its own Moon left out, and on the Moon.
    fn lay(&self, i: usize, light: &Light, pair: &mut Pair) {
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
        pair.sun.add(light, &by_sun, &outside);
        let slip =
            (on_canvas[0] - self.canvas.moon.x_px).hypot(on_canvas[1] - self.canvas.moon.y_px);
        let inside = Mask::Disc {
            centre: centre(&self.canvas.moon),
            limb_px: edge,
            reach_px: edge + self.canvas.ring_px(),
            ring: (-0.5 * (slip / RING_SLIP_PX).powi(2)).exp().max(1e-3) as f32,
        };
        pair.moon[pair.laid % 2].add(light, &self.by_moon(i), &inside);
        pair.laid += 1;
    }
}

/// Frames of one exposure on their way to a layer.
struct Layer {
    pair: Pair,
    frames: Vec<usize>,
    rank: usize,
    steps: usize,
}

impl Layer {
    fn new(canvas: &Canvas, rank: usize) -> Self {
        Self {
            pair: Pair::new(canvas),
            frames: Vec::new(),
            rank,
            steps: 0,
        }
    }
}

/// Light stacked on the Moon goes inside its limb and, where the Sun's stack has nothing good, just outside.
pub(super) fn set_moon(radiance: &mut LinearRgb, weight: &[f32], moon: &Stack, canvas: &Canvas) {
    let area = canvas.moon_area();
    let width = radiance.width();
    let disc = canvas.moon;
    for y in area.y..area.y + area.height {
        for x in area.x..area.x + area.width {
            let off = (x as f64 - disc.x_px).hypot(y as f64 - disc.y_px) - disc.radius_px;
            if off > canvas.ring_px() {
                continue;
            }
            let (inside, moon_weight) = moon.at(x, y);
            let sun_weight = weight[y * width + x];
            if moon_weight <= 0.0 {
                continue;
            }
            let outside = super::light::smooth_step(1.0, 2.5, off as f32);
            let good = sun_weight / (sun_weight + 0.03 * moon_weight);
            let share = outside * good;
            let sun = radiance.at(x, y);
            let mixed = std::array::from_fn(|c| inside[c] + (sun[c] - inside[c]) * share);
            radiance.set(x, y, mixed);
        }
    }
}
