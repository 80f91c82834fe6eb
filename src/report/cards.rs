//! The cards a joined record is of.

use jiff::tz::TimeZone;

use super::markup::{clock_time, counted, paragraph, section, table};
use crate::catalogue::{Catalogue, SourceRecord};
use crate::domain::LocalKind;

/// A row a card; empty for the record of one by itself. A place is told only where its card's own recipe lets files tell it.
pub(super) fn cards(catalogue: &Catalogue, zone: &TimeZone) -> String {
    if !catalogue.is_joined() {
        return String::new();
    }
    let rows: Vec<Vec<String>> = catalogue
        .sources
        .iter()
        .map(|source| row(catalogue, source, zone))
        .collect();
    let columns = [
        "Card",
        "Shots",
        "Eclipse there",
        "Maximum",
        "Place",
        "Credit",
    ];
    let words = "Each shot has the time, the phase and the contacts of its own place. The timeline has those of other places where the \
                 eclipse looked the same at the place told above.";
    let body = table("The cards joined", &columns, &rows) + &paragraph(words);
    section("cards", "Cards", &body)
}

fn row(catalogue: &Catalogue, source: &SourceRecord, zone: &TimeZone) -> Vec<String> {
    let shots = catalogue.shots.iter();
    let shots = shots.filter(|s| source.has(s.name())).count();
    let there = &source.contacts;
    let kind = match there.kind {
        LocalKind::Total => "total",
        LocalKind::Annular => "annular",
        LocalKind::Partial => "partial",
        LocalKind::None => "not seen",
    };
    let site = there.site;
    vec![
        source.name.clone(),
        match source.shared_files {
            0 => shots.to_string(),
            n => format!("{shots} ({} on another card too)", counted(n, "file")),
        },
        format!("{kind}, magnitude {:.4}", there.magnitude),
        clock_time(there.maximum.utc, zone),
        match source.embed_location {
            true => format!(
                "{:.4}°, {:.4}°, {:.0} m",
                site.lat_deg, site.lon_deg, site.elev_m
            ),
            false => "not told".to_owned(),
        },
        source.credit.clone().unwrap_or_default(),
    ]
}
