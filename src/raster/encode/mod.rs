//! From pixels to files of pictures: 16-bit TIFF, PNG and JPEG, with a colour profile, a print size and a caption.
//!
//! Writers take anything that can give rows ([`Rows`]), so a sheet far larger than memory is written band by band.
//! The same rows and the same [`PictureInfo`] give the same bytes: nothing here looks at the clock.

mod exif_block;
mod jpeg;
mod picture;
mod png_file;
mod profile;
mod tiff_file;

use crate::domain::{CameraId, Site, SiteSource, Utc};

pub use jpeg::write_jpeg;
pub use picture::{Picture, Rows};
pub use png_file::{Animation, Depth, write_png};
use profile::linear_profile;
pub use profile::srgb_profile;
pub use tiff_file::{Packing, write_tiff_float, write_tiff16};

/// Rows handed out at once: enough to keep the writers busy, small beside any picture.
const BAND_ROWS: usize = 64;

/// What a file says about its picture.
#[derive(Clone, Debug, PartialEq)]
pub struct PictureInfo {
    /// What the picture shows, and honestly how it was made ("composite of 13 frames").
    pub description: String,
    /// Program and version.
    pub software: String,
    /// Credit line: whose picture it is.
    pub credit: Option<String>,
    /// True times of the first and the last exposure in it.
    pub captured: Option<(Utc, Utc)>,
    /// Local time minus UTC in seconds, for the times in EXIF; whole minutes (EXIF 2.32, tag 0x9011).
    pub offset_s: i32,
    /// The camera, where the whole picture is of one.
    pub camera: Option<CameraId>,
    /// Place and how it is known, where it may be told. `None` keeps it out of the file.
    pub place: Option<(Site, SiteSource)>,
    /// Dots per inch of the print; held to 1 to 65,535.
    pub dpi: f64,
}

impl PictureInfo {
    /// The program's name and version, as written to every picture.
    pub const SOFTWARE: &'static str = concat!("contactstrip ", env!("CARGO_PKG_VERSION"));

    /// A picture of which only this is known; 300 dots per inch (common practice for prints).
    pub fn new(description: impl Into<String>) -> Self {
        Self {
            description: description.into(),
            software: Self::SOFTWARE.to_owned(),
            credit: None,
            captured: None,
            offset_s: 0,
            camera: None,
            place: None,
            dpi: 300.0,
        }
    }

    /// Dots per inch as files hold them.
    fn dpi_whole(&self) -> u32 {
        // A float out of range or not a number is held by the clamp and the cast.
        self.dpi.round().clamp(1.0, 65_535.0) as u32
    }

    /// First and last capture times in words, where known.
    fn captured_text(&self) -> Option<String> {
        let (first, last) = self.captured?;
        Some(format!("{first} to {last}"))
    }

    /// Description with the capture range behind it.
    fn full_description(&self) -> String {
        match self.captured_text() {
            Some(range) => format!("{}. Captured {range}", self.description),
            None => self.description.clone(),
        }
    }
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use super::*;

    /// A picture with every kind of value, taller than a band and of an odd width.
    fn chart() -> Picture {
        let (width, height) = (37, 2 * BAND_ROWS + 5);
        let value = |i: usize| (i * 7_919 % 65_536) as u16;
        Picture::new(width, height, (0..width * height * 3).map(value).collect())
    }

    fn info() -> PictureInfo {
        let utc = |text: &str| Utc::new(text.parse().unwrap());
        PictureInfo {
            credit: Some("A. Photographer".into()),
            captured: Some((utc("2019-07-02T19:23:00Z"), utc("2019-07-02T21:46:00Z"))),
            offset_s: -4 * 3600,
            place: Some((Site::new(-30.03, -70.71, 600.0).unwrap(), SiteSource::Given)),
            ..PictureInfo::new("Composite of 13 frames")
        }
    }

    fn tiff() -> Vec<u8> {
        let mut file = Cursor::new(Vec::new());
        write_tiff16(&chart(), &info(), Packing::Lzw, &mut file).unwrap();
        file.into_inner()
    }

    fn png(depth: Depth) -> Vec<u8> {
        let mut file = Vec::new();
        write_png(&chart(), &info(), depth, &mut file).unwrap();
        file
    }

    fn jpeg() -> Vec<u8> {
        let mut file = Vec::new();
        write_jpeg(&chart(), &info(), 95, &mut file).unwrap();
        file
    }

    #[test]
    fn sixteen_bits_come_back_as_they_were() {
        for file in [tiff(), png(Depth::Sixteen)] {
            let back = image::load_from_memory(&file).unwrap().into_rgb16();
            assert_eq!(back.into_raw(), chart().data());
        }
    }

    #[test]
    fn the_same_picture_gives_the_same_bytes() {
        assert_eq!(tiff(), tiff());
        assert_eq!(png(Depth::Eight), png(Depth::Eight));
        assert_eq!(jpeg(), jpeg());
    }

    #[test]
    fn captions_travel_with_the_file() {
        for file in [tiff(), png(Depth::Eight), jpeg()] {
            let read = exif::Reader::new()
                .read_from_container(&mut Cursor::new(&file))
                .unwrap();
            let words = |tag| {
                let field = read.get_field(tag, exif::In::PRIMARY).unwrap();
                field.display_value().to_string()
            };
            assert!(words(exif::Tag::ImageDescription).contains("Composite of 13 frames"));
            assert!(words(exif::Tag::ImageDescription).contains("2019-07-02T21:46:00"));
            assert!(words(exif::Tag::Artist).contains("A. Photographer"));
            assert_eq!(words(exif::Tag::XResolution), "300");
            assert_eq!(words(exif::Tag::DateTimeOriginal), "2019-07-02 15:23:00");
            assert_eq!(words(exif::Tag::OffsetTimeOriginal), "\"-04:00\"");
            assert_eq!(words(exif::Tag::GPSLatitude), "30 deg 1 min 48 sec");
            assert_eq!(words(exif::Tag::GPSLatitudeRef), "S");
            assert_eq!(words(exif::Tag::ColorSpace), "sRGB");
        }
    }

    /// Values of a TIFF begin on word boundaries (TIFF 6.0 section 2), and what is not text or number has a type of its
    /// own (ICC.1:2022 annex B.4).
    #[test]
    fn a_tiff_keeps_to_the_letter() {
        let file = tiff();
        let two = |at: usize| usize::from(u16::from_ne_bytes(file[at..at + 2].try_into().unwrap()));
        let four = |at: usize| u32::from_ne_bytes(file[at..at + 4].try_into().unwrap()) as usize;
        const BYTES_OF_TYPE: [usize; 8] = [0, 1, 1, 2, 4, 8, 1, 1];
        const PROFILE: usize = 34_675;
        let mut directories = vec![four(4)];
        let mut seen = 0;
        while let Some(start) = directories.pop() {
            assert_eq!(start % 2, 0);
            for entry in (0..two(start)).map(|i| start + 2 + 12 * i) {
                let (tag, kind, count) = (two(entry), two(entry + 2), four(entry + 4));
                if BYTES_OF_TYPE[kind] * count > 4 {
                    assert_eq!(four(entry + 8) % 2, 0, "tag {tag}");
                }
                if tag == PROFILE {
                    assert_eq!(kind, 7);
                }
                if [34_665, 34_853].contains(&tag) {
                    directories.push(four(entry + 8));
                }
                seen += 1;
            }
        }
        assert!(seen > 30, "{seen} tags");
    }

    #[test]
    fn every_file_names_its_colours() {
        let marked = |file: &[u8], mark: &[u8]| file.windows(mark.len()).any(|w| w == mark);
        assert!(marked(&tiff(), b"acsp"));
        assert!(marked(&png(Depth::Sixteen), b"iCCP"));
        assert!(marked(&jpeg(), b"ICC_PROFILE"));
    }

    #[test]
    fn an_empty_picture_is_refused_not_fatal() {
        let none = Picture::new(0, 0, Vec::new());
        assert!(write_png(&none, &info(), Depth::Eight, &mut Vec::new()).is_err());
        assert!(write_jpeg(&none, &info(), 90, &mut Vec::new()).is_err());
    }
}
