//! Why no disc was fitted.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Why no disc was fitted in a frame.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, thiserror::Error)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum NoDisc {
    /// Nothing but dark.
    #[error("nothing but dark (brightest part {peak:.4} of saturation)")]
    Dark {
        /// Most light at reduced size, 0 to 1.
        peak: f64,
    },
    /// No round limb.
    #[error("no round limb stands out")]
    NoLimb,
    /// Too much else around.
    #[error("the round edge found is one of many: {percent:.0} % of the edges around lie on it")]
    Cluttered {
        /// How much of the edge strength around lies on the limb, percent.
        percent: f64,
    },
    /// A round thing that is not the Sun.
    #[error("the round edge found has no dark sky around it")]
    NotTheSun,
    /// A round glow.
    #[error("the round shape found fades out: a glow, not a disc")]
    NoEdge,
    /// A low Sun so flattened that its fit went astray.
    #[error("the flattened disc found is {percent:.0} % off this lens's Sun in radius")]
    Astray {
        /// Difference of the radii, percent.
        percent: f64,
    },
    /// Several bright shapes.
    #[error("{shapes} bright shapes of like size, not one disc")]
    Several {
        /// How many, the fitted one included.
        shapes: usize,
    },
    /// Not known: an earlier program told it in words of its own.
    #[error("no disc was fitted")]
    Untold,
}

impl NoDisc {
    /// The reason without its numbers, so that frames with the same trouble come together.
    pub fn family(self) -> &'static str {
        match self {
            Self::Dark { .. } => "nothing but dark",
            Self::NoLimb => "no round limb stands out",
            Self::Cluttered { .. } => "the round edge found is one of many",
            Self::NotTheSun => "the round edge found has no dark sky around it",
            Self::NoEdge => "the round shape found fades out: a glow, not a disc",
            Self::Astray { .. } => "the flattened disc found is off this lens's Sun in radius",
            Self::Several { .. } => "several bright shapes of like size, not one disc",
            Self::Untold => "no disc was fitted",
        }
    }
}
