//! Boxes of an ISO base media or QuickTime file, passed over by their sizes: what holds the pictures is never read.

use std::io::{self, Read, Seek, SeekFrom};

/// Most boxes looked at in one file: a film of hours in fragments has some thousands (our choice; a damaged file cannot ask for more).
const MAX_BOXES: usize = 20_000;

/// A box: its kind and where its contents lie in the file, in bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Span {
    pub(super) kind: [u8; 4],
    pub(super) from: u64,
    pub(super) to: u64,
    /// Whether its size led beyond what is around it.
    pub(super) cut: bool,
}

/// A file whose boxes are walked.
pub(super) struct Walk<R> {
    reader: R,
    left: usize,
}

impl<R: Read + Seek> Walk<R> {
    pub(super) fn new(reader: R) -> Self {
        Self {
            reader,
            left: MAX_BOXES,
        }
    }

    /// The boxes between two places of the file, one behind the other (ISO/IEC 14496-12, 4.2). Ends at a size that cannot be.
    pub(super) fn between(&mut self, from: u64, to: u64) -> io::Result<Vec<Span>> {
        let mut found = Vec::new();
        let mut at = from;
        while to.saturating_sub(at) >= 8 && self.left > 0 {
            self.left -= 1;
            let head = self.bytes(at, 16.min(to - at))?;
            let Some(span) = span(&head, at, to) else {
                break;
            };
            found.push(span);
            at = span.to;
        }
        Ok(found)
    }

    /// The boxes inside a box.
    pub(super) fn inside(&mut self, span: Span) -> io::Result<Vec<Span>> {
        self.between(span.from, span.to)
    }

    /// The contents of a box, of a longer one only as many bytes as `most`.
    pub(super) fn contents(&mut self, span: Span, most: u64) -> io::Result<Vec<u8>> {
        self.bytes(span.from, most.min(span.to.saturating_sub(span.from)))
    }

    /// Exactly `length` bytes from a place on; memory is taken only as they come.
    pub(super) fn bytes(&mut self, from: u64, length: u64) -> io::Result<Vec<u8>> {
        self.reader.seek(SeekFrom::Start(from))?;
        let mut bytes = Vec::new();
        self.reader.by_ref().take(length).read_to_end(&mut bytes)?;
        match bytes.len() as u64 == length {
            true => Ok(bytes),
            false => Err(io::ErrorKind::UnexpectedEof.into()),
        }
    }
}

/// The box whose head this is; one that is longer than there is room for is cut.
fn span(head: &[u8], at: u64, to: u64) -> Option<Span> {
    let size = u64::from(u32::from_be_bytes(*head.first_chunk()?));
    let kind = *head.get(4..)?.first_chunk()?;
    let (size, head_bytes) = match size {
        0 => (to - at, 8), // to the end
        1 => (u64::from_be_bytes(*head.get(8..)?.first_chunk()?), 16),
        size => (size, 8),
    };
    if size < head_bytes {
        return None;
    }
    let end = at.saturating_add(size);
    Some(Span {
        kind,
        from: at + head_bytes,
        to: end.min(to),
        cut: end > to,
    })
}
