//! The pictures a run made, to be opened beside the page.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::pipeline::{CORONA_EXR, CORONA_PNG, CORONA_TIFF, REPORT_FILE, RecipeName};

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
        Some(json!({ "number": number, "name": name, "bytes": bytes, "opens": kind.is_some() }))
    });
    there.collect()
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
