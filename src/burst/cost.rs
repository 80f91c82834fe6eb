//! What each way of reading a stream of frames costs, in arbitrary units: only their order of size matters (our choice,
//! tuned on drawn cards).

/// A frame in no set.
pub(super) const SINGLE: f64 = 1.5;
/// The same when the camera said it was bracketing.
pub(super) const SINGLE_BRACKETING: f64 = 3.0;
/// The same when the camera said it was not, though it says so of others.
pub(super) const SINGLE_NOT_BRACKETING: f64 = 0.5;
/// A frame in no set at the exposure of the frame before: continuous shooting.
pub(super) const SINGLE_AGAIN: f64 = 0.3;
/// A kind of set the body repeats, once for all of them.
pub(super) const PATTERN: f64 = 2.5;
/// More for a set in an order that cameras do not offer.
pub(super) const UNUSUAL: f64 = 1.0;
/// A set of a kind the body repeats.
pub(super) const SET: f64 = 1.0;
/// A set in a usual order, when the body repeats none.
pub(super) const SET_UNSEEN: f64 = 1.6;
/// The same when the body repeats others.
pub(super) const SET_UNSEEN_AMONG_OTHERS: f64 = 3.0;
/// More for an even number of frames: cameras offer odd ones.
pub(super) const EVEN: f64 = 0.5;
/// A frame missing from a set.
pub(super) const MISSING: f64 = 0.35;
/// A frame fired twice inside a set.
pub(super) const TWICE: f64 = 2.0;
/// A file number lost inside a set where its steps miss no frame.
pub(super) const LOST: f64 = 1.5;
/// A second of idle time beyond the cadence.
pub(super) const IDLE_PER_S: f64 = 0.7;
/// A frame in a set of which the camera said it was not bracketing.
pub(super) const NOT_BRACKETING: f64 = 1.5;
