//! What the files say in EXIF (CIPA DC-008, EXIF 2.32): a block of its own in PNG and JPEG files, directories in TIFF files.

use std::io::{self, Cursor};

use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};

use super::PictureInfo;
use crate::domain::{Site, SiteSource, Utc};

/// The kind of file the fields are for: each has its own list of what must be there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Host {
    /// Size and coding of the pixels stand in the file itself.
    Png,
    /// The block repeats the size, in pixels across and down.
    Jpeg(u32, u32),
    /// Resolution and captions are tags of the picture.
    Tiff,
    /// The same, with linear light in place of sRGB.
    LinearTiff,
}

/// ColorSpace (EXIF 2.32, tag 0xA001): sRGB, or anything else, which the profile says.
const SRGB: u16 = 1;
const UNCALIBRATED: u16 = 0xFFFF;

/// EXIF bytes (TIFF structure, big-endian) of what is known about a picture.
pub(super) fn exif_block(info: &PictureInfo, host: Host) -> io::Result<Vec<u8>> {
    let fields = exif_fields(info, host);
    let mut writer = Writer::new();
    for field in &fields {
        writer.push_field(field);
    }
    let mut block = Cursor::new(Vec::new());
    writer
        .write(&mut block, false)
        .map_err(|e| io::Error::other(format!("EXIF block: {e}")))?;
    Ok(block.into_inner())
}

/// The fields of a picture, for all the directories of EXIF.
pub(super) fn exif_fields(info: &PictureInfo, host: Host) -> Vec<Field> {
    let colour_space = match host {
        Host::LinearTiff => UNCALIBRATED,
        Host::Png | Host::Jpeg(..) | Host::Tiff => SRGB,
    };
    let mut fields = vec![
        text(Tag::ImageDescription, &info.full_description()),
        text(Tag::Software, &info.software),
        field(Tag::XResolution, dpi(info)),
        field(Tag::YResolution, dpi(info)),
        field(Tag::ResolutionUnit, Value::Short(vec![2])),
        field(Tag::ExifVersion, Value::Undefined(b"0232".to_vec(), 0)),
        field(Tag::FlashpixVersion, Value::Undefined(b"0100".to_vec(), 0)),
        field(Tag::ColorSpace, Value::Short(vec![colour_space])),
    ];
    if let Host::Jpeg(width, height) = host {
        let components = Value::Undefined(vec![1, 2, 3, 0], 0);
        fields.push(field(Tag::ComponentsConfiguration, components));
        fields.push(field(Tag::YCbCrPositioning, Value::Short(vec![1])));
        fields.push(field(Tag::PixelXDimension, Value::Long(vec![width])));
        fields.push(field(Tag::PixelYDimension, Value::Long(vec![height])));
    }
    if let Some(camera) = &info.camera {
        fields.push(text(Tag::Make, &camera.make));
        fields.push(text(Tag::Model, &camera.model));
    }
    if let Some(credit) = &info.credit {
        fields.push(text(Tag::Artist, credit));
        fields.push(text(Tag::Copyright, credit));
    }
    if let Some((first, _)) = info.captured {
        let (time, milliseconds) = exif_time(first.plus_s(f64::from(info.offset_s)));
        fields.push(text(Tag::DateTimeOriginal, &time));
        fields.push(text(Tag::SubSecTimeOriginal, &milliseconds));
        fields.push(text(Tag::OffsetTimeOriginal, &offset(info.offset_s)));
    }
    if let Some((site, source)) = &info.place {
        fields.extend(position(site));
        fields.push(field(Tag::GPSProcessingMethod, known_by(*source)));
    }
    fields
}

fn dpi(info: &PictureInfo) -> Value {
    Value::Rational(vec![(info.dpi_whole(), 1).into()])
}

fn field(tag: Tag, value: Value) -> Field {
    Field {
        tag,
        ifd_num: In::PRIMARY,
        value,
    }
}

/// Text with zero bytes taken out, which would end it early.
fn text(tag: Tag, words: &str) -> Field {
    let bytes = words.bytes().filter(|b| *b != 0).collect();
    field(tag, Value::Ascii(vec![bytes]))
}

/// Local time minus UTC as `+HH:MM` (EXIF 2.32, tag 0x9011).
fn offset(offset_s: i32) -> String {
    let sign = if offset_s < 0 { '-' } else { '+' };
    let minutes = offset_s.unsigned_abs() / 60;
    format!("{sign}{:02}:{:02}", minutes / 60, minutes % 60)
}

/// Local time and its milliseconds (EXIF 2.32, tags 0x9003 and 0x9291), rounded as everywhere.
fn exif_time(local: Utc) -> (String, String) {
    let words = local.to_string();
    let (whole, part) = words.split_once('.').unwrap_or((&words, "000"));
    let time = whole.replace('-', ":").replace('T', " ");
    (time, part.trim_end_matches('Z').to_owned())
}

fn position(site: &Site) -> [Field; 7] {
    let hemisphere = |value: f64, plus, minus| if value < 0.0 { minus } else { plus };
    let below = u8::from(site.elev_m < 0.0);
    let height: Rational = ((site.elev_m.abs() * 10.0).round() as u32, 10).into();
    [
        field(Tag::GPSVersionID, Value::Byte(vec![2, 3, 0, 0])),
        text(Tag::GPSLatitudeRef, hemisphere(site.lat_deg, "N", "S")),
        field(Tag::GPSLatitude, degrees(site.lat_deg)),
        text(Tag::GPSLongitudeRef, hemisphere(site.lon_deg, "E", "W")),
        field(Tag::GPSLongitude, degrees(site.lon_deg)),
        field(Tag::GPSAltitudeRef, Value::Byte(vec![below])),
        field(Tag::GPSAltitude, Value::Rational(vec![height])),
    ]
}

/// How a place is known, in the words of EXIF 2.32, tag 0x1b.
fn known_by(source: SiteSource) -> Value {
    let word = match source {
        SiteSource::Gps => "GPS",
        SiteSource::Given => "MANUAL",
    };
    Value::Undefined([b"ASCII\0\0\0", word.as_bytes()].concat(), 0)
}

/// Degrees, minutes and hundredths of seconds.
fn degrees(deg: f64) -> Value {
    let hundredths = (deg.abs() * 360_000.0).round() as u32;
    Value::Rational(vec![
        (hundredths / 360_000, 1).into(),
        (hundredths / 6_000 % 60, 1).into(),
        (hundredths % 6_000, 100).into(),
    ])
}
