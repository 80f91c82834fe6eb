//! What is said of the horizon: a flat one, or the one measured from the spot.

use super::course::{Crossing, HorizonReport, Sight, clearance_deg, sight};
use super::input::PlanInput;
use super::skyline::Skyline;
use super::times::{FIST_DEG, compass_point, covered};
use crate::domain::{ContactEvent, ContactKind, Contacts, LocalKind};

/// Altitude in degrees below which haze and horizon matter (common practice: a fist).
const LOW_SUN_DEG: f64 = 10.0;

/// Sentences on what hides the Sun or may hide it.
pub(super) fn words(
    input: &PlanInput<'_>,
    report: Option<&HorizonReport>,
    crossings: &[Crossing],
) -> Vec<String> {
    let mut lines = match (&input.skyline, report) {
        (Some(skyline), Some(report)) => measured(input, skyline, report),
        _ => flat(input),
    };
    lines.extend(crossings.iter().map(|crossing| {
        format!(
            "The Sun {} at {} with {} of its area covered.",
            if crossing.rising { "rises" } else { "sets" },
            crossing.local,
            covered(crossing.obscuration)
        )
    }));
    lines
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
    let together = central_together(input.contacts);
    for event in input.contacts.events() {
        if together && matches!(event.kind, ContactKind::Maximum | ContactKind::C3) {
            continue;
        }
        let (alt, az) = (event.sky.sun_alt_refracted_deg, event.sky.sun_az_deg);
        let name = match event.kind {
            ContactKind::C2 if together => "C2 to C3",
            kind => name(kind),
        };
        if !event.sun_up {
            lines.push(below(name));
        } else if alt < LOW_SUN_DEG {
            lines.push(format!(
                "{name}: only {alt:.1} degrees up, {} towards {}. Anything higher than that there hides it: check it from the very spot \
                 beforehand.",
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

fn below(name: &str) -> String {
    format!("{name}: the Sun is below a flat horizon; not to be seen.")
}

/// Whether second and third contact stand at nearly one height, both up or both down: one sentence says it.
fn central_together(contacts: &Contacts) -> bool {
    let alt = |event: &ContactEvent| event.sky.sun_alt_refracted_deg;
    contacts
        .c2
        .zip(contacts.c3)
        .is_some_and(|(a, b)| a.sun_up == b.sun_up && (alt(&a) - alt(&b)).abs() < TOGETHER_DEG)
}

/// Heights that differ by less are told as one, in degrees.
const TOGETHER_DEG: f64 = 0.5;

/// What the measured horizon hides.
fn measured(input: &PlanInput<'_>, skyline: &Skyline, report: &HorizonReport) -> Vec<String> {
    let mut lines: Vec<String> = input
        .contacts
        .events()
        .filter_map(|event| at_contact(event, skyline))
        .collect();
    lines.extend(clear_of(input.contacts, skyline));
    if report.hidden.is_empty() {
        lines.push("Your horizon hides nothing from C1 to C4.".to_owned());
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

/// How far above the horizon the Sun stands at the contacts it is clear at.
fn clear_of(contacts: &Contacts, skyline: &Skyline) -> Option<String> {
    let clear = contacts
        .events()
        .filter(|e| e.sun_up && sight(skyline, &e.sky) == Sight::Clear);
    let told: Vec<String> = clear
        .map(|e| format!("{} {:.1}", e.kind.word(), clearance_deg(skyline, &e.sky)))
        .collect();
    (!told.is_empty()).then(|| {
        format!(
            "Degrees from the Sun down to your horizon: {}.",
            told.join(", ")
        )
    })
}

fn at_contact(event: &ContactEvent, skyline: &Skyline) -> Option<String> {
    if !event.sun_up {
        return Some(below(name(event.kind)));
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
