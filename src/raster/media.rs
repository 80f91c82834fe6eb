//! Boxes of ISO base media files, which raw files and films keep their headers in.

/// What begins Canon's box of its own, which holds blocks of TIFF (from memory of CR3 files; checked on real ones).
pub(crate) const CANON_BOX: [u8; 16] = [
    0x85, 0xC0, 0xB6, 0x87, 0x82, 0x0F, 0x11, 0xE0, 0x81, 0x11, 0xF4, 0xCE, 0x46, 0x2B, 0x6A, 0x48,
];

/// The boxes directly inside contents already read: kind and contents (ISO/IEC 14496-12, 4.2). Ends where a size does not fit.
pub(crate) fn boxes(body: &[u8]) -> impl Iterator<Item = ([u8; 4], &[u8])> {
    let mut rest = body;
    std::iter::from_fn(move || {
        let size = u32::from_be_bytes(*rest.first_chunk::<4>()?) as usize;
        let kind = *rest.get(4..)?.first_chunk::<4>()?;
        let contents = rest.get(8..size)?;
        rest = &rest[size..];
        Some((kind, contents))
    })
}
