//! When of the eclipse each film was taken.
//!
//! A film shares the clock of the body that its header names, where the card has pictures of just one such body; else it is of a camera of
//! its own, whose clock nobody has checked. Its time is that of the camera's own tag, where there is one. The creation time of the
//! container is UTC by the standard and local time by the habit of many cameras; what it is must be settled by something else, or no true
//! time is told.

use std::collections::BTreeMap;

use super::Given;
use super::clocks;
use super::place::Place;
use crate::catalogue::{CameraRecord, FilmRecord, ShotRecord, chief_phase};
use crate::domain::{
    CameraId, CameraStamp, ClockCorrection, Film, FilmEvidence, FilmLack, FilmTime, Notice,
    NoticeKind, Phase, Role, Severity, Utc, ZoneSource,
};
use crate::phase::{self, PhaseWindows};

/// A film's number may stand this far from that of a still, in pictures, and the still says when it was taken (our choice: the card was
/// not changed nor the counter set back between them).
const NEAR_NUMBERS: u32 = 200;

/// How far a creation time cut off to the second may lie outside what the stills allow, in seconds.
const SLACK_S: f64 = 2.0;

/// What the films' times rest on.
pub(super) struct Evidence<'a> {
    pub(super) shots: &'a [ShotRecord],
    pub(super) cameras: &'a [CameraRecord],
    pub(super) given: &'a Given,
    pub(super) place: &'a Place,
}

/// The records of films, in time order, those without a time last; what a person should know goes to `notices`.
pub(super) fn records(
    films: Vec<Film>,
    evidence: &Evidence<'_>,
    notices: &mut Vec<Notice>,
) -> Vec<FilmRecord> {
    let mut records: Vec<FilmRecord> = films
        .into_iter()
        .map(|film| record(film, evidence, notices))
        .collect();
    notices.extend(unknown_clocks(&records));
    records.sort_by(|a, b| {
        let late = |r: &FilmRecord| (r.utc.is_none(), r.utc);
        late(a).cmp(&late(b))
    });
    records
}

fn record(film: Film, evidence: &Evidence<'_>, notices: &mut Vec<Notice>) -> FilmRecord {
    let body = film
        .camera
        .as_ref()
        .and_then(|id| body_of(id, evidence.cameras));
    let clock = match body {
        Some(body) => body.clock.clone(),
        None => own_clock(&film, evidence),
    };
    let told = time(&film, &clock, body, evidence.shots);
    notices.extend(told_of(&film, &told));
    let contacts = &evidence.place.contacts;
    let windows = PhaseWindows::default();
    let end = |utc: Utc| utc.plus_s(film.duration_s.unwrap_or(0.0));
    let held = told.at.map_or_else(Vec::new, |(utc, _)| {
        phase::between(utc, end(utc), contacts, &windows)
    });
    let near = told.at.and_then(|(utc, sigma_s)| {
        let near = |utc| phase::near(utc, sigma_s, contacts, &windows);
        near(utc).or_else(|| near(end(utc)))
    });
    let unread = film.lacks.iter().any(|lack| lack.is_total()) && told.at.is_none();
    let otherwise = match unread && !film.lacks.contains(&FilmLack::Container) {
        true => Phase::Unreadable,
        false => Phase::Untimed,
    };
    FilmRecord {
        camera_label: match (body, &film.camera) {
            (Some(body), _) => body.label.clone(),
            (None, Some(id)) => id.make_model(),
            (None, None) => String::new(),
        },
        clock_of: body.map(|body| body.id.clone()),
        role: body.and_then(|body| only_role(&body.id, evidence.shots)),
        time_from: told.from,
        settled_by: told.settled_by,
        utc: told.at.map(|(utc, _)| utc),
        utc_sigma_s: told.at.map(|(_, sigma_s)| sigma_s),
        phase: chief_phase(&held).unwrap_or(otherwise),
        phases: held.into_iter().map(|(phase, _)| phase).collect(),
        near_contact: near,
        film,
    }
}

/// The one body of the card a header names: by make and model, and by serial number where both have one.
fn body_of<'a>(id: &CameraId, cameras: &'a [CameraRecord]) -> Option<&'a CameraRecord> {
    let same = |a: &str, b: &str| a.trim().eq_ignore_ascii_case(b.trim());
    let fits = |camera: &&CameraRecord| {
        let serials = camera.id.serial.as_ref().zip(id.serial.as_ref());
        !id.model.is_empty()
            && same(&camera.id.make_model(), &id.make_model())
            && serials.is_none_or(|(a, b)| same(a, b))
    };
    let mut fitting = cameras.iter().filter(fits);
    fitting.next().filter(|_| fitting.next().is_none())
}

/// The clock of a camera without pictures on the card: its own word, in the zone given or that of the place, or the error given.
fn own_clock(film: &Film, evidence: &Evidence<'_>) -> ClockCorrection {
    let at = evidence.place.contacts.maximum.utc;
    let given = evidence.given.zone.as_ref();
    let source = match given {
        Some(_) => ZoneSource::Given,
        None => ZoneSource::Place,
    };
    let zone = given.or(evidence.place.zone.as_ref());
    let offset_s = zone.map_or(0, |zone| zone.offset_s(at));
    clocks::unchecked(
        offset_s,
        source,
        &evidence.given.clocks,
        film.camera.as_ref(),
    )
}

/// The role all shots of a body share.
fn only_role(id: &CameraId, shots: &[ShotRecord]) -> Option<Role> {
    let mut roles = shots
        .iter()
        .filter(|record| record.shot.camera.as_ref() == Some(id))
        .filter_map(|record| record.role);
    let first = roles.next()?;
    roles.all(|role| role == first).then_some(first)
}

/// A film's time and where it comes from.
struct Told {
    from: FilmTime,
    settled_by: Option<FilmEvidence>,
    /// Beginning and its one sigma in seconds.
    at: Option<(Utc, f64)>,
    /// The beginning by either reading of an unsettled creation time: as UTC, as local time.
    either: Option<(Utc, Utc)>,
}

impl Told {
    fn by(from: FilmTime, at: (Utc, f64)) -> Self {
        Self {
            from,
            settled_by: None,
            at: Some(at),
            either: None,
        }
    }
}

fn time(
    film: &Film,
    clock: &ClockCorrection,
    body: Option<&CameraRecord>,
    shots: &[ShotRecord],
) -> Told {
    if let Some(stamp) = &film.stamp {
        return of_stamp(stamp, clock);
    }
    let Some(created) = film.created else {
        return Told {
            from: FilmTime::Nothing,
            settled_by: None,
            at: None,
            either: None,
        };
    };
    let reading = |offset_s: Option<i32>| CameraStamp {
        time: created,
        has_subsec: false,
        offset_s,
        of_change: false,
    };
    let local = clock.utc_of(&reading(Some(clock.zone_offset_s)));
    let utc = own_zone(&reading(Some(0)), 0, clock);
    let settled = |from, settled_by, at| Told {
        settled_by: Some(settled_by),
        ..Told::by(from, at)
    };
    if film.by_android {
        // Taken when the recording ended (Android Open Source Project, MPEG4Writer, writeMvhdBox; from memory).
        let (end, sigma_s) = utc;
        let begin = end.plus_s(-film.duration_s.unwrap_or(0.0));
        return settled(
            FilmTime::CreationUtc,
            FilmEvidence::System,
            (begin, sigma_s),
        );
    }
    if clock.zone_offset_s == 0 {
        return settled(FilmTime::CreationUtc, FilmEvidence::SameEitherWay, utc);
    }
    let range = body.map(|body| stills_around(&film.file.name, &body.id, shots));
    let fits = |shift_s: i32| {
        let reading = created.read_as_utc().plus_s(f64::from(shift_s));
        range.is_some_and(|range| range.allows(reading))
    };
    match (fits(clock.zone_offset_s), fits(0)) {
        (true, false) => settled(FilmTime::CreationUtc, FilmEvidence::Stills, utc),
        (false, true) => settled(FilmTime::CreationLocal, FilmEvidence::Stills, local),
        _ => Told {
            from: FilmTime::Unsettled,
            settled_by: None,
            at: None,
            either: Some((utc.0, local.0)),
        },
    }
}

/// The camera's own tag. Where the pictures showed that the clock's zone was set wrong, its own word on the zone is not taken.
fn of_stamp(stamp: &CameraStamp, clock: &ClockCorrection) -> Told {
    match stamp
        .offset_s
        .filter(|_| clock.zone_source != ZoneSource::Pictures)
    {
        Some(offset_s) => Told::by(FilmTime::TagWithZone, own_zone(stamp, offset_s, clock)),
        None => Told::by(FilmTime::Tag, clock.utc_of(stamp)),
    }
}

/// A reading in a zone of its own: only the clock's error is taken off.
fn own_zone(stamp: &CameraStamp, offset_s: i32, clock: &ClockCorrection) -> (Utc, f64) {
    let (utc, sigma_s) = ClockCorrection {
        zone_offset_s: offset_s,
        zone_source: ZoneSource::Given,
        ..clock.clone()
    }
    .utc_of(stamp);
    (utc, sigma_s)
}

/// What the clock showed at the stills before and after, where they are known.
#[derive(Clone, Copy)]
struct Range {
    from: Option<Utc>,
    to: Option<Utc>,
}

impl Range {
    /// Whether a reading of the clock lies between; never where nothing bounds it.
    fn allows(self, reading: Utc) -> bool {
        let late = self
            .from
            .is_none_or(|from| reading.seconds_since(from) > -SLACK_S);
        let early = self
            .to
            .is_none_or(|to| to.seconds_since(reading) > -SLACK_S);
        (self.from.is_some() || self.to.is_some()) && late && early
    }
}

/// The readings of a body's clock at its stills numbered next before and after a film in the same folder. Cameras count stills and films as
/// one (JEITA CP-3461, DCF); where the two stills are not in the order of time the numbers mean nothing.
fn stills_around(name: &str, id: &CameraId, shots: &[ShotRecord]) -> Range {
    let none = Range {
        from: None,
        to: None,
    };
    let Some((folder, number)) = numbered(name) else {
        return none;
    };
    let mut readings: BTreeMap<u32, Utc> = BTreeMap::new();
    for record in shots
        .iter()
        .filter(|record| record.shot.camera.as_ref() == Some(id))
    {
        if let (Some((its_folder, number)), Some(stamp)) =
            (numbered(record.name()), record.shot.stamp)
            && its_folder == folder
        {
            readings.insert(number, stamp.time.read_as_utc());
        }
    }
    let before = readings
        .range(number.saturating_sub(NEAR_NUMBERS)..number)
        .next_back();
    let after = readings.range(number + 1..=number + NEAR_NUMBERS).next();
    let (from, to) = (before.map(|(_, t)| *t), after.map(|(_, t)| *t));
    match from.zip(to) {
        Some((from, to)) if to < from => none,
        _ => Range { from, to },
    }
}

/// Folder and number of a name: the last figures before its ending, four of them.
fn numbered(name: &str) -> Option<(&str, u32)> {
    let (folder, file) = name.rsplit_once('/').unwrap_or(("", name));
    let stem = file.rsplit_once('.').map_or(file, |(stem, _)| stem);
    let digits = stem.len() - stem.trim_end_matches(|c: char| c.is_ascii_digit()).len();
    let last = stem.get(stem.len() - digits.min(4)..)?;
    (digits >= 4).then(|| last.parse().ok().map(|n| (folder, n)))?
}

/// What to tell of one film.
fn told_of(film: &Film, told: &Told) -> Option<Notice> {
    let about = |severity, what| Notice {
        severity,
        file: Some(film.file.name.clone()),
        what,
    };
    if let Some((as_utc, as_local)) = told.either {
        let what = NoticeKind::FilmTimeUnsettled { as_utc, as_local };
        return Some(about(Severity::Look, what));
    }
    let lack = film.lacks.first()?.clone();
    let severity = match film.lacks.iter().any(|lack| lack.is_total()) || told.at.is_none() {
        true => Severity::Look,
        false => Severity::Note,
    };
    Some(about(severity, NoticeKind::FilmNotRead { lack }))
}

/// One notice for each camera whose clock is not known.
fn unknown_clocks(records: &[FilmRecord]) -> Vec<Notice> {
    let mut films: BTreeMap<&str, usize> = BTreeMap::new();
    let timed = records
        .iter()
        .filter(|record| record.clock_of.is_none() && record.utc.is_some());
    for record in timed {
        *films.entry(&record.camera_label).or_default() += 1;
    }
    films
        .into_iter()
        .map(|(label, films)| {
            Notice::note(NoticeKind::FilmClockUnknown {
                camera: (!label.is_empty()).then(|| label.to_owned()),
                films,
            })
        })
        .collect()
}
