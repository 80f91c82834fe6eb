//! The `demo` room, through its door.
