//! What must hold before a library that trusts its input is given a file, and what is taken out of its way.
//!
//! The library takes memory for every list in a directory before it knows that the file holds as much, and more than there is ends
//! the program. Directories are walked first; those whose lists are longer than the file are refused. Two things in sound files would
//! lead it astray as well and are blanked in the bytes it is given: profiles of colours, which it takes for directories, and entries
//! of makers' notes that no reader could follow.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::super::error::check_size;
use crate::domain::{RawFault, RawUnknown};
use crate::raster::{DecodeError, MAX_SIDE_PX};

/// Most directories of a file that are looked at; cameras write a dozen.
const MOST_DIRECTORIES: usize = 256;

/// Most pieces of one picture.
const MOST_PIECES: usize = 100_000;

/// Bytes in which the sizes of a packed JPEG must stand.
const JPEG_HEAD_BYTES: usize = 4096;

/// Bytes that may be missing at the end: makers round sizes up.
const SLACK_BYTES: u64 = 512;

/// Entries that give the place of a directory: further pictures (TIFF technical note 1), Exif and GPS (CIPA DC-008, 4.6.3).
const POINTERS: [u16; 3] = [0x014A, 0x8769, 0x8825];

/// Entry of the profile of colours (TIFF/EP, ISO 12234-2), which rawler 0.8 takes for a directory (`wellknown_sub_ifd_tags`).
const COLOUR_PROFILE: u16 = 0x8773;

/// Entry of the maker's notes (CIPA DC-008, 4.6.5).
const MAKER_NOTE: u16 = 0x927C;

/// Entries that lead to directories of Sony, Kodak and Panasonic, and of Olympus within its maker's note (rawler 0.8, `tags.rs` and
/// the decoders).
const SONY_PRIVATE: u16 = 0xC634;
const KODAK_PRIVATE: u16 = 0x8290;
const PANASONIC_CAMERA: u16 = 0x0120;
const OLYMPUS_MORE: [u16; 2] = [0x2010, 0x2040];

/// Most entries of a maker's directory outside its notes; they write a dozen.
const MOST_PRIVATE: usize = 256;

/// Tag a blanked entry gets: of no meaning to any reader.
const BLANK: u16 = 0xFFFE;

/// First bytes of a TIFF, and of those raw files that are one but for them (Olympus, Panasonic; from memory).
const MARKS: [&[u8; 4]; 6] = [b"II*\0", b"MM\0*", b"IIRO", b"IIRS", b"MMOR", b"IIU\0"];

/// A file's bytes that the library may be given.
#[derive(Clone)]
pub(in crate::raster) struct Vetted(Arc<Vec<u8>>);

impl Vetted {
    /// The bytes, shared.
    pub(super) fn shared(&self) -> Arc<Vec<u8>> {
        Arc::clone(&self.0)
    }
}

/// Sizes within the limits, lists no longer than the file, directories in no circle.
pub(super) fn sizes(bytes: Vec<u8>) -> Result<Vetted, DecodeError> {
    vetted(bytes, false)
}

/// The same, and no part of a picture beyond the end of the file.
pub(in crate::raster) fn whole(bytes: Vec<u8>) -> Result<Vetted, DecodeError> {
    vetted(bytes, true)
}

fn vetted(mut bytes: Vec<u8>, to_the_end: bool) -> Result<Vetted, DecodeError> {
    let mut mends = Vec::new();
    look(&bytes, to_the_end, &mut mends)?;
    for mend in mends {
        mend.make(&mut bytes);
    }
    Ok(Vetted(Arc::new(bytes)))
}

/// A change to an entry of a directory.
#[derive(Clone, Copy)]
struct Mend {
    /// Where the entry starts in the bytes its directory was read from.
    at: usize,
    little: bool,
    kind: MendKind,
}

#[derive(Clone, Copy)]
enum MendKind {
    /// No values and a tag of no meaning.
    Blank,
    /// Places of directories as plain whole numbers, the only ones the library follows rightly.
    PlainPlaces,
    /// So many entries in the directory that starts here.
    Entries(u16),
}

impl Mend {
    fn make(self, bytes: &mut [u8]) {
        let half = |value: u16| match self.little {
            true => value.to_le_bytes(),
            false => value.to_be_bytes(),
        };
        let (from, entry) = match self.kind {
            MendKind::Blank => (self.at, [half(BLANK), half(1), [0; 2], [0; 2]].concat()),
            MendKind::PlainPlaces => (self.at + 2, half(4).to_vec()),
            MendKind::Entries(count) => (self.at, half(count).to_vec()),
        };
        if let Some(place) = bytes.get_mut(from..from + entry.len()) {
            place.copy_from_slice(&entry);
        }
    }
}

fn look(bytes: &[u8], to_the_end: bool, mends: &mut Vec<Mend>) -> Result<(), DecodeError> {
    if bytes.starts_with(b"FUJIFILMCCD-RAW") {
        fujifilm(bytes, to_the_end, mends)
    } else if bytes.get(4..8) == Some(b"ftyp") {
        boxes(bytes, to_the_end, mends)
    } else if MARKS.iter().any(|mark| bytes.starts_with(*mark)) {
        Tiff::new(bytes, 0, to_the_end, mends).look()
    } else {
        // Containers that cannot be looked through first are not trusted to the reader: a damaged one may ask it for any
        // amount of memory.
        Err(DecodeError::UnknownRaw(RawUnknown::Container))
    }
}

/// RAF: three pairs of place and length at bytes 84, 92 and 100: a JPEG whose Exif begins 12 bytes in, and parts that may be
/// a TIFF (from memory; checked on a real file).
fn fujifilm(bytes: &[u8], to_the_end: bool, mends: &mut Vec<Mend>) -> Result<(), DecodeError> {
    let word = |at: usize| {
        let word = bytes.get(at..).and_then(|b| b.first_chunk());
        word.map(|w| u32::from_be_bytes(*w) as usize)
            .ok_or(DecodeError::CutShort)
    };
    for at in [84, 92, 100] {
        let (place, length) = (word(at)?, word(at + 4)?);
        let end = (place + length) as u64;
        if to_the_end && end > bytes.len() as u64 + SLACK_BYTES {
            return Err(DecodeError::CutShort);
        }
        for place in [place, place + 12] {
            let tiff = bytes
                .get(place..)
                .is_some_and(|b| b.starts_with(b"II*\0") || b.starts_with(b"MM\0*"));
            if tiff {
                Tiff::new(bytes, place, to_the_end, mends).look()?;
            }
        }
    }
    Ok(())
}

/// CR3: boxes one after the other (ISO/IEC 14496-12, 4.2); the sizes stand in boxes `CMP1` (from memory; checked on a
/// real file).
fn boxes(bytes: &[u8], to_the_end: bool, mends: &mut Vec<Mend>) -> Result<(), DecodeError> {
    let mut at = 0_u64;
    while let Some(head) = usize::try_from(at)
        .ok()
        .and_then(|at| bytes.get(at..at + 16))
    {
        let word = |i: usize| u32::from_be_bytes([head[i], head[i + 1], head[i + 2], head[i + 3]]);
        let size = match word(0) {
            0 => break, // up to the end
            1 => u64::from(word(8)) << 32 | u64::from(word(12)),
            size => u64::from(size),
        };
        if size < 8 {
            return Err(DecodeError::Raw(RawFault::EmptyBox));
        }
        at = at.saturating_add(size);
        if to_the_end && at > bytes.len() as u64 {
            return Err(DecodeError::CutShort);
        }
        if &head[4..8] == b"moov" {
            let body = usize::try_from(at - size)
                .ok()
                .and_then(|from| bytes.get(from..bytes.len().min(usize::try_from(at).ok()?)));
            packed_sizes(body.unwrap_or_default())?;
            // Boxes of pictures stand where the file's first gigabytes end, never beyond what a `usize` counts.
            let from = usize::try_from(at - size).unwrap_or(0) + 8;
            let body = body.and_then(|b| b.get(8..)).unwrap_or_default();
            nested((body, from), 0, mends)?;
        }
    }
    Ok(())
}

/// Boxes inside boxes are looked at this deep.
const DEEPEST: usize = 8;

/// Boxes that hold boxes (ISO/IEC 14496-12, table 1), after the marks of their own given here.
const HOLDERS: [(&[u8; 4], usize); 5] = [
    (b"trak", 0),
    (b"mdia", 0),
    (b"minf", 0),
    (b"stbl", 0),
    (b"uuid", 16),
];

/// Lists of samples (ISO/IEC 14496-12, 8.6 and 8.7): where their count stands, and bytes an entry takes.
const LISTS: [(&[u8; 4], usize, u64); 5] = [
    (b"stsz", 8, 0),
    (b"stts", 4, 8),
    (b"stsc", 4, 12),
    (b"stco", 4, 4),
    (b"co64", 4, 8),
];

/// Boxes inside a box: each has a size, or a reader would stand at it for ever, and no list is longer than its box; Canon's
/// `CMT` boxes hold a TIFF each (from memory; checked on a real file).
fn nested(
    (mut rest, mut from): (&[u8], usize),
    deep: usize,
    mends: &mut Vec<Mend>,
) -> Result<(), DecodeError> {
    while let Some(head) = rest.first_chunk::<8>() {
        let size = u32::from_be_bytes([head[0], head[1], head[2], head[3]]) as usize;
        if size < 8 || deep > DEEPEST {
            return Err(DecodeError::Raw(RawFault::EmptyBox));
        }
        let kind = [head[4], head[5], head[6], head[7]];
        let body = &rest[8..size.min(rest.len())];
        if let Some((_, own)) = HOLDERS.iter().find(|(holder, _)| **holder == kind) {
            let inside = body.get(*own..).unwrap_or_default();
            nested((inside, from + 8 + own), deep + 1, mends)?;
        }
        if kind.starts_with(b"CMT") {
            let mut own = Vec::new();
            Tiff::new(body, 0, false, &mut own).look()?;
            mends.extend(own.into_iter().map(|mend| Mend {
                at: from + 8 + mend.at,
                ..mend
            }));
        }
        if let Some((_, at, entry)) = LISTS.iter().find(|(list, ..)| **list == kind) {
            check_list(body, *at, *entry)?;
        }
        rest = rest.get(size..).unwrap_or_default();
        from += size;
    }
    Ok(())
}

/// A count no larger than its list can be; samples of one size (`entry` 0) have no list unless that size is 0.
fn check_list(body: &[u8], at: usize, entry: u64) -> Result<(), DecodeError> {
    let word = |at: usize| {
        let word = body.get(at..).and_then(|b| b.first_chunk());
        word.map_or(0, |w| u64::from(u32::from_be_bytes(*w)))
    };
    let entry = match entry {
        0 if word(4) > 0 => return Ok(()),
        0 => 4,
        entry => entry,
    };
    match word(at) * entry > body.len() as u64 {
        true => Err(DecodeError::Raw(RawFault::LongListInBox)),
        false => Ok(()),
    }
}

fn packed_sizes(moov: &[u8]) -> Result<(), DecodeError> {
    for place in moov.windows(4).enumerate().filter(|(_, w)| *w == b"CMP1") {
        let word = |at: usize| {
            let word = moov.get(place.0 + at..).and_then(|b| b.first_chunk());
            word.map_or(0, |w| u64::from(u32::from_be_bytes(*w)))
        };
        check_size(word(12), word(16), 2)?;
        check_size(word(20), word(24), 2)?;
    }
    Ok(())
}

/// Bytes a value of each type takes (TIFF 6.0, section 2); types beyond are taken as bytes.
fn value_bytes(kind: u16) -> u64 {
    match kind {
        3 | 8 => 2,
        4 | 9 | 11 | 13 => 4,
        5 | 10 | 12 | 16 | 17 | 18 => 8,
        _ => 1,
    }
}

/// One entry of a directory.
#[derive(Clone, Copy)]
struct Field {
    tag: u16,
    kind: u16,
    count: u64,
    /// Where the values start, from the start of the file.
    place: usize,
    /// Where the entry itself starts.
    at: usize,
}

impl Field {
    /// Where its values end, taken as bytes.
    fn end(&self) -> usize {
        self.place
            .saturating_add(usize::try_from(self.count).unwrap_or(usize::MAX))
    }

    fn starts_with(&self, bytes: &[u8], mark: &[u8]) -> bool {
        bytes.get(self.place..).is_some_and(|b| b.starts_with(mark))
    }
}

/// A walk through the directories of a TIFF inside a file.
struct Tiff<'a> {
    bytes: &'a [u8],
    /// Where the TIFF starts.
    base: usize,
    little: bool,
    to_the_end: bool,
    seen: BTreeSet<usize>,
    mends: &'a mut Vec<Mend>,
}

impl<'a> Tiff<'a> {
    fn new(bytes: &'a [u8], base: usize, to_the_end: bool, mends: &'a mut Vec<Mend>) -> Self {
        Self {
            bytes,
            base,
            little: bytes.get(base) == Some(&b'I'),
            to_the_end,
            seen: BTreeSet::new(),
            mends,
        }
    }

    fn half(&self, at: usize) -> Option<u16> {
        let bytes = *self.bytes.get(at..)?.first_chunk()?;
        Some(match self.little {
            true => u16::from_le_bytes(bytes),
            false => u16::from_be_bytes(bytes),
        })
    }

    fn word(&self, at: usize) -> Option<u32> {
        let bytes = *self.bytes.get(at..)?.first_chunk()?;
        Some(match self.little {
            true => u32::from_le_bytes(bytes),
            false => u32::from_be_bytes(bytes),
        })
    }

    fn look(mut self) -> Result<(), DecodeError> {
        let mut open: Vec<usize> = self
            .word(self.base + 4)
            .into_iter()
            .map(|w| w as usize)
            .collect();
        while let Some(directory) = open.pop().filter(|at| *at != 0) {
            if !self.seen.insert(directory) || self.seen.len() > MOST_DIRECTORIES {
                return Err(DecodeError::Raw(RawFault::Circle));
            }
            let fields = self.fields(self.base + directory)?;
            self.check(&fields)?;
            self.mend(&fields);
            let entries = usize::from(self.half(self.base + directory).unwrap_or(0));
            let next = self.word(self.base + directory + 2 + 12 * entries);
            let below = fields.iter().filter(|f| POINTERS.contains(&f.tag));
            let below = below.flat_map(|f| self.values(f)).filter(|at| *at != 0);
            let found: Vec<usize> = below.map(|at| at as usize).collect();
            open.extend(next.filter(|n| *n != 0).map(|n| n as usize));
            open.extend(found);
        }
        Ok(())
    }

    /// The entries of a directory, each list no longer than the file.
    fn fields(&self, directory: usize) -> Result<Vec<Field>, DecodeError> {
        if self.half(directory).is_none() && self.to_the_end {
            return Err(DecodeError::CutShort);
        }
        let fields = self.entries(directory);
        match fields.iter().any(|field| self.is_too_long(field)) {
            true => Err(DecodeError::Raw(RawFault::LongList)),
            false => Ok(fields),
        }
    }

    fn is_too_long(&self, field: &Field) -> bool {
        field.count * value_bytes(field.kind) > self.bytes.len() as u64
    }

    /// The entries of a directory as they stand.
    fn entries(&self, directory: usize) -> Vec<Field> {
        let entries = usize::from(self.half(directory).unwrap_or(0));
        let entry = |n: usize| {
            let at = directory + 2 + 12 * n;
            let (kind, count) = (self.half(at + 2)?, u64::from(self.word(at + 4)?));
            let offset = self.word(at + 8)? as usize;
            let inside = count * value_bytes(kind) <= 4;
            Some(Field {
                tag: self.half(at)?,
                kind,
                count,
                place: if inside { at + 8 } else { self.base + offset },
                at,
            })
        };
        (0..entries).map_while(entry).collect()
    }

    /// Notes what is to be changed in a directory before the library sees it (rawler 0.8, `IFD::new` and the decoders of makers that
    /// keep directories of their own).
    fn mend(&mut self, fields: &[Field]) {
        for field in fields {
            match (field.tag, field.kind) {
                (COLOUR_PROFILE, _) => self.put(field.at, MendKind::Blank),
                // It would take the first byte of the list for the place of a directory.
                (tag, 13) if POINTERS.contains(&tag) => self.put(field.at, MendKind::PlainPlaces),
                // Here too, or the place of the list.
                (tag, 0 | 7 | 14..) if POINTERS.contains(&tag) => {
                    self.put(field.at, MendKind::Blank);
                }
                (MAKER_NOTE, 7) => self.mend_note(field),
                // The place of Sony's directory; in a DNG these are many bytes of any maker's.
                (SONY_PRIVATE, _) if field.count <= 4 => self.mend_at(field.place, true),
                (KODAK_PRIVATE, 4) => self.mend_at(field.place, self.little),
                // Panasonic keeps a whole TIFF here.
                (PANASONIC_CAMERA, 7) => {
                    let order = self.bytes.get(field.place..field.place + 2);
                    let little = order == Some(b"II");
                    let first = self.word_of(field.place + 4, little);
                    let end = field.end();
                    self.mend_directory(field.place + first, little, end);
                }
                _ => {}
            }
        }
    }

    fn put(&mut self, at: usize, kind: MendKind) {
        let little = self.little;
        self.mends.push(Mend { at, little, kind });
    }

    /// A place read in an order of bytes; 0 beyond the end.
    fn word_of(&self, at: usize, little: bool) -> usize {
        let word = self.word(at).unwrap_or(0);
        let turned = self.little != little;
        (if turned { word.swap_bytes() } else { word }) as usize
    }

    /// Mends a maker's directory whose place stands at `at`, from the start of the file.
    fn mend_at(&mut self, at: usize, little: bool) {
        let directory = self.word_of(at, little);
        let end = directory + 2 + 12 * MOST_PRIVATE;
        self.mend_directory(directory, little, end);
    }

    fn mend_note(&mut self, note: &Field) {
        let Some((directory, little)) = self.note_directory(note) else {
            return;
        };
        self.mend_directory(directory, little, note.end());
        // Olympus's points to more, placed from the note's start.
        if note.starts_with(self.bytes, b"OLYMP") || note.starts_with(self.bytes, b"OM SYSTEM") {
            for field in self.entries(directory) {
                if OLYMPUS_MORE.contains(&field.tag) {
                    let more = note.place + self.word_of(field.at + 8, little);
                    self.mend_directory(more, little, note.end());
                }
            }
        }
    }

    /// Blanks entries of a maker's directory that are longer than the file, and has it end where its bytes do. Sound files hold
    /// such entries as well; the library passes over them, but takes the memory first.
    fn mend_directory(&mut self, directory: usize, little: bool, end: usize) {
        let order = std::mem::replace(&mut self.little, little);
        let fits = end.saturating_sub(directory + 2) / 12;
        if usize::from(self.half(directory).unwrap_or(0)) > fits {
            let fits = u16::try_from(fits).unwrap_or(u16::MAX);
            self.put(directory, MendKind::Entries(fits));
        }
        for field in self.entries(directory).into_iter().take(fits) {
            if self.is_too_long(&field) {
                self.put(field.at, MendKind::Blank);
            }
        }
        self.little = order;
    }

    /// Where the library looks for the directory of a maker's note, and in which order of bytes (rawler 0.8, `parse_makernote`).
    fn note_directory(&self, note: &Field) -> Option<(usize, bool)> {
        const NAMES: [(&[u8], usize); 8] = [
            (b"OLYMPUS", 12),
            (b"OLYMP", 8),
            (b"OM SYSTEM", 16),
            (b"EPSON", 8),
            (b"FUJIFILM", 12),
            (b"SONY DSC ", 12),
            (b"AOC\0", 4),
            (b"PENTAX", 8),
        ];
        let bytes = self.bytes.get(note.place..)?;
        let order = |at: usize| match bytes.get(at..at + 2) {
            Some(b"II") => Some(true),
            Some(b"MM") => Some(false),
            _ => None,
        };
        if bytes.starts_with(b"Nikon\0\x02") {
            return Some((note.place + 18, order(10).unwrap_or(false)));
        }
        let own = NAMES.iter().find(|(name, _)| bytes.starts_with(name));
        let skipped = own.map_or(0, |(_, skipped)| *skipped);
        Some(match order(skipped) {
            Some(little) => (note.place + skipped + 2, little),
            None => (note.place + skipped, self.little),
        })
    }

    /// The whole numbers of an entry.
    fn values(&self, field: &Field) -> Vec<u64> {
        let count = usize::try_from(field.count).unwrap_or(0).min(MOST_PIECES);
        let at = |n: usize| match field.kind {
            3 => self.half(field.place + 2 * n).map(u64::from),
            4 | 13 => self.word(field.place + 4 * n).map(u64::from),
            _ => None,
        };
        (0..count).map_while(at).collect()
    }

    fn check(&self, fields: &[Field]) -> Result<(), DecodeError> {
        let list = |tag: u16| {
            let field = fields.iter().find(|f| f.tag == tag);
            field.map(|f| self.values(f)).unwrap_or_default()
        };
        let first = |tag: u16| list(tag).first().copied();
        let samples = first(0x0115).unwrap_or(1).clamp(1, 8);
        // Width and height: TIFF 6.0; sensor's sides in RW2 (from memory; checked on a real file).
        for (width, height) in [(0x0100, 0x0101), (0x0002, 0x0003)] {
            if let (Some(width), Some(height)) = (first(width), first(height)) {
                check_size(width, height, 2 * samples)?;
                self.check_tiles((width, height), (first(0x0142), first(0x0143)), samples)?;
            }
        }
        for (places, lengths) in [(0x0111, 0x0117), (0x0144, 0x0145), (0x0201, 0x0202)] {
            let lengths = list(lengths);
            for (n, place) in list(places).into_iter().enumerate() {
                self.check_piece(place, lengths.get(n).copied().unwrap_or(0))?;
            }
        }
        Ok(())
    }

    /// Tiles may stand out to the right and below, but not by more than all tiles together may be.
    fn check_tiles(
        &self,
        (width, height): (u64, u64),
        tile: (Option<u64>, Option<u64>),
        samples: u64,
    ) -> Result<(), DecodeError> {
        let (Some(across), Some(down)) = tile else {
            return Ok(());
        };
        if across == 0 || down == 0 || across.max(down) > MAX_SIDE_PX {
            return Err(DecodeError::Raw(RawFault::Tiles));
        }
        check_size(
            width.next_multiple_of(across),
            height.next_multiple_of(down),
            2 * samples,
        )
    }

    fn check_piece(&self, place: u64, length: u64) -> Result<(), DecodeError> {
        let start = self.base as u64 + place;
        let end = start.saturating_add(length);
        if self.to_the_end && end > self.bytes.len() as u64 + SLACK_BYTES {
            return Err(DecodeError::CutShort);
        }
        let data = usize::try_from(start)
            .ok()
            .and_then(|s| self.bytes.get(s..));
        match data {
            Some(data) if data.starts_with(b"\xFF\xD8") => packed_size(data),
            Some(_) => Ok(()),
            None if self.to_the_end => Err(DecodeError::CutShort),
            None => Ok(()),
        }
    }
}

/// The sizes in the frame header of a JPEG, lossless ones included (ISO/IEC 10918-1, B.2.2).
fn packed_size(data: &[u8]) -> Result<(), DecodeError> {
    let mut at = 2;
    while let Some([0xFF, marker, high, low]) = data.get(at..).and_then(|d| d.first_chunk()) {
        if at > JPEG_HEAD_BYTES || *marker == 0xDA {
            break;
        }
        if matches!(marker, 0xC0..=0xC3 | 0xC5..=0xC7 | 0xC9..=0xCB | 0xCD..=0xCF) {
            let side = |i: usize| data.get(at + i..).and_then(|d| d.first_chunk());
            let side = |i| side(i).map_or(0, |s| u64::from(u16::from_be_bytes(*s)));
            let parts = u64::from(data.get(at + 9).copied().unwrap_or(1)).clamp(1, 4);
            // Lossless pictures lay several columns side by side as parts: each side is held to what 16 bits say.
            let pixels = side(7) * side(5) * parts;
            return match pixels <= crate::raster::MAX_MEGAPIXELS * 1_000_000 * 3 {
                true => Ok(()),
                false => Err(DecodeError::TooLarge {
                    width: side(7) * parts,
                    height: side(5),
                }),
            };
        }
        at += 2 + usize::from(u16::from_be_bytes([*high, *low]));
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A TIFF of one directory.
    fn tiff(fields: &[(u16, u16, u32, u32)], next: u32) -> Vec<u8> {
        let mut bytes = b"II*\0\x08\0\0\0".to_vec();
        bytes.extend((fields.len() as u16).to_le_bytes());
        for (tag, kind, count, value) in fields {
            bytes.extend(tag.to_le_bytes());
            bytes.extend(kind.to_le_bytes());
            bytes.extend(count.to_le_bytes());
            bytes.extend(value.to_le_bytes());
        }
        bytes.extend(next.to_le_bytes());
        bytes.resize(4096, 0);
        bytes
    }

    #[test]
    fn a_sound_directory_passes() {
        let sound = tiff(
            &[
                (0x0100, 4, 1, 60),
                (0x0101, 4, 1, 40),
                (0x0111, 4, 1, 200),
                (0x0117, 4, 1, 800),
            ],
            0,
        );
        assert!(whole(sound).is_ok());
    }

    #[test]
    fn lists_longer_than_the_file_are_damage() {
        let long = tiff(&[(0x9999, 4, u32::MAX, 200)], 0);
        assert!(matches!(sizes(long), Err(DecodeError::Raw(_))));
    }

    /// The tags and types of the only directory of [`tiff`] that the library is given.
    fn given(bytes: &[u8]) -> Vec<(u16, u16)> {
        let vetted = sizes(bytes.to_vec()).unwrap_or_else(|e| panic!("{e}"));
        let mut mends = Vec::new();
        let shared = vetted.shared();
        let entries = Tiff::new(&shared, 0, false, &mut mends).entries(8);
        entries.iter().map(|f| (f.tag, f.kind)).collect()
    }

    /// Bytes that, taken for a directory, ask for 16 GB.
    const GREEDY: [u8; 14] = [1, 0, 0x99, 0x99, 5, 0, 0xFF, 0xFF, 0xFF, 0x7F, 0, 1, 0, 0];

    #[test]
    fn what_the_library_would_take_for_a_directory_is_blanked() {
        let mut bytes = tiff(&[(0x0100, 4, 1, 60), (0x8773, 7, 600, 2000)], 0);
        bytes[2000..2014].copy_from_slice(&GREEDY);
        assert_eq!(given(&bytes), [(0x0100, 4), (BLANK, 1)]);
        let mut bytes = tiff(&[(0x014A, 99, 1, 200)], 0);
        bytes[200..214].copy_from_slice(&GREEDY);
        assert_eq!(given(&bytes), [(BLANK, 1)]);
    }

    #[test]
    fn places_of_directories_are_told_as_the_library_reads_them() {
        assert_eq!(given(&tiff(&[(0x8769, 13, 1, 200)], 0)), [(0x8769, 4)]);
    }

    #[test]
    fn entries_of_makers_notes_are_blanked_where_nobody_could_follow_them() {
        for (name, skipped) in [
            (&b"Nikon\0\x02\x10\0\0II*\0\x08\0\0\0"[..], 18),
            (b"SONY DSC \0\0\0", 12),
        ] {
            let mut bytes = tiff(&[(MAKER_NOTE, 7, 600, 2000)], 0);
            bytes[2000..2000 + name.len()].copy_from_slice(name);
            bytes[2000 + skipped..2014 + skipped].copy_from_slice(&GREEDY);
            let vetted = sizes(bytes.clone())
                .unwrap_or_else(|e| panic!("{e}"))
                .shared();
            let at = 2002 + skipped;
            assert_eq!(vetted[at..at + 8], [0xFE, 0xFF, 1, 0, 0, 0, 0, 0]);
            assert_eq!(vetted[..at], bytes[..at]);
        }
    }

    #[test]
    fn makers_directories_end_where_their_notes_do() {
        let mut bytes = tiff(&[(MAKER_NOTE, 7, 40, 2000)], 0);
        bytes[2000..2012].copy_from_slice(b"SONY DSC \0\0\0");
        bytes[2012] = 200; // two fit
        let mut shorter = bytes.clone();
        shorter[2012] = 2;
        let vetted = sizes(bytes).unwrap_or_else(|e| panic!("{e}"));
        assert_eq!(*vetted.shared(), shorter);
    }

    #[test]
    fn circles_are_damage() {
        assert!(matches!(
            sizes(tiff(&[(0x0100, 4, 1, 60)], 8)),
            Err(DecodeError::Raw(_))
        ));
        let below = tiff(&[(0x014A, 4, 1, 8)], 0);
        assert!(matches!(sizes(below), Err(DecodeError::Raw(_))));
    }

    #[test]
    fn pieces_beyond_the_end_are_missing() {
        let cut = tiff(&[(0x0111, 4, 1, 3000), (0x0117, 4, 1, 9000)], 0);
        assert!(matches!(whole(cut.clone()), Err(DecodeError::CutShort)));
        assert!(sizes(cut).is_ok(), "the header alone may be read");
    }

    #[test]
    fn tiles_of_any_size_stay_within_the_limits() {
        for side in [0, 31_000, u32::MAX] {
            let tiles = [
                (0x0100, 4, 1, 60),
                (0x0101, 4, 1, 40),
                (0x0142, 4, 1, side),
                (0x0143, 4, 1, 16),
            ];
            assert!(sizes(tiff(&tiles, 0)).is_err(), "{side}");
        }
    }

    #[test]
    fn boxes_must_lie_in_the_file() {
        let mut bytes = [
            &[0, 0, 0, 16][..],
            b"ftypcrx \0\0\0\0",
            &[0, 0, 0x10, 0],
            b"mdat",
        ]
        .concat();
        bytes.resize(64, 0);
        assert!(matches!(whole(bytes.clone()), Err(DecodeError::CutShort)));
        bytes.resize(0x1010, 0);
        assert!(whole(bytes).is_ok());
    }

    #[test]
    fn packed_pictures_are_held_to_their_own_header() {
        let mut bytes = tiff(&[(0x0111, 4, 1, 200), (0x0117, 4, 1, 800)], 0);
        bytes[200..212]
            .copy_from_slice(&[0xFF, 0xD8, 0xFF, 0xC3, 0, 14, 14, 0xFF, 0xFF, 0xFF, 0xFF, 2]);
        assert!(matches!(sizes(bytes), Err(DecodeError::TooLarge { .. })));
    }
}
