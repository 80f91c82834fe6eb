//! What a folder holds.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// Every file below a folder with its bytes.
pub(crate) fn contents(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    walkdir::WalkDir::new(folder)
        .into_iter()
        .map(Result::unwrap)
        .filter(|e| e.file_type().is_file())
        .map(|e| {
            let name = e.path().strip_prefix(folder).unwrap().to_owned();
            (name, fs::read(e.path()).unwrap())
        })
        .collect()
}
