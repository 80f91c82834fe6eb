//! What a shot is: its phase, its burst, its flags.

use std::collections::BTreeSet;
use std::fmt;

use schemars::JsonSchema;
use serde::de::IntoDeserializer;
use serde::de::value::StrDeserializer;
use serde::{Deserialize, Serialize};

use super::{ContactKind, Shot, Utc};

/// The part of the eclipse a shot belongs to.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Phase {
    /// Before first contact.
    Before,
    /// The Moon moves in.
    Ingress,
    /// Around second contact: beads and diamond ring.
    SecondContact,
    /// The Sun is covered.
    Totality,
    /// The Moon stands inside the Sun.
    Annularity,
    /// Around third contact.
    ThirdContact,
    /// The Moon moves out.
    Egress,
    /// After fourth contact.
    After,
    /// A Sun without a usable time.
    Untimed,
    /// Another day, or plainly not the Sun.
    Unrelated,
    /// The file could not be read.
    Unreadable,
}

impl Phase {
    /// All phases: those of the eclipse in their order, then those of frames that are not part of it.
    pub const ALL: [Self; 11] = [
        Self::Before,
        Self::Ingress,
        Self::SecondContact,
        Self::Totality,
        Self::Annularity,
        Self::ThirdContact,
        Self::Egress,
        Self::After,
        Self::Untimed,
        Self::Unrelated,
        Self::Unreadable,
    ];

    /// The word used in `shots.csv`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Before => "before",
            Self::Ingress => "ingress",
            Self::SecondContact => "second-contact",
            Self::Totality => "totality",
            Self::Annularity => "annularity",
            Self::ThirdContact => "third-contact",
            Self::Egress => "egress",
            Self::After => "after",
            Self::Untimed => "untimed",
            Self::Unrelated => "unrelated",
            Self::Unreadable => "unreadable",
        }
    }

    /// Whether the Sun stands whole or as a crescent, as it is taken through a filter: before, after and in the partial phases.
    pub fn is_filtered(self) -> bool {
        matches!(
            self,
            Self::Before | Self::Ingress | Self::Egress | Self::After
        )
    }

    /// The folder below `phases/`, numbered so that folders sort in time.
    pub fn folder(self) -> &'static str {
        match self {
            Self::Before => "1-before",
            Self::Ingress => "2-ingress",
            Self::SecondContact => "3-second-contact",
            Self::Totality => "4-totality",
            Self::Annularity => "4-annularity",
            Self::ThirdContact => "5-third-contact",
            Self::Egress => "6-egress",
            Self::After => "7-after",
            Self::Untimed => "untimed",
            Self::Unrelated => "unrelated",
            Self::Unreadable => "unreadable",
        }
    }
}

impl fmt::Display for Phase {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.word())
    }
}

/// One sigma of a disc's centre, per axis in pixels, from which its place is called approximate: what a strip at the size of the
/// photographs begins to show (our choice).
pub const APPROXIMATE_PX: f64 = 0.4;

/// Something about a frame that a careful person would want to know.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Flag {
    /// Cover on: nothing but dark.
    Capped,
    /// The filter was left on in totality.
    FilterOn,
    /// The frame's edge cuts the disc.
    Cut,
    /// No disc in the frame though one was due.
    OutOfFrame,
    /// Out of focus.
    Soft,
    /// Moved during the exposure.
    Shaken,
    /// Cloud.
    Clouded,
    /// Saturated where it should not be.
    Clipped,
    /// Light ghosts on or beside the disc.
    Flare,
    /// A disc whose place is less sure than [`APPROXIMATE_PX`].
    Approximate,
    /// No capture time.
    NoTime,
    /// In a burst of fewer frames than its siblings.
    #[serde(alias = "short-burst")]
    IncompleteBurst,
}

impl Flag {
    /// The word used in `shots.csv`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Capped => "capped",
            Self::FilterOn => "filter-on",
            Self::Cut => "cut",
            Self::OutOfFrame => "out-of-frame",
            Self::Soft => "soft",
            Self::Shaken => "shaken",
            Self::Clouded => "clouded",
            Self::Clipped => "clipped",
            Self::Flare => "flare",
            Self::Approximate => "approximate",
            Self::NoTime => "no-time",
            Self::IncompleteBurst => "incomplete-burst",
        }
    }
}

/// The flags of a frame, in a fixed order.
///
/// Read from a record, words that are no flags (any more) are left out, so that records of other versions stay readable.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(transparent)]
pub struct Flags(BTreeSet<Flag>);

impl<'de> Deserialize<'de> for Flags {
    fn deserialize<D: serde::Deserializer<'de>>(reader: D) -> Result<Self, D::Error> {
        let words = Vec::<String>::deserialize(reader)?;
        let known = |word: &String| {
            let word: StrDeserializer<'_, serde::de::value::Error> =
                word.as_str().into_deserializer();
            Flag::deserialize(word).ok()
        };
        Ok(words.iter().filter_map(known).collect())
    }
}

impl Flags {
    /// Sets a flag.
    pub fn set(&mut self, flag: Flag) {
        self.0.insert(flag);
    }

    /// Whether a flag is set.
    pub fn has(&self, flag: Flag) -> bool {
        self.0.contains(&flag)
    }

    /// Whether none is set.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The flags in order.
    pub fn iter(&self) -> impl Iterator<Item = Flag> + '_ {
        self.0.iter().copied()
    }

    /// Takes a flag away.
    pub fn clear(&mut self, flag: Flag) {
        self.0.remove(&flag);
    }

    /// Sets a flag or takes it away.
    pub fn put(&mut self, flag: Flag, on: bool) {
        if on {
            self.set(flag);
        } else {
            self.clear(flag);
        }
    }

    /// Adds all flags of `other`.
    pub fn join(&mut self, other: &Self) {
        self.0.extend(&other.0);
    }
}

impl FromIterator<Flag> for Flags {
    fn from_iter<I: IntoIterator<Item = Flag>>(flags: I) -> Self {
        Self(flags.into_iter().collect())
    }
}

impl fmt::Display for Flags {
    /// Space-separated words.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, flag) in self.0.iter().enumerate() {
            if n > 0 {
                f.write_str(" ")?;
            }
            f.write_str(flag.word())?;
        }
        Ok(())
    }
}

/// A shot with true time and phase.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct TaggedShot {
    /// The shot.
    pub shot: Shot,
    /// True time of the start of the exposure, where the header has a time.
    pub utc: Option<Utc>,
    /// One sigma of `utc` in seconds.
    pub utc_sigma_s: Option<f64>,
    /// The part of the eclipse.
    pub phase: Phase,
    /// The contact whose side is not certain, where the time's uncertainty straddles one.
    pub near_contact: Option<ContactKind>,
}

/// Where a shot stands in its burst.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
pub struct BurstPlace {
    /// The burst's number on the card, in time order, from 1.
    pub id: u32,
    /// Place in the burst, from 1.
    pub index: u32,
}

/// One exposure bracket: frames of one body fired in one go. Members are indices into the list given.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Burst {
    /// Number on the card, in time order, from 1.
    pub id: u32,
    /// Indices of the members in shooting order; two or more.
    pub members: Vec<usize>,
}

#[cfg(test)]
mod tests {
    use super::{Flag, Flags};

    #[test]
    fn records_of_other_versions_are_read() {
        let flags: Flags = serde_json::from_str(r#"["lone", "short-burst", "soft"]"#).unwrap();
        assert_eq!(flags.to_string(), "soft incomplete-burst");
        let again: Flags = serde_json::from_str(&serde_json::to_string(&flags).unwrap()).unwrap();
        assert_eq!(again, flags);
        assert!(!flags.has(Flag::Approximate));
    }
}
