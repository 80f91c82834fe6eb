//! Registration on the corona: how far each frame's structure lies from where its limb fit puts it.
//!
//! The Moon's limb slips across the corona in totality, so the corona itself is compared, with the Moon's disc,
//! clipped light and noise masked softly. Phase correlation of high-pass pictures finds the shift, after Druckmüller
//! 2009, "Phase correlation method for the alignment of total solar eclipse images" (ApJ 706, 1605,
//! doi:10.1088/0004-637X/706/2/1605). Least squares on the logarithm of light then refine shift and turn together and
//! give their errors (Lucas & Kanade 1981, "An iterative image registration technique"): the steep fall of the inner
//! corona, the same in every frame up to exposure, ties the Sun's centre far better than the faint structure does.
//!
//! Only filters that move with the picture are used, and only where their whole support is good; dividing by a
//! profile about an assumed centre would pin every frame to that centre.

use rayon::prelude::*;

use super::fourier::Square;
use super::log_corona::{LogCorona, SMOOTH_PX, high_pass};
use super::rings;

/// Every so manyth pixel of every so manyth row goes into the least squares: smoothed pixels repeat each other.
const LATTICE: usize = 2;

/// What was found for one frame: where canvas structure lies in it, less where it was expected.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Found {
    /// Shift, in registration pixels.
    pub(crate) shift: [f64; 2],
    /// Turn about the Sun's centre, in radians.
    pub(crate) turn_rad: f64,
    /// Natural logarithm of this frame's light over the common one's.
    pub(crate) level: f64,
    /// One sigma of the shift per axis, in registration pixels.
    pub(crate) sigma: f64,
    /// One sigma of the turn, in radians.
    pub(crate) turn_sigma_rad: f64,
    /// Weighted mean square of what is left, in natural logarithms.
    pub(crate) left: f64,
    /// The same with the frame where its limb puts it, without shift.
    pub(crate) left_unmoved: f64,
}

/// Registers all frames on a common structure; `None` where a frame shows too little. `order` starts with the frame
/// that anchors the rest; `limit` is the farthest shift believed, in registration pixels.
pub(crate) fn register(
    coronas: &[Option<LogCorona>],
    side: usize,
    order: &[usize],
    limit: f64,
) -> Vec<Option<Found>> {
    let mut found: Vec<Option<Found>> = vec![None; coronas.len()];
    let square = Square::new(side);
    let mut template = Template::new(side);
    for &i in order {
        let Some(corona) = &coronas[i] else {
            continue;
        };
        let here = if template.is_empty() {
            Some(Found::default())
        } else {
            align(&template.mean(), corona, side, &square, limit)
        };
        if let Some(here) = here {
            template.add(corona, &here, 1.0);
            found[i] = Some(here);
        }
    }
    if found.iter().flatten().count() > 1 {
        refine(coronas, side, &mut found, &template);
    }
    found
}

/// Once more for every frame against all the others.
fn refine(
    coronas: &[Option<LogCorona>],
    side: usize,
    found: &mut [Option<Found>],
    template: &Template,
) {
    let again: Vec<Option<Found>> = (0..found.len())
        .into_par_iter()
        .map(|i| {
            let (corona, here) = (coronas[i].as_ref()?, found[i]?);
            let mut others = template.clone();
            others.add(corona, &here, -1.0);
            let others = others.mean();
            let mut best = least_squares(&others, corona, side, here).unwrap_or(here);
            let unmoved = Found {
                shift: [0.0; 2],
                ..best
            };
            let sums = normal_sums(&others, corona, side, &unmoved);
            best.left_unmoved = sums.residual / sums.count.max(1e-9);
            Some(best)
        })
        .collect();
    found.copy_from_slice(&again);
}

/// The mean logarithm of the frames registered so far.
#[derive(Clone)]
struct Template {
    side: usize,
    sum: Vec<f32>,
    weight: Vec<f32>,
}

impl Template {
    fn new(side: usize) -> Self {
        Self {
            side,
            sum: vec![0.0; side * side],
            weight: vec![0.0; side * side],
        }
    }

    fn is_empty(&self) -> bool {
        self.weight.iter().all(|w| *w <= 0.0)
    }

    /// Adds (or takes away, with `sign` -1) a frame brought into place.
    fn add(&mut self, corona: &LogCorona, found: &Found, sign: f32) {
        for y in 0..self.side {
            for x in 0..self.side {
                let at = moved(found, self.side, x, y);
                let (Some(v), Some(m)) = (
                    bilinear(&corona.value, self.side, at),
                    bilinear(&corona.mask, self.side, at),
                ) else {
                    continue;
                };
                self.sum[y * self.side + x] += sign * (v - found.level as f32) * m;
                self.weight[y * self.side + x] += sign * m;
            }
        }
    }

    fn mean(&self) -> LogCorona {
        let pairs = self.sum.iter().zip(&self.weight);
        LogCorona {
            value: pairs
                .map(|(s, w)| if *w > 1e-3 { s / w } else { 0.0 })
                .collect(),
            mask: self
                .weight
                .iter()
                .map(|w| if *w > 1e-3 { w.min(1.0) } else { 0.0 })
                .collect(),
        }
    }
}

/// Where the structure at a template pixel lies in a frame's picture.
fn moved(found: &Found, side: usize, x: usize, y: usize) -> [f64; 2] {
    let middle = (side as f64 - 1.0) / 2.0;
    let (dx, dy) = (x as f64 - middle, y as f64 - middle);
    let (sin, cos) = found.turn_rad.sin_cos();
    [
        middle + dx * cos - dy * sin + found.shift[0],
        middle + dx * sin + dy * cos + found.shift[1],
    ]
}

fn bilinear(picture: &[f32], side: usize, [x, y]: [f64; 2]) -> Option<f32> {
    let limit = (side - 1) as f64;
    if !(x >= 0.0 && y >= 0.0 && x < limit && y < limit) {
        return None;
    }
    let (i, j) = (x as usize, y as usize);
    let (fx, fy) = ((x - i as f64) as f32, (y - j as f64) as f32);
    let at = |i: usize, j: usize| picture[j * side + i];
    let top = at(i, j) + (at(i + 1, j) - at(i, j)) * fx;
    let low = at(i, j + 1) + (at(i + 1, j + 1) - at(i, j + 1)) * fx;
    Some(top + (low - top) * fy)
}

/// Least squares from where phase correlation points, from where the limb fit does, and from there with the turn that the
/// rings about the Sun's place show; the best of them.
fn align(
    template: &LogCorona,
    frame: &LogCorona,
    side: usize,
    square: &Square,
    limit: f64,
) -> Option<Found> {
    let level = level(template, frame);
    let from = |shift: [f64; 2], turn_rad: f64| {
        let start = Found {
            shift,
            turn_rad,
            level,
            ..Found::default()
        };
        least_squares(template, frame, side, start)
    };
    let correlated =
        phase_shift(template, frame, side, square, limit).and_then(|shift| from(shift, 0.0));
    let turned = rings::turn(template, frame, side).and_then(|turn| from([0.0; 2], turn));
    [correlated, from([0.0; 2], 0.0), turned]
        .into_iter()
        .flatten()
        .min_by(|a, b| a.left.total_cmp(&b.left))
}

/// Mean logarithm of one picture over another where both are good.
fn level(template: &LogCorona, frame: &LogCorona) -> f64 {
    let (mut sum, mut weight) = (0.0, 0.0);
    for i in 0..frame.value.len() {
        let w = f64::from(template.mask[i] * frame.mask[i]);
        sum += w * f64::from(frame.value[i] - template.value[i]);
        weight += w;
    }
    if weight > 0.0 { sum / weight } else { 0.0 }
}

/// Shift of the frame's structure by phase correlation under a common mask, within `limit`; `None` when the masks
/// share too little.
fn phase_shift(
    template: &LogCorona,
    frame: &LogCorona,
    side: usize,
    square: &Square,
    limit: f64,
) -> Option<[f64; 2]> {
    let (first, first_mask) = high_pass(template, side);
    let (second, second_mask) = high_pass(frame, side);
    let both: Vec<f32> = first_mask
        .iter()
        .zip(&second_mask)
        .map(|(a, b)| (a * b).sqrt())
        .collect();
    let total: f32 = both.iter().sum();
    if total < 60.0 {
        return None;
    }
    let centred = |value: &[f32]| -> Vec<f32> {
        let mean = value.iter().zip(&both).map(|(v, m)| v * m).sum::<f32>() / total;
        value
            .iter()
            .zip(&both)
            .map(|(v, m)| (v - mean) * m)
            .collect()
    };
    let (a, b) = (
        square.there(&centred(&first)),
        square.there(&centred(&second)),
    );
    let power: Vec<_> = a.iter().zip(&b).map(|(a, b)| a.conj() * b).collect();
    let mean = power.iter().map(|p| p.norm()).sum::<f32>() / power.len() as f32;
    // A frequency counts by its phase, softly so where both pictures hold next to nothing at it.
    let phases = power.iter().enumerate().map(|(i, p)| {
        let low = low_pass(i % side, side) * low_pass(i / side, side);
        p * (low / (p.norm() + 0.3 * mean))
    });
    let surface = square.back(phases.collect());
    peak(&surface, side, limit)
}

/// Gaussian in frequency: a quarter of the sampling frequency down to `exp(-2)`.
fn low_pass(k: usize, side: usize) -> f32 {
    let cycles = k.min(side - k) as f32 / side as f32;
    (-2.0 * (cycles / 0.25).powi(2)).exp()
}

/// Highest place of the correlation within `limit` of no shift, by a parabola through its neighbours.
fn peak(surface: &[f32], side: usize, limit: f64) -> Option<[f64; 2]> {
    let reach = (limit.ceil() as i64).clamp(2, side as i64 / 2 - 2);
    let at = |x: i64, y: i64| {
        let wrap = |v: i64| v.rem_euclid(side as i64) as usize;
        surface[wrap(y) * side + wrap(x)]
    };
    let mut best = (f32::NEG_INFINITY, 0, 0);
    for y in -reach..=reach {
        for x in -reach..=reach {
            if at(x, y) > best.0 {
                best = (at(x, y), x, y);
            }
        }
    }
    let (top, x, y) = best;
    if !(top.is_finite() && top > 0.0) {
        return None;
    }
    let vertex = |before: f32, after: f32| {
        let bend = f64::from(before) - 2.0 * f64::from(top) + f64::from(after);
        if bend < 0.0 {
            (0.5 * f64::from(before - after) / bend).clamp(-0.5, 0.5)
        } else {
            0.0
        }
    };
    Some([
        x as f64 + vertex(at(x - 1, y), at(x + 1, y)),
        y as f64 + vertex(at(x, y - 1), at(x, y + 1)),
    ])
}

/// Refines shift and turn by Gauss-Newton steps on `frame(moved) - level - template`; `None` when the masks share too
/// little or the steps run away.
fn least_squares(
    template: &LogCorona,
    frame: &LogCorona,
    side: usize,
    start: Found,
) -> Option<Found> {
    let mut now = start;
    for _ in 0..6 {
        let sums = normal_sums(template, frame, side, &now);
        let inverse = sums.normal.try_inverse()?;
        let step = -(inverse * sums.right);
        now.shift[0] += step[0];
        now.shift[1] += step[1];
        now.turn_rad += step[2];
        now.level += step[3];
        // Neighbouring pixels share their noise: some 4 pi sigma² of them make one measurement.
        let shared =
            4.0 * std::f64::consts::PI * SMOOTH_PX * SMOOTH_PX / (LATTICE * LATTICE) as f64;
        now.left = sums.residual / sums.count.max(1e-9);
        let variance = now.left * shared;
        now.sigma = (variance * 0.5 * (inverse[(0, 0)] + inverse[(1, 1)])).sqrt();
        now.turn_sigma_rad = (variance * inverse[(2, 2)]).sqrt();
        let strayed = (now.shift[0] - start.shift[0]).hypot(now.shift[1] - start.shift[1]);
        let turned = (now.turn_rad - start.turn_rad).abs();
        if !(now.sigma.is_finite() && strayed < 4.0 && turned < 0.1) {
            return None;
        }
        if step[0].hypot(step[1]) < 1e-3 {
            break;
        }
    }
    Some(now)
}

struct Sums {
    normal: nalgebra::Matrix4<f64>,
    right: nalgebra::Vector4<f64>,
    residual: f64,
    count: f64,
}

/// Sums over the picture; unknowns are shift x, shift y, turn and level.
fn normal_sums(template: &LogCorona, frame: &LogCorona, side: usize, now: &Found) -> Sums {
    let middle = (side as f64 - 1.0) / 2.0;
    let mut out = Sums {
        normal: nalgebra::Matrix4::zeros(),
        right: nalgebra::Vector4::zeros(),
        residual: 0.0,
        count: 0.0,
    };
    let value = |at: [f64; 2]| bilinear(&frame.value, side, at);
    for y in (2..side - 2).step_by(LATTICE) {
        for x in (2..side - 2).step_by(LATTICE) {
            let i = y * side + x;
            if template.mask[i] <= 0.0 {
                continue;
            }
            let at = moved(now, side, x, y);
            let Some(m) = bilinear(&frame.mask, side, at).filter(|m| *m > 0.0) else {
                continue;
            };
            let near = [[1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0], [0.0, 0.0]]
                .map(|[dx, dy]| value([at[0] + dx, at[1] + dy]));
            let [
                Some(right),
                Some(left),
                Some(below),
                Some(above),
                Some(here),
            ] = near
            else {
                continue;
            };
            let (gx, gy) = (
                f64::from(right - left) / 2.0,
                f64::from(below - above) / 2.0,
            );
            let (dx, dy) = (x as f64 - middle, y as f64 - middle);
            let t = f64::from(template.value[i]);
            let row = nalgebra::Vector4::new(gx, gy, gy * dx - gx * dy, -1.0);
            let off = f64::from(here) - t - now.level;
            let w = f64::from((m * template.mask[i]).sqrt());
            out.normal += w * row * row.transpose();
            out.right += w * off * row;
            out.residual += w * off * off;
            out.count += w;
        }
    }
    out
}

/// How much a picture offers: the sum of its mask.
pub(crate) fn worth(corona: &LogCorona) -> f64 {
    corona.mask.iter().map(|m| f64::from(*m)).sum()
}
