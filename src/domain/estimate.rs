//! Measured values with their uncertainties.

use serde::{Deserialize, Serialize};

use super::statistics::{SIGMAS_PER_MAD, median};

/// A value and its one-sigma uncertainty, in the unit its name says.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Estimate {
    /// The value.
    pub value: f64,
    /// One sigma of it, not negative.
    pub sigma: f64,
}

impl Estimate {
    /// A value with its one sigma.
    pub const fn new(value: f64, sigma: f64) -> Self {
        Self { value, sigma }
    }

    /// A value whose one sigma is a share of it.
    pub fn relative(value: f64, share: f64) -> Self {
        Self::new(value, share * value.abs())
    }

    /// Value and one sigma.
    pub const fn pair(self) -> (f64, f64) {
        (self.value, self.sigma)
    }

    /// The middle of some values that scatter about one, with the scatter of a single value as its one sigma (1.4826 times the
    /// median departure, a Gaussian's sigma); `None` without any.
    ///
    /// Source: F. R. Hampel 1974, "The influence curve and its role in robust estimation", J. Am. Stat. Assoc. 69, 383.
    pub fn middle_of(mut values: Vec<f64>) -> Option<Self> {
        let value = median(&mut values)?;
        for one in &mut values {
            *one = (*one - value).abs();
        }
        Some(Self::new(value, SIGMAS_PER_MAD * median(&mut values)?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_middle_and_its_scatter_do_not_follow_a_stray() {
        let all = Estimate::middle_of(vec![5.0, 4.0, 6.0, 5.5, 900.0]).unwrap();
        assert_eq!(all, Estimate::new(5.5, 1.4826 * 0.5));
        assert_eq!(
            Estimate::middle_of(vec![1.0, 3.0]),
            Some(Estimate::new(2.0, 1.4826))
        );
        assert_eq!(Estimate::middle_of(Vec::new()), None);
    }

    #[test]
    fn a_share_of_a_value_is_no_negative_sigma() {
        assert_eq!(Estimate::relative(-200.0, 0.01).pair(), (-200.0, 2.0));
    }
}
