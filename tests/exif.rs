//! The `exif` room, through its door.
