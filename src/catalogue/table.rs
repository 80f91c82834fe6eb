//! `shots.csv`: one row a shot.

use std::io::{self, Write};

use super::cells::{cell, fixed, text, write_rows};
use super::{Catalogue, ShotRecord};
use crate::domain::Circle;

/// Column names, in their fixed order.
pub const COLUMNS: [&str; 30] = [
    "file",
    "format",
    "camera",
    "role",
    "clock",
    "utc",
    "utc_sigma_s",
    "exposure_s",
    "f_number",
    "iso",
    "focal_mm",
    "phase",
    "near_contact",
    "burst",
    "burst_index",
    "disc",
    "sun_x_px",
    "sun_y_px",
    "sun_radius_px",
    "moon_x_px",
    "moon_y_px",
    "moon_radius_px",
    "disc_sigma_px",
    "north_deg",
    "mirrored",
    "obscuration",
    "sun_alt_deg",
    "quality",
    "flags",
    "sibling",
];

/// The column that a joined record's table has behind [`COLUMNS`]: the name of the card a shot is from.
pub const CARD_COLUMN: &str = "card";

/// Writes the table; what is not known stays blank. A name or camera that a spreadsheet would take for a formula has an
/// apostrophe in front. That of a joined record has one column more, [`CARD_COLUMN`].
///
/// # Errors
/// Those of `out`.
pub fn write_table(catalogue: &Catalogue, out: &mut dyn Write) -> io::Result<()> {
    let rows = catalogue.shots.iter().map(|record| row(catalogue, record));
    if !catalogue.is_joined() {
        return write_rows(COLUMNS, rows, out);
    }
    let cards = catalogue.shots.iter().map(|record| {
        let source = catalogue.source_of(record.name());
        source.map_or_else(String::new, |source| cell(&source.name))
    });
    let rows = rows.zip(cards).map(|(row, card)| with_one(row, card));
    let columns: [&str; COLUMNS.len() + 1] = with_one(COLUMNS, CARD_COLUMN);
    write_rows(columns, rows, out)
}

/// A row with one cell more.
fn with_one<T>(row: [T; COLUMNS.len()], cell: T) -> [T; COLUMNS.len() + 1] {
    let mut all = row.into_iter().chain(std::iter::once(cell));
    std::array::from_fn(|_| all.next().expect("there are as many"))
}

/// One shot's row, in the order of [`COLUMNS`].
fn row(catalogue: &Catalogue, record: &ShotRecord) -> [String; COLUMNS.len()] {
    let shot = &record.shot;
    let exposure = &shot.exposure;
    let fit = record.disc.as_ref();
    let [sun_x, sun_y, sun_radius] = circle(fit.and_then(|f| f.sun));
    let [moon_x, moon_y, moon_radius] = circle(fit.and_then(|f| f.moon));
    [
        cell(&shot.file.name),
        shot.file.format.word().to_owned(),
        cell(catalogue.camera_label(shot)),
        text(record.role.map(|r| r.word())),
        text(shot.stamp.map(|s| s.time)),
        text(record.utc),
        fixed(record.utc_sigma_s, 3),
        text(exposure.shutter_s),
        text(exposure.f_number),
        text(exposure.iso),
        text(exposure.focal_mm),
        record.phase.word().to_owned(),
        text(record.near_contact.map(|c| c.word())),
        text(record.burst.map(|b| b.id)),
        text(record.burst.map(|b| b.index)),
        record.disc_word().to_owned(),
        sun_x,
        sun_y,
        sun_radius,
        moon_x,
        moon_y,
        moon_radius,
        fixed(fit.map(|f| f.sigma_px), 4),
        fixed(record.north_deg, 3),
        text(record.mirrored.map(|m| if m { "yes" } else { "no" })),
        fixed(record.predicted.map(|p| p.obscuration), 5),
        fixed(record.predicted.map(|p| p.sun_alt_deg), 3),
        fixed(record.quality, 3),
        record.flags.to_string(),
        record.sibling.as_deref().map(cell).unwrap_or_default(),
    ]
}

fn circle(circle: Option<Circle>) -> [String; 3] {
    match circle {
        Some(c) => [c.x_px, c.y_px, c.radius_px].map(|v| fixed(Some(v), 3)),
        None => [String::new(), String::new(), String::new()],
    }
}
