//! What was missed, and why.

use std::collections::BTreeMap;

use jiff::tz::TimeZone;

use super::markup::{clock_time, counted, folded, list, paragraph, section, table};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Coverage, FeatureDue, Flag, Phase, Role, Severity};

/// Flags that spoil a partial.
const SPOILT: [Flag; 4] = [Flag::Cut, Flag::Clouded, Flag::Shaken, Flag::Soft];

/// Names listed of one group before the rest is only counted.
const LISTED: usize = 200;

/// The section: the card against the plan, groups of troubled files, notices, and files that are no pictures.
pub(super) fn missed(
    catalogue: &Catalogue,
    coverage: Option<&Coverage>,
    zone: &TimeZone,
) -> String {
    let mut body = coverage.map_or_else(String::new, |c| covered(catalogue, c, zone));
    body += &troubled(catalogue);
    body += &notices(catalogue);
    let strays: Vec<String> = catalogue
        .strays
        .iter()
        .map(|s| format!("{}: {}", s.name, s.reason))
        .collect();
    body += &folded(
        &format!("{} left alone: no pictures", counted(strays.len(), "file")),
        &strays,
    );
    if body.is_empty() {
        body = paragraph(
            "Nothing: every file was read, placed in time and fitted, and none is flagged.",
        );
    }
    section("missed", "Gaps and rejected frames", &body)
}

fn covered(catalogue: &Catalogue, coverage: &Coverage, zone: &TimeZone) -> String {
    let mut out = String::new();
    let due = coverage.partials.len();
    let missed: Vec<String> = coverage
        .partials
        .iter()
        .filter(|p| p.file.is_none())
        .map(|p| clock_time(p.utc, zone))
        .collect();
    if due > 0 {
        let words = match missed.len() {
            0 => format!("All {due} five-minute partials are on the card."),
            n => format!(
                "{n} of {due} five-minute partials are missing: {}.",
                missed.join(", ")
            ),
        };
        out += "<h3>Partials</h3>\n";
        out += &paragraph(&words);
        out += &spoilt(catalogue, coverage, zone);
    }
    if !coverage.features.is_empty() {
        let rows: Vec<Vec<String>> = coverage
            .features
            .iter()
            .map(|f| vec![f.feature.clone(), f.frames.to_string(), verdict(f)])
            .collect();
        out += "<h3>Exposures of totality</h3>\n";
        out += &table(
            "Exposures of totality",
            &["Feature", "Frames within a stop", "Verdict"],
            &rows,
        );
    }
    out
}

/// Partials of which the card holds a spoilt frame only; empty where there are none.
fn spoilt(catalogue: &Catalogue, coverage: &Coverage, zone: &TimeZone) -> String {
    let flagged = coverage.partials.iter().filter_map(|due| {
        let file = due.file.as_deref()?;
        let shot = catalogue.shots.iter().find(|s| s.name() == file)?;
        let flags: Vec<&str> = SPOILT
            .iter()
            .filter(|flag| shot.flags.has(**flag))
            .map(|flag| flag.word())
            .collect();
        (!flags.is_empty()).then(|| format!("{} ({})", clock_time(due.utc, zone), flags.join(", ")))
    });
    let flagged: Vec<String> = flagged.collect();
    match flagged.len() {
        0 => String::new(),
        n => paragraph(&format!(
            "For {n} of them there is no better frame than a spoilt one: {}.",
            flagged.join(", ")
        )),
    }
}

/// "held", "seen in corona.png", "missed: the nearest frame is 2.3 stops short".
fn verdict(feature: &FeatureDue) -> String {
    match feature.nearest_off_stops {
        _ if feature.frames > 0 => "held".to_owned(),
        _ if feature.seen_in.is_some() => format!(
            "held: seen in {}, though no frame has the table's exposure",
            feature.seen_in.as_deref().unwrap_or_default()
        ),
        Some(off) if off < 0.0 => format!(
            "missed: the nearest frame is {:.1} stops short of light",
            -off
        ),
        Some(off) => format!("missed: the nearest frame is {off:.1} stops over"),
        None => "missed: no unfiltered frame with full settings".to_owned(),
    }
}

/// Files in groups by what is the matter, each group behind a line with its count.
fn troubled(catalogue: &Catalogue) -> String {
    let mut groups: BTreeMap<(u8, String), Vec<String>> = BTreeMap::new();
    let mut put = |order: u8, group: String, shot: &ShotRecord| {
        groups
            .entry((order, group))
            .or_default()
            .push(shot.name().to_owned());
    };
    for shot in &catalogue.shots {
        match shot.phase {
            Phase::Unreadable => put(0, "could not be read".to_owned(), shot),
            Phase::Unrelated => put(4, "of another day, or not of the Sun".to_owned(), shot),
            _ => {}
        }
        // A wide view need have none.
        let due = shot.phase != Phase::Unreadable && shot.role != Some(Role::Wide);
        if let Some(why) = shot.no_disc.filter(|_| due) {
            put(1, format!("without a disc: {}", why.family()), shot);
        }
        if shot.near_contact.is_some() {
            put(
                3,
                "so near a contact that its side is not certain".to_owned(),
                shot,
            );
        }
        for flag in shot.flags.iter() {
            put(2, flag_words(flag).to_owned(), shot);
        }
    }
    groups
        .into_iter()
        .map(|((_, group), names)| {
            let summary = format!("{} {group}", counted(names.len(), "frame"));
            let mut shown: Vec<String> = names.iter().take(LISTED).cloned().collect();
            if names.len() > LISTED {
                shown.push(format!(
                    "and {} more; the table of shots has them all",
                    names.len() - LISTED
                ));
            }
            folded(&summary, &shown)
        })
        .collect()
}

fn flag_words(flag: Flag) -> &'static str {
    match flag {
        Flag::Capped => "capped: the cover was on",
        Flag::FilterOn => "filter-on: the filter was left on in totality",
        Flag::Cut => "cut: the edge of the frame cuts the disc",
        Flag::OutOfFrame => "out-of-frame: no Sun where one was due",
        Flag::Soft => "soft: out of focus",
        Flag::Shaken => "shaken: moved during the exposure",
        Flag::Clouded => "clouded",
        Flag::Clipped => "clipped: saturated where it should not be",
        Flag::Flare => "flare: light ghosts on or beside the disc",
        Flag::Approximate => "approximate: the place of the disc is less sure than 0.4 px",
        Flag::NoTime => "no-time: no capture time in the header",
        Flag::IncompleteBurst => "incomplete-burst: in a burst with fewer frames than its siblings",
    }
}

fn notices(catalogue: &Catalogue) -> String {
    let of = |severity: Severity| -> Vec<String> {
        catalogue
            .notices
            .iter()
            .filter(|n| n.severity == severity)
            .map(ToString::to_string)
            .collect()
    };
    let (look, note) = (of(Severity::Look), of(Severity::Note));
    let mut out = String::new();
    if !look.is_empty() {
        out += "<h3>Warnings</h3>\n";
        out += &list(&look);
    }
    out + &folded(&counted(note.len(), "note"), &note)
}
