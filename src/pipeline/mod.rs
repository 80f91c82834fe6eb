//! The stages in order. The only room that knows them all, and the only one with threads; it never prints.

mod clocks;
mod corona;
mod demo;
mod discs;
mod error;
mod hints;
mod intake;
mod keepsake;
mod kept;
mod lapse;
mod larder;
mod layers;
mod light;
mod making;
mod opening;
mod out;
mod page;
mod place;
mod record;
mod rehearse;
mod roles;
mod scale;
mod settings;
mod sort;
mod watch;
mod zoom;

use std::path::PathBuf;

pub use corona::{CORONA_EXR, CORONA_PNG, CORONA_TIFF, CoronaWish};
pub use demo::{OUT_FOLDER, Score, demo, score};
pub use error::PipelineError;
pub use lapse::TIME_LAPSE;
pub use layers::{CoronaLayers, LAYERS};
pub use making::{
    CLOCK_PLOT, ExportWish, MakingWish, StripWish, all, clock, export, merge, strip, undo_export,
};
pub use page::{REPORT_FILE, report};
pub use rehearse::rehearse;
pub use settings::{KnownClock, KnownClockError, Settings};
pub use sort::sort;
pub use watch::{Unwatched, Watch};

use crate::catalogue::Catalogue;
use crate::domain::Notice;

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
}

impl Made {
    /// Nothing made, one thing to tell.
    fn told(notice: Notice) -> Self {
        Self {
            notices: vec![notice],
            ..Self::default()
        }
    }

    /// Adds what a later stage made.
    fn join(&mut self, later: Self) {
        self.files.extend(later.files);
        self.notices.extend(later.notices);
        self.text.push_str(&later.text);
        if later.catalogue.is_some() {
            self.catalogue = later.catalogue;
        }
    }
}
