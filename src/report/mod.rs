//! Says what was found, what was not, and how sure we are.
//!
//! [`page()`] writes `report.html`: one self-contained page with the pictures made, every shot on the predicted curve, the
//! contacts, the clocks, what was missed and why, the bursts, the table of shots and the files. All text that comes
//! from a file is escaped; the page carries a policy under which a browser loads nothing from elsewhere.
//! [`rehearsal()`] reads practice shots of the ordinary Sun and says what to mend before the day.

mod beads;
mod cards;
mod clocks;
mod curve;
mod films;
mod markup;
mod missed;
mod page;
mod plot;
mod rehearsal;
mod shots;

pub use beads::{Arc, DueLight};
pub use curve::curve_moments;
pub use page::{PICTURE_LIMIT_BYTES, PageInput, WrittenFile, page};
pub use rehearsal::{
    BodyRehearsal, Point, Rehearsal, RehearsalError, Verdict, kept_practice, rehearsal,
};
pub use shots::{THUMBS_BYTES, Thumb};
