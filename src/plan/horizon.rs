//! What is said of the horizon: a flat one, or the one measured from the spot.

use super::course::{HorizonReport, Sight, clearance_deg, sight};
use super::input::PlanInput;
use super::skyline::Skyline;
use super::times::{FIST_DEG, compass_point};
use crate::domain::{ContactEvent, ContactKind, LocalKind};

/// Altitude in degrees below which haze and horizon matter (common practice: a fist).
const LOW_SUN_DEG: f64 = 10.0;

/// Sentences on what hides the Sun or may hide it.
pub(super) fn words(input: &PlanInput<'_>, report: Option<&HorizonReport>) -> Vec<String> {
    match (&input.skyline, report) {
        (Some(skyline), Some(report)) => measured(input, skyline, report),
        _ => flat(input),
    }
}

fn name(kind: ContactKind) -> &'static str {
    match kind {
        ContactKind::Maximum => "Maximum",
        kind => kind.word(),
    }
}

/// What a flat horizon hides, and where a higher one may.
fn flat(input: &PlanInput<'_>) -> Vec<String> {
    let mut lines = Vec::new();
    for event in input.contacts.events() {
        let (alt, az) = (event.sky.sun_alt_refracted_deg, event.sky.sun_az_deg);
        if !event.sun_up {
            lines.push(below(event));
        } else if alt < LOW_SUN_DEG {
            lines.push(format!(
                "{}: only {alt:.1} degrees up, {} towards {}. Anything higher than that there hides it: check it from the very spot \
                 beforehand.",
                name(event.kind),
                fists_words(alt),
                compass_point(az)
            ));
        }
    }
    if lines.is_empty() {
        let alts = input.contacts.events().map(|e| e.sky.sun_alt_refracted_deg);
        let lowest = alts.fold(90.0, f64::min);
        lines.push(format!(
            "The Sun stands {:.0} degrees or more above the horizon at every contact ({}).",
            lowest.floor(),
            fists_words(lowest)
        ));
    }
    lines
}

fn below(event: &ContactEvent) -> String {
    format!(
        "{}: the Sun is below a flat horizon; not to be seen.",
        name(event.kind)
    )
}

/// What the measured horizon hides.
fn measured(input: &PlanInput<'_>, skyline: &Skyline, report: &HorizonReport) -> Vec<String> {
    let mut lines: Vec<String> = input
        .contacts
        .events()
        .filter_map(|event| at_contact(event, skyline))
        .collect();
    if report.hidden.is_empty() {
        let above = input
            .contacts
            .events()
            .map(|e| clearance_deg(skyline, &e.sky));
        lines.push(format!(
            "Your horizon hides nothing from C1 to C4; at the contacts the Sun stands {:.1} degrees or more above it.",
            above.fold(90.0, f64::min)
        ));
    }
    for span in &report.hidden {
        lines.push(format!(
            "Your horizon hides the Sun, wholly or in part, from {} to {}.",
            span.from_local, span.to_local
        ));
    }
    if report.silent {
        lines.push(
            "The horizon file says nothing of some of the azimuths the Sun passes: it is taken as flat there."
                .to_owned(),
        );
    }
    lines
}

fn at_contact(event: &ContactEvent, skyline: &Skyline) -> Option<String> {
    if !event.sun_up {
        return Some(below(event));
    }
    let alt = event.sky.sun_alt_refracted_deg;
    let told = match sight(skyline, &event.sky) {
        Sight::Clear => return None,
        Sight::Cut => "your horizon cuts the disc",
        Sight::Hidden => "behind your horizon",
    };
    Some(format!(
        "{}: {told}. The Sun is {alt:.1} degrees up, the horizon towards {} {:.1}.",
        name(event.kind),
        compass_point(event.sky.sun_az_deg),
        alt - clearance_deg(skyline, &event.sky)
    ))
}

/// The warning where the measured horizon hides what one has come for.
pub(super) fn warning(input: &PlanInput<'_>) -> Option<String> {
    let skyline = input.skyline.as_ref()?;
    let contacts = input.contacts;
    let (what, events) = match contacts.kind {
        LocalKind::Total => ("totality", [contacts.c2, contacts.c3]),
        LocalKind::Annular => ("annularity", [contacts.c2, contacts.c3]),
        LocalKind::Partial | LocalKind::None => ("the maximum", [Some(contacts.maximum), None]),
    };
    let hidden: Vec<&ContactEvent> = events
        .iter()
        .flatten()
        .filter(|e| e.sun_up && sight(skyline, &e.sky) != Sight::Clear)
        .collect();
    if hidden.is_empty() {
        return None;
    }
    let how_much = if hidden.len() == events.iter().flatten().count() {
        what.to_owned()
    } else {
        format!("part of {what}")
    };
    Some(format!(
        "Your horizon hides {how_much}, wholly or in part: choose another spot, or one higher up or further from what stands there."
    ))
}

/// "0.6 fists at arm's length", as the table of contacts has it.
fn fists_words(alt_deg: f64) -> String {
    match alt_deg / FIST_DEG {
        n if n < 0.05 => "hardly above the horizon".to_owned(),
        n if (0.95..1.05).contains(&n) => "1 fist at arm's length".to_owned(),
        n => format!("{n:.1} fists at arm's length"),
    }
}
