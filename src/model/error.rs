//! Cards that cannot be read.

use std::path::PathBuf;

use jiff::civil::Date;

use crate::card::CardError;
use crate::contacts::ContactsError;
use crate::domain::{Shown, SiteError, counted};

/// A card that cannot be read at all. Trouble with single files is a notice instead.
#[derive(Debug, thiserror::Error)]
pub enum ModelError {
    /// The card cannot be read.
    #[error(transparent)]
    Card(#[from] CardError),
    /// The card was there and is not any more.
    #[error("the card {card} went away while it was read; what was seen so far is kept\n  try: put it back and run the same command, which goes on from there", card = Shown(.0))]
    CardGone(PathBuf),
    /// The card has no pictures.
    #[error("no picture in {cards} ({})\n  try: the folder that holds the pictures, often DCIM", counted(*others, "other file"), cards = .cards.iter().map(|c| Shown(c).to_string()).collect::<Vec<_>>().join(", "))]
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
    /// The person stopped it.
    #[error("interrupted; what was finished is kept, the same command goes on from there")]
    Interrupted,
}
