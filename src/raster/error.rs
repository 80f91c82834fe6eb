//! Why a picture could not be decoded.

use std::fmt;

use super::limits::{MAX_FILE_MIB, MAX_MEGAPIXELS, MAX_PICTURE_MIB, MAX_SIDE_PX, MIB};
use crate::domain::{RawFault, RawUnknown, Unreadable};

/// A picture could not be decoded. Its words are those of [`Unreadable`].
#[derive(Debug)]
pub enum DecodeError {
    /// The file cannot be read.
    Read(std::io::Error),
    /// The file is larger than any photograph.
    HugeFile,
    /// The header claims more pixels than this program takes on.
    TooLarge {
        /// Pixels across, as the header says.
        width: u64,
        /// Pixels down, as the header says.
        height: u64,
    },
    /// The file ends before the picture does.
    CutShort,
    /// It is none of JPEG, PNG and TIFF.
    NotAPicture,
    /// The JPEG decoder refused it.
    Jpeg(String),
    /// The PNG or TIFF decoder refused it.
    Decoder(image::ImageError),
    /// The raw picture cannot be unpacked.
    Raw(RawFault),
    /// It is a raw file of a camera or a kind that is not known.
    UnknownRaw(RawUnknown),
    /// This program was built without the reader of raw files.
    RawLeftOut,
    /// It is a HEIF or AVIF picture.
    Heif,
    /// The decoder broke down.
    Panic,
}

impl DecodeError {
    /// What is wrong, as the record keeps it.
    pub fn unreadable(&self) -> Unreadable {
        match self {
            Self::Read(error) => Unreadable::NotRead {
                cause: error.into(),
            },
            Self::HugeFile => Unreadable::HugeFile {
                most_mib: MAX_FILE_MIB,
            },
            Self::TooLarge { width, height } => Unreadable::TooLarge {
                width: *width,
                height: *height,
                most_side_px: MAX_SIDE_PX,
                most_megapixels: MAX_MEGAPIXELS,
                most_mib: MAX_PICTURE_MIB,
            },
            Self::CutShort => Unreadable::CutShort,
            Self::NotAPicture => Unreadable::NotAPicture,
            Self::Jpeg(library) => Unreadable::Undecodable {
                library: library.clone(),
            },
            Self::Decoder(error) => Unreadable::Undecodable {
                library: error.to_string(),
            },
            Self::Raw(fault) => Unreadable::Raw {
                fault: fault.clone(),
            },
            Self::UnknownRaw(what) => Unreadable::UnknownRaw { what: what.clone() },
            Self::RawLeftOut => Unreadable::RawLeftOut,
            Self::Heif => Unreadable::Heif,
            Self::Panic => Unreadable::DecoderBrokeDown,
        }
    }
}

impl fmt::Display for DecodeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.unreadable().fmt(f)
    }
}

impl std::error::Error for DecodeError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Read(cause) => Some(cause),
            Self::Decoder(cause) => Some(cause),
            _ => None,
        }
    }
}

impl From<std::io::Error> for DecodeError {
    fn from(error: std::io::Error) -> Self {
        Self::Read(error)
    }
}

impl From<image::ImageError> for DecodeError {
    fn from(error: image::ImageError) -> Self {
        Self::Decoder(error)
    }
}

/// Refuses sizes beyond the limits; `value_bytes` is the bytes a pixel takes.
pub(super) fn check_size(width: u64, height: u64, value_bytes: u64) -> Result<(), DecodeError> {
    let pixels = width.saturating_mul(height);
    let fits = width.max(height) <= MAX_SIDE_PX
        && pixels <= MAX_MEGAPIXELS * 1_000_000
        && pixels.saturating_mul(value_bytes) <= MAX_PICTURE_MIB * MIB;
    match fits {
        true => Ok(()),
        false => Err(DecodeError::TooLarge { width, height }),
    }
}
