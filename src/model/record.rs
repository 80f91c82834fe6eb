//! Puts the findings together into the record of the card.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use super::Given;
use super::clocks::Solved;
use super::discs::{ScaleKey, Seen, scale_key};
use super::films;
use super::intake::Intake;
use super::lens::Lenses;
use super::place::Place;
use super::roles;
use crate::burst;
use crate::catalogue::{CameraRecord, CardRecord, Catalogue, ShotRecord, VERSION};
use crate::clock::Turn;
use crate::domain::{
    APPROXIMATE_PX, Burst, CameraId, Circle, DiscFit, FileFormat, Flag, Limb, LocalKind, NoDisc,
    Notice, NoticeKind, Phase, Role, Shot, SunMoon, TaggedShot, Unreadable, upper_median,
};
use crate::flag;
use crate::phase;
use crate::raster;

/// All that was found, stage by stage.
pub(crate) struct Findings<'a> {
    pub(crate) program: &'a str,
    pub(crate) cards: &'a [PathBuf],
    pub(crate) out: &'a Path,
    pub(crate) given: &'a Given,
    pub(crate) intake: Intake,
    pub(crate) place: &'a Place,
    pub(crate) seen: &'a [Seen],
    pub(crate) learned: &'a Lenses,
    pub(crate) solved: &'a Solved,
    pub(crate) tagged: &'a [TaggedShot],
    pub(crate) bursts: &'a [Burst],
    pub(crate) notices: Vec<Notice>,
}

/// In a filtered phase a frame whose middle pixel is this bright and that shows no disc is plainly not the Sun.
const DAYLIGHT: f64 = 0.05;

/// The same of a frame that does show something large and round: an eyepiece's field or a Sun far out of focus fills half the picture
/// with light (seen: 0.06 to 0.17), and a frame is not given away on thin evidence.
const DAYLIGHT_IF_ROUND: f64 = 0.2;

/// Share of the edges that lie on one round shape, in percent, from which on a picture shows something round (seen: at most 28 on
/// pictures of a camp and of people, 40 and more on Suns cut by an eyepiece's field).
const ROUND_PERCENT: f64 = 35.0;

/// A Moon whose limb is seen this far round was fitted to all of it, mountains and valleys on both sides.
const WHOLE_LIMB_DEG: f64 = 300.0;

/// Makes the record.
pub(crate) fn assemble(findings: Findings<'_>) -> Catalogue {
    let Findings {
        program,
        cards,
        out,
        given,
        intake,
        place,
        seen,
        learned,
        solved,
        tagged,
        bursts,
        mut notices,
    } = findings;
    let roles = roles::decide(&intake.shots, seen);
    let places = burst::places(tagged, bursts);
    let burst_flags = burst::flags(tagged, bursts);
    let radii = sun_radii(&intake.shots, seen);
    let mut shots: Vec<ShotRecord> = (0..intake.shots.len())
        .map(|i| {
            let shot = &intake.shots[i];
            let broken = broken_reason(intake.broken[i].as_ref(), &seen[i]);
            let phase = phase_of(&tagged[i], broken, &seen[i], roles[i]);
            let predicted = predicted(&tagged[i], phase, place);
            let turn = solved.turn_of(i);
            let fit = seen[i].fit().map(|fit| {
                let radius = learned
                    .slipped_radius_px(shot)
                    .map(|radius_px| radius_px.value)
                    .or_else(|| radii.get(&scale_key(shot)).copied());
                let whole = fit.limb == Limb::Moon && fit.limb_arc_deg >= WHOLE_LIMB_DEG;
                let sky = predicted.as_ref().map(|sky| match whole {
                    true => place.fitted_whole(sky),
                    false => *sky,
                });
                match tagged[i].utc {
                    Some(_) => with_sun(*fit, sky.as_ref(), turn, radius),
                    None => with_sun_of_some_time(*fit, place),
                }
            });
            let mut flags = phase::flags(&tagged[i]);
            flags.join(&burst_flags[i]);
            if let Some(report) = seen[i].report() {
                flags.join(&report.flags);
            }
            // The Sun of totality is less sure than the Moon that was fitted.
            let approximate = fit.is_some_and(|fit| fit.sigma_px > APPROXIMATE_PX);
            flags.put(Flag::Approximate, approximate);
            ShotRecord {
                shot: shot.clone(),
                role: roles[i],
                utc: tagged[i].utc,
                utc_sigma_s: tagged[i].utc_sigma_s,
                phase,
                near_contact: tagged[i].near_contact,
                burst: places[i],
                disc: fit,
                no_disc: seen[i].report().and_then(|r| r.fit.err()),
                look: seen[i].report().map(|r| r.look),
                north_deg: turn.map(|t| t.north_deg),
                mirrored: turn.map(|t| t.mirrored).or(given.mirrored),
                predicted,
                quality: seen[i].report().map(|r| r.quality),
                flags,
                sibling: intake.siblings[i].as_ref().map(|file| file.name.clone()),
            }
        })
        .collect();
    flag::across_card(&mut shots);
    for (i, record) in shots.iter().enumerate() {
        let broken = broken_reason(intake.broken[i].as_ref(), &seen[i]);
        notices.extend(notice_for(record, broken));
    }
    notices.extend(flag::notices(&shots));
    notices.extend(raw_notice(&shots));
    shots.sort_by(|a, b| match (a.utc, b.utc) {
        (Some(x), Some(y)) => x.cmp(&y),
        (Some(_), None) => std::cmp::Ordering::Less,
        (None, Some(_)) => std::cmp::Ordering::Greater,
        (None, None) => std::cmp::Ordering::Equal,
    });
    let zone = given.zone.as_ref().or(place.zone.as_ref());
    let cameras = cameras(&shots, solved, &radii);
    let evidence = films::Evidence {
        shots: &shots,
        cameras: &cameras,
        given,
        place,
    };
    let films = films::records(intake.films, &evidence, &mut notices);
    Catalogue {
        version: VERSION,
        program: program.to_owned(),
        cards: cards
            .iter()
            .zip(intake.places)
            .map(|(card, files)| CardRecord::new(card, out, files))
            .collect(),
        sources: Vec::new(),
        site_source: Some(place.source),
        zone: zone.map(|z| z.name.clone()),
        corona: None,
        contacts: Some(place.contacts.clone()),
        cameras,
        shots,
        films,
        strays: intake.strays,
        notices,
    }
}

/// Whether a frame was looked at and could not be decoded.
fn broken_reason<'a>(known: Option<&'a Unreadable>, seen: &'a Seen) -> Option<&'a Unreadable> {
    match (known, seen) {
        (Some(reason), _) => Some(reason),
        (None, Seen::Broken(reason)) => Some(reason),
        _ => None,
    }
}

/// The record of a shot of the ordinary Sun: no eclipse, no clock, no phase.
pub(crate) fn sun_only(shot: &Shot, seen: &Seen) -> ShotRecord {
    let report = seen.report();
    ShotRecord {
        shot: shot.clone(),
        role: None,
        utc: None,
        utc_sigma_s: None,
        phase: Phase::Unrelated,
        near_contact: None,
        burst: None,
        disc: seen.fit().copied(),
        no_disc: report.and_then(|r| r.fit.err()),
        look: report.map(|r| r.look),
        north_deg: None,
        mirrored: None,
        predicted: None,
        quality: report.map(|r| r.quality),
        flags: report.map(|r| r.flags.clone()).unwrap_or_default(),
        sibling: None,
    }
}

/// The time's phase, unless the file is broken or the picture plainly shows something else.
fn phase_of(
    tagged: &TaggedShot,
    broken: Option<&Unreadable>,
    seen: &Seen,
    role: Option<Role>,
) -> Phase {
    if broken.is_some() {
        return Phase::Unreadable;
    }
    let filtered = tagged.phase.is_filtered();
    let daylight = seen.report().is_some_and(|r| match r.fit {
        Ok(_) => false,
        Err(why) if is_round(why) => r.look.sky > DAYLIGHT_IF_ROUND,
        Err(_) => r.look.sky > DAYLIGHT,
    });
    // A landscape is part of the day by its time alone; without one nothing says that it is.
    let no_sun = tagged.phase == Phase::Untimed || filtered && role != Some(Role::Wide);
    if daylight && no_sun {
        Phase::Unrelated
    } else {
        tagged.phase
    }
}

/// Whether a frame without a disc shows something round all the same.
fn is_round(why: NoDisc) -> bool {
    match why {
        NoDisc::NotTheSun => true,
        NoDisc::Cluttered { percent } => percent >= ROUND_PERCENT,
        _ => false,
    }
}

fn predicted(tagged: &TaggedShot, phase: Phase, place: &Place) -> Option<SunMoon> {
    let utc = tagged.utc?;
    let middle_s = 0.5 * tagged.shot.exposure.shutter_s.unwrap_or(0.0);
    (tagged.phase != Phase::Unrelated || phase != Phase::Unrelated)
        .then(|| place.view.at(utc.plus_s(middle_s)))
}

/// The middle radius of the Suns of each scale, in pixels.
fn sun_radii(shots: &[Shot], seen: &[Seen]) -> BTreeMap<ScaleKey, f64> {
    let mut found: BTreeMap<ScaleKey, Vec<f64>> = BTreeMap::new();
    for (shot, seen) in shots.iter().zip(seen) {
        let sun = seen
            .fit()
            .filter(|f| f.limb == Limb::Sun)
            .and_then(|f| f.sun);
        if let Some(sun) = sun {
            found
                .entry(scale_key(shot))
                .or_default()
                .push(sun.radius_px);
        }
    }
    found
        .into_iter()
        .filter_map(|(key, mut radii)| Some((key, upper_median(&mut radii)?)))
        .collect()
}

/// A Moon whose radius differs by more than this from what the lens's Sun makes of it was taken at another scale: cut out and
/// enlarged by its owner, or at another zoom than its header says. Fits held by the lens's radius stay within a third of it.
const OWN_SCALE: f64 = 0.015;

/// Gives a fit on the Moon's limb in a frame without a time its Sun, where the eclipse is total: somewhere behind the Moon, as large as
/// at maximum. One sigma is that of a distance spread evenly over how far the Sun can move behind the Moon.
fn with_sun_of_some_time(fit: DiscFit, place: &Place) -> DiscFit {
    let (Limb::Moon, Some(moon), LocalKind::Total) = (fit.limb, fit.moon, place.contacts.kind)
    else {
        return fit;
    };
    let ratio = place.view.at(place.contacts.maximum.utc).ratio();
    let radius_px = moon.radius_px / ratio;
    let spread_px = (moon.radius_px - radius_px).max(0.0) / 3.0_f64.sqrt();
    DiscFit {
        sun: Some(Circle { radius_px, ..moon }),
        sigma_px: fit.sigma_px.hypot(spread_px),
        moon_sigma_px: fit.moon_sigma_px.or(Some(fit.sigma_px)),
        ..fit
    }
}

/// Gives a fit on the Moon's limb its Sun: the Moon's centre less the computed offset.
///
/// The Sun is as large as the lens shows it, or as the frame's own Moon says where that is of another scale; the Moon that covers
/// it is never smaller.
///
/// Without a known turn the Sun is put at the Moon's centre and the sigma grows by the offset's length.
fn with_sun(
    fit: DiscFit,
    predicted: Option<&SunMoon>,
    turn: Option<Turn>,
    sun_radius_px: Option<f64>,
) -> DiscFit {
    let (Limb::Moon, Some(moon), Some(sky)) = (fit.limb, fit.moon, predicted) else {
        return fit;
    };
    let own_px = moon.radius_px / sky.ratio();
    let radius_px = sun_radius_px
        .filter(|lens_px| (own_px / lens_px - 1.0).abs() < OWN_SCALE)
        .unwrap_or(own_px);
    let moon = Circle {
        radius_px: moon.radius_px.max(radius_px * sky.ratio().min(1.0)),
        ..moon
    };
    let (away, sigma) = match turn {
        Some(turn) => {
            let (x, y) = sky.moon_offset_in_picture(turn.north_deg, turn.mirrored);
            let swing = x.hypot(y) * turn.north_sigma_deg.to_radians();
            ((x * radius_px, y * radius_px), swing * radius_px)
        }
        None => {
            let length = sky.separation_arcsec() / sky.sun_radius_arcsec * radius_px;
            ((0.0, 0.0), length)
        }
    };
    DiscFit {
        sun: Some(Circle {
            x_px: moon.x_px - away.0,
            y_px: moon.y_px - away.1,
            radius_px,
        }),
        moon: Some(moon),
        sigma_px: fit.sigma_px.hypot(sigma),
        ..fit
    }
}

fn notice_for(record: &ShotRecord, broken: Option<&Unreadable>) -> Option<Notice> {
    let reason = broken?.clone();
    Some(Notice::look(NoticeKind::Unreadable { reason }).about(record.name()))
}

/// Raw and HEIF files that stand alone: sorted by their headers only.
fn raw_notice(shots: &[ShotRecord]) -> Option<Notice> {
    let closed = |r: &&ShotRecord| {
        matches!(r.shot.file.format, FileFormat::Raw | FileFormat::Heif)
            && !raster::reads_pixels(r.shot.file.format)
            && r.phase != Phase::Unreadable
    };
    match shots.iter().filter(closed).count() {
        0 => None,
        files => Some(Notice::look(NoticeKind::PixelsNotRead {
            files,
            raw: !raster::reads_pixels(FileFormat::Raw),
        })),
    }
}

fn cameras(
    shots: &[ShotRecord],
    solved: &Solved,
    radii: &BTreeMap<ScaleKey, f64>,
) -> Vec<CameraRecord> {
    let ids: BTreeSet<&CameraId> = shots
        .iter()
        .filter_map(|r| r.shot.camera.as_ref())
        .collect();
    let label = |id: &CameraId| {
        let shared = ids
            .iter()
            .filter(|other| other.make_model() == id.make_model())
            .count()
            > 1;
        if shared {
            id.to_string()
        } else {
            id.make_model()
        }
    };
    let mut records: Vec<CameraRecord> = ids
        .iter()
        .filter_map(|id| {
            let body = solved.body(id)?;
            Some(CameraRecord {
                id: (*id).clone(),
                label: label(id),
                clock: body.clock.clone(),
                arcsec_per_px: scale_of(id, shots, radii),
                clock_outcome: body.outcome.clone(),
                clock_points: body.points.clone(),
                clock_curve: body.curve.clone(),
            })
        })
        .collect();
    records.sort_by(|a, b| a.label.cmp(&b.label));
    records
}

/// Seconds of arc per pixel of a body's most used long lens.
fn scale_of(id: &CameraId, shots: &[ShotRecord], radii: &BTreeMap<ScaleKey, f64>) -> Option<f64> {
    let mut uses: BTreeMap<ScaleKey, (usize, f64)> = BTreeMap::new();
    for record in shots {
        if record.shot.camera.as_ref() == Some(id)
            && let (Some(sky), Some(_)) = (&record.predicted, &record.disc)
        {
            let entry = uses.entry(scale_key(&record.shot)).or_insert((0, 0.0));
            *entry = (entry.0 + 1, sky.sun_radius_arcsec);
        }
    }
    let (key, (_, sun_radius_arcsec)) = uses.into_iter().max_by_key(|(_, (count, _))| *count)?;
    Some(sun_radius_arcsec / radii.get(&key)?)
}
