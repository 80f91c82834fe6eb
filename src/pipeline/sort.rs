//! The reading half: from a card to its record.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use super::keepsake;
use super::out::{Folder, OutFolder, keep_apart};
use super::whereabouts;
use super::{Made, PROGRAM, PipelineError, Settings, Watch};
use crate::burst;
use crate::catalogue::{CATALOGUE_FILE, Catalogue, FILMS_FILE, TABLE_FILE};
use crate::disc::DiscReport;
use crate::domain::{CameraId, ClockCorrection, Shot, TaggedShot};
use crate::model::card::Card;
use crate::model::desk::{Desk, Draw};
use crate::model::discs;
use crate::model::intake::{self, Intake};
use crate::model::kept::Kept;
use crate::model::larder::Larder;
use crate::model::place::{self, Place};
use crate::model::{clocks, measure, record};
use crate::phase::{self, PhaseWindows};

/// Frames within this many seconds of first or fourth contact on an uncorrected clock are looked at: a zone taken wrong by half
/// a day and a photographer who came early.
const LOOKED_AT_S: f64 = 16.0 * 3600.0;

/// Reads the card and writes the record.
///
/// # Errors
/// [`PipelineError`] when the run cannot be done at all; trouble with single files is in the notices.
pub fn sort(settings: &Settings, watch: &dyn Watch) -> Result<Made, PipelineError> {
    let out = open(settings)?;
    sort_into(settings, &out, watch, &|_| Ok(()))
}

/// Opens the folder for the results of a card.
pub(crate) fn open(settings: &Settings) -> Result<OutFolder, PipelineError> {
    keep_apart(&settings.cards, &settings.out)?;
    if settings.dry_run {
        Ok(OutFolder::untouched(&settings.out))
    } else {
        OutFolder::open(&settings.out, Folder::Given)
    }
}

/// The same into a folder already opened. The record is written once `fits` has nothing against it.
pub(crate) fn sort_into(
    settings: &Settings,
    out: &OutFolder,
    watch: &dyn Watch,
    fits: &dyn Fn(&Catalogue) -> Result<(), PipelineError>,
) -> Result<Made, PipelineError> {
    // What is told of looks kept is told here alone: the record of a run that went on is that of one that ran through.
    let mut notices = Vec::new();
    // The record outlives the folder we stand in: later commands run from anywhere.
    let cards: Vec<PathBuf> = settings
        .cards
        .iter()
        .map(|card| std::path::absolute(card).unwrap_or_else(|_| card.clone()))
        .collect();
    let intake = intake::read(&cards, std::slice::from_ref(&settings.out), watch)?;
    let earlier = match settings.drawn {
        true => Earlier::Plain,
        false => of_this_card(&out.path, &cards, &intake)?,
    };
    let kept = Kept::open(&out.path, !settings.dry_run, &mut notices);
    let catalogue = read(settings, out, &cards, intake, &kept, watch)?;
    notices.extend(kept.settle());
    fits(&catalogue)?;
    if !settings.dry_run {
        if earlier == Earlier::KnowsMore {
            out.keep_record()?;
        }
        out.save(&catalogue)?;
    }
    notices.extend(catalogue.notices.iter().cloned());
    notices.extend(out.told());
    let mut names = vec![CATALOGUE_FILE, TABLE_FILE];
    names.extend((!catalogue.films.is_empty()).then_some(FILMS_FILE));
    Ok(Made {
        notices,
        catalogue: Some(catalogue),
        files: names.iter().map(|name| out.path.join(name)).collect(),
        ..Made::default()
    })
}

/// The record that was in the folder of results.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Earlier {
    /// None, or one the new one may take the place of.
    Plain,
    /// Most of its pictures are not on the card any more: it is the only one that knows them.
    KnowsMore,
}

/// Makes sure that a record in the folder of results, where there is one, is of the card just read: that they share a picture.
/// One that cannot be read is no hindrance; it is kept aside when the new one is written.
fn of_this_card(out: &Path, cards: &[PathBuf], intake: &Intake) -> Result<Earlier, PipelineError> {
    let Ok(earlier) = Catalogue::load(out) else {
        return Ok(Earlier::Plain);
    };
    if earlier.is_joined() {
        return Err(PipelineError::OutIsJoined(out.to_owned()));
    }
    match whereabouts::shared(&earlier, &intake.places) {
        (_, 0) => Ok(Earlier::Plain),
        (0, pictures) => Err(PipelineError::OutOfAnotherCard {
            out: out.to_owned(),
            theirs: earlier.cards.iter().map(|c| c.path.clone()).collect(),
            ours: cards.to_vec(),
            pictures,
        }),
        (shared, pictures) if 2 * shared < pictures => Ok(Earlier::KnowsMore),
        _ => Ok(Earlier::Plain),
    }
}

/// The stages in order.
fn read(
    settings: &Settings,
    out: &OutFolder,
    cards: &[PathBuf],
    mut intake: Intake,
    kept: &Kept,
    watch: &dyn Watch,
) -> Result<Catalogue, PipelineError> {
    let mut notices = std::mem::take(&mut intake.notices);
    let given = settings.given();
    let place = place::settle(&given, &intake.shots, &mut notices)?;
    clocks::doubt_tags(&mut intake.shots, &mut notices);
    let trusted = clocks::at_their_word(&intake.shots, &given, &place, &mut notices);
    let wanted = worth_a_look(&intake, &trusted, &place);
    let word = clocks::Word {
        clocks: &trusted,
        mirrored: settings.mirrored,
    };
    let overlay: Draw<'_> = &|shot: &Shot, report: &DiscReport| {
        keepsake::keep_overlay(out, shot, report);
    };
    let larder = Larder::default();
    let desk = Desk {
        kept,
        draw: (settings.overlays && !settings.dry_run).then_some(overlay),
        larder: &larder,
    };
    let mut card = Card::new(&intake.shots, &wanted, &place, &word);
    while let Some(round) = card.due() {
        let answers = measure::measure(&round, &intake.shots, &desk, watch)?;
        intake::still_there(cards, &intake.shots)?;
        card.take(&round, answers);
    }
    let known = card.known();
    notices.extend(known.lenses.slip_notices(&intake.shots));
    notices.extend(known.notices);
    let solved = known.solved;
    let tagged = tag(&intake.shots, &solved, &place);
    let bursts = burst::group(&tagged);
    Ok(record::assemble(record::Findings {
        program: PROGRAM,
        cards,
        out: &settings.out,
        given: &given,
        intake,
        place: &place,
        seen: &known.seen,
        learned: &known.lenses,
        solved: &solved,
        tagged: &tagged,
        bursts: &bursts,
        notices,
    }))
}

/// Times and phases; a shot whose look contradicts its body's clock has no time.
fn tag(shots: &[Shot], solved: &clocks::Solved, place: &Place) -> Vec<TaggedShot> {
    let mut believed = shots.to_vec();
    for (index, shot) in believed.iter_mut().enumerate() {
        if solved.contradicts(index) {
            shot.stamp = None;
        }
    }
    let windows = PhaseWindows::default();
    phase::tag(&believed, &solved.by_body(), &place.contacts, &windows)
}

/// Which frames to decode: of the day of the eclipse, of bodies whose clock is wholly off, and those without a time.
fn worth_a_look(intake: &Intake, trusted: &phase::Clocks, place: &Place) -> Vec<bool> {
    let near = |shot: &Shot, clock: &ClockCorrection| {
        shot.stamp.as_ref().is_none_or(|stamp| {
            let utc = clock.utc_of(stamp).0;
            let after_c1 = utc.seconds_since(place.contacts.c1.utc);
            let after_c4 = utc.seconds_since(place.contacts.c4.utc);
            after_c1 > -LOOKED_AT_S && after_c4 < LOOKED_AT_S
        })
    };
    let is_near: Vec<bool> = intake
        .shots
        .iter()
        .map(|shot| {
            trusted
                .get(&shot.camera)
                .is_none_or(|clock| near(shot, clock))
        })
        .collect();
    let with_day: BTreeSet<&Option<CameraId>> = intake
        .shots
        .iter()
        .zip(&is_near)
        .filter(|(shot, near)| **near && shot.stamp.is_some())
        .map(|(shot, _)| &shot.camera)
        .collect();
    intake
        .shots
        .iter()
        .enumerate()
        .map(|(index, shot)| {
            intake.broken[index].is_none()
                && discs::has_pixels(shot)
                && (is_near[index] || !with_day.contains(&shot.camera))
        })
        .collect()
}
