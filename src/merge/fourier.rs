//! Square pictures to and from spatial frequencies.

use std::sync::Arc;

use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftPlanner};

/// Transforms for one size.
pub(crate) struct Square {
    side: usize,
    forward: Arc<dyn Fft<f32>>,
    inverse: Arc<dyn Fft<f32>>,
}

impl Square {
    /// Transforms for pictures of `side` by `side` values.
    pub(crate) fn new(side: usize) -> Self {
        let mut planner = FftPlanner::new();
        Self {
            side,
            forward: planner.plan_fft_forward(side),
            inverse: planner.plan_fft_inverse(side),
        }
    }

    /// Frequencies of a picture, transposed (column frequency first): fine for products, undone by [`Self::back`].
    pub(crate) fn there(&self, picture: &[f32]) -> Vec<Complex32> {
        let mut data: Vec<Complex32> = picture.iter().map(|&v| Complex32::new(v, 0.0)).collect();
        self.both(&mut data, self.forward.as_ref());
        data
    }

    /// The picture of transposed frequencies, not divided by the number of values.
    pub(crate) fn back(&self, mut data: Vec<Complex32>) -> Vec<f32> {
        self.both(&mut data, self.inverse.as_ref());
        data.iter().map(|v| v.re).collect()
    }

    fn both(&self, data: &mut Vec<Complex32>, fft: &dyn Fft<f32>) {
        fft.process(data);
        *data = transposed(data, self.side);
        fft.process(data);
    }
}

fn transposed(data: &[Complex32], side: usize) -> Vec<Complex32> {
    /// Values on a side of the squares moved at once, to stay in the cache.
    const TILE: usize = 32;
    let mut out = vec![Complex32::default(); data.len()];
    for y0 in (0..side).step_by(TILE) {
        for x0 in (0..side).step_by(TILE) {
            for y in y0..(y0 + TILE).min(side) {
                for x in x0..(x0 + TILE).min(side) {
                    out[x * side + y] = data[y * side + x];
                }
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back_gives_the_picture() {
        let picture: Vec<f32> = (0..64).map(|i| ((i * 37) % 11) as f32).collect();
        let square = Square::new(8);
        let again = square.back(square.there(&picture));
        for (a, b) in picture.iter().zip(again) {
            assert!((a - b / 64.0).abs() < 1e-4);
        }
    }
}
