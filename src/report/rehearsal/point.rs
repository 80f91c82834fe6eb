//! A point of a rehearsal and how it stands.

use serde::Serialize;

/// How a point stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Verdict {
    /// Nothing to change.
    Good,
    /// To mend before the day.
    Mend,
    /// The shots do not tell.
    NotKnown,
}

impl Verdict {
    /// The word printed.
    pub fn word(self) -> &'static str {
        match self {
            Self::Good => "good",
            Self::Mend => "fix",
            Self::NotKnown => "not known",
        }
    }
}

/// One point of a rehearsal.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Point {
    /// What it is about: focus, exposure, drift, disc, clock, frames.
    pub name: &'static str,
    /// How it stands.
    pub verdict: Verdict,
    /// What was measured.
    pub found: String,
    /// What to change, or to shoot so that it can be told; empty where nothing is.
    pub advice: String,
}
