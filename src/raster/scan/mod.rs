//! JPEGs of one baseline scan that are decoded only where somebody looks.
//!
//! One walk through the scan takes the mean of every block of eight by eight pixels and notes where each row of blocks
//! begins; the pixels of a row are worked out when they are asked for. A picture of a small bright disc on black costs a
//! fraction of a full decode this way, and its overview comes for nothing. No library at hand gives a reduced picture and
//! parts at full size from one walk.
//!
//! Source of the format: ITU-T T.81 (1992), "Digital compression and coding of continuous-tone still images",
//! annexes A, B, C, F. What is no baseline scan in luma and two colour differences, or luma alone, is left to the
//! general decoder, and so is every scan with an error in it.

mod bits;
mod cosine;
mod header;
mod huffman;
mod luma;
mod walk;

pub(super) use luma::Luma;
