//! Cards with few clues, one by one.

use contactstrip::clock::{ClockFrame, ClockSolution};
use contactstrip::domain::Site;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

use super::made_up::{Habit, Kind, Outcome, Stage, Taken, frame, outcome, solved};

/// A card and what came of it.
#[derive(Clone, Debug)]
pub(crate) struct Case {
    pub(crate) name: &'static str,
    pub(crate) outcome: Outcome,
    pub(crate) summary: String,
    pub(crate) notices: Vec<String>,
    /// Frames whose stamps are not believed.
    pub(crate) contradicted: usize,
}

/// What a case's body is made of: what was taken when, and stamp minus true local time in seconds.
struct Body {
    taken: Vec<Taken>,
    error_s: f64,
    named: bool,
}

fn rng() -> Pcg64Mcg {
    Pcg64Mcg::seed_from_u64(0xCA5E)
}

fn frames(stage: &Stage, body: &Body) -> (Vec<ClockFrame>, Habit) {
    let habit = Habit::of(f64::from(stage.zone_s) + body.error_s);
    let mut rng = rng();
    let all = (body.taken.iter())
        .map(|t| frame(stage, t, &habit, &mut rng))
        .collect();
    (all, habit)
}

fn case(
    name: &'static str,
    stage: &Stage,
    body: &Body,
    alter: impl Fn(&mut Vec<ClockFrame>),
) -> Case {
    let (mut all, habit) = frames(stage, body);
    alter(&mut all);
    let solution = solved(stage, &[(&all, body.named, stage.zone_s)]).remove(0);
    told(name, stage, body, &habit, solution)
}

fn told(
    name: &'static str,
    stage: &Stage,
    body: &Body,
    habit: &Habit,
    solution: ClockSolution,
) -> Case {
    Case {
        name,
        outcome: outcome(stage, &body.taken, habit, &solution),
        summary: solution.outcome.words(&solution.clock),
        notices: solution.notices.iter().map(ToString::to_string).collect(),
        contradicted: solution.contradicted.len(),
    }
}

fn stage() -> Stage {
    Stage::new(1)
}

/// Frames by seconds after second contact.
fn after_c2(stage: &Stage, list: &[(f64, Kind)]) -> Vec<Taken> {
    let at = |(after_s, kind): &(f64, Kind)| Taken {
        utc: stage.c2().plus_s(*after_s),
        kind: *kind,
    };
    list.iter().map(at).collect()
}

fn body(stage: &Stage, list: &[(f64, Kind)], error_s: f64) -> Body {
    Body {
        taken: after_c2(stage, list),
        error_s,
        named: true,
    }
}

/// Totality at this place lasts so long, in seconds.
fn length_s(stage: &Stage) -> f64 {
    stage.c3().seconds_since(stage.c2())
}

/// Two rings and three coronas, as people keep them of a whole eclipse.
fn five(stage: &Stage) -> Vec<(f64, Kind)> {
    let end_s = length_s(stage);
    vec![
        (-6.0, Kind::Ring),
        (40.0, Kind::Corona),
        (110.0, Kind::Corona),
        (190.0, Kind::Corona),
        (end_s + 5.0, Kind::Ring),
    ]
}

/// The cards of one body, each with one thing amiss.
pub(crate) fn of_one_body() -> Vec<Case> {
    let stage = stage();
    let end_s = length_s(&stage);
    let plain = |_: &mut Vec<ClockFrame>| {};
    let corona = [
        (30.0, Kind::Corona),
        (100.0, Kind::Corona),
        (200.0, Kind::Corona),
    ];
    let one = |name, list: &[(f64, Kind)], error_s| {
        case(name, &stage, &body(&stage, list, error_s), plain)
    };
    let hours = |h: f64| h * 3_600.0;
    vec![
        one("totality alone", &corona, 35.0),
        one("one ring before C2", &[(-8.0, Kind::Ring)], 40.0),
        one("one ring after C3", &[(end_s + 8.0, Kind::Ring)], -40.0),
        one(
            "two crescents",
            &[(-2_400.0, Kind::Crescent), (-1_500.0, Kind::Crescent)],
            75.0,
        ),
        one("one crescent", &[(-1_500.0, Kind::Crescent)], 75.0),
        one(
            "clock on UTC",
            &five(&stage),
            12.0 - f64::from(stage.zone_s),
        ),
        one("another zone by 13 h", &five(&stage), hours(13.0) + 20.0),
        one("23 min fast", &corona, 1_380.0),
        one(
            "23 min fast, corona and bead",
            &[(200.0, Kind::Corona), (end_s + 1.0, Kind::Ring)],
            1_380.0,
        ),
        one("a year off", &five(&stage), hours(-24.0 * 365.0) + 80.0),
        one("a day off", &five(&stage), hours(24.0) - 33.0),
        one(
            "a crescent, zone 13 h off",
            &[(-1_500.0, Kind::Crescent)],
            hours(13.0) + 20.0,
        ),
        one(
            "full Suns alone",
            &[(-6_000.0, Kind::Full), (-5_500.0, Kind::Full)],
            20.0,
        ),
        case(
            "GPS late by 0 to 5 s",
            &stage,
            &body(&stage, &nothing(), 47.0),
            |all| {
                let mut rng = rng();
                for (frame, taken) in all.iter_mut().zip(after_c2(&stage, &nothing())) {
                    let late_s: f64 = rng.random_range(0.0..5.0);
                    frame.gps_utc = Some(taken.utc.plus_s(-late_s));
                }
            },
        ),
        copies(&stage),
    ]
}

/// A card of Ohio, 2024, with partials and totality, about which another place is asked: its solution there.
pub(crate) fn asked_elsewhere(lat_deg: f64, lon_deg: f64) -> ClockSolution {
    let taken_at = stage();
    let mut list = five(&taken_at);
    list.extend((0..8).map(|n| (-4_000.0 + 450.0 * f64::from(n), Kind::Crescent)));
    list.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (all, _) = frames(&taken_at, &body(&taken_at, &list, 12.0));
    let site = Site {
        lat_deg,
        lon_deg,
        elev_m: 200.0,
    };
    let asked = Stage::at("2024-04-08", site, taken_at.zone_s);
    solved(&asked, &[(&all, true, asked.zone_s)]).remove(0)
}

/// Frames of the day that show no disc.
fn nothing() -> Vec<(f64, Kind)> {
    (0..6)
        .map(|n| (-900.0 + 400.0 * f64::from(n), Kind::Nothing))
        .collect()
}

/// Two crescents, each saved twice again with later stamps.
fn copies(stage: &Stage) -> Case {
    let list = [(-2_400.0, Kind::Crescent), (-1_500.0, Kind::Crescent)];
    let once = body(stage, &list, 20.0);
    let (mut all, habit) = frames(stage, &once);
    for n in 0..2 {
        for later_s in [25.0, 70.0] {
            let mut copy = all[n].clone();
            let stamp = copy.stamp.as_mut().unwrap();
            let later = jiff::SignedDuration::from_secs_f64(later_s);
            let time = stamp.time.civil().checked_add(later).unwrap();
            stamp.time = contactstrip::domain::CameraTime::new(time);
            all.push(copy);
        }
    }
    let solution = solved(stage, &[(&all, true, stage.zone_s)]).remove(0);
    told("copies with later stamps", stage, &once, &habit, solution)
}

/// A card whose edited copies have nothing but the time they were saved, the day after and later; with `alone` there are no others.
pub(crate) fn saved_later(alone: bool) -> Case {
    let stage = stage();
    let card = body(&stage, &five(&stage), 12.0);
    let (mut all, habit) = frames(&stage, &card);
    let copies = [1, 2].map(|n| {
        let mut copy = all[n].clone();
        let stamp = copy.stamp.as_mut().unwrap();
        let later = jiff::SignedDuration::from_secs(86_400 + 3_600 * n as i64 + 700);
        let time = stamp.time.civil().checked_add(later).unwrap();
        stamp.time = contactstrip::domain::CameraTime::new(time);
        stamp.of_change = true;
        copy
    });
    if alone {
        all.clear();
    }
    all.extend(copies);
    let solution = solved(&stage, &[(&all, true, stage.zone_s)]).remove(0);
    told("saved later", &stage, &card, &habit, solution)
}

/// Cards of two bodies: the second has totality only; the second names no camera and is 23 min fast like the first.
pub(crate) fn of_two_bodies() -> Vec<Case> {
    let stage = stage();
    let end_s = length_s(&stage);
    let partials: Vec<(f64, Kind)> = (0..8)
        .map(|n| (-4_000.0 + 450.0 * f64::from(n), Kind::Crescent))
        .collect();
    let corona = [(60.0, Kind::Corona), (150.0, Kind::Corona)];
    let first = body(&stage, &partials, 12.0);
    let second = body(&stage, &corona, -70.0);
    let mut out = pair(
        "two cameras, one with totality only",
        &stage,
        &first,
        &second,
    );
    let ring = body(&stage, &[(end_s + 26.0, Kind::Ring)], 1_376.0);
    let nameless = Body {
        named: false,
        ..body(
            &stage,
            &[(200.0, Kind::Corona), (end_s + 1.0, Kind::Ring)],
            1_376.0,
        )
    };
    out.extend(pair(
        "a ring, and nameless frames of the same clock",
        &stage,
        &ring,
        &nameless,
    ));
    let local = body(&stage, &partials[..4], 3.0);
    let on_utc = body(&stage, &five(&stage), -f64::from(stage.zone_s) + 8.0);
    out.extend(pair(
        "a telephone on local time, a body on UTC",
        &stage,
        &local,
        &on_utc,
    ));
    out
}

fn pair(name: &'static str, stage: &Stage, a: &Body, b: &Body) -> Vec<Case> {
    let ((fa, ha), (fb, hb)) = (frames(stage, a), frames(stage, b));
    let both = [
        (&fa[..], a.named, stage.zone_s),
        (&fb[..], b.named, stage.zone_s),
    ];
    let mut solutions = solved(stage, &both);
    let second = solutions.remove(1);
    let first = solutions.remove(0);
    vec![
        told(name, stage, a, &ha, first),
        told(name, stage, b, &hb, second),
    ]
}
