//! The folder for the results: sound, writable, ours alone while we work.

use std::fs::{self, File, TryLockError};
use std::path::{Path, PathBuf};

use super::PipelineError;

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
        let lock = File::options()
            .create(true)
            .truncate(false)
            .write(true)
            .open(&lock_path)
            .map_err(fail)?;
        match lock.try_lock() {
            Ok(()) => Ok(Self {
                path: path.to_owned(),
                lock: Some((lock_path, lock)),
            }),
            Err(TryLockError::WouldBlock) => Err(PipelineError::OutBusy(path.to_owned())),
            Err(TryLockError::Error(cause)) => Err(fail(cause)),
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
