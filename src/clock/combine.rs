//! Brings the kinds of evidence together by their errors.

use super::ClockFrame;
use super::course::Course;
use super::covered::Likelihood;
use super::darkening;
use super::partials::Partials;
use crate::domain::{ClockCorrection, ClockEvidence, Notice};

/// A solved clock error.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Instant {
    /// Camera reading as UTC, minus UTC, in seconds.
    pub(super) tau_s: f64,
    /// One sigma of it in seconds.
    pub(super) sigma_s: f64,
    /// What it rests on, best first.
    pub(super) evidence: Vec<ClockEvidence>,
}

/// Partials and covered frames that differ by more than this, in minus twice a log likelihood, contradict each other.
const CONTRADICTION: f64 = 20.0;

/// Part of the sigma that a second kind of evidence must take away to be named.
const WORTH_NAMING: f64 = 0.03;

/// The clock error by partials and covered frames; `None` without either.
pub(super) fn instant(
    partials: &Partials,
    covered: Option<&Likelihood>,
    prior: &ClockCorrection,
    notices: &mut Vec<Notice>,
    name: &str,
) -> Option<Instant> {
    let by_partials = partials.solved.as_ref().map(|solved| Instant {
        tau_s: solved.tau_s(),
        sigma_s: solved.tau_sigma_s,
        evidence: vec![ClockEvidence::Partials {
            frames: solved.used_count() as u32,
        }],
    });
    match (by_partials, covered) {
        (Some(alone), None) => Some(alone),
        (Some(alone), Some(covered)) => Some(both(alone, covered, notices, name)),
        (None, Some(covered)) => by_covered(covered, prior),
        (None, None) => None,
    }
}

fn both(alone: Instant, covered: &Likelihood, notices: &mut Vec<Notice>, name: &str) -> Instant {
    if covered.cost(alone.tau_s, alone.sigma_s) > CONTRADICTION {
        notices.push(Notice::look(format!(
            "{name}: frames around second and third contact do not fit the clock its partials give; the partials were believed"
        )));
        return alone;
    }
    let weigh = |tau_s: f64| -0.5 * ((tau_s - alone.tau_s) / alone.sigma_s).powi(2);
    let Some((tau_s, sigma_s)) = moments(covered, weigh) else {
        return alone;
    };
    if sigma_s > (1.0 - WORTH_NAMING) * alone.sigma_s {
        return alone;
    }
    let mut evidence = alone.evidence;
    evidence.push(ClockEvidence::Contacts {
        frames: covered.frames,
    });
    Instant {
        tau_s,
        sigma_s,
        evidence,
    }
}

/// Covered frames alone, leaning on the camera's word where that is possible at all.
fn by_covered(covered: &Likelihood, prior: &ClockCorrection) -> Option<Instant> {
    let believed_s = f64::from(prior.zone_offset_s) + prior.error_s;
    let lean = |tau_s: f64| {
        let off = (tau_s - believed_s) / prior.sigma_s.max(1e-3);
        (-0.5 * off * off).max(-8.0)
    };
    let (tau_s, sigma_s) = moments(covered, lean)?;
    Some(Instant {
        tau_s,
        sigma_s,
        evidence: vec![ClockEvidence::Contacts {
            frames: covered.frames,
        }],
    })
}

/// Mean and one sigma of the clock error by the covered frames, weighed by another log likelihood.
fn moments(covered: &Likelihood, weigh: impl Fn(f64) -> f64) -> Option<(f64, f64)> {
    let logs: Vec<(f64, f64)> = covered
        .log
        .iter()
        .enumerate()
        .map(|(n, log)| (covered.tau_s(n), log + weigh(covered.tau_s(n))))
        .collect();
    let top = logs.iter().map(|l| l.1).fold(f64::NEG_INFINITY, f64::max);
    let weights: f64 = logs.iter().map(|l| (l.1 - top).exp()).sum();
    let mean = |f: &dyn Fn(f64) -> f64| {
        logs.iter().map(|l| (l.1 - top).exp() * f(l.0)).sum::<f64>() / weights
    };
    let centre_s = mean(&|tau_s| tau_s);
    let square = mean(&|tau_s| (tau_s - centre_s).powi(2));
    let least = Likelihood::STEP_S * Likelihood::STEP_S / 12.0;
    (centre_s.is_finite() && square.is_finite()).then(|| (centre_s, square.max(least).sqrt()))
}

/// The clock error by the darkening of the sky.
pub(super) fn by_the_sky(
    frames: &[ClockFrame],
    course: &Course,
    prior: &ClockCorrection,
) -> Option<Instant> {
    let found = darkening::solve(frames, course, prior.zone_offset_s)?;
    Some(Instant {
        tau_s: found.tau_s,
        sigma_s: found.sigma_s,
        evidence: vec![ClockEvidence::Sky {
            frames: found.frames,
        }],
    })
}
