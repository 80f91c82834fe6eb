//! The extent of the result, and where Sun and Moon stand on it.

use super::MergeOptions;
use super::job::{Job, median};
use super::placing::Placed;
use super::survey::Survey;
use crate::domain::Circle;
use crate::raster::Rect;

/// The result's extent: Sun and Moon in it and its size.
pub(super) struct Canvas {
    pub(super) size: [usize; 2],
    pub(super) sun: Circle,
    pub(super) moon: Circle,
}

impl Canvas {
    pub(super) fn new(
        job: &Job,
        surveys: &[Result<Survey, String>],
        places: &[Placed],
        used: &[usize],
        options: &MergeOptions,
    ) -> Self {
        let reach = reach(job, surveys, places, used);
        let radius = job.inputs[job.reference].sun.radius_px;
        let reach = reach.map(|r| r.max(1.3 * radius));
        let [left, up, right, down] = cut(reach, options.max_pixels as f64);
        let sun = [left.floor(), up.floor()];
        let moon = moon_offset(job, places);
        Self {
            size: [
                (sun[0] + right).floor() as usize + 1,
                (sun[1] + down).floor() as usize + 1,
            ],
            sun: Circle {
                x_px: sun[0],
                y_px: sun[1],
                radius_px: radius,
            },
            moon: Circle {
                x_px: sun[0] + moon[0],
                y_px: sun[1] + moon[1],
                radius_px: median(
                    used.iter()
                        .map(|&i| job.inputs[i].moon.radius_px / job.places[i].scale()),
                ),
            },
        }
    }

    pub(super) fn area(&self) -> Rect {
        Rect {
            x: 0,
            y: 0,
            width: self.size[0],
            height: self.size[1],
        }
    }

    /// Width of the ring around the Moon for which light is stacked on the Moon too.
    pub(super) fn ring_px(&self) -> f64 {
        (0.04 * self.moon.radius_px).max(8.0)
    }

    /// Around the Moon's disc and its ring.
    pub(super) fn moon_area(&self) -> Rect {
        square(
            self.size,
            &self.moon,
            self.moon.radius_px + self.ring_px() + 2.0,
        )
    }

    /// Around the Sun as far as prominences reach.
    pub(super) fn limb_area(&self) -> Rect {
        square(self.size, &self.sun, 1.3 * self.sun.radius_px)
    }
}

/// The square about a disc's centre, as far as it is on a picture of `size`.
pub(super) fn square(size: [usize; 2], disc: &Circle, half: f64) -> Rect {
    let range = |centre: f64, limit: usize| {
        let from = (centre - half).floor().clamp(0.0, limit as f64) as usize;
        let to = (centre + half).ceil().clamp(0.0, limit as f64) as usize;
        (from, to - from)
    };
    let (x, width) = range(disc.x_px, size[0]);
    let (y, height) = range(disc.y_px, size[1]);
    Rect {
        x,
        y,
        width,
        height,
    }
}

/// How far the frames reach from the Sun to the left, up, right and down: at least half of them do.
pub(super) fn reach(
    job: &Job,
    surveys: &[Result<Survey, String>],
    places: &[Placed],
    used: &[usize],
) -> [f64; 4] {
    let bounds: Vec<[f64; 4]> = used
        .iter()
        .filter_map(|&i| {
            let [w, h] = surveys[i].as_ref().ok()?.size.map(|v| v as f64 - 1.0);
            let corners = [(0.0, 0.0), (w, 0.0), (0.0, h), (w, h)]
                .map(|(x, y)| places[i].place.to_canvas(x, y));
            let least = |axis: usize| {
                corners
                    .iter()
                    .map(|c| c[axis])
                    .fold(f64::INFINITY, f64::min)
            };
            let most = |axis: usize| {
                corners
                    .iter()
                    .map(|c| c[axis])
                    .fold(f64::NEG_INFINITY, f64::max)
            };
            Some([-least(0), -least(1), most(0), most(1)])
        })
        .collect();
    let limit = 40.0 * job.inputs[job.reference].sun.radius_px;
    [0, 1, 2, 3].map(|side| median(bounds.iter().map(|b| b[side])).min(limit))
}

/// Cuts what reaches farthest from the Sun until no more than `most` pixels are left.
fn cut(reach: [f64; 4], most: f64) -> [f64; 4] {
    let within = |half: f64| reach.map(|r| r.min(half));
    let fits = |half: f64| {
        let [left, up, right, down] = within(half);
        (left + right + 1.0) * (up + down + 1.0) <= most
    };
    let (mut low, mut high) = (0.0, reach.into_iter().fold(0.0, f64::max));
    if fits(high) {
        return reach;
    }
    while high - low > 0.5 {
        let half = 0.5 * (low + high);
        if fits(half) {
            low = half;
        } else {
            high = half;
        }
    }
    within(low)
}

/// The Moon's centre at the chosen instant, from the Sun, on the canvas, both as registration left them.
fn moon_offset(job: &Job, places: &[Placed]) -> [f64; 2] {
    let moon = &job.inputs[job.reference].moon;
    let placed = &places[job.reference];
    let [dx, dy] = placed.moon_shift_px;
    placed.place.to_canvas(moon.x_px + dx, moon.y_px + dy)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_far_sides_are_cut() {
        let [left, up, right, down] = cut([100.0, 10.0, 50.0, 10.0], 2000.0);
        assert!((left - right).abs() < 1.0 && left < 50.0 && left > 40.0);
        assert!((up + down - 20.0).abs() < 1e-9);
        assert!(cut([5.0; 4], 1e4).iter().all(|r| (r - 5.0).abs() < 1e-12));
    }
}
