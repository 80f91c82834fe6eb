//! Taking an export back.

use std::io;
use std::path::Path;

use super::manifest;
use super::{ExportError, UndoOutcome, carry, hash};

/// Removes exactly what exports to `out` made: files whose contents are still what was written, and folders this program
/// made and that are empty. Anything else stays, and originals are never touched.
///
/// # Errors
/// [`ExportError`] when nothing was exported, or the list of it cannot be read or rewritten.
pub fn undo(out: &Path) -> Result<UndoOutcome, ExportError> {
    let mut made = manifest::read(out)?;
    if made.is_empty() {
        return Err(ExportError::NothingMade(out.to_owned()));
    }
    let mut outcome = UndoOutcome::default();
    for (below, sha256) in &made.files {
        match remove(&out.join(below), sha256) {
            Ok(Removal::Done) => outcome.removed += 1,
            Ok(Removal::Gone) => {}
            Ok(Removal::Changed) => outcome.changed.push(below.clone()),
            Err(e) => outcome.failed.push((below.clone(), e.to_string())),
        }
    }
    carry::clear_work_folder(out);
    for below in made.folders.iter().rev() {
        // Folders with anything left in them refuse; that is wanted.
        let _ = std::fs::remove_dir(out.join(below));
    }
    // What could not be removed stays on record, for another try.
    let kept = |below: &String| outcome.failed.iter().any(|(failed, _)| failed == below);
    made.files.retain(|below, _| kept(below));
    made.folders
        .retain(|below| !outcome.failed.is_empty() && out.join(below).is_dir());
    manifest::settle(out, &made)?;
    Ok(outcome)
}

enum Removal {
    Done,
    Gone,
    Changed,
}

fn remove(path: &Path, sha256: &str) -> io::Result<Removal> {
    match std::fs::symlink_metadata(path) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Removal::Gone),
        Err(e) => return Err(e),
        Ok(meta) if !meta.is_file() => return Ok(Removal::Changed),
        Ok(_) => {}
    }
    if hash::of_file(path)? != sha256 {
        return Ok(Removal::Changed);
    }
    std::fs::remove_file(path).map(|()| Removal::Done)
}
