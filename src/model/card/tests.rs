//! The model against made-up reports: what discs a camera of a known clock, roll and lens would have shown, by the
//! ephemeris; no picture is drawn or opened.

use std::path::PathBuf;

use jiff::civil::date;

use super::*;
use crate::contacts::{self, ContactsOptions};
use crate::disc::DiscReport;
use crate::domain::{
    CameraId, CameraStamp, CameraTime, CardFile, ClockCorrection, DiscFit, Exposure, Flags,
    FrameLook, Limb, LocalKind, NoDisc, Orientation, Site, SiteSource, Unreadable, Utc, ZoneSource,
};
use crate::ephemeris::{self, EclipseView, Radii};
use crate::phase::Clocks;

/// Camera minus true time.
const CLOCK_ERROR_S: f64 = 37.0;

/// Celestial north, anticlockwise from picture up.
const NORTH_DEG: f64 = 20.0;

/// How much larger than computed the Moon shows.
const EXCESS_PX: f64 = 0.6;

fn place(lat_deg: f64, lon_deg: f64) -> Place {
    let site = Site::new(lat_deg, lon_deg, 100.0).unwrap();
    let eclipse = ephemeris::eclipse_near(date(2024, 4, 8)).unwrap();
    Place {
        source: SiteSource::Given,
        contacts: contacts::at(&site, eclipse.date(), &ContactsOptions::default()).unwrap(),
        view: EclipseView::new(eclipse, site, Radii::default(), None),
        mountains: Default::default(),
        zone: None,
    }
}

/// A card of one camera on a tracking mount, and what its frames would show.
struct World {
    place: Place,
    taken: Vec<Utc>,
    shots: Vec<Shot>,
    /// From this shot on the Sun is this much larger.
    slip: (usize, f64),
}

impl World {
    fn new(place: Place, taken: Vec<Utc>) -> Self {
        let shots = taken.iter().enumerate().map(|(n, utc)| shot(n, *utc));
        Self {
            shots: shots.collect(),
            slip: (taken.len(), 1.0),
            place,
            taken,
        }
    }

    /// Frames every two minutes, from a minute after first to a minute before fourth contact, but for totality.
    fn of_partials(place: Place) -> Self {
        let (c1, c4) = (place.contacts.c1.utc, place.contacts.c4.utc);
        let count = ((c4.seconds_since(c1) - 120.0) / 120.0) as usize;
        let all = (0..count).map(|n| c1.plus_s(60.0 + 120.0 * n as f64));
        let clear = |utc: &Utc| {
            let from_maximum_s = utc.seconds_since(place.contacts.maximum.utc);
            from_maximum_s.abs() > 240.0
        };
        let taken = all.filter(clear).collect();
        Self::new(place, taken)
    }

    fn stated(&self) -> Clocks {
        let clock = ClockCorrection::trusting(0, ZoneSource::Given, 60.0);
        [(self.shots[0].camera.clone(), clock)].into()
    }

    fn radius_px(&self, shot: usize) -> f64 {
        let (from, factor) = self.slip;
        if shot < from { 150.0 } else { 150.0 * factor }
    }

    /// The discs of a partial frame; those of a sliver are found only by who is sure where the Moon is due.
    fn report(&self, shot: usize, hint: &DiscHint) -> DiscReport {
        let sky = self.place.view.at(self.taken[shot]);
        let radius_px = self.radius_px(shot);
        let (x, y) = sky.moon_offset_in_picture(NORTH_DEG, false);
        let near = |contact: Option<crate::domain::ContactEvent>| {
            contact.is_some_and(|c| self.taken[shot].seconds_since(c.utc).abs() < 8.0)
        };
        let sliver = near(self.place.contacts.c2) || near(self.place.contacts.c3);
        let circle = |x: f64, y: f64, radius_px: f64| Circle {
            x_px: 2000.0 + x,
            y_px: 1500.0 + y,
            radius_px,
        };
        // Who does not know of the flattening fits plain circles, as large as the mean of height and width.
        let shown = match hint.squeeze {
            Some(_) => 1.0,
            None => 0.5 * (1.0 + sky.vertical_squeeze),
        };
        let moon_radius_px = sky.ratio() * radius_px + EXCESS_PX;
        let fit = DiscFit {
            limb: Limb::Sun,
            sun: Some(circle(0.0, 0.0, shown * radius_px)),
            moon: Some(circle(x * radius_px, y * radius_px, shown * moon_radius_px)),
            sigma_px: 0.05,
            moon_sigma_px: Some(0.05),
            limb_arc_deg: 200.0,
            residual_px: 0.1,
            blur_px: Some(1.0),
        };
        DiscReport {
            fit: match sliver && hint.offset_solar_radii.is_none() {
                true => Err(NoDisc::NoLimb),
                false => Ok(fit),
            },
            look: FrameLook::default(),
            flags: Flags::default(),
            quality: 0.9,
        }
    }

    fn answer(&self, task: &Task) -> Answer {
        match &task.ask {
            Ask::Discs(hint) => {
                let report = self.report(task.shot, hint);
                Answer::Discs(Seen::Yes(Box::new(report), *hint))
            }
            Ask::Tint(_) => Answer::Tint(Some(1.5)),
        }
    }

    /// Runs the loop to its end; gives each round's question and shots.
    fn measured(&self, card: &mut Card<'_>) -> Vec<(Question, Vec<usize>)> {
        let mut rounds = Vec::new();
        while let Some(round) = card.due() {
            let shots = round.tasks.iter().map(|task| task.shot).collect();
            rounds.push((round.question, shots));
            let answers = round.tasks.iter().map(|task| self.answer(task)).collect();
            card.take(&round, answers);
        }
        rounds
    }
}

fn word(clocks: &Clocks) -> Word<'_> {
    Word {
        clocks,
        mirrored: None,
    }
}

fn shot(n: usize, utc: Utc) -> Shot {
    let reading = utc.plus_s(CLOCK_ERROR_S).timestamp();
    let name = format!("P{n:04}.JPG");
    Shot {
        file: CardFile {
            path: PathBuf::from(&name),
            name,
            format: FileFormat::Jpeg,
            size_bytes: 1,
            modified: None,
        },
        camera: Some(CameraId {
            make: "Maker".into(),
            model: "Long".into(),
            serial: None,
        }),
        stamp: Some(CameraStamp {
            time: CameraTime::new(jiff::tz::Offset::UTC.to_datetime(reading)),
            has_subsec: true,
            offset_s: None,
            of_change: false,
        }),
        gps: None,
        exposure: Exposure {
            shutter_s: Some(0.001),
            focal_mm: Some(600.0),
            ..Exposure::default()
        },
        orientation: Orientation::UPRIGHT,
        width_px: Some(4000),
        height_px: Some(3000),
    }
}

fn asked(rounds: &[(Question, Vec<usize>)], question: Question) -> Vec<usize> {
    let of = |(_, shots): &(Question, Vec<usize>)| shots.clone();
    let same = rounds.iter().filter(|(q, _)| *q == question);
    same.flat_map(of).collect()
}

#[test]
fn a_plain_card_is_measured_once_and_everything_about_it_is_known() {
    let world = World::of_partials(place(32.8, -96.8));
    let (wanted, stated) = (vec![true; world.shots.len()], world.stated());
    let word = word(&stated);
    let mut card = Card::new(&world.shots, &wanted, &world.place, &word);
    let rounds = world.measured(&mut card);
    let questions: Vec<Question> = rounds.iter().map(|round| round.0).collect();
    let expected = [Question::SunSize, Question::FilterColour, Question::Discs];
    assert_eq!(questions, expected);
    assert_eq!(rounds[0].1.len(), SAMPLE);
    assert_eq!(rounds[1].1.len(), COLOURS);
    let all: Vec<usize> = (0..world.shots.len()).collect();
    assert_eq!(rounds[2].1, all);
    for index in all {
        let hint = card.expected(index);
        let sky = world.place.view.at(world.taken[index]);
        let (x, y) = sky.moon_offset_in_picture(NORTH_DEG, false);
        let ([right, down], sigma) = hint.moon_offset.unwrap();
        let off = (right - x).hypot(down - y);
        assert!(off < 0.002 + 3.0 * sigma, "{index}: {off} {sigma}");
        assert!((hint.sun_radius_px.unwrap().value - 150.0).abs() < 0.01);
        let (ratio, ratio_sigma) = hint.moon_ratio.unwrap().pair();
        let shown = sky.ratio() + EXCESS_PX / 150.0;
        assert!((ratio - shown).abs() < 3.0 * ratio_sigma, "{ratio} {shown}");
        assert_eq!((hint.tint, hint.totality), (Some(1.5), Some(false)));
    }
    let known = card.known();
    let clock = known.solved.clock_of(&world.shots[0]).unwrap();
    assert!((clock.error_s - CLOCK_ERROR_S).abs() < 1.0, "{clock:?}");
}

#[test]
fn a_zoom_that_slips_has_the_frames_after_it_measured_again() {
    let mut world = World::of_partials(place(32.8, -96.8));
    let middle = world.shots.len() / 2;
    world.slip = (middle, 1.05);
    let (wanted, stated) = (vec![true; world.shots.len()], world.stated());
    let word = word(&stated);
    let mut card = Card::new(&world.shots, &wanted, &world.place, &word);
    let rounds = world.measured(&mut card);
    let again = asked(&rounds, Question::SlippedZoom);
    // The sample has told all but those between its frames on either side.
    assert!(
        !again.is_empty() && again.len() < world.shots.len() / 4,
        "{again:?}"
    );
    for index in 0..world.shots.len() {
        let now = card.expected(index).sun_radius_px.unwrap();
        assert!(
            (now.value - world.radius_px(index)).abs() < 0.5,
            "{index}: {now:?}"
        );
    }
    let notices = card.known().lenses.slip_notices(&world.shots);
    assert_eq!(notices.len(), 1);
    let name = &world.shots[middle].file.name;
    assert!(
        notices[0].text().contains(name.as_str()),
        "{}",
        notices[0].text()
    );
}

#[test]
fn beads_are_measured_again_once_the_vector_is_known_and_nothing_else_is() {
    let place = place(32.8, -96.8);
    assert_eq!(place.contacts.kind, LocalKind::Total);
    let mut taken = World::of_partials(self::place(32.8, -96.8)).taken;
    let (c2, c3) = (
        place.contacts.c2.unwrap().utc,
        place.contacts.c3.unwrap().utc,
    );
    taken.extend([c2.plus_s(-4.0), c2.plus_s(-1.0), c3.plus_s(2.0)]);
    taken.sort();
    let world = World::new(place, taken);
    let beads: Vec<usize> = (0..world.shots.len())
        .filter(|&n| {
            let from = |c: Utc| world.taken[n].seconds_since(c).abs();
            from(c2) < 8.0 || from(c3) < 8.0
        })
        .collect();
    let (wanted, stated) = (vec![true; world.shots.len()], world.stated());
    let word = word(&stated);
    let mut card = Card::new(&world.shots, &wanted, &world.place, &word);
    let rounds = world.measured(&mut card);
    assert_eq!(asked(&rounds, Question::Beads), beads);
    assert!(card.known().seen.iter().all(|seen| seen.fit().is_some()));
}

#[test]
fn low_suns_are_measured_again_with_their_flattening_where_they_were_not_at_first() {
    // East of where the path leaves the Earth: the Sun sinks from 25 degrees to 4.
    let world = World::of_partials(place(45.0, -40.0));
    let (wanted, stated) = (vec![true; world.shots.len()], world.stated());
    let word = word(&stated);
    let mut card = Card::new(&world.shots, &wanted, &world.place, &word);
    world.measured(&mut card);
    let known = card.known();
    let mut low = 0;
    for (seen, utc) in known.seen.iter().zip(&world.taken) {
        let (due, _) = seen.squeeze().unwrap_or((1.0, 0.0));
        let true_squeeze = world.place.view.at(*utc).vertical_squeeze;
        assert!((due - true_squeeze).abs() < 0.002, "{due} {true_squeeze}");
        low += usize::from(true_squeeze < 0.99);
    }
    assert!(low > 5, "{low}");
}

#[test]
fn what_cannot_be_told_is_asked_once() {
    let world = World::of_partials(place(32.8, -96.8));
    let (wanted, stated) = (vec![true; 10], world.stated());
    let word = word(&stated);
    let mut card = Card::new(&world.shots[..10], &wanted, &world.place, &word);
    let mut asked = Vec::new();
    while let Some(round) = card.due() {
        asked.push((round.question, round.tasks.len()));
        let lost = |task: &Task| match (&task.ask, task.shot % 2) {
            (Ask::Discs(_), 0) => Answer::Discs(Seen::Broken(Unreadable::CutShort)),
            (Ask::Discs(hint), _) => {
                let mut report = world.report(task.shot, hint);
                report.fit = Err(NoDisc::NoLimb);
                Answer::Discs(Seen::Yes(Box::new(report), *hint))
            }
            (Ask::Tint(_), _) => Answer::Tint(None),
        };
        let answers = round.tasks.iter().map(lost).collect();
        card.take(&round, answers);
    }
    assert_eq!(asked, [(Question::SunSize, 10)]);
}

#[test]
fn frames_that_are_not_wanted_are_left_alone() {
    let world = World::of_partials(place(32.8, -96.8));
    let stated = world.stated();
    let word = word(&stated);
    let wanted: Vec<bool> = (0..world.shots.len()).map(|n| n % 3 > 0).collect();
    let mut card = Card::new(&world.shots, &wanted, &world.place, &word);
    let rounds = world.measured(&mut card);
    assert!(rounds.iter().flat_map(|r| &r.1).all(|&index| wanted[index]));
    let seen = card.known().seen;
    assert!(
        seen.iter()
            .zip(&wanted)
            .all(|(s, w)| s.report().is_some() == *w)
    );
}

#[test]
fn practice_frames_have_neither_moon_nor_clock() {
    let world = World::of_partials(place(32.8, -96.8));
    let wanted = vec![true; world.shots.len()];
    let mut card = Card::of_the_sun(&world.shots, &wanted);
    let rounds = world.measured(&mut card);
    let questions: Vec<Question> = rounds.iter().map(|round| round.0).collect();
    assert_eq!(questions, OF_THE_SUN);
    let hint = card.expected(0);
    assert_eq!((hint.moon_ratio, hint.totality), (None, Some(false)));
    assert!(card.known().solved.clock_of(&world.shots[0]).is_none());
}
