//! Draws a synthetic card.
