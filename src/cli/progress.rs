//! Bars on long work, on a terminal only.

use std::io::IsTerminal;
use std::sync::Mutex;
use std::sync::atomic::{AtomicBool, Ordering};

use contactstrip::pipeline::Watch;
use indicatif::{ProgressBar, ProgressStyle};

/// Set by an interrupt.
static INTERRUPTED: AtomicBool = AtomicBool::new(false);

/// Shows a bar for each long stage and notices an interrupt.
pub(crate) struct Bars {
    shown: bool,
    bar: Mutex<Option<ProgressBar>>,
}

impl Bars {
    /// Bars on standard error when it is a terminal and the person has not asked for quiet.
    pub(crate) fn new(quiet: bool) -> Self {
        Self {
            shown: !quiet && std::io::stderr().is_terminal(),
            bar: Mutex::new(None),
        }
    }

    /// Makes an interrupt end the run between two frames; a second one ends it at once.
    pub(crate) fn heed_interrupts() {
        // Without a handler the system's own default ends the program, which loses nothing: every write is atomic.
        let _ = ctrlc::set_handler(|| {
            if INTERRUPTED.swap(true, Ordering::SeqCst) {
                std::process::exit(130);
            }
        });
    }

    /// Whether the person interrupted the program.
    pub(crate) fn stopped() -> bool {
        INTERRUPTED.load(Ordering::SeqCst)
    }

    fn with_bar(&self, act: impl FnOnce(&mut Option<ProgressBar>)) {
        if let Ok(mut bar) = self.bar.lock() {
            act(&mut bar);
        }
    }
}

impl Watch for Bars {
    fn begin(&self, stage: &str, total: u64) {
        if !self.shown {
            return;
        }
        let style = ProgressStyle::with_template("{msg:22} {wide_bar} {pos}/{len} {eta:>5}")
            .unwrap_or_else(|_| ProgressStyle::default_bar());
        let fresh = ProgressBar::new(total).with_style(style);
        fresh.set_message(stage.to_owned());
        self.with_bar(|bar| *bar = Some(fresh));
    }

    fn advance(&self, by: u64) {
        self.with_bar(|bar| {
            if let Some(bar) = bar {
                bar.inc(by);
            }
        });
    }

    fn end(&self) {
        self.with_bar(|bar| {
            if let Some(bar) = bar.take() {
                bar.finish_and_clear();
            }
        });
    }

    fn interrupted(&self) -> bool {
        Self::stopped()
    }
}
