//! From a photograph of any kind to a [`Frame`].

use super::{DecodeError, Frame, decode};
use crate::domain::{CardFile, FileFormat, Orientation};

#[cfg(feature = "raw")]
pub use super::raw::{WhiteBalance, raw_header};
#[cfg(not(feature = "raw"))]
pub use without::{WhiteBalance, raw_header};

/// What a raw file's header says about its picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RawHeader {
    /// Pixels across of the developed picture as stored, before turning it upright.
    pub width_px: u32,
    /// Pixels down of the developed picture as stored.
    pub height_px: u32,
    /// The camera's white balance at the shot, where it is known.
    pub balance: Option<WhiteBalance>,
}

/// What a photograph is read for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reading {
    /// To find things in it and to show it small: a raw file is read through the camera's own picture inside it, where
    /// that has the size of the developed one pixel for pixel, else developed.
    Quick,
    /// For its light: a raw file is developed from its sensor values, with the white balance given or else its own.
    Light(Option<WhiteBalance>),
}

/// Whether pixels of files of this format are read at all; damaged and unknown ones set aside.
pub fn reads_pixels(format: FileFormat) -> bool {
    match format {
        FileFormat::Jpeg | FileFormat::Png | FileFormat::Tiff => true,
        FileFormat::Raw => cfg!(feature = "raw"),
        FileFormat::Heif | FileFormat::Other => false,
    }
}

/// Reads a photograph and turns it upright.
///
/// Raw files come developed: black subtracted, demosaiced, white-balanced, in sRGB with 16 bits, cut to the area the
/// camera's maker recommends, which is that of the camera's own full-size pictures. All readings of a file give frames
/// of one size and pixels that fit on each other. Others are read as by [`decode()`].
///
/// # Errors
/// [`DecodeError`]; nothing a file holds makes it panic.
pub fn photograph(
    file: &CardFile,
    orientation: Orientation,
    reading: Reading,
) -> Result<Frame, DecodeError> {
    match file.format {
        FileFormat::Raw => raw(file, orientation, reading),
        FileFormat::Heif => Err(DecodeError::Heif),
        _ => decode::decode(&file.path, orientation),
    }
}

/// The same for making a small picture of it with [`thumbnail`](super::thumbnail()) and nothing else: much of a large JPEG is not
/// decoded at all, and its colours are means.
///
/// # Errors
/// As [`photograph`].
pub fn glimpse(file: &CardFile, orientation: Orientation) -> Result<Frame, DecodeError> {
    match file.format {
        FileFormat::Jpeg => decode::glimpsed(&decode::file_bytes(&file.path)?, orientation),
        _ => photograph(file, orientation, Reading::Quick),
    }
}

#[cfg(feature = "raw")]
fn raw(file: &CardFile, orientation: Orientation, reading: Reading) -> Result<Frame, DecodeError> {
    use super::{Transfer, raw};

    let bytes = raw::vetted(decode::file_bytes(&file.path)?)?;
    let stored = match reading {
        Reading::Light(balance) => raw::developed(bytes, balance)?,
        Reading::Quick => match raw::preview(bytes.clone()) {
            Some(picture) => picture,
            None => raw::developed(bytes, None)?,
        },
    };
    let raw::Stored {
        width,
        height,
        channels,
        samples,
    } = stored;
    Ok(decode::frame(
        (width, height, channels),
        samples,
        Transfer::Srgb,
        orientation,
    ))
}

#[cfg(not(feature = "raw"))]
fn raw(_: &CardFile, _: Orientation, _: Reading) -> Result<Frame, DecodeError> {
    Err(DecodeError::RawLeftOut)
}

/// What stands for the reader of raw files where it is left out.
#[cfg(not(feature = "raw"))]
mod without {
    use std::path::Path;

    use super::RawHeader;

    /// A white balance; never known in this build.
    #[derive(Clone, Copy, Debug, PartialEq)]
    pub enum WhiteBalance {}

    /// `None`: this build reads no raw files.
    pub fn raw_header(_: &Path) -> Option<RawHeader> {
        None
    }
}
