//! The `contacts` room, through its door.
