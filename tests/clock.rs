//! The `clock` room, through its door.
