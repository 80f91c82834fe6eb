//! Medians and other places in a ranking.

use std::cmp::Ordering;

/// Standard deviation of a Gaussian over its median departure: `1/Phi^-1(3/4)`.
pub(crate) const SIGMAS_PER_MAD: f64 = 1.4826;

/// Numbers in the total order of IEEE 754-2019, sect. 5.10, in which NaNs have their places too.
pub trait Ranked: Copy {
    /// How two of them stand to each other.
    fn order(&self, other: &Self) -> Ordering;
}

impl Ranked for f32 {
    fn order(&self, other: &Self) -> Ordering {
        self.total_cmp(other)
    }
}

impl Ranked for f64 {
    fn order(&self, other: &Self) -> Ordering {
        self.total_cmp(other)
    }
}

/// The median, the mean of the two middle values where their number is even; sorts the values. `None` without any.
pub fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    match values.len() {
        0 => None,
        n if n % 2 == 1 => Some(values[n / 2]),
        n => Some(0.5 * (values[n / 2 - 1] + values[n / 2])),
    }
}

/// The value at a part of the ranking, 0 the least and 1 the greatest: one of the values, the upper where two are as near; leaves
/// them in another order. `None` without any.
pub fn quantile<T: Ranked>(values: &mut [T], part: f64) -> Option<T> {
    let last = values.len().checked_sub(1)?;
    let rank = ((values.len() as f64 * part) as usize).min(last);
    Some(*values.select_nth_unstable_by(rank, T::order).1)
}

/// The middle value, the upper of the two where their number is even, so that it is always one of them; leaves them in another
/// order. `None` without any.
pub fn upper_median<T: Ranked>(values: &mut [T]) -> Option<T> {
    quantile(values, 0.5)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn medians_of_an_even_number() {
        let values = || vec![4.0, 1.0, 3.0, 2.0];
        assert_eq!(median(&mut values()), Some(2.5));
        assert_eq!(upper_median(&mut values()), Some(3.0));
        assert_eq!(median(&mut []), None);
        assert_eq!(upper_median::<f32>(&mut []), None);
    }

    #[test]
    fn quantiles_stand_where_sorting_puts_them() {
        let values: Vec<f64> = (0..37).map(|i| f64::from(i * 23 % 37)).collect();
        for (part, value) in [
            (0.0, 0.0),
            (0.1, 3.0),
            (0.5, 18.0),
            (0.9, 33.0),
            (1.0, 36.0),
        ] {
            assert_eq!(quantile(&mut values.clone(), part), Some(value), "{part}");
        }
    }
}
