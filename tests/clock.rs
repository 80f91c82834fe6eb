//! The `clock` room, through its door.

use crate::support::cards::{Outcome, outcome};
use crate::support::mounts::{self, ARGENTINA, LUXOR, Mount, OREGON, Plan, TEXAS};

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
