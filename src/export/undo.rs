//! Taking an export back, but never the last copy of a picture.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};

use super::manifest::{self, Manifest};
use super::{ExportError, PHASES_FOLDER, UndoOutcome, carry, place, sidecar};
use crate::catalogue::{Catalogue, sha256_of_file};

/// Removes exactly what exports to `out` made: files whose contents are still what was written and whose originals are
/// seen whole elsewhere, by the SHA-256 of every byte; and folders this program made and that are empty. Anything else
/// stays, and originals are never touched. Sidecars have no original: what they say stands in the record.
///
/// A file whose original is gone, damaged or cannot be read may be the last copy there is; it stays, and stays on record,
/// so that another try with the card back removes it. With `dry_run` nothing is removed and the outcome says what would be.
///
/// # Errors
/// [`ExportError`] when nothing was exported, or the list of it cannot be read or rewritten.
pub fn undo(catalogue: &Catalogue, out: &Path, dry_run: bool) -> Result<UndoOutcome, ExportError> {
    let made = manifest::read(out)?;
    if made.is_empty() && made.damaged.is_empty() {
        return Err(ExportError::NothingMade(out.to_owned()));
    }
    let mut outcome = UndoOutcome {
        damaged: made.damaged.clone(),
        ..UndoOutcome::default()
    };
    let mut undo = Undo {
        out,
        home: out.join(PHASES_FOLDER),
        originals: Originals::of(catalogue, out),
        dry_run,
    };
    for (below, sha256) in &made.files {
        match undo.remove(below, sha256) {
            Ok(Removal::Done) => outcome.removed.push(below.clone()),
            Ok(Removal::Gone) => {}
            Ok(Removal::Changed) => outcome.changed.push(below.clone()),
            Ok(Removal::Last) => outcome.last.push(below.clone()),
            Err(e) => outcome.failed.push((below.clone(), e.to_string())),
        }
    }
    if !dry_run {
        undo.close(made, &outcome)?;
    }
    Ok(outcome)
}

enum Removal {
    Done,
    Gone,
    Changed,
    Last,
}

struct Undo<'a> {
    out: &'a Path,
    home: PathBuf,
    originals: Originals,
    dry_run: bool,
}

impl Undo<'_> {
    fn remove(&mut self, below: &str, sha256: &str) -> io::Result<Removal> {
        let path = self.out.join(below);
        let meta = match std::fs::symlink_metadata(&path) {
            Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Removal::Gone),
            Err(e) => return Err(e),
            Ok(meta) if !meta.is_file() => return Ok(Removal::Changed),
            Ok(meta) => meta,
        };
        if !self.is_home(&path)? {
            return Err(io::Error::other(
                "a link on the way to it leads out of the results",
            ));
        }
        if sha256_of_file(&path)? != sha256 {
            return Ok(Removal::Changed);
        }
        if !sidecar::is_ours(&path) && !self.originals.hold(below, meta.len(), sha256) {
            return Ok(Removal::Last);
        }
        if !self.dry_run {
            std::fs::remove_file(path)?;
        }
        Ok(Removal::Done)
    }

    /// Whether a file, with all links resolved, lies where its name says: in OUT's own `phases`.
    fn is_home(&self, path: &Path) -> io::Result<bool> {
        let home = self.out.canonicalize()?.join(PHASES_FOLDER);
        let folder = path.parent().unwrap_or(&self.home).canonicalize()?;
        Ok(folder.starts_with(home))
    }

    /// Removes folders that are empty now and writes the list of what is left.
    fn close(&self, mut made: Manifest, outcome: &UndoOutcome) -> Result<(), ExportError> {
        carry::clear_work_folder(self.out);
        for below in made.folders.iter().rev() {
            let folder = self.out.join(below);
            // Folders with anything left in them refuse; that is wanted.
            if self.is_home(&folder.join("any")).unwrap_or(false) {
                let _ = std::fs::remove_dir(folder);
            }
        }
        // What could not be removed stays on record, for another try.
        made.files.retain(|below, _| {
            outcome.last.contains(below) || outcome.failed.iter().any(|(name, _)| name == below)
        });
        let nothing_left = made.files.is_empty();
        made.folders
            .retain(|below| !nothing_left && self.out.join(below).is_dir());
        manifest::settle(self.out, &made)
    }
}

/// The originals of a record, and the hashes of those that had to be read.
struct Originals {
    /// Files outside OUT, by their size in bytes.
    by_size: BTreeMap<u64, Vec<PathBuf>>,
    hashes: BTreeMap<PathBuf, Option<String>>,
}

impl Originals {
    /// Those that are there. A file inside OUT, by whatever links, is no original.
    fn of(catalogue: &Catalogue, out: &Path) -> Self {
        let out = out.canonicalize().unwrap_or_else(|_| out.to_owned());
        let mut by_size: BTreeMap<u64, Vec<PathBuf>> = BTreeMap::new();
        for placed in place::all(catalogue) {
            let Ok(path) = placed.path.canonicalize() else {
                continue;
            };
            match std::fs::metadata(&path) {
                Ok(meta) if meta.is_file() && !path.starts_with(&out) => {
                    by_size.entry(meta.len()).or_default().push(path);
                }
                _ => {}
            }
        }
        Self {
            by_size,
            hashes: BTreeMap::new(),
        }
    }

    /// Whether one of them has this size and hash. Those of a like name are read first.
    fn hold(&mut self, below: &str, size_bytes: u64, sha256: &str) -> bool {
        let Some(mut paths) = self.by_size.get(&size_bytes).cloned() else {
            return false;
        };
        let like = |path: &PathBuf| {
            let name = path.file_name().unwrap_or_default().to_string_lossy();
            below.ends_with(&*name)
        };
        paths.sort_by_key(|path| !like(path));
        paths.into_iter().any(|path| {
            let known = self.hashes.entry(path).or_insert_with_key(|path| {
                sha256_of_file(path).ok() // one that cannot be read whole holds nothing
            });
            known.as_deref() == Some(sha256)
        })
    }
}
