//! What can go wrong before the page is there.

use std::io;

use crate::pipeline::PipelineError;

/// A page that cannot be served.
#[derive(Debug, thiserror::Error)]
pub enum ChooseError {
    /// The record cannot be read.
    #[error(transparent)]
    Pipeline(#[from] PipelineError),
    /// The port cannot be had.
    #[error(
        "cannot serve the page on port {port} of this machine: {cause}\n  try: --port with another number, or without it any that is free"
    )]
    Port {
        /// The port asked for.
        port: u16,
        /// Why.
        #[source]
        cause: io::Error,
    },
    /// The page ended by itself.
    #[error("the page cannot be served any longer: {0}")]
    Serving(#[source] io::Error),
}
