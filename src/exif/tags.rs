//! Looking tags up, with damaged values taken as absent.

use exif::{Context, Exif, Field, In, Tag, Value};

use crate::domain::header_text;

/// The tags read (CIPA DC-008, Exif 2.32, unless noted).
pub(super) mod tag {
    use exif::{Context, Tag};

    pub(crate) const NEW_SUBFILE_TYPE: Tag = Tag(Context::Tiff, 0x00FE); // TIFF 6.0
    pub(crate) const IMAGE_WIDTH: Tag = Tag::ImageWidth;
    pub(crate) const IMAGE_LENGTH: Tag = Tag::ImageLength;
    pub(crate) const MAKE: Tag = Tag::Make;
    pub(crate) const MODEL: Tag = Tag::Model;
    pub(crate) const ORIENTATION: Tag = Tag::Orientation;
    pub(crate) const PIXEL_X_DIMENSION: Tag = Tag::PixelXDimension;
    pub(crate) const PIXEL_Y_DIMENSION: Tag = Tag::PixelYDimension;
    pub(crate) const BODY_SERIAL_NUMBER: Tag = Tag::BodySerialNumber;
    pub(crate) const PANASONIC_ISO: Tag = Tag(Context::Tiff, 0x0017); // RW2, from memory; checked on a real file
    pub(crate) const DNG_SERIAL_NUMBER: Tag = Tag(Context::Tiff, 0xC62F); // Adobe DNG 1.7, CameraSerialNumber
}

/// What the root of a block of TIFF stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Root {
    /// A whole tree: first picture, with the Exif and GPS tags below it.
    Whole,
    /// The Exif tags alone.
    ExifOnly,
    /// The GPS tags alone.
    GpsOnly,
}

/// All tags of a file.
#[derive(Default)]
pub(super) struct Tags {
    blocks: Vec<(Root, Exif)>,
}

impl Tags {
    pub(super) fn add(&mut self, root: Root, block: Exif) {
        self.blocks.push((root, block));
    }

    /// Whether nothing was taken in.
    pub(super) fn is_empty(&self) -> bool {
        self.blocks.is_empty()
    }

    /// A field, wherever the file keeps it: Exif tags may also stand among those of the first picture (TIFF/EP, ISO
    /// 12234-2).
    fn field(&self, tag: Tag) -> Option<&Field> {
        let plain = Tag(Context::Tiff, tag.number());
        self.blocks.iter().find_map(|(root, block)| {
            let get = |tag| block.get_field(tag, In::PRIMARY);
            match (root, tag.context()) {
                (Root::Whole, Context::Exif) => get(tag).or_else(|| get(plain)),
                (Root::Whole, _) => get(tag),
                (Root::ExifOnly, Context::Exif) | (Root::GpsOnly, Context::Gps) => get(plain),
                _ => None,
            }
        })
    }

    /// A text without padding and control characters; `None` when blank.
    pub(super) fn text(&self, tag: Tag) -> Option<String> {
        let bytes = match &self.field(tag)?.value {
            Value::Ascii(parts) => parts.first()?.as_slice(),
            Value::Byte(bytes) | Value::Undefined(bytes, _) => bytes.as_slice(),
            _ => return None,
        };
        let until_zero = bytes.split(|b| *b == 0).next().unwrap_or_default();
        header_text(until_zero)
    }

    /// The finite numbers of a tag in order; a rational over zero ends the list. Empty when absent.
    pub(super) fn numbers(&self, tag: Tag) -> Vec<f64> {
        let Some(field) = self.field(tag) else {
            return Vec::new();
        };
        let all: Vec<f64> = match &field.value {
            Value::Byte(v) => v.iter().map(|n| f64::from(*n)).collect(),
            Value::Short(v) => v.iter().map(|n| f64::from(*n)).collect(),
            Value::Long(v) => v.iter().map(|n| f64::from(*n)).collect(),
            Value::SByte(v) => v.iter().map(|n| f64::from(*n)).collect(),
            Value::SShort(v) => v.iter().map(|n| f64::from(*n)).collect(),
            Value::SLong(v) => v.iter().map(|n| f64::from(*n)).collect(),
            Value::Rational(v) => v
                .iter()
                .map(|r| f64::from(r.num) / f64::from(r.denom))
                .collect(),
            Value::SRational(v) => v
                .iter()
                .map(|r| f64::from(r.num) / f64::from(r.denom))
                .collect(),
            Value::Float(v) => v.iter().map(|n| f64::from(*n)).collect(),
            Value::Double(v) => v.clone(),
            _ => Vec::new(),
        };
        all.into_iter().take_while(|n| n.is_finite()).collect()
    }

    /// The first number of a tag.
    pub(super) fn number(&self, tag: Tag) -> Option<f64> {
        self.numbers(tag).first().copied()
    }

    /// The first number of a tag, inside a range.
    pub(super) fn number_in(&self, tag: Tag, range: std::ops::RangeInclusive<f64>) -> Option<f64> {
        self.number(tag).filter(|n| range.contains(n))
    }

    /// The first number of a tag that holds whole numbers.
    pub(super) fn whole_number(&self, tag: Tag) -> Option<u32> {
        self.field(tag)?.value.get_uint(0)
    }
}
