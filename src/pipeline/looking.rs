//! Results of an earlier run to look at: nothing is locked and nothing is written but thumbnails.

use std::path::Path;

use super::earlier::open;
use super::{PipelineError, Target, keepsake, page};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Notice, SunMoon};

/// Results of an earlier run.
#[derive(Clone, Debug)]
pub struct Looked {
    /// Their record, its pictures where they are now.
    pub catalogue: Catalogue,
    /// What to tell where pictures are not in their places.
    pub away: Option<Notice>,
}

/// Reads the record of an earlier run and finds its card, without keeping others off.
///
/// # Errors
/// [`PipelineError`] when the record cannot be read, or the card given is another.
pub fn look(target: &Target) -> Result<Looked, PipelineError> {
    let opened = open(&Target {
        dry_run: true,
        ..target.clone()
    })?;
    Ok(Looked {
        catalogue: opened.catalogue,
        away: opened.away,
    })
}

/// Sun and Moon over the eclipse of a record, in time order; empty where none is known.
pub fn course(catalogue: &Catalogue) -> Vec<SunMoon> {
    page::curve(catalogue, page::view(catalogue).as_ref())
}

/// A small JPEG of a shot, of the disc and what is around it or of the whole: kept below OUT from an earlier run, else made and kept.
/// `None` for files that cannot be read.
pub fn thumb(out: &Path, catalogue: &Catalogue, record: &ShotRecord) -> Option<Vec<u8>> {
    keepsake::thumb_or_made(out, catalogue, record)
}
