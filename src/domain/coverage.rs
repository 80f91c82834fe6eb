//! What a card holds of what was to be shot.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Utc;

/// A moment a partial was due.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct PartialDue {
    /// When.
    pub utc: Utc,
    /// The frame nearest in time, where one is near enough; its name on the card.
    pub file: Option<String>,
}

/// A feature of the uncovered or covered Sun that wants an exposure of its own.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FeatureDue {
    /// The feature, such as "Corona 0.5 radii off the limb".
    pub feature: String,
    /// Frames exposed for it.
    pub frames: u32,
    /// Stops between what it wants and the nearest frame; positive when the nearest frame got more light. `None`
    /// without any frame to compare.
    pub nearest_off_stops: Option<f64>,
    /// The picture that shows it all the same, whatever the exposures say; its name below OUT.
    #[serde(default)]
    pub seen_in: Option<String>,
}

/// The card against the plan.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Coverage {
    /// Every partial that was due with the Sun up, in time order.
    pub partials: Vec<PartialDue>,
    /// Every feature of totality, brightest first; empty where there is no totality.
    pub features: Vec<FeatureDue>,
}
