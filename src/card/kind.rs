//! What a file is, from its first bytes.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

use exif::{Context, In, Tag};
use jiff::Timestamp;

use super::listing::CardListing;
use super::walk::Found;
use crate::domain::{
    CardFile, FileFormat, FilmContainer, FilmFile, IoCause, Notice, NoticeKind, StrayKind, Utc,
};
use crate::raster::contained;

/// How many first bytes are read of every file.
const HEAD_BYTES: u64 = 4096;

/// How many are read of a TIFF, whose tags tell a raw file from a finished picture.
const TIFF_HEAD_BYTES: u64 = 256 * 1024;

/// Endings of file names that promise a picture, besides those of raw files.
const PICTURE_ENDINGS: [&str; 10] = [
    "jpg", "jpeg", "jpe", "png", "tif", "tiff", "heic", "heif", "hif", "avif",
];

/// Endings of file names that promise a raw file.
const RAW_ENDINGS: [&str; 28] = [
    "3fr", "ari", "arw", "cr2", "cr3", "crw", "dcr", "dng", "erf", "fff", "gpr", "iiq", "kdc",
    "mef", "mos", "mrw", "nef", "nrw", "orf", "ori", "pef", "raf", "raw", "rw2", "rwl", "sr2",
    "srw", "x3f",
];

/// Folders of computers and cameras that hold no photographs of their own.
const HOUSEKEEPING: [&str; 11] = [
    "$recycle.bin",
    ".fseventsd",
    ".spotlight-v100",
    ".temporaryitems",
    ".thumbnails",
    ".trash",
    ".trashes",
    "@eadir",
    "found.000",
    "system volume information",
    "thmbnl",
];

/// Puts a file among the pictures, the films or the strays.
pub(super) fn sort_in(found: Found, listing: &mut CardListing) {
    let kind = match found.left {
        Some(reason) => Kind::Stray(reason),
        None => match look(&found.path) {
            Ok(seen) => named(seen, &found.name),
            Err(e) => unreadable(&e, &found.name, listing),
        },
    };
    match kind {
        Kind::Stray(reason) => listing.strays.push((found.name, reason)),
        Kind::Picture(format) => {
            let (size_bytes, modified) = size_and_change(&found.path);
            listing.files.push(CardFile {
                name: found.name,
                path: found.path,
                format,
                size_bytes,
                modified,
            });
        }
        Kind::Film(container) => {
            let (size_bytes, modified) = size_and_change(&found.path);
            listing.films.push(FilmFile {
                name: found.name,
                path: found.path,
                container,
                size_bytes,
                modified,
            });
        }
    }
}

/// Size in bytes (0 where the system does not say) and the time of the last change.
fn size_and_change(path: &Path) -> (u64, Option<Utc>) {
    let meta = std::fs::metadata(path).ok();
    let modified = meta.as_ref().and_then(|m| m.modified().ok());
    let modified = modified.and_then(|t| Timestamp::try_from(t).ok());
    (meta.map_or(0, |m| m.len()), modified.map(Utc::new))
}

/// What to do with a file.
#[derive(Debug, PartialEq, Eq)]
enum Kind {
    Picture(FileFormat),
    Film(FilmContainer),
    Stray(StrayKind),
}

/// What the bytes say.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Seen {
    /// A picture.
    Picture(FileFormat),
    /// A film.
    Film(FilmContainer),
    /// A TIFF whose tags do not settle whether it is a raw.
    SomeTiff,
    /// Something else.
    Else(StrayKind),
}

/// A file that could not be opened: kept in sight if its name promises a picture.
fn unreadable(error: &io::Error, name: &str, listing: &mut CardListing) -> Kind {
    let cause = IoCause::from(error);
    let what = NoticeKind::NotOpened {
        cause: cause.clone(),
    };
    listing.notices.push(Notice::look(what).about(name));
    if promises_picture(name) {
        Kind::Picture(FileFormat::Other)
    } else {
        Kind::Stray(StrayKind::NotRead { cause })
    }
}

/// What the bytes say, weighed with the name where the bytes leave a choice.
fn named(seen: Seen, name: &str) -> Kind {
    if let Some(reason) = aside(name) {
        return Kind::Stray(reason);
    }
    match seen {
        Seen::Picture(format) => Kind::Picture(format),
        Seen::Film(_) if promises_picture(name) => Kind::Picture(FileFormat::Other),
        Seen::Film(container) => Kind::Film(container),
        Seen::SomeTiff if RAW_ENDINGS.contains(&ending(name).as_str()) => {
            Kind::Picture(FileFormat::Raw)
        }
        Seen::SomeTiff => Kind::Picture(FileFormat::Tiff),
        Seen::Else(StrayKind::AppleDouble) => Kind::Stray(StrayKind::AppleDouble),
        Seen::Else(_) if promises_picture(name) => Kind::Picture(FileFormat::Other),
        Seen::Else(what) => Kind::Stray(what),
    }
}

/// Why a file is none of the photographer's pictures though it may hold one.
fn aside(name: &str) -> Option<StrayKind> {
    let mut parts = name.split('/').rev();
    let file = parts.next().unwrap_or(name);
    if parts.any(|folder| HOUSEKEEPING.contains(&folder.to_ascii_lowercase().as_str())) {
        return Some(StrayKind::Housekeeping);
    }
    (ending(file) == "thm").then_some(StrayKind::Thumbnail)
}

fn ending(name: &str) -> String {
    let ending = Path::new(name).extension().and_then(|e| e.to_str());
    ending.unwrap_or_default().to_ascii_lowercase()
}

fn promises_picture(name: &str) -> bool {
    let ending = ending(name);
    PICTURE_ENDINGS.contains(&ending.as_str()) || RAW_ENDINGS.contains(&ending.as_str())
}

/// Reads the first bytes and says what they are.
fn look(path: &Path) -> io::Result<Seen> {
    let mut head = Vec::new();
    let mut file = File::open(path)?;
    (&mut file).take(HEAD_BYTES).read_to_end(&mut head)?;
    if is_tiff(&head) {
        file.take(TIFF_HEAD_BYTES - HEAD_BYTES)
            .read_to_end(&mut head)?;
        return Ok(tiff_seen(&head));
    }
    Ok(seen(&head))
}

/// What the first bytes of a file that is no TIFF say. Signatures: the formats' own specifications; those of raw files
/// without a public one are common practice.
fn seen(head: &[u8]) -> Seen {
    use FileFormat as F;
    let starts = |signature: &[u8]| head.starts_with(signature);
    let at = |offset: usize, signature: &[u8]| {
        head.get(offset..)
            .is_some_and(|rest| rest.starts_with(signature))
    };
    match () {
        () if head.is_empty() => Seen::Else(StrayKind::Empty),
        () if starts(b"\xFF\xD8\xFF") => Seen::Picture(F::Jpeg),
        () if starts(b"\x89PNG\r\n\x1A\n") => Seen::Picture(F::Png),
        () if is_plain_raw(head) => Seen::Picture(F::Raw),
        () if at(4, b"ftyp") => media_seen(head),
        () if starts(b"\x00\x05\x16\x07") || starts(b"\x00\x05\x16\x00") => {
            Seen::Else(StrayKind::AppleDouble)
        }
        () if starts(b"RIFF") && at(8, b"AVI ") => Seen::Film(FilmContainer::Avi),
        () if starts(b"RIFF") && at(8, b"WAVE") => Seen::Else(StrayKind::Sound),
        () if starts(b"RIFF") && at(8, b"WEBP") => Seen::Else(StrayKind::Webp),
        () if starts(b"GIF8") => Seen::Else(StrayKind::Gif),
        () if starts(b"BM") && at(6, &[0; 4]) => Seen::Else(StrayKind::Bmp),
        () if at(4, b"moov") || at(4, b"mdat") || at(4, b"wide") => {
            Seen::Film(FilmContainer::Quicktime)
        }
        () if starts(b"\x00\x00\x01\xBA") => Seen::Film(FilmContainer::ProgramStream),
        () if is_transport_stream(head) => Seen::Film(FilmContainer::TransportStream),
        () if is_text(head) => Seen::Else(StrayKind::Text),
        () => Seen::Else(StrayKind::NoPicture),
    }
}

/// Raw formats with a signature of their own: Canon CRW, Fujifilm RAF, Minolta MRW, Olympus ORF, Panasonic RW2 and
/// Sigma X3F.
fn is_plain_raw(head: &[u8]) -> bool {
    let signatures: [&[u8]; 7] = [
        b"FUJIFILMCCD-RAW",
        b"\x00MRM",
        b"IIRO",
        b"IIRS",
        b"MMOR",
        b"IIU\x00",
        b"FOVb",
    ];
    let canon = head.get(6..14).is_some_and(|mark| mark == b"HEAPCCDR");
    canon || signatures.iter().any(|s| head.starts_with(s))
}

/// The brands of an ISO base media file (ISO/IEC 14496-12, 4.3; HEIF brands: ISO/IEC 23008-12, annex B).
fn media_seen(head: &[u8]) -> Seen {
    const HEIF: [&[u8; 4]; 12] = [
        b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"msf1",
        b"avif", b"avis",
    ];
    let size = head
        .first_chunk()
        .map_or(0, |s: &[u8; 4]| u32::from_be_bytes(*s)) as usize;
    let body = head.get(8..size.clamp(8, head.len())).unwrap_or(&[]);
    let mut brands = body
        .as_chunks::<4>()
        .0
        .iter()
        .enumerate()
        .filter(|(n, _)| *n != 1) // the second word is a version
        .map(|(_, brand)| brand);
    match brands.clone().next() {
        Some(b"crx ") => Seen::Picture(FileFormat::Raw),
        Some(b"M4A ") => Seen::Else(StrayKind::Sound),
        Some(b"qt  ") => Seen::Film(FilmContainer::Quicktime),
        _ if brands.any(|brand| HEIF.contains(&brand)) => Seen::Picture(FileFormat::Heif),
        _ => Seen::Film(FilmContainer::Mp4),
    }
}

/// MPEG transport stream: a sync byte every 188 bytes, or every 192 with a time code before each (ISO/IEC 13818-1).
fn is_transport_stream(head: &[u8]) -> bool {
    let every = |start: usize, step: usize| {
        let mut marks = head.iter().skip(start).step_by(step).take(4);
        head.len() > start + 3 * step && marks.all(|b| *b == 0x47)
    };
    every(0, 188) || every(4, 192)
}

/// Whether the bytes are UTF-8 (or cut off inside a character) without control characters.
fn is_text(head: &[u8]) -> bool {
    let valid = match std::str::from_utf8(head) {
        Ok(text) => text,
        Err(e) if e.error_len().is_none() => {
            std::str::from_utf8(&head[..e.valid_up_to()]).unwrap_or_default()
        }
        Err(_) => return false,
    };
    !valid.is_empty() && !valid.chars().any(|c| c.is_control() && !c.is_whitespace())
}

/// TIFF in either byte order (TIFF 6.0, section 2).
fn is_tiff(head: &[u8]) -> bool {
    head.starts_with(b"II\x2A\x00") || head.starts_with(b"MM\x00\x2A")
}

/// Raw or finished picture, by the tags of a TIFF.
///
/// Raw: Canon's mark, a DNG version (Adobe DNG 1.7, tag 50706), a picture of single-colour pixels (TIFF/EP, ISO
/// 12234-2: PhotometricInterpretation 32803; DNG: 34892), or a first picture that is only a reduced one with further
/// ones below it (TIFF/EP).
fn tiff_seen(head: &[u8]) -> Seen {
    if head.get(8..10) == Some(b"CR") {
        return Seen::Picture(FileFormat::Raw);
    }
    let parse = || {
        exif::Reader::new()
            .continue_on_error(true)
            .read_raw(head.to_vec())
            .or_else(|e| e.distill_partial_result(|_| {}))
    };
    let Some(Ok(tags)) = contained(parse) else {
        return Seen::SomeTiff;
    };
    let value = |number: u16| {
        let field = tags.get_field(Tag(Context::Tiff, number), In::PRIMARY)?;
        field.value.get_uint(0)
    };
    let photometric = value(0x0106);
    let dng = tags
        .get_field(Tag(Context::Tiff, 0xC612), In::PRIMARY)
        .is_some();
    let reduced_first = value(0x00FE) == Some(1) && value(0x014A).is_some();
    if dng || reduced_first || matches!(photometric, Some(32_803 | 34_892)) {
        return Seen::Picture(FileFormat::Raw);
    }
    match photometric {
        Some(0..=8) if value(0x014A).is_none() && value(0x00FE).unwrap_or(0) == 0 => {
            Seen::Picture(FileFormat::Tiff)
        }
        _ => Seen::SomeTiff,
    }
}
