//! From folders to shots with their headers.

use std::collections::BTreeMap;
use std::fs::File;
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

use super::discs::each;
use super::{ModelError, Watch};
use crate::card::{self, CardListing};
use crate::catalogue::{FileRecord, Stray, content_id};
use crate::domain::{
    CardFile, Exposure, FileFormat, Film, FilmFile, IoCause, Notice, NoticeKind, Orientation, Shot,
    Unreadable,
};
use crate::exif;
use crate::film;

/// What was on the cards.
pub(crate) struct Intake {
    /// The pictures in shooting order as far as names tell; a JPEG stands for the raw beside it.
    pub(crate) shots: Vec<Shot>,
    /// The raw beside each shot.
    pub(crate) siblings: Vec<Option<CardFile>>,
    /// Why a file can plainly not be read, where that is known already.
    pub(crate) broken: Vec<Option<Unreadable>>,
    /// The films, by name.
    pub(crate) films: Vec<Film>,
    /// Files that are neither.
    pub(crate) strays: Vec<Stray>,
    /// Every picture's place on each card, in the order of the cards.
    pub(crate) places: Vec<Vec<FileRecord>>,
    /// What a person should know.
    pub(crate) notices: Vec<Notice>,
}

/// Lists the cards, but for the folders left out, and reads every header. Files with the same bytes are one shot with two
/// places.
pub(crate) fn read(
    cards: &[PathBuf],
    leave_out: &[PathBuf],
    watch: &dyn Watch,
) -> Result<Intake, ModelError> {
    let CardListing {
        files,
        films,
        strays,
        mut notices,
    } = card::read(cards, leave_out)?;
    if files.is_empty() {
        return Err(ModelError::NoPictures {
            cards: cards.to_vec(),
            others: strays.len() + films.len(),
        });
    }
    let (files, mut places) = apart(files, cards, watch, &mut notices)?;
    let films = films_apart(films, cards, &mut places);
    let films = each(&(0..films.len()).collect::<Vec<_>>(), watch, |index| {
        film::read(&films[index])
    })?;
    let (mains, siblings) = with_siblings(files);
    let all: Vec<usize> = (0..mains.len()).collect();
    watch.begin("reading headers", all.len() as u64);
    let readings = each(&all, watch, |index| one(&mains[index]))?;
    watch.end();
    let mut shots = Vec::new();
    let mut broken = Vec::new();
    for (shot, reason, told) in readings {
        shots.push(shot);
        broken.push(reason);
        notices.extend(told);
    }
    exif::settle_subsec(&mut shots);
    Ok(Intake {
        shots,
        siblings,
        broken,
        films,
        strays: strays
            .into_iter()
            .map(|(name, reason)| Stray { name, reason })
            .collect(),
        places,
        notices,
    })
}

/// The files without second copies of the same bytes, and the places of all.
fn apart(
    files: Vec<CardFile>,
    cards: &[PathBuf],
    watch: &dyn Watch,
    notices: &mut Vec<Notice>,
) -> Result<(Vec<CardFile>, Vec<Vec<FileRecord>>), ModelError> {
    let all: Vec<usize> = (0..files.len()).collect();
    watch.begin("telling files apart", all.len() as u64);
    // A file that cannot be read is told of when its header is read.
    let ids = each(&all, watch, |index| {
        content_id(&files[index].path).ok().flatten()
    })?;
    watch.end();
    let same_as = second_copies(&files, &ids);
    if let Some((second, first)) = same_as.iter().next() {
        notices.push(Notice::note(NoticeKind::SecondCopies {
            files: same_as.len(),
            first: files[*first].name.clone(),
            second: files[*second].name.clone(),
        }));
    }
    let mut places: Vec<Vec<FileRecord>> = vec![Vec::new(); cards.len()];
    for (index, file) in files.iter().enumerate() {
        let Some((card, below)) = card_of(&file.path, cards) else {
            continue;
        };
        places[card].push(FileRecord {
            name: file.name.clone(),
            below: below.to_owned(),
            size_bytes: file.size_bytes,
            content_id: ids[index].clone(),
            same_as: same_as.get(&index).map(|first| files[*first].name.clone()),
        });
    }
    let firsts = files
        .into_iter()
        .enumerate()
        .filter(|(index, _)| !same_as.contains_key(index))
        .map(|(_, file)| file);
    Ok((firsts.collect(), places))
}

/// The films without second copies of the same bytes; the places of all are added to those of the pictures.
fn films_apart(
    films: Vec<FilmFile>,
    cards: &[PathBuf],
    places: &mut [Vec<FileRecord>],
) -> Vec<FilmFile> {
    let mut firsts: Vec<(Option<String>, FilmFile)> = Vec::new();
    for film in films {
        let id = content_id(&film.path).ok().flatten();
        let same = |first: &&(Option<String>, FilmFile)| {
            id.is_some() && first.0 == id && same_bytes(&first.1.path, &film.path).unwrap_or(false)
        };
        let same_as = firsts
            .iter()
            .find(same)
            .map(|(_, first)| first.name.clone());
        if let Some((card, below)) = card_of(&film.path, cards) {
            places[card].push(FileRecord {
                name: film.name.clone(),
                below: below.to_owned(),
                size_bytes: film.size_bytes,
                content_id: id.clone(),
                same_as: same_as.clone(),
            });
        }
        if same_as.is_none() {
            firsts.push((id, film));
        }
    }
    firsts.into_iter().map(|(_, film)| film).collect()
}

/// The card a file lies on, the innermost where one card lies in another, and the way below it.
fn card_of<'a>(path: &'a Path, cards: &[PathBuf]) -> Option<(usize, &'a Path)> {
    cards
        .iter()
        .enumerate()
        .filter_map(|(n, card)| Some((n, path.strip_prefix(card).ok()?)))
        .min_by_key(|(_, below)| below.components().count())
}

/// Files that hold the same bytes as another: index of the copy, index of the one that stands for both. Of the copies of one
/// picture the first stands for all, but one with its raw or JPEG beside it before one without.
fn second_copies(files: &[CardFile], ids: &[Option<String>]) -> BTreeMap<usize, usize> {
    let mut alike: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
    for (index, id) in ids.iter().enumerate() {
        if let Some(id) = id
            .as_deref()
            .filter(|_| files[index].format != FileFormat::Other)
        {
            alike.entry(id).or_default().push(index);
        }
    }
    alike.retain(|_, members| members.len() > 1);
    if alike.is_empty() {
        return BTreeMap::new();
    }
    let mut paired = vec![false; files.len()];
    for pair in card::siblings(files) {
        paired[pair.raw] = true;
        paired[pair.picture] = true;
    }
    let mut copies = BTreeMap::new();
    for mut members in alike.into_values() {
        members.sort_by_key(|&index| (!paired[index], index));
        let first = members[0];
        for &other in &members[1..] {
            // Ends that agree are no proof yet.
            if same_bytes(&files[first].path, &files[other].path).unwrap_or(false) {
                copies.insert(other, first);
            }
        }
    }
    copies
}

/// Whether two files hold the same bytes.
fn same_bytes(a: &Path, b: &Path) -> io::Result<bool> {
    const CHUNK_BYTES: usize = 1 << 18;
    let (mut a, mut b) = (File::open(a)?, File::open(b)?);
    if a.metadata()?.len() != b.metadata()?.len() {
        return Ok(false);
    }
    let (mut from_a, mut from_b) = (vec![0; CHUNK_BYTES], vec![0; CHUNK_BYTES]);
    loop {
        let len = a.read(&mut from_a)?;
        if len == 0 {
            return Ok(true);
        }
        b.read_exact(&mut from_b[..len])?;
        if from_a[..len] != from_b[..len] {
            return Ok(false);
        }
    }
}

/// Makes sure that of each card something is still there.
pub(crate) fn still_there(cards: &[PathBuf], shots: &[Shot]) -> Result<(), ModelError> {
    for card in cards {
        let mut own = shots
            .iter()
            .map(|shot| &shot.file.path)
            .filter(|path| path.starts_with(card))
            .peekable();
        if own.peek().is_some() && !own.any(|path| path.exists()) {
            return Err(ModelError::CardGone(card.clone()));
        }
    }
    Ok(())
}

/// One header, why the file is unreadable if it is, and what to tell.
fn one(file: &CardFile) -> (Shot, Option<Unreadable>, Vec<Notice>) {
    let bare = || Shot {
        file: file.clone(),
        camera: None,
        stamp: None,
        gps: None,
        exposure: Exposure::default(),
        orientation: Orientation::UPRIGHT,
        width_px: None,
        height_px: None,
    };
    match exif::read(file) {
        Ok(reading) if file.format == FileFormat::Other => {
            let reason = if file.size_bytes == 0 {
                Unreadable::Empty
            } else {
                Unreadable::NamedLikeAPicture
            };
            (reading.shot, Some(reason), reading.notices)
        }
        Ok(reading) => (reading.shot, None, reading.notices),
        Err(exif::ExifError::Read { cause, .. }) => {
            let cause = IoCause::from(&cause);
            (bare(), Some(Unreadable::NotRead { cause }), Vec::new())
        }
    }
}

/// Takes raws out of the list where a finished picture stands beside them.
fn with_siblings(files: Vec<CardFile>) -> (Vec<CardFile>, Vec<Option<CardFile>>) {
    let mut raw_of: Vec<Option<usize>> = vec![None; files.len()];
    let mut is_sibling = vec![false; files.len()];
    for pair in card::siblings(&files) {
        raw_of[pair.picture] = Some(pair.raw);
        is_sibling[pair.raw] = true;
    }
    let mut mains = Vec::new();
    let mut siblings = Vec::new();
    for (index, file) in files.iter().enumerate() {
        if !is_sibling[index] {
            mains.push(file.clone());
            siblings.push(raw_of[index].map(|raw| files[raw].clone()));
        }
    }
    (mains, siblings)
}
