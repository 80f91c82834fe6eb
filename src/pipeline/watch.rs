//! Telling the outside how far a run is, without printing.

/// Listens to a run. All methods may be called from several threads.
pub trait Watch: Sync {
    /// A stage of `total` steps begins.
    fn begin(&self, stage: &str, total: u64);
    /// `by` steps are done.
    fn advance(&self, by: u64);
    /// The stage is over.
    fn end(&self);
    /// Whether the run should stop at the next frame.
    fn interrupted(&self) -> bool {
        false
    }
}

/// Listens to nothing.
pub struct Unwatched;

impl Watch for Unwatched {
    fn begin(&self, _stage: &str, _total: u64) {}
    fn advance(&self, _by: u64) {}
    fn end(&self) {}
}
