//! What takes longer: one piece of work at a time, with how far it is.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use serde::{Deserialize, Serialize};

use crate::domain::{Severity, in_line};
use crate::pipeline::{
    self, CoronaWish, ExportWish, Made, PipelineError, RecipeName, RecipeStep, StripWish, Target,
    Watch,
};

/// Notices told of one piece of work.
const MOST_LINES: usize = 30;

/// Work the page asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub(super) enum Ask {
    /// Draw the strip at full size.
    Strip,
    /// Merge the corona.
    Merge,
    /// Copy frames into a folder, or link them.
    Export { frames: Frames, link: bool },
    /// Write the report.
    Report,
}

/// Which frames.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Frames {
    /// Those of the strip.
    Strip,
    /// Those set aside.
    Aside,
}

/// How far the work is.
#[derive(Clone, Debug, Default, Serialize)]
pub(super) struct State {
    /// Pieces of work begun so far.
    count: u64,
    running: bool,
    stage: String,
    done: u64,
    total: u64,
    /// Whether the last one did what it should.
    good: bool,
    /// What there is to tell of it.
    lines: Vec<String>,
    /// Names of files written, below OUT.
    files: Vec<String>,
}

/// The work of one server.
#[derive(Debug, Default)]
pub(super) struct Work {
    state: Mutex<State>,
    stop: AtomicBool,
}

impl Watch for Work {
    fn begin(&self, stage: &str, total: u64) {
        let mut state = self.held();
        (state.stage, state.done, state.total) = (stage.to_owned(), 0, total);
    }

    fn advance(&self, by: u64) {
        self.held().done += by;
    }

    fn end(&self) {
        let mut state = self.held();
        state.done = state.total;
    }

    fn interrupted(&self) -> bool {
        self.stop.load(Ordering::SeqCst)
    }
}

impl Work {
    fn held(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// How far it is now.
    pub(super) fn state(&self) -> State {
        self.held().clone()
    }

    /// Ends it at the next frame.
    pub(super) fn stop(&self) {
        self.stop.store(true, Ordering::SeqCst);
    }

    /// Whether there is some.
    pub(super) fn running(&self) -> bool {
        self.held().running
    }

    /// Begins a piece of work on a thread of its own; `false` while there is another. `after` is called when it is over.
    pub(super) fn begin_on(
        self: &Arc<Self>,
        target: Target,
        recipe: RecipeName,
        ask: Ask,
        after: impl FnOnce() + Send + 'static,
    ) -> bool {
        {
            let mut state = self.held();
            if state.running {
                return false;
            }
            let count = state.count + 1;
            *state = State {
                count,
                running: true,
                ..State::default()
            };
            self.stop.store(false, Ordering::SeqCst);
        }
        let work = Arc::clone(self);
        std::thread::spawn(move || {
            // Whatever happens in it, the page must learn that it is over.
            let made = catch_unwind(AssertUnwindSafe(|| done(&target, &recipe, ask, &*work)));
            after();
            work.over(&target.out, made.ok());
        });
        true
    }

    fn over(&self, out: &Path, made: Option<Result<Made, PipelineError>>) {
        let mut state = self.held();
        state.running = false;
        match made {
            Some(Ok(made)) => {
                let below = |path: &std::path::PathBuf| {
                    let path = path.strip_prefix(out).unwrap_or(path);
                    in_line(&path.to_string_lossy()).into_owned()
                };
                state.good = true;
                state.files = made.files.iter().map(below).collect();
                let mut notices = made.notices;
                notices.sort_by_key(|n| std::cmp::Reverse(n.severity == Severity::Look));
                let told = notices.iter().map(|n| in_line(&n.to_string()).into_owned());
                state.lines = told.take(MOST_LINES).collect();
            }
            Some(Err(error)) => {
                state.lines = error
                    .to_string()
                    .lines()
                    .map(|line| in_line(line).into_owned())
                    .collect()
            }
            None => {
                state.lines =
                    vec!["it ended by a fault of the program; nothing was left half-written".into()]
            }
        }
    }
}

fn done(
    target: &Target,
    recipe: &RecipeName,
    ask: Ask,
    watch: &dyn Watch,
) -> Result<Made, PipelineError> {
    match ask {
        Ask::Strip => {
            let wish = StripWish {
                recipe: recipe.clone(),
                ..StripWish::default()
            };
            pipeline::strip(target, &wish, watch)
        }
        Ask::Merge => pipeline::merge(target, &CoronaWish::default(), watch),
        Ask::Report => pipeline::report(target, watch),
        Ask::Export { frames, link } => {
            let wish = ExportWish {
                link,
                ..ExportWish::default()
            };
            let names = names(target, recipe, frames)?;
            pipeline::export_chosen(target, &names, &wish, watch)
        }
    }
}

fn names(
    target: &Target,
    recipe: &RecipeName,
    frames: Frames,
) -> Result<Vec<String>, PipelineError> {
    let catalogue = pipeline::look(target)?.catalogue;
    let now = pipeline::recipe_step(&catalogue, &target.out, recipe, &RecipeStep::Read)?;
    Ok(match frames {
        Frames::Strip => now.recipe.frames().map(str::to_owned).collect(),
        Frames::Aside => now.recipe.aside,
    })
}
