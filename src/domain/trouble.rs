//! What is wrong with a file, as kinds and numbers; the words for each stand beside them.

use std::fmt;
use std::io;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Why the system did not give a file's bytes.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
pub struct IoCause {
    /// The kind of error as the Rust library names it, in lower case: `permissiondenied`.
    pub error: String,
    /// The system's own number of the error, where it gave one.
    pub os_code: Option<i32>,
}

impl From<&io::Error> for IoCause {
    fn from(error: &io::Error) -> Self {
        Self {
            error: format!("{:?}", error.kind()).to_ascii_lowercase(),
            os_code: error.raw_os_error(),
        }
    }
}

impl fmt::Display for IoCause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match (self.os_code, self.error.as_str()) {
            (Some(code), _) => io::Error::from_raw_os_error(code).fmt(f),
            (None, "unexpectedeof") => f.write_str("unexpected end of file"),
            (None, "filetoolarge") => f.write_str("file too large"),
            (None, error) => f.write_str(error),
        }
    }
}

/// What is wrong with a file's metadata.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum MetadataDamage {
    /// The parser broke down.
    ParserBrokeDown,
    /// The file ends inside its header.
    EndsInside,
    /// Where tags should be there are none.
    NoTags,
    /// The parser found fault.
    Parser {
        /// The library's own words for it.
        library: String,
    },
}

impl fmt::Display for MetadataDamage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::ParserBrokeDown => "the parser of its metadata broke down on it",
            Self::EndsInside => "the file ends inside its header",
            Self::NoTags => "no tags in it",
            Self::Parser { library } => library,
        })
    }
}

/// What is wrong with a raw file.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum RawFault {
    /// Its directories run in a circle.
    Circle,
    /// A list in it is longer than the file.
    LongList,
    /// A list in it is longer than its box.
    LongListInBox,
    /// A box of no size.
    EmptyBox,
    /// Its tiles have no sound size.
    Tiles,
    /// Values are missing.
    MissingValues,
    /// The reader of raw files found fault.
    Reader {
        /// The library's own words for it.
        library: String,
    },
}

impl fmt::Display for RawFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Circle => "its directories run in a circle",
            Self::LongList => "a list in it is longer than the file",
            Self::LongListInBox => "a list longer than its box",
            Self::EmptyBox => "a box of no size",
            Self::Tiles => "its tiles have no sound size",
            Self::MissingValues => "values are missing",
            Self::Reader { library } => library,
        })
    }
}

/// What is unknown of a raw file.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum RawUnknown {
    /// A container that is not read.
    Container,
    /// Its sensor stands on a corner.
    OnACorner,
    /// Its sensor has other colours than red, green and blue.
    OtherColours,
    /// Its picture is no larger than a stamp.
    Stamp,
    /// The reader of raw files does not know the camera or the kind.
    Reader {
        /// The library's own words for it.
        library: String,
    },
}

impl fmt::Display for RawUnknown {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Container => "a container that is not read: older Canon, Minolta, Sigma",
            Self::OnACorner => "its sensor stands on a corner",
            Self::OtherColours => "its sensor has other colours than red, green and blue",
            Self::Stamp => "its picture is no larger than a stamp",
            Self::Reader { library } => library,
        })
    }
}

/// Why a picture's pixels cannot be had.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Unreadable {
    /// No bytes.
    Empty,
    /// A name that promises a picture, and bytes that hold none.
    NamedLikeAPicture,
    /// The system did not give its bytes.
    NotRead {
        /// Why.
        cause: IoCause,
    },
    /// Larger than any photograph.
    HugeFile {
        /// The limit in MiB.
        most_mib: u64,
    },
    /// More pixels than are taken on.
    TooLarge {
        /// Pixels across, as the header says.
        width: u64,
        /// Pixels down, as the header says.
        height: u64,
        /// The limit of a side in pixels.
        most_side_px: u64,
        /// The limit in megapixels.
        most_megapixels: u64,
        /// The limit in MiB.
        most_mib: u64,
    },
    /// The file ends before the picture does.
    CutShort,
    /// None of JPEG, PNG and TIFF.
    NotAPicture,
    /// A decoder refused it.
    Undecodable {
        /// The library's own words for it.
        library: String,
    },
    /// Its raw picture cannot be unpacked.
    Raw {
        /// What is wrong.
        fault: RawFault,
    },
    /// A raw file of a camera or a kind that is not known.
    UnknownRaw {
        /// What is not known.
        what: RawUnknown,
    },
    /// A raw file, and the program was built without its reader of them.
    RawLeftOut,
    /// A HEIF or AVIF picture.
    Heif,
    /// The decoder broke down.
    DecoderBrokeDown,
}

impl fmt::Display for Unreadable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => f.write_str("is empty (0 bytes)"),
            Self::NamedLikeAPicture => f.write_str("is named like a picture but holds none"),
            Self::NotRead { cause } => write!(f, "cannot be read: {cause}"),
            Self::HugeFile { most_mib } => write!(
                f,
                "is larger than {most_mib} MiB, too large for a photograph; left out"
            ),
            Self::TooLarge {
                width,
                height,
                most_side_px,
                most_megapixels,
                most_mib,
            } => write!(
                f,
                "claims {width} x {height} pixels; the limit is {most_side_px} on a side, {most_megapixels} megapixels and {most_mib} \
                 MiB; left out"
            ),
            Self::CutShort => f.write_str(
                "is cut short: the file ends before the picture does; copy it from the card again",
            ),
            Self::NotAPicture => f.write_str("is no JPEG, PNG or TIFF picture"),
            Self::Undecodable { library } => write!(f, "cannot be decoded: {library}"),
            Self::Raw { fault } => write!(
                f,
                "its raw picture cannot be unpacked ({fault}); copy it from the card again, or put the camera's JPEG beside it"
            ),
            Self::UnknownRaw { what } => write!(
                f,
                "is a raw file of a kind that is not understood ({what}); put the camera's JPEG beside it, or convert it to DNG"
            ),
            Self::RawLeftOut => f.write_str(
                "is a raw file, and this program was built without its reader of raw files; build it with the feature `raw`, or put \
                 the camera's JPEG beside it",
            ),
            Self::Heif => f.write_str(
                "is a HEIF or AVIF picture, whose pixels are not read; convert it to JPEG or 16-bit TIFF beside it",
            ),
            Self::DecoderBrokeDown => {
                f.write_str("the decoder broke down on it; the file is probably damaged")
            }
        }
    }
}

/// What a file is that is none of the photographer's pictures, or why it was left.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum StrayKind {
    /// A link to nothing.
    DanglingLink,
    /// A link to a file that is read under its own name.
    LinkedFile,
    /// A pipe, a socket, a device.
    NoFile,
    /// The system did not give its bytes.
    NotRead {
        /// Why.
        cause: IoCause,
    },
    /// In a folder of thumbnails, deleted files or system data.
    Housekeeping,
    /// Thumbnail of a video or a raw file.
    Thumbnail,
    /// Data a Mac keeps beside a file.
    AppleDouble,
    /// No bytes.
    Empty,
    /// A video.
    Video,
    /// A sound.
    Sound,
    /// A WebP picture.
    Webp,
    /// A GIF picture.
    Gif,
    /// A BMP picture.
    Bmp,
    /// Text.
    Text,
    /// Anything else.
    NoPicture,
    /// As an earlier program put it.
    Words {
        /// Its words.
        text: String,
    },
}

impl fmt::Display for StrayKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::DanglingLink => "a link to a file that is not there",
            Self::LinkedFile => "a link to a file that is read under its own name",
            Self::NoFile => "neither a file nor a folder; not opened",
            Self::NotRead { cause } => return write!(f, "cannot be read: {cause}"),
            Self::Housekeeping => "in a folder of thumbnails, deleted files or system data",
            Self::Thumbnail => "thumbnail of a video or a raw file",
            Self::AppleDouble => "data a Mac keeps beside a file (AppleDouble)",
            Self::Empty => "empty file",
            Self::Video => "video",
            Self::Sound => "sound",
            Self::Webp => "WebP picture, no camera's format",
            Self::Gif => "GIF picture, no camera's format",
            Self::Bmp => "BMP picture, no camera's format",
            Self::Text => "text",
            Self::NoPicture => "not a picture",
            Self::Words { text } => text,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_systems_own_words_come_back_from_its_number() {
        let denied = io::Error::from_raw_os_error(13);
        let cause = IoCause::from(&denied);
        assert_eq!(cause.to_string(), denied.to_string());
        assert_eq!(cause.error, "permissiondenied");
        let early: io::Error = io::ErrorKind::UnexpectedEof.into();
        assert_eq!(IoCause::from(&early).to_string(), early.to_string());
    }
}
