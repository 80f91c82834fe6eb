//! How well north, mirror and clock are told on cameras held in every way: solves made-up disc fits and prints a table.
//!
//! ```text
//! cargo bench --bench pose -- CARDS      cards a row, for example 8
//! ```
//!
//! Without a number (as `cargo bench` and `cargo test --benches` do) one card a row is run.
#![allow(clippy::print_stdout, missing_docs)]

#[path = "../tests/support/mounts.rs"]
#[allow(dead_code)]
mod mounts;

use mounts::{ARGENTINA, LUXOR, Mount, OREGON, Outcome, Plan, TEXAS};

fn main() {
    let cards = std::env::args()
        .find_map(|arg| arg.parse().ok())
        .unwrap_or(1);
    println!(
        "{:42} {:>8} {:>8} {:>8} {:>8} {:>6} {:>7} {:>8} {:>8} {:>6}",
        "card",
        "north",
        "north in",
        "stated",
        "within",
        "none",
        "mirror",
        "clock",
        "stated",
        "within"
    );
    println!(
        "{:42} {:>8} {:>8} {:>8} {:>8} {:>6} {:>7} {:>8} {:>8} {:>6}",
        "", "rms deg", "totality", "sigma", "3 sigma", "", "wrong", "rms s", "sigma", "3 sig"
    );
    for (name, plan) in rows() {
        let all: Vec<Outcome> = (0..cards)
            .map(|seed| {
                mounts::outcome(&Plan {
                    seed: seed + 1,
                    ..plan
                })
            })
            .collect();
        println!("{name:42} {}", line(&all));
    }
}

fn line(all: &[Outcome]) -> String {
    let count = all.len() as f64;
    let mean = |f: &dyn Fn(&Outcome) -> f64| all.iter().map(f).sum::<f64>() / count;
    let rms = |f: &dyn Fn(&Outcome) -> f64| mean(&|o| f(o).powi(2)).sqrt();
    let frames: usize = all.iter().map(|o| o.frames).sum();
    let norths: usize = all.iter().map(|o| o.norths).sum();
    let wrong: usize = all.iter().map(|o| o.mirror_wrong).sum();
    let within = all
        .iter()
        .filter(|o| o.off_s.abs() <= 3.0 * o.sigma_s)
        .count();
    format!(
        "{:8.3} {:8.3} {:8.3} {:6.1} % {:6} {:7} {:8.2} {:8.2} {:>6}",
        rms(&|o| o.north_rms_deg),
        rms(&|o| o.totality_rms_deg),
        mean(&|o| o.sigma_deg),
        100.0 * mean(&|o| o.honest),
        frames - norths,
        wrong,
        rms(&|o| o.off_s),
        mean(&|o| o.sigma_s),
        format!("{within}/{}", all.len()),
    )
}

fn rows() -> Vec<(&'static str, Plan)> {
    let plain = Plan::default();
    let level = Mount::Tripod { lean_deg: 0.0 };
    let leaning = Mount::Tripod { lean_deg: 1.5 };
    let restless = Mount::Restless { lean_deg: 0.5 };
    let tracker = Mount::Tracker { off_deg: 0.0 };
    let hand = Mount::Hand { spread_deg: 6.0 };
    let on = |mount, place| Plan {
        mount,
        place,
        ..plain
    };
    vec![
        ("tripod, 41 degrees up", on(level, OREGON)),
        ("tripod, 67 degrees up", on(level, TEXAS)),
        ("tripod, 72 degrees up, south", on(level, ARGENTINA)),
        ("tripod, 82 degrees up", on(level, LUXOR)),
        ("tripod leaning 1.5 degrees, 41", on(leaning, OREGON)),
        (
            "tripod leaning 1.5 degrees, 72 south",
            on(leaning, ARGENTINA),
        ),
        ("tripod leaning 1.5 degrees, 82", on(leaning, LUXOR)),
        ("tripod aimed before each burst, 67", on(restless, TEXAS)),
        ("tripod aimed before each burst, 82", on(restless, LUXOR)),
        (
            "the same, single frames, whole seconds",
            Plan {
                burst: 1,
                subsec: false,
                ..on(restless, TEXAS)
            },
        ),
        (
            "ball head, rolls of 2 degrees, 67",
            on(Mount::Ball { spread_deg: 2.0 }, TEXAS),
        ),
        ("tracker, 41", on(tracker, OREGON)),
        ("tracker, 82", on(tracker, LUXOR)),
        (
            "tracker 1 degree off the pole, 67",
            on(Mount::Tracker { off_deg: 1.0 }, TEXAS),
        ),
        (
            "tracker 1 degree off the pole, 72 south",
            on(Mount::Tracker { off_deg: 1.0 }, ARGENTINA),
        ),
        ("by hand, rolls of 6 degrees, 67", on(hand, TEXAS)),
        ("by hand, rolls of 6 degrees, 41", on(hand, OREGON)),
        (
            "tripod, mirrored, 41",
            Plan {
                mirrored: true,
                ..on(level, OREGON)
            },
        ),
        (
            "tripod, mirrored, 82",
            Plan {
                mirrored: true,
                ..on(level, LUXOR)
            },
        ),
        (
            "tracker, mirrored, 67",
            Plan {
                mirrored: true,
                ..on(tracker, TEXAS)
            },
        ),
        (
            "by hand, mirrored, 67",
            Plan {
                mirrored: true,
                ..on(hand, TEXAS)
            },
        ),
        (
            "tripod, ingress only, 41",
            Plan {
                part: 0.45,
                ..on(level, OREGON)
            },
        ),
        (
            "by hand, ingress only, single frames, 67",
            Plan {
                part: 0.45,
                burst: 1,
                subsec: false,
                ..on(hand, TEXAS)
            },
        ),
        (
            "tripod, errors 2.3 times as stated, 67",
            Plan {
                worse: 2.3,
                ..on(level, TEXAS)
            },
        ),
        (
            "tracker, errors 2.3 times as stated, 67",
            Plan {
                worse: 2.3,
                ..on(tracker, TEXAS)
            },
        ),
    ]
}
