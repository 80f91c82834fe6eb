//! The Moon as one place sees it at one instant: what its limb depends on.

use super::Tt;

/// Where the Moon stands from a place, and which way is north there.
///
/// Axes are those of the ICRS (x to the origin of right ascension, z to the pole).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MoonAspect {
    /// The instant on Terrestrial Time at which the light reaches the place.
    pub tt: Tt,
    /// From the place to the Moon's centre of mass in kilometres, as it stood when the light left it; aberration taken off.
    pub to_moon_km: [f64; 3],
    /// Unit vector to the pole that position angles are counted from.
    pub pole: [f64; 3],
}

/// Which limb of the Moon contact times rest on.
#[derive(
    Clone,
    Copy,
    Debug,
    Default,
    PartialEq,
    Eq,
    serde::Serialize,
    serde::Deserialize,
    schemars::JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum MoonLimb {
    /// A smooth circle of the mean radius.
    #[default]
    Mean,
    /// The mountains and valleys of the height map.
    Real,
}

impl MoonLimb {
    /// The word used in every output.
    pub fn word(self) -> &'static str {
        match self {
            Self::Mean => "mean",
            Self::Real => "real",
        }
    }
}
