//! How honest the solved clocks are: draws and sorts random cards of partial phases and prints errors and sigmas.
//!
//! ```text
//! cargo bench --bench clock -- CARDS RADIUS_PX      for example 200 150
//! ```
//!
//! Without numbers (as `cargo bench` and `cargo test --benches` do) two small cards are run.
#![allow(clippy::print_stdout, missing_docs)]

#[path = "../tests/support/cards.rs"]
#[allow(dead_code)]
mod cards;
#[path = "../tests/support/header.rs"]
#[allow(dead_code)]
mod header;
#[path = "../tests/support/mounts.rs"]
#[allow(dead_code)]
mod mounts;
#[path = "../tests/support/sun.rs"]
#[allow(dead_code)]
mod sun;

use cards::Outcome;

fn main() {
    let mut numbers = std::env::args().filter_map(|arg| arg.parse::<f64>().ok());
    let count = numbers.next().unwrap_or(2.0) as u64;
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
