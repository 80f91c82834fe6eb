//! Opening a file to look at its discs, or not, where it was looked at before.

use std::cell::RefCell;

use super::desk::Desk;
use super::discs::Seen;
use super::kept::{self, FileDigest};
use super::larder::Opened;
use crate::disc::{self, DiscHint, DiscReport};
use crate::domain::{Circle, FileFormat, NoDisc, Shot};
use crate::raster::{self, DecodeError, Frame, Reading};

/// Which frames are set aside for another look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Keep {
    /// All of them.
    Always,
    /// Those whose discs may come out when more is known.
    IfOpen,
}

/// Sun's radius in pixels of a reduced picture from which on its colour can be told there.
const COLOURED_PX: f64 = 6.0;

thread_local! {
    /// Memory of the frame before, for the next: fresh memory costs as much as a tenth of the decoding.
    static SCRATCH: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
}

/// Decodes one frame and looks at it, unless it was seen with the same hint before.
pub(super) fn open_and_examine(
    index: usize,
    shot: &Shot,
    hint: &DiscHint,
    desk: &Desk<'_>,
    keep: Keep,
) -> Seen {
    match report(index, shot, hint, desk, keep) {
        Ok(report) => {
            if let Some(draw) = desk.draw {
                draw(shot, &report);
            }
            Seen::Yes(Box::new(report), *hint)
        }
        Err(error) => Seen::Broken(error.unreadable()),
    }
}

fn report(
    index: usize,
    shot: &Shot,
    hint: &DiscHint,
    desk: &Desk<'_>,
    keep: Keep,
) -> Result<DiscReport, DecodeError> {
    // Decoded already, or the bytes to be decoded.
    let (digest, pixels) = match desk.larder.take(index) {
        Some(Opened { digest, frame }) => (digest, Ok(frame)),
        None => {
            let (bytes, digest) = read(shot)?;
            (digest, Err(bytes))
        }
    };
    let key = kept::key(&digest, shot, hint);
    if let Some(report) = desk.kept.find(&key) {
        return Ok(report);
    }
    let frame = pixels.or_else(|bytes| quickly(shot, bytes))?;
    // Large pictures are decoded where they are looked at.
    let examined = |frame: &Frame| raster::contained(|| disc::examine(frame, hint));
    let mut report = examined(&frame).ok_or(DecodeError::Panic)?;
    if let Some(coloured) = in_colour(shot, &frame, &report) {
        report = examined(&coloured).ok_or(DecodeError::Panic)?;
    }
    desk.kept.add(&key, &report);
    let opened = Opened { digest, frame };
    let left = match keep == Keep::Always || is_open(&report) {
        true => desk.larder.put(index, opened),
        false => Some(opened),
    };
    if let Some(opened) = left {
        SCRATCH.set(opened.frame.into_scratch());
    }
    Ok(report)
}

/// A file's bytes and what tells them.
fn read(shot: &Shot) -> Result<(Vec<u8>, FileDigest), DecodeError> {
    let bytes = raster::file_bytes(&shot.file.path)?;
    let digest = kept::digest(&bytes);
    Ok((bytes, digest))
}

/// Whether the discs of a frame may come out when more is known: beads and rings.
fn is_open(report: &DiscReport) -> bool {
    match &report.fit {
        Ok(fit) => fit.sigma_px > UNSURE_PX,
        Err(why) => !matches!(why, NoDisc::Dark { .. }),
    }
}

/// A fit less sure than this, in pixels per axis, may be made once more.
const UNSURE_PX: f64 = 0.5;

/// Decodes a frame for finding discs in it.
fn quickly(shot: &Shot, bytes: Vec<u8>) -> Result<Frame, DecodeError> {
    if shot.file.format == FileFormat::Raw {
        drop(bytes);
        return raster::photograph(&shot.file, shot.orientation, Reading::Quick);
    }
    let scratch = SCRATCH.with_borrow_mut(std::mem::take);
    raster::decode_luma(&bytes, shot.orientation, scratch)
}

/// A JPEG in all its colours, where its luma shows no disc, or a saturated one, and a colour may show it better.
fn in_colour(shot: &Shot, luma: &Frame, report: &DiscReport) -> Option<Frame> {
    let wanted = shot.file.format == FileFormat::Jpeg && luma.channels() == 1;
    (wanted && disc::hides(report))
        .then(|| raster::decode(&shot.file.path, shot.orientation).ok())
        .flatten()
        .filter(|frame| frame.channels() > 1)
}

/// How much brighter the Sun of a JPEG is in its brightest channel than in luma: from its reduced picture where that comes for
/// nothing and shows it well, else from all of it.
pub(super) fn tint(index: usize, shot: &Shot, sun: Circle, desk: &Desk<'_>) -> Option<f64> {
    let opened = match desk.larder.take(index) {
        Some(opened) => opened,
        None => {
            let (bytes, digest) = read(shot).ok()?;
            let frame = quickly(shot, bytes).ok()?;
            Opened { digest, frame }
        }
    };
    let small = opened.frame.colours().and_then(|(small, step)| {
        let sun = sun.in_part((0, 0), step as f64);
        (sun.radius_px >= COLOURED_PX).then(|| disc::tint(&small, sun))
    });
    desk.larder.put(index, opened);
    small.unwrap_or_else(|| {
        let frame = raster::decode(&shot.file.path, shot.orientation).ok()?;
        disc::tint(&frame, sun)
    })
}
