//! Why no disc was fitted.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Why no disc was fitted in a frame.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema, thiserror::Error)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum NoDisc {
    /// Nothing but dark.
    #[error("black frame: its brightest part is {:.2} % of white", peak * 100.0)]
    Dark {
        /// Most light at reduced size, 0 to 1.
        peak: f64,
    },
    /// No round limb.
    #[error("nothing round stands out")]
    NoLimb,
    /// Too much else around.
    #[error("many other edges: {percent:.0} % of those in its picture lie on one circle")]
    Cluttered {
        /// How much of the edge strength around lies on the limb, percent.
        percent: f64,
    },
    /// A round thing that is not the Sun.
    #[error("what is round in it has no dark sky around, or another colour than the Sun")]
    NotTheSun,
    /// A round glow.
    #[error("a glow that fades out, no edge")]
    NoEdge,
    /// A low Sun so flattened that its fit went astray.
    #[error("a disc {percent:.0} % off the size of this lens's Sun")]
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
            Self::Dark { .. } => "black frame",
            Self::NoLimb => "nothing round stands out",
            Self::Cluttered { .. } => "many other edges beside the round one",
            Self::NotTheSun => {
                "what is round in it has no dark sky around, or another colour than the Sun"
            }
            Self::NoEdge => "a glow that fades out, no edge",
            Self::Astray { .. } => "a disc off the size of this lens's Sun",
            Self::Several { .. } => "several bright shapes of like size, not one disc",
            Self::Untold => "no disc was fitted",
        }
    }
}
