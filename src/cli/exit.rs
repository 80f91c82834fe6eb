//! What the program's end says to whatever started it.

/// Exit code when all is done.
pub(super) const DONE: u8 = 0;

/// Exit code when all is done and there are frames to look at.
pub(super) const LOOK: u8 = 1;

/// Exit code when the job could not run.
pub(super) const COULD_NOT_RUN: u8 = 2;

/// Exit code after an interrupt: 128 plus the signal's number, as shells count (common practice).
pub(super) const INTERRUPTED: u8 = 130;
