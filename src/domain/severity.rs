//! How much it matters.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// How much a notice matters.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Worth knowing; nothing to do.
    Note,
    /// A file or a result to look at; the run ends with exit code 1.
    Look,
}
