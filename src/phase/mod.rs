//! Names the part of the eclipse each shot belongs to.
