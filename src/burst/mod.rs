//! Groups neighbouring shots into exposure brackets.
//!
//! A burst is one exposure bracket: two or more frames that one body fired in one go, no two at the same exposure (but
//! for a frame fired twice in the middle of a set). ISO and aperture count as well as the shutter. Continuous shooting
//! at one exposure is no burst: nothing in it can be merged.
//!
//! How sets are told apart, body by body, on the camera's own clock (no correction is needed):
//! 1. the body's usual sets are learned from the card: the steps and their order (see `pattern`);
//! 2. the stream of frames is cut into sets and single frames at least cost (see `split`): a set costs little, each
//!    frame it lacks a bit more, a frame in no set most; idle time within a set beyond the body's own cadence costs too.
//!
//! So sets fired back to back come apart where the steps start over, and a set with dropped frames stays one set. The
//! input's order does not matter; equal stamps are put in order by the file's number.

mod cost;
mod marks;
mod pattern;
mod piece;
mod split;
mod stream;

pub use marks::{flags, places};

use crate::domain::{Burst, TaggedShot};

/// Finds the bursts among `shots`, numbered from 1 in time order.
///
/// Members are indices into `shots` in shooting order. Shots without a stamp or a shutter time are in none. Of a raw and
/// its JPEG, or of two copies of a file, only one is a member: [`places`] gives the others the same place.
pub fn group(shots: &[TaggedShot]) -> Vec<Burst> {
    let mut sets: Vec<Vec<usize>> = stream::of_bodies(shots)
        .iter()
        .flat_map(|frames| split::into_sets(frames))
        .collect();
    sets.sort_by(|a, b| stream::time_order(&shots[a[0]], &shots[b[0]]));
    (1..)
        .zip(sets)
        .map(|(id, members)| Burst { id, members })
        .collect()
}
