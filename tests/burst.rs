//! The `burst` room, through its door.

use contactstrip::burst;
use contactstrip::domain::{
    Burst, CameraId, CameraStamp, CameraTime, CardFile, Exposure, FileFormat, Flag, Orientation,
    Phase, Shot, TaggedShot,
};
use proptest::prelude::*;
use rand::prelude::*;
use rand_pcg::Pcg64;

/// Shutter times as cameras name them, a third of a stop apart, from 1/8000 s to 30 s.
const NOMINAL_S: [f64; 55] = [
    1.0 / 8000.0,
    1.0 / 6400.0,
    1.0 / 5000.0,
    1.0 / 4000.0,
    1.0 / 3200.0,
    1.0 / 2500.0,
    1.0 / 2000.0,
    1.0 / 1600.0,
    1.0 / 1250.0,
    1.0 / 1000.0,
    1.0 / 800.0,
    1.0 / 640.0,
    1.0 / 500.0,
    1.0 / 400.0,
    1.0 / 320.0,
    1.0 / 250.0,
    1.0 / 200.0,
    1.0 / 160.0,
    1.0 / 125.0,
    1.0 / 100.0,
    1.0 / 80.0,
    1.0 / 60.0,
    1.0 / 50.0,
    1.0 / 40.0,
    1.0 / 30.0,
    1.0 / 25.0,
    1.0 / 20.0,
    1.0 / 15.0,
    1.0 / 13.0,
    1.0 / 10.0,
    1.0 / 8.0,
    1.0 / 6.0,
    1.0 / 5.0,
    1.0 / 4.0,
    0.3,
    0.4,
    0.5,
    0.6,
    0.8,
    1.0,
    1.3,
    1.6,
    2.0,
    2.5,
    3.2,
    4.0,
    5.0,
    6.0,
    8.0,
    10.0,
    13.0,
    15.0,
    20.0,
    25.0,
    30.0,
];

/// One drawn frame: what the camera does, and which set it truly belongs to.
#[derive(Clone, Debug)]
struct Drawn {
    body: usize,
    start_s: f64,
    third: usize,
    bracketing: Option<bool>,
    number: u32,
    set: Option<usize>,
}

fn shot(drawn: &Drawn, subsec: bool) -> TaggedShot {
    let stamp_s = if subsec {
        (drawn.start_s * 100.0).floor() / 100.0
    } else {
        drawn.start_s.floor()
    };
    let midnight = jiff::civil::date(2019, 7, 2).at(15, 0, 0, 0);
    let civil = midnight + jiff::SignedDuration::from_millis((stamp_s * 1000.0).round() as i64);
    let number = (drawn.number - 1) % 9999 + 1;
    let folder = 100 + (drawn.number - 1) / 9999;
    TaggedShot {
        shot: Shot {
            file: CardFile {
                name: format!("{}{folder}X/IMG_{number:04}.JPG", ["A", "B"][drawn.body]),
                path: "unused".into(),
                format: FileFormat::Jpeg,
                size_bytes: 1,
                modified: None,
            },
            camera: Some(CameraId {
                make: "Maker".into(),
                model: "Model".into(),
                serial: Some(["1", "2"][drawn.body].into()),
            }),
            stamp: Some(CameraStamp {
                time: CameraTime::new(civil),
                has_subsec: subsec,
                offset_s: None,
                of_change: false,
            }),
            gps: None,
            exposure: Exposure {
                shutter_s: Some(NOMINAL_S[drawn.third]),
                f_number: Some(8.0),
                iso: Some(100.0),
                auto_bracket: drawn.bracketing,
                ..Exposure::default()
            },
            orientation: Orientation::UPRIGHT,
            width_px: None,
            height_px: None,
        },
        utc: None,
        utc_sigma_s: None,
        phase: Phase::Totality,
        near_contact: None,
    }
}

/// Frames of a set in the order the camera fires them, in steps from the middle one.
fn order(kind: u32, n: i32) -> Vec<i32> {
    let h = n / 2;
    match kind {
        0 => (-h..=h).collect(),
        1 => (-h..=h).rev().collect(),
        2 => std::iter::once(0)
            .chain((1..=h).flat_map(|k| [-k, k]))
            .collect(),
        3 => std::iter::once(0)
            .chain((1..=h).flat_map(|k| [k, -k]))
            .collect(),
        _ => std::iter::once(0).chain(-h..0).chain(1..=h).collect(),
    }
}

/// How one body of a drawn card shoots.
struct Habit {
    kind: u32,
    n: i32,
    thirds: i32,
    base: i32,
    readout_s: f64,
    says: bool,
    drop: f64,
}

impl Habit {
    fn draw(rng: &mut Pcg64) -> Self {
        let n = *[3, 5, 7, 9, 9, 9].choose(rng).unwrap();
        let thirds = if n == 9 {
            3
        } else {
            *[2, 3, 6].choose(rng).unwrap()
        };
        let reach = n / 2 * thirds;
        Self {
            kind: rng.random_range(0..5),
            n,
            thirds,
            base: rng.random_range(reach..(40 - reach).max(reach + 1)),
            readout_s: rng.random_range(0.1..0.8),
            says: rng.random_bool(0.5),
            drop: *[0.0, 0.0, 0.03, 0.08].choose(rng).unwrap(),
        }
    }
}

/// A body's stream: filtered partials, beads at one exposure, sets alone and back to back, singles between.
fn stream(body: usize, habit: &Habit, rng: &mut Pcg64) -> Vec<Drawn> {
    let mut frames: Vec<Drawn> = Vec::new();
    let mut clock_s = rng.random_range(0.0..300.0);
    let mut number: u32 = rng.random_range(9900..10050);
    let mut sets = body * 1000;
    let mut fire = |clock_s: &mut f64, third: i32, set: Option<usize>, kept: bool| {
        if kept {
            frames.push(Drawn {
                body,
                start_s: *clock_s,
                third: third.clamp(0, 54) as usize,
                bracketing: habit.says.then_some(set.is_some()),
                number,
                set,
            });
        }
        number += 1;
        *clock_s += NOMINAL_S[third.clamp(0, 54) as usize] + habit.readout_s;
    };
    for _ in 0..rng.random_range(0..8) {
        fire(&mut clock_s, 10, None, true);
        clock_s += 300.0 + rng.random_range(-60.0..60.0);
    }
    for _ in 0..rng.random_range(2..5) {
        for _ in 0..rng.random_range(0..8) {
            fire(&mut clock_s, habit.base, None, true);
        }
        clock_s += rng.random_range(0.0..4.0);
        for _ in 0..rng.random_range(1..4) {
            sets += 1;
            for step in order(habit.kind, habit.n) {
                let kept = !rng.random_bool(habit.drop);
                fire(
                    &mut clock_s,
                    habit.base + step * habit.thirds,
                    Some(sets),
                    kept,
                );
            }
            clock_s += if rng.random_bool(0.5) {
                0.0
            } else {
                rng.random_range(0.0..3.0)
            };
        }
        clock_s += rng.random_range(0.0..20.0);
    }
    frames
}

/// A card of one or two bodies, and the true sets as sorted lists of indices.
fn card(seed: u64) -> (Vec<TaggedShot>, Vec<Vec<usize>>) {
    let mut rng = Pcg64::seed_from_u64(seed);
    let mut drawn = Vec::new();
    let mut shots = Vec::new();
    for body in 0..rng.random_range(1..=2) {
        let habit = Habit::draw(&mut rng);
        let subsec = rng.random_bool(0.5);
        let frames = stream(body, &habit, &mut rng);
        shots.extend(frames.iter().map(|f| shot(f, subsec)));
        drawn.extend(frames);
    }
    let mut truth: std::collections::BTreeMap<usize, Vec<usize>> = Default::default();
    for (index, frame) in drawn.iter().enumerate() {
        if let Some(set) = frame.set {
            truth.entry(set).or_default().push(index);
        }
    }
    let sets = truth.into_values().filter(|set| set.len() >= 2).collect();
    (shots, sets)
}

fn members(bursts: &[Burst]) -> Vec<Vec<usize>> {
    let mut sets: Vec<Vec<usize>> = bursts
        .iter()
        .map(|b| {
            let mut m = b.members.clone();
            m.sort_unstable();
            m
        })
        .collect();
    sets.sort();
    sets
}

#[test]
fn every_frame_of_every_burst_on_drawn_cards() {
    let cards = 400;
    let mut wrong = Vec::new();
    for seed in 0..cards {
        let (shots, mut truth) = card(seed);
        truth.sort();
        let found = members(&burst::group(&shots));
        if found != truth {
            let odd: Vec<_> = truth.iter().filter(|s| !found.contains(s)).collect();
            let new: Vec<_> = found.iter().filter(|s| !truth.contains(s)).collect();
            wrong.push(format!("card {seed}: missed {odd:?}, made up {new:?}"));
        }
    }
    assert!(
        wrong.len() * 100 <= 3 * cards as usize,
        "{} of {cards} cards wrong\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}

/// Shots at given thirds of a stop, a quarter of a second of readout between them.
fn fired(thirds: &[usize], subsec: bool) -> Vec<TaggedShot> {
    let mut start_s = 0.0;
    thirds
        .iter()
        .enumerate()
        .map(|(n, &third)| {
            let drawn = Drawn {
                body: 0,
                start_s,
                third,
                bracketing: None,
                number: n as u32 + 1,
                set: None,
            };
            start_s += NOMINAL_S[third] + 0.25;
            shot(&drawn, subsec)
        })
        .collect()
}

#[test]
fn eighteen_frames_are_two_sets_of_nine() {
    let set = [18, 15, 21, 12, 24, 9, 27, 6, 30];
    for subsec in [true, false] {
        let bursts = burst::group(&fired(&[set, set].concat(), subsec));
        assert_eq!(bursts.len(), 2);
        assert_eq!(bursts[0].members, (0..9).collect::<Vec<_>>());
        assert_eq!(bursts[1].members, (9..18).collect::<Vec<_>>());
        assert_eq!((bursts[0].id, bursts[1].id), (1, 2));
    }
}

#[test]
fn continuous_shooting_at_one_exposure_is_no_burst() {
    assert!(burst::group(&fired(&[9; 20], true)).is_empty());
}

#[test]
fn iso_and_aperture_count() {
    let mut shots = fired(&[9; 6], true);
    for (n, shot) in shots.iter_mut().enumerate() {
        shot.shot.exposure.iso = Some([100.0, 200.0, 400.0][n % 3]);
    }
    let bursts = burst::group(&shots);
    assert_eq!(members(&bursts), [[0, 1, 2], [3, 4, 5]]);
}

#[test]
fn a_raw_shares_the_place_of_its_jpeg() {
    let jpegs = fired(&[6, 9, 12], true);
    let raws = jpegs.iter().cloned().map(|mut shot| {
        shot.shot.file.format = FileFormat::Raw;
        shot.shot.file.name = shot.shot.file.name.replace("JPG", "NEF");
        shot
    });
    let shots: Vec<_> = raws.chain(jpegs.iter().cloned()).collect();
    let bursts = burst::group(&shots);
    assert_eq!(bursts[0].members, [3, 4, 5]);
    let places = burst::places(&shots, &bursts);
    assert_eq!(places[..3], places[3..]);
    assert_eq!(places[1].unwrap().index, 2);
}

#[test]
fn frames_of_incomplete_bursts_are_flagged() {
    let set = [18, 15, 21, 12, 24];
    let short = [18, 15, 12, 24];
    let shots = fired(&[&set[..], &set, &[18], &short].concat(), true);
    let bursts = burst::group(&shots);
    assert_eq!(bursts.len(), 3);
    let flags = burst::flags(&shots, &bursts);
    assert!(flags[11..].iter().all(|f| f.has(Flag::IncompleteBurst)));
    assert!(flags[..11].iter().all(|f| f.is_empty()));
}

#[test]
fn nothing_and_one_frame_are_no_burst() {
    assert!(burst::group(&[]).is_empty());
    assert!(burst::group(&fired(&[5], false)).is_empty());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    #[test]
    fn shuffled_cards_give_the_same_bursts(seed in 0u64..5_000, shuffle in any::<u64>()) {
        let (shots, _) = card(seed);
        let mut order: Vec<usize> = (0..shots.len()).collect();
        order.shuffle(&mut Pcg64::seed_from_u64(shuffle));
        let shuffled: Vec<_> = order.iter().map(|&i| shots[i].clone()).collect();
        let back: Vec<Burst> = burst::group(&shuffled)
            .into_iter()
            .map(|b| Burst { id: b.id, members: b.members.iter().map(|&i| order[i]).collect() })
            .collect();
        prop_assert_eq!(back, burst::group(&shots));
    }

    #[test]
    fn every_shot_is_in_one_burst_at_most(thirds in prop::collection::vec(0usize..55, 0..60), subsec in any::<bool>()) {
        let shots = fired(&thirds, subsec);
        let mut seen = vec![0; shots.len()];
        for b in burst::group(&shots) {
            prop_assert!(b.members.len() >= 2);
            for m in b.members { seen[m] += 1; }
        }
        prop_assert!(seen.iter().all(|&n| n <= 1));
    }
}
