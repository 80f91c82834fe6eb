//! Normal equations of least squares in a few unknowns.

use nalgebra::{SMatrix, SVector};

/// The sums over the rows of a least-squares problem in `N` unknowns: weighted products of the rows with one another and with their
/// values. The unknowns' units are the caller's, and so are those of the weights, one over the variance of a value where the
/// covariance is to be read off.
///
/// Source: A. Bjorck 1996, "Numerical Methods for Least Squares Problems", sect. 2.2.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct NormalEquations<const N: usize> {
    /// The matrix of the unknowns: the inverse of their covariance.
    pub(crate) matrix: SMatrix<f64, N, N>,
    /// The right side.
    pub(crate) right: SVector<f64, N>,
}

impl<const N: usize> NormalEquations<N> {
    /// Without any row.
    pub(crate) fn zeros() -> Self {
        Self {
            matrix: SMatrix::zeros(),
            right: SVector::zeros(),
        }
    }

    /// Adds a row: `row . unknowns` should be `value`.
    pub(crate) fn add(&mut self, row: &SVector<f64, N>, value: f64, weight: f64) {
        self.matrix += row * row.transpose() * weight;
        self.right += row * (value * weight);
    }

    /// Draws all unknowns towards 0 with a weight (A. E. Hoerl, R. W. Kennard 1970, "Ridge regression", Technometrics 12, 55).
    pub(crate) fn draw_to_zero(&mut self, weight: f64) {
        self.matrix += SMatrix::identity() * weight;
    }

    /// The unknowns; `None` where the rows do not tell them apart.
    pub(crate) fn solution(&self) -> Option<SVector<f64, N>> {
        Some(self.matrix.cholesky()?.solve(&self.right))
    }

    /// The unknowns with each held back in proportion to its own weight, for a step that must not go too far.
    ///
    /// Source: D. W. Marquardt 1963, "An algorithm for least-squares estimation of nonlinear parameters", J. SIAM 11, 431.
    pub(crate) fn damped(&self, damping: f64) -> Option<SVector<f64, N>> {
        let mut damped = *self;
        for i in 0..N {
            damped.matrix[(i, i)] += damping * self.matrix[(i, i)].max(LEAST_WEIGHT);
        }
        damped.solution()
    }

    /// Covariance of the unknowns for weights of one over the variance; `None` where the rows do not tell them apart.
    pub(crate) fn covariance(&self) -> Option<SMatrix<f64, N, N>> {
        self.matrix.try_inverse()
    }
}

/// Weight an unknown is taken to have where no row speaks of it, so that damping holds it too.
const LEAST_WEIGHT: f64 = 1e-12;

#[cfg(test)]
mod tests {
    use nalgebra::Vector2;

    use super::*;

    /// A line through three points by hand: y = 1 + 2 x, the last point counting twice as much.
    fn line() -> NormalEquations<2> {
        let mut sums = NormalEquations::zeros();
        for (x, y, weight) in [(0.0, 1.0, 1.0), (1.0, 3.0, 1.0), (2.0, 5.0, 2.0)] {
            sums.add(&Vector2::new(1.0, x), y, weight);
        }
        sums
    }

    #[test]
    fn a_line_is_found_with_its_errors() {
        let sums = line();
        let found = sums.solution().unwrap();
        assert!((found - Vector2::new(1.0, 2.0)).amax() < 1e-12, "{found}");
        // By hand: matrix (4, 5; 5, 9), determinant 11.
        let covariance = sums.covariance().unwrap();
        assert!((covariance[(0, 0)] - 9.0 / 11.0).abs() < 1e-12);
        assert!((covariance[(1, 1)] - 4.0 / 11.0).abs() < 1e-12);
    }

    #[test]
    fn damping_shortens_and_lifts_nothing() {
        let (free, damped) = (line().solution().unwrap(), line().damped(1.0).unwrap());
        assert!(damped.norm() < free.norm());
        let mut silent = NormalEquations::<2>::zeros();
        silent.add(&Vector2::new(1.0, 0.0), 3.0, 1.0);
        assert_eq!(silent.solution(), None);
        assert_eq!(silent.damped(1e-3).map(|step| step[1]), Some(0.0));
    }

    #[test]
    fn a_ridge_draws_towards_nothing() {
        let mut sums = NormalEquations::zeros();
        sums.add(&nalgebra::Vector1::new(1.0), 4.0, 1.0);
        sums.draw_to_zero(1.0);
        let found = sums.solution().unwrap()[0];
        assert!((found - 2.0).abs() < 1e-12, "{found}");
    }
}
