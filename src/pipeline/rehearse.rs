//! Reads practice shots of the ordinary filtered Sun.

use std::path::Path;

use super::discs::{self, Seen};
use super::intake::{self, Intake};
use super::kept::{Desk, Kept};
use super::record::sun_only;
use super::{Made, PipelineError, Watch};
use crate::catalogue::ShotRecord;
use crate::disc::DiscHint;
use crate::domain::Notice;
use crate::report;

/// Moon's radius over the Sun's where no eclipse is asked about: there is no Moon to find.
const NO_MOON: f64 = 1.0;

/// Reads the practice shots of a folder and says what to mend before the day. Nothing is written.
///
/// # Errors
/// [`PipelineError`] when the folder cannot be read or holds no pictures.
pub fn rehearse(folder: &Path, watch: &dyn Watch) -> Result<Made, PipelineError> {
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
        pictures: None,
    };
    let (learned, sample) = discs::learn(&shots, &wanted, &|_| (NO_MOON, 1.0), &desk, watch)?;
    let hint = |index: usize| DiscHint {
        sun_radius_px: learned.radius_px(&shots[index]),
        tint: learned.tint(&shots[index]),
        totality: Some(false),
        ..DiscHint::default()
    };
    let seen = discs::look(&shots, &wanted, &sample, &hint, &desk, watch)?;
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
            "{to_mend} points to mend before the day"
        )));
    }
    Ok(Made {
        notices,
        text: rehearsal.text(),
        ..Made::default()
    })
}
