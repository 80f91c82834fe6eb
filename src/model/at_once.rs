//! Frames worked on side by side, no more of them than memory holds.

use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

use rayon::prelude::*;

use super::{ModelError, Watch};
use crate::domain::{FileFormat, Shot};

/// Most memory that frames in hand take together, in bytes, however many threads there are (our choice: fourteen JPEGs of 24
/// megapixels looked at in luma, and with what else a run needs below 1.2 GB).
const IN_HAND_BYTES: u64 = 500 << 20;

/// Pixels of a frame whose header does not say.
const USUAL_PX: u64 = 24_000_000;

/// Bytes a frame takes while its discs are looked for: its file, and of a JPEG the luma alone, of others colours of 16 bits, twice
/// where they are brought to another space.
pub(crate) fn look_bytes(shot: &Shot) -> u64 {
    let a_pixel = if shot.file.format == FileFormat::Jpeg {
        1
    } else {
        12
    };
    pixels(shot) * a_pixel + shot.file.size_bytes
}

/// Bytes a frame takes in all its colours.
pub(crate) fn colour_bytes(shot: &Shot) -> u64 {
    let a_pixel = if shot.file.format == FileFormat::Jpeg {
        3
    } else {
        12
    };
    pixels(shot) * a_pixel + shot.file.size_bytes
}

fn pixels(shot: &Shot) -> u64 {
    let sides = shot.width_px.zip(shot.height_px);
    sides.map_or(USUAL_PX, |(w, h)| u64::from(w) * u64::from(h))
}

/// Works on some indices in parallel, in order, stopping when the person interrupts. `bytes` says what one takes while it is
/// worked on: with large ones fewer are in hand at once.
pub(crate) fn each_frame<T: Send>(
    indices: &[usize],
    bytes: impl Fn(usize) -> u64,
    watch: &dyn Watch,
    work: impl Fn(usize) -> T + Sync,
) -> Result<Vec<T>, ModelError> {
    let most = indices.iter().map(|&index| bytes(index)).max().unwrap_or(0);
    let lanes = usize::try_from(IN_HAND_BYTES / most.max(1)).unwrap_or(usize::MAX);
    in_lanes(indices, lanes.clamp(1, indices.len().max(1)), watch, work)
}

/// The same in so many lanes, each with one index in hand and going on with the next that is free. Work of a lane may itself be
/// parallel: threads that wait for its parts may begin another lane meanwhile, of which there are no more than these.
fn in_lanes<T: Send>(
    indices: &[usize],
    lanes: usize,
    watch: &dyn Watch,
    work: impl Fn(usize) -> T + Sync,
) -> Result<Vec<T>, ModelError> {
    let next = AtomicUsize::new(0);
    let done: Mutex<Vec<Option<T>>> = Mutex::new(indices.iter().map(|_| None).collect());
    (0..lanes).into_par_iter().try_for_each(|_| {
        loop {
            let place = next.fetch_add(1, Ordering::Relaxed);
            let Some(&index) = indices.get(place) else {
                return Ok(());
            };
            if watch.interrupted() {
                return Err(ModelError::Interrupted);
            }
            let result = work(index);
            if let Ok(mut done) = done.lock() {
                done[place] = Some(result);
            }
            watch.advance(1);
        }
    })?;
    let done = done.into_inner().unwrap_or_default();
    let all: Option<Vec<T>> = done.into_iter().collect();
    all.ok_or(ModelError::Interrupted) // a lane broke down with its panic; nothing is left out silently
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Unwatched;

    #[test]
    fn no_more_are_in_hand_than_memory_holds() {
        let (now, most) = (AtomicUsize::new(0), AtomicUsize::new(0));
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(8)
            .build()
            .unwrap();
        let indices: Vec<usize> = (0..60).collect();
        let bytes = |_| IN_HAND_BYTES / 3;
        let work = |index: usize| {
            most.fetch_max(now.fetch_add(1, Ordering::SeqCst) + 1, Ordering::SeqCst);
            std::thread::sleep(std::time::Duration::from_millis(2));
            now.fetch_sub(1, Ordering::SeqCst);
            index * 2
        };
        let all = pool
            .install(|| each_frame(&indices, bytes, &Unwatched, work))
            .unwrap();
        assert_eq!(all, (0..60).map(|n| n * 2).collect::<Vec<_>>());
        assert!((1..=3).contains(&most.load(Ordering::SeqCst)));
        // One that is larger than all of it is worked on alone.
        let alone = each_frame(&[7], |_| u64::MAX, &Unwatched, |index| index).unwrap();
        assert_eq!(alone, [7]);
        assert!(
            each_frame(&[], |_| 1, &Unwatched, |_| ())
                .unwrap()
                .is_empty()
        );
    }
}
