//! Fits a drawn picture to pixels by Levenberg-Marquardt, with knowledge from elsewhere and robust weights.
//!
//! Sources: D. Marquardt 1963, "An algorithm for least-squares estimation of nonlinear parameters", J. SIAM 11, 431;
//! damping after K. Madsen, H. B. Nielsen, O. Tingleff 2004, "Methods for non-linear least squares problems", sect. 3.2;
//! weights of A. E. Beaton, J. W. Tukey 1974, "The fitting of power series", Technometrics 16, 147.

use nalgebra::{SMatrix, SVector};

use super::arcs::median;
use crate::domain::saturation::FULL_IN_FITS;
use crate::domain::{Estimate, NormalEquations, SIGMAS_PER_MAD};
use crate::raster::{Channel, Frame};

/// Least variance of the blur in square pixels: a pixel is not a point.
pub(super) const LEAST_VARIANCE: f64 = 0.06;

/// Most steps of the fit.
const MAX_STEPS: usize = 60;

/// How much wider than measured the scatter is taken at the start and after each step: far from the answer the limbs
/// themselves would be left out as strays. A fit that starts from an earlier one needs less of it.
const WIDENED: [f64; 4] = [6.0, 3.0, 1.5, 1.0];
const WIDENED_AGAIN: [f64; 2] = [1.5, 1.0];

/// Pixels darker than this share of the level say nothing of the scatter: a black sky has none.
const DARK: f64 = 0.03;

/// The scatter is measured a last time after this many steps more.
const LAST_SCALE: usize = 3;

/// About how many of the groups' pulls a fit makes zero: as many as there are parameters that move the limbs.
const FITTED_OUT: f64 = 5.0;

/// Fewest pixels a fit is tried on.
const LEAST_PIXELS: usize = 60;

/// A pixel that takes part.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Pixel {
    /// Place in the frame.
    pub x: f64,
    /// Place in the frame.
    pub y: f64,
    /// Light, 1 at saturation.
    pub light: f64,
}

/// The pixels of a frame at some places, given as (row, column), each once and in order of rows.
pub(super) fn pixels_at(
    mut places: Vec<(u32, u32)>,
    frame: &Frame,
    channel: Channel,
) -> Vec<Pixel> {
    places.sort_unstable();
    places.dedup();
    places
        .into_iter()
        .map(|(y, x)| Pixel {
            x: f64::from(x),
            y: f64::from(y),
            light: f64::from(frame.value(x as usize, y as usize, channel)),
        })
        .collect()
}

/// How little the places of a disc of this radius may move, in pixels, for a fit to be at rest.
pub(super) fn calm_px(radius_px: f64) -> f64 {
    0.004 + 4e-5 * radius_px
}

/// A misfit in sigmas, and the derivatives of the fitted value in the same unit.
pub(super) type Row<const N: usize> = (f64, [f64; N]);

/// A picture that can be drawn pixel by pixel from `N` parameters.
pub(super) trait Drawing<const N: usize> {
    /// What is worked out once for a set of parameters.
    type Ready;

    /// Works out what all pixels need.
    fn ready(&self, p: &SVector<f64, N>) -> Self::Ready;

    /// Light at a pixel; its derivatives by the parameters go to `by`, which is zero before.
    fn at(&self, pixel: &Pixel, p: &SVector<f64, N>, ready: &Self::Ready, by: &mut [f64; N])
    -> f64;

    /// The nearest legal parameters.
    fn bounded(&self, p: SVector<f64, N>) -> SVector<f64, N>;

    /// Knowledge that involves several parameters.
    fn ties(&self, p: &SVector<f64, N>) -> Vec<Row<N>>;
}

/// A drawing to be fitted.
pub(super) struct Task<'a, D, const N: usize> {
    /// What draws.
    pub drawing: &'a D,
    /// What was photographed.
    pub pixels: &'a [Pixel],
    /// Typical light of the bright side, for the noise.
    pub level: f64,
    /// Parameters that may move.
    pub free: [bool; N],
    /// Knowledge of single parameters.
    pub known: Vec<(usize, Estimate)>,
    /// Parameters that are places in pixels: the fit ends when they rest.
    pub places: &'static [usize],
    /// Two steps that move no place by more than this, in pixels, end the fit.
    pub calm_px: f64,
    /// Whether the start is the answer of an earlier fit.
    pub again: bool,
}

/// A settled fit.
pub(super) struct Settled<const N: usize> {
    /// The parameters.
    pub p: SVector<f64, N>,
    /// Their covariance, for pixels that err independently.
    pub covariance: SMatrix<f64, N, N>,
    /// Robust scatter of the residuals in units of 1 % of the level.
    pub scale: f64,
    /// Robust sum of squares, for choosing between fits to the same pixels.
    pub cost: f64,
}

/// What a set of parameters draws: light and derivatives at each pixel.
struct Drawn<const N: usize> {
    light: Vec<f64>,
    by: Vec<[f64; N]>,
}

impl<const N: usize> Drawn<N> {
    fn blank(pixels: usize) -> Self {
        Self {
            light: vec![0.0; pixels],
            by: vec![[0.0; N]; pixels],
        }
    }
}

impl<D: Drawing<N>, const N: usize> Task<'_, D, N> {
    /// Fits from a start; `None` when the fit does not settle or too few pixels take part.
    pub(super) fn settled(&self, start: SVector<f64, N>) -> Option<Settled<N>> {
        if self.pixels.len() < LEAST_PIXELS {
            return None;
        }
        let widened: &[f64] = if self.again { &WIDENED_AGAIN } else { &WIDENED };
        let mut now = self.drawing.bounded(start);
        let mut here = Drawn::blank(self.pixels.len());
        let mut there = Drawn::blank(self.pixels.len());
        self.draw(&now, &mut here);
        let mut scale = self.scale(&here) * widened[0];
        let (mut damping, mut stiffer) = (1e-3, 2.0);
        let mut sums = self.normal_equations(&now, &here, scale);
        let mut cost = self.cost(&now, &here, scale);
        let (mut taken, mut calm) = (0, 0);
        for _ in 0..MAX_STEPS {
            let step = sums.damped(damping)?;
            let next = self.drawing.bounded(now + step);
            self.draw(&next, &mut there);
            let next_cost = self.cost(&next, &there, scale);
            if next_cost.is_finite() && next_cost <= cost {
                let moved = self
                    .places
                    .iter()
                    .map(|&i| (next[i] - now[i]).abs())
                    .fold(0.0, f64::max);
                let foreseen = foreseen(&sums, &step, damping);
                let ratio = (cost - next_cost) / foreseen.max(1e-12);
                let eased = 1.0 - (2.0 * ratio - 1.0).powi(3);
                damping = (damping * eased.clamp(0.15, 2.0)).max(1e-7);
                stiffer = 2.0;
                (now, cost) = (next, next_cost);
                std::mem::swap(&mut here, &mut there);
                taken += 1;
                let narrowing = taken < widened.len();
                calm = if moved < self.calm_px && !narrowing {
                    calm + 1
                } else {
                    0
                };
                if narrowing || taken == widened.len() + LAST_SCALE {
                    scale = self.scale(&here) * widened[taken.min(widened.len() - 1)];
                    cost = self.cost(&now, &here, scale);
                }
                sums = self.normal_equations(&now, &here, scale);
            } else {
                damping *= stiffer;
                stiffer *= 2.0;
            }
            if calm >= 2 || damping > 1e6 {
                break;
            }
        }
        now.iter().all(|v| v.is_finite()).then_some(Settled {
            p: now,
            covariance: sums.matrix.cholesky()?.inverse(),
            scale,
            cost,
        })
    }

    fn draw(&self, p: &SVector<f64, N>, into: &mut Drawn<N>) {
        let ready = self.drawing.ready(p);
        let slots = into.light.iter_mut().zip(&mut into.by);
        for (pixel, (light, by)) in self.pixels.iter().zip(slots) {
            *by = [0.0; N];
            *light = self.drawing.at(pixel, p, &ready, by);
        }
    }

    /// Pixels with the drawn light at each.
    pub(super) fn drawn(&self, p: &SVector<f64, N>) -> Vec<f64> {
        let ready = self.drawing.ready(p);
        self.pixels
            .iter()
            .map(|q| self.drawing.at(q, p, &ready, &mut [0.0; N]))
            .collect()
    }

    /// Covariance of the parameters where pixels of one group err together: the pulls of the groups are as far from zero as the
    /// drawing is from the picture along the limb, whatever the reason. `group` tells the group of a pixel, below `groups`.
    ///
    /// Source: K.-Y. Liang, S. L. Zeger 1986, "Longitudinal data analysis using generalized linear models", Biometrika 73, 13
    /// (the sandwich estimator); a group that says nothing does not count.
    pub(super) fn grouped_covariance(
        &self,
        fit: &Settled<N>,
        groups: usize,
        group: impl Fn(&Pixel) -> usize,
    ) -> SMatrix<f64, N, N> {
        let ready = self.drawing.ready(&fit.p);
        let mut pulls = vec![SVector::<f64, N>::zeros(); groups];
        let mut by = [0.0; N];
        for pixel in self.pixels {
            by.fill(0.0);
            let drawn = self.drawing.at(pixel, &fit.p, &ready, &mut by);
            let miss = self.misfit(pixel, drawn) / fit.scale;
            let (_, weight) = robust(miss);
            if weight > 0.0 && (pixel.light < FULL_IN_FITS || miss > 0.0) {
                let pull = weight * miss / (self.noise(pixel.light) * fit.scale);
                let sum = &mut pulls[group(pixel).min(groups - 1)];
                for (slot, b) in sum.iter_mut().zip(by) {
                    *slot += pull * b;
                }
            }
        }
        let mut middle = SMatrix::<f64, N, N>::zeros();
        let mut counted = 0;
        for mut pull in pulls {
            for i in (0..N).filter(|&i| !self.free[i]) {
                pull[i] = 0.0;
            }
            if pull.amax() > 0.0 {
                middle += pull * pull.transpose();
                counted += 1;
            }
        }
        // The fit has evened out part of what the groups pull.
        let few = f64::from(counted) / (f64::from(counted) - FITTED_OUT).max(1.0);
        fit.covariance * middle * fit.covariance * few
    }

    /// Misfit of a pixel in units of its noise; saturated pixels only say "at least this bright".
    pub(super) fn misfit(&self, pixel: &Pixel, drawn: f64) -> f64 {
        let noise = self.noise(pixel.light);
        if pixel.light >= FULL_IN_FITS {
            (FULL_IN_FITS - drawn).max(0.0) / noise
        } else {
            (pixel.light - drawn.min(1.1)) / noise
        }
    }

    /// One sigma of a pixel's light up to a common factor: even in the dark, growing as photon counts do.
    fn noise(&self, light: f64) -> f64 {
        (1e-4 * self.level * self.level + 4e-4 * self.level * light.clamp(0.0, 1.0)).sqrt()
    }

    fn scale(&self, drawn: &Drawn<N>) -> f64 {
        let dark = DARK * self.level;
        let misfits = self
            .pixels
            .iter()
            .zip(&drawn.light)
            .filter(|(q, light)| q.light < FULL_IN_FITS && q.light.max(**light) > dark)
            .map(|(q, light)| self.misfit(q, *light).abs())
            .collect();
        (SIGMAS_PER_MAD * median(misfits)).max(0.15)
    }

    fn known_rows(&self, p: &SVector<f64, N>) -> Vec<Row<N>> {
        let single = self.known.iter().map(|&(i, known)| {
            let mut by = [0.0; N];
            by[i] = 1.0 / known.sigma;
            ((known.value - p[i]) / known.sigma, by)
        });
        single.chain(self.drawing.ties(p)).collect()
    }

    fn cost(&self, p: &SVector<f64, N>, drawn: &Drawn<N>, scale: f64) -> f64 {
        let pixels: f64 = self
            .pixels
            .iter()
            .zip(&drawn.light)
            .map(|(pixel, light)| robust(self.misfit(pixel, *light) / scale).0)
            .sum();
        let known: f64 = self
            .known_rows(p)
            .iter()
            .map(|(miss, _)| 0.5 * miss * miss)
            .sum();
        pixels + known
    }

    fn normal_equations(
        &self,
        p: &SVector<f64, N>,
        drawn: &Drawn<N>,
        scale: f64,
    ) -> NormalEquations<N> {
        let (mut normal, mut pull) = ([[0.0; N]; N], [0.0; N]);
        for ((pixel, light), by) in self.pixels.iter().zip(&drawn.light).zip(&drawn.by) {
            let miss = self.misfit(pixel, *light) / scale;
            let (_, weight) = robust(miss);
            if weight > 0.0 && (pixel.light < FULL_IN_FITS || miss > 0.0) {
                let unit = 1.0 / (self.noise(pixel.light) * scale);
                add_row(&mut normal, &mut pull, by, unit, weight, miss);
            }
        }
        for (miss, by) in self.known_rows(p) {
            add_row(&mut normal, &mut pull, &by, 1.0, 1.0, miss);
        }
        let mut sums = NormalEquations {
            matrix: SMatrix::from_fn(|i, j| normal[i.max(j)][i.min(j)]),
            right: SVector::from(pull),
        };
        for i in (0..N).filter(|&i| !self.free[i]) {
            sums.matrix.row_mut(i).fill(0.0);
            sums.matrix.column_mut(i).fill(0.0);
            sums.matrix[(i, i)] = 1.0;
            sums.right[i] = 0.0;
        }
        sums
    }
}

/// By how much a damped step should lower the cost.
fn foreseen<const N: usize>(
    sums: &NormalEquations<N>,
    step: &SVector<f64, N>,
    damping: f64,
) -> f64 {
    let held: f64 = (0..N)
        .map(|i| step[i] * step[i] * sums.matrix[(i, i)].max(1e-12))
        .sum();
    0.5 * (step.dot(&sums.right) + damping * held)
}

/// Cost and weight of a misfit in scales: a parabola near zero, flat far out (Tukey's biweight, 6 scales wide).
fn robust(miss: f64) -> (f64, f64) {
    const WIDTH: f64 = 6.0;
    let t = 1.0 - (miss / WIDTH).powi(2);
    if t <= 0.0 {
        (WIDTH * WIDTH / 6.0, 0.0)
    } else {
        (WIDTH * WIDTH / 6.0 * (1.0 - t * t * t), t * t)
    }
}

fn add_row<const N: usize>(
    normal: &mut [[f64; N]; N],
    pull: &mut [f64; N],
    by: &[f64; N],
    unit: f64,
    weight: f64,
    miss: f64,
) {
    let w = weight * unit * unit;
    for i in 0..N {
        let wi = w * by[i];
        if wi.abs() > 0.0 {
            pull[i] += wi * miss / unit;
            for (sum, b) in normal[i][..=i].iter_mut().zip(by) {
                *sum += wi * b;
            }
        }
    }
}
