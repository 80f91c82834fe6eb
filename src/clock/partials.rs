//! The clock by the partial frames.

use super::course::Course;
use super::covered::Likelihood;
use super::fit::{self, Hold, Setting, Solved};
use super::measured::{Measured, Vectors};
use super::mistake::belief_cost;
use super::search;
use super::{ClockBody, ClockFrame, FEWEST_PARTIALS};
use crate::domain::{ClockCorrection, Notice};

/// Cost of believing the picture mirrored, in units of minus twice a log likelihood (our choice: a diagonal mirror is rare).
const MIRRORED_COST: f64 = 6.0;

/// A rival clock error must cost this much more to be ruled out, in the same units.
const CLEAR_COST: f64 = 6.0;

/// Most of what a covered-frame likelihood may cost a clock error, in the same units.
const MOST_COVERED_COST: f64 = 60.0;

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
    pub(super) fn notices(&self, body: &ClockBody<'_>, frames: &[ClockFrame]) -> Vec<Notice> {
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
                    "its discs do not fit the other partials of {}; left out of the clock",
                    body.name
                );
                Notice::note(text).about(&frames[n].file)
            })
            .collect()
    }
}

/// Solves the clock error from the vectors.
pub(super) fn solve(
    vectors: &Vectors,
    course: &Course,
    covered: Option<&Likelihood>,
    prior: &ClockCorrection,
) -> Partials {
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
            covered,
            prior,
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
fn choose(
    setting: &Setting<'_>,
    covered: Option<&Likelihood>,
    prior: &ClockCorrection,
) -> Result<Solved, Trouble> {
    let believed_s = f64::from(prior.zone_offset_s) + prior.error_s;
    let mut places = search::places(setting.shoot, setting.course);
    places.push(believed_s);
    let mut fits: Vec<(f64, Solved)> = places
        .iter()
        .flat_map(|&tau_s| Hold::ALL.map(|hold| fit::fit(setting, tau_s, hold)))
        .filter(|solved| solved.cost.is_finite() && solved.tau_s().is_finite())
        .map(|solved| (solved.cost + beside(&solved, covered, prior), solved))
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

/// What speaks against a fit beside its vectors: the belief in clocks, covered frames, a mirror.
fn beside(solved: &Solved, covered: Option<&Likelihood>, prior: &ClockCorrection) -> f64 {
    let tau_s = solved.tau_s();
    let belief = belief_cost(tau_s - f64::from(prior.zone_offset_s), prior.zone_offset_s);
    let mirror = if solved.hold.mirrored {
        MIRRORED_COST
    } else {
        0.0
    };
    let dark = covered.map_or(0.0, |l| l.cost(tau_s, solved.tau_sigma_s));
    belief + mirror + dark.min(MOST_COVERED_COST)
}
