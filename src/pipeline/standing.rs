//! Results that still stand: what a stage made is not made again while nothing it was made from has changed.

use std::collections::BTreeMap;
use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};

use super::out::OutFolder;
use super::{Made, PROGRAM, PipelineError};
use crate::catalogue::{
    CATALOGUE_FILE, Catalogue, CoronaRecord, FILMS_FILE, TABLE_FILE, digits, write_atomically,
};
use crate::domain::Notice;

/// Folder below OUT for what stages made, one file a stage.
const STANDING: &str = ".cache/standing";

/// Checksum of the whole program: another one may make other results of the same things.
const BUILD: &str = env!("CONTACTSTRIP_PROGRAM");

/// What a stage made, and from what.
#[derive(Serialize, Deserialize)]
struct Standing {
    /// See [`Stage::of`].
    key: String,
    /// Names below OUT with `/` separators, and sizes in bytes, of what the stage wrote.
    written: BTreeMap<String, u64>,
    /// Names below OUT of the files told, in order.
    files: Vec<PathBuf>,
    notices: Vec<Notice>,
    corona: Option<CoronaRecord>,
}

/// A stage of a run over a whole card, and a checksum of all it works from.
pub(super) struct Stage<'a> {
    out: &'a OutFolder,
    name: &'static str,
    key: String,
    /// Names of results written before the stage began.
    before: Vec<String>,
}

impl<'a> Stage<'a> {
    /// A stage that works from the record, from `wish`, and from results of earlier stages, given by their names.
    ///
    /// The record has name, size and time of change of every picture, as this run saw them.
    pub(super) fn of(
        out: &'a OutFolder,
        name: &'static str,
        catalogue: &Catalogue,
        wish: &str,
        from: &[&str],
    ) -> Self {
        let mut sum = Sha256::new();
        for part in [PROGRAM, BUILD, name, wish] {
            sum.update(part.as_bytes());
            sum.update([0]);
        }
        // Writing into memory cannot fail.
        let mut record = Vec::new();
        let _ = catalogue.write_json(&mut record);
        sum.update(&record);
        for name in from {
            sum.update(name.as_bytes());
            sum.update(out.sha256_of(name).unwrap_or_default().as_bytes());
        }
        Self {
            out,
            name,
            key: digits(&sum.finalize()),
            before: out.written(),
        }
    }

    fn path(&self) -> PathBuf {
        self.out
            .path
            .join(STANDING)
            .join(format!("{}.json", self.name))
    }

    /// What the stage made when it last ran, if it was of the same things and is all there as it was written; with the corona's
    /// place in the record, where it has one.
    fn still_there(&self) -> Option<(Made, Option<CoronaRecord>)> {
        let path = self.path();
        let kept: Standing = serde_json::from_slice(&fs::read(&path).ok()?).ok()?;
        let since = fs::metadata(&path).ok()?.modified().ok()?;
        let unchanged = |(name, bytes): (&String, &u64)| {
            let there = fs::symlink_metadata(self.out.path.join(name));
            there.is_ok_and(|meta| {
                let earlier = meta.modified().is_ok_and(|time| time <= since);
                meta.is_file() && meta.len() == *bytes && earlier
            })
        };
        if kept.key != self.key || !kept.written.iter().all(unchanged) {
            return None;
        }
        if !self.out.stand(kept.written.keys()) {
            return None;
        }
        let files = kept.files.iter().map(|name| self.out.path.join(name));
        let made = Made {
            files: files.collect(),
            notices: kept.notices,
            ..Made::default()
        };
        Some((made, kept.corona))
    }

    /// Keeps what the stage made. Where a picture of the card is gone by now, or changed, nothing is kept: the stage may have
    /// done without it.
    fn keep(self, catalogue: &Catalogue, made: &Made) {
        let path = self.path();
        if !all_there(catalogue) {
            let _ = fs::remove_file(path);
            return;
        }
        let record = [CATALOGUE_FILE, TABLE_FILE, FILMS_FILE];
        let new = |name: &String| !self.before.contains(name) && !record.contains(&name.as_str());
        let size = |name: String| {
            let meta = fs::metadata(self.out.path.join(&name)).ok()?;
            Some((name, meta.len()))
        };
        let written = self.out.written().into_iter().filter(new).filter_map(size);
        let below = |path: &PathBuf| path.strip_prefix(&self.out.path).ok().map(Path::to_owned);
        let kept = Standing {
            written: written.collect(),
            files: made.files.iter().filter_map(below).collect(),
            notices: made.notices.clone(),
            corona: catalogue.corona.clone(),
            key: self.key,
        };
        // One that cannot be kept costs time at the next run and nothing else.
        if let Ok(text) = serde_json::to_vec(&kept) {
            let _ = write_atomically(&path, |file| file.write_all(&text));
        }
    }
}

/// The results of a stage: those that still stand, else made by `make`; without a stage they are always made.
///
/// # Errors
/// Those of `make`, and [`PipelineError`] where the record cannot be written.
pub(super) fn run(
    stage: Option<Stage<'_>>,
    catalogue: &mut Catalogue,
    make: impl FnOnce(&mut Catalogue) -> Result<Made, PipelineError>,
) -> Result<Made, PipelineError> {
    let Some(stage) = stage else {
        return make(catalogue);
    };
    if let Some((made, corona)) = stage.still_there() {
        if corona != catalogue.corona {
            catalogue.corona = corona;
            stage.out.save(catalogue)?;
        }
        return Ok(made);
    }
    let made = make(catalogue)?;
    stage.keep(catalogue, &made);
    Ok(made)
}

/// Whether every picture of the record is where it was and as large.
fn all_there(catalogue: &Catalogue) -> bool {
    catalogue.shots.iter().all(|record| {
        let file = &record.shot.file;
        fs::metadata(&file.path).is_ok_and(|meta| meta.len() == file.size_bytes)
    })
}
