//! The `plan` room, through its door.
