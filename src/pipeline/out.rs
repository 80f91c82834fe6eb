//! The folder for the results: sound, writable, ours alone while we work.

use std::fs::{self, File, TryLockError};
use std::path::{Path, PathBuf};

use walkdir::WalkDir;

use super::PipelineError;
use crate::catalogue::HALF_WRITTEN;
use crate::export::PHASES_FOLDER;

/// Name of the file that keeps a second run out of the same folder.
const LOCK_FILE: &str = ".contactstrip-lock";

/// A folder for results that no other run may use until this is dropped.
#[derive(Debug)]
pub(crate) struct OutFolder {
    /// The folder.
    pub(crate) path: PathBuf,
    lock: Option<(PathBuf, File)>,
}

impl OutFolder {
    /// Makes the folder where needed, checks that it can be written and locks it.
    pub(crate) fn open(path: &Path) -> Result<Self, PipelineError> {
        let fail = |cause| PipelineError::OutNotWritable {
            out: path.to_owned(),
            cause,
        };
        fs::create_dir_all(path).map_err(fail)?;
        let lock_path = path.join(LOCK_FILE);
        loop {
            let lock = File::options()
                .create(true)
                .truncate(false)
                .write(true)
                .open(&lock_path)
                .map_err(fail)?;
            match lock.try_lock() {
                Ok(()) if !is_at(&lock, &lock_path) => {} // the run that just ended took the file away
                Ok(()) => {
                    sweep(path);
                    return Ok(Self {
                        path: path.to_owned(),
                        lock: Some((lock_path, lock)),
                    });
                }
                Err(TryLockError::WouldBlock) => {
                    return Err(PipelineError::OutBusy(path.to_owned()));
                }
                Err(TryLockError::Error(cause)) => return Err(fail(cause)),
            }
        }
    }

    /// The folder as it would be, for a run that writes nothing.
    pub(crate) fn untouched(path: &Path) -> Self {
        Self {
            path: path.to_owned(),
            lock: None,
        }
    }
}

impl Drop for OutFolder {
    fn drop(&mut self) {
        if let Some((path, file)) = self.lock.take() {
            // Removed while still held, so no other run can hold a lock on a file that is gone from the folder.
            let _ = fs::remove_file(path);
            drop(file);
        }
    }
}

/// Whether an open file is the one a path leads to.
#[cfg(unix)]
fn is_at(file: &File, path: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    let place = |meta: fs::Metadata| (meta.dev(), meta.ino());
    match (file.metadata(), fs::metadata(path)) {
        (Ok(open), Ok(there)) => place(open) == place(there),
        _ => false,
    }
}

/// Elsewhere an open file cannot be taken away.
#[cfg(not(unix))]
fn is_at(_: &File, _: &Path) -> bool {
    true
}

/// Removes the half-written files of runs that were killed. `phases` is left to the export, and to the person.
fn sweep(out: &Path) {
    let entries = WalkDir::new(out)
        .into_iter()
        .filter_entry(|entry| entry.depth() != 1 || entry.file_name() != PHASES_FOLDER);
    for entry in entries.flatten().filter(|e| e.file_type().is_file()) {
        let name = entry.file_name().to_string_lossy();
        if name.starts_with(HALF_WRITTEN) {
            // One that stays takes room and does no other harm.
            let _ = fs::remove_file(entry.path());
        }
    }
}

/// Refuses results inside a card, a card inside the results, and a card that is the results.
pub(crate) fn keep_apart(cards: &[PathBuf], out: &Path) -> Result<(), PipelineError> {
    let out_real = real(out);
    for card in cards {
        let card_real = real(card);
        if out_real.starts_with(&card_real) {
            return Err(PipelineError::OutInsideCard {
                card: card.clone(),
                out: out.to_owned(),
            });
        }
        if card_real.starts_with(&out_real) {
            return Err(PipelineError::CardInsideOut {
                card: card.clone(),
                out: out.to_owned(),
            });
        }
    }
    Ok(())
}

/// The path with links and dots resolved, as far as it exists.
fn real(path: &Path) -> PathBuf {
    let whole = std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    let mut missing = Vec::new();
    let mut there = whole.as_path();
    loop {
        if let Ok(found) = there.canonicalize() {
            return missing.iter().rev().fold(found, |p, part| p.join(part));
        }
        match (there.parent(), there.file_name()) {
            (Some(parent), Some(name)) => {
                missing.push(name.to_owned());
                there = parent;
            }
            _ => return whole,
        }
    }
}
