//! What there is to say about a clock, as kinds and numbers.

use super::heard::{Elsewhere, Heard};
use super::kind::{Shows, Witness};
use super::outcome::{Judged, Outcome};
use super::partials::Mirror;
use super::posterior::Peak;
use crate::domain::{ClockCorrection, ClockOutcome, ClockSilence, FrameShows, Notice, NoticeKind};

/// A given clock that differs from the pictures by more than this many sigmas is told.
const TELLING_SIGMAS: f64 = 3.0;

/// Contradicted frames told one by one before the rest are only counted.
const TOLD_ONE_BY_ONE: usize = 6;

/// How a clock came about, as the record keeps it.
pub(super) fn outcome(body: &Heard, judged: &Judged) -> ClockOutcome {
    match &judged.outcome {
        Outcome::Given => ClockOutcome::Given,
        Outcome::Word => ClockOutcome::Unknown { why: silence(body) },
        Outcome::Solved(rivals) => ClockOutcome::Solved {
            mistake: judged.mistake,
            others_s: others_s(&judged.clock, judged.mistake.seconds, rivals),
        },
    }
}

/// What a person should know of a clock.
pub(super) fn notices(body: &Heard, judged: &Judged) -> Vec<Notice> {
    let camera = || body.name.clone();
    let mut out = Vec::new();
    if !body.impossible.is_empty() {
        out.push(Notice::look(NoticeKind::TotalityImpossible {
            camera: camera(),
            frames: body.impossible.len(),
        }));
    }
    match &judged.outcome {
        Outcome::Given => {}
        Outcome::Word => out.push(Notice::note(NoticeKind::ClockUnknown {
            camera: camera(),
            why: silence(body),
            sigma_s: judged.clock.sigma_s,
        })),
        Outcome::Solved(rivals) => {
            if judged.mistake.is_gross() {
                out.push(Notice::look(NoticeKind::ClockSetWrong {
                    camera: camera(),
                    mistake: judged.mistake,
                    read_as_s: body.prior.zone_offset_s,
                }));
            }
            if !rivals.is_empty() {
                let best_s = judged.mistake.seconds;
                out.push(Notice::look(NoticeKind::ClockAmbiguous {
                    camera: camera(),
                    best_s,
                    others_s: others_s(&judged.clock, best_s, rivals),
                    sigma_s: judged.clock.sigma_s,
                    crescent: has_crescent(body),
                }));
            }
        }
    }
    out
}

fn silence(body: &Heard) -> ClockSilence {
    if body.elsewhere == Elsewhere::Far {
        ClockSilence::Elsewhere
    } else if body.evidence.tells() {
        ClockSilence::FitsItsWord
    } else if body.evidence.witnesses.is_empty() {
        ClockSilence::NoDisc
    } else {
        ClockSilence::NoMoon
    }
}

fn has_crescent(body: &Heard) -> bool {
    let crescent = |w: &Witness| matches!(w.shows, Shows::Crescent { .. });
    body.evidence.witnesses.iter().any(crescent)
}

/// The errors of the other times that fit, likeliest first; days and zone taken out as of the best.
fn others_s(clock: &ClockCorrection, best_s: f64, rivals: &[Peak]) -> Vec<f64> {
    let zone_s = f64::from(clock.zone_offset_s);
    let days_s = clock.error_s - best_s;
    rivals
        .iter()
        .map(|peak| peak.tau_s - zone_s - days_s)
        .collect()
}

/// Tells of frames whose look the clock does not allow.
pub(super) fn contradictions(body: &Heard, against: &[usize]) -> Vec<Notice> {
    let camera = || body.name.clone();
    let mut out: Vec<Notice> = against
        .iter()
        .take(TOLD_ONE_BY_ONE)
        .map(|&n| {
            let shows = body.all.iter().find(|w| w.frame == n).map(|w| w.shows);
            let shows = match shows {
                Some(Shows::Corona) => FrameShows::Corona,
                Some(Shows::Ring) => FrameShows::BeadsOrRing,
                Some(Shows::MoonsLimb) => FrameShows::Moon,
                _ => FrameShows::AnotherTime,
            };
            let camera = camera();
            Notice::look(NoticeKind::StampNotBelieved { camera, shows }).about(&body.frames[n].file)
        })
        .collect();
    let frames = against.len().saturating_sub(TOLD_ONE_BY_ONE);
    if frames > 0 {
        let camera = camera();
        out.push(Notice::look(NoticeKind::MoreStampsNotBelieved {
            camera,
            frames,
        }));
    }
    out
}

/// Tells where the pictures say otherwise than the person.
pub(super) fn against_given(body: &Heard, tau_s: f64, sigma_s: f64) -> Option<Notice> {
    let given = &body.prior;
    let error_s = tau_s - f64::from(given.zone_offset_s);
    let apart_s = error_s - given.error_s;
    let telling = apart_s.abs() > TELLING_SIGMAS * sigma_s.hypot(given.sigma_s);
    telling.then(|| {
        Notice::look(NoticeKind::ClockAgainstGiven {
            camera: body.name.clone(),
            given_s: given.error_s,
            found_s: error_s,
            sigma_s,
        })
    })
}

/// Tells that pictures are taken for mirror images, or that they may be some.
pub(super) fn mirror(body: &Heard, mirror: Mirror) -> Option<Notice> {
    let camera = body.name.clone();
    match mirror {
        Mirror::Plain => None,
        Mirror::Doubtful => Some(Notice::look(NoticeKind::MirrorDoubtful { camera })),
        Mirror::Seen => Some(Notice::look(NoticeKind::Mirrored { camera })),
    }
}
