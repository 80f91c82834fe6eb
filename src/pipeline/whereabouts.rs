//! Finds the pictures of a record on the cards as they lie now: moved, mounted elsewhere, or sorted into other folders.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use walkdir::WalkDir;

use super::PipelineError;
use crate::card::CardError;
use crate::catalogue::{CardRecord, Catalogue, FileRecord, content_id};
use crate::domain::Notice;
use crate::model::ModelError;

/// How the cards of a record were found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Whereabouts {
    /// Whether anything lies elsewhere than the record said.
    pub(super) moved: bool,
    /// Pictures that are nowhere.
    pub(super) missing: usize,
    /// Pictures in all.
    pub(super) all: usize,
}

/// Looks for the cards of a record at `given`, or else where it says they were, or else where they lie as seen from `out`;
/// the record is changed to what was found. Files that are not in their places are looked for by their contents.
///
/// # Errors
/// [`PipelineError`] when a folder of `given` cannot be read or holds none of the record's pictures.
pub(super) fn settle(
    catalogue: &mut Catalogue,
    out: &Path,
    given: &[PathBuf],
) -> Result<Whereabouts, PipelineError> {
    let given = absolute(given)?;
    let mut whereabouts = Whereabouts::default();
    let mut used = BTreeSet::new();
    for card in &mut catalogue.cards {
        let before = card.clone();
        let mut roots = given.clone();
        roots.push(card.path.clone());
        roots.extend(card.beside(out));
        let root = best(card, &roots);
        let found = placed(card, &root, given.contains(&root));
        used.extend(found.iter().any(|found| *found).then(|| root.clone()));
        // The results may have been moved as well: the way between them is taken anew.
        if found.iter().any(|found| *found) {
            *card = CardRecord::new(&root, out, std::mem::take(&mut card.files));
        }
        whereabouts.all += found.len();
        whereabouts.missing += found.iter().filter(|found| !**found).count();
        whereabouts.moved |= *card != before;
    }
    if let Some(strange) = given.iter().find(|root| !used.contains(*root)) {
        return Err(PipelineError::NotTheCard {
            card: strange.clone(),
            out: out.to_owned(),
            cards: catalogue.cards.iter().map(|c| c.path.clone()).collect(),
        });
    }
    take_second_copies(catalogue);
    Ok(whereabouts)
}

impl Whereabouts {
    /// What to tell where pictures are missing.
    pub(super) fn notice(&self) -> Option<Notice> {
        (self.missing > 0).then(|| {
            Notice::note(format!(
                "{} of {} pictures of the record are not where they were; put the card back, or say where it is now with --card NEWPATH",
                self.missing, self.all
            ))
        })
    }
}

fn absolute(given: &[PathBuf]) -> Result<Vec<PathBuf>, PipelineError> {
    let one = |path: &PathBuf| match path.metadata() {
        Ok(meta) if meta.is_dir() => Ok(path.canonicalize().unwrap_or_else(|_| path.clone())),
        Ok(_) => Err(CardError::NotAFolder(path.clone())),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Err(CardError::Missing(path.clone())),
        Err(e) => Err(CardError::Unreadable(path.clone(), e)),
    };
    let all: Result<Vec<PathBuf>, CardError> = given.iter().map(one).collect();
    all.map_err(|e| PipelineError::Model(ModelError::Card(e)))
}

/// The folder that has most of a card's files in their places, the first of equals; where none has any, the first, whose files
/// may lie in other folders.
fn best(card: &CardRecord, roots: &[PathBuf]) -> PathBuf {
    let in_place = |root: &PathBuf| {
        let there = card.files.iter().filter(|file| is_there(file, root));
        there.count()
    };
    let counted = roots.iter().map(|root| (in_place(root), root)).rev();
    let most = counted.max_by_key(|(count, _)| *count);
    most.map_or_else(|| card.path.clone(), |(_, root)| root.clone())
}

/// Whether a file of the right size is in its place below a folder. Size 0 is not known.
fn is_there(file: &FileRecord, root: &Path) -> bool {
    std::fs::metadata(root.join(&file.below))
        .is_ok_and(|meta| meta.is_file() && (file.size_bytes == 0 || meta.len() == file.size_bytes))
}

/// Which files of a card were found below a folder; those in other places than before get their new place. With `doubt`, names
/// and sizes are not enough: another card may have the same.
fn placed(card: &mut CardRecord, root: &Path, doubt: bool) -> Vec<bool> {
    let mut found: Vec<bool> = card
        .files
        .iter()
        .map(|file| is_there(file, root) && (!doubt || is_same(file, &root.join(&file.below))))
        .collect();
    let any = found.iter().any(|found| *found);
    // A folder that nobody named and that holds none of the card in its place may be anything, a whole disk too.
    if found.iter().all(|found| *found) || !root.is_dir() || !(doubt || any) {
        return found;
    }
    let elsewhere = by_content(card, &found, root);
    for (file, found) in card.files.iter_mut().zip(&mut found) {
        let place = file.content_id.as_ref().and_then(|id| elsewhere.get(id));
        if let (false, Some(below)) = (*found, place) {
            file.below = below.clone();
            *found = true;
        }
    }
    found
}

fn is_same(file: &FileRecord, path: &Path) -> bool {
    match &file.content_id {
        Some(id) => content_id(path).is_ok_and(|there| there.as_ref() == Some(id)),
        None => true, // a record that did not ask for contents
    }
}

/// Where below a folder the contents are that were not found: the file's place by its content. Only files of a size that is
/// looked for are opened.
fn by_content(card: &CardRecord, found: &[bool], root: &Path) -> BTreeMap<String, PathBuf> {
    let missing = card.files.iter().zip(found).filter(|(_, found)| !**found);
    let wanted: BTreeMap<u64, Vec<&str>> = missing.fold(BTreeMap::new(), |mut sizes, (file, _)| {
        if let Some(id) = &file.content_id {
            let ids: &mut Vec<&str> = sizes.entry(file.size_bytes).or_default();
            ids.push(id);
        }
        sizes
    });
    if wanted.is_empty() {
        return BTreeMap::new();
    }
    let mut places = BTreeMap::new();
    let entries = WalkDir::new(root).sort_by_file_name().into_iter().flatten();
    for entry in entries.filter(|entry| entry.file_type().is_file()) {
        let size = entry.metadata().map(|meta| meta.len()).unwrap_or(0);
        let Some(ids) = wanted.get(&size) else {
            continue;
        };
        if let (Ok(Some(id)), Ok(below)) =
            (content_id(entry.path()), entry.path().strip_prefix(root))
            && ids.contains(&id.as_str())
        {
            places.entry(id).or_insert_with(|| below.to_owned());
        }
    }
    places
}

/// Gives every shot and film its path; one whose file is gone is read from its second copy where there is one.
fn take_second_copies(catalogue: &mut Catalogue) {
    catalogue.place_files();
    let mut copies: BTreeMap<String, Vec<PathBuf>> = BTreeMap::new();
    for card in &catalogue.cards {
        for file in &card.files {
            if let Some(first) = &file.same_as {
                let path = card.path.join(&file.below);
                copies.entry(first.clone()).or_default().push(path);
            }
        }
    }
    let mut take = |name: &str, path: &mut PathBuf| {
        let others = copies.remove(name).unwrap_or_default();
        if !path.is_file()
            && let Some(other) = others.into_iter().find(|path| path.is_file())
        {
            *path = other;
        }
    };
    for record in &mut catalogue.shots {
        take(&record.shot.file.name, &mut record.shot.file.path);
    }
    for record in &mut catalogue.films {
        take(&record.film.file.name, &mut record.film.file.path);
    }
}

/// How many pictures of a record are among those just read from cards, of how many; by content, or by name and size where the
/// record has no contents.
pub(super) fn shared(record: &Catalogue, read: &[Vec<FileRecord>]) -> (usize, usize) {
    let now: Vec<&FileRecord> = read.iter().flatten().collect();
    let ids: BTreeSet<&str> = now.iter().filter_map(|f| f.content_id.as_deref()).collect();
    let names: BTreeSet<(&str, u64)> = now
        .iter()
        .map(|f| (f.name.as_str(), f.size_bytes))
        .collect();
    let files: Vec<&FileRecord> = record.cards.iter().flat_map(|c| &c.files).collect();
    let is_shared = |file: &&&FileRecord| match &file.content_id {
        Some(id) => ids.contains(id.as_str()),
        None => names.contains(&(file.name.as_str(), file.size_bytes)),
    };
    (files.iter().filter(is_shared).count(), files.len())
}
