//! Runs that could not be done.

use std::path::PathBuf;

use jiff::civil::Date;

use crate::card::CardError;
use crate::catalogue::{CatalogueError, WriteError};
use crate::contacts::ContactsError;
use crate::demo::DemoError;
use crate::domain::SiteError;
use crate::export::ExportError;
use crate::strip::{RecipeError, StripError};

/// A run that could not be done. Trouble with single files is a notice instead.
#[derive(Debug, thiserror::Error)]
pub enum PipelineError {
    /// Results would land on the card.
    #[error("the results folder {out} lies inside the card {card}, which is never written to\n  try: -o with a folder elsewhere", out = .out.display(), card = .card.display())]
    OutInsideCard {
        /// The card.
        card: PathBuf,
        /// The results folder.
        out: PathBuf,
    },
    /// The card lies in the results.
    #[error("the card {card} lies inside the results folder {out}\n  try: -o with a folder elsewhere", out = .out.display(), card = .card.display())]
    CardInsideOut {
        /// The card.
        card: PathBuf,
        /// The results folder.
        out: PathBuf,
    },
    /// Results cannot be written.
    #[error("cannot write to the results folder {out}: {cause}\n  try: -o with a folder you may write to, on a disk with space", out = .out.display())]
    OutNotWritable {
        /// The folder.
        out: PathBuf,
        /// Why.
        #[source]
        cause: std::io::Error,
    },
    /// Another run uses the folder.
    #[error("another run is working on {out}; nothing was done\n  try: again when it has ended, or -o with another folder", out = .0.display())]
    OutBusy(PathBuf),
    /// The card cannot be read.
    #[error(transparent)]
    Card(#[from] CardError),
    /// The card was there and is not any more.
    #[error("the card {card} went away while it was read; what was seen so far is kept\n  try: put it back and run the same command, which goes on from there", card = .0.display())]
    CardGone(PathBuf),
    /// The card has no pictures.
    #[error("no picture in {cards} ({others} other files)\n  try: the folder that holds the pictures, often DCIM", cards = .cards.iter().map(|c| c.display().to_string()).collect::<Vec<_>>().join(", "))]
    NoPictures {
        /// The cards.
        cards: Vec<PathBuf>,
        /// Files that are no pictures.
        others: usize,
    },
    /// No picture says when it was taken.
    #[error(
        "none of the pictures says when it was taken, so the eclipse is not known\n  try: --date YYYY-MM-DD with the day of the eclipse, and --site LAT,LON,ELEV_M"
    )]
    NoDates,
    /// No eclipse then.
    #[error(
        "no solar eclipse {asked}; the nearest: {near}\n  try: --date YYYY-MM-DD with the day of the eclipse, if the camera's date was wrong"
    )]
    NoEclipse {
        /// What was asked for.
        asked: String,
        /// The nearest eclipses.
        near: String,
    },
    /// The place is not known.
    #[error(
        "the place is not known: no picture taken around the eclipse of {date} carries GPS ({elsewhere} of other days do)\n  try: --site LAT,LON,ELEV_M, north and east positive, such as --site -30.03,-70.71,600"
    )]
    NoSite {
        /// The eclipse.
        date: Date,
        /// Pictures of other days that carry GPS.
        elsewhere: usize,
    },
    /// The place cannot be.
    #[error(transparent)]
    Site(#[from] SiteError),
    /// The eclipse is not seen there.
    #[error("{0}\n  try: --site with the place of the camera, or --date with another eclipse")]
    Contacts(#[from] ContactsError),
    /// The record cannot be read or written.
    #[error(transparent)]
    Catalogue(#[from] CatalogueError),
    /// A file cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// The recipe of the strip cannot be followed.
    #[error("{path}: {error}", path = .path.display())]
    Recipe {
        /// The recipe.
        path: PathBuf,
        /// What is wrong with it.
        #[source]
        error: RecipeError,
    },
    /// A file of an earlier run cannot be read.
    #[error("cannot read {path}: {cause}", path = .path.display())]
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
