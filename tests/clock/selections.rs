//! Random selections of a card, as people keep them: one to eight frames, any clock.

use rand::{Rng, RngExt, SeedableRng};
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64Mcg;

use super::made_up::{Habit, Kind, Outcome, Stage, Taken, frame, outcome, schedule, solved};

/// One random selection and what came of it.
#[derive(Clone, Debug)]
pub(crate) struct Selection {
    pub(crate) kinds: Vec<Kind>,
    /// Stamp minus true local time in seconds.
    pub(crate) error_s: f64,
    pub(crate) outcome: Outcome,
    pub(crate) summary: String,
}

impl Selection {
    /// Whether any frame tells the time of the eclipse.
    pub(crate) fn has_clue(&self) -> bool {
        let telling = |kind: &Kind| matches!(kind, Kind::Crescent | Kind::Ring | Kind::Corona);
        self.kinds.iter().any(telling)
    }

    pub(crate) fn within(&self, sigmas: f64) -> bool {
        self.outcome.off_s.abs() <= sigmas * self.outcome.sigma_s
    }
}

/// Errors of clocks as real cards have them: mostly small, some minutes off, some on UTC or an hour off, some a year.
fn error_s(stage: &Stage, rng: &mut impl Rng) -> f64 {
    let small = Normal::new(0.0, 35.0).unwrap().sample(rng);
    match rng.random_range(0..20) {
        0..=11 => small,
        12..=14 => rng.random_range(-300.0..300.0),
        15 => rng.random_range(-1_800.0..1_800.0),
        16 | 17 => small - f64::from(stage.zone_s),
        18 => {
            small
                + if rng.random_bool(0.5) {
                    3_600.0
                } else {
                    -3_600.0
                }
        }
        _ => small - 365.0 * 86_400.0,
    }
}

/// Draws and solves selection number `seed`.
pub(crate) fn selection(seed: u64) -> Selection {
    let mut rng = Pcg64Mcg::seed_from_u64(0x5E1E ^ seed.wrapping_mul(0x9E37_79B9));
    let stage = Stage::new(rng.random_range(0..5));
    let all = schedule(&stage);
    let count = rng.random_range(1..9);
    let mut left: Vec<Taken> = all;
    let mut taken: Vec<Taken> = (0..count)
        .map(|_| left.remove(rng.random_range(0..left.len())))
        .collect();
    taken.sort_by_key(|one| one.utc);
    let error_s = error_s(&stage, &mut rng);
    let habit = Habit {
        tau_s: f64::from(stage.zone_s) + error_s,
        subsec: rng.random_bool(0.5),
        blind: 0.3,
        roll_deg: rng.random_range(-90.0..90.0),
    };
    let frames: Vec<_> = taken
        .iter()
        .map(|t| frame(&stage, t, &habit, &mut rng))
        .collect();
    let solution = solved(&stage, &[(&frames, true, stage.zone_s)]).remove(0);
    Selection {
        kinds: taken.iter().map(|t| t.kind).collect(),
        error_s,
        outcome: outcome(&stage, &taken, &habit, &solution),
        summary: solution.outcome.words(&solution.clock),
    }
}
