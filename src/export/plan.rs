//! From a catalogue to a plan.

use std::collections::BTreeSet;
use std::fs::Metadata;
use std::io;
use std::path::Path;

use super::manifest::{self, Manifest};
use super::place::{self, Placed};
use super::{Action, ExportOptions, ExportPlan, SidecarNames, Source, Step, sidecar};
use crate::catalogue::{Catalogue, sha256_of_file};

/// Plans the export of all shots and films of a catalogue; nothing is written.
///
/// A raw beside its JPEG goes with it. Files of one name from different folders of the card get those folders' names in
/// front. Each name is looked up below `out`: where the same contents are there already nothing is to be done (a
/// file this program made is taken as the same by size and time of change, any other by SHA-256), where something else
/// is there it is left. A source that cannot be read is a step too, so that it is listed as missing, unless its copy was made earlier and is
/// still whole.
pub fn plan(catalogue: &Catalogue, out: &Path, options: &ExportOptions) -> ExportPlan {
    plan_of(catalogue, out, options, place::all(catalogue))
}

/// Plans the export of some shots, by their names, into one folder below the phase folders: plain letters. Otherwise as [`plan`]; taken
/// back with the rest by [`super::undo()`].
pub fn plan_chosen(
    catalogue: &Catalogue,
    out: &Path,
    options: &ExportOptions,
    names: &[String],
    within: &str,
) -> ExportPlan {
    let names = names.iter().map(String::as_str).collect();
    let placed = place::chosen(catalogue, &names, within);
    plan_of(catalogue, out, options, placed)
}

fn plan_of(
    catalogue: &Catalogue,
    out: &Path,
    options: &ExportOptions,
    placed: Vec<Placed<'_>>,
) -> ExportPlan {
    // A list that cannot be read stops the export itself; for planning it only saves reading files.
    let made = manifest::read(out).unwrap_or_default();
    let mut steps = Vec::new();
    let mut sidecars = BTreeSet::new();
    for placed in placed {
        let below = format!("{}/{}", placed.folder, placed.file);
        let action = match file_action(
            &placed.path,
            &out.join(&below),
            made.files.get(&below).map(String::as_str),
        ) {
            Action::Copy if options.link => Action::Link,
            action => action,
        };
        let names = options
            .sidecars
            .filter(|_| !matches!(action, Action::Missing(_)));
        steps.push(Step {
            name: placed.name.clone(),
            source: Source::File(placed.path.clone()),
            below,
            action,
        });
        if let Some(names) = names {
            add_sidecars(catalogue, out, &placed, names, &mut sidecars, &mut steps);
        }
    }
    ExportPlan {
        out: out.to_owned(),
        steps,
    }
}

/// What to do about a file: [`Action::Copy`] unless something stands against it. `made` is the SHA-256 of the copy made
/// earlier.
fn file_action(source: &Path, target: &Path, made: Option<&str>) -> Action {
    let source_meta = match std::fs::metadata(source) {
        Ok(meta) if meta.is_file() => meta,
        // With the card away, a copy that is whole is there all the same.
        _ if made.is_some_and(|sha256| sha256_of_file(target).is_ok_and(|it| it == sha256)) => {
            return Action::Keep;
        }
        Ok(_) => return Action::Missing("is no file any more".to_owned()),
        Err(e) => return Action::Missing(e.to_string()),
    };
    match std::fs::symlink_metadata(target) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => Action::Copy,
        Err(e) => Action::Missing(format!("its place cannot be looked at: {e}")),
        Ok(target_meta) if !target_meta.is_file() || target_meta.len() != source_meta.len() => {
            Action::Occupied
        }
        Ok(target_meta) if made.is_some() && same_time(&source_meta, &target_meta) => Action::Keep,
        Ok(_) => match (sha256_of_file(source), sha256_of_file(target)) {
            (Ok(source), Ok(target)) if source == target => Action::Keep,
            (Err(e), _) => Action::Missing(e.to_string()),
            _ => Action::Occupied,
        },
    }
}

fn same_time(a: &Metadata, b: &Metadata) -> bool {
    matches!((a.modified(), b.modified()), (Ok(a), Ok(b)) if a == b)
}

/// The sidecars of one file; a raw and its JPEG share the one named by the stem.
fn add_sidecars(
    catalogue: &Catalogue,
    out: &Path,
    placed: &Placed<'_>,
    names: SidecarNames,
    taken: &mut BTreeSet<String>,
    steps: &mut Vec<Step>,
) {
    let text = placed
        .record
        .and_then(|record| sidecar::text(catalogue, record));
    let Some(text) = text else {
        return;
    };
    let stem = match placed.file.rsplit_once('.') {
        Some((stem, _)) if !stem.is_empty() => stem,
        _ => &placed.file,
    };
    let wanted: &[&str] = match names {
        SidecarNames::Stem => &[stem],
        SidecarNames::WholeName => &[&placed.file],
        SidecarNames::Both => &[stem, &placed.file],
    };
    for name in wanted {
        let below = format!("{}/{name}.xmp", placed.folder);
        if taken.insert(below.to_lowercase()) {
            steps.push(Step {
                name: placed.name.clone(),
                action: text_action(&text, &out.join(&below)),
                source: Source::Text(text.clone()),
                below,
            });
        }
    }
}

fn text_action(text: &str, target: &Path) -> Action {
    match std::fs::symlink_metadata(target) {
        Err(e) if e.kind() == io::ErrorKind::NotFound => Action::Write,
        Err(e) => Action::Missing(format!("its place cannot be looked at: {e}")),
        Ok(meta) if meta.is_file() && meta.len() == text.len() as u64 => {
            match std::fs::read(target) {
                Ok(there) if there == text.as_bytes() => Action::Keep,
                _ => Action::Occupied,
            }
        }
        Ok(_) => Action::Occupied,
    }
}

impl Manifest {
    /// Whether the list says that a folder or file was made.
    pub(super) fn is_empty(&self) -> bool {
        self.folders.is_empty() && self.files.is_empty()
    }
}
