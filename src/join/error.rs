//! Cards that cannot be joined.

use std::path::PathBuf;

use crate::domain::Shown;

/// Cards that cannot be joined.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
pub enum JoinError {
    /// One folder of results was given twice.
    #[error("{out} is given twice; each card counts once\n  try: name every folder of results once", out = Shown(.0))]
    Twice(PathBuf),
    /// The joined results would land in the folder of a card's.
    #[error(
        "the results folder {out} and that of a card, {card}, are one inside the other; a card's own results are kept\n  try: -o with a folder elsewhere",
        out = Shown(.out), card = Shown(.card)
    )]
    OutAmongCards {
        /// The folder for the joined results.
        out: PathBuf,
        /// The card's results.
        card: PathBuf,
    },
    /// The folder for the joined results holds a card's.
    #[error("the results folder {out} is that of a card by itself; nothing was written\n  try: -o with another folder", out = Shown(.0))]
    OutOfACard(PathBuf),
    /// Joined results were given to be joined.
    #[error("{out} is joined already\n  try: the folders it was joined from, which are: {names}", out = Shown(.out), names = .names.join(", "))]
    Joined {
        /// The folder.
        out: PathBuf,
        /// The cards in it.
        names: Vec<String>,
    },
    /// No eclipse is that of most cards.
    #[error(
        "these cards are not of one eclipse: {list}\n  try: name those of one eclipse; a date that is wrong: `contactstrip sort CARD --date YYYY-MM-DD`",
        list = .0.join("; ")
    )]
    SeveralEclipses(Vec<String>),
    /// Nothing is left to be joined with.
    #[error("{out} is the only card of its eclipse; there is nothing to join it with\n  try: name two cards of one eclipse or more", out = Shown(.0))]
    Alone(PathBuf),
}
