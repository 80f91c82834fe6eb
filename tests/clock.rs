//! The `clock` room, through its door.

mod cases;
mod made_up;
mod selections;

use crate::support::cards::{Outcome, of_twenty, of_twenty_otherwise, outcome};
use crate::support::mounts::{self, ARGENTINA, LUXOR, Mount, OREGON, Plan, TEXAS};
use cases::Case;
use selections::{Selection, selection};

/// The pictures of a few random cards: solved clocks lie within their own sigmas, as `benches/clock.rs` shows on 200.
#[test]
fn sigmas_of_random_cards_are_honest() {
    let outcomes: Vec<Outcome> = (0..8).map(|seed| outcome(seed, 110.0)).collect();
    let solved: Vec<&Outcome> = outcomes.iter().filter(|o| o.solved).collect();
    assert!(solved.len() >= 6, "{outcomes:?}");
    for o in &solved {
        assert!(o.off_s.abs() < 3.5 * o.sigma_s, "{o:?}");
    }
    let near = solved.iter().filter(|o| o.off_s.abs() < 2.0 * o.sigma_s);
    assert!(near.count() + 1 >= solved.len(), "{outcomes:?}");
    for o in solved.iter().filter(|o| o.frames >= 15) {
        assert!(o.off_s.abs() < 2.5, "{o:?}");
    }
}

/// Before a Moon with its real limb (drawn from a profile made outside the program) 20 partials tell the clock to a fraction of a
/// second. The table below prints all places.
#[test]
fn clocks_know_the_mountains_of_the_moon() {
    for (place, tripod) in [(0, true), (2, false), (4, true)] {
        let o = of_twenty(place, tripod, 150.0);
        // A circle through all of the limb before the Sun is a second and more off in some of them.
        assert!(o.solved && o.off_s.abs() < 0.8, "{place}: {o:?}");
        assert!(o.sigma_s < 0.8, "{place}: {o:?}");
        assert!(o.off_s.abs() < 3.0 * o.sigma_s, "{place}: {o:?}");
    }
}

/// The table of `benches/MEASUREMENTS.md`.
#[test]
#[ignore = "takes minutes; prints a table"]
#[allow(clippy::print_stdout)]
fn a_table_of_clocks_before_the_real_moon() {
    for radius_px in [150.0, 90.0] {
        let (mut square, mut within, mut sigmas) = (0.0, 0, Vec::new());
        for (place, tripod) in (0..8).flat_map(|place| [(place, true), (place, false)]) {
            let o = of_twenty(place, tripod, radius_px);
            println!("{radius_px} px, place {place}, tripod {tripod}: {o:?}");
            square += o.off_s * o.off_s / 16.0;
            within += usize::from(o.off_s.abs() < 3.0 * o.sigma_s);
            sigmas.push(o.sigma_s);
        }
        sigmas.sort_by(f64::total_cmp);
        println!(
            "{radius_px} px: {:.2} s rms, {:.2} s stated at the middle, {within} of 16 within 3 sigmas",
            square.sqrt(),
            sigmas[8]
        );
    }
}

/// The same of cards by cameras of other habits, for `benches/MEASUREMENTS.md`.
#[test]
#[ignore = "takes minutes; prints a table"]
#[allow(clippy::print_stdout)]
fn clocks_by_cameras_of_other_habits() {
    let outcomes: Vec<Outcome> = (0..32)
        .map(|seed| of_twenty_otherwise(seed, 150.0))
        .collect();
    let mut sigmas: Vec<f64> = outcomes.iter().map(|o| o.sigma_s).collect();
    sigmas.sort_by(f64::total_cmp);
    let within = |k: f64| {
        outcomes
            .iter()
            .filter(|o| o.off_s.abs() < k * o.sigma_s)
            .count()
    };
    let mean_square = outcomes.iter().map(|o| o.off_s * o.off_s).sum::<f64>() / 32.0;
    println!(
        "{:.2} s rms, {:.2} s stated at the middle, of 32 {} within 1 sigma, {} within 2, {} within 3; {outcomes:#?}",
        mean_square.sqrt(),
        sigmas[16],
        within(1.0),
        within(2.0),
        within(3.0)
    );
    assert_eq!(within(3.0), 32);
}

/// Those of some selections whose clock is farther off than three sigmas, and those with a phase wrong in silence.
fn mistaken(telling: &[&Selection]) -> (Vec<String>, Vec<String>) {
    let told = |s: &&Selection| {
        format!(
            "{:?}, {:.1} s off: {} {:?}",
            s.kinds, s.error_s, s.summary, s.outcome
        )
    };
    let of = |kind: &dyn Fn(&Selection) -> bool| {
        let those = telling.iter().filter(|s| kind(s));
        those.map(told).collect::<Vec<String>>()
    };
    (of(&|s| !s.within(3.0)), of(&|s| s.outcome.silent > 0))
}

fn middle_sigma_s(telling: &[&Selection]) -> f64 {
    let mut sigmas: Vec<f64> = telling.iter().map(|s| s.outcome.sigma_s).collect();
    sigmas.sort_by(f64::total_cmp);
    sigmas[sigmas.len() / 2]
}

/// Cards of one to eight frames, any clock: the stated error holds, and no phase is wrong in silence. The test below and
/// `benches/clock.rs` take 200 of them.
#[test]
fn few_frames_make_a_vague_clock_and_no_wrong_one() {
    let all: Vec<Selection> = (0..60).map(selection).collect();
    let telling: Vec<&Selection> = all.iter().filter(|s| s.has_clue()).collect();
    assert!(telling.len() > 50);
    let (wrong, silent) = mistaken(&telling);
    assert!(wrong.len() <= 1, "{wrong:#?}");
    assert!(silent.len() <= wrong.len(), "{silent:#?}");
    let middle = middle_sigma_s(&telling);
    assert!(
        middle < 40.0,
        "vague is well, but half of them are told to {middle} s only"
    );
}

/// 200 such cards with a clue: 99 % within three sigmas, none with a phase wrong in silence. The figures of
/// `benches/MEASUREMENTS.md`.
#[test]
#[ignore = "takes minutes; prints its figures"]
#[allow(clippy::print_stdout)]
fn two_hundred_selections_are_vague_and_not_wrong() {
    let all: Vec<Selection> = (0..)
        .map(selection)
        .filter(|s| s.has_clue())
        .take(200)
        .collect();
    let telling: Vec<&Selection> = all.iter().collect();
    let (wrong, silent) = mistaken(&telling);
    let within = |sigmas: f64| telling.iter().filter(|s| s.within(sigmas)).count();
    println!(
        "of 200: {} within 1 sigma, {} within 2, {} within 3; median sigma {:.1} s; {} with a phase wrong in silence",
        within(1.0),
        within(2.0),
        within(3.0),
        middle_sigma_s(&telling),
        silent.len()
    );
    println!("{wrong:#?}");
    assert!(within(3.0) >= 198, "{wrong:#?}");
    assert!(silent.is_empty(), "{silent:#?}");
}

/// Totality on a card of which a place without it is asked: far off, nothing is claimed; some kilometres beside the path, the
/// clock is told to a minute.
#[test]
fn totality_where_there_is_none_is_no_clock() {
    let new_york = cases::asked_elsewhere(40.71, -74.01);
    let line = new_york.outcome.words(&new_york.clock);
    assert!(line.starts_with("not known"), "{line}");
    assert!(line.contains("this place has none"), "{line}");
    let beside = cases::asked_elsewhere(39.2, -84.2);
    assert!(beside.clock.sigma_s >= 60.0, "{beside:#?}");
}

fn honest(case: &Case) {
    let o = &case.outcome;
    assert!(o.off_s.abs() <= 3.0 * o.sigma_s, "{case:#?}");
    assert_eq!(o.silent, 0, "{case:#?}");
}

#[test]
fn cards_with_few_clues_are_never_wrong() {
    let all = cases::of_one_body();
    for case in &all {
        honest(case);
    }
    let of = |name: &str| all.iter().find(|case| case.name == name).unwrap();
    for name in [
        "clock on UTC",
        "another zone by 13 h",
        "a year off",
        "a day off",
    ] {
        let case = of(name);
        assert!(case.outcome.sigma_s < 30.0, "{case:#?}");
        assert!(
            case.notices
                .iter()
                .any(|n| n.contains("corrected by its pictures")),
            "{case:#?}"
        );
    }
    assert!(of("23 min fast, corona and bead").outcome.sigma_s < 60.0);
    for name in ["one ring before C2", "one ring after C3"] {
        assert!(
            of(name).summary.starts_with("2 times fit"),
            "{:#?}",
            of(name)
        );
    }
    let vague = of("full Suns alone");
    assert!(vague.summary.starts_with("not known"), "{vague:#?}");
    assert!(of("GPS late by 0 to 5 s").outcome.sigma_s < 30.0);
}

/// The time at which a copy was saved is no reading of the camera's clock: it neither moves that nor is corrected by itself.
#[test]
fn times_of_the_last_change_correct_no_clock() {
    let among = cases::saved_later(false);
    assert!(
        among.outcome.off_s.abs() < 3.0 * among.outcome.sigma_s,
        "{among:#?}"
    );
    assert!(among.outcome.sigma_s < 30.0, "{among:#?}");
    let alone = cases::saved_later(true);
    assert!(alone.summary.starts_with("not known"), "{alone:#?}");
    // A corona cannot have been taken when its copy was saved.
    assert_eq!((among.contradicted, alone.contradicted), (2, 2));
    for case in [&among, &alone] {
        let corrected = |n: &&String| n.contains("a day ahead");
        assert!(case.notices.iter().find(corrected).is_none(), "{case:#?}");
    }
}

#[test]
fn bodies_of_one_card_help_each_other() {
    let all = cases::of_two_bodies();
    for case in &all {
        honest(case);
    }
    let tied = all
        .iter()
        .filter(|c| c.name.starts_with("a ring, and nameless"));
    for case in tied {
        assert!(case.outcome.sigma_s < 20.0, "{case:#?}");
        assert!(case.summary.contains("the pictures of"), "{case:#?}");
    }
}

/// North on cameras left standing, however high the Sun: `benches/pose.rs` prints the same for more cards.
#[test]
fn north_is_known_on_tripods_at_any_altitude() {
    let mount = Mount::Tripod { lean_deg: 0.0 };
    for place in [OREGON, TEXAS, ARGENTINA, LUXOR] {
        let plan = Plan {
            place,
            mount,
            ..Plan::default()
        };
        let o = mounts::outcome(&plan);
        assert_eq!((o.norths, o.mirror_wrong), (o.frames, 0), "{plan:?} {o:?}");
        assert!(
            o.north_rms_deg < 0.1 && o.totality_rms_deg < 0.1,
            "{plan:?} {o:?}"
        );
        assert!(
            o.honest > 0.98 && o.off_s.abs() < 3.0 * o.sigma_s,
            "{plan:?} {o:?}"
        );
    }
}

/// North on mounts that follow the sky, an axis off the pole allowed for, and in hands.
#[test]
fn north_is_known_on_trackers_and_in_hands() {
    let cards = [
        (TEXAS, Mount::Tracker { off_deg: 0.0 }, 0.05),
        (LUXOR, Mount::Tracker { off_deg: 1.0 }, 0.05),
        (OREGON, Mount::Ball { spread_deg: 2.0 }, 0.2),
    ];
    for (place, mount, most_deg) in cards {
        let plan = Plan {
            place,
            mount,
            ..Plan::default()
        };
        let o = mounts::outcome(&plan);
        assert_eq!(o.mirror_wrong, 0, "{plan:?} {o:?}");
        assert!(
            o.north_rms_deg < most_deg && o.honest > 0.97,
            "{plan:?} {o:?}"
        );
    }
    let restless = Plan {
        place: TEXAS,
        mount: Mount::Restless { lean_deg: 0.5 },
        burst: 1,
        subsec: false,
        ..Plan::default()
    };
    let o = mounts::outcome(&restless);
    assert!(o.north_rms_deg < 0.2 && o.honest > 0.95, "{o:?}");
    assert!(o.solved && o.sigma_deg < 0.2, "{o:?}");
    let hand = Mount::Hand { spread_deg: 6.0 };
    let o = mounts::outcome(&Plan {
        place: TEXAS,
        mount: hand,
        ..Plan::default()
    });
    assert!(o.mirror_wrong == 0 && o.honest > 0.9, "{o:?}");
    assert!(o.off_s.abs() < 3.0 * o.sigma_s, "{o:?}");
}

/// A mirror is told where the pictures leave no doubt, and never where they do.
#[test]
fn mirrors_are_told_only_where_they_are() {
    let mount = Mount::Tripod { lean_deg: 0.0 };
    let o = mounts::outcome(&Plan {
        mount,
        mirrored: true,
        ..Plan::default()
    });
    assert_eq!(o.mirror_wrong, 0, "{o:?}");
    for seed in 1..6 {
        for worse in [1.0, 4.0] {
            let plan = Plan {
                place: TEXAS,
                mount: Mount::Hand { spread_deg: 4.0 },
                part: 0.45,
                burst: 1,
                subsec: false,
                worse,
                seed,
                ..Plan::default()
            };
            let o = mounts::outcome(&plan);
            assert_eq!(o.mirror_wrong, 0, "{plan:?} {o:?}");
        }
    }
}
