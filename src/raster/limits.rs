//! Sizes beyond which no picture is decoded.

/// Largest picture decoded, in pixels on a side.
pub const MAX_SIDE_PX: u64 = 30_000;

/// Largest picture decoded, in millions of pixels.
pub const MAX_MEGAPIXELS: u64 = 250;

/// Most memory the stored values of a picture may take, in MiB.
pub const MAX_PICTURE_MIB: u64 = 1024;

/// Largest file read into memory, in MiB.
pub const MAX_FILE_MIB: u64 = 1024;

/// Bytes in a MiB.
pub(super) const MIB: u64 = 1 << 20;
