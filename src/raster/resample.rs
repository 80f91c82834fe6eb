//! Pictures moved, turned and scaled by parts of a pixel, in linear light.

use rayon::prelude::*;

use super::LinearRgb;

/// Where a picture goes: one point of it, its scale and its turn. All coordinates follow the axes of this room.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placing {
    /// A point of the source, in source pixels.
    pub source_px: (f64, f64),
    /// Where that point lands, in result pixels.
    pub result_px: (f64, f64),
    /// Source pixels per result pixel: above 1 the picture shrinks.
    pub scale: f64,
    /// Whether left and right change places, before the turn.
    pub mirrored: bool,
    /// How far the picture is turned clockwise, in degrees.
    pub clockwise_deg: f64,
}

impl Placing {
    /// The source point behind a point of the result.
    pub fn source_of(&self, x_px: f64, y_px: f64) -> (f64, f64) {
        let (sin, cos) = self.clockwise_deg.to_radians().sin_cos();
        let (dx, dy) = (x_px - self.result_px.0, y_px - self.result_px.1);
        let hand = if self.mirrored { -1.0 } else { 1.0 };
        let (u, v) = (cos * dx + sin * dy, -sin * dx + cos * dy);
        (
            self.source_px.0 + hand * self.scale * u,
            self.source_px.1 + self.scale * v,
        )
    }

    /// Where a point of the source lands.
    pub fn result_of(&self, x_px: f64, y_px: f64) -> (f64, f64) {
        let (sin, cos) = self.clockwise_deg.to_radians().sin_cos();
        let hand = if self.mirrored { -1.0 } else { 1.0 };
        let u = hand * (x_px - self.source_px.0) / self.scale;
        let v = (y_px - self.source_px.1) / self.scale;
        (
            self.result_px.0 + cos * u - sin * v,
            self.result_px.1 + sin * u + cos * v,
        )
    }
}

/// Half-width of the kernel in pixels of the coarser grid.
const REACH: f64 = 2.0;

/// How near a source pixel must be, in pixels of the coarser grid, to bound the result. Narrower, limbs turn jagged.
const CORE: f32 = 1.5;

/// The kernel's value at a distance in pixels of the coarser grid: cubic convolution, which keeps straight slopes
/// straight and so moves nothing aside (R. Keys 1981, IEEE Trans. Acoust. Speech Signal Process. 29, 1153, "Cubic
/// convolution interpolation for digital image processing", with a = -1/2).
fn kernel(distance: f32) -> f32 {
    let t = distance.abs();
    if t < 1.0 {
        (1.5 * t - 2.5) * t * t + 1.0
    } else if t < 2.0 {
        ((-0.5 * t + 2.5) * t - 4.0) * t + 2.0
    } else {
        0.0
    }
}

/// Taps along one axis: the first pixel, its weights, and which of them bound the result.
#[derive(Default)]
struct Taps {
    first: usize,
    weights: Vec<f32>,
    core: std::ops::Range<usize>,
}

impl Taps {
    /// Sets the taps for a place on an axis of `len` pixels; none when the place is off the picture.
    fn aim(&mut self, place: f64, len: usize, stretch: f64) {
        self.weights.clear();
        self.core = 0..0;
        let off = place < -0.5 || place > len as f64 - 0.5;
        if off || !place.is_finite() {
            return;
        }
        let half = REACH * stretch;
        let first = (place - half).ceil().max(0.0) as usize;
        let last = ((place + half).floor() as usize).min(len - 1);
        self.first = first;
        let mut core = None;
        for i in first..=last {
            let distance = ((i as f64 - place) / stretch) as f32;
            self.weights.push(kernel(distance));
            if distance.abs() < CORE {
                let n = i - first;
                core = Some(core.map_or(n..n + 1, |c: std::ops::Range<usize>| c.start..n + 1));
            }
        }
        self.core = core.unwrap_or(0..0);
    }
}

/// The source placed on a `width` by `height` result; what it does not cover is black.
///
/// Cubic convolution, widened when the picture shrinks. Each result is held between the least and the greatest
/// source value nearby, so a limb neither overshoots nor leaves a dark rim beside it.
pub fn resampled(source: &LinearRgb, placing: &Placing, width: usize, height: usize) -> LinearRgb {
    let mut result = LinearRgb::new(width, height);
    if source.width() == 0 || source.height() == 0 || placing.scale.is_nan() {
        return result;
    }
    let stretch = placing.scale.max(1.0);
    let rows = result.data_mut().par_chunks_mut((3 * width).max(1));
    rows.enumerate()
        .for_each_init(Worker::default, |worker, (y, row)| {
            for (x, rgb) in row.chunks_exact_mut(3).enumerate() {
                let (sx, sy) = placing.source_of(x as f64, y as f64);
                worker.across.aim(sx, source.width(), stretch);
                worker.down.aim(sy, source.height(), stretch);
                if !worker.across.weights.is_empty() && !worker.down.weights.is_empty() {
                    rgb.copy_from_slice(&worker.weighed(source));
                }
            }
        });
    result
}

/// Working memory of one thread.
#[derive(Default)]
struct Worker {
    across: Taps,
    down: Taps,
    /// Under the taps across, three values a pixel: the weighted sums of the columns, and the least and the greatest value in
    /// each where it bounds the result.
    columns: Vec<f32>,
    least: Vec<f32>,
    most: Vec<f32>,
}

impl Worker {
    /// The weighted mean under the taps, held inside the range nearby. Columns first: their values lie side by side in memory.
    fn weighed(&mut self, source: &LinearRgb) -> [f32; 3] {
        let values = 3 * self.across.weights.len();
        let refill = |list: &mut Vec<f32>, value: f32| {
            list.clear();
            list.resize(values, value);
        };
        refill(&mut self.columns, 0.0);
        refill(&mut self.least, f32::INFINITY);
        refill(&mut self.most, f32::NEG_INFINITY);
        pulp::Arch::new().dispatch(|| {
            for (j, &weight) in self.down.weights.iter().enumerate() {
                let row = &source.row(self.down.first + j)[3 * self.across.first..][..values];
                for (sum, v) in self.columns.iter_mut().zip(row) {
                    *sum += weight * v;
                }
                if self.down.core.contains(&j) {
                    bound(row, &mut self.least, &mut self.most);
                }
            }
        });
        self.joined()
    }

    /// The columns' sums as one.
    fn joined(&self) -> [f32; 3] {
        let mut sum = [0.0_f32; 3];
        for (rgb, weight) in self.columns.chunks_exact(3).zip(&self.across.weights) {
            for c in 0..3 {
                sum[c] += weight * rgb[c];
            }
        }
        let core = 3 * self.across.core.start..3 * self.across.core.end;
        let over = |list: &[f32], c: usize, with: fn(f32, f32) -> f32, start: f32| {
            let one = list[core.clone()].iter().skip(c).step_by(3);
            one.fold(start, |all, v| with(all, *v))
        };
        let weight =
            self.down.weights.iter().sum::<f32>() * self.across.weights.iter().sum::<f32>();
        std::array::from_fn(|c| {
            let mean = sum[c] / weight;
            let least = over(&self.least, c, f32::min, f32::INFINITY);
            let most = over(&self.most, c, f32::max, f32::NEG_INFINITY);
            if least <= most {
                mean.clamp(least, most)
            } else {
                mean
            }
        })
    }
}

#[inline(always)]
fn bound(row: &[f32], least: &mut [f32], most: &mut [f32]) {
    for ((v, least), most) in row.iter().zip(least).zip(most) {
        *least = if *v < *least { *v } else { *least };
        *most = if *v > *most { *v } else { *most };
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn placing(scale: f64, clockwise_deg: f64, mirrored: bool) -> Placing {
        Placing {
            source_px: (20.3, 17.8),
            result_px: (24.0, 24.0),
            scale,
            mirrored,
            clockwise_deg,
        }
    }

    /// A soft spot centred at a place.
    fn spot(x0: f64, y0: f64, sigma: f64) -> LinearRgb {
        let mut image = LinearRgb::new(48, 48);
        for y in 0..48 {
            for x in 0..48 {
                let d2 = (x as f64 - x0).powi(2) + (y as f64 - y0).powi(2);
                image.set(x, y, [(-d2 / (2.0 * sigma * sigma)).exp() as f32; 3]);
            }
        }
        image
    }

    fn centroid(image: &LinearRgb) -> (f64, f64) {
        let (mut sx, mut sy, mut s) = (0.0, 0.0, 0.0);
        for y in 0..image.height() {
            for x in 0..image.width() {
                let v = f64::from(image.at(x, y)[1]);
                sx += v * x as f64;
                sy += v * y as f64;
                s += v;
            }
        }
        (sx / s, sy / s)
    }

    #[test]
    fn there_and_back_is_the_same_point() {
        for mirrored in [false, true] {
            let p = placing(1.7, 33.0, mirrored);
            let (x, y) = p.result_of(3.0, 41.0);
            let (sx, sy) = p.source_of(x, y);
            assert!((sx - 3.0).abs() < 1e-9 && (sy - 41.0).abs() < 1e-9);
        }
    }

    #[test]
    fn a_spot_lands_where_it_was_sent() {
        for (scale, turn) in [(1.0, 0.0), (0.6, 0.0), (1.6, 0.0), (1.3, 47.0)] {
            let p = placing(scale, turn, false);
            let moved = resampled(&spot(20.3, 17.8, 4.0), &p, 49, 49);
            let (x, y) = centroid(&moved);
            let off = (x - 24.0).hypot(y - 24.0);
            assert!(off < 0.01, "scale {scale} turn {turn}: off by {off} px");
        }
    }

    #[test]
    fn clockwise_is_clockwise() {
        let p = placing(1.0, 90.0, false);
        // A point above the centre goes to the right.
        let (x, y) = p.result_of(20.3, 7.8);
        assert!((x - 34.0).abs() < 1e-9 && (y - 24.0).abs() < 1e-9);
    }

    #[test]
    fn an_edge_does_not_ring() {
        let mut edge = LinearRgb::new(40, 40);
        for y in 0..40 {
            for x in 20..40 {
                edge.set(x, y, [0.8; 3]);
            }
        }
        for scale in [0.37, 1.0, 2.3] {
            let moved = resampled(&edge, &placing(scale, 11.0, false), 49, 49);
            let inside = |v: &f32| (-1e-6..=0.8 + 1e-6).contains(v);
            assert!(moved.data().iter().all(inside), "ringing at scale {scale}");
        }
    }

    /// The weighted mean and the range nearby, value by value.
    fn plainly(source: &LinearRgb, (x, y): (f64, f64), stretch: f64) -> f32 {
        let (mut sum, mut weights) = (0.0, 0.0);
        let (mut least, mut most) = (f32::INFINITY, f32::NEG_INFINITY);
        for j in 0..source.height() {
            for i in 0..source.width() {
                let off = [i as f64 - x, j as f64 - y].map(|d| (d / stretch) as f32);
                let weight = off.iter().map(|d| kernel(*d)).product::<f32>();
                let value = source.at(i, j)[1];
                sum += weight * value;
                weights += weight;
                if off.iter().all(|d| d.abs() < CORE) {
                    (least, most) = (least.min(value), most.max(value));
                }
            }
        }
        (sum / weights).clamp(least, most)
    }

    #[test]
    fn columns_first_are_the_same_as_all_at_once() {
        let mut source = spot(20.0, 20.0, 3.0);
        source.set(31, 17, [5.0; 3]);
        for (scale, turn) in [(0.7, 0.0), (1.0, 12.0), (3.4, 80.0)] {
            let placing = placing(scale, turn, true);
            let moved = resampled(&source, &placing, 40, 40);
            for (x, y) in (8..32).flat_map(|x| (8..32).map(move |y| (x, y))) {
                let place = placing.source_of(x as f64, y as f64);
                let inside = |v: f64| (0.0..47.0).contains(&v);
                if inside(place.0) && inside(place.1) {
                    let due = plainly(&source, place, scale.max(1.0));
                    let got = moved.at(x, y)[1];
                    assert!((got - due).abs() < 1e-4, "{x} {y}: {got} for {due}");
                }
            }
        }
    }

    #[test]
    fn nothing_is_made_of_nothing() {
        let p = placing(f64::NAN, 0.0, false);
        assert!(
            resampled(&spot(1.0, 1.0, 2.0), &p, 3, 3)
                .data()
                .iter()
                .all(|v| *v == 0.0)
        );
        let none = resampled(&LinearRgb::new(0, 0), &placing(1.0, 0.0, false), 2, 2);
        assert_eq!(none.data(), [0.0; 12]);
    }
}
