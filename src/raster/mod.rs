//! Pixels: decoded frames, linear light, and files of pictures.
//!
//! Axes: x right, y down, (0, 0) the centre of the top-left pixel, after applying the EXIF orientation.
//! Linear light runs from 0 (no light) to 1 (saturation of the file's values).

mod contain;
mod decode;
mod encode;
mod error;
mod exr;
mod fits;
mod frame;
mod image;
mod jpeg;
mod limits;
mod media;
mod photograph;
mod profile;
#[cfg(feature = "raw")]
mod raw;
mod reduced;
mod resample;
mod scan;
mod thumbnail;
mod turn;

pub use self::exr::{ExrError, ExrNotes, write_exr};
pub(crate) use self::media::{CANON_BOX, boxes};
pub use contain::contained;
#[cfg(test)]
use decode::glimpsed;
pub use decode::{decode, decode_bytes, decode_luma, file_bytes};
pub use encode::{
    Animation, Depth, Packing, Picture, PictureInfo, Rows, srgb_profile, write_jpeg, write_png,
    write_tiff_float, write_tiff16,
};
pub use error::DecodeError;
pub use fits::{FitsCard, FitsValue, write_fits};
pub use frame::{Channel, Frame, Rect, Samples, Transfer, linear_to_srgb, srgb_to_linear};
pub use image::{LinearImage, LinearRgb};
pub use limits::{MAX_FILE_MIB, MAX_MEGAPIXELS, MAX_PICTURE_MIB, MAX_SIDE_PX};
pub use photograph::{RawHeader, WhiteBalance, raw_header};
pub use photograph::{Reading, glimpse, photograph, reads_pixels};
#[cfg(feature = "raw")]
pub use raw::{SensorValues, sensor_values};
pub use resample::{Placing, resampled};
pub use thumbnail::thumbnail;
