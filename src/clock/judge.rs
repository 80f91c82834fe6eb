//! From what is known of a clock to what is said of it: a correction, or the camera's word.

use super::combine::contradicted;
use super::course::Course;
use super::heard::{Elsewhere, Heard, Known, known, word_stands};
use super::outcome::{Judged, Outcome};
use super::posterior::Peak;
use super::{ClockSolution, changed, north, words};
use crate::catalogue::{ClockCurve, ClockPoint};
use crate::domain::{ClockCorrection, ClockEvidence, ClockMistake, Notice, ZoneSource};

/// Least one sigma of a solved clock in seconds: what the prediction itself may be off by.
const LEAST_SIGMA_S: f64 = 0.05;

/// One sigma in seconds of a clock whose partials contradict each other, with nothing else to go by, or whose frames were taken
/// somewhat beside the place (our choice).
const DOUBTED_SIGMA_S: f64 = 60.0;

/// Other peaks that weigh more than this together are told, and the clock is as wide as they lie apart.
const WORTH_TELLING: f64 = 0.02;

/// A clock that came out no surer than this share of the camera's word is the camera's word.
const NO_SURER: f64 = 0.9;

/// Settles the clocks of a card's bodies, in their order.
pub fn settle(bodies: &[Heard]) -> Vec<ClockSolution> {
    let all = known(bodies);
    bodies
        .iter()
        .zip(&all)
        .map(|(body, known)| one(body, known))
        .collect()
}

fn one(body: &Heard, known: &Known) -> ClockSolution {
    let judged = judged(body, known);
    let clock = &judged.clock;
    let tau_s = f64::from(clock.zone_offset_s) + clock.error_s;
    let mut against = contradicted(&body.all, tau_s, clock.sigma_s, &body.sky());
    if judged.outcome == Outcome::Word {
        // A camera's word is all there is; that of an editor is not the camera's.
        against.retain(|&n| changed::is_changed(&body.frames[n]));
    }
    let mut notices = body.partials.notices(body.name.as_ref(), &body.frames);
    notices.extend(words::mirror(body, body.partials.mirror));
    notices.extend(words::notices(body, &judged));
    notices.extend(against_given(body, known, &judged));
    notices.extend(words::contradictions(body, &against));
    ClockSolution {
        points: points(body, tau_s),
        outcome: words::outcome(body, &judged),
        mistake: judged.mistake,
        turns: turns(body, clock),
        curve: match judged.outcome {
            Outcome::Word => ClockCurve::default(),
            _ => curve(known, f64::from(clock.zone_offset_s)),
        },
        contradicted: against,
        notices,
        clock: judged.clock,
    }
}

/// A notice where the pictures contradict what the person gave.
fn against_given(body: &Heard, known: &Known, judged: &Judged) -> Option<Notice> {
    let (best, _) = solution(body, known).filter(|_| judged.outcome == Outcome::Given)?;
    words::against_given(body, best.tau_s, best.sigma_s)
}

/// How the frames are turned: by the partials, or by the way the discs drift through them.
fn turns(body: &Heard, clock: &ClockCorrection) -> Vec<Option<north::Turn>> {
    let (frames, tracks, course) = (&body.frames, &body.tracks, &body.course);
    if body.partials.solved.is_some() {
        return north::turns(frames, &body.partials, tracks, course);
    }
    let tau_s = f64::from(clock.zone_offset_s) + clock.error_s;
    let mirrored = body.mirrored.unwrap_or(false);
    north::turns_by_drift(frames, tracks, course, (tau_s, clock.sigma_s), mirrored)
}

fn judged(body: &Heard, known: &Known) -> Judged {
    let prior = &body.prior;
    if prior.evidence.contains(&ClockEvidence::Given) {
        return Judged {
            clock: prior.clone(),
            mistake: ClockMistake {
                seconds: prior.error_s,
                ..ClockMistake::default()
            },
            outcome: Outcome::Given,
        };
    }
    match solution(body, known) {
        Some((best, rivals)) => solved(body, known, &best, rivals),
        None => Judged {
            clock: prior.clone(),
            mistake: ClockMistake {
                seconds: prior.error_s,
                ..ClockMistake::default()
            },
            outcome: Outcome::Word,
        },
    }
}

/// The best peak, as wide as all that is likely, and the others worth telling; `None` where the camera's word stands.
fn solution(body: &Heard, known: &Known) -> Option<(Peak, Vec<Peak>)> {
    let peaks = &known.posterior.as_ref()?.peaks;
    let best = *peaks.first()?;
    if body.elsewhere == Elsewhere::Far {
        return None;
    }
    if !body.evidence.tells() && word_stands(body, peaks) {
        return None;
    }
    let others: f64 = peaks[1..].iter().map(|peak| peak.weight).sum();
    let told = others > WORTH_TELLING;
    let rivals: Vec<Peak> = peaks[1..].iter().copied().filter(|_| told).collect();
    let square: f64 = rivals
        .iter()
        .map(|r| r.weight * ((r.tau_s - best.tau_s).powi(2) + r.sigma_s.powi(2)))
        .sum();
    let doubted = body.partials.contradict() && body.evidence.joint.is_none();
    let beside = body.elsewhere == Elsewhere::Near;
    let least_s = if beside || (doubted && known.tied_to.is_none()) {
        DOUBTED_SIGMA_S
    } else {
        LEAST_SIGMA_S
    };
    let sigma_s = best
        .sigma_s
        .hypot(square.sqrt())
        .hypot(body.limb_sigma_s)
        .max(least_s);
    let word_s = f64::from(body.prior.zone_offset_s) + body.prior.error_s;
    let off_s = (best.tau_s - word_s).abs();
    if sigma_s > NO_SURER * body.prior.sigma_s && off_s < body.prior.sigma_s && !told {
        return None;
    }
    Some((Peak { sigma_s, ..best }, rivals))
}

fn solved(body: &Heard, known: &Known, best: &Peak, rivals: Vec<Peak>) -> Judged {
    let prior = &body.prior;
    let mistake = ClockMistake::of(
        best.tau_s - f64::from(prior.zone_offset_s),
        prior.zone_offset_s,
    );
    let zone_source = if mistake.zone_s == 0 {
        prior.zone_source
    } else {
        ZoneSource::Pictures
    };
    let zone_offset_s = prior.zone_offset_s + mistake.zone_s;
    let against = contradicted(&body.all, best.tau_s, best.sigma_s, &body.sky());
    let mut evidence = body.named(&against);
    evidence.extend(known.tied_to.clone());
    Judged {
        clock: ClockCorrection {
            zone_offset_s,
            zone_source,
            error_s: best.tau_s - f64::from(zone_offset_s),
            sigma_s: best.sigma_s,
            evidence,
        },
        mistake,
        outcome: Outcome::Solved(rivals),
    }
}

/// The curve of what is known, as errors of the clock read in its zone.
fn curve(known: &Known, zone_s: f64) -> ClockCurve {
    let cells = known.posterior.iter().flat_map(|p| &p.curve);
    ClockCurve(
        cells
            .map(|(tau_s, density)| (tau_s - zone_s, *density))
            .collect(),
    )
}

/// The partial frames' points, about the clock that is used.
fn points(body: &Heard, used_tau_s: f64) -> Vec<ClockPoint> {
    let course: &Course = &body.course;
    let Some(solved) = &body.partials.solved else {
        return Vec::new();
    };
    let pairs = body.partials.shoot.iter().zip(&solved.used);
    pairs
        .map(|(m, used)| {
            let (residual_s, sigma_s) = solved.residual_s(m, course);
            ClockPoint {
                file: body.frames[m.frame].file.clone(),
                utc: course.origin().plus_s(m.reading_s - used_tau_s),
                residual_s: residual_s + solved.tau_s() - used_tau_s,
                sigma_s,
                outlier: !used,
            }
        })
        .collect()
}
