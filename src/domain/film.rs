//! A film on the card, what its header says, and when of the eclipse it was taken.

use std::path::PathBuf;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{CameraId, CameraStamp, CameraTime, IoCause, Utc};

/// What holds a film, by its first bytes.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum FilmContainer {
    /// QuickTime: brand `qt  `, or boxes without a brand.
    Quicktime,
    /// An ISO base media file of another brand (ISO/IEC 14496-12).
    Mp4,
    /// MPEG transport stream, as AVCHD cameras write (ISO/IEC 13818-1).
    TransportStream,
    /// MPEG program stream. Its header is not read.
    ProgramStream,
    /// AVI. Its header is not read.
    Avi,
}

impl FilmContainer {
    /// The word used in `films.csv`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Quicktime => "mov",
            Self::Mp4 => "mp4",
            Self::TransportStream => "mts",
            Self::ProgramStream => "mpg",
            Self::Avi => "avi",
        }
    }
}

/// A film found on a card.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct FilmFile {
    /// Path below the card, as [`super::CardFile::name`].
    pub name: String,
    /// Where the file is now. Opened for reading only; not in the record, since cards are mounted here today and there tomorrow.
    #[serde(skip)]
    pub path: PathBuf,
    /// What holds it.
    pub container: FilmContainer,
    /// Size in bytes.
    pub size_bytes: u64,
    /// When the file was last changed; not a capture time.
    pub modified: Option<Utc>,
}

/// A film and what its header says. What the header does not say is `None`, never a guess.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Film {
    /// The file.
    pub file: FilmFile,
    /// The camera, where the header names one.
    pub camera: Option<CameraId>,
    /// The time in a tag of the camera's own, on its clock; with the zone where the tag has one.
    pub stamp: Option<CameraStamp>,
    /// The container's creation time as it stands there. It is UTC by the standard and local time by the habit of many cameras:
    /// the header alone does not say which.
    pub created: Option<CameraTime>,
    /// Whether the system that wrote it is known to keep `created` in UTC and to take it when the recording ends.
    pub by_android: bool,
    /// Length in seconds.
    pub duration_s: Option<f64>,
    /// Pictures a second, on the mean.
    pub frame_rate: Option<f64>,
    /// Width as shown, in pixels.
    pub width_px: Option<u32>,
    /// Height as shown, in pixels.
    pub height_px: Option<u32>,
    /// How the pictures are coded: the four characters of the sample description, or a word for a stream type.
    pub codec: Option<String>,
    /// What could not be read.
    pub lacks: Vec<FilmLack>,
}

impl Film {
    /// A film of whose header nothing is known.
    pub fn bare(file: FilmFile) -> Self {
        Self {
            file,
            camera: None,
            stamp: None,
            created: None,
            by_android: false,
            duration_s: None,
            frame_rate: None,
            width_px: None,
            height_px: None,
            codec: None,
            lacks: Vec::new(),
        }
    }
}

/// What could not be read of a film.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum FilmLack {
    /// The system did not give its bytes.
    NotRead {
        /// Why.
        cause: IoCause,
    },
    /// The parser broke down.
    ReaderBrokeDown,
    /// A container whose header is not read.
    Container,
    /// The index that cameras write last is missing: the recording was cut off, or the copy.
    NoIndex,
    /// The file ends inside its header.
    EndsInside,
    /// A part of the header is damaged.
    Damaged {
        /// Its four characters.
        part: String,
    },
    /// The film is stored in fragments, whose length is not added up.
    Fragments,
    /// No track of pictures.
    NoPictures,
    /// No recording date in the stream.
    NoDate,
}

/// Where the true time of a film comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FilmTime {
    /// The camera's own tag, which says its zone.
    TagWithZone,
    /// The camera's own tag, in the zone of the camera's clock.
    Tag,
    /// The container's creation time, taken as UTC.
    CreationUtc,
    /// The container's creation time, taken as the camera's local time.
    CreationLocal,
    /// The container's creation time, of which nothing says whether it is UTC or local: no true time is told.
    Unsettled,
    /// There is no time.
    Nothing,
}

impl FilmTime {
    /// The word used in `films.csv`; blank for nothing.
    pub fn word(self) -> &'static str {
        match self {
            Self::TagWithZone => "tag-with-zone",
            Self::Tag => "tag",
            Self::CreationUtc => "creation-utc",
            Self::CreationLocal => "creation-local",
            Self::Unsettled => "unsettled",
            Self::Nothing => "",
        }
    }
}

/// What settled whether a container's creation time is UTC or local.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FilmEvidence {
    /// Both are the same: the camera's clock was on UTC.
    SameEitherWay,
    /// The system that wrote it.
    System,
    /// The camera's stills before and after it, by their numbers.
    Stills,
}

impl FilmLack {
    /// Whether it leaves nothing of the header.
    pub fn is_total(&self) -> bool {
        matches!(
            self,
            Self::NotRead { .. } | Self::ReaderBrokeDown | Self::Container | Self::NoIndex
        )
    }
}

impl std::fmt::Display for FilmLack {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::NotRead { cause } => return write!(f, "it cannot be read: {cause}"),
            Self::ReaderBrokeDown => "the parser of its header broke down on it",
            Self::Container => "headers of AVI and MPEG program streams are not read",
            Self::NoIndex => {
                "its index is missing, which cameras write when a recording ends: it was cut off, or its copy was"
            }
            Self::EndsInside => "the file ends inside its header",
            Self::Damaged { part } => return write!(f, "the part {part} of its header is damaged"),
            Self::Fragments => "it is stored in fragments, whose length is not added up",
            Self::NoPictures => "it has no track of pictures",
            Self::NoDate => "no recording date stands in the stream",
        })
    }
}
