//! From folders to shots with their headers.

use std::path::PathBuf;

use super::discs::each;
use super::{ModelError, Watch};
use crate::card::{self, CardListing};
use crate::catalogue::Stray;
use crate::domain::{CardFile, Exposure, FileFormat, Notice, Orientation, Shot};
use crate::exif;

/// What was on the cards.
pub(crate) struct Intake {
    /// The pictures in shooting order as far as names tell; a JPEG stands for the raw beside it.
    pub(crate) shots: Vec<Shot>,
    /// The raw beside each shot.
    pub(crate) siblings: Vec<Option<CardFile>>,
    /// Why a file can plainly not be read, where that is known already.
    pub(crate) broken: Vec<Option<String>>,
    /// Files that are no pictures.
    pub(crate) strays: Vec<Stray>,
    /// What a person should know.
    pub(crate) notices: Vec<Notice>,
}

/// Lists the cards, but for the folders left out, and reads every header.
pub(crate) fn read(
    cards: &[PathBuf],
    leave_out: &[PathBuf],
    watch: &dyn Watch,
) -> Result<Intake, ModelError> {
    let CardListing {
        files,
        strays,
        mut notices,
    } = card::read(cards, leave_out)?;
    if files.is_empty() {
        return Err(ModelError::NoPictures {
            cards: cards.to_vec(),
            others: strays.len(),
        });
    }
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
        strays: strays
            .into_iter()
            .map(|(name, reason)| Stray { name, reason })
            .collect(),
        notices,
    })
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
fn one(file: &CardFile) -> (Shot, Option<String>, Vec<Notice>) {
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
                "is empty (0 bytes)"
            } else {
                "is named like a picture but holds none"
            };
            (reading.shot, Some(reason.to_owned()), reading.notices)
        }
        Ok(reading) => (reading.shot, None, reading.notices),
        Err(exif::ExifError::Read { cause, .. }) => {
            (bare(), Some(format!("cannot be read: {cause}")), Vec::new())
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
