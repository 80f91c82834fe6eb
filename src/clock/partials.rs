//! The clock by the partial frames.

use rayon::prelude::*;

use super::course::Course;
use super::fit::{self, Setting, Solved};
use super::measured::{Measured, Vectors};
use super::mount::Hold;
use super::search;
use super::tracks::{self, Tracks};
use super::{ClockFrame, FEWEST_PARTIALS};
use crate::domain::{Notice, NoticeKind};

/// Cost of believing the picture mirrored, in units of minus twice a log likelihood (our choice: a diagonal mirror is rare).
const MIRRORED_COST: f64 = 6.0;

/// By how much more, in the same units, a picture must cost if it is not mirrored for it to be called mirrored: odds of 10^8 to one by
/// the scatter the vectors really have, as that is never quite normal (our choice: better a mirror overlooked and told than a strip
/// turned over).
const MIRRORED_LEAD: f64 = 40.0;

/// Fewest vectors for the same.
const LEAST_FOR_MIRROR: usize = 6;

/// A lead in the same units that is told, though it is not believed.
const MIRRORED_HINT: f64 = 12.0;

/// Most vectors among which places and holds are told apart, spread evenly over the time; the fit that stands out then takes all.
const MOST_TRIED: usize = 160;

/// Fits that start no farther apart than this, in seconds, end alike (our choice: two steps of the search).
const SAME_PLACE_S: f64 = 30.0;

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
    /// What the vectors say of a mirror.
    pub(super) mirror: Mirror,
}

/// What is made of the two hands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mirror {
    /// Nothing speaks for a mirror, or it was given.
    Plain,
    /// Something does, but not enough.
    Doubtful,
    /// The pictures can only be mirrored.
    Seen,
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
    pub(super) fn notices(&self, name: Option<&String>, frames: &[ClockFrame]) -> Vec<Notice> {
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
                let camera = name.cloned();
                Notice::note(NoticeKind::PartialLeftOut { camera }).about(&frames[n].file)
            })
            .collect()
    }
}

/// What partials are held against besides the sky.
pub(super) struct Beside<'a> {
    /// The clock error that is believed beforehand, in seconds.
    pub(super) word_s: f64,
    /// Minus twice the log of how likely belief and other evidence make an error known to a sigma, up to a constant.
    pub(super) cost: &'a (dyn Fn(f64, f64) -> f64 + Sync),
    /// Whether the stored pictures are mirrored, where that was given.
    pub(super) mirrored: Option<bool>,
}

/// Solves the clock error from the vectors.
pub(super) fn solve(
    vectors: &Vectors,
    tracks: &Tracks,
    course: &Course,
    beside: &Beside<'_>,
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
    let setting = Setting {
        vectors,
        shoot: &shoot,
        tracks,
        course,
        clock: None,
    };
    let chosen = if shoot.len() < FEWEST_PARTIALS {
        Err(Trouble::TooFew(shoot.len()))
    } else {
        choose(&setting, beside)
    };
    Partials {
        trouble: chosen.as_ref().err().copied(),
        mirror: chosen.as_ref().map_or(Mirror::Plain, |c| c.1),
        solved: chosen.ok().map(|c| c.0),
        shoot,
        elsewhere,
    }
}

/// Evenly spread vectors, at most [`MOST_TRIED`] of them.
fn thinned(shoot: &[Measured]) -> Vec<Measured> {
    let step = shoot.len().div_ceil(MOST_TRIED).max(1);
    shoot.iter().step_by(step).copied().collect()
}

/// The likeliest fit of all places and holds, unless another clock error is nearly as likely.
fn choose(setting: &Setting<'_>, beside: &Beside<'_>) -> Result<(Solved, Mirror), Trouble> {
    let some = thinned(setting.shoot);
    let tried = Setting {
        shoot: &some,
        ..*setting
    };
    let mut places = search::places(&some, setting.course);
    let tried_anyway = |tau_s: &f64| (tau_s - beside.word_s).abs() < SAME_PLACE_S;
    if !places.iter().any(tried_anyway) {
        places.push(beside.word_s);
    }
    let holds: Vec<Hold> = Hold::ALL
        .into_iter()
        .filter(|hold| beside.mirrored.is_none_or(|given| given == hold.mirrored))
        .collect();
    let starts: Vec<(f64, Hold)> = places
        .iter()
        .flat_map(|&tau_s| holds.iter().map(move |hold| (tau_s, *hold)))
        .collect();
    let fits: Vec<(f64, f64, Solved)> = starts
        .into_par_iter()
        .map(|(tau_s, hold)| fit::fit(&tried, tau_s, hold))
        .filter(|solved| solved.cost.is_finite() && solved.tau_s().is_finite())
        .map(|solved| {
            let other = (beside.cost)(solved.tau_s(), solved.tau_sigma_s);
            (solved.cost + against(&solved, &tried), other, solved)
        })
        .collect();
    let least = fits.iter().map(|fit| fit.1).fold(f64::INFINITY, f64::min);
    let mut fits: Vec<(f64, Solved)> = fits
        .into_iter()
        .map(|(own, other, solved)| (own + (other - least).min(MOST_OTHER_COST), solved))
        .collect();
    fits.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mirror = mirror(&fits, some.len(), beside);
    fits.retain(|(_, solved)| {
        beside.mirrored.is_some() || solved.hold.mirrored == (mirror == Mirror::Seen)
    });
    let (cost, best) = fits.first().ok_or(Trouble::Discordant)?;
    let apart_s = (5.0 * best.tau_sigma_s).max(20.0);
    let rival = fits
        .iter()
        .find(|(_, rival)| (rival.tau_s() - best.tau_s()).abs() > apart_s);
    let ambiguous = rival.filter(|(other, _)| other - cost < CLEAR_COST);
    let whole = if some.len() < setting.shoot.len() {
        fit::refit(setting, best)
    } else {
        best.clone()
    };
    if !is_sound(&whole, setting.shoot.len()) {
        return Err(Trouble::Discordant);
    }
    match ambiguous {
        Some((_, rival)) => Err(Trouble::Ambiguous(best.tau_s(), rival.tau_s())),
        None => Ok((whole, mirror)),
    }
}

/// Whether enough vectors agree on a fit and tell a time.
fn is_sound(solved: &Solved, vectors: usize) -> bool {
    let agree = solved.used_count() as f64 >= LEAST_AGREE * vectors as f64;
    let told = solved.tau_sigma_s <= LARGEST_SIGMA_S && solved.scatter <= LARGEST_SCATTER;
    agree && told && solved.used_count() >= FEWEST_PARTIALS
}

/// What the best fits of either hand say of a mirror; `fits` are in order of their costs.
fn mirror(fits: &[(f64, Solved)], vectors: usize, beside: &Beside<'_>) -> Mirror {
    let of = |mirrored: bool| fits.iter().find(|(_, s)| s.hold.mirrored == mirrored);
    let (Some(plain), Some(turned), None) = (of(false), of(true), beside.mirrored) else {
        return Mirror::Plain;
    };
    let lead = plain.0 - turned.0;
    let sound = is_sound(&turned.1, vectors);
    if sound && lead > MIRRORED_LEAD && turned.1.used_count() >= LEAST_FOR_MIRROR {
        Mirror::Seen
    } else if sound && lead > MIRRORED_HINT {
        Mirror::Doubtful
    } else {
        Mirror::Plain
    }
}

/// What speaks against a hold: a mirror, the way of the discs.
fn against(solved: &Solved, setting: &Setting<'_>) -> f64 {
    let mirror = if solved.hold.mirrored {
        MIRRORED_COST
    } else {
        0.0
    };
    mirror + tracks::against(setting.tracks.motion, solved.hold)
}
