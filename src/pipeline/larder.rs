//! Decoded frames set aside for the next look at them.

use std::collections::BTreeMap;
use std::sync::Mutex;

use super::kept::FileDigest;
use crate::raster::Frame;

/// Most memory that frames set aside take, in bytes (our choice: with what a run needs besides well below a gigabyte).
const ROOM_BYTES: usize = 400 << 20;

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
        if shelf.bytes + bytes > ROOM_BYTES {
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
