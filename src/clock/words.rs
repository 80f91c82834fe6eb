//! What is said about a clock.

use super::partials::{Partials, Trouble};
use super::{FEWEST_PARTIALS, Judged, Mistake};
use crate::domain::{ClockCorrection, Notice};

/// A given clock that differs from the pictures by more than this many sigmas is told.
const TELLING_SIGMAS: f64 = 3.0;

/// The line for the terminal: error, sigma, evidence.
pub(super) fn summary(judged: &Judged) -> String {
    let clock = &judged.clock;
    let evidence: Vec<String> = clock.evidence.iter().map(ToString::to_string).collect();
    let mut text = format!(
        "{} ± {} s ({})",
        error_text(judged.mistake.seconds),
        sigma_text(clock.sigma_s),
        evidence.join(" and ")
    );
    if judged.solved && judged.mistake.is_gross() {
        text += &format!(", besides {}", gross_text(&judged.mistake));
    }
    text
}

/// An error in words: `34.2 s fast`, `1 h 02 min 03.0 s slow`, `right`.
pub(super) fn error_text(error_s: f64) -> String {
    let side = if error_s > 0.0 { "fast" } else { "slow" };
    let size = error_s.abs();
    if size < 0.05 {
        "right".to_owned()
    } else {
        format!("{} {side}", length_text(size))
    }
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

fn sigma_text(sigma_s: f64) -> String {
    if sigma_s < 10.0 {
        format!("{sigma_s:.1}")
    } else {
        format!("{sigma_s:.0}")
    }
}

fn gross_text(mistake: &Mistake) -> String {
    let mut parts = Vec::new();
    if mistake.days != 0 {
        let side = if mistake.days > 0 { "ahead" } else { "behind" };
        let days = mistake.days.unsigned_abs();
        let word = if days == 1 { "day" } else { "days" };
        parts.push(format!("a date {days} {word} {side}"));
    }
    if mistake.zone_s != 0 {
        let side = if mistake.zone_s > 0 {
            "ahead"
        } else {
            "behind"
        };
        let size = f64::from(mistake.zone_s.unsigned_abs()) / 3600.0;
        parts.push(format!("a zone {size} h {side}"));
    }
    parts.join(" and ")
}

/// Tells a wrong zone or date.
pub(super) fn gross(name: &str, mistake: &Mistake, prior: &ClockCorrection) -> Notice {
    Notice::look(format!(
        "{name}: the pictures show {} of what its stamps were read as (zone offset {} s); corrected, pass --zone or --clock if that is wrong",
        gross_text(mistake),
        prior.zone_offset_s
    ))
}

/// Tells that the camera is taken at its word, and why.
pub(super) fn not_solved(name: &str, partials: &Partials, clock: &ClockCorrection) -> Notice {
    let why = match partials.trouble {
        Some(Trouble::TooFew(0)) | None => "no frame shows both limbs".to_owned(),
        Some(Trouble::TooFew(n)) => {
            format!("{n} frames show both limbs, {FEWEST_PARTIALS} are needed")
        }
        Some(Trouble::Ambiguous(a, b)) => format!(
            "two times fit its partials alike, {} apart",
            length_text((a - b).abs())
        ),
        Some(Trouble::Discordant) => "its partials do not agree on a time".to_owned(),
    };
    let text = format!(
        "{name}: clock not solved ({why}); the camera is taken at its word ± {} s, pass --clock if its error is known",
        sigma_text(clock.sigma_s)
    );
    if partials.contradict() {
        Notice::look(text)
    } else {
        Notice::note(text)
    }
}

/// Tells where the pictures say otherwise than the person.
pub(super) fn against_given(
    name: &str,
    given: &ClockCorrection,
    error_s: f64,
    sigma_s: f64,
) -> Option<Notice> {
    let apart_s = error_s - given.error_s;
    let telling = apart_s.abs() > TELLING_SIGMAS * sigma_s.hypot(given.sigma_s);
    telling.then(|| {
        Notice::look(format!(
            "{name}: the clock error given, {} s, was used; the pictures say {error_s:.1} ± {} s",
            given.error_s,
            sigma_text(sigma_s)
        ))
    })
}
