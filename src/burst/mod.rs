//! Groups neighbouring shots into exposure brackets.
