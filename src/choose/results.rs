//! The pictures a run made, to be opened beside the page.

use std::path::{Path, PathBuf};
use std::time::UNIX_EPOCH;

use serde_json::{Value, json};

use super::cut::{Part, jpeg};
use crate::domain::Orientation;
use crate::pipeline::{CORONA_EXR, CORONA_PNG, CORONA_TIFF, REPORT_FILE, RecipeName};
use crate::raster;

/// Files of a recipe and of the card, each with the type a browser shows it as; without one it is only named.
fn all(recipe: &RecipeName) -> Vec<(String, Option<&'static str>)> {
    let stem = recipe.stem();
    let own = [
        ("png", Some("image/png")),
        ("jpg", Some("image/jpeg")),
        ("tif", None),
    ];
    let own = own.map(|(ending, kind)| (format!("{stem}.{ending}"), kind));
    let card = [
        (CORONA_PNG, Some("image/png")),
        (CORONA_TIFF, None),
        (CORONA_EXR, None),
        ("beads-c2.png", Some("image/png")),
        ("beads-c3.png", Some("image/png")),
        (REPORT_FILE, None),
    ];
    let card = card.map(|(name, kind)| (name.to_owned(), kind));
    own.into_iter().chain(card).collect()
}

/// What is there, as JSON: number, name, size, and whether it can be opened.
pub(super) fn json(out: &Path, recipe: &RecipeName) -> Value {
    let there = all(recipe).into_iter().enumerate();
    let there = there.filter_map(|(number, (name, kind))| {
        let meta = std::fs::metadata(out.join(&name)).ok()?;
        let bytes = meta.is_file().then_some(meta.len())?;
        let changed = meta.modified().ok()?.duration_since(UNIX_EPOCH).ok()?;
        Some(json!({
            "number": number, "name": name, "bytes": bytes, "opens": kind.is_some(),
            "changed": u64::try_from(changed.as_millis()).ok()?,
        }))
    });
    there.collect()
}

/// Side of a small picture of a result, in pixels: as wide as the column it stands in.
const SMALL_SIDE: usize = 900;

/// A picture of a number made small, JPEG; `None` where there is none that can be shown.
pub(super) fn small(out: &Path, recipe: &RecipeName, number: usize) -> Option<Vec<u8>> {
    let (path, _) = file(out, recipe, number)?;
    let frame = raster::decode(&path, Orientation::default()).ok()?;
    let part = Part::whole((frame.width(), frame.height()), SMALL_SIDE);
    jpeg(&frame, &part).ok()
}

/// The file of a number that a browser can show, and its type.
pub(super) fn file(
    out: &Path,
    recipe: &RecipeName,
    number: usize,
) -> Option<(PathBuf, &'static str)> {
    let (name, kind) = all(recipe).into_iter().nth(number)?;
    Some((out.join(name), kind?))
}
