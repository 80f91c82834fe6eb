//! Finds the discs of Sun and Moon in a frame.
