//! Runs that could not be done.

use std::path::PathBuf;

use crate::catalogue::{CatalogueError, WriteError};
use crate::demo::DemoError;
use crate::domain::Shown;
use crate::export::ExportError;
use crate::join::JoinError;
use crate::model::ModelError;
use crate::strip::{EditError, RecipeError, StripError};

/// A run that could not be done. Trouble with single files is a notice instead.
#[derive(Debug, thiserror::Error)]
pub enum PipelineError {
    /// Stills were asked for and there is no ffmpeg.
    #[error(
        "no ffmpeg on the path, which takes the stills from films\n  try: install it (Debian, Ubuntu: apt install ffmpeg; macOS: brew install ffmpeg; Windows: winget install ffmpeg) and run this again"
    )]
    NoFfmpeg,
    /// Results would land on the card.
    #[error("the results folder {out} lies inside the card {card}, which is never written to\n  try: -o with a folder elsewhere", out = Shown(.out), card = Shown(.card))]
    OutInsideCard {
        /// The card.
        card: PathBuf,
        /// The results folder.
        out: PathBuf,
    },
    /// The card lies in the results.
    #[error("the card {card} lies inside the results folder {out}\n  try: -o with a folder elsewhere", out = Shown(.out), card = Shown(.card))]
    CardInsideOut {
        /// The card.
        card: PathBuf,
        /// The results folder.
        out: PathBuf,
    },
    /// Results cannot be written.
    #[error("cannot write to the results folder {out}: {cause}\n  try: {advice}", out = Shown(.out))]
    OutNotWritable {
        /// The folder.
        out: PathBuf,
        /// Why.
        #[source]
        cause: std::io::Error,
        /// What to try.
        advice: &'static str,
    },
    /// Another run uses the folder.
    #[error("another run is working on {out}; nothing was done\n  try: {advice}", out = Shown(.out))]
    OutBusy {
        /// The folder.
        out: PathBuf,
        /// What to try.
        advice: &'static str,
    },
    /// The results are those of another card.
    #[error(
        "the results folder {out} is that of another card: none of the {pictures} pictures it knows is on this one; nothing was written\n  its card: {theirs}\n  this card: {ours}\n  try: -o with another folder",
        out = Shown(.out), theirs = listed(.theirs), ours = listed(.ours)
    )]
    OutOfAnotherCard {
        /// The folder.
        out: PathBuf,
        /// The cards its record was made from.
        theirs: Vec<PathBuf>,
        /// The cards just read.
        ours: Vec<PathBuf>,
        /// Pictures the record knows.
        pictures: usize,
    },
    /// The folder given as the card is not the record's.
    #[error(
        "{card} is not the card of {out}: none of the pictures its record knows is there\n  its card: {cards}\n  try: --card with the folder that holds those pictures now",
        card = Shown(.card), out = Shown(.out), cards = listed(.cards)
    )]
    NotTheCard {
        /// The folder given.
        card: PathBuf,
        /// The results.
        out: PathBuf,
        /// The cards of the record.
        cards: Vec<PathBuf>,
    },
    /// The results are those of several cards joined.
    #[error("the results folder {out} is of several cards joined; nothing was written\n  try: -o with another folder", out = Shown(.0))]
    OutIsJoined(PathBuf),
    /// Cards cannot be joined.
    #[error(transparent)]
    Join(#[from] JoinError),
    /// The card cannot be read, or its eclipse is not known.
    #[error(transparent)]
    Model(ModelError),
    /// The record cannot be read or written.
    #[error(transparent)]
    Catalogue(#[from] CatalogueError),
    /// A file cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// The recipe of the strip cannot be followed.
    #[error("{path}: {error}", path = Shown(.path))]
    Recipe {
        /// The recipe.
        path: PathBuf,
        /// What is wrong with it.
        #[source]
        error: RecipeError,
    },
    /// The recipe cannot be changed so.
    #[error(transparent)]
    Edit(#[from] EditError),
    /// A file of an earlier run cannot be read.
    #[error("cannot read {path}: {cause}", path = Shown(.path))]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        #[source]
        cause: std::io::Error,
    },
    /// The strip cannot be drawn.
    #[error(transparent)]
    Strip(#[from] StripError),
    /// The export could not go on.
    #[error(transparent)]
    Export(#[from] ExportError),
    /// The demo's card could not be drawn.
    #[error(transparent)]
    Demo(#[from] DemoError),
    /// The person stopped it.
    #[error("interrupted; what was finished is kept, the same command goes on from there")]
    Interrupted,
}

impl From<ModelError> for PipelineError {
    fn from(error: ModelError) -> Self {
        match error {
            ModelError::Interrupted => Self::Interrupted,
            error => Self::Model(error),
        }
    }
}

fn listed(cards: &[PathBuf]) -> String {
    let names: Vec<String> = cards.iter().map(|c| Shown(c).to_string()).collect();
    names.join(", ")
}
