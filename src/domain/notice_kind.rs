//! The things there are to tell of a card, as kinds and numbers. Their words stand in `notice_words`.

use jiff::civil::Date;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{
    CameraTime, ClockMistake, ClockSilence, FilmLack, IoCause, MetadataDamage, NoDisc, Severity,
    Unreadable, Utc,
};

/// What a notice tells. A `camera` is a body's make and model; `None` stands for pictures that name no camera.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum NoticeKind {
    /// A link to a folder above the card is not followed.
    LinkAboveCard,
    /// A link to a folder of the card is not followed: it is read in its place.
    LinkOnCard,
    /// A link leads back to a folder around it.
    LinkInACircle,
    /// A folder was read before under another name.
    FolderReadBefore,
    /// A folder or file cannot be read; what is in it is left out.
    NotWalked {
        /// Why.
        cause: IoCause,
    },
    /// A file cannot be opened.
    NotOpened {
        /// Why.
        cause: IoCause,
    },
    /// The header has no DateTimeOriginal.
    TimeOfAnotherTag {
        /// The tag its time is taken from: `DateTimeDigitized` or `DateTime`.
        tag: String,
    },
    /// The GPS time is far from the camera's clock.
    GpsTimeAway {
        /// How far, in days.
        days: f64,
    },
    /// The metadata are damaged; what could not be read is blank.
    MetadataDamaged {
        /// What is wrong.
        damage: MetadataDamage,
    },
    /// The header is of a kind that is not read.
    HeaderNotRead,
    /// Files hold the same bytes as others.
    SecondCopies {
        /// How many.
        files: usize,
        /// One that stands for both.
        first: String,
        /// Its copy.
        second: String,
    },
    /// The eclipse is that of the GPS dates; the capture dates have none.
    EclipseByGps {
        /// Its date (TT).
        #[schemars(with = "String")]
        eclipse: Date,
    },
    /// The eclipse is that of the same day of another year.
    EclipseOfAnotherYear {
        /// The capture date.
        #[schemars(with = "String")]
        date: Date,
        /// The date (TT) of the eclipse.
        #[schemars(with = "String")]
        eclipse: Date,
        /// Dates (TT) of others of that day of the year that the place sees.
        #[serde(default, skip_serializing_if = "Vec::is_empty")]
        #[schemars(with = "Vec<String>")]
        others: Vec<Date>,
    },
    /// The eclipse is that of the capture date with day and month one for the other.
    EclipseOfSwappedDate {
        /// The capture date.
        #[schemars(with = "String")]
        date: Date,
        /// The date (TT) of the eclipse.
        #[schemars(with = "String")]
        eclipse: Date,
    },
    /// GPS positions of the day disagree.
    PositionsElsewhere {
        /// Those that lie elsewhere.
        elsewhere: usize,
        /// All of the day.
        positions: usize,
    },
    /// GPS gives no elevation.
    NoElevation,
    /// A header's zone is unlike those of the shots about it and not believed.
    OddZone {
        /// Local minus UTC in seconds, as the header says.
        offset_s: i32,
    },
    /// The zone a camera's clock is read in.
    ClockReadIn {
        /// The body.
        camera: Option<String>,
        /// The zone and where it comes from.
        zone: ZoneReading,
    },
    /// A partial does not fit the others and is left out of the clock.
    PartialLeftOut {
        /// The body.
        camera: Option<String>,
    },
    /// Pictures that may be mirror images.
    MirrorDoubtful {
        /// The body.
        camera: Option<String>,
    },
    /// Pictures that are mirror images.
    Mirrored {
        /// The body.
        camera: Option<String>,
    },
    /// Frames that seem to show totality where there is none.
    TotalityImpossible {
        /// The body.
        camera: Option<String>,
        /// How many.
        frames: usize,
    },
    /// The pictures do not tell the clock.
    ClockUnknown {
        /// The body.
        camera: Option<String>,
        /// Why not.
        why: ClockSilence,
        /// One sigma its word is given, in seconds.
        sigma_s: f64,
    },
    /// Date or zone of the clock were wrong; corrected.
    ClockSetWrong {
        /// The body.
        camera: Option<String>,
        /// The error taken apart.
        mistake: ClockMistake,
        /// Local minus UTC in seconds of the zone it was first read in.
        read_as_s: i32,
    },
    /// Several times fit the pictures.
    ClockAmbiguous {
        /// The body.
        camera: Option<String>,
        /// The likeliest error, camera minus true, in seconds.
        best_s: f64,
        /// The others, likeliest first.
        others_s: Vec<f64>,
        /// One sigma its times are given, in seconds.
        sigma_s: f64,
        /// Whether a crescent is among its pictures.
        crescent: bool,
    },
    /// The pictures say otherwise than the clock error a person gave, which was used.
    ClockAgainstGiven {
        /// The body.
        camera: Option<String>,
        /// Camera minus true as given, in seconds.
        given_s: f64,
        /// The same by the pictures.
        found_s: f64,
        /// One sigma of that.
        sigma_s: f64,
    },
    /// What a frame shows is not of its stamp's time; the stamp is not believed.
    StampNotBelieved {
        /// The body.
        camera: Option<String>,
        /// What it shows.
        shows: FrameShows,
    },
    /// Further such frames.
    MoreStampsNotBelieved {
        /// The body.
        camera: Option<String>,
        /// How many.
        frames: usize,
    },
    /// The Sun of one lens shows in many sizes.
    ManySizes {
        /// The body.
        camera: Option<String>,
        /// How many.
        sizes: usize,
        /// Least radius in pixels.
        least_px: f64,
        /// Largest radius in pixels.
        most_px: f64,
    },
    /// The Sun's size steps from one frame to the next.
    SizeSteps {
        /// The body.
        camera: Option<String>,
        /// The last frame before.
        before: SizedFrame,
        /// The first frame after.
        after: SizedFrame,
        /// Focal length in millimetres that the headers say throughout.
        focal_mm: Option<f64>,
    },
    /// A file cannot be read; it is listed as such.
    Unreadable {
        /// Why.
        reason: Unreadable,
    },
    /// Files whose pixels are not read, with no JPEG beside them.
    PixelsNotRead {
        /// How many.
        files: usize,
        /// Whether raw files are among the kinds that are not read.
        raw: bool,
    },
    /// Cloud in totality.
    CloudInTotality {
        /// The frames short of light.
        files: Vec<String>,
        /// All frames of totality.
        frames: usize,
    },
    /// Frames that show the Sun and have no usable time.
    SunsUntimed {
        /// The frames.
        files: Vec<String>,
    },
    /// A frame without a disc where one was due.
    NoDisc {
        /// Why.
        why: NoDisc,
    },
    /// Several for one reason.
    NoDiscs {
        /// Why; numbers are those of the first.
        why: NoDisc,
        /// The frames.
        files: Vec<String>,
    },
    /// Something of a film's header could not be read.
    FilmNotRead {
        /// What.
        lack: FilmLack,
    },
    /// Nothing says whether a film's creation time is UTC or local.
    FilmTimeUnsettled {
        /// Its beginning if it is UTC.
        as_utc: Utc,
        /// Its beginning if it is local time.
        as_local: Utc,
    },
    /// Films of a camera of which the card has no pictures: its clock is not checked.
    FilmClockUnknown {
        /// The camera; `None` where the films name none.
        camera: Option<String>,
        /// How many films.
        films: usize,
    },
    /// Words of a command that makes something, or of an earlier program. A record made today holds none.
    Words {
        /// The words, without the file's name.
        text: String,
    },
}

impl From<String> for NoticeKind {
    fn from(text: String) -> Self {
        Self::Words { text }
    }
}

impl From<&str> for NoticeKind {
    fn from(text: &str) -> Self {
        text.to_owned().into()
    }
}

/// The zone a clock is read in, and where it comes from. Offsets are local minus UTC on the day, in seconds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "from", rename_all = "kebab-case")]
pub enum ZoneReading {
    /// The person gave it.
    Given {
        /// The zone.
        zone: NamedOffset,
    },
    /// The headers have none; it is that of the place.
    Place {
        /// The zone.
        zone: NamedOffset,
    },
    /// None is known: read as UTC.
    Nothing,
    /// The headers say it.
    Headers {
        /// The usual offset.
        offset_s: i32,
        /// Shots that say otherwise and keep their own.
        others: usize,
        /// The zone given, where it was overruled.
        overruled: Option<NamedOffset>,
    },
}

/// A zone's name and its offset on the day.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct NamedOffset {
    /// IANA name or offset.
    pub name: String,
    /// Local minus UTC, in seconds.
    pub offset_s: i32,
}

impl ZoneReading {
    /// Whether a person should look at it: no zone known, or the one given not used.
    pub fn severity(&self) -> Severity {
        let look = match self {
            Self::Given { .. } | Self::Place { .. } => false,
            Self::Nothing => true,
            Self::Headers { overruled, .. } => overruled.is_some(),
        };
        if look { Severity::Look } else { Severity::Note }
    }
}

/// What a frame shows of the eclipse.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum FrameShows {
    /// The corona.
    Corona,
    /// Beads or a ring.
    BeadsOrRing,
    /// The Moon before the corona.
    Moon,
    /// Anything else of another time.
    AnotherTime,
}

/// A frame and how large the Sun shows in it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SizedFrame {
    /// The frame.
    pub file: String,
    /// Its camera's time.
    pub clock: Option<CameraTime>,
    /// The Sun's radius in pixels.
    pub radius_px: f64,
}
