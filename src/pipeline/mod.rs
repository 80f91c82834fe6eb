//! The stages in order. The only room that knows them all, and the only one with threads; it never prints.

mod out;
mod settings;
mod watch;

use std::path::PathBuf;

pub use settings::{KnownClock, KnownClockError, Settings};
pub use watch::{Unwatched, Watch};

/// A run that could not be done. Trouble with single files is a notice instead.
#[derive(Debug, thiserror::Error)]
pub enum PipelineError {
    /// Results would land on the card.
    #[error("the results folder {} lies inside the card {}, which is never written to\n  try: -o with a folder elsewhere", .out.display(), .card.display())]
    OutInsideCard {
        /// The card.
        card: PathBuf,
        /// The results folder.
        out: PathBuf,
    },
    /// The card lies in the results.
    #[error("the card {} lies inside the results folder {}\n  try: -o with a folder elsewhere", .card.display(), .out.display())]
    CardInsideOut {
        /// The card.
        card: PathBuf,
        /// The results folder.
        out: PathBuf,
    },
    /// Results cannot be written.
    #[error("cannot write to the results folder {}: {cause}\n  try: -o with a folder you may write to, on a disk with space", .out.display())]
    OutNotWritable {
        /// The folder.
        out: PathBuf,
        /// Why.
        #[source]
        cause: std::io::Error,
    },
    /// Another run uses the folder.
    #[error("another run is working on {}; nothing was done\n  try: again when it has ended, or -o with another folder", .0.display())]
    OutBusy(PathBuf),
    /// The person stopped it.
    #[error("interrupted; what was finished is kept, the same command goes on from there")]
    Interrupted,
}
