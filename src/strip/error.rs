//! Why a strip cannot be drawn.

use super::layout::LayoutError;

/// A strip that cannot be drawn.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum StripError {
    /// A frame of the recipe is not in the catalogue.
    #[error(
        "no frame {0} in the catalogue; correct strip.toml or delete it to have it proposed anew"
    )]
    NoFrame(String),
    /// The places do not work out.
    #[error(transparent)]
    Layout(#[from] LayoutError),
}
