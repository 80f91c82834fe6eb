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
    let sums = ring_sums(image, ring);
    let mut out = image.clone();
    for y in 0..image.height() {
        for (x, v) in out.row_mut(y).iter_mut().enumerate() {
            *v = match ring(x, y).and_then(|i| sums.get(i)) {
                Some([n, mean, spread]) if *n > 0.0 => {
                    let off = f64::from(*v) - mean;
                    (if *spread > 0.0 { off / spread } else { off }) as f32
                }
                _ => f32::NAN,
            };
        }
    }
    out
}

/// Count, mean and standard deviation of every ring, in two passes.
fn ring_sums(image: &LinearImage, ring: impl Fn(usize, usize) -> Option<usize>) -> Vec<[f64; 3]> {
    let mut out: Vec<[f64; 3]> = Vec::new();
    let each = |out: &mut Vec<[f64; 3]>, add: &dyn Fn(&mut [f64; 3], f64)| {
        for y in 0..image.height() {
            for (x, v) in image.row(y).iter().enumerate() {
                if let Some(i) = ring(x, y).filter(|_| v.is_finite()) {
                    if i >= out.len() {
                        out.resize(i + 1, [0.0; 3]);
                    }
                    add(&mut out[i], f64::from(*v));
                }
            }
        }
    };
    each(&mut out, &|ring, v| {
        ring[0] += 1.0;
        ring[1] += v;
    });
    for ring in &mut out {
        ring[1] /= ring[0].max(1.0);
    }
    each(&mut out, &|ring, v| ring[2] += (v - ring[1]).powi(2));
    for ring in &mut out {
        ring[2] = (ring[2] / ring[0].max(1.0)).sqrt();
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
    let data: Vec<f32> = image
        .data()
        .iter()
        .map(|v| if v.is_finite() && *v > 0.0 { *v } else { 1e-15 })
        .collect();
    let mut sum = vec![0.0_f32; data.len()];
    for &sigma in &options.sigmas_px {
        let kernel = kernel(sigma);
        let base = gaussian(&data, width, &kernel);
        let off: Vec<f32> = data.iter().zip(&base).map(|(v, b)| v - b).collect();
        let squares: Vec<f32> = off.iter().map(|v| v * v).collect();
        let spread = gaussian(&squares, width, &kernel);
        for ((sum, off), spread) in sum.iter_mut().zip(&off).zip(&spread) {
            let spread = if *spread > 0.0 { spread.sqrt() } else { 1.0 };
            *sum += (off / spread * options.k as f32).atan();
        }
    }
    let least = data.iter().copied().fold(f32::INFINITY, f32::min);
    let most = data.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    let range = if most > least { most - least } else { 1.0 };
    let scale = (1.0 - options.h) / options.sigmas_px.len().max(1) as f64;
    let out = data
        .iter()
        .zip(&sum)
        .map(|(v, s)| {
            let global = f64::from((v - least) / range).powf(1.0 / options.gamma);
            (options.h * global + scale * f64::from(*s)) as f32
        })
        .collect();
    LinearImage::from_data(width, image.height(), out)
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

/// Blurs rows, then columns; the edge values hold beyond the edges.
fn gaussian(data: &[f32], width: usize, kernel: &[f32]) -> Vec<f32> {
    if data.is_empty() {
        return Vec::new();
    }
    let mut rows = vec![0.0_f32; data.len()];
    rows.par_chunks_mut(width)
        .zip(data.par_chunks(width))
        .for_each(|(to, from)| blur_row(from, to, kernel));
    let height = data.len() / width;
    let mut out = vec![0.0_f32; data.len()];
    out.par_chunks_mut(width).enumerate().for_each(|(y, to)| {
        for (i, weight) in kernel.iter().enumerate() {
            let above = y.saturating_sub(i) * width;
            let below = (y + i).min(height - 1) * width;
            let both = if i == 0 { 0.5 } else { 1.0 };
            for ((to, a), b) in to
                .iter_mut()
                .zip(&rows[above..above + width])
                .zip(&rows[below..below + width])
            {
                *to += weight * both * (a + b);
            }
        }
    });
    out
}

fn blur_row(from: &[f32], to: &mut [f32], kernel: &[f32]) {
    let last = from.len() - 1;
    for (x, to) in to.iter_mut().enumerate() {
        let mut sum = kernel[0] * from[x];
        for (i, weight) in kernel.iter().enumerate().skip(1) {
            sum += weight * (from[x.saturating_sub(i)] + from[(x + i).min(last)]);
        }
        *to = sum;
    }
}
