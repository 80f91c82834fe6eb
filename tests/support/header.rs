//! Pictures with metadata, for temporary cards.

use std::io::Cursor;

use contactstrip::raster::{Frame, Samples};
use exif::experimental::Writer;
use exif::{Field, In, Rational, SRational, Tag, Value};

/// A drawn frame of three channels as a baseline JPEG.
pub(crate) fn encoded(frame: &Frame, quality: u8) -> Vec<u8> {
    let Samples::U8(values) = frame.samples() else {
        panic!("drawn frames have 8 bits");
    };
    let mut jpeg = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, quality)
        .encode(
            values,
            frame.width() as u32,
            frame.height() as u32,
            image::ExtendedColorType::Rgb8,
        )
        .unwrap();
    jpeg
}

/// One tag of the first directory.
pub(crate) fn field(tag: Tag, value: Value) -> Field {
    Field {
        tag,
        ifd_num: In::PRIMARY,
        value,
    }
}

pub(crate) fn text(tag: Tag, text: &str) -> Field {
    field(tag, Value::Ascii(vec![text.as_bytes().to_vec()]))
}

pub(crate) fn short(tag: Tag, value: u16) -> Field {
    field(tag, Value::Short(vec![value]))
}

pub(crate) fn ratios(tag: Tag, parts: &[(u32, u32)]) -> Field {
    let parts = parts.iter().map(|&(num, denom)| Rational { num, denom });
    field(tag, Value::Rational(parts.collect()))
}

pub(crate) fn signed_ratio(tag: Tag, num: i32, denom: i32) -> Field {
    field(tag, Value::SRational(vec![SRational { num, denom }]))
}

/// A block of TIFF with these tags.
pub(crate) fn block(fields: &[Field], little_endian: bool) -> Vec<u8> {
    let mut writer = Writer::new();
    for field in fields {
        writer.push_field(field);
    }
    let mut out = Cursor::new(Vec::new());
    writer.write(&mut out, little_endian).unwrap();
    out.into_inner()
}

/// A JPEG of the given size with a gradient in it.
pub(crate) fn jpeg(width: u32, height: u32) -> Vec<u8> {
    let picture = image::RgbImage::from_fn(width, height, |x, y| {
        image::Rgb([(x * 255 / width) as u8, (y * 255 / height) as u8, 128])
    });
    let mut out = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut out, 92)
        .encode_image(&picture)
        .unwrap();
    out
}

/// The JPEG with a block of TIFF as its Exif segment.
pub(crate) fn with_exif(jpeg: &[u8], block: &[u8]) -> Vec<u8> {
    let length = u16::try_from(block.len() + 8).unwrap().to_be_bytes();
    let mut out = jpeg[..2].to_vec();
    out.extend([0xFF, 0xE1, length[0], length[1]]);
    out.extend(b"Exif\0\0");
    out.extend(block);
    out.extend(&jpeg[2..]);
    out
}
