//! Names every output uses.

use std::collections::BTreeSet;
use std::ffi::OsStr;
use std::fmt::Write as _;
use std::path::{Component, Path, PathBuf};

use super::listing::CardListing;

/// A path below the card as text with `/` separators; bytes that are not UTF-8 as `%` and two hexadecimal digits.
pub(super) fn shown(below: &Path) -> String {
    let parts = below.components().filter_map(|part| match part {
        Component::Normal(part) => Some(part_shown(part)),
        _ => None,
    });
    parts.collect::<Vec<_>>().join("/")
}

fn part_shown(part: &OsStr) -> String {
    let mut text = String::new();
    for chunk in part.as_encoded_bytes().utf8_chunks() {
        text.push_str(chunk.valid());
        for byte in chunk.invalid() {
            write!(text, "%{byte:02X}").expect("writing to a string cannot fail");
        }
    }
    text
}

/// One prefix per card: empty for a single card, else its folder name, with a number where two share one.
pub(super) fn card_prefixes(cards: &[PathBuf]) -> Vec<String> {
    if cards.len() == 1 {
        return vec![String::new()];
    }
    let mut taken = BTreeSet::new();
    let own_name = |card: &PathBuf| {
        let whole = card.canonicalize().unwrap_or_else(|_| card.clone());
        whole.file_name().map_or("card".to_owned(), part_shown)
    };
    cards
        .iter()
        .map(|card| free_name(&mut taken, own_name(card), '-') + "/")
        .collect()
}

/// Names differ even where percent-coding made two the same: the later file gets `~2`, `~3` … behind it.
pub(super) fn make_unique(listing: &mut CardListing) {
    let mut taken: BTreeSet<String> = BTreeSet::new();
    let strays = listing.strays.iter_mut().map(|(name, _)| name);
    let films = listing.films.iter_mut().map(|f| &mut f.name);
    let files = listing.files.iter_mut().map(|f| &mut f.name);
    for name in files.chain(films).chain(strays) {
        *name = free_name(&mut taken, std::mem::take(name), '~');
    }
}

/// `wanted`, or `wanted` with a mark and the first free number from 2.
fn free_name(taken: &mut BTreeSet<String>, wanted: String, mark: char) -> String {
    let mut name = wanted.clone();
    let mut number = 2;
    while !taken.insert(name.clone()) {
        name = format!("{wanted}{mark}{number}");
        number += 1;
    }
    name
}

#[cfg(all(test, unix))]
mod tests {
    use super::*;
    use std::os::unix::ffi::OsStrExt;

    #[test]
    fn bytes_that_are_no_text_are_percent_coded() {
        let below = Path::new(OsStr::from_bytes(b"DCIM/caf\xE9 \xC3\xA9.jpg"));
        assert_eq!(shown(below), "DCIM/caf%E9 é.jpg");
    }
}
