//! What a reading of cards gives.

use crate::domain::{CardFile, FilmFile, Notice, StrayKind};

/// What is on the cards.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CardListing {
    /// The pictures, in shooting order as far as names tell.
    ///
    /// A file that is named like a picture but holds none (no bytes, or bytes of another kind) is here too, with
    /// [`crate::domain::FileFormat::Other`], so that it is shown as unreadable instead of vanishing.
    pub files: Vec<CardFile>,
    /// The films, in order of their names.
    pub films: Vec<FilmFile>,
    /// All other files: name below the card (as [`CardFile::name`]) and what each is, in order of their names.
    pub strays: Vec<(String, StrayKind)>,
    /// What a person should know: folders and files that could not be read, links not followed.
    pub notices: Vec<Notice>,
}
