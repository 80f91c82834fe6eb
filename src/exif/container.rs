//! Finding the metadata inside a file.

use std::fs::File;
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom};

use exif::{Error, Exif, Reader};

use super::heap;
use super::tags::{Root, Tags};
use crate::domain::{CardFile, FileFormat, MetadataDamage};

const MIB: u64 = 1 << 20;

/// How much of a TIFF or raw file is read at first, in bytes.
const HEAD_BYTES: u64 = MIB;

/// How much of one is read when its tags lie farther back, in bytes.
const WHOLE_BYTES: u64 = 512 * MIB;

/// Largest box of metadata read, in bytes.
const BOX_BYTES: u64 = 16 * MIB;

/// Most segments, chunks or boxes looked at in one file.
const MAX_PARTS: usize = 200_000;

/// What was found in a file besides its pixels.
#[derive(Default)]
pub(super) struct Header {
    pub(super) tags: Tags,
    /// Width and height as stored, from the picture's own header.
    pub(super) size_px: Option<(u32, u32)>,
    /// Whether all sizes found are those of a preview, not of the picture.
    pub(super) of_preview: bool,
    /// Whether the metadata are of a kind this program does not read; nothing need be wrong with them.
    pub(super) unknown: bool,
    /// What is wrong with the metadata.
    pub(super) damage: Option<MetadataDamage>,
}

impl Header {
    pub(super) fn damaged(what: MetadataDamage) -> Self {
        Self {
            damage: Some(what),
            ..Self::default()
        }
    }

    /// Takes in a block of TIFF; one that cannot be read leaves word of it.
    fn add(&mut self, root: Root, block: Vec<u8>) {
        let (parsed, damage) = parsed(block);
        if let Some(parsed) = parsed {
            self.tags.add(root, parsed);
        }
        self.damage = self.damage.take().or(damage);
    }

    fn note_damage(&mut self, what: MetadataDamage) {
        self.damage.get_or_insert(what);
    }
}

/// Tags of a block of TIFF as far as they can be read, and the first thing that is wrong with it.
fn parsed(block: Vec<u8>) -> (Option<Exif>, Option<MetadataDamage>) {
    match Reader::new().continue_on_error(true).read_raw(block) {
        Ok(exif) => (Some(exif), None),
        Err(Error::PartialResult(partial)) => {
            let (exif, errors) = partial.into_inner();
            // The standard wants no further directory behind the Exif and GPS ones; cameras do write one.
            let first = errors
                .iter()
                .map(ToString::to_string)
                .find(|e| e != "Unexpected next IFD");
            (
                Some(exif),
                first.map(|library| MetadataDamage::Parser { library }),
            )
        }
        Err(e) => (None, Some(by_parser(&e))),
    }
}

fn by_parser(error: &Error) -> MetadataDamage {
    MetadataDamage::Parser {
        library: error.to_string(),
    }
}

/// Reads the header of a file. A file that ends early gives what was found until there.
pub(super) fn header(file: &CardFile) -> io::Result<Header> {
    let mut reader = BufReader::new(File::open(&file.path)?);
    let mut header = Header::default();
    let outcome = match file.format {
        FileFormat::Jpeg => jpeg(&mut reader, &mut header),
        FileFormat::Png => png(&mut reader, &mut header),
        FileFormat::Tiff => tiff(&mut reader, &mut header),
        FileFormat::Raw => raw(&mut reader, &mut header),
        FileFormat::Heif => {
            heif(&mut reader, &mut header);
            Ok(())
        }
        FileFormat::Other => Ok(()),
    };
    match outcome {
        Err(e) if e.kind() == io::ErrorKind::UnexpectedEof => {
            header.note_damage(MetadataDamage::EndsInside);
            Ok(header)
        }
        outcome => outcome.map(|()| header),
    }
}

/// Walks the segments of a JPEG up to its first scan (ISO/IEC 10918-1, annex B; Exif 2.32, 4.7.2).
fn jpeg(reader: &mut (impl BufRead + Seek), header: &mut Header) -> io::Result<()> {
    for _ in 0..MAX_PARTS {
        let marker = next_marker(reader)?;
        if matches!(marker, 0x01 | 0xD0..=0xD8) {
            continue; // no segment follows
        }
        if matches!(marker, 0xD9 | 0xDA) {
            break; // end of image, start of scan
        }
        let length = u64::from(u16::from_be_bytes(array(reader)?)).saturating_sub(2);
        match marker {
            0xC0..=0xC3 | 0xC5..=0xC7 | 0xC9..=0xCB | 0xCD..=0xCF if header.size_px.is_none() => {
                let frame = bytes(reader, length)?;
                header.size_px = frame_size(&frame);
            }
            0xE1 if header.tags.is_empty() && header.damage.is_none() => {
                let segment = bytes(reader, length)?;
                if let Some(block) = segment.strip_prefix(b"Exif\0\0") {
                    header.add(Root::Whole, block.to_vec());
                }
            }
            _ => skip(reader, length)?,
        }
    }
    Ok(())
}

/// The code of the next marker; bytes before it are passed over.
fn next_marker(reader: &mut impl BufRead) -> io::Result<u8> {
    reader.skip_until(0xFF)?;
    loop {
        match array::<1>(reader)? {
            [0xFF] => {}
            [0x00] => {
                reader.skip_until(0xFF)?;
            }
            [code] => return Ok(code),
        }
    }
}

/// Width and height in a frame header: precision, height, width.
fn frame_size(frame: &[u8]) -> Option<(u32, u32)> {
    let [_, h1, h0, w1, w0] = *frame.first_chunk()?;
    let side = |high, low| u32::from(u16::from_be_bytes([high, low]));
    Some((side(w1, w0), side(h1, h0))).filter(|(w, h)| *w > 0 && *h > 0)
}

/// Walks the chunks of a PNG (ISO/IEC 15948, 5.3; chunk `eXIf`: PNG extensions 1.5).
fn png(reader: &mut (impl BufRead + Seek), header: &mut Header) -> io::Result<()> {
    skip(reader, 8)?;
    for _ in 0..MAX_PARTS {
        if reader.fill_buf()?.is_empty() {
            break; // cut short behind its metadata: the decoder will say so
        }
        let length = u64::from(u32::from_be_bytes(array(reader)?));
        let kind: [u8; 4] = array(reader)?;
        match &kind {
            b"IHDR" => {
                let head = bytes(reader, length.min(13))?;
                let side = |at| Some(u32::from_be_bytes(*head.get(at..)?.first_chunk()?));
                header.size_px = side(0).zip(side(4)).filter(|(w, h)| *w > 0 && *h > 0);
                skip(reader, length.saturating_sub(13) + 4)?;
            }
            b"eXIf" if length <= BOX_BYTES => {
                let block = bytes(reader, length)?;
                let block = block.strip_prefix(b"Exif\0\0").unwrap_or(&block);
                header.add(Root::Whole, block.to_vec());
                break;
            }
            b"IEND" => break,
            _ => skip(reader, length + 4)?,
        }
    }
    Ok(())
}

/// Tags of a TIFF: from its first part, or from all of it where they lie farther back.
fn tiff(reader: &mut (impl BufRead + Seek), header: &mut Header) -> io::Result<()> {
    let mut head = Vec::new();
    reader.by_ref().take(HEAD_BYTES).read_to_end(&mut head)?;
    as_plain_tiff(&mut head);
    let more_follows = !reader.fill_buf()?.is_empty();
    header.add(Root::Whole, head.clone());
    if header.damage.is_some() && more_follows {
        reader
            .by_ref()
            .take(WHOLE_BYTES - HEAD_BYTES)
            .read_to_end(&mut head)?;
        *header = Header::default();
        header.add(Root::Whole, head);
    }
    Ok(())
}

/// Olympus and Panasonic raws are TIFF but for the mark in their first bytes (common practice).
fn as_plain_tiff(head: &mut [u8]) {
    let marks: [&[u8]; 4] = [b"IIRO", b"IIRS", b"IIU\0", b"MMOR"];
    if marks.iter().any(|mark| head.starts_with(mark)) {
        let little = head[0] == b'I';
        head[2..4].copy_from_slice(if little { b"\x2A\0" } else { b"\0\x2A" });
    }
}

/// Metadata of a raw file, by its own signature.
fn raw(reader: &mut (impl BufRead + Seek), header: &mut Header) -> io::Result<()> {
    let mut start = Vec::new();
    reader.by_ref().take(16).read_to_end(&mut start)?;
    reader.rewind()?;
    if start.starts_with(b"FUJIFILM") {
        fujifilm(reader, header)
    } else if start.starts_with(b"\0MRM") {
        minolta(reader, header)
    } else if start.get(4..8) == Some(b"ftyp") {
        canon(reader, header)
    } else if start.get(6..14) == Some(b"HEAPCCDR") || start.starts_with(b"FOVb") {
        header.unknown = true;
        Ok(())
    } else {
        tiff(reader, header)
    }
}

/// RAF: a JPEG preview, whose place stands at byte 84, carries the metadata (from memory; checked on a real file).
fn fujifilm(reader: &mut (impl BufRead + Seek), header: &mut Header) -> io::Result<()> {
    reader.seek(SeekFrom::Start(84))?;
    let place = u32::from_be_bytes(array(reader)?);
    reader.seek(SeekFrom::Start(u64::from(place)))?;
    header.of_preview = true;
    jpeg(reader, header)
}

fn minolta(reader: &mut impl BufRead, header: &mut Header) -> io::Result<()> {
    let mut head = Vec::new();
    reader.take(HEAD_BYTES).read_to_end(&mut head)?;
    match heap::minolta_block(&head) {
        Some(block) => header.add(Root::Whole, block.to_vec()),
        None => header.note_damage(MetadataDamage::NoTags),
    }
    Ok(())
}

/// CR3: an ISO base media file with blocks of TIFF in its `moov` box.
fn canon(reader: &mut (impl BufRead + Seek), header: &mut Header) -> io::Result<()> {
    for _ in 0..MAX_PARTS {
        let size = u64::from(u32::from_be_bytes(array(reader)?));
        let kind: [u8; 4] = array(reader)?;
        let size = match size {
            1 => u64::from_be_bytes(array(reader)?).saturating_sub(16),
            size => size.saturating_sub(8),
        };
        if &kind != b"moov" {
            skip(reader, size)?;
            continue;
        }
        let moov = bytes(reader, size.min(BOX_BYTES))?;
        for (kind, block) in heap::canon_blocks(&moov) {
            let root = match &kind {
                b"CMT2" => Root::ExifOnly,
                b"CMT4" => Root::GpsOnly,
                _ => Root::Whole,
            };
            header.add(root, block.to_vec());
        }
        break;
    }
    Ok(())
}

/// HEIF, through the library's own reader of that container.
fn heif(reader: &mut (impl BufRead + Seek), header: &mut Header) {
    match Reader::new()
        .continue_on_error(true)
        .read_from_container(reader)
    {
        Ok(exif) => header.tags.add(Root::Whole, exif),
        Err(Error::PartialResult(partial)) => {
            let (exif, errors) = partial.into_inner();
            header.tags.add(Root::Whole, exif);
            header.damage = errors.first().map(by_parser);
        }
        Err(Error::NotFound(_)) => {}
        Err(e) => header.damage = Some(by_parser(&e)),
    }
}

fn array<const N: usize>(reader: &mut impl Read) -> io::Result<[u8; N]> {
    let mut bytes = [0; N];
    reader.read_exact(&mut bytes)?;
    Ok(bytes)
}

/// Exactly `length` bytes; memory is taken only as they come.
fn bytes(reader: &mut impl Read, length: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    reader.take(length).read_to_end(&mut bytes)?;
    match bytes.len() as u64 == length {
        true => Ok(bytes),
        false => Err(io::ErrorKind::UnexpectedEof.into()),
    }
}

/// Passes over `length` bytes; a length that leads beyond any file is an early end.
fn skip(reader: &mut impl Seek, length: u64) -> io::Result<()> {
    let step = i64::try_from(length).map_err(|_| io::ErrorKind::UnexpectedEof)?;
    reader.seek_relative(step).map_err(|e| match e.kind() {
        io::ErrorKind::InvalidInput => io::ErrorKind::UnexpectedEof.into(),
        _ => e,
    })
}
