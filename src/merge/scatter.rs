//! Noise of a stack, told from structure by what its frames do not share.
//!
//! The corona is the same in every frame, grain is not. So each frame is held against the mean of those before it: the
//! weighted square of what they differ by has the same expectation for every frame, whatever its exposure, when weights
//! are inverse variances (the running sum of squares after B. P. Welford 1962, "Note on a method for calculating corrected
//! sums of squares and products", Technometrics 4, 419, with weights after D. H. D. West 1979, Communications of the
//! ACM 22, 532). Steps between two pixels of a row are compared rather than pixels: a frame that is a hundredth brighter
//! than the others is no noise.

use rayon::prelude::*;

use super::light::{LEAST_GOOD, luminance};

/// Pixels on a side of the blocks that noise is told for (our choice: smaller than what streamers are apart; still some hundred
/// differences from two frames).
pub(super) const BLOCK_PX: usize = 8;

/// Pixels between the two places of a step: over fewer, demosaicing has made noise smooth.
const APART_PX: usize = 3;

/// Differences in a block that tell its noise (our choice: its sigma is then known to a tenth or so).
const ENOUGH: u32 = 40;

/// What the frames differed by in one block.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Tally {
    /// Sum of weighted squares.
    square: f64,
    /// How many.
    count: u32,
}

/// Empty tallies for a stack.
pub(super) fn tallies(width: usize, height: usize) -> Vec<Tally> {
    vec![Tally::default(); width.div_ceil(BLOCK_PX) * height.div_ceil(BLOCK_PX)]
}

/// Tallies cut into bands of `rows` rows of a stack `width` wide, a multiple of a block's; as many nothings where there are none.
pub(super) fn by_bands(
    tallies: &mut [Tally],
    width: usize,
    rows: usize,
    bands: usize,
) -> Vec<Option<&mut [Tally]>> {
    if tallies.is_empty() {
        return (0..bands).map(|_| None).collect();
    }
    let blocks = width.div_ceil(BLOCK_PX) * (rows / BLOCK_PX);
    tallies.chunks_mut(blocks).map(Some).collect()
}

/// Counts in a run of one row from `column` on: mean and weight there, the frame's value and weight. `blocks` begins with the
/// row's first block.
pub(super) fn count<'a>(
    blocks: &mut [Tally],
    column: usize,
    run: impl Iterator<Item = ((&'a [f32; 3], &'a f32), (&'a [f32; 4], &'a f32))>,
) {
    let mut before = [f32::NAN; APART_PX];
    for (i, ((mean, total), (value, weight))) in run.enumerate() {
        let good = *weight >= LEAST_GOOD && *total >= LEAST_GOOD;
        let [r, g, b, _] = *value;
        let off = if good {
            luminance([r, g, b]) - luminance(*mean)
        } else {
            f32::NAN
        };
        let step = off - std::mem::replace(&mut before[i % APART_PX], off);
        if !step.is_nan() {
            let block = &mut blocks[(column + i) / BLOCK_PX];
            let certainty = weight * total / (weight + total);
            block.square += f64::from(0.5 * step * step * certainty);
            block.count += 1;
        }
    }
}

/// Noise of a stack's means.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Scatter {
    /// Blocks across.
    across: usize,
    /// One sigma of luminance of one pixel in each block, row-major, in the unit of the means; 0 where frames do not tell.
    sigmas: Vec<f32>,
}

impl Scatter {
    /// Of a stack `width` wide with such weights.
    pub(super) fn of(width: usize, weights: &[f32], tallies: &[Tally]) -> Self {
        let across = width.div_ceil(BLOCK_PX);
        let sigma = |(i, tally): (usize, &Tally)| {
            let corner = [i % across * BLOCK_PX, i / across * BLOCK_PX];
            match mean_weight(width, weights, corner) {
                Some(weight) if tally.count >= ENOUGH => {
                    (tally.square / f64::from(tally.count) / weight).sqrt() as f32
                }
                _ => 0.0,
            }
        };
        Self {
            across,
            sigmas: tallies.par_iter().enumerate().map(sigma).collect(),
        }
    }

    /// The middle of each block that tells its noise, x right, y down, and that noise.
    pub(super) fn told(&self) -> impl Iterator<Item = ([usize; 2], f32)> {
        let all = self.sigmas.iter().enumerate().filter(|(_, s)| **s > 0.0);
        all.map(|(i, sigma)| {
            let block = [i % self.across, i / self.across];
            (block.map(|n| n * BLOCK_PX + BLOCK_PX / 2), *sigma)
        })
    }
}

/// Mean weight of the well exposed pixels of a block.
fn mean_weight(width: usize, weights: &[f32], [x0, y0]: [usize; 2]) -> Option<f64> {
    let (mut sum, mut count) = (0.0, 0);
    for row in weights.chunks(width).skip(y0).take(BLOCK_PX) {
        for w in &row[x0..(x0 + BLOCK_PX).min(width)] {
            if *w >= LEAST_GOOD {
                sum += f64::from(*w);
                count += 1;
            }
        }
    }
    (count > 0).then(|| sum / f64::from(count))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Even noise of unit variance from a small generator.
    fn noise(state: &mut u64) -> f32 {
        *state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1);
        let even = (*state >> 40) as f32 / (1_u64 << 24) as f32;
        (even - 0.5) * 12.0_f32.sqrt()
    }

    #[test]
    fn noise_is_told_whatever_the_structure_and_the_exposures() {
        let (width, height) = (64, 64);
        let mut tally = tallies(width, height);
        let (mut means, mut totals) = (vec![[0.0_f32; 3]; 4096], vec![0.0_f32; 4096]);
        let mut state = 5;
        // Weights are inverse variances of another unit: the noise is twice what they say.
        for (weight, gain) in [(1e4, 1.0), (4e4, 1.002), (1e4, 0.999), (16e4, 1.0)] {
            let sigma = 2.0 / f32::sqrt(weight);
            for y in 0..height {
                let values: Vec<[f32; 4]> = (0..width)
                    .map(|x| {
                        let structure = if (x / 5 + y / 7) % 2 == 0 { 1.0 } else { 0.6 };
                        let v = gain * structure + sigma * noise(&mut state);
                        [v, v, v, 0.0]
                    })
                    .collect();
                let row = y * width..(y + 1) * width;
                let pixels = means[row.clone()].iter().zip(&totals[row.clone()]);
                let weights = vec![weight; width];
                let across = width / BLOCK_PX;
                count(
                    &mut tally[y / BLOCK_PX * across..],
                    0,
                    pixels.zip(values.iter().zip(&weights)),
                );
                for (i, v) in row.zip(values) {
                    totals[i] += weight;
                    for (mean, v) in means[i].iter_mut().zip(v) {
                        *mean += (v - *mean) * weight / totals[i];
                    }
                }
            }
        }
        let scatter = Scatter::of(width, &totals, &tally);
        let due = 2.0 / f32::sqrt(22e4);
        let all: Vec<f32> = scatter.told().map(|(_, sigma)| sigma).collect();
        assert_eq!(all.len(), 64);
        let mean = all.iter().sum::<f32>() / 64.0;
        assert!((mean / due - 1.0).abs() < 0.05, "{mean} for {due}");
        assert!(all.iter().all(|s| (s / due - 1.0).abs() < 0.35));
    }

    #[test]
    fn one_frame_tells_nothing() {
        let tally = tallies(16, 8);
        let scatter = Scatter::of(16, &[1.0; 128], &tally);
        assert_eq!(scatter.told().count(), 0);
        assert_eq!(Scatter::of(16, &[1.0; 128], &[]).told().count(), 0);
    }
}
