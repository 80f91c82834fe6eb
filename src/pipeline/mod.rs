//! The stages in order. The only room that knows them all; it never prints.

mod cameras;
mod change;
mod corona;
mod demo;
mod earlier;
mod error;
mod imprint;
mod join;
mod keepsake;
mod lapse;
mod layers;
mod light;
mod looking;
mod low_sun;
mod making;
mod out;
mod page;
mod recipes;
mod rehearse;
mod results;
mod scale;
mod science;
mod settings;
mod small_strip;
mod sort;
mod standing;
mod stills;
mod whereabouts;

use std::path::PathBuf;

pub use corona::{CORONA_EXR, CORONA_FITS, CORONA_PNG, CORONA_TIFF, CoronaWish};
pub use demo::{OUT_FOLDER, Score, demo, score};
pub use error::PipelineError;
pub use join::{JoinTask, join};
pub use lapse::TIME_LAPSE;
pub use layers::{CoronaLayers, LAYERS};
pub use looking::{Looked, course, look, thumb};
pub use making::{
    CLOCK_PLOT, ExportWish, MakingWish, StripWish, all, clock, export, export_chosen, merge, strip,
    undo_export,
};
pub use page::{REPORT_FILE, report};
pub use recipes::{RecipeName, RecipeNameError, RecipeNow, RecipeStep, recipe_step, recipes};
pub use rehearse::{Rehearsed, rehearse};
pub use science::{CoronaFrame, corona_header};
pub use settings::{Settings, Target};
pub use small_strip::{SmallDrawn, SmallStrip};
pub use sort::sort;
pub use stills::{FILM_STILLS, film};

use crate::catalogue::Catalogue;
use crate::domain::Notice;
pub use crate::model::{KnownClock, KnownClockError, ModelError, Unwatched, Watch};

/// Program and version, as written into the record and the pictures.
pub const PROGRAM: &str = concat!("contactstrip ", env!("CARGO_PKG_VERSION"));

/// What a command made.
#[derive(Clone, Debug, Default)]
pub struct Made {
    /// The record, where the command made or changed one.
    pub catalogue: Option<Catalogue>,
    /// Files written, or that would be written by a run that writes nothing.
    pub files: Vec<PathBuf>,
    /// What a person should know.
    pub notices: Vec<Notice>,
    /// Results to print.
    pub text: String,
    /// Results in detail, a line a file, to print where they are asked for.
    pub lines: String,
}

impl Made {
    /// Nothing made, one thing to tell.
    fn told(notice: Notice) -> Self {
        Self {
            notices: vec![notice],
            ..Self::default()
        }
    }

    /// The same with one thing more to tell.
    fn and_told(mut self, notice: Option<Notice>) -> Self {
        self.notices.extend(notice);
        self
    }

    /// Adds what a later stage made.
    fn join(&mut self, later: Self) {
        self.files.extend(later.files);
        self.notices.extend(later.notices);
        self.text.push_str(&later.text);
        self.lines.push_str(&later.lines);
        if later.catalogue.is_some() {
            self.catalogue = later.catalogue;
        }
    }
}
