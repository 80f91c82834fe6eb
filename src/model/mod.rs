//! The model of a card: what is known of its site, its cameras' clocks, its lenses and the pose of each frame, learned from the
//! pictures and put together into the record. Frames are measured in parallel; nothing is printed.

pub(crate) mod at_once;
pub(crate) mod clocks;
pub(crate) mod discs;
mod error;
mod given;
pub(crate) mod hints;
pub(crate) mod intake;
pub(crate) mod kept;
pub(crate) mod larder;
mod opening;
pub(crate) mod place;
pub(crate) mod record;
mod roles;
pub(crate) mod watch;
mod zoom;

pub use error::ModelError;
pub use given::{Given, KnownClock, KnownClockError};
pub use watch::{Unwatched, Watch};
