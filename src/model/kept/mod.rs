//! What was seen in each frame, kept below OUT, so that a run that was stopped goes on and a second one is quick.
//!
//! A look is found again by all that decides it: the file's contents (SHA-256 of every byte), how it is turned, and what
//! was known beforehand. Name, size and time of change need no part in it: a file that was changed without a trace in any
//! of them is looked at anew, one that was only renamed is not. Headers are not kept: reading one costs less than making
//! sure that the file is still the same.

mod journal;

use std::path::Path;
use std::sync::Mutex;

use sha2::{Digest as _, Sha256};

use crate::disc::{DiscHint, DiscReport};
use crate::domain::{Notice, Shot};
use journal::{Journal, Key};

/// Name of the file below OUT that holds the looks.
pub(crate) const KEPT_FILE: &str = ".contactstrip-analysis";

/// Version of what is written there: the layout of a line, and a checksum of everything that decodes and measures.
const KEPT_VERSION: &str = concat!("1 ", env!("CONTACTSTRIP_ANALYSIS"));

/// Looks of earlier runs, and those of this one. Usable from several threads.
#[derive(Default)]
pub(crate) struct Kept(Option<Mutex<Journal>>);

impl Kept {
    /// Takes up what an earlier run kept; with `writes`, looks of this run are added to it.
    ///
    /// A file that cannot be used is told of and done without: it costs time and nothing else.
    pub(crate) fn open(out: &Path, writes: bool, notices: &mut Vec<Notice>) -> Self {
        match Journal::open(&out.join(KEPT_FILE), KEPT_VERSION, writes) {
            Ok((journal, trouble)) => {
                notices.extend(trouble.map(|text| Notice::note(text).about(KEPT_FILE)));
                Self(Some(Mutex::new(journal)))
            }
            // A run that writes nothing looks where nothing was kept.
            Err(_) if !writes => Self::default(),
            Err(cause) => {
                let text = format!(
                    "cannot be used: {cause}; nothing is kept, a run that is stopped begins anew"
                );
                notices.push(Notice::note(text).about(KEPT_FILE));
                Self::default()
            }
        }
    }

    /// What was seen in this file with this hint before.
    pub(crate) fn find(&self, key: &LookKey) -> Option<DiscReport> {
        let line = self.0.as_ref()?.lock().ok()?.find(&key.0)?;
        serde_json::from_slice(&line).ok()
    }

    /// Keeps what was seen.
    pub(crate) fn add(&self, key: &LookKey, report: &DiscReport) {
        let Some(journal) = &self.0 else { return };
        let Ok(line) = serde_json::to_vec(report) else {
            return;
        };
        // Numbers that are none do not survive being written; such a look is made anew each time.
        let whole = serde_json::from_slice::<DiscReport>(&line).is_ok_and(|back| back == *report);
        if let (true, Ok(mut journal)) = (whole, journal.lock()) {
            journal.add(key.0, &line);
        }
    }

    /// Ends a run that saw every frame: what it did not use is dropped, the rest put in order, so that the same card leaves
    /// the same file. Gives a notice where looks could not be kept.
    pub(crate) fn settle(mut self) -> Option<Notice> {
        let journal = self.0.take()?.into_inner().ok()?;
        let trouble = journal.settle()?;
        let text = format!("{trouble}; the next run looks at those frames again");
        Some(Notice::note(text).about(KEPT_FILE))
    }
}

/// A run that failed before it saw a frame leaves no file of looks.
impl Drop for Kept {
    fn drop(&mut self) {
        let journal = self.0.take().and_then(|journal| journal.into_inner().ok());
        if let Some(journal) = journal {
            journal.leave();
        }
    }
}

/// What tells a file's contents: the SHA-256 of every byte.
pub(crate) struct FileDigest([u8; 32]);

/// The digest of a file with these bytes.
pub(crate) fn digest(bytes: &[u8]) -> FileDigest {
    FileDigest(Sha256::digest(bytes).into())
}

/// What decides a look.
pub(crate) struct LookKey(Key);

/// The key of a look at a file with this digest.
pub(crate) fn key(digest: &FileDigest, shot: &Shot, hint: &DiscHint) -> LookKey {
    let mut all = Sha256::new();
    all.update(digest.0);
    // Numbers are written in full by `Debug`, whatever fields a hint has.
    all.update(format!("{:?} {hint:?}", shot.orientation));
    LookKey(all.finalize().into())
}
