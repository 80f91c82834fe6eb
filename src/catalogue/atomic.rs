//! Files appear whole or not at all.

use std::ffi::OsStr;
use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

use crate::domain::Shown;

/// A file could not be written.
#[derive(Debug, thiserror::Error)]
#[error("cannot write {path}: {cause}; nothing was left half-written, check space and rights there", path = Shown(.path))]
pub struct WriteError {
    /// The file.
    pub path: PathBuf,
    /// Why.
    #[source]
    pub cause: io::Error,
}

/// First part of the name of a file that is being written; one that stays behind is of a run that was killed.
const HALF_WRITTEN: &str = ".contactstrip-writing-";

/// Letters and digits that follow it.
const RANDOM_LETTERS: usize = 6;

/// Whether a name is one this program gives to files that are being written, and nobody else would.
pub fn is_half_written(name: &OsStr) -> bool {
    let rest = name
        .to_str()
        .and_then(|name| name.strip_prefix(HALF_WRITTEN));
    rest.is_some_and(|rest| {
        rest.len() == RANDOM_LETTERS && rest.bytes().all(|b| b.is_ascii_alphanumeric())
    })
}

/// Writes a file beside its final name and renames it when whole; folders above it are made.
///
/// `fill` writes the contents. An earlier file of that name is replaced only by the rename.
///
/// # Errors
/// [`WriteError`] with the cause; the part-written file is removed and an earlier one stays as it was.
pub fn write_atomically(
    path: &Path,
    fill: impl FnOnce(&mut File) -> io::Result<()>,
) -> Result<(), WriteError> {
    write_unless(path, fill, |_| Ok(false))
}

/// The same, but `settled` sees the whole file before it takes its name, and may have it dropped by saying `true`.
///
/// # Errors
/// [`WriteError`] as above, and with the cause that `settled` gives.
pub fn write_unless(
    path: &Path,
    fill: impl FnOnce(&mut File) -> io::Result<()>,
    settled: impl FnOnce(&Path) -> io::Result<bool>,
) -> Result<(), WriteError> {
    let fail = |cause| WriteError {
        path: path.to_owned(),
        cause,
    };
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    std::fs::create_dir_all(folder).map_err(fail)?;
    let mut beside = tempfile::Builder::new()
        .prefix(HALF_WRITTEN)
        .rand_bytes(RANDOM_LETTERS)
        .tempfile_in(folder)
        .map_err(fail)?;
    fill(beside.as_file_mut()).map_err(fail)?;
    if settled(beside.path()).map_err(fail)? {
        return Ok(());
    }
    let file = beside.persist(path).map_err(|e| fail(e.error))?;
    open_to_readers(&file).map_err(fail)
}

/// Temporary files are private; finished ones get the usual rights.
#[cfg(unix)]
fn open_to_readers(file: &File) -> io::Result<()> {
    use std::os::unix::fs::PermissionsExt;
    file.set_permissions(std::fs::Permissions::from_mode(0o644))
}

#[cfg(not(unix))]
fn open_to_readers(_: &File) -> io::Result<()> {
    Ok(())
}
