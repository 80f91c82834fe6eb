//! Shooting order, as far as names tell.

use std::cmp::Ordering;
use std::collections::BTreeMap;

use crate::domain::CardFile;

/// File numbers of a DCF name run from 1 to this (JEITA CP-3461, section 3.2.4).
const LAST_FILE_NUMBER: u32 = 9999;

/// Folder numbers of a DCF card run from 100 to this (JEITA CP-3461, section 3.2.3).
const LAST_FOLDER_NUMBER: u32 = 999;

/// A run of numbers went round only if at most this many are missing across the turn, and …
const MOST_MISSING_AT_TURN: u32 = 200;

/// … at least this many are missing elsewhere.
const LEAST_MISSING_ELSEWHERE: u32 = 1000;

/// The same two for folder numbers.
const MOST_FOLDERS_MISSING_AT_TURN: u32 = 5;
const LEAST_FOLDERS_MISSING_ELSEWHERE: u32 = 100;

/// A piece of a name, compared so that digits count as numbers.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Piece {
    /// A number: how many digits it has without leading zeros, and those digits.
    Number(usize, String),
    /// Anything else, in lower case.
    Text(String),
}

/// A name split where digits begin and end.
fn pieces(name: &str) -> Vec<Piece> {
    let mut pieces = Vec::new();
    let mut rest = name;
    while let Some(first) = rest.chars().next() {
        let digits = first.is_ascii_digit();
        let end = rest
            .find(|c: char| c.is_ascii_digit() != digits)
            .unwrap_or(rest.len());
        let (piece, after) = rest.split_at(end);
        pieces.push(if digits {
            number(piece)
        } else {
            Piece::Text(piece.to_lowercase())
        });
        rest = after;
    }
    pieces
}

fn number(digits: &str) -> Piece {
    let plain = digits.trim_start_matches('0');
    Piece::Number(plain.len(), plain.to_owned())
}

/// Four free characters and a number from 0001 to 9999: the stem of a DCF file name.
fn dcf_file(stem: &str) -> Option<(&str, u32)> {
    let (free, digits) = stem.split_at_checked(stem.len().checked_sub(4)?)?;
    let free_fits = free.len() == 4 && free.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_');
    let number = whole_number(digits).filter(|n| *n >= 1)?;
    free_fits.then_some((free, number))
}

/// A number from 100 to 999 and five free characters: the name of a DCF folder.
fn dcf_folder(name: &str) -> Option<(u32, &str)> {
    let (digits, free) = name.split_at_checked(3)?;
    let free_fits = free.len() == 5 && free.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_');
    let number = whole_number(digits).filter(|n| *n >= 100)?;
    free_fits.then_some((number, free))
}

fn whole_number(digits: &str) -> Option<u32> {
    let all = digits.bytes().all(|b| b.is_ascii_digit());
    all.then(|| digits.parse().ok()).flatten()
}

/// The number a run began with before going round, where it did: the one after the widest gap.
///
/// `numbers` ascending. The run went round if few numbers are missing between the greatest and the least counted
/// across `last`, and many are missing somewhere else.
fn turn(numbers: &[u32], last: u32, most_at_turn: u32, least_elsewhere: u32) -> Option<u32> {
    let (least, greatest) = (*numbers.first()?, *numbers.last()?);
    let at_turn = last.saturating_sub(greatest) + least;
    let widest = numbers.windows(2).max_by_key(|pair| pair[1] - pair[0])?;
    let elsewhere = widest[1] - widest[0];
    (at_turn <= most_at_turn && elsewhere >= least_elsewhere).then_some(widest[1])
}

/// Where the numbers of one series (one body's names in one folder) went round.
type Turns = BTreeMap<(String, String), u32>;

fn turns(
    series: BTreeMap<(String, String), Vec<u32>>,
    (last, most_at_turn, least_elsewhere): (u32, u32, u32),
) -> Turns {
    let turned = series.into_iter().filter_map(|(key, mut numbers)| {
        numbers.sort_unstable();
        turn(&numbers, last, most_at_turn, least_elsewhere).map(|first| (key, first))
    });
    turned.collect()
}

/// Folders and stem of a name; folders as text with `/` behind each.
fn split(name: &str) -> (&str, &str, &str) {
    let (folders, file) = match name.rfind('/') {
        Some(at) => name.split_at(at + 1),
        None => ("", name),
    };
    match file.rfind('.') {
        Some(dot) if dot > 0 => (folders, &file[..dot], &file[dot..]),
        _ => (folders, file, ""),
    }
}

/// A folder's name with all folders above it.
fn folders_of(folders: &str) -> impl Iterator<Item = (&str, &str)> {
    let mut start = 0;
    folders.split_terminator('/').map(move |folder| {
        let above = &folders[..start];
        start += folder.len() + 1;
        (above, folder)
    })
}

/// Sorts files into shooting order; see [`super::read`].
pub(super) fn into_shooting_order(files: &mut Vec<CardFile>) {
    let file_turns = file_turns(files);
    let folder_turns = folder_turns(files);
    let mut keyed: Vec<(Key, CardFile)> = files
        .drain(..)
        .map(|file| (key(&file.name, &file_turns, &folder_turns), file))
        .collect();
    keyed.sort_by(|(a, fa), (b, fb)| a.cmp(b).then_with(|| fa.name.cmp(&fb.name)));
    files.extend(keyed.into_iter().map(|(_, file)| file));
}

fn file_turns(files: &[CardFile]) -> Turns {
    let mut series: BTreeMap<(String, String), Vec<u32>> = BTreeMap::new();
    for file in files {
        let (folders, stem, _) = split(&file.name);
        if let Some((free, number)) = dcf_file(stem) {
            let body = (folders.to_owned(), free.to_ascii_lowercase());
            series.entry(body).or_default().push(number);
        }
    }
    turns(
        series,
        (
            LAST_FILE_NUMBER,
            MOST_MISSING_AT_TURN,
            LEAST_MISSING_ELSEWHERE,
        ),
    )
}

fn folder_turns(files: &[CardFile]) -> Turns {
    let mut series: BTreeMap<(String, String), Vec<u32>> = BTreeMap::new();
    for file in files {
        for (above, folder) in folders_of(split(&file.name).0) {
            if let Some((number, free)) = dcf_folder(folder) {
                let body = (above.to_owned(), free.to_ascii_lowercase());
                series.entry(body).or_default().push(number - 99);
            }
        }
    }
    turns(
        series,
        (
            LAST_FOLDER_NUMBER - 99,
            MOST_FOLDERS_MISSING_AT_TURN,
            LEAST_FOLDERS_MISSING_ELSEWHERE,
        ),
    )
}

/// What names are compared by.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Key {
    folders: Vec<Vec<Piece>>,
    stem: Vec<Piece>,
    extension: String,
}

impl Key {
    fn parts(&self) -> (&[Vec<Piece>], &[Piece], &str) {
        (&self.folders, &self.stem, &self.extension)
    }
}

impl PartialOrd for Key {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Ord for Key {
    fn cmp(&self, other: &Self) -> Ordering {
        self.parts().cmp(&other.parts())
    }
}

fn key(name: &str, file_turns: &Turns, folder_turns: &Turns) -> Key {
    let (folders, stem, extension) = split(name);
    let folder_key = |(above, folder): (&str, &str)| match dcf_folder(folder) {
        Some((number, free)) => {
            let body = (above.to_owned(), free.to_ascii_lowercase());
            let counted = counted(
                number - 99,
                LAST_FOLDER_NUMBER - 99,
                folder_turns.get(&body),
            );
            [
                vec![self::number(&(counted + 99).to_string())],
                pieces(free),
            ]
            .concat()
        }
        None => pieces(folder),
    };
    let stem_key = match dcf_file(stem) {
        Some((free, number)) => {
            let body = (folders.to_owned(), free.to_ascii_lowercase());
            let counted = counted(number, LAST_FILE_NUMBER, file_turns.get(&body));
            [pieces(free), vec![self::number(&counted.to_string())]].concat()
        }
        None => pieces(stem),
    };
    Key {
        folders: folders_of(folders).map(folder_key).collect(),
        stem: stem_key,
        extension: extension.to_ascii_lowercase(),
    }
}

/// The number as if counting had gone on past `last`.
fn counted(number: u32, last: u32, first: Option<&u32>) -> u32 {
    match first {
        Some(first) if number < *first => number + last,
        _ => number,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sorted(names: &[&str]) -> Vec<String> {
        let mut files: Vec<CardFile> = names
            .iter()
            .map(|name| CardFile {
                name: (*name).to_owned(),
                path: (*name).into(),
                format: crate::domain::FileFormat::Jpeg,
                size_bytes: 1,
                modified: None,
            })
            .collect();
        into_shooting_order(&mut files);
        files.into_iter().map(|f| f.name).collect()
    }

    #[test]
    fn numbers_that_went_round_come_last() {
        assert_eq!(
            sorted(&[
                "DSC_0001.JPG",
                "DSC_0002.JPG",
                "DSC_9998.JPG",
                "DSC_9999.JPG"
            ]),
            [
                "DSC_9998.JPG",
                "DSC_9999.JPG",
                "DSC_0001.JPG",
                "DSC_0002.JPG"
            ]
        );
        assert_eq!(
            sorted(&["100CANON/IMG_0001.JPG", "999CANON/IMG_9999.JPG"]),
            ["999CANON/IMG_9999.JPG", "100CANON/IMG_0001.JPG"]
        );
    }

    #[test]
    fn a_gap_alone_is_no_turn() {
        let names = ["DSC_0100.JPG", "DSC_5000.JPG", "DSC_6000.JPG"];
        assert_eq!(sorted(&names), names);
        let full: Vec<String> = (1..=9999).map(|n| format!("DSC_{n:04}.JPG")).collect();
        let names: Vec<&str> = full.iter().map(String::as_str).collect();
        assert_eq!(sorted(&names), full);
    }

    #[test]
    fn each_body_goes_round_by_itself() {
        assert_eq!(
            sorted(&[
                "DSC_0001.JPG",
                "DSC_9999.JPG",
                "IMG_0001.JPG",
                "IMG_0150.JPG"
            ]),
            [
                "DSC_9999.JPG",
                "DSC_0001.JPG",
                "IMG_0001.JPG",
                "IMG_0150.JPG"
            ]
        );
    }

    #[test]
    fn the_next_folder_takes_over_after_9999() {
        let names = ["DCIM/100NIKON/DSC_9999.NEF", "DCIM/101NIKON/DSC_0001.NEF"];
        assert_eq!(sorted(&names), names);
    }

    #[test]
    fn digits_count_as_numbers() {
        assert_eq!(
            sorted(&["frame10.png", "frame9.png", "Frame2.png", "a/frame1.png"]),
            ["Frame2.png", "frame9.png", "frame10.png", "a/frame1.png"]
        );
    }

    #[test]
    fn strange_names_are_no_trouble() {
        let names = [
            "",
            ".",
            "...",
            "é",
            "日本語0001.jpg",
            "\u{0}",
            "12345678901234567890123456789.jpg",
        ];
        assert_eq!(sorted(&names).len(), names.len());
    }
}
