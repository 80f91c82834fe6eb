//! The list of what an export made.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::{File, OpenOptions};
use std::io::{self, BufRead, BufReader, Write};
use std::path::Path;

use serde::{Deserialize, Serialize};

use super::ExportError;
use crate::catalogue::write_atomically;

/// The list's name below OUT: one JSON object a line, added to just before each file or folder appears.
pub const MANIFEST_FILE: &str = "exported.jsonl";

/// One line of the list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
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
}

/// Reads the list; empty when there is none. A last line that was cut off is passed over: its file was not made.
pub(super) fn read(out: &Path) -> Result<Manifest, ExportError> {
    let path = out.join(MANIFEST_FILE);
    let trouble = |cause| ExportError::Manifest {
        path: path.clone(),
        cause,
    };
    let file = match File::open(&path) {
        Ok(file) => file,
        Err(e) if e.kind() == io::ErrorKind::NotFound => return Ok(Manifest::default()),
        Err(e) => return Err(trouble(e)),
    };
    let mut manifest = Manifest::default();
    for line in BufReader::new(file).split(b'\n') {
        match serde_json::from_slice(&line.map_err(trouble)?) {
            Ok(Made::Folder(below)) if stays_below(&below) => {
                manifest.folders.insert(below);
            }
            Ok(Made::File { below, sha256 }) if stays_below(&below) => {
                manifest.files.insert(below, sha256);
            }
            Ok(Made::Not(below)) => {
                manifest.files.remove(&below);
            }
            _ => {}
        }
    }
    Ok(manifest)
}

/// Whether a name leads nowhere but below the folder of results, whatever was written into the list.
fn stays_below(below: &str) -> bool {
    use std::path::Component;
    let mut parts = Path::new(below).components();
    !below.is_empty() && parts.all(|part| matches!(part, Component::Normal(_)))
}

/// The list, open for adding to.
pub(super) struct Writer(File);

impl Writer {
    /// Opens the list of a folder of results, which must exist. A last line that was cut off is closed.
    pub(super) fn open(out: &Path) -> Result<Self, ExportError> {
        let path = out.join(MANIFEST_FILE);
        let trouble = |cause| ExportError::Out {
            out: out.to_owned(),
            cause,
        };
        let whole =
            std::fs::read(&path).map_or(true, |text| text.is_empty() || text.ends_with(b"\n"));
        let mut options = OpenOptions::new();
        let mut file = options
            .create(true)
            .append(true)
            .open(&path)
            .map_err(trouble)?;
        if !whole {
            file.write_all(b"\n").map_err(trouble)?;
        }
        Ok(Self(file))
    }

    /// Adds a line.
    pub(super) fn add(&mut self, made: &Made) -> io::Result<()> {
        self.0.write_all(line(made).as_bytes())
    }
}

/// Writes the list anew: folders, then files, each once and by name, so that an export that went on after a stop leaves
/// the same list as one that ran through. An empty list is removed.
pub(super) fn settle(out: &Path, manifest: &Manifest) -> Result<(), ExportError> {
    let path = out.join(MANIFEST_FILE);
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

fn line(made: &Made) -> String {
    serde_json::to_string(made).expect("texts can be written as JSON") + "\n"
}
