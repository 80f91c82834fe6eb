//! The `phase` room, through its door.
