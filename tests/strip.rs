//! The `strip` room, through its door.
