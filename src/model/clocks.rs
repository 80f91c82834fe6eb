//! Each body's clock: taken at its word first, then solved from the pictures.

use std::collections::{BTreeMap, BTreeSet};

use rayon::prelude::*;

use super::discs::{ScaleKey, Seen, scale_key};
use super::evened::{self, Level};
use super::place::Place;
use super::{Given, KnownClock};
use crate::catalogue::{ClockCurve, ClockPoint};
use crate::clock::{self, ClockBody, ClockFrame, Heard, Turn};
use crate::domain::{
    CameraId, ClockCorrection, ClockEvidence, ClockOutcome, DiscFit, Exposure, Limb, Notice,
    NoticeKind, Shot, SunMoon, Utc, ZoneSource,
};
use crate::phase::{self, Clocks, zone};

/// One sigma of a camera clock nobody has checked, in seconds: set by hand to the minute, then left to drift by a second or two a
/// week for a year (from memory; clocks of real cards are off by 0 to 130 s).
const UNCHECKED_SIGMA_S: f64 = 90.0;

/// One sigma of a clock error a person gives without one, in seconds (our choice: given to the second).
const GIVEN_SIGMA_S: f64 = 0.5;

/// A clock less sure than this, in seconds, says nothing about a frame.
const SURE_ENOUGH_S: f64 = 60.0;

/// One body's clock and how it was found.
#[derive(Clone, Debug)]
pub(crate) struct BodyClock {
    pub(crate) clock: ClockCorrection,
    pub(crate) outcome: ClockOutcome,
    pub(crate) points: Vec<ClockPoint>,
    pub(crate) curve: ClockCurve,
}

/// All bodies' clocks, and how each frame is turned.
#[derive(Clone, Debug, Default)]
pub(crate) struct Solved {
    bodies: BTreeMap<Option<CameraId>, BodyClock>,
    turns: BTreeMap<usize, Turn>,
    /// Shots whose look contradicts their body's clock.
    contradicted: BTreeSet<usize>,
}

impl Solved {
    /// The corrections alone.
    pub(crate) fn by_body(&self) -> Clocks {
        self.bodies
            .iter()
            .map(|(id, body)| (id.clone(), body.clock.clone()))
            .collect()
    }

    /// How a frame is turned, where that is known.
    pub(crate) fn turn_of(&self, index: usize) -> Option<Turn> {
        self.turns.get(&index).copied()
    }

    /// Of how many frames it is known how they are turned.
    pub(crate) fn turned(&self) -> usize {
        self.turns.len()
    }

    /// Whether a shot's look contradicts its body's clock, so that its stamp is not to be believed.
    pub(crate) fn contradicts(&self, index: usize) -> bool {
        self.contradicted.contains(&index)
    }

    /// The clock behind a shot's stamp.
    pub(crate) fn clock_of(&self, shot: &Shot) -> Option<&ClockCorrection> {
        Some(&self.bodies.get(&shot.camera)?.clock)
    }

    /// Middle of a shot's exposure in true time, where the clock is sure enough and rests on more than the camera's word, and its
    /// one sigma in seconds.
    pub(crate) fn time_of(&self, shot: &Shot) -> Option<(Utc, f64)> {
        let clock = self.clock_of(shot)?;
        if clock.evidence.contains(&ClockEvidence::Camera) {
            return None;
        }
        let (utc, sigma_s) = clock.utc_of(shot.stamp.as_ref()?);
        let middle_s = 0.5 * shot.exposure.shutter_s.unwrap_or(0.0);
        (sigma_s <= SURE_ENOUGH_S).then(|| (utc.plus_s(middle_s), sigma_s))
    }

    /// One body's clock.
    pub(crate) fn body(&self, id: &CameraId) -> Option<&BodyClock> {
        self.bodies.get(&Some(id.clone()))
    }
}

/// Takes away zone tags that cannot be, and says so.
pub(crate) fn doubt_tags(shots: &mut [Shot], notices: &mut Vec<Notice>) {
    let mut bodies: BTreeMap<Option<CameraId>, Vec<usize>> = BTreeMap::new();
    for (index, shot) in shots.iter().enumerate() {
        bodies.entry(shot.camera.clone()).or_default().push(index);
    }
    for members in bodies.into_values() {
        let own: Vec<&Shot> = members.iter().map(|&index| &shots[index]).collect();
        for place in phase::odd(&own) {
            let shot = &mut shots[members[place]];
            let Some(stamp) = &mut shot.stamp else {
                continue;
            };
            let offset_s = stamp.offset_s.take().unwrap_or(0);
            notices.push(Notice::look(NoticeKind::OddZone { offset_s }).about(&shot.file.name));
        }
    }
}

/// Zones decided, errors as given or none, nothing solved yet.
pub(crate) fn at_their_word(
    shots: &[Shot],
    given: &Given,
    place: &Place,
    notices: &mut Vec<Notice>,
) -> Clocks {
    let mut bodies: BTreeMap<Option<CameraId>, Vec<&Shot>> = BTreeMap::new();
    for shot in shots.iter().filter(|shot| shot.stamp.is_some()) {
        bodies.entry(shot.camera.clone()).or_default().push(shot);
    }
    let at = place.contacts.maximum.utc;
    bodies
        .into_iter()
        .map(|(id, members)| {
            let choice = zone::decide(members, given.zone.as_ref(), place.zone.as_ref(), at);
            notices.push(Notice {
                severity: choice.reading.severity(),
                file: None,
                what: NoticeKind::ClockReadIn {
                    camera: id.as_ref().map(CameraId::make_model),
                    zone: choice.reading,
                },
            });
            let clock = unchecked(choice.offset_s, choice.source, &given.clocks, id.as_ref());
            (id, clock)
        })
        .collect()
}

/// A clock that no picture was asked about: the error a person gave for the body, else its own word.
pub(crate) fn unchecked(
    zone_offset_s: i32,
    source: ZoneSource,
    known: &[KnownClock],
    id: Option<&CameraId>,
) -> ClockCorrection {
    let mut clock = ClockCorrection::trusting(zone_offset_s, source, UNCHECKED_SIGMA_S);
    if let Some(error_s) = error_given(known, id) {
        clock.error_s = error_s;
        clock.sigma_s = GIVEN_SIGMA_S;
        clock.evidence = vec![ClockEvidence::Given];
    }
    clock
}

/// The error the person gave for a body: by label, model or serial number first, else for all.
fn error_given(known: &[KnownClock], id: Option<&CameraId>) -> Option<f64> {
    let names = |id: &CameraId, wanted: &str| {
        let same = |text: &str| text.eq_ignore_ascii_case(wanted);
        same(&id.to_string())
            || same(&id.make_model())
            || same(&id.model)
            || id.serial.as_deref().is_some_and(same)
    };
    let own = known.iter().rev().find(|k| {
        k.camera
            .as_deref()
            .zip(id)
            .is_some_and(|(wanted, id)| names(id, wanted))
    });
    own.or_else(|| known.iter().rev().find(|k| k.camera.is_none()))
        .map(|k| k.error_s)
}

/// What is taken for true before the pictures are asked.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Word<'a> {
    /// The clocks, as [`at_their_word`] gives them.
    pub(crate) clocks: &'a Clocks,
    /// Whether the pictures are mirror images, where the person says so.
    pub(crate) mirrored: Option<bool>,
}

/// What is known before the clocks are solved.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Before<'a> {
    /// What is taken for true before the pictures are asked.
    pub(crate) word: &'a Word<'a>,
    /// An earlier solution: times and turns to a second and a degree say which mountains of the Moon's limb a frame shows.
    pub(crate) solved: &'a Solved,
}

/// Solves the clocks from the pictures, body by body.
pub(crate) fn solve(
    shots: &[Shot],
    seen: &[Seen],
    before: &Before<'_>,
    place: &Place,
    notices: &mut Vec<Notice>,
) -> Solved {
    let Before {
        word,
        solved: known,
    } = *before;
    let scales: BTreeMap<ScaleKey, usize> = shots
        .iter()
        .map(scale_key)
        .collect::<BTreeSet<_>>()
        .into_iter()
        .zip(0..)
        .collect();
    // Not among the bodies' jobs: the limb is worked out in parallel by whoever asks first, and a job that waits for it may be
    // given another one that does.
    let levels: Vec<Option<Level>> = (0..shots.len())
        .map(|i| {
            let (fit, ratio) = levelled(&shots[i], i, &seen[i], known, place)?;
            let scale = scales[&scale_key(&shots[i])];
            Some(Level { fit, ratio, scale })
        })
        .collect();
    let levels = evened::evened(&levels);
    let bodies: Vec<_> = word.clocks.iter().collect();
    let heard: Vec<(Vec<usize>, Heard)> = bodies
        .par_iter()
        .map(|(id, prior)| {
            let members: Vec<usize> = (0..shots.len())
                .filter(|&i| shots[i].camera == **id)
                .collect();
            let frames: Vec<ClockFrame> = members
                .iter()
                .map(|&i| ClockFrame {
                    levelled: levels[i],
                    ..frame(&shots[i], &seen[i], scales[&scale_key(&shots[i])])
                })
                .collect();
            let body = ClockBody {
                name: id.as_ref().map(CameraId::make_model),
                frames: &frames,
                prior,
                mirrored: word.mirrored,
            };
            let heard = clock::hear(&body, &place.contacts, &|utc| place.view.at(utc));
            (members, heard)
        })
        .collect();
    let (members, heard): (Vec<_>, Vec<_>) = heard.into_iter().unzip();
    let solutions = members.into_iter().zip(clock::settle(&heard));
    let mut solved = Solved::default();
    for ((id, _), (members, solution)) in bodies.into_iter().zip(solutions) {
        for (&index, turn) in members.iter().zip(&solution.turns) {
            if let Some(turn) = turn {
                solved.turns.insert(index, *turn);
            }
        }
        let against = solution.contradicted.iter().map(|&n| members[n]);
        solved.contradicted.extend(against);
        notices.extend(solution.notices);
        solved.bodies.insert(
            id.clone(),
            BodyClock {
                clock: solution.clock,
                outcome: solution.outcome,
                points: solution.points,
                curve: solution.curve,
            },
        );
    }
    solved
}

/// The discs of a partial phase as they would have been fitted before a Moon without mountains; `None` where the frame's time or
/// turn is not known, or where there is nothing to correct. With the computed ratio of the radii.
fn levelled(
    shot: &Shot,
    index: usize,
    seen: &Seen,
    known: &Solved,
    place: &Place,
) -> Option<(DiscFit, f64)> {
    let fit = seen.fit().filter(|fit| fit.limb == Limb::Sun)?;
    let (sun, mut moon) = fit.sun.zip(fit.moon)?;
    let (turn, (utc, _)) = known.turn_of(index).zip(known.time_of(shot))?;
    let sky = place.view.at(utc);
    let shift = place
        .mountains
        .shift_arcsec(&place.contacts, &place.view, &sky)?;
    let moved = SunMoon {
        moon_east_arcsec: shift.east,
        moon_north_arcsec: shift.north,
        ..sky
    };
    let (right, down) = moved.moon_offset_in_picture(turn.north_deg, turn.mirrored);
    moon.x_px -= right * sun.radius_px;
    moon.y_px -= down * sun.radius_px;
    moon.radius_px -= shift.radius / sky.sun_radius_arcsec * sun.radius_px;
    let moon = Some(moon);
    Some((DiscFit { moon, ..*fit }, sky.ratio()))
}

fn frame(shot: &Shot, seen: &Seen, scale_group: usize) -> ClockFrame {
    ClockFrame {
        file: shot.file.name.clone(),
        stamp: shot.stamp,
        shutter_s: shot.exposure.shutter_s.unwrap_or(0.0),
        exposure_stops: shot.exposure.stops(),
        scene_stops: scene_stops(&shot.exposure),
        gps_utc: shot.gps.and_then(|fix| fix.utc),
        orientation: shot.orientation,
        scale_group,
        size_px: shot.width_px.zip(shot.height_px),
        fit: seen.fit().copied(),
        levelled: None,
        squeeze: seen.squeeze().map(|(height, _)| height),
        look: seen.report().map(|r| r.look),
    }
}

/// The exposure in stops, where the header has all of it.
fn scene_stops(exposure: &Exposure) -> Option<f64> {
    let whole = exposure.f_number.is_some() && exposure.iso.is_some();
    exposure.stops().filter(|_| whole)
}
