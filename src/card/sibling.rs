//! Raw files and the pictures their camera wrote beside them.

use std::collections::BTreeMap;
use std::ffi::OsString;
use std::path::PathBuf;

use crate::domain::{CardFile, FileFormat};

/// A raw file and the JPEG (or HEIF) of the same exposure, as indices into the list given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct SiblingPair {
    /// The raw file.
    pub raw: usize,
    /// The finished picture beside it.
    pub picture: usize,
}

/// Pairs each raw file with the JPEG of the same stem in the same folder, in order of the raw files.
///
/// Upper and lower case are the same in a stem, as on the cards' file systems. A HEIF is taken where there is no JPEG.
/// Of several raws or pictures with one stem the first of each is paired; the others stay alone. Formats come from the
/// files' bytes, so a JPEG named `.nef` is never taken for a raw.
pub fn siblings(files: &[CardFile]) -> Vec<SiblingPair> {
    type Place = (Option<PathBuf>, Option<OsString>);
    let mut by_stem: BTreeMap<Place, [Option<usize>; 3]> = BTreeMap::new();
    for (index, file) in files.iter().enumerate() {
        let slot = match file.format {
            FileFormat::Raw => 0,
            FileFormat::Jpeg => 1,
            FileFormat::Heif => 2,
            _ => continue,
        };
        let folder = file.path.parent().map(PathBuf::from);
        let stem = file.path.file_stem().map(|s| s.to_ascii_lowercase());
        let found = by_stem.entry((folder, stem)).or_default();
        found[slot].get_or_insert(index);
    }
    let mut pairs: Vec<SiblingPair> = by_stem
        .into_values()
        .filter_map(|[raw, jpeg, heif]| {
            Some(SiblingPair {
                raw: raw?,
                picture: jpeg.or(heif)?,
            })
        })
        .collect();
    pairs.sort();
    pairs
}
