//! The table of films.

use jiff::tz::TimeZone;

use super::markup::{clock_time, paragraph, section, table};
use crate::catalogue::{Catalogue, FilmRecord};
use crate::domain::FilmTime;

/// The section; nothing for a card without films.
pub(super) fn films(catalogue: &Catalogue, zone: &TimeZone) -> String {
    if catalogue.films.is_empty() {
        return String::new();
    }
    let rows: Vec<Vec<String>> = catalogue.films.iter().map(|film| row(film, zone)).collect();
    let columns = [
        "File",
        "Begins",
        "One sigma",
        "Lasts",
        "Camera",
        "Phases",
        "Folder",
        "Rate",
        "Size",
    ];
    let mut body = table("Films", &columns, &rows);
    body += &paragraph(
        "A film goes to one folder: totality or annularity where it holds any of it, else second or third contact, else the phase it holds longest.",
    );
    section("films", "Films", &body)
}

fn row(record: &FilmRecord, zone: &TimeZone) -> Vec<String> {
    let film = &record.film;
    let begins = match (record.utc, record.time_from) {
        (Some(utc), _) => clock_time(utc, zone),
        (None, FilmTime::Unsettled) => "UTC or local: not settled".to_owned(),
        (None, _) => String::new(),
    };
    let phases: Vec<&str> = record.phases.iter().map(|phase| phase.word()).collect();
    let text = |value: Option<String>| value.unwrap_or_default();
    vec![
        record.name().to_owned(),
        begins,
        text(record.utc_sigma_s.map(|s| format!("\u{b1} {s:.1} s"))),
        text(film.duration_s.map(|s| format!("{s:.1} s"))),
        record.camera_label.clone(),
        phases.join(", "),
        record.phase.folder().to_owned(),
        text(film.frame_rate.map(|rate| format!("{rate:.2}"))),
        text(
            film.width_px
                .zip(film.height_px)
                .map(|(w, h)| format!("{w} \u{d7} {h}")),
        ),
    ]
}
