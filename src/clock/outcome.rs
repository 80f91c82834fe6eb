//! What comes out for one body's clock.

use super::posterior::Peak;
use crate::domain::{ClockCorrection, ClockMistake};

/// The clock that came out.
pub(super) struct Judged {
    pub(super) clock: ClockCorrection,
    /// The whole error taken apart.
    pub(super) mistake: ClockMistake,
    /// How it came about.
    pub(super) outcome: Outcome,
}

/// How a clock came about.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Outcome {
    /// The person gave it.
    Given,
    /// Nothing told; the camera is taken at its word.
    Word,
    /// The pictures told; where they left more than one time, the others.
    Solved(Vec<Peak>),
}
