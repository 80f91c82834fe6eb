//! The list of what an export made.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{File, OpenOptions};
use std::io::{self, Write};
use std::path::{Component, Path};

use serde::{Deserialize, Serialize};

use super::{ExportError, PHASES_FOLDER};
use crate::catalogue::write_atomically;

/// The list's name below OUT: one JSON object a line, added to just before each file or folder appears.
pub const MANIFEST_FILE: &str = "exported.jsonl";

/// One line of the list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub(super) enum Made {
    /// A folder, below OUT.
    Folder(String),
    /// A file: name below OUT and SHA-256 of its contents.
    File { below: String, sha256: String },
    /// A file put on record that did not appear after all.
    Not(String),
}

/// What an export made, as far as it got.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Manifest {
    /// Folders below OUT; each stands behind those around it.
    pub(super) folders: BTreeSet<String>,
    /// SHA-256 by name below OUT.
    pub(super) files: BTreeMap<String, String>,
    /// Lines that are none of the list's, by their number from 1. What they may have named is left alone.
    pub(super) damaged: Vec<usize>,
}

/// Reads the list; empty when there is none. Every line is checked: whole, with a name below `phases/` and, for a file, a
/// SHA-256. A last line that was cut off is passed over, since its file was not made.
pub(super) fn read(out: &Path) -> Result<Manifest, ExportError> {
    let path = out.join(MANIFEST_FILE);
    let text = match std::fs::read(&path) {
        Ok(text) => text,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Manifest::default()),
        Err(cause) => return Err(ExportError::Manifest { path, cause }),
    };
    let mut manifest = Manifest::default();
    for (n, line) in text[..whole_lines(&text)]
        .split(|b| *b == b'\n')
        .enumerate()
    {
        match serde_json::from_slice(line) {
            Ok(Made::Folder(below)) if stays_below(&below) => {
                manifest.folders.insert(below);
            }
            Ok(Made::File { below, sha256 }) if stays_below(&below) && is_sha256(&sha256) => {
                manifest.files.insert(below, sha256);
            }
            Ok(Made::Not(below)) if stays_below(&below) => {
                manifest.files.remove(&below);
            }
            _ if line.is_empty() => {}
            _ => manifest.damaged.push(n + 1),
        }
    }
    Ok(manifest)
}

/// How many bytes of a list are whole lines.
fn whole_lines(text: &[u8]) -> usize {
    text.iter()
        .rposition(|b| *b == b'\n')
        .map_or(0, |at| at + 1)
}

/// Whether a name leads nowhere but to `phases` or below it, whatever was written into the list. Links on the way are
/// another matter: see [`super::undo()`].
fn stays_below(below: &str) -> bool {
    let mut parts = Path::new(below).components();
    let inside = parts.next() == Some(Component::Normal(PHASES_FOLDER.as_ref()));
    inside && parts.all(|part| matches!(part, Component::Normal(_)))
}

fn is_sha256(text: &str) -> bool {
    text.len() == 64 && text.bytes().all(|b| b.is_ascii_hexdigit())
}

/// The list, open for adding to.
pub(super) struct Writer(File);

impl Writer {
    /// Opens the list of a folder of results, which must exist. A last line that was cut off is taken away.
    pub(super) fn open(out: &Path) -> Result<Self, ExportError> {
        let path = out.join(MANIFEST_FILE);
        let trouble = |cause| ExportError::Out {
            out: out.to_owned(),
            cause,
        };
        let whole = std::fs::read(&path).map_or(0, |text| whole_lines(&text));
        let mut options = OpenOptions::new();
        let file = options
            .create(true)
            .append(true)
            .open(&path)
            .map_err(trouble)?;
        file.set_len(whole as u64).map_err(trouble)?;
        Ok(Self(file))
    }

    /// Adds a line.
    pub(super) fn add(&mut self, made: &Made) -> io::Result<()> {
        self.0.write_all(line(made).as_bytes())
    }
}

/// Writes the list anew: folders, then files, each once and by name, so that an export that went on after a stop leaves
/// the same list as one that ran through. An empty list is removed. A damaged one is kept under a numbered name first:
/// somebody may be able to read more in it.
pub(super) fn settle(out: &Path, manifest: &Manifest) -> Result<(), ExportError> {
    let path = out.join(MANIFEST_FILE);
    if !manifest.damaged.is_empty() {
        keep_damaged(&path).map_err(|cause| ExportError::Out {
            out: out.to_owned(),
            cause,
        })?;
    }
    let folders = manifest.folders.iter().cloned().map(Made::Folder);
    let files = manifest.files.iter().map(|(below, sha256)| Made::File {
        below: below.clone(),
        sha256: sha256.clone(),
    });
    let lines: Vec<String> = folders.chain(files).map(|made| line(&made)).collect();
    let text = lines.concat();
    match std::fs::read(&path) {
        Ok(there) if there == text.as_bytes() && !text.is_empty() => Ok(()),
        Ok(_) if text.is_empty() => std::fs::remove_file(&path).map_err(|cause| ExportError::Out {
            out: out.to_owned(),
            cause,
        }),
        Err(_) if text.is_empty() => Ok(()),
        _ => Ok(write_atomically(&path, |file| {
            file.write_all(text.as_bytes())
        })?),
    }
}

/// A copy of the list as it is, as `exported-damaged-1.jsonl` or the next free number.
fn keep_damaged(path: &Path) -> io::Result<()> {
    let text = std::fs::read(path)?;
    for number in 1.. {
        let copy = path.with_file_name(format!("exported-damaged-{number}.jsonl"));
        match File::create_new(&copy) {
            Ok(mut file) => return file.write_all(&text),
            Err(e) if e.kind() == io::ErrorKind::AlreadyExists => {
                if std::fs::read(&copy).is_ok_and(|there| there == text) {
                    return Ok(()); // kept before
                }
            }
            Err(e) => return Err(e),
        }
    }
    Ok(())
}

fn line(made: &Made) -> String {
    serde_json::to_string(made).expect("texts can be written as JSON") + "\n"
}
