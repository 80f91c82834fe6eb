//! A file on the card and what its header says.

use std::fmt;
use std::path::PathBuf;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{CameraTime, Utc};

/// What kind of file it is, decided from its first bytes, never from its name alone.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum FileFormat {
    /// JPEG (ISO/IEC 10918).
    Jpeg,
    /// A camera's raw format, DNG included.
    Raw,
    /// HEIF or HEIC (ISO/IEC 23008-12).
    Heif,
    /// TIFF that is not a raw.
    Tiff,
    /// PNG (ISO/IEC 15948).
    Png,
    /// Anything else: a video, a text, a thumbnail cache.
    Other,
}

impl FileFormat {
    /// The word used in `shots.csv`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Jpeg => "jpeg",
            Self::Raw => "raw",
            Self::Heif => "heif",
            Self::Tiff => "tiff",
            Self::Png => "png",
            Self::Other => "other",
        }
    }
}

/// One file found on a card.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct CardFile {
    /// Path below the card with `/` separators; the name every output uses. Bytes that are not UTF-8 are shown as
    /// `%` and two hexadecimal digits. With several cards it starts with the card's own folder name.
    pub name: String,
    /// Where the file is now. Opened for reading only. The record keeps the place below the card instead, since cards are
    /// mounted in one place today and in another tomorrow.
    #[serde(skip)]
    pub path: PathBuf,
    /// What the first bytes say it is.
    pub format: FileFormat,
    /// Size in bytes.
    pub size_bytes: u64,
    /// When the file was last changed, for noticing a change between two runs; not a capture time.
    pub modified: Option<Utc>,
}

/// Paths as text in the record (`#[serde(with = "path_text")]`); on Unix, bytes that are not UTF-8 survive the round trip.
pub mod path_text {
    use std::path::{Path, PathBuf};

    use serde::{Deserialize, Deserializer, Serializer};

    /// Marks a path that had to be written as percent-coded bytes.
    const CODED: &str = "percent-coded:";

    /// Writes a path as text.
    ///
    /// # Errors
    /// Those of the writer.
    pub fn serialize<S: Serializer>(path: &Path, s: S) -> Result<S::Ok, S::Error> {
        match path.to_str() {
            Some(text) => s.serialize_str(text),
            None => s.serialize_str(&coded(path)),
        }
    }

    /// Reads a path written by [`serialize()`].
    ///
    /// # Errors
    /// Those of the reader.
    pub fn deserialize<'de, D: Deserializer<'de>>(d: D) -> Result<PathBuf, D::Error> {
        let text = String::deserialize(d)?;
        Ok(match text.strip_prefix(CODED) {
            Some(rest) => decoded(rest),
            None => PathBuf::from(text),
        })
    }

    #[cfg(unix)]
    fn coded(path: &Path) -> String {
        use std::fmt::Write as _;
        use std::os::unix::ffi::OsStrExt;
        let mut text = String::from(CODED);
        for &byte in path.as_os_str().as_bytes() {
            if byte.is_ascii_graphic() && byte != b'%' {
                text.push(char::from(byte));
            } else {
                write!(text, "%{byte:02X}").expect("writing to a string cannot fail");
            }
        }
        text
    }

    #[cfg(unix)]
    fn decoded(text: &str) -> PathBuf {
        use std::os::unix::ffi::OsStringExt;
        let mut bytes = Vec::new();
        let mut rest = text.bytes();
        while let Some(byte) = rest.next() {
            let hex = |b: Option<u8>| b.and_then(|b| char::from(b).to_digit(16)).unwrap_or(0) as u8;
            if byte == b'%' {
                let (high, low) = (hex(rest.next()), hex(rest.next()));
                bytes.push(high * 16 + low);
            } else {
                bytes.push(byte);
            }
        }
        std::ffi::OsString::from_vec(bytes).into()
    }

    #[cfg(not(unix))]
    fn coded(path: &Path) -> String {
        path.to_string_lossy().into_owned()
    }

    #[cfg(not(unix))]
    fn decoded(text: &str) -> PathBuf {
        text.into()
    }
}

/// Which camera body took a picture.
#[derive(
    Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
pub struct CameraId {
    /// Manufacturer as the header says, trimmed; may be empty.
    pub make: String,
    /// Model as the header says, trimmed; may be empty.
    pub model: String,
    /// Body serial number where the header has one.
    pub serial: Option<String>,
}

impl CameraId {
    /// Make and model in one, without saying the make twice (many models begin with it).
    pub fn make_model(&self) -> String {
        let (make, model) = (self.make.trim(), self.model.trim());
        let first = make.split_whitespace().next().unwrap_or("");
        if model.is_empty() {
            make.to_owned()
        } else if first.is_empty()
            || model
                .get(..first.len())
                .is_some_and(|start| start.eq_ignore_ascii_case(first))
        {
            model.to_owned()
        } else {
            format!("{make} {model}")
        }
    }
}

impl fmt::Display for CameraId {
    /// `make model`, and `make model#serial` where the serial number is known.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.make_model())?;
        match &self.serial {
            Some(serial) => write!(f, "#{serial}"),
            None => Ok(()),
        }
    }
}

/// The capture time as the camera wrote it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct CameraStamp {
    /// The clock's reading; sub-seconds included where the header has them.
    pub time: CameraTime,
    /// Whether sub-seconds were present. Where they were not the reading is cut off, not rounded, to whole seconds.
    pub has_subsec: bool,
    /// Zone offset written by the camera: local minus UTC, in seconds.
    pub offset_s: Option<i32>,
    /// Whether it is only the time of the file's last change, which an editor may have written.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub of_change: bool,
}

/// A position fix from a header.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct GpsFix {
    /// Latitude in degrees, north positive.
    pub lat_deg: f64,
    /// Longitude in degrees, east positive.
    pub lon_deg: f64,
    /// Height in metres, where given.
    pub elev_m: Option<f64>,
    /// Time of the fix, which may lag the picture, where given.
    pub utc: Option<Utc>,
}

/// How the light was let in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Exposure {
    /// Exposure time in seconds, as written (nominal).
    pub shutter_s: Option<f64>,
    /// Aperture as an f-number.
    pub f_number: Option<f64>,
    /// ISO speed.
    pub iso: Option<f64>,
    /// Exposure bias in stops.
    pub bias_ev: Option<f64>,
    /// Whether the camera said it was bracketing (EXIF ExposureMode 2).
    pub auto_bracket: Option<bool>,
    /// Focal length in millimetres.
    pub focal_mm: Option<f64>,
    /// Focal length that would give the same view on 36 by 24 mm, in millimetres.
    pub focal_35mm: Option<f64>,
}

impl Exposure {
    /// Light gathered relative to 1 s at f/1 and ISO 100, in stops: `log2(t · ISO/100 / N²)`.
    ///
    /// Aperture and ISO count as f/1 and ISO 100 where absent, so only differences between frames of the same body
    /// and the same gaps mean something. `None` without a usable shutter time. By the numbers on the dials, up to a sixth of a stop off;
    /// [`true_stops`](super::true_stops) has what the camera does.
    pub fn stops(&self) -> Option<f64> {
        let t = self.shutter_s.filter(|t| t.is_finite() && *t > 0.0)?;
        let n = self
            .f_number
            .filter(|n| n.is_finite() && *n > 0.0)
            .unwrap_or(1.0);
        let iso = self
            .iso
            .filter(|i| i.is_finite() && *i > 0.0)
            .unwrap_or(100.0);
        Some((t * iso / 100.0 / (n * n)).log2())
    }
}

/// EXIF orientation, 1 to 8: how to turn the stored pixels upright (EXIF 2.32, tag 0x0112).
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Orientation(u8);

impl Orientation {
    /// Stored upright.
    pub const UPRIGHT: Self = Self(1);

    /// From the EXIF value; `None` outside 1 to 8.
    pub fn from_exif(value: u32) -> Option<Self> {
        u8::try_from(value)
            .ok()
            .filter(|v| (1..=8).contains(v))
            .map(Self)
    }

    /// The EXIF value, 1 to 8 (an unset value counts as 1).
    pub fn exif(self) -> u8 {
        self.0.max(1)
    }

    /// Whether width and height change places.
    pub fn swaps_sides(self) -> bool {
        self.exif() >= 5
    }
}

/// Which of the two jobs a camera did.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// The long lens on the Sun.
    Tele,
    /// The wide view: the crowd, the landscape, the planets.
    Wide,
}

impl Role {
    /// The word used in `shots.csv`.
    pub fn word(self) -> &'static str {
        match self {
            Self::Tele => "tele",
            Self::Wide => "wide",
        }
    }
}

/// One picture: the file and what its header says. What the header does not say is `None`, never a guess.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Shot {
    /// The file.
    pub file: CardFile,
    /// The body, where the header names one.
    pub camera: Option<CameraId>,
    /// Capture time on the camera's clock.
    pub stamp: Option<CameraStamp>,
    /// Position, where the header has one.
    pub gps: Option<GpsFix>,
    /// Exposure settings.
    pub exposure: Exposure,
    /// How to turn the pixels upright.
    pub orientation: Orientation,
    /// Width after turning upright, in pixels.
    pub width_px: Option<u32>,
    /// Height after turning upright, in pixels.
    pub height_px: Option<u32>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_make_is_said_once() {
        let id = |make: &str, model: &str| CameraId {
            make: make.into(),
            model: model.into(),
            serial: None,
        };
        assert_eq!(
            id("NIKON CORPORATION", "NIKON D850").to_string(),
            "NIKON D850"
        );
        assert_eq!(id("SONY", "ILCE-7M3").to_string(), "SONY ILCE-7M3");
        assert_eq!(id("", "").to_string(), "");
    }

    #[test]
    fn one_stop_is_one_stop() {
        let at = |shutter_s| Exposure {
            shutter_s: Some(shutter_s),
            iso: Some(100.0),
            ..Exposure::default()
        };
        let step = at(1.0 / 250.0).stops().unwrap() - at(1.0 / 500.0).stops().unwrap();
        assert!((step - 1.0).abs() < 1e-12);
        assert_eq!(at(0.0).stops(), None);
        assert_eq!(at(f64::NAN).stops(), None);
    }
}
