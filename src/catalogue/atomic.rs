//! Files appear whole or not at all.

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

/// A file could not be written.
#[derive(Debug, thiserror::Error)]
#[error("cannot write {path}: {cause}; nothing was left half-written, check space and rights there", path = .path.display())]
pub struct WriteError {
    /// The file.
    pub path: PathBuf,
    /// Why.
    #[source]
    pub cause: io::Error,
}

/// First part of the name of a file that is being written; one that stays behind is of a run that was killed.
pub const HALF_WRITTEN: &str = ".writing-";

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
        .tempfile_in(folder)
        .map_err(fail)?;
    fill(beside.as_file_mut()).map_err(fail)?;
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
