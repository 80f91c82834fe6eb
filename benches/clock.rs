//! How honest the solved clocks are: draws and sorts random cards of partial phases and prints errors and sigmas.
//!
//! ```text
//! cargo bench --bench clock -- CARDS RADIUS_PX      for example 200 150
//! cargo bench --bench clock -- few CARDS            made-up cards of one to eight frames, no pixels drawn
//! ```
//!
//! Without numbers (as `cargo bench` and `cargo test --benches` do) two small cards are run.
#![allow(clippy::print_stdout, missing_docs)]

#[path = "../tests/support/cards.rs"]
#[allow(dead_code)]
mod cards;
#[path = "../tests/clock/cases.rs"]
#[allow(dead_code)]
mod cases;
#[path = "../tests/support/header.rs"]
#[allow(dead_code)]
mod header;
#[path = "../tests/clock/made_up.rs"]
#[allow(dead_code)]
mod made_up;
#[path = "../tests/support/mounts.rs"]
#[allow(dead_code)]
mod mounts;
#[path = "../tests/clock/selections.rs"]
#[allow(dead_code)]
mod selections;
#[path = "../tests/support/sun.rs"]
#[allow(dead_code)]
mod sun;

use cards::Outcome;

fn main() {
    let mut numbers = std::env::args().filter_map(|arg| arg.parse::<f64>().ok());
    let count = numbers.next().unwrap_or(2.0) as u64;
    if std::env::args().any(|arg| arg == "few") {
        few(count);
        return;
    }
    let radius_px = numbers.next().unwrap_or(60.0);
    let mut all = Vec::new();
    for seed in 0..count {
        let o = cards::outcome(seed, radius_px);
        println!(
            "card {seed}: {} frames, off {:+.2} s, sigma {:.2} s{}",
            o.frames,
            o.off_s,
            o.sigma_s,
            if o.solved { "" } else { ", not solved" }
        );
        all.push(o);
    }
    summary(&all);
}

fn summary(all: &[Outcome]) {
    let solved: Vec<&Outcome> = all.iter().filter(|o| o.solved).collect();
    let share = |k: f64| {
        let within = solved.iter().filter(|o| o.off_s.abs() < k * o.sigma_s);
        100.0 * within.count() as f64 / solved.len().max(1) as f64
    };
    println!(
        "{} cards, {} solved; within 1, 2, 3 sigmas: {:.0} %, {:.0} %, {:.1} %",
        all.len(),
        solved.len(),
        share(1.0),
        share(2.0),
        share(3.0)
    );
    for (least, most) in [(1, 8), (8, 15), (15, 30)] {
        let mut off: Vec<f64> = solved
            .iter()
            .filter(|o| (least..most).contains(&o.frames))
            .map(|o| o.off_s.abs())
            .collect();
        off.sort_by(f64::total_cmp);
        if let (Some(middle), Some(worst)) = (off.get(off.len() / 2), off.last()) {
            println!(
                "{least} to {} frames: {} cards, median error {middle:.2} s, largest {worst:.2} s",
                most - 1,
                off.len()
            );
        }
    }
}

/// Made-up cards with few clues.
fn few(count: u64) {
    for case in cases::of_one_body()
        .into_iter()
        .chain(cases::of_two_bodies())
    {
        let o = case.outcome;
        println!(
            "{}: off {:+.1} s, sigma {:.1} s, {} silent, {} near a contact; {}",
            case.name, o.off_s, o.sigma_s, o.silent, o.doubted, case.summary
        );
    }
    let all: Vec<_> = (0..count).map(selections::selection).collect();
    for telling in [true, false] {
        let some: Vec<_> = all.iter().filter(|s| s.has_clue() == telling).collect();
        let within = |k: f64| some.iter().filter(|s| s.within(k)).count();
        let silent = some.iter().filter(|s| s.outcome.silent > 0).count();
        let mut sigmas: Vec<f64> = some.iter().map(|s| s.outcome.sigma_s).collect();
        sigmas.sort_by(f64::total_cmp);
        println!(
            "{} selections {} a frame that tells: within 1, 2, 3 sigmas {}, {}, {}; middle sigma {:.1} s; {silent} with a silent mistake",
            some.len(),
            if telling { "with" } else { "without" },
            within(1.0),
            within(2.0),
            within(3.0),
            sigmas.get(sigmas.len() / 2).copied().unwrap_or(0.0)
        );
    }
}
