//! Boxes inside boxes: the parts of raw files that are not TIFF but hold pieces of it.

use crate::raster::{CANON_BOX, boxes};

/// Canon's blocks of TIFF inside a `moov` box: `CMT1` first picture, `CMT2` Exif, `CMT4` GPS.
pub(super) fn canon_blocks(moov: &[u8]) -> impl Iterator<Item = ([u8; 4], &[u8])> {
    boxes(moov)
        .filter(|(kind, _)| kind == b"uuid")
        .filter_map(|(_, contents)| contents.strip_prefix(CANON_BOX.as_slice()))
        .flat_map(boxes)
        .filter(|(kind, _)| matches!(kind, b"CMT1" | b"CMT2" | b"CMT4"))
}

/// The block of TIFF in a Minolta raw, `TTW` (from memory of MRW files; checked on a real one).
pub(super) fn minolta_block(head: &[u8]) -> Option<&[u8]> {
    let mut rest = head.get(8..)?;
    loop {
        let kind = rest.first_chunk::<4>()?;
        let size = u32::from_be_bytes(*rest.get(4..)?.first_chunk::<4>()?) as usize;
        let after = rest.get(8..)?;
        let end = size.min(after.len());
        if kind == b"\0TTW" {
            return after.get(..end);
        }
        rest = after.get(size..)?;
    }
}
