//! The cautions every sheet, page and screen carries that speaks of filters.

use super::LocalKind;

/// Eyes and optics.
const FILTER: &str = "Never look at the Sun, or through a lens, without a filter made for it: ISO 12312-2 \
     for viewers, a front filter for optics.";
/// Total eclipses only.
const ONLY_TOTALITY: &str = "Filters come off only while totality lasts at your place.";
/// Everything but totality.
const NEVER_SAFE: &str = "An annular or partial eclipse is never safe without filters.";
/// The same where it is the rule of the day.
const ALL_ALONG: &str =
    "It is not total here: keep every filter in place from first contact to last.";
/// Times are not exact.
const TIMES: &str = "Predicted times carry seconds of uncertainty (lunar limb, position).";
/// Others may know better.
const LOCAL: &str = "Follow local guidance.";

/// The cautions for an eclipse that is `kind` at the place, in order; `None` where that is not known.
///
/// Only the words for a total or unknown eclipse speak of taking filters off.
///
/// Source of the standard: ISO 12312-2:2015, filters for direct observation of the Sun.
pub fn safety_words(kind: Option<LocalKind>) -> Vec<&'static str> {
    match kind {
        Some(LocalKind::Total) | None => vec![FILTER, ONLY_TOTALITY, TIMES, LOCAL, NEVER_SAFE],
        Some(_) => vec![FILTER, NEVER_SAFE, ALL_ALONG, TIMES, LOCAL],
    }
}
