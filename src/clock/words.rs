//! What is said about a clock: one wording for the terminal, the table, the plot and the page.

use super::Mistake;
use super::heard::Heard;
use super::kind::Shows;
use super::outcome::{Judged, Outcome};
use super::partials::Mirror;
use super::posterior::Peak;
use crate::domain::{ClockCorrection, ClockEvidence, Notice};

/// A given clock that differs from the pictures by more than this many sigmas is told.
const TELLING_SIGMAS: f64 = 3.0;

/// Contradicted frames told one by one before the rest are only counted.
const TOLD_ONE_BY_ONE: usize = 6;

/// Most times told where several fit.
const MOST_TIMES: usize = 3;

/// Days in a year of the calendar (Gregory).
const YEAR_DAYS: f64 = 365.2425;

/// The line on a clock: which way it is off and by how much, how sure that is, and what it rests on.
pub(super) fn summary(body: &Heard, judged: &Judged) -> String {
    let clock = &judged.clock;
    let sigma = sigma_text(clock.sigma_s);
    let rests_on = evidence_text(&clock.evidence);
    match &judged.outcome {
        Outcome::Given => format!("{} ± {sigma} s, as given", error_text(clock.error_s)),
        Outcome::Word => format!(
            "not known, its word is taken ± {sigma} s: {}",
            why_unknown(body)
        ),
        Outcome::Solved(rivals) => {
            let mut text = format!(
                "{} ± {sigma} s, by {rests_on}",
                error_text(judged.mistake.seconds)
            );
            if !rivals.is_empty() {
                text = format!(
                    "{} (times are told ± {sigma} s), by {rests_on}",
                    rivals_text(clock, judged.mistake.seconds, rivals)
                );
            }
            if judged.mistake.is_gross() {
                text += &format!("; {}", gross_text(&judged.mistake, &body.prior));
            }
            text
        }
    }
}

/// What a person should know of a clock.
pub(super) fn notices(body: &Heard, judged: &Judged) -> Vec<Notice> {
    let name = &body.name;
    let mut out = Vec::new();
    if !body.impossible.is_empty() {
        let count = counted(body.impossible.len(), "frame");
        out.push(Notice::look(format!(
            "{name}: {count} seem to show totality, and there is none at this place; pass --site if the place is wrong"
        )));
    }
    match &judged.outcome {
        Outcome::Given => {}
        Outcome::Word => out.push(Notice::note(format!(
            "{name}: clock not known ({}); its word is taken ± {} s, pass --clock if its error is known",
            why_unknown(body),
            sigma_text(judged.clock.sigma_s)
        ))),
        Outcome::Solved(rivals) => {
            if judged.mistake.is_gross() {
                let told = gross_text(&judged.mistake, &body.prior);
                out.push(Notice::look(format!(
                    "{name}: {told}; corrected by its pictures, pass --zone or --clock if that is wrong"
                )));
            }
            if !rivals.is_empty() {
                let times = rivals_text(&judged.clock, judged.mistake.seconds, rivals);
                out.push(Notice::look(format!(
                    "{name}: {times}; its times are told ± {} s. {}",
                    sigma_text(judged.clock.sigma_s),
                    what_settles(body)
                )));
            }
        }
    }
    out
}

fn why_unknown(body: &Heard) -> &'static str {
    if body.evidence.tells() {
        "its pictures fit its word, and tell no more"
    } else if body.evidence.witnesses.is_empty() {
        "no frame shows a disc"
    } else {
        "no frame shows the Moon"
    }
}

fn what_settles(body: &Heard) -> &'static str {
    let crescent = |w: &super::kind::Witness| matches!(w.shows, Shows::Crescent { .. });
    if body.evidence.witnesses.iter().any(crescent) {
        "Another crescent some minutes away, a frame of totality, or --clock would settle it"
    } else {
        "A crescent of either side, a second frame of totality, or --clock would settle it"
    }
}

/// The times that fit, likeliest first.
fn rivals_text(clock: &ClockCorrection, best_s: f64, rivals: &[Peak]) -> String {
    let zone_s = f64::from(clock.zone_offset_s);
    let days_s = clock.error_s - best_s;
    let shown = rivals.len().min(MOST_TIMES - 1);
    let others: Vec<String> = rivals[..shown]
        .iter()
        .map(|peak| error_text(peak.tau_s - zone_s - days_s))
        .collect();
    let more = match rivals.len() - shown {
        0 => String::new(),
        n => format!(" or {n} more"),
    };
    format!(
        "{} times fit its pictures: {}, or {}{more}",
        rivals.len() + 1,
        error_text(best_s),
        others.join(", or ")
    )
}

/// Tells of frames whose look the clock does not allow.
pub(super) fn contradictions(body: &Heard, against: &[usize]) -> Vec<Notice> {
    let mut out: Vec<Notice> = against
        .iter()
        .take(TOLD_ONE_BY_ONE)
        .map(|&n| {
            let shows = body.all.iter().find(|w| w.frame == n).map(|w| w.shows);
            let look = match shows {
                Some(Shows::Corona) => "the corona",
                Some(Shows::Ring) => "beads or a ring",
                Some(Shows::MoonsLimb) => "the Moon before the corona",
                _ => "another time",
            };
            Notice::look(format!(
                "shows {look}, which its stamp does not allow by the other pictures of {}; its stamp is not believed",
                body.name
            ))
            .about(&body.frames[n].file)
        })
        .collect();
    let rest = against.len().saturating_sub(TOLD_ONE_BY_ONE);
    if rest > 0 {
        let count = counted(rest, "more frame");
        out.push(Notice::look(format!(
            "{}: {count} contradict its clock",
            body.name
        )));
    }
    out
}

/// An error in words: `34.2 s fast`, `1 h 2 min 3.0 s slow`, `right`.
pub(super) fn error_text(error_s: f64) -> String {
    let side = if error_s > 0.0 { "fast" } else { "slow" };
    let size = error_s.abs();
    if size < 0.05 {
        "right".to_owned()
    } else {
        format!("{} {side}", length_text(size))
    }
}

/// The same for a whole error: days first, where there are some.
pub(super) fn whole_error_text(error_s: f64) -> String {
    let mistake = Mistake::of(error_s, 0);
    if mistake.days == 0 {
        return error_text(error_s);
    }
    let rest_s = error_s - mistake.days as f64 * super::mistake::DAY_S;
    format!("{} and {}", error_text(rest_s), days_text(mistake.days))
}

fn length_text(seconds: f64) -> String {
    let tenths = (seconds * 10.0).round() as u64;
    let (h, m, s) = (tenths / 36_000, tenths / 600 % 60, tenths % 600);
    let s = format!("{}.{}", s / 10, s % 10);
    match (h, m) {
        (0, 0) => format!("{s} s"),
        (0, m) => format!("{m} min {s} s"),
        (h, m) => format!("{h} h {m} min {s} s"),
    }
}

/// One sigma to the digits that mean something.
pub(super) fn sigma_text(sigma_s: f64) -> String {
    if sigma_s < 10.0 {
        format!("{sigma_s:.1}")
    } else {
        format!("{sigma_s:.0}")
    }
}

/// What a clock rests on.
pub(super) fn evidence_text(evidence: &[ClockEvidence]) -> String {
    let all: Vec<String> = evidence.iter().map(ToString::to_string).collect();
    all.join(" and ")
}

fn counted(count: usize, noun: &str) -> String {
    let s = if count == 1 { "" } else { "s" };
    format!("{count} {noun}{s}")
}

/// `a year behind`, `2 days ahead`: how a date differs from the true one.
fn days_text(days: i64) -> String {
    let side = if days > 0 { "ahead" } else { "behind" };
    let years = (days as f64 / YEAR_DAYS).round();
    let same_day = years.abs() >= 1.0 && (days as f64 - years * YEAR_DAYS).abs() < 1.0;
    match (days.unsigned_abs(), years.abs() as u64) {
        (_, 1) if same_day => format!("a year {side}"),
        (_, years) if same_day => format!("{years} years {side}"),
        (1, _) => format!("a day {side}"),
        (days, _) => format!("{days} days {side}"),
    }
}

/// A wrong date or zone in words.
fn gross_text(mistake: &Mistake, prior: &ClockCorrection) -> String {
    let mut parts = Vec::new();
    if mistake.days != 0 {
        parts.push(format!("its date is {}", days_text(mistake.days)));
    }
    if mistake.zone_s != 0 {
        parts.push(format!(
            "it was set to {}, not to {}",
            zone_text(prior.zone_offset_s + mistake.zone_s),
            zone_text(prior.zone_offset_s)
        ));
    }
    parts.join(", and ")
}

/// `UTC`, `UTC-04:00`, `UTC+05:30`.
pub(super) fn zone_text(offset_s: i32) -> String {
    let sign = if offset_s < 0 { '-' } else { '+' };
    let minutes = offset_s.unsigned_abs() / 60;
    match minutes {
        0 => "UTC".to_owned(),
        _ => format!("UTC{sign}{:02}:{:02}", minutes / 60, minutes % 60),
    }
}

/// Tells where the pictures say otherwise than the person.
pub(super) fn against_given(body: &Heard, tau_s: f64, sigma_s: f64) -> Option<Notice> {
    let given = &body.prior;
    let error_s = tau_s - f64::from(given.zone_offset_s);
    let apart_s = error_s - given.error_s;
    let telling = apart_s.abs() > TELLING_SIGMAS * sigma_s.hypot(given.sigma_s);
    telling.then(|| {
        Notice::look(format!(
            "{}: the clock error given was used ({}); the pictures say {} ± {} s",
            body.name,
            whole_error_text(given.error_s),
            whole_error_text(error_s),
            sigma_text(sigma_s)
        ))
    })
}

/// Tells that pictures are taken for mirror images, or that they may be some.
pub(super) fn mirror(name: &str, mirror: Mirror) -> Option<Notice> {
    let text = match mirror {
        Mirror::Plain => return None,
        Mirror::Doubtful => format!(
            "{name}: its pictures may be mirror images, as through a star diagonal; taken as they are, pass --mirrored yes or no"
        ),
        Mirror::Seen => format!(
            "{name}: its pictures are mirror images, as through a star diagonal, and are turned back; pass --mirrored no if that is wrong"
        ),
    };
    Some(Notice::look(text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn errors_say_which_way_and_how_much() {
        assert_eq!(error_text(83.44), "1 min 23.4 s fast");
        assert_eq!(error_text(-3_723.0), "1 h 2 min 3.0 s slow");
        assert_eq!(error_text(0.01), "right");
        let year = -366.0 * 86_400.0 + 85.5;
        assert_eq!(
            whole_error_text(year),
            "1 min 25.5 s fast and a year behind"
        );
        assert_eq!(
            whole_error_text(-86_400.0 - 7.0),
            "7.0 s slow and a day behind"
        );
    }

    #[test]
    fn zones_and_dates_are_told_as_they_were_set() {
        let prior = ClockCorrection::trusting(-14_400, crate::domain::ZoneSource::Place, 90.0);
        let utc = Mistake {
            days: 0,
            zone_s: 14_400,
            seconds: 3.0,
        };
        assert_eq!(
            gross_text(&utc, &prior),
            "it was set to UTC, not to UTC-04:00"
        );
        let year = Mistake {
            days: -365,
            ..Mistake::default()
        };
        assert_eq!(gross_text(&year, &prior), "its date is a year behind");
    }
}
