//! How finely the files of a merge hold its light.

use super::light::rounding;

/// Part of its range up to which a frame counts at a light: above, it nears clipping.
const USABLE: f32 = 0.8;

/// Rounding of all frames of a map.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Rounding {
    /// Radiance that saturates a frame, and the number of values its files store.
    frames: Vec<(f32, usize)>,
}

impl Rounding {
    /// Counts in a frame.
    pub(super) fn add(&mut self, saturates: f64, steps: usize) {
        self.frames.push((saturates as f32, steps));
    }

    /// Sigma of a radiance by rounding alone, of the frames that are not clipped there as if their errors were independent;
    /// 0 where all are.
    pub(crate) fn sigma(&self, light: f32) -> f32 {
        let usable = self.frames.iter().filter(|(top, _)| light < USABLE * top);
        let certainty: f64 = usable
            .map(|&(top, steps)| {
                let top = f64::from(top);
                let variance = rounding(f64::from(light.max(0.0)) / top, steps) * top * top;
                1.0 / variance.max(f64::MIN_POSITIVE)
            })
            .sum();
        if certainty > 0.0 {
            (1.0 / certainty).sqrt() as f32
        } else {
            0.0
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_longer_frame_and_more_bits_hold_faint_light_finer() {
        let mut one = Rounding::default();
        one.add(1.0, 256);
        // A step near black is 1/255/12.92 of the range.
        assert!((one.sigma(0.0) - 3.0351e-4 / 12.0_f32.sqrt()).abs() < 1e-7);
        let mut two = one.clone();
        two.add(0.01, 256);
        assert!(two.sigma(0.0) < 0.011 * one.sigma(0.0));
        assert!(
            (two.sigma(0.5) - one.sigma(0.5)).abs() < 1e-9,
            "the longer is clipped"
        );
        let mut fine = Rounding::default();
        fine.add(1.0, 65_536);
        assert!(fine.sigma(0.01) < 0.005 * one.sigma(0.01));
        assert!(one.sigma(2.0).abs() < 1e-12);
    }
}
