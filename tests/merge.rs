//! The `merge` room, through its door.
