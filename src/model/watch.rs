//! Telling the outside how far a run is, without printing.

use std::sync::atomic::{AtomicUsize, Ordering};

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

/// A stage for rooms that tell how many steps of how many are done: it begins with the first word from the room. Whoever
/// calls the room ends it.
pub(crate) fn counted<'a>(
    watch: &'a dyn Watch,
    stage: &'a str,
) -> impl Fn(usize, usize) + Sync + 'a {
    let told = AtomicUsize::new(0);
    move |done, total| {
        let before = told.fetch_max(done, Ordering::Relaxed);
        if before == 0 {
            watch.begin(stage, total as u64);
        }
        watch.advance(done.saturating_sub(before) as u64);
    }
}

/// Listens to nothing.
pub struct Unwatched;

impl Watch for Unwatched {
    fn begin(&self, _stage: &str, _total: u64) {}
    fn advance(&self, _by: u64) {}
    fn end(&self) {}
}
