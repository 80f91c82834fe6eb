//! From a file to a [`Frame`].

use std::io::Cursor;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use image::{DynamicImage, ImageReader, Limits};

use super::{Frame, Samples, Transfer};
use crate::domain::Orientation;

/// Largest picture decoded, in pixels on a side.
const MAX_SIDE_PX: u32 = 30_000;

/// Most memory a decoder may take, in bytes.
const MAX_ALLOC_BYTES: u64 = 1 << 30;

/// A picture could not be decoded.
#[derive(Debug, thiserror::Error)]
pub enum DecodeError {
    /// The file cannot be read.
    #[error("cannot be read: {0}")]
    Read(#[from] std::io::Error),
    /// The decoder refused it.
    #[error("cannot be decoded: {0}")]
    Decoder(#[from] image::ImageError),
    /// The decoder broke down.
    #[error("the decoder broke down on it")]
    Panic,
}

/// Decodes a JPEG, PNG or TIFF file and turns it upright.
///
/// # Errors
/// [`DecodeError`]; a panic inside the decoder is one too.
pub fn decode(path: &Path, orientation: Orientation) -> Result<Frame, DecodeError> {
    let bytes = std::fs::read(path)?;
    decode_bytes(&bytes, orientation)
}

/// The same from bytes in memory.
///
/// # Errors
/// As [`decode`].
pub fn decode_bytes(bytes: &[u8], orientation: Orientation) -> Result<Frame, DecodeError> {
    catch_unwind(AssertUnwindSafe(|| plain(bytes, orientation))).unwrap_or(Err(DecodeError::Panic))
}

fn plain(bytes: &[u8], orientation: Orientation) -> Result<Frame, DecodeError> {
    let mut reader = ImageReader::new(Cursor::new(bytes)).with_guessed_format()?;
    let mut limits = Limits::default();
    limits.max_image_width = Some(MAX_SIDE_PX);
    limits.max_image_height = Some(MAX_SIDE_PX);
    limits.max_alloc = Some(MAX_ALLOC_BYTES);
    reader.limits(limits);
    let mut picture = reader.decode()?;
    if let Some(turn) = image::metadata::Orientation::from_exif(orientation.exif()) {
        picture.apply_orientation(turn);
    }
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let (channels, samples) = match picture {
        DynamicImage::ImageLuma8(p) => (1, Samples::U8(p.into_raw())),
        DynamicImage::ImageRgb8(p) => (3, Samples::U8(p.into_raw())),
        DynamicImage::ImageLuma16(p) => (1, Samples::U16(p.into_raw())),
        p @ (DynamicImage::ImageRgb16(_)
        | DynamicImage::ImageRgba16(_)
        | DynamicImage::ImageLumaA16(_)) => (3, Samples::U16(p.into_rgb16().into_raw())),
        p => (3, Samples::U8(p.into_rgb8().into_raw())),
    };
    Ok(Frame::new(width, height, channels, samples, Transfer::Srgb))
}
