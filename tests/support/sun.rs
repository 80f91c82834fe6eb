//! Drawn solar discs with known truth.
