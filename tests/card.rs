//! The `card` room, through its door.
