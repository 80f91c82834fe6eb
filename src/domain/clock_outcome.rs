//! How one body's clock came about, and the line that tells it.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::clock_words::{error_text, evidence_text, gross_text, sigma_text};
use super::{ClockCorrection, ClockMistake};

/// Most times told where several fit.
const MOST_TIMES: usize = 3;

/// How a clock came about.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum ClockOutcome {
    /// The person gave its error.
    Given,
    /// Nothing told it; the camera is taken at its word.
    Unknown {
        /// Why nothing did.
        why: ClockSilence,
    },
    /// The pictures told it.
    Solved {
        /// The whole error taken apart.
        mistake: ClockMistake,
        /// Errors in seconds, camera minus true, that fit as well, likeliest first; days and zone as in `mistake`.
        others_s: Vec<f64>,
    },
    /// As an earlier program put it.
    Words {
        /// Its words.
        text: String,
    },
}

/// Why the pictures tell nothing of a clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ClockSilence {
    /// They fit its word, and tell no more.
    FitsItsWord,
    /// No frame shows a disc.
    NoDisc,
    /// No frame shows the Moon.
    NoMoon,
    /// Frames show totality, and the place has none.
    Elsewhere,
}

impl fmt::Display for ClockSilence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::FitsItsWord => "its pictures fit its word, and tell no more",
            Self::NoDisc => "no frame shows a disc",
            Self::NoMoon => "no frame shows the Moon",
            Self::Elsewhere => "they show totality, and this place has none on that day",
        })
    }
}

impl ClockOutcome {
    /// The line on a clock: which way it is off and by how much, how sure that is, and what it rests on.
    pub fn words(&self, clock: &ClockCorrection) -> String {
        let sigma = sigma_text(clock.sigma_s);
        match self {
            Self::Given => format!("{} ± {sigma} s, as given", error_text(clock.error_s)),
            Self::Unknown { why } => {
                format!("not known, its word is taken ± {sigma} s: {why}")
            }
            Self::Solved { mistake, others_s } => solved_words(clock, mistake, others_s),
            Self::Words { text } => text.clone(),
        }
    }
}

fn solved_words(clock: &ClockCorrection, mistake: &ClockMistake, others_s: &[f64]) -> String {
    let sigma = sigma_text(clock.sigma_s);
    let rests_on = evidence_text(&clock.evidence);
    let mut text = if others_s.is_empty() {
        format!("{} ± {sigma} s, by {rests_on}", error_text(mistake.seconds))
    } else {
        format!(
            "{} (times are told ± {sigma} s), by {rests_on}",
            times_text(mistake.seconds, others_s)
        )
    };
    if mistake.is_gross() {
        let read_as_s = clock.zone_offset_s.saturating_sub(mistake.zone_s);
        text += &format!("; {}", gross_text(mistake, read_as_s));
    }
    text
}

/// The errors that fit, likeliest first.
pub(super) fn times_text(best_s: f64, others_s: &[f64]) -> String {
    let shown = others_s.len().min(MOST_TIMES - 1);
    let others: Vec<String> = others_s[..shown].iter().copied().map(error_text).collect();
    let more = match others_s.len() - shown {
        0 => String::new(),
        n => format!(" or {n} more"),
    };
    format!(
        "{} times fit its pictures: {}, or {}{more}",
        others_s.len() + 1,
        error_text(best_s),
        others.join(", or ")
    )
}
