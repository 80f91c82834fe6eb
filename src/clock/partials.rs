//! The clock by the partial frames.

use super::course::Course;
use super::fit::{self, Hold, Setting, Solved};
use super::measured::{Measured, Vectors};
use super::search;
use super::{ClockFrame, FEWEST_PARTIALS};
use crate::domain::Notice;

/// Cost of believing the picture mirrored, in units of minus twice a log likelihood (our choice: a diagonal mirror is rare).
const MIRRORED_COST: f64 = 6.0;

/// A rival clock error must cost this much more to be ruled out, in the same units.
const CLEAR_COST: f64 = 6.0;

/// Most of what belief and other evidence may cost a clock error, in the same units.
const MOST_OTHER_COST: f64 = 80.0;

/// Least share of the frames that must agree.
const LEAST_AGREE: f64 = 0.55;

/// Largest one sigma, in seconds, with which partials still count as evidence.
const LARGEST_SIGMA_S: f64 = 300.0;

/// Largest root mean square of the used frames about the fit, in sigmas, for the fit to be believed.
const LARGEST_SCATTER: f64 = 20.0;

/// What came of the partial frames.
pub(super) struct Partials {
    /// Vectors of the shoot that has most, in time order.
    pub(super) shoot: Vec<Measured>,
    /// The fit, where one stood out.
    pub(super) solved: Option<Solved>,
    /// Why not.
    pub(super) trouble: Option<Trouble>,
    /// Vectors of other shoots.
    pub(super) elsewhere: Vec<usize>,
}

/// Why partial frames tell no time.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Trouble {
    /// Fewer than [`FEWEST_PARTIALS`].
    TooFew(usize),
    /// Two clock errors, in seconds, fit alike.
    Ambiguous(f64, f64),
    /// No clock error fits enough of them.
    Discordant,
}

impl Partials {
    /// Whether there was evidence enough and it still did not give a time.
    pub(super) fn contradict(&self) -> bool {
        matches!(
            self.trouble,
            Some(Trouble::Ambiguous(..) | Trouble::Discordant)
        )
    }

    /// Names the outliers.
    pub(super) fn notices(&self, name: &str, frames: &[ClockFrame]) -> Vec<Notice> {
        let Some(solved) = &self.solved else {
            return Vec::new();
        };
        let off = self
            .shoot
            .iter()
            .zip(&solved.used)
            .filter(|(_, used)| !**used)
            .map(|(m, _)| m.frame);
        off.chain(self.elsewhere.iter().copied())
            .map(|n| {
                let text = format!(
                    "its discs do not fit the other partials of {name}; left out of the clock"
                );
                Notice::note(text).about(&frames[n].file)
            })
            .collect()
    }
}

/// What partials are held against besides the sky.
pub(super) struct Beside<'a> {
    /// The clock error that is believed beforehand, in seconds.
    pub(super) word_s: f64,
    /// Minus twice the log of how likely belief and other evidence make an error known to a sigma, up to a constant.
    pub(super) cost: &'a dyn Fn(f64, f64) -> f64,
}

/// Solves the clock error from the vectors.
pub(super) fn solve(vectors: &Vectors, course: &Course, beside: &Beside<'_>) -> Partials {
    let mut all = vectors.measured.clone();
    all.sort_by(|a, b| {
        (a.reading_s, a.frame)
            .partial_cmp(&(b.reading_s, b.frame))
            .expect("readings are finite")
    });
    let shoot = search::main_shoot(&all).to_vec();
    let inside = |n: usize| shoot.iter().any(|m| m.frame == n);
    let elsewhere = all
        .iter()
        .map(|m| m.frame)
        .filter(|n| !inside(*n))
        .collect();
    let chosen = if shoot.len() < FEWEST_PARTIALS {
        Err(Trouble::TooFew(shoot.len()))
    } else {
        choose(
            &Setting {
                vectors,
                shoot: &shoot,
                course,
            },
            beside,
        )
    };
    Partials {
        trouble: chosen.as_ref().err().copied(),
        solved: chosen.ok(),
        shoot,
        elsewhere,
    }
}

/// The likeliest fit of all places and holds, unless another clock error is nearly as likely.
fn choose(setting: &Setting<'_>, beside: &Beside<'_>) -> Result<Solved, Trouble> {
    let mut places = search::places(setting.shoot, setting.course);
    places.push(beside.word_s);
    let fits: Vec<(f64, f64, Solved)> = places
        .iter()
        .flat_map(|&tau_s| Hold::ALL.map(|hold| fit::fit(setting, tau_s, hold)))
        .filter(|solved| solved.cost.is_finite() && solved.tau_s().is_finite())
        .map(|solved| {
            let other = (beside.cost)(solved.tau_s(), solved.tau_sigma_s);
            (solved.cost + mirror_cost(&solved), other, solved)
        })
        .collect();
    let least = fits.iter().map(|fit| fit.1).fold(f64::INFINITY, f64::min);
    let mut fits: Vec<(f64, Solved)> = fits
        .into_iter()
        .map(|(own, other, solved)| (own + (other - least).min(MOST_OTHER_COST), solved))
        .collect();
    fits.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (cost, best) = fits.first().cloned().ok_or(Trouble::Discordant)?;
    let agree = best.used_count() as f64 >= LEAST_AGREE * setting.shoot.len() as f64;
    let sound = best.tau_sigma_s <= LARGEST_SIGMA_S && best.scatter <= LARGEST_SCATTER;
    if !agree || !sound || best.used_count() < FEWEST_PARTIALS {
        return Err(Trouble::Discordant);
    }
    let apart_s = (5.0 * best.tau_sigma_s).max(20.0);
    let rival = fits
        .iter()
        .find(|(_, rival)| (rival.tau_s() - best.tau_s()).abs() > apart_s);
    match rival {
        Some((other, rival)) if other - cost < CLEAR_COST => {
            Err(Trouble::Ambiguous(best.tau_s(), rival.tau_s()))
        }
        _ => Ok(best),
    }
}

fn mirror_cost(solved: &Solved) -> f64 {
    if solved.hold.mirrored {
        MIRRORED_COST
    } else {
        0.0
    }
}
