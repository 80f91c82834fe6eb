//! Breakdowns of decoders and parsers stay where they happen, and stay quiet.

use std::cell::Cell;
use std::panic::{self, AssertUnwindSafe};
use std::sync::Once;

thread_local! {
    /// Whether this thread is inside [`contained`].
    static CONTAINED: Cell<bool> = const { Cell::new(false) };
}

static HOOK: Once = Once::new();

/// Runs `work` on data that may be damaged; `None` when it panicked.
///
/// Nothing reaches stderr. On the first call a panic hook is put before the one in force: it keeps silent for threads
/// inside this function and hands every other panic on. Threads that `work` itself starts are not covered.
pub fn contained<T>(work: impl FnOnce() -> T) -> Option<T> {
    HOOK.call_once(|| {
        let before = panic::take_hook();
        panic::set_hook(Box::new(move |info| {
            if !CONTAINED.get() {
                before(info);
            }
        }));
    });
    let outer = CONTAINED.replace(true);
    let outcome = panic::catch_unwind(AssertUnwindSafe(work));
    CONTAINED.set(outer);
    outcome.ok()
}

/// Keeps this thread quiet for good: all its panics are caught and none is news. The hook of [`contained`] does it.
#[cfg(feature = "raw")]
pub(super) fn quiet_thread() {
    CONTAINED.set(true);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_breakdown_is_no_answer() {
        assert_eq!(contained(|| 7), Some(7));
        let broken: Option<u8> = contained(|| panic!("broken on purpose"));
        assert_eq!(broken, None);
        assert!(!CONTAINED.get(), "later panics of this thread are heard");
    }
}
