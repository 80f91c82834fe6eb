//! Decoded frames set aside for the next look at them.

use std::collections::BTreeMap;
use std::sync::Mutex;

use super::kept::FileDigest;
use crate::raster::Frame;

/// Most memory that frames set aside take, in bytes (our choice: with what a run needs besides well below a gigabyte).
const ROOM_BYTES: usize = 400 << 20;

/// Most frames set aside: of small ones too the memory is to stay the same however many a card has (our choice: the samples of
/// five scales, or the beads and rings of a card).
const ROOM_FRAMES: usize = 64;

/// A file that was opened: what tells its contents, and its pixels.
pub(crate) struct Opened {
    /// Of all its bytes.
    pub(crate) digest: FileDigest,
    /// Decoded for finding discs.
    pub(crate) frame: Frame,
}

/// Frames by the number of their shot. Usable from several threads.
#[derive(Default)]
pub(crate) struct Larder(Mutex<Shelf>);

#[derive(Default)]
struct Shelf {
    frames: BTreeMap<usize, Opened>,
    bytes: usize,
}

impl Larder {
    /// Sets a frame aside; gives it back where there is no room.
    pub(crate) fn put(&self, shot: usize, opened: Opened) -> Option<Opened> {
        let bytes = opened.frame.memory_bytes();
        let Ok(mut shelf) = self.0.lock() else {
            return Some(opened);
        };
        if shelf.bytes + bytes > ROOM_BYTES || shelf.frames.len() >= ROOM_FRAMES {
            return Some(opened);
        }
        shelf.bytes += bytes;
        shelf.frames.insert(shot, opened)
    }

    /// Takes a frame out.
    pub(crate) fn take(&self, shot: usize) -> Option<Opened> {
        let mut shelf = self.0.lock().ok()?;
        let opened = shelf.frames.remove(&shot)?;
        shelf.bytes = shelf.bytes.saturating_sub(opened.frame.memory_bytes());
        Some(opened)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::kept;
    use crate::raster::{Samples, Transfer};

    fn opened(side: usize) -> Opened {
        let samples = Samples::U8(vec![0; side * side]);
        Opened {
            digest: kept::digest(b""),
            frame: Frame::new(side, side, 1, samples, Transfer::Srgb),
        }
    }

    #[test]
    fn what_was_put_there_is_taken_once() {
        let larder = Larder::default();
        assert!(larder.put(3, opened(8)).is_none());
        assert!(larder.take(2).is_none());
        assert_eq!(larder.take(3).map(|opened| opened.frame.width()), Some(8));
        assert!(larder.take(3).is_none());
    }

    #[test]
    fn there_is_no_room_for_any_number() {
        let larder = Larder::default();
        let refused = (0..200)
            .filter(|&shot| larder.put(shot, opened(8)).is_some())
            .count();
        assert_eq!(refused, 200 - ROOM_FRAMES);
        larder.take(0);
        assert!(larder.put(0, opened(8)).is_none(), "a place was free again");
    }
}
