//! The EXIF header of a drawn frame.

use std::io::Cursor;

use ::exif::experimental::Writer;
use ::exif::{Field, In, Rational, SRational, Tag, Value};

use super::body::Body;
use super::scenario::PlannedShot;
use crate::domain::{Site, Utc};

/// The camera clock's reading for a true instant: date, time and hundredths, as a body writes them (cut off, not rounded).
pub(super) fn camera_reading(body: &Body, utc: Utc) -> jiff::civil::DateTime {
    let shown = utc.plus_s(f64::from(body.zone_offset_s) + body.clock_error_s);
    jiff::tz::TimeZone::UTC.to_datetime(shown.timestamp())
}

/// An APP1 segment with the header of one frame.
///
/// # Errors
/// The writer's, when a value cannot be encoded.
pub(super) fn app1(
    body: &Body,
    shot: &PlannedShot,
    site: &Site,
    size: (u32, u32),
) -> Result<Vec<u8>, ::exif::Error> {
    let mut fields = camera_fields(body, shot, size);
    fields.extend(time_fields(body, shot));
    fields.extend(exposure_fields(body, shot));
    fields.extend(position_fields(shot, site));
    let mut writer = Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    let mut tiff = Cursor::new(Vec::new());
    writer.write(&mut tiff, false)?;
    let tiff = tiff.into_inner();
    let mut segment = vec![0xFF, 0xE1];
    let length = u16::try_from(2 + 6 + tiff.len())
        .map_err(|_| ::exif::Error::TooBig("header over 64 kB"))?;
    segment.extend_from_slice(&length.to_be_bytes());
    segment.extend_from_slice(b"Exif\0\0");
    segment.extend_from_slice(&tiff);
    Ok(segment)
}

fn field(tag: Tag, value: Value) -> Field {
    Field {
        tag,
        ifd_num: In::PRIMARY,
        value,
    }
}

fn ascii(text: &str) -> Value {
    Value::Ascii(vec![text.as_bytes().to_vec()])
}

fn short(value: u32) -> Value {
    Value::Short(vec![value.min(u32::from(u16::MAX)) as u16])
}

fn rational(num: u32, denom: u32) -> Value {
    Value::Rational(vec![Rational { num, denom }])
}

fn camera_fields(body: &Body, shot: &PlannedShot, (width, height): (u32, u32)) -> Vec<Field> {
    let mut fields = vec![
        field(Tag::Make, ascii(&body.id.make)),
        field(Tag::Model, ascii(&body.id.model)),
        field(Tag::Orientation, short(u32::from(shot.orientation.exif()))),
        field(Tag::Software, ascii("drawn picture, not a photograph")),
        field(Tag::ExifVersion, Value::Undefined(b"0231".to_vec(), 0)),
        field(Tag::ColorSpace, short(1)),
        field(Tag::PixelXDimension, Value::Long(vec![width])),
        field(Tag::PixelYDimension, Value::Long(vec![height])),
    ];
    if let Some(serial) = &body.id.serial {
        fields.push(field(Tag::BodySerialNumber, ascii(serial)));
    }
    fields
}

fn time_fields(body: &Body, shot: &PlannedShot) -> Vec<Field> {
    let reading = camera_reading(body, shot.start);
    let text = reading.strftime("%Y:%m:%d %H:%M:%S").to_string();
    let mut fields = vec![
        field(Tag::DateTime, ascii(&text)),
        field(Tag::DateTimeOriginal, ascii(&text)),
        field(Tag::DateTimeDigitized, ascii(&text)),
    ];
    if body.subsec {
        let hundredths = format!("{:02}", reading.subsec_nanosecond() / 10_000_000);
        for tag in [
            Tag::SubSecTime,
            Tag::SubSecTimeOriginal,
            Tag::SubSecTimeDigitized,
        ] {
            fields.push(field(tag, ascii(&hundredths)));
        }
    }
    fields
}

fn exposure_fields(body: &Body, shot: &PlannedShot) -> Vec<Field> {
    let (num, denom) = shot.dials.marked_shutter();
    let bracketed = shot.burst.is_some();
    let focal_35mm = (body.focal_mm * 36.0 / body.sensor_width_mm).round() as u32;
    let bias = Value::SRational(vec![SRational {
        num: shot.bias_stops,
        denom: 1,
    }]);
    vec![
        field(Tag::ExposureTime, rational(num, denom)),
        field(
            Tag::FNumber,
            rational(shot.dials.marked_aperture_tenths(), 10),
        ),
        field(Tag::PhotographicSensitivity, short(shot.dials.iso)),
        field(Tag::SensitivityType, short(2)),
        // 1 manual, 2 auto bracket (EXIF 2.32, tag 0xA402).
        field(Tag::ExposureMode, short(if bracketed { 2 } else { 1 })),
        field(Tag::ExposureProgram, short(1)),
        field(Tag::ExposureBiasValue, bias),
        field(
            Tag::FocalLength,
            rational((body.focal_mm * 10.0).round() as u32, 10),
        ),
        field(Tag::FocalLengthIn35mmFilm, short(focal_35mm)),
        field(Tag::WhiteBalance, short(1)),
        field(Tag::SceneCaptureType, short(0)),
    ]
}

/// Degrees, minutes and seconds to the thousandth.
fn sexagesimal(deg: f64) -> Value {
    let milliseconds = (deg.abs() * 3_600_000.0).round() as u32;
    let part = |num, denom| Rational { num, denom };
    Value::Rational(vec![
        part(milliseconds / 3_600_000, 1),
        part(milliseconds / 60_000 % 60, 1),
        part(milliseconds % 60_000, 1000),
    ])
}

fn position_fields(shot: &PlannedShot, site: &Site) -> Vec<Field> {
    let Some(lag_s) = shot.gps_lag_s else {
        return Vec::new();
    };
    let fix = jiff::tz::TimeZone::UTC.to_datetime(shot.start.plus_s(-lag_s).timestamp());
    let part = |v: i8| Rational {
        num: u32::from(v.unsigned_abs()),
        denom: 1,
    };
    vec![
        field(Tag::GPSVersionID, Value::Byte(vec![2, 3, 0, 0])),
        field(
            Tag::GPSLatitudeRef,
            ascii(if site.lat_deg < 0.0 { "S" } else { "N" }),
        ),
        field(Tag::GPSLatitude, sexagesimal(site.lat_deg)),
        field(
            Tag::GPSLongitudeRef,
            ascii(if site.lon_deg < 0.0 { "W" } else { "E" }),
        ),
        field(Tag::GPSLongitude, sexagesimal(site.lon_deg)),
        field(
            Tag::GPSAltitudeRef,
            Value::Byte(vec![u8::from(site.elev_m < 0.0)]),
        ),
        field(
            Tag::GPSAltitude,
            rational((site.elev_m.abs() * 10.0).round() as u32, 10),
        ),
        field(
            Tag::GPSTimeStamp,
            Value::Rational(vec![
                part(fix.hour()),
                part(fix.minute()),
                part(fix.second()),
            ]),
        ),
        field(
            Tag::GPSDateStamp,
            ascii(&fix.strftime("%Y:%m:%d").to_string()),
        ),
        field(Tag::GPSMapDatum, ascii("WGS-84")),
    ]
}
