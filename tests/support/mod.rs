//! What several test files share: drawn pictures with known truth, temporary cards.

pub(crate) mod cards;
pub(crate) mod corona;
pub(crate) mod dng;
pub(crate) mod files;
pub(crate) mod header;
// `benches/pose.rs` uses the rest of it.
#[allow(dead_code)]
pub(crate) mod mounts;
pub(crate) mod photos;
pub(crate) mod sun;
