//! What goes on around a look at a frame.

use super::kept::Kept;
use super::larder::Larder;
use crate::disc::DiscReport;
use crate::domain::Shot;

/// Draws what was seen in a frame.
pub(crate) type Draw<'a> = &'a (dyn Fn(&Shot, &DiscReport) + Sync);

/// What goes on around a look: looks kept, and drawings made of them.
pub(crate) struct Desk<'a> {
    /// Looks of earlier runs.
    pub(crate) kept: &'a Kept,
    /// Draws each look, where drawings are wanted.
    pub(crate) draw: Option<Draw<'a>>,
    /// Frames set aside between looks.
    pub(crate) larder: &'a Larder,
}

impl<'a> Desk<'a> {
    /// The same without drawings.
    pub(crate) fn bare(&self) -> Self {
        Desk {
            draw: None,
            ..*self
        }
    }
}
