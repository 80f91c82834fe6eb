//! What every screen, sheet and page that tells when a filter comes off also says.

/// The cautions, in one paragraph without line breaks.
pub const SAFETY_WORDS: &str = "Never look at the Sun, or through a lens, without a filter made for it (ISO 12312-2 \
for viewers; a front filter for optics). Filters come off only while totality lasts at your place; an annular or \
partial eclipse is never safe without filters. Predicted times carry seconds of uncertainty (lunar limb, position). \
Follow local guidance.";
