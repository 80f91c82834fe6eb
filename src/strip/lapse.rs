//! Steady time-lapses: every frame the same size, in the same place, as bright as the last.

use std::io;

use super::develop::{Target, developed, measured_rings};
use super::level::{Level, Measured, Rings, hue, levels, matched};
use super::pose::{Light, Pose, light_of_shot, pose};
use super::recipe::{Align, Recipe};
use super::sheet::{Layer, Sheet, light_of};
use super::tile::{Open, Tile};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Flag, Notice, Phase, Role, Utc};
use crate::raster::PictureInfo;

/// Frames closer together than this are one moment, of which the best is shown, in seconds.
const MOMENT_S: f64 = 10.0;

/// Radius of the Sun as a share of the picture's side: filtered discs fill it, a corona needs room.
const FILTERED_SHARE: f64 = 0.36;

/// The same for bare frames.
const BARE_SHARE: f64 = 0.16;

/// Exposures that count as one series, in stops.
const SAME_STOPS: f64 = 0.17;

/// What a time-lapse shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Lapse {
    /// The partial phases (and an annularity), through the filter.
    Partials,
    /// Totality with its beads, bare, in one exposure.
    Totality,
}

/// One picture of a time-lapse.
pub struct LapseFrame {
    /// Number in the sequence, from 1.
    pub number: usize,
    /// How many there are in all.
    pub count: usize,
    /// The frame's name on the card.
    pub name: String,
    /// When it was taken.
    pub utc: Option<Utc>,
    /// The picture.
    pub sheet: Sheet,
    /// What its file should say.
    pub info: PictureInfo,
}

/// A frame to show, with how bright it is.
struct Shown<'a> {
    record: &'a ShotRecord,
    pose: Pose,
    rings: Option<Rings>,
}

/// Draws a time-lapse, `side_px` pixels square, and hands on each picture; gives notices of frames left out.
///
/// The recipe gives orientation, tint, brightness, background and credit. Frames are opened twice: to learn how bright
/// they are, and to draw them, so that only one is in memory at a time.
///
/// # Errors
/// Those of `take`, and a frame that opened the first time but not the second.
pub fn time_lapse(
    catalogue: &Catalogue,
    lapse: Lapse,
    recipe: &Recipe,
    side_px: usize,
    open: &Open<'_>,
    take: &mut dyn FnMut(&LapseFrame) -> io::Result<()>,
) -> io::Result<Vec<Notice>> {
    let mut notices = Vec::new();
    let mut shown = Vec::new();
    for record in chosen(catalogue, lapse) {
        let Some(pose) = pose(catalogue, record, recipe.orientation, Align::Sun) else {
            continue;
        };
        match open(record) {
            Ok(tile) => {
                let rings = measured_rings(&tile, &pose);
                shown.push(Shown {
                    record,
                    pose,
                    rings,
                });
            }
            Err(why) => {
                let text = format!("left out of the time-lapse: it {why}");
                notices.push(Notice::look(text).about(record.name()));
            }
        }
    }
    let levels = matched_levels(&shown);
    let hue = hue(
        recipe,
        &levels.iter().flatten().copied().collect::<Vec<Level>>(),
    );
    for (i, (one, level)) in shown.iter().zip(&levels).enumerate() {
        let tile = open(one.record).map_err(io::Error::other)?;
        let mut layer = centred(&tile, one, lapse, side_px);
        if let Some(level) = level {
            matched(&mut layer.light, level, hue, recipe);
        }
        take(&LapseFrame {
            number: i + 1,
            count: shown.len(),
            name: one.record.name().to_owned(),
            utc: one.record.utc,
            sheet: sheet(layer, recipe, side_px),
            info: info(one.record, recipe),
        })?;
    }
    Ok(notices)
}

/// The frames of a time-lapse in time order: unflagged, one a moment.
fn chosen(catalogue: &Catalogue, lapse: Lapse) -> Vec<&ShotRecord> {
    let time = |s: &ShotRecord| catalogue.sequence_utc(s);
    let mut frames: Vec<&ShotRecord> = catalogue
        .shots
        .iter()
        .filter(|s| s.role != Some(Role::Wide) && s.utc.is_some() && belongs(catalogue, s, lapse))
        .collect();
    frames.sort_by(|a, b| time(a).cmp(&time(b)).then_with(|| a.name().cmp(b.name())));
    match lapse {
        Lapse::Partials => best_of_moments(&frames, &time),
        Lapse::Totality => one_exposure(&frames),
    }
}

fn belongs(catalogue: &Catalogue, record: &ShotRecord, lapse: Lapse) -> bool {
    let sound = |flag: Flag| {
        matches!(
            flag,
            Flag::IncompleteBurst | Flag::Flare | Flag::Approximate | Flag::Clipped
        )
    };
    let light = light_of_shot(catalogue, record);
    match lapse {
        Lapse::Partials => {
            let other = matches!(
                record.phase,
                Phase::Untimed | Phase::Unrelated | Phase::Unreadable | Phase::Totality
            );
            light == Light::Filtered && !other && record.flags.iter().all(sound)
        }
        Lapse::Totality => light == Light::Bare && record.flags.iter().all(sound),
    }
}

/// The best frame of each moment.
fn best_of_moments<'a>(
    frames: &[&'a ShotRecord],
    time: &dyn Fn(&ShotRecord) -> Option<Utc>,
) -> Vec<&'a ShotRecord> {
    let mut best: Vec<&ShotRecord> = Vec::new();
    let mut began: Option<Utc> = None;
    let quality = |s: &ShotRecord| s.quality.unwrap_or(0.0);
    for frame in frames {
        let at = time(frame);
        let same = match (began, at) {
            (Some(start), Some(utc)) => utc.seconds_since(start) < MOMENT_S,
            _ => false,
        };
        match best.last_mut() {
            Some(last) if same => {
                if quality(frame) > quality(last) {
                    *last = frame;
                }
            }
            _ => {
                began = at;
                best.push(frame);
            }
        }
    }
    best
}

/// The frames of the exposure used most; of equals the longest, which shows most corona.
fn one_exposure<'a>(frames: &[&'a ShotRecord]) -> Vec<&'a ShotRecord> {
    let stops = |s: &ShotRecord| s.shot.exposure.stops().unwrap_or(0.0);
    let mut best: Vec<&ShotRecord> = Vec::new();
    let mut starts: Vec<f64> = frames.iter().map(|s| stops(s)).collect();
    starts.sort_by(|a, b| b.total_cmp(a));
    for at in starts {
        let same = |s: &&&'a ShotRecord| (stops(s) - at).abs() <= SAME_STOPS;
        let series: Vec<&ShotRecord> = frames.iter().filter(same).copied().collect();
        if series.len() > best.len() {
            best = series;
        }
    }
    best
}

/// Levels of all filtered frames, each body's by itself.
fn matched_levels(shown: &[Shown<'_>]) -> Vec<Option<Level>> {
    let mut found = vec![None; shown.len()];
    let mut bodies: Vec<_> = shown
        .iter()
        .map(|s| s.record.shot.camera.as_ref())
        .collect();
    bodies.sort();
    bodies.dedup();
    for body in bodies {
        let of_body: Vec<usize> = (0..shown.len())
            .filter(|&i| shown[i].rings.is_some() && shown[i].record.shot.camera.as_ref() == body)
            .collect();
        let measured: Vec<Measured<'_>> = of_body
            .iter()
            .map(|&i| Measured {
                rings: shown[i].rings.as_ref(),
                stops: shown[i].record.shot.exposure.stops(),
            })
            .collect();
        for (&i, level) in of_body.iter().zip(levels(&measured)) {
            found[i] = level;
        }
    }
    found
}

/// The disc in the middle of its picture.
fn centred(tile: &Tile, one: &Shown<'_>, lapse: Lapse, side_px: usize) -> Layer {
    let share = match lapse {
        Lapse::Partials => FILTERED_SHARE,
        Lapse::Totality => BARE_SHARE,
    };
    let middle = (side_px as f64 - 1.0) / 2.0;
    let disc = developed(
        tile,
        &one.pose,
        &Target {
            centre: (middle, middle),
            radius_px: share * side_px as f64,
            reach_px: side_px as f64 / 2.0,
        },
    );
    Layer {
        name: one.record.name().to_owned(),
        corner: disc.corner,
        light: disc.light,
    }
}

fn sheet(layer: Layer, recipe: &Recipe, side_px: usize) -> Sheet {
    Sheet {
        width: side_px,
        height: side_px,
        background: light_of(recipe.background),
        backdrop: None,
        layers: vec![layer],
        words: Vec::new(),
    }
}

fn info(record: &ShotRecord, recipe: &Recipe) -> PictureInfo {
    PictureInfo {
        credit: recipe.credit.clone(),
        captured: record.utc.map(|utc| (utc, utc)),
        dpi: recipe.dpi,
        ..PictureInfo::new(format!("One frame of a time-lapse: {}", record.name()))
    }
}
