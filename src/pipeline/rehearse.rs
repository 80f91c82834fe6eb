//! Reads practice shots of the ordinary filtered Sun.

use std::path::Path;

use super::{PipelineError, Watch};
use crate::catalogue::ShotRecord;
use crate::disc::{self, DiscHint};
use crate::domain::{FileFormat, Flag, Notice, Shot};
use crate::model::at_once::{colour_bytes, each_frame};
use crate::model::card::Card;
use crate::model::desk::Desk;
use crate::model::discs::{self, Seen};
use crate::model::intake::{self, Intake};
use crate::model::kept::Kept;
use crate::model::larder::Larder;
use crate::model::lens::Lenses;
use crate::model::measure;
use crate::model::record::sun_only;
use crate::raster;
use crate::report::{self, Rehearsal};

/// What the practice shots say, and what a person should know besides.
#[derive(Clone, Debug)]
pub struct Rehearsed {
    /// Body by body.
    pub rehearsal: Rehearsal,
    /// Notices.
    pub notices: Vec<Notice>,
}

/// Reads the practice shots of a folder and says what to mend before the day. Nothing is written.
///
/// # Errors
/// [`PipelineError`] when the folder cannot be read or holds no pictures.
pub fn rehearse(folder: &Path, watch: &dyn Watch) -> Result<Rehearsed, PipelineError> {
    let Intake {
        shots,
        broken,
        mut notices,
        ..
    } = intake::read(&[folder.to_owned()], &[], watch)?;
    let wanted: Vec<bool> = shots
        .iter()
        .zip(&broken)
        .map(|(shot, broken)| broken.is_none() && discs::has_pixels(shot))
        .collect();
    let desk = Desk {
        kept: &Kept::default(),
        draw: None,
        larder: &Larder::default(),
    };
    let mut card = Card::of_the_sun(&shots, &wanted);
    while let Some(round) = card.due() {
        let answers = measure::measure(&round, &shots, &desk, watch)?;
        card.take(&round, answers);
    }
    let known = card.known();
    let (learned, mut seen) = (known.lenses, known.seen);
    in_colour(&shots, &mut seen, &learned, watch)?;
    for (shot, seen) in shots.iter().zip(&seen) {
        if let Seen::Broken(reason) = seen {
            notices.push(Notice::look(format!("{reason}; left out")).about(&shot.file.name));
        }
    }
    let records: Vec<ShotRecord> = shots
        .iter()
        .zip(&seen)
        .map(|(shot, seen)| sun_only(shot, seen))
        .collect();
    let rehearsal = report::rehearsal(&records);
    let to_mend = rehearsal.to_mend();
    if to_mend > 0 {
        notices.push(Notice::look(format!(
            "{to_mend} points to fix before the day"
        )));
    }
    Ok(Rehearsed { rehearsal, notices })
}

/// Measures the light of the discs found in JPEG files once more, in the brightest channel: they were looked for in luma,
/// where an orange disc whose red saturates looks grey. The fitted circles stay as they are.
fn in_colour(
    shots: &[Shot],
    seen: &mut [Seen],
    learned: &Lenses,
    watch: &dyn Watch,
) -> Result<(), PipelineError> {
    let coded = |index: usize| shots[index].file.format == FileFormat::Jpeg;
    let found: Vec<usize> = (0..shots.len())
        .filter(|&index| coded(index) && seen[index].fit().is_some())
        .collect();
    watch.begin("measuring the light", found.len() as u64);
    let bytes = |index: usize| colour_bytes(&shots[index]);
    let lights = each_frame(&found, bytes, watch, |index| {
        let shot = &shots[index];
        let frame = raster::decode(&shot.file.path, shot.orientation).ok()?;
        let hint = DiscHint {
            sun_radius_px: learned.of(shot).sun_radius_at(shot),
            totality: Some(false),
            ..DiscHint::default()
        };
        let report = disc::examine(&frame, &hint);
        report.fit.is_ok().then_some(report)
    })?;
    watch.end();
    for (index, light) in found.into_iter().zip(lights) {
        if let (Seen::Yes(report, _), Some(light)) = (&mut seen[index], light) {
            report.look = light.look;
            if light.flags.has(Flag::Clipped) {
                report.flags.set(Flag::Clipped);
            }
        }
    }
    Ok(())
}
