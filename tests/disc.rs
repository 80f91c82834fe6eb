//! The `disc` room, through its door.
