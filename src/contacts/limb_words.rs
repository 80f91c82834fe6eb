//! The real limb beside the mean one, in words.

use super::circumstances::Circumstances;
use super::durations::minutes;
use super::local_word;
use crate::domain::{Contacts, LocalKind, MoonLimb, Utc};

/// What the real limb changes, a sentence a line; empty where there is nothing to say.
pub(super) fn sentences(all: &Circumstances) -> Vec<String> {
    let contacts = &all.contacts;
    if contacts.limb == MoonLimb::Mean {
        return Vec::new();
    }
    let mut lines = Vec::new();
    if let Some(mean) = &all.mean {
        lines.extend(beside(all, mean));
    }
    lines.extend(narrowness(contacts));
    lines
}

/// One line for the calendar and the diagram.
pub(super) fn basis_line(contacts: &Contacts) -> &'static str {
    match contacts.limb {
        MoonLimb::Real => "C2 and C3 are those of the Moon's real limb.",
        MoonLimb::Mean => "C2 and C3 are those of a smooth mean Moon.",
    }
}

/// The times of the mean limb and how the real ones differ.
fn beside(all: &Circumstances, mean: &Contacts) -> Vec<String> {
    let time = |utc: Utc| all.zone.local(utc, 1).time;
    let word = central_word(mean.kind);
    match (ends(&all.contacts), ends(mean)) {
        (Some((c2, c3)), Some((mean_c2, mean_c3))) => vec![
            format!(
                "On a smooth mean Moon {word} would run from {} to {}, {}.",
                time(mean_c2),
                time(mean_c3),
                minutes(mean_c3.seconds_since(mean_c2))
            ),
            format!(
                "The real limb: begins {}, ends {}, {} in all.",
                moved(c2.seconds_since(mean_c2)),
                moved(c3.seconds_since(mean_c3)),
                longer(c3.seconds_since(c2) - mean_c3.seconds_since(mean_c2))
            ),
        ],
        (None, Some((mean_c2, mean_c3))) => vec![format!(
            "A smooth mean Moon would give {} of {word}; the real limb gives none.",
            minutes(mean_c3.seconds_since(mean_c2))
        )],
        (Some(_), None) => vec![format!(
            "A smooth mean Moon would give no {} here.",
            central_word(all.contacts.kind)
        )],
        (None, None) => Vec::new(),
    }
}

/// Near a limit: what decides, and whether it is sure.
fn narrowness(contacts: &Contacts) -> Option<String> {
    let margin = contacts.limb_margin?;
    let at = format!("at P {:.1} degrees", margin.position_angle_deg);
    let doubt = margin.is_doubtful();
    let word = match (contacts.kind, doubt) {
        (LocalKind::Total, true) => {
            format!("a valley of the limb {at} may keep sunlight in all along")
        }
        (LocalKind::Annular, true) => {
            format!("a mountain of the limb {at} may keep the ring broken all along")
        }
        (LocalKind::Partial, true) => format!(
            "the limb {at} leaves it open whether there is an instant of totality or of a whole ring"
        ),
        (LocalKind::Partial, false) if margin.covered_arcsec > -NEAR_ARCSEC => {
            format!(
                "the limb {at} keeps the Moon from covering the Sun, or the ring from closing, all along"
            )
        }
        _ => return None,
    };
    Some(format!(
        "Near the limit: {word} ({:+.2}\" +- {:.2}\").",
        margin.covered_arcsec, margin.sigma_arcsec
    ))
}

/// Misses wider than this need no word about valleys.
const NEAR_ARCSEC: f64 = 4.0;

fn ends(contacts: &Contacts) -> Option<(Utc, Utc)> {
    Some((contacts.c2?.utc, contacts.c3?.utc))
}

fn central_word(kind: LocalKind) -> &'static str {
    match kind {
        LocalKind::Total => "totality",
        LocalKind::Annular => "annularity",
        _ => local_word(kind),
    }
}

fn moved(seconds: f64) -> String {
    let word = if seconds < 0.0 { "earlier" } else { "later" };
    format!("{:.1} s {word}", seconds.abs())
}

fn longer(seconds: f64) -> String {
    let word = if seconds < 0.0 { "shorter" } else { "longer" };
    format!("{:.1} s {word}", seconds.abs())
}
