//! A file of small records that outlives a run stopped at any moment: lines are only ever added, each with its checksum.
//!
//! First line: the program's mark and a version. Then one line a record: key and checksum in hexadecimal, contents. A last
//! line that was cut off is dropped; a damaged one is passed over; a file of another version is begun anew.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::io::{self, BufRead, BufReader, BufWriter, Read as _, Seek as _, SeekFrom, Write};
use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256};

use crate::catalogue::{digits, write_atomically};

/// What a record is found by.
pub(super) type Key = [u8; 32];

/// First words of the file.
const MARK: &str = "contactstrip analysis ";

/// Longest line read, in bytes: a record is far shorter.
const LINE_BYTES: u64 = 1 << 16;

/// Bytes of a SHA-256 that stand as a line's checksum.
const CHECK_BYTES: usize = 8;

/// Bytes of a line before the contents: key, space, checksum, space.
const HEAD_BYTES: usize = 64 + 1 + 2 * CHECK_BYTES + 1;

/// Where a record's line is, its end included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Place {
    start: u64,
    length: u64,
}

/// The file, open for the length of a run. In memory it takes some hundred bytes a record.
pub(super) struct Journal {
    path: PathBuf,
    file: File,
    head: String,
    places: BTreeMap<Key, Place>,
    used: BTreeSet<Key>,
    end: u64,
    /// Whether records may be added; not any more once that failed.
    writes: bool,
    trouble: Option<String>,
}

impl Journal {
    /// Opens the file, made where there is none and `writes` is asked for, and what to tell about its state.
    ///
    /// # Errors
    /// When it cannot be opened, read or begun.
    pub(super) fn open(
        path: &Path,
        version: &str,
        writes: bool,
    ) -> io::Result<(Self, Option<String>)> {
        let mut options = File::options();
        let file = options
            .read(true)
            .append(writes)
            .create(writes)
            .open(path)?;
        let mut journal = Self {
            path: path.to_owned(),
            file,
            head: format!("{MARK}{version}\n"),
            places: BTreeMap::new(),
            used: BTreeSet::new(),
            end: 0,
            writes,
            trouble: None,
        };
        let told = journal.read()?;
        if writes {
            journal.make_sound()?;
        }
        Ok((journal, told))
    }

    /// Reads all lines; gives what to tell.
    fn read(&mut self) -> io::Result<Option<String>> {
        let mut reader = BufReader::new(&self.file);
        let first = line(&mut reader)?;
        if first.is_empty() {
            return Ok(None);
        }
        if first != self.head.as_bytes() {
            return Ok(Some(strange(&first)));
        }
        self.end = first.len() as u64;
        let mut damaged = 0;
        loop {
            let text = line(&mut reader)?;
            if text.last() != Some(&b'\n') {
                // Nothing more, a line cut off, or one too long to be a record: what follows is no use.
                damaged += u64::from(text.len() as u64 == LINE_BYTES);
                break;
            }
            let place = Place {
                start: self.end,
                length: text.len() as u64,
            };
            self.end += place.length;
            match record(&text) {
                Some((key, _)) => {
                    self.places.insert(key, place);
                }
                None => damaged += 1,
            }
        }
        let told = format!("{damaged} lines of it are damaged; those frames are looked at again");
        Ok((damaged > 0).then_some(told))
    }

    /// Cuts off what is no use and begins a new file.
    fn make_sound(&mut self) -> io::Result<()> {
        self.file.set_len(self.end)?;
        if self.end == 0 {
            self.file.write_all(self.head.as_bytes())?;
            self.end = self.head.len() as u64;
        }
        Ok(())
    }

    /// The contents of a record that is still whole.
    pub(super) fn find(&mut self, key: &Key) -> Option<Vec<u8>> {
        let place = *self.places.get(key)?;
        let text = self.line_at(place).ok()?;
        let (found, contents) = record(&text)?;
        if found != *key {
            return None;
        }
        self.used.insert(*key);
        Some(contents.to_vec())
    }

    fn line_at(&mut self, place: Place) -> io::Result<Vec<u8>> {
        let mut text = vec![0; usize::try_from(place.length).map_err(io::Error::other)?];
        self.file.seek(SeekFrom::Start(place.start))?;
        self.file.read_exact(&mut text)?;
        Ok(text)
    }

    /// Adds a record; `contents` is one line of text. After a failure nothing more is added.
    pub(super) fn add(&mut self, key: Key, contents: &[u8]) {
        if !self.writes {
            return;
        }
        let text = line_of(&key, contents);
        match self.file.write_all(&text) {
            Ok(()) => {
                let length = text.len() as u64;
                let start = self.end;
                self.end += length;
                self.places.insert(key, Place { start, length });
                self.used.insert(key);
            }
            Err(cause) => self.give_up(&cause),
        }
    }

    fn give_up(&mut self, cause: &io::Error) {
        self.writes = false;
        self.trouble = Some(format!("what was seen cannot be kept: {cause}"));
        // Part of the line may be there; the next run would cut it off as well.
        let _ = self.file.set_len(self.end);
    }

    /// Ends a run that failed: a file without a record is taken away.
    pub(super) fn leave(self) {
        if self.writes && self.places.is_empty() {
            let _ = std::fs::remove_file(&self.path);
        }
    }

    /// Leaves only the records used, in order of their keys; gives what went wrong, if anything did.
    pub(super) fn settle(mut self) -> Option<String> {
        if !self.writes || self.is_settled() {
            return self.trouble;
        }
        let path = self.path.clone();
        let outcome = write_atomically(&path, |file| self.write_used(file));
        outcome.err().map(|error| error.to_string())
    }

    /// Whether the file holds the records used and nothing else, in order.
    fn is_settled(&self) -> bool {
        let mut next = self.head.len() as u64;
        for key in &self.used {
            match self.places.get(key) {
                Some(place) if place.start == next => next += place.length,
                _ => return false,
            }
        }
        next == self.end
    }

    fn write_used(&mut self, to: &mut File) -> io::Result<()> {
        let mut to = BufWriter::new(to);
        to.write_all(self.head.as_bytes())?;
        let places: Vec<Place> = self.used.iter().map(|key| self.places[key]).collect();
        for place in places {
            to.write_all(&self.line_at(place)?)?;
        }
        to.flush()
    }
}

/// What to tell about a file that begins with this line.
fn strange(first: &[u8]) -> String {
    if first.starts_with(MARK.as_bytes()) {
        "was kept by another version of this program; all frames are looked at again".to_owned()
    } else {
        "is damaged or not this program's; begun anew, all frames are looked at again".to_owned()
    }
}

/// The next line with its end; shorter than a line when the file ends, cut at [`LINE_BYTES`].
fn line(reader: &mut impl BufRead) -> io::Result<Vec<u8>> {
    let mut text = Vec::new();
    reader.take(LINE_BYTES).read_until(b'\n', &mut text)?;
    Ok(text)
}

/// A record as it is written.
fn line_of(key: &Key, contents: &[u8]) -> Vec<u8> {
    let head = format!("{} {} ", digits(key), check(key, contents));
    let mut text = head.into_bytes();
    text.extend(contents);
    text.push(b'\n');
    text
}

/// Key and contents of a line, when it is whole.
fn record(line: &[u8]) -> Option<(Key, &[u8])> {
    let (head, contents) = line.strip_suffix(b"\n")?.split_at_checked(HEAD_BYTES)?;
    let mut words = std::str::from_utf8(head).ok()?.split(' ');
    let (key, sum) = (unhex(words.next()?)?, words.next()?);
    (sum == check(&key, contents)).then_some((key, contents))
}

fn check(key: &Key, contents: &[u8]) -> String {
    let sum = Sha256::new().chain_update(key).chain_update(contents);
    digits(&sum.finalize()[..CHECK_BYTES])
}

fn unhex(text: &str) -> Option<Key> {
    let mut key = Key::default();
    if text.len() != 2 * key.len() || !text.is_ascii() {
        return None;
    }
    for (byte, at) in key.iter_mut().zip((0..).step_by(2)) {
        *byte = u8::from_str_radix(&text[at..at + 2], 16).ok()?;
    }
    Some(key)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(n: u8) -> Key {
        [n; 32]
    }

    fn open(path: &Path) -> (Journal, Option<String>) {
        Journal::open(path, "1", true).unwrap()
    }

    /// A file with records 1 to 5, closed without being settled.
    fn five(path: &Path) {
        let (mut journal, told) = open(path);
        assert_eq!(told, None);
        for n in [3, 1, 5, 2, 4] {
            journal.add(key(n), format!("{{\"n\":{n}}}").as_bytes());
        }
    }

    fn found(journal: &mut Journal) -> Vec<u8> {
        (1..=5)
            .filter(|n| {
                let contents = journal.find(&key(*n));
                let right = format!("{{\"n\":{n}}}").into_bytes();
                assert!(contents.is_none() || contents == Some(right));
                contents.is_some()
            })
            .collect()
    }

    #[test]
    fn a_stop_in_mid_write_costs_one_record() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("kept");
        five(&path);
        let whole = std::fs::read(&path).unwrap();
        for length in 0..whole.len() {
            std::fs::write(&path, &whole[..length]).unwrap();
            let (mut journal, told) = open(&path);
            let lines = whole[..length].iter().filter(|b| **b == b'\n').count();
            assert_eq!(found(&mut journal).len(), lines.saturating_sub(1));
            // A part of the first line is no record either, and says so.
            assert_eq!(told.is_some(), length > 0 && lines == 0, "{length}");
            journal.add(key(9), b"more");
            drop(journal);
            let (mut journal, told) = open(&path);
            assert_eq!(told, None);
            assert_eq!(journal.find(&key(9)).unwrap(), b"more");
        }
    }

    #[test]
    fn damage_anywhere_never_gives_wrong_contents() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("kept");
        five(&path);
        let whole = std::fs::read(&path).unwrap();
        for at in 0..whole.len() {
            let mut damaged = whole.clone();
            damaged[at] ^= 0x15;
            std::fs::write(&path, &damaged).unwrap();
            let (mut journal, told) = open(&path);
            assert!(
                told.is_some() || found(&mut journal).len() >= 4,
                "byte {at}"
            );
            assert!(found(&mut journal).len() < 5, "byte {at}");
        }
    }

    #[test]
    fn settled_files_are_the_same_whatever_the_order() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("kept");
        five(&path);
        let (mut journal, _) = open(&path);
        for n in [4, 2, 3] {
            journal.find(&key(n)).unwrap();
        }
        journal.add(key(1), b"newer");
        assert_eq!(journal.settle(), None);
        let settled = std::fs::read(&path).unwrap();
        let lines: Vec<Vec<u8>> = [
            line_of(&key(1), b"newer"),
            line_of(&key(2), b"{\"n\":2}"),
            line_of(&key(3), b"{\"n\":3}"),
            line_of(&key(4), b"{\"n\":4}"),
        ]
        .into();
        let head = format!("{MARK}1\n").into_bytes();
        assert_eq!(settled, [head, lines.concat()].concat());
        let (mut journal, _) = open(&path);
        (1..=4).for_each(|n| assert!(journal.find(&key(n)).is_some()));
        assert!(journal.is_settled());
    }

    #[test]
    fn other_versions_and_strange_files_are_begun_anew() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("kept");
        five(&path);
        let (mut journal, told) = Journal::open(&path, "2", true).unwrap();
        assert!(told.unwrap().contains("another version"));
        assert!(found(&mut journal).is_empty());
        std::fs::write(&path, vec![0xAB; 200_000]).unwrap();
        let (mut journal, told) = open(&path);
        assert!(told.unwrap().contains("damaged"));
        assert!(found(&mut journal).is_empty());
        std::fs::remove_file(&path).unwrap();
        assert!(Journal::open(&path, "1", false).is_err());
        std::fs::create_dir(&path).unwrap();
        assert!(Journal::open(&path, "1", true).is_err());
    }
}
