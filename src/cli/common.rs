//! The options that all commands share.

use clap::Args;

/// Options of every command.
#[derive(Debug, Clone, Args)]
pub(crate) struct Common {
    /// Say what would be done and write nothing
    #[arg(long)]
    pub(crate) dry_run: bool,
    /// Work on at most N frames at once [default: one a core]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    pub(crate) jobs: Option<u16>,
    /// No progress, no notices; results and errors only
    #[arg(long, short)]
    pub(crate) quiet: bool,
    /// Every notice, and every file of an export
    #[arg(long, short, conflicts_with = "quiet")]
    pub(crate) verbose: bool,
}
