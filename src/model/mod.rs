//! The model of a card: what is known of its site, its cameras' clocks, its lenses and the pose of each frame, learned from the
//! pictures and put together into the record. Frames are measured in parallel; nothing is printed.

pub(crate) mod at_once;
pub(crate) mod card;
pub(crate) mod clocks;
pub(crate) mod desk;
pub(crate) mod discs;
mod error;
mod evened;
mod expected;
mod films;
mod given;
pub(crate) mod intake;
pub(crate) mod kept;
pub(crate) mod larder;
pub(crate) mod lens;
pub(crate) mod measure;
mod mountains;
mod opening;
pub(crate) mod place;
pub(crate) mod record;
mod roles;
mod round;
pub(crate) mod watch;
mod zoom;

pub use error::ModelError;
pub use given::{Given, KnownClock, KnownClockError};
pub use watch::{Unwatched, Watch};
