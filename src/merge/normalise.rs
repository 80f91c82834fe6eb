//! Two published normalisations that show structure and give up brightness: for looking, not for measuring.

use rayon::prelude::*;

use crate::domain::Circle;
use crate::raster::LinearImage;

/// The normalising radial graded filter: in rings about the Sun, the light less the ring's mean, over its standard
/// deviation.
///
/// `ring_px` is the width of a ring. Pixels within `inner_px` of the Sun's centre, and those that are not finite,
/// become `NaN` and do not count. A ring without spread is only freed of its mean. The result has no unit.
///
/// Source: Morgan, Habbal & Woo 2006, "The depiction of coronal structure in white-light images" (Solar Physics 236,
/// 263, doi:10.1007/s11207-006-0113-6). Agrees with `sunkit_image.radial.nrgf` to rounding on the same rings.
pub fn nrgf(image: &LinearImage, sun: &Circle, inner_px: f64, ring_px: f64) -> LinearImage {
    let ring_px = if ring_px.is_finite() && ring_px > 0.0 {
        ring_px
    } else {
        1.0
    };
    let radius = |x: usize, y: usize| (x as f64 - sun.x_px).hypot(y as f64 - sun.y_px);
    let ring = |x: usize, y: usize| {
        let r = radius(x, y);
        (r > inner_px && r.is_finite()).then(|| (r / ring_px) as usize)
    };
    let sums = ring_sums(image, &ring);
    let (width, mut out) = (image.width(), image.clone());
    let rows = out.data_mut().par_chunks_mut(width.max(1)).enumerate();
    rows.for_each(|(y, row)| {
        for (x, v) in row.iter_mut().enumerate() {
            *v = match ring(x, y).and_then(|i| sums.get(i)) {
                Some([n, mean, spread]) if *n > 0.0 => {
                    let off = f64::from(*v) - mean;
                    (if *spread > 0.0 { off / spread } else { off }) as f32
                }
                _ => f32::NAN,
            };
        }
    });
    out
}

/// Rows whose sums are taken by one thread: the bands are added in their order, so that the sums are the same however many
/// threads there are.
const BAND_ROWS: usize = 256;

/// Count, mean and standard deviation of every ring, in two passes.
fn ring_sums(
    image: &LinearImage,
    ring: &(impl Fn(usize, usize) -> Option<usize> + Sync),
) -> Vec<[f64; 3]> {
    let first = |sums: &mut [f64; 3], _: usize, v: f64| {
        sums[0] += 1.0;
        sums[1] += v;
    };
    let mut out = over_rings(image, ring, &first);
    for ring in &mut out {
        ring[1] /= ring[0].max(1.0);
    }
    let means: Vec<f64> = out.iter().map(|ring| ring[1]).collect();
    let second = |sums: &mut [f64; 3], i: usize, v: f64| sums[2] += (v - means[i]).powi(2);
    let squares = over_rings(image, ring, &second);
    for (ring, squares) in out.iter_mut().zip(squares) {
        ring[2] = (squares[2] / ring[0].max(1.0)).sqrt();
    }
    out
}

/// Adds up something over the finite values of every ring.
fn over_rings(
    image: &LinearImage,
    ring: &(impl Fn(usize, usize) -> Option<usize> + Sync),
    add: &(impl Fn(&mut [f64; 3], usize, f64) + Sync),
) -> Vec<[f64; 3]> {
    let band = |rows: &[f32], top: usize| {
        let mut out: Vec<[f64; 3]> = Vec::new();
        for (y, row) in (top..).zip(rows.chunks_exact(image.width())) {
            for (x, v) in row.iter().enumerate() {
                if let Some(i) = ring(x, y).filter(|_| v.is_finite()) {
                    if i >= out.len() {
                        out.resize(i + 1, [0.0; 3]);
                    }
                    add(&mut out[i], i, f64::from(*v));
                }
            }
        }
        out
    };
    let bands: Vec<Vec<[f64; 3]>> = image
        .data()
        .par_chunks((BAND_ROWS * image.width()).max(1))
        .enumerate()
        .map(|(n, rows)| band(rows, n * BAND_ROWS))
        .collect();
    let mut out: Vec<[f64; 3]> = Vec::new();
    for band in bands {
        out.resize(out.len().max(band.len()), [0.0; 3]);
        for (sums, more) in out.iter_mut().zip(band) {
            for (sum, more) in sums.iter_mut().zip(more) {
                *sum += more;
            }
        }
    }
    out
}

/// Settings of [`mgn`]; the defaults are the paper's.
#[derive(Clone, Debug, PartialEq)]
pub struct MgnOptions {
    /// Widths of the Gaussians in pixels.
    pub sigmas_px: Vec<f64>,
    /// Severity of the arc tangent.
    pub k: f64,
    /// Gamma of the global picture.
    pub gamma: f64,
    /// Weight of the global picture, 0 to 1.
    pub h: f64,
}

impl Default for MgnOptions {
    fn default() -> Self {
        Self {
            sigmas_px: vec![1.25, 2.5, 5.0, 10.0, 20.0, 40.0],
            k: 0.7,
            gamma: 3.2,
            h: 0.7,
        }
    }
}

/// Multi-scale Gaussian normalisation: at each width the light less its blurred self over the local standard
/// deviation, through an arc tangent, averaged, and added to a gamma-stretched global picture.
///
/// Values that are not positive finite numbers count as 1e-15. The result has no unit; about 0 to 1 but not held so.
///
/// Source: Morgan & Druckmüller 2014, "Multi-scale Gaussian normalization for solar image processing" (Solar Physics
/// 289, 2945, doi:10.1007/s11207-014-0523-9), kernels cut at 3 sigma and edges held as in `sunkit_image.enhance.mgn`,
/// with which it agrees to rounding.
pub fn mgn(image: &LinearImage, options: &MgnOptions) -> LinearImage {
    let width = image.width();
    let usable = |v: &f32| if v.is_finite() && *v > 0.0 { *v } else { 1e-15 };
    let data: Vec<f32> = image.data().iter().map(usable).collect();
    let mut sum = vec![0.0_f32; data.len()];
    for &sigma in &options.sigmas_px {
        add_normalised(&data, width, &kernel(sigma), options.k as f32, &mut sum);
    }
    let least = data.iter().copied().fold(f32::INFINITY, f32::min);
    let most = data.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    let range = if most > least { most - least } else { 1.0 };
    let scale = (1.0 - options.h) / options.sigmas_px.len().max(1) as f64;
    sum.par_iter_mut().zip(&data).for_each(|(sum, v)| {
        let global = f64::from((v - least) / range).powf(1.0 / options.gamma);
        *sum = (options.h * global + scale * f64::from(*sum)) as f32;
    });
    LinearImage::from_data(width, image.height(), sum)
}

/// Adds the arc tangent of the values less their blurred selves over the local standard deviation.
fn add_normalised(data: &[f32], width: usize, kernel: &[f32], k: f32, sum: &mut [f32]) {
    let mut rows = blurred_rows(data, width, kernel, |v| v);
    let mut off = vec![0.0_f32; data.len()];
    blurred_columns(&rows, width, kernel, &mut off, |blurred, i, off| {
        *off = data[i] - blurred;
    });
    rows.clear();
    rows.shrink_to_fit();
    let rows = blurred_rows(&off, width, kernel, |v| v * v);
    blurred_columns(&rows, width, kernel, sum, |blurred, i, sum| {
        let spread = if blurred > 0.0 { blurred.sqrt() } else { 1.0 };
        *sum += (off[i] / spread * k).atan();
    });
}

/// Half of a Gaussian cut at three sigma, the middle first, the whole adding up to 1.
fn kernel(sigma: f64) -> Vec<f32> {
    let sigma = if sigma.is_finite() {
        sigma.clamp(0.1, 1000.0)
    } else {
        1.0
    };
    let reach = (3.0 * sigma + 0.5) as usize;
    let half: Vec<f64> = (0..=reach)
        .map(|i| (-0.5 * (i as f64 / sigma).powi(2)).exp())
        .collect();
    let total = half[0] + 2.0 * half[1..].iter().sum::<f64>();
    half.iter().map(|v| (v / total) as f32).collect()
}

/// `of` of the values blurred along rows; the edge values hold beyond the edges.
fn blurred_rows(
    data: &[f32],
    width: usize,
    kernel: &[f32],
    of: impl Fn(f32) -> f32 + Sync,
) -> Vec<f32> {
    let mut rows = vec![0.0_f32; data.len()];
    let reach = kernel.len() - 1;
    rows.par_chunks_mut(width.max(1))
        .zip(data.par_chunks(width.max(1)))
        .for_each_init(
            || vec![0.0_f32; width + 2 * reach],
            |wide, (to, from)| {
                wide[..reach].fill(of(from[0]));
                wide[reach + width..].fill(of(from[width - 1]));
                for (wide, v) in wide[reach..].iter_mut().zip(from) {
                    *wide = of(*v);
                }
                let arch = pulp::Arch::new();
                for (n, to) in to.chunks_mut(RUN).enumerate() {
                    let near = &wide[n * RUN..n * RUN + to.len() + 2 * reach];
                    arch.dispatch(|| along_row(near, kernel, to));
                }
            },
        );
    rows
}

/// Values worked on at once: they stay in the nearest cache while a kernel passes over them.
const RUN: usize = 512;

/// Blurs a run of a row, `near` reaching beyond it on both sides.
#[inline(always)]
fn along_row(near: &[f32], kernel: &[f32], to: &mut [f32]) {
    let reach = kernel.len() - 1;
    for (i, weight) in kernel.iter().enumerate() {
        let (left, right) = (&near[reach - i..], &near[reach + i..]);
        add_both(to, [left, right], both(i) * weight);
    }
}

/// The middle of a kernel would come in from both sides.
fn both(i: usize) -> f32 {
    if i == 0 { 0.5 } else { 1.0 }
}

#[inline(always)]
fn add_both(to: &mut [f32], [one, other]: [&[f32]; 2], weight: f32) {
    for ((to, a), b) in to.iter_mut().zip(one).zip(other) {
        *to += weight * (a + b);
    }
}

/// Calls `put` with each value blurred along its column, its place and what is there in `out`; the edge values hold beyond
/// the edges.
fn blurred_columns(
    rows: &[f32],
    width: usize,
    kernel: &[f32],
    out: &mut [f32],
    put: impl Fn(f32, usize, &mut f32) + Sync,
) {
    /// Rows that share most of the rows about them.
    const BAND: usize = 64;
    let height = rows.len() / width.max(1);
    let arch = pulp::Arch::new();
    let bands = out.par_chunks_mut((BAND * width).max(1)).enumerate();
    bands.for_each(|(band, out)| {
        let mut blurred = [0.0_f32; RUN];
        for left in (0..width).step_by(RUN) {
            let right = (left + RUN).min(width);
            for (y, out) in (band * BAND..).zip(out.chunks_exact_mut(width)) {
                let blurred = &mut blurred[..right - left];
                blurred.fill(0.0);
                let run = |y: usize| &rows[y * width + left..y * width + right];
                arch.dispatch(|| {
                    for (i, weight) in kernel.iter().enumerate() {
                        let ends = [y.saturating_sub(i), (y + i).min(height - 1)];
                        add_both(blurred, ends.map(run), both(i) * weight);
                    }
                });
                for (n, (v, out)) in blurred.iter().zip(&mut out[left..right]).enumerate() {
                    put(*v, y * width + left + n, out);
                }
            }
        }
    });
}
