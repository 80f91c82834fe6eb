//! Boxes inside boxes: the parts of raw files that are not TIFF but hold pieces of it.

/// The boxes of an ISO base media file directly inside `body`: kind and contents (ISO/IEC 14496-12, 4.2). Ends where a
/// size does not fit.
fn boxes(body: &[u8]) -> impl Iterator<Item = ([u8; 4], &[u8])> {
    let mut rest = body;
    std::iter::from_fn(move || {
        let size = u32::from_be_bytes(*rest.first_chunk::<4>()?) as usize;
        let kind = *rest.get(4..)?.first_chunk::<4>()?;
        let contents = rest.get(8..size)?;
        rest = &rest[size..];
        Some((kind, contents))
    })
}

/// The box in which Canon keeps its blocks of TIFF (from memory of CR3 files; checked on real ones).
const CANON: [u8; 16] = [
    0x85, 0xC0, 0xB6, 0x87, 0x82, 0x0F, 0x11, 0xE0, 0x81, 0x11, 0xF4, 0xCE, 0x46, 0x2B, 0x6A, 0x48,
];

/// Canon's blocks of TIFF inside a `moov` box: `CMT1` first picture, `CMT2` Exif, `CMT4` GPS.
pub(super) fn canon_blocks(moov: &[u8]) -> impl Iterator<Item = ([u8; 4], &[u8])> {
    boxes(moov)
        .filter(|(kind, _)| kind == b"uuid")
        .filter_map(|(_, contents)| contents.strip_prefix(CANON.as_slice()))
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
