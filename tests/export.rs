//! The `export` room, through its door.
