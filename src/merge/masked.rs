//! Means about each place of a picture some of whose places do not count.

use rayon::prelude::*;

use super::blur::blur;

/// A blurred picture, kept as small as its blur allows.
pub(super) struct Masked {
    /// Pixels of the picture on a side of each value.
    step: usize,
    width: usize,
    height: usize,
    values: Vec<f32>,
}

impl Masked {
    /// Gaussian mean, of `sigma_px`, of the places that have a value; 0 where none is near.
    pub(super) fn blurred(
        size: [usize; 2],
        sigma_px: f64,
        value: impl Fn(usize, usize) -> Option<f32> + Sync,
    ) -> Self {
        // Three values a sigma hold all that is left of a picture after a Gaussian.
        let step = (sigma_px / 3.0).floor().clamp(1.0, 16.0) as usize;
        let [width, height] = size.map(|n| n.div_ceil(step));
        let mut sums = vec![0.0_f32; width * height];
        let mut counts = vec![0.0_f32; width * height];
        let rows = sums.par_chunks_mut(width.max(1));
        let rows = rows.zip(counts.par_chunks_mut(width.max(1))).enumerate();
        rows.for_each(|(j, (sums, counts))| {
            for y in j * step..((j + 1) * step).min(size[1]) {
                for x in 0..size[0] {
                    if let Some(v) = value(x, y) {
                        sums[x / step] += v;
                        counts[x / step] += 1.0;
                    }
                }
            }
        });
        let sigma = sigma_px / step as f64;
        let over = blur(&sums, width, sigma);
        drop(sums);
        let under = blur(&counts, width, sigma);
        let least = 1e-3 * (step * step) as f32;
        let values = over.into_iter().zip(under);
        Self {
            step,
            width,
            height,
            values: values
                .map(|(o, u)| if u > least { o / u } else { 0.0 })
                .collect(),
        }
    }

    /// The mean about a pixel of the picture, between the four nearest values.
    pub(super) fn at(&self, x: usize, y: usize) -> f32 {
        let along = |v: usize, n: usize| {
            let at = (v as f32 + 0.5) / self.step as f32 - 0.5;
            let at = at.clamp(0.0, (n - 1) as f32);
            (at as usize, (at as usize + 1).min(n - 1), at.fract())
        };
        let (x0, x1, fx) = along(x, self.width);
        let (y0, y1, fy) = along(y, self.height);
        let at = |x: usize, y: usize| self.values[y * self.width + x];
        let top = at(x0, y0) + (at(x1, y0) - at(x0, y0)) * fx;
        let low = at(x0, y1) + (at(x1, y1) - at(x0, y1)) * fx;
        top + (low - top) * fy
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slope_stays_and_gaps_do_not_count() {
        for sigma in [1.0, 7.0, 20.0] {
            let value = |x: usize, y: usize| {
                let gap = x.abs_diff(60) < 3 && y.abs_diff(50) < 3;
                (!gap).then_some(x as f32 + 2.0 * y as f32)
            };
            let mean = Masked::blurred([200, 180], sigma, value);
            // The last one is the middle of the gap, where what is missing on either side cancels.
            for (x, y) in [(90, 90), (101, 77), (60, 50)] {
                let due = x as f32 + 2.0 * y as f32;
                assert!((mean.at(x, y) - due).abs() < 1.0, "{sigma} {x} {y}");
            }
        }
        let nothing = Masked::blurred([9, 7], 2.0, |_, _| None);
        assert!(nothing.at(4, 3).abs() < 1e-9);
    }
}
