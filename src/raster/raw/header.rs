//! Reading the parts of a raw file that tell its size, and no more.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::Path;

use crate::raster::MAX_FILE_MIB;

/// How much of the start is read, in bytes: directories, makers' notes and small previews.
const HEAD_BYTES: usize = 1 << 20;

/// How much is read at a place the header points to, in bytes.
const PLACE_BYTES: usize = 64 << 10;

/// As many bytes as the file has, those that were not read being 0. Memory is taken only for those that were.
pub(super) fn bytes(path: &Path) -> io::Result<Vec<u8>> {
    let mut file = File::open(path)?;
    let length = file.metadata()?.len();
    if length > MAX_FILE_MIB << 20 {
        return Err(io::ErrorKind::FileTooLarge.into());
    }
    let mut bytes = vec![0; usize::try_from(length).unwrap_or(0)];
    fill(&mut file, &mut bytes, 0, HEAD_BYTES)?;
    if let Some(place) = directory_place(&bytes).filter(|place| *place >= HEAD_BYTES / 2) {
        // Values of a directory stand on either side of it.
        fill(&mut file, &mut bytes, place - HEAD_BYTES / 2, HEAD_BYTES)?;
    }
    for place in fujifilm_places(&bytes) {
        fill(&mut file, &mut bytes, place, PLACE_BYTES)?;
    }
    // Canon's directory of the raw picture stands near the start and points far back.
    if let Some(place) = canon_place(&bytes) {
        fill(&mut file, &mut bytes, place, PLACE_BYTES)?;
    }
    Ok(bytes)
}

fn fill(file: &mut File, bytes: &mut [u8], from: usize, most: usize) -> io::Result<()> {
    let Some(part) = bytes.get_mut(from..) else {
        return Ok(());
    };
    let most = most.min(part.len());
    file.seek(SeekFrom::Start(from as u64))?;
    file.read_exact(&mut part[..most])
}

/// Where the first directory of a TIFF stands (TIFF 6.0, section 2); writers may put it behind the picture.
fn directory_place(bytes: &[u8]) -> Option<usize> {
    let word = *bytes.get(4..)?.first_chunk()?;
    match bytes.get(..2)? {
        b"II" => Some(u32::from_le_bytes(word) as usize),
        b"MM" => Some(u32::from_be_bytes(word) as usize),
        _ => None,
    }
}

/// Where a RAF keeps its directory of the raw picture and the picture (from memory; checked on a real file).
fn fujifilm_places(bytes: &[u8]) -> Vec<usize> {
    if !bytes.starts_with(b"FUJIFILMCCD-RAW") {
        return Vec::new();
    }
    let place = |at: usize| Some(u32::from_be_bytes(*bytes.get(at..)?.first_chunk()?) as usize);
    [84, 92, 100].into_iter().filter_map(place).collect()
}

/// Where a CR2 keeps its packed values: the first strip of the directory its header points to (from memory; checked on
/// a real file). All CR2 files have Intel's byte order.
fn canon_place(bytes: &[u8]) -> Option<usize> {
    if !bytes.starts_with(b"II") || bytes.get(8..10) != Some(b"CR") {
        return None;
    }
    let word = |at: usize| Some(u32::from_le_bytes(*bytes.get(at..)?.first_chunk()?) as usize);
    let half = |at: usize| Some(u16::from_le_bytes(*bytes.get(at..)?.first_chunk()?));
    let directory = word(12)?;
    let entries = usize::from(half(directory)?);
    (0..entries)
        .map(|n| directory + 2 + 12 * n)
        .find(|entry| half(*entry) == Some(0x0111))
        .and_then(|entry| word(entry + 8))
}
