//! Lists what is on the card in shooting order, pairs raw with JPEG, never writes to it.
//!
//! A card is any folder, searched in depth, laid out as cameras do (JEITA CP-3461, Design rule for Camera File system,
//! "DCF") or in any other way. What a file is comes from its first bytes, never from its name alone. Nothing is lost:
//! every file is in [`CardListing::files`], in [`CardListing::films`] or, with a reason, in [`CardListing::strays`].

mod kind;
mod listing;
mod name;
mod order;
mod sibling;
mod walk;

use std::path::{Path, PathBuf};

pub use listing::CardListing;
pub use sibling::{SiblingPair, siblings};

use crate::domain::Shown;

/// A card cannot be read at all.
#[derive(Debug, thiserror::Error)]
pub enum CardError {
    /// No card was given.
    #[error("no card given; pass the folder with the pictures")]
    NoCard,
    /// There is no such folder.
    #[error("cannot read {card}: no such folder; check that the card is mounted", card = Shown(.0))]
    Missing(PathBuf),
    /// It is a file.
    #[error("cannot read {card}: not a folder; pass the folder with the pictures", card = Shown(.0))]
    NotAFolder(PathBuf),
    /// The folder cannot be opened.
    #[error("cannot read {card}: {1}; mount it readable for your user, or pass a copied folder", card = Shown(.0))]
    Unreadable(PathBuf, #[source] std::io::Error),
}

/// Lists the files of one or several cards. Files are opened for reading only, and only their first bytes are read.
///
/// `leave_out` names folders that are not searched, such as the one results are written to; a card itself is never
/// left out. With several cards each name starts with the card's own folder name (`-2`, `-3` … behind it where two
/// cards share one). A folder reached twice (one card inside another, links) is read once.
///
/// Order: card by card, then folder by folder, then by file number. Digits count as numbers (`frame2` before
/// `frame10`). File numbers of DCF names (four free characters, four digits) run round from 9999 to 0001, and folder
/// numbers from 999 to 100, where the names show that they did.
///
/// # Errors
/// [`CardError`] for a card that is missing, no folder, or cannot be opened. Trouble below it is a notice.
pub fn read(cards: &[PathBuf], leave_out: &[PathBuf]) -> Result<CardListing, CardError> {
    if cards.is_empty() {
        return Err(CardError::NoCard);
    }
    for card in cards {
        check(card)?;
    }
    let mut listing = CardListing::default();
    for found in walk::all(cards, leave_out, &mut listing.notices) {
        kind::sort_in(found, &mut listing);
    }
    name::make_unique(&mut listing);
    order::into_shooting_order(&mut listing.files);
    listing.films.sort_by(|a, b| a.name.cmp(&b.name));
    listing.strays.sort();
    Ok(listing)
}

fn check(card: &Path) -> Result<(), CardError> {
    let meta = std::fs::metadata(card).map_err(|e| match e.kind() {
        std::io::ErrorKind::NotFound => CardError::Missing(card.to_owned()),
        _ => CardError::Unreadable(card.to_owned(), e),
    })?;
    if !meta.is_dir() {
        return Err(CardError::NotAFolder(card.to_owned()));
    }
    std::fs::read_dir(card).map_err(|e| CardError::Unreadable(card.to_owned(), e))?;
    Ok(())
}
