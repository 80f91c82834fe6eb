//! Drawn coronas with known truth.
