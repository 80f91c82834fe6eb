//! The EXIF block that PNG and JPEG files carry.

use std::io::{self, Cursor};

use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};

use super::PictureInfo;
use crate::domain::{Site, Utc};

/// EXIF bytes (TIFF structure, big-endian) of what is known about a picture.
pub(super) fn exif_block(info: &PictureInfo) -> io::Result<Vec<u8>> {
    let fields = fields(info);
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

fn fields(info: &PictureInfo) -> Vec<Field> {
    let mut fields = vec![
        text(Tag::ImageDescription, &info.full_description()),
        text(Tag::Software, &info.software),
        field(Tag::XResolution, dpi(info)),
        field(Tag::YResolution, dpi(info)),
        field(Tag::ResolutionUnit, Value::Short(vec![2])),
        field(Tag::ColorSpace, Value::Short(vec![1])),
    ];
    if let Some(credit) = &info.credit {
        fields.push(text(Tag::Artist, credit));
        fields.push(text(Tag::Copyright, credit));
    }
    if let Some((first, _)) = info.captured {
        fields.push(text(Tag::DateTimeOriginal, &exif_time(first)));
        fields.push(text(Tag::OffsetTimeOriginal, "+00:00"));
    }
    if let Some(site) = &info.place {
        fields.extend(position(site));
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

/// `YYYY:MM:DD HH:MM:SS` on UTC (EXIF 2.32, tag 0x9003).
pub(super) fn exif_time(utc: Utc) -> String {
    let civil = jiff::tz::TimeZone::UTC.to_datetime(utc.timestamp());
    civil.strftime("%Y:%m:%d %H:%M:%S").to_string()
}

fn position(site: &Site) -> [Field; 6] {
    let hemisphere = |value: f64, plus, minus| if value < 0.0 { minus } else { plus };
    let below = u8::from(site.elev_m < 0.0);
    let height: Rational = ((site.elev_m.abs() * 10.0).round() as u32, 10).into();
    [
        text(Tag::GPSLatitudeRef, hemisphere(site.lat_deg, "N", "S")),
        field(Tag::GPSLatitude, degrees(site.lat_deg)),
        text(Tag::GPSLongitudeRef, hemisphere(site.lon_deg, "E", "W")),
        field(Tag::GPSLongitude, degrees(site.lon_deg)),
        field(Tag::GPSAltitudeRef, Value::Byte(vec![below])),
        field(Tag::GPSAltitude, Value::Rational(vec![height])),
    ]
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
