//! Times of a file's last change stand where a header has no other: mostly an editor's, hours or days after the picture, and each
//! picture's own. They are no readings of one clock, so that a single one says nothing of it.

use super::ClockFrame;

/// The frames with such times taken away where any of the body has a time the camera wrote: frames keep their places. Where none has,
/// cameras that write no other tag are possible, and vectors that move as the Moon does will tell.
pub(super) fn without(mut frames: Vec<ClockFrame>) -> Vec<ClockFrame> {
    let by_camera = |frame: &ClockFrame| frame.stamp.is_some() && !is_changed(frame);
    if frames.iter().any(by_camera) {
        for frame in frames.iter_mut().filter(|frame| is_changed(frame)) {
            frame.stamp = None;
        }
    }
    frames
}

/// Whether a frame has only the time of its file's last change.
pub(super) fn is_changed(frame: &ClockFrame) -> bool {
    frame.stamp.is_some_and(|stamp| stamp.of_change)
}
