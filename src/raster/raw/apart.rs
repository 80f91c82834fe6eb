//! Work on threads of its own.

use std::sync::{LazyLock, mpsc};

use rayon::{ThreadPool, ThreadPoolBuilder};

use crate::raster::contain::{contained, quiet_thread};

/// Stack of each thread, in bytes: the library's tables for packed values live on it.
const STACK_BYTES: usize = 8 << 20;

static THREADS: LazyLock<Option<ThreadPool>> = LazyLock::new(|| {
    ThreadPoolBuilder::new()
        .num_threads(rayon::current_num_threads())
        .stack_size(STACK_BYTES)
        .start_handler(|_| quiet_thread())
        .thread_name(|index| format!("raw {index}"))
        .build()
        .ok()
});

/// Runs `work`, and all that it spreads with rayon, on threads apart; `None` when it panicked.
///
/// The calling thread sleeps meanwhile. Would it wait inside its own pool it would take up further frames, each with
/// its own tens of megabytes, before the first is done.
pub(super) fn apart<T: Send + 'static>(work: impl FnOnce() -> T + Send + 'static) -> Option<T> {
    let Some(threads) = THREADS.as_ref() else {
        return contained(work);
    };
    let (send, receive) = mpsc::channel();
    threads.spawn(move || {
        // Nobody listens only when the caller is gone, and then nobody cares.
        let _ = send.send(contained(work));
    });
    receive.recv().ok().flatten()
}

#[cfg(test)]
mod tests {
    use rayon::prelude::*;

    use super::*;

    #[test]
    fn a_breakdown_on_any_thread_is_no_answer() {
        let broken = apart(|| {
            (0..1000_u32)
                .into_par_iter()
                .map(|n| if n == 700 { panic!("on purpose") } else { n })
                .sum::<u32>()
        });
        assert_eq!(broken, None);
        assert_eq!(apart(|| 7), Some(7));
    }

    #[test]
    fn many_callers_wait_in_line() {
        let answers: Vec<Option<usize>> = (0..64_usize)
            .into_par_iter()
            .map(|n| apart(move || (0..n).into_par_iter().sum()))
            .collect();
        assert!(
            answers
                .iter()
                .enumerate()
                .all(|(n, sum)| *sum == Some(n * n.saturating_sub(1) / 2))
        );
    }
}
