//! Pictures moved, turned and scaled by parts of a pixel, in linear light.

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
struct Taps {
    first: usize,
    weights: Vec<f32>,
    core: std::ops::Range<usize>,
}

impl Taps {
    fn empty() -> Self {
        Self {
            first: 0,
            weights: Vec::new(),
            core: 0..0,
        }
    }

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
    let (mut across, mut down) = (Taps::empty(), Taps::empty());
    for y in 0..height {
        for (x, rgb) in result.row_mut(y).chunks_exact_mut(3).enumerate() {
            let (sx, sy) = placing.source_of(x as f64, y as f64);
            across.aim(sx, source.width(), stretch);
            down.aim(sy, source.height(), stretch);
            if !across.weights.is_empty() && !down.weights.is_empty() {
                rgb.copy_from_slice(&weighed(source, &across, &down));
            }
        }
    }
    result
}

/// The weighted mean under the taps, held inside the range nearby.
fn weighed(source: &LinearRgb, across: &Taps, down: &Taps) -> [f32; 3] {
    let mut sum = [0.0_f32; 3];
    let (mut least, mut most) = ([f32::INFINITY; 3], [f32::NEG_INFINITY; 3]);
    let mut weight_down = 0.0;
    for (j, &wy) in down.weights.iter().enumerate() {
        weight_down += wy;
        let start = across.first * 3;
        let row = &source.row(down.first + j)[start..start + across.weights.len() * 3];
        let mut line = [0.0_f32; 3];
        for (rgb, &wx) in row.chunks_exact(3).zip(&across.weights) {
            for c in 0..3 {
                line[c] += wx * rgb[c];
            }
        }
        for c in 0..3 {
            sum[c] += wy * line[c];
        }
        if down.core.contains(&j) {
            for rgb in row[across.core.start * 3..across.core.end * 3].chunks_exact(3) {
                for c in 0..3 {
                    least[c] = least[c].min(rgb[c]);
                    most[c] = most[c].max(rgb[c]);
                }
            }
        }
    }
    let weight = weight_down * across.weights.iter().sum::<f32>();
    std::array::from_fn(|c| {
        let mean = sum[c] / weight;
        if least[c] <= most[c] {
            mean.clamp(least[c], most[c])
        } else {
            mean
        }
    })
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
