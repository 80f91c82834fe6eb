//! The `burst` room, through its door.
