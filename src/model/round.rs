//! A round of measurements: what is asked of which frames, and what comes back.

use super::discs::Seen;
use crate::disc::DiscHint;
use crate::domain::Circle;

/// What a round is to find out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Question {
    /// How large the Sun shows through each lens, from a few frames.
    SunSize,
    /// The colour of each lens's filter, from a few frames.
    FilterColour,
    /// How large the Moon shows through each lens, from a few frames.
    MoonSize,
    /// The discs of all frames.
    Discs,
    /// Those of frames measured with the wrong size in mind.
    SlippedZoom,
    /// Those of low Suns measured with the wrong flattening in mind.
    Flattening,
    /// Beads and rings, which need the vector between the centres.
    Beads,
}

impl Question {
    /// Its name for a person who waits.
    pub(crate) fn stage(self) -> &'static str {
        match self {
            Self::SunSize => "learning the Sun's size",
            Self::FilterColour => "learning the filter's colour",
            Self::MoonSize => "learning the Moon's size",
            Self::Discs => "finding discs",
            Self::SlippedZoom => "looking past the zoom",
            Self::Flattening => "looking at low Suns",
            Self::Beads => "looking closer",
        }
    }

    /// Whether its frames are measured to learn of their lens, and are measured again for themselves.
    pub(crate) fn is_of_a_sample(self) -> bool {
        matches!(self, Self::SunSize | Self::FilterColour | Self::MoonSize)
    }

    /// Whether it rests on the clocks.
    pub(crate) fn needs_clock(self) -> bool {
        matches!(self, Self::MoonSize | Self::Flattening | Self::Beads)
    }
}

/// What is asked of a frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Ask {
    /// Its discs, and what is expected of them.
    Discs(DiscHint),
    /// How much brighter this Sun is in its brightest channel than in luma.
    Tint(Circle),
}

/// One frame's part in a round.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Task {
    /// The shot.
    pub(crate) shot: usize,
    /// What is asked of it.
    pub(crate) ask: Ask,
}

/// Frames due for a measurement.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Round {
    /// What for.
    pub(crate) question: Question,
    /// The frames, at least one.
    pub(crate) tasks: Vec<Task>,
}

/// What came of a task.
#[derive(Clone, Debug)]
pub(crate) enum Answer {
    /// To [`Ask::Discs`].
    Discs(Seen),
    /// To [`Ask::Tint`]; `None` where it cannot be told.
    Tint(Option<f64>),
}
