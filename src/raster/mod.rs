//! Pixels: decoded frames, linear light, and files of pictures.
//!
//! Axes: x right, y down, (0, 0) the centre of the top-left pixel, after applying the EXIF orientation.
//! Linear light runs from 0 (no light) to 1 (saturation of the file's values).

mod decode;
mod exr;
mod frame;
mod image;

pub use self::exr::{ExrError, ExrNotes, write_exr};
pub use decode::{DecodeError, decode, decode_bytes};
pub use frame::{Channel, Frame, Rect, Samples, Transfer, linear_to_srgb, srgb_to_linear};
pub use image::{LinearImage, LinearRgb};
