//! What a person may ask of a proposal, and its bounds.

/// Most frames either side when the person does not say: more make discs too small for a print a yard wide.
pub(super) const MOST_EACH_SIDE: usize = 16;

/// Frames closer together than this are one moment: a bracket, or a burst of tries.
pub(super) const MOMENT_S: f64 = 30.0;

/// What frames are evenly spaced in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum By {
    /// Time.
    #[default]
    Time,
    /// Covered fraction of the Sun's area.
    Obscuration,
}

/// What the person asks of a proposal.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Wish {
    /// Frames either side of the middle; `None` takes all that fit.
    pub each_side: Option<usize>,
    /// What they are evenly spaced in.
    pub by: By,
}
