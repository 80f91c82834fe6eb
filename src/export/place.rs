//! Which file goes where.

use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

use super::PHASES_FOLDER;
use crate::catalogue::{Catalogue, FilmRecord, ShotRecord};
use crate::domain::{Phase, Role};

/// A file to export and its place.
pub(super) struct Placed<'a> {
    /// The shot it belongs to; films have none.
    pub(super) record: Option<&'a ShotRecord>,
    /// Name on the card.
    pub(super) name: String,
    pub(super) path: PathBuf,
    /// Folder below OUT.
    pub(super) folder: String,
    /// Name in that folder.
    pub(super) file: String,
}

/// Every shot of the catalogue and the siblings that have no row of their own, in the catalogue's order, then every film. A film of several
/// phases goes by one of them: [`crate::catalogue::chief_phase`].
pub(super) fn all(catalogue: &Catalogue) -> Vec<Placed<'_>> {
    let films = catalogue.films.iter().map(film_at);
    placed(
        catalogue,
        &|record| Some(folder(record.phase, record.role)),
        films.collect(),
    )
}

/// The shots with these names, their siblings with them, in one folder below the phase folders.
pub(super) fn chosen<'a>(
    catalogue: &'a Catalogue,
    names: &BTreeSet<&str>,
    within: &str,
) -> Vec<Placed<'a>> {
    let folder = format!("{PHASES_FOLDER}/{within}");
    let chosen = |record: &ShotRecord| names.contains(record.name()).then(|| folder.clone());
    placed(catalogue, &chosen, Vec::new())
}

/// The shots that have a folder, and their siblings; then the films given.
fn placed<'a>(
    catalogue: &'a Catalogue,
    folder_of: &dyn Fn(&ShotRecord) -> Option<String>,
    films: Vec<Placed<'a>>,
) -> Vec<Placed<'a>> {
    let rows: BTreeSet<&str> = catalogue.shots.iter().map(ShotRecord::name).collect();
    let paths = catalogue.paths();
    let mut placed = Vec::new();
    for record in &catalogue.shots {
        let Some(folder) = folder_of(record) else {
            continue;
        };
        placed.push(at(
            record,
            record.name().to_owned(),
            record.shot.file.path.clone(),
            folder.clone(),
        ));
        let sibling = record
            .sibling
            .as_deref()
            .filter(|name| !rows.contains(name));
        if let Some(name) = sibling {
            let beside = || record.shot.file.path.with_file_name(split(name).1);
            let path = paths.get(name).cloned().unwrap_or_else(beside);
            placed.push(at(record, name.to_owned(), path, folder));
        }
    }
    placed.extend(films);
    keep_apart(&mut placed);
    placed
}

fn film_at(record: &FilmRecord) -> Placed<'_> {
    let name = record.name().to_owned();
    Placed {
        record: None,
        file: split(&name).1.to_owned(),
        name,
        path: record.film.file.path.clone(),
        folder: folder(record.phase, record.role),
    }
}

fn at(record: &ShotRecord, name: String, path: PathBuf, folder: String) -> Placed<'_> {
    let file = split(&name).1.to_owned();
    Placed {
        record: Some(record),
        name,
        path,
        folder,
        file,
    }
}

/// The folder for a phase and a role. What is not of this eclipse, or of a time not known, has one folder for both roles.
fn folder(phase: Phase, role: Option<Role>) -> String {
    let of_eclipse = !matches!(phase, Phase::Untimed | Phase::Unrelated | Phase::Unreadable);
    let phase = phase.folder();
    match role {
        Some(Role::Wide) if of_eclipse => format!("{PHASES_FOLDER}/wide/{phase}"),
        _ => format!("{PHASES_FOLDER}/{phase}"),
    }
}

/// Folders and file of a name on the card.
fn split(name: &str) -> (&str, &str) {
    name.rsplit_once('/').unwrap_or(("", name))
}

/// The file without its ending, in lower case: what must be one shot's alone in a folder.
fn stem(file: &str) -> String {
    match file.rsplit_once('.') {
        Some((stem, _)) if !stem.is_empty() => stem.to_lowercase(),
        _ => file.to_lowercase(),
    }
}

/// Gives files of one stem from different folders of the card the names of those folders in front. A raw keeps the stem
/// of its JPEG. Names that are still the same (upper and lower case count as one) get a number behind.
fn keep_apart(placed: &mut [Placed<'_>]) {
    let mut origins: BTreeMap<(String, String), BTreeSet<String>> = BTreeMap::new();
    for p in placed.iter() {
        let origin = split(&p.name).0.to_owned();
        let place = (p.folder.clone(), stem(&p.file));
        origins.entry(place).or_default().insert(origin);
    }
    let mut taken = BTreeSet::new();
    for p in placed.iter_mut() {
        let shared = origins[&(p.folder.clone(), stem(&p.file))].len() > 1;
        let wanted = if shared {
            p.name.replace('/', "-")
        } else {
            p.file.clone()
        };
        p.file = free(&mut taken, &p.folder, wanted);
    }
}

fn free(taken: &mut BTreeSet<String>, folder: &str, wanted: String) -> String {
    let (stem, ending) = match wanted.rsplit_once('.') {
        Some((stem, ending)) if !stem.is_empty() => (stem, format!(".{ending}")),
        _ => (wanted.as_str(), String::new()),
    };
    let mut name = wanted.clone();
    let mut number = 2;
    while !taken.insert(format!("{folder}/{name}").to_lowercase()) {
        name = format!("{stem}~{number}{ending}");
        number += 1;
    }
    name
}
