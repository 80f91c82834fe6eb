//! The folder for the results: sound, writable, ours alone while we work.

use std::fs::{self, File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use walkdir::WalkDir;

use super::PipelineError;
use super::results::{self, Results};
use crate::catalogue::{
    CATALOGUE_FILE, Catalogue, FILMS_FILE, TABLE_FILE, WriteError, is_half_written, sha256_of_file,
    write_film_table, write_table,
};
use crate::domain::Notice;
use crate::export::PHASES_FOLDER;

/// Name of the file that keeps a second run out of the same folder.
const LOCK_FILE: &str = ".contactstrip-lock";

/// How a folder for results came to be chosen: advice fits the command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Folder {
    /// By `-o`, or by default, so that another can be named.
    Given,
    /// It holds an earlier run's record, which the command works from.
    Earlier,
}

impl Folder {
    fn advice(self) -> &'static str {
        match self {
            Self::Given => "-o with a folder you may write to, on a disk with space",
            Self::Earlier => "make room there, or give yourself the right to write there",
        }
    }

    fn advice_when_busy(self) -> &'static str {
        match self {
            Self::Given => "again when it has ended, or -o with another folder",
            Self::Earlier => "again when it has ended",
        }
    }
}

/// A folder for results that no other run may use until this is dropped.
#[derive(Debug)]
pub(crate) struct OutFolder {
    /// The folder.
    pub(crate) path: PathBuf,
    lock: Option<(PathBuf, File)>,
    /// Folders this run made, the outermost first.
    made: Vec<PathBuf>,
    results: Mutex<Results>,
}

impl OutFolder {
    /// Makes the folder where needed, checks that it can be written and locks it.
    pub(crate) fn open(path: &Path, whose: Folder) -> Result<Self, PipelineError> {
        let fail = |cause| PipelineError::OutNotWritable {
            out: path.to_owned(),
            cause,
            advice: whose.advice(),
        };
        let mut folder = Self::untouched(path);
        folder.made = missing_folders(path);
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
                    folder.lock = Some((lock_path, lock));
                    folder.results = Mutex::new(Results::of(path));
                    return Ok(folder);
                }
                Err(TryLockError::WouldBlock) => {
                    return Err(PipelineError::OutBusy {
                        out: path.to_owned(),
                        advice: whose.advice_when_busy(),
                    });
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
            made: Vec::new(),
            results: Mutex::new(Results::of(path)),
        }
    }

    /// Writes a result under a name below the folder, with `/` separators, and gives its path. It appears whole or not at
    /// all; what a person put or changed under that name is kept under a numbered one, which [`Self::told`] tells.
    ///
    /// # Errors
    /// [`WriteError`]; what was there before is then still there.
    pub(crate) fn write(
        &self,
        name: &str,
        fill: impl FnOnce(&mut File) -> io::Result<()>,
    ) -> Result<PathBuf, WriteError> {
        results::write(&self.results, name, fill)
    }

    /// Removes results of earlier runs that `stale` names, that this run did not write and that nobody changed.
    pub(crate) fn clear(&self, stale: &dyn Fn(&str) -> bool) {
        self.results().clear(stale);
    }

    /// Writes the record and its tables; that of films where there are any.
    ///
    /// # Errors
    /// [`WriteError`]; the earlier ones are then still whole.
    pub(crate) fn save(&self, catalogue: &Catalogue) -> Result<(), WriteError> {
        self.write(CATALOGUE_FILE, |file| catalogue.write_json(file))?;
        self.write(TABLE_FILE, |file| write_table(catalogue, file))?;
        if catalogue.films.is_empty() {
            self.clear(&|name| name == FILMS_FILE);
        } else {
            self.write(FILMS_FILE, |file| write_film_table(&catalogue.films, file))?;
        }
        Ok(())
    }

    /// The record and its tables as they are now, for putting back.
    pub(crate) fn record(&self) -> Vec<(&'static str, Vec<u8>)> {
        let read = |name| Some((name, fs::read(self.path.join(name)).ok()?));
        [CATALOGUE_FILE, TABLE_FILE, FILMS_FILE]
            .into_iter()
            .filter_map(read)
            .collect()
    }

    /// Puts an earlier record back, where there was one: a run that failed does not replace it.
    ///
    /// # Errors
    /// [`WriteError`]; the newer one is then still whole.
    pub(crate) fn put_back(&self, earlier: &[(&'static str, Vec<u8>)]) -> Result<(), WriteError> {
        for (name, bytes) in earlier {
            self.write(name, |file| io::Write::write_all(file, bytes))?;
        }
        Ok(())
    }

    /// Keeps the record and the tables that are there under numbered names, whoever wrote them.
    ///
    /// # Errors
    /// [`WriteError`] when they cannot be kept.
    pub(crate) fn keep_record(&self) -> Result<(), WriteError> {
        for name in [CATALOGUE_FILE, TABLE_FILE, FILMS_FILE] {
            self.results().keep(name).map_err(|cause| WriteError {
                path: self.path.join(name),
                cause,
            })?;
        }
        Ok(())
    }

    /// What there is to tell of the files written, since it was asked last.
    pub(crate) fn told(&self) -> Vec<Notice> {
        self.results().told()
    }

    /// Names of the results written since the folder was opened.
    pub(crate) fn written(&self) -> Vec<String> {
        self.results().written()
    }

    /// The hash of a result as it is now: known of those written since the folder was opened, else worked out. `None` where it cannot be
    /// read.
    pub(crate) fn sha256_of(&self, name: &str) -> Option<String> {
        let known = self.results().written_as(name);
        known.or_else(|| sha256_of_file(&self.path.join(name)).ok())
    }

    /// Takes results of an earlier run for this one's; `false` where one is not known for certain.
    pub(crate) fn stand<'n>(&self, names: impl Iterator<Item = &'n String>) -> bool {
        self.results().stand(names)
    }

    fn results(&self) -> std::sync::MutexGuard<'_, Results> {
        self.results.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The folders of a path that are not there yet, the outermost first.
fn missing_folders(path: &Path) -> Vec<PathBuf> {
    let missing = path
        .ancestors()
        .take_while(|folder| !folder.as_os_str().is_empty() && !folder.exists());
    let mut missing: Vec<PathBuf> = missing.map(Path::to_owned).collect();
    missing.reverse();
    missing
}

impl Drop for OutFolder {
    fn drop(&mut self) {
        if let Some((path, file)) = self.lock.take() {
            self.results().close();
            // Removed while still held, so no other run can hold a lock on a file that is gone from the folder.
            let _ = fs::remove_file(path);
            drop(file);
        }
        // A run that failed before it wrote anything leaves no empty folder; others refuse to go.
        for folder in self.made.iter().rev() {
            let _ = fs::remove_dir(folder);
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
        if is_half_written(entry.file_name()) {
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
pub(super) fn real(path: &Path) -> PathBuf {
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
