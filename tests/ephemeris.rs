//! The `ephemeris` room, through its door.
