//! Sensor values with their black and white points.

use rawler::decoders::{Decoder, WellKnownIFD};
use rawler::formats::tiff::{Entry, IFD};
use rawler::imgop::sensor::SensorType;
use rawler::imgop::{Dim2, Point, Rect};
use rawler::rawimage::RawPhotometricInterpretation as Kind;
use rawler::tags::{DngTag, TiffCommonTag};
use rawler::{CFA, RawImage, RawImageData, RawlerError};

use super::colour;
use crate::domain::{RawFault, RawUnknown};
use crate::raster::DecodeError;
use crate::raster::RawHeader;

/// Smallest picture developed, in pixels on a side: demosaicing looks three pixels around.
const MIN_SIDE_PX: usize = 16;

/// Sensor values of a raw file, black subtracted, for checking against other readers.
#[derive(Clone, Debug, PartialEq)]
pub struct SensorValues {
    /// Pixels across of the recommended area.
    pub width: usize,
    /// Pixels down of the recommended area.
    pub height: usize,
    /// Values a pixel: 1 behind a colour filter array or on a grey sensor, 3 in files that are demosaiced already.
    pub channels: usize,
    /// Row-major, in steps of the converter above black; noise may lie below 0.
    pub values: Vec<f32>,
    /// The colours of the array from its top-left pixel on, row by row (`RGGB`), or empty where there is no array.
    pub pattern: String,
}

/// How sensor pixels stand for colours.
#[derive(Clone, Debug)]
pub(super) enum Array {
    /// Each pixel has one of three colours, in squares of two (Bayer).
    Bayer(CFA),
    /// Each pixel has one of three colours, in squares of six (X-Trans).
    Xtrans(CFA),
    /// Each pixel has all three.
    Full,
    /// There are no colours.
    Grey,
}

/// An unpacked raw picture that is understood.
pub(super) struct Sensor {
    pub(super) image: RawImage,
    pub(super) array: Array,
    /// Pixels behind glass, not covered; values may be taken from here.
    pub(super) lit: Rect,
    /// The picture's pixels, as the maker recommends.
    pub(super) area: Rect,
    /// Top-left pixel of the pattern of black levels.
    black_from: Point,
}

impl Sensor {
    pub(super) fn new(image: RawImage) -> Result<Self, DecodeError> {
        let unknown = |what| Err(DecodeError::UnknownRaw(what));
        if image.fuji_rotation_width.is_some() {
            return unknown(RawUnknown::OnACorner);
        }
        let array = match (&image.photometric, image.cpp) {
            (Kind::Cfa(config), 1) if config.cfa.is_rgb() => match config.sensor {
                SensorType::Bayer => Array::Bayer(config.cfa.clone()),
                SensorType::Xtrans => Array::Xtrans(config.cfa.clone()),
            },
            (Kind::LinearRaw, 3) => Array::Full,
            (Kind::BlackIsZero, 1) | (Kind::LinearRaw, 1) => Array::Grey,
            _ => return unknown(RawUnknown::OtherColours),
        };
        let (lit, area) = (lit(&image), area(&image));
        if area.d.w < MIN_SIDE_PX || area.d.h < MIN_SIDE_PX {
            return unknown(RawUnknown::Stamp);
        }
        let values = match &image.data {
            RawImageData::Integer(v) => v.len(),
            RawImageData::Float(v) => v.len(),
        };
        if values != image.width * image.height * image.cpp {
            return Err(DecodeError::Raw(RawFault::MissingValues));
        }
        let black_from = if image.camera.mode == "dng" {
            lit.p // Adobe DNG 1.7, BlackLevelRepeatDim: the pattern starts at the active area
        } else {
            Point::zero()
        };
        Ok(Self {
            image,
            array,
            lit,
            area,
            black_from,
        })
    }

    /// Values a pixel.
    pub(super) fn channels(&self) -> usize {
        self.image.cpp
    }

    /// A stored value.
    fn stored(&self, index: usize) -> f32 {
        match &self.image.data {
            RawImageData::Integer(v) => f32::from(v[index]),
            RawImageData::Float(v) => v[index],
        }
    }

    /// Black levels of one row: `period` of them for each value of a pixel, the first one at column 0.
    fn blacks(&self, y: usize) -> (Vec<f32>, usize) {
        let black = &self.image.blacklevel;
        let (width, height, cpp) = (black.width.max(1), black.height.max(1), black.cpp.max(1));
        let row = (y + height * self.black_from.y - self.black_from.y) % height;
        let level = |x: usize, c: usize| {
            let column = (x + width * self.black_from.x - self.black_from.x) % width;
            let at = (row * width + column) * cpp + c.min(cpp - 1);
            let level = black.levels.get(at).map_or(0.0, |l| l.as_f32());
            if level.is_finite() { level } else { 0.0 }
        };
        let channels = self.channels();
        let levels = (0..width * channels)
            .map(|i| level(i / channels, i % channels))
            .collect();
        (levels, width * channels)
    }

    /// White level of a value of a pixel. Levels for the four places of a Bayer square are taken as the least one.
    fn white(&self, channel: usize) -> f32 {
        let levels = &self.image.whitelevel.0;
        let level = match (self.channels(), levels.len()) {
            (3, 3) => levels.get(channel).copied(),
            _ => levels.iter().copied().min(),
        };
        level.map_or(65_535.0, |l| l as f32)
    }

    /// Puts `out.len()` values of a row from column `x` on into `out`: above black, and with 1 at saturation where
    /// `scaled`.
    pub(super) fn row(&self, x: usize, y: usize, scaled: bool, out: &mut [f32]) {
        let channels = self.channels();
        let (blacks, period) = self.blacks(y);
        let scales: Vec<f32> = (0..period)
            .map(|i| match scaled {
                true => 1.0 / (self.white(i % channels) - blacks[i]).max(1e-6),
                false => 1.0,
            })
            .collect();
        let first = x * channels;
        let start = y * self.image.width * channels + first;
        for (i, value) in out.iter_mut().enumerate() {
            let place = (first + i) % period;
            let light = (self.stored(start + i) - blacks[place]) * scales[place];
            *value = if light.is_finite() { light } else { 0.0 };
        }
    }

    /// All values of the picture's area, above black.
    pub(super) fn values(&self) -> SensorValues {
        let (width, height, channels) = (self.area.d.w, self.area.d.h, self.channels());
        let mut values = vec![0.0; width * height * channels];
        for (y, row) in values.chunks_exact_mut(width * channels).enumerate() {
            self.row(self.area.p.x, self.area.p.y + y, false, row);
        }
        let pattern = match &self.array {
            Array::Bayer(cfa) | Array::Xtrans(cfa) => {
                cfa.shift(self.area.p.x, self.area.p.y).name.clone()
            }
            Array::Full | Array::Grey => String::new(),
        };
        SensorValues {
            width,
            height,
            channels,
            values,
            pattern,
        }
    }
}

fn whole(image: &RawImage) -> Rect {
    Rect::new(Point::zero(), Dim2::new(image.width, image.height))
}

/// The part of `inner` that lies in `outer`; `outer` where nothing does.
fn within(inner: Option<Rect>, outer: Rect) -> Rect {
    let Some(inner) = inner else { return outer };
    let (x0, y0) = (inner.p.x.max(outer.p.x), inner.p.y.max(outer.p.y));
    let right = |r: &Rect| r.p.x.saturating_add(r.d.w);
    let below = |r: &Rect| r.p.y.saturating_add(r.d.h);
    let (x1, y1) = (
        right(&inner).min(right(&outer)),
        below(&inner).min(below(&outer)),
    );
    match x1 > x0 && y1 > y0 {
        true => Rect::new(Point::new(x0, y0), Dim2::new(x1 - x0, y1 - y0)),
        false => outer,
    }
}

fn lit(image: &RawImage) -> Rect {
    within(image.active_area, whole(image))
}

/// The pixels the maker recommends, which are those of the camera's own full-size pictures, as a rule.
pub(super) fn area(image: &RawImage) -> Rect {
    within(image.crop_area, lit(image))
}

/// The header of a DNG from its tags, without unpacking it (Adobe DNG 1.7, chapter 4).
pub(super) fn dng_header(decoder: &dyn Decoder) -> Result<RawHeader, RawlerError> {
    let missing = || RawlerError::DecoderFailed("a DNG without its tags".to_owned());
    let (raw, root) = (
        decoder.ifd(WellKnownIFD::Raw)?.ok_or_else(missing)?,
        decoder.ifd(WellKnownIFD::Root)?.ok_or_else(missing)?,
    );
    let width = number(raw.get_entry(TiffCommonTag::ImageWidth), 0).ok_or_else(missing)?;
    let height = number(raw.get_entry(TiffCommonTag::ImageLength), 0).ok_or_else(missing)?;
    let whole = Rect::new(Point::zero(), Dim2::new(width, height));
    let lit = within(dng_active(&raw), whole);
    let area = within(dng_crop(&raw, lit.p), lit);
    let neutral = root.get_entry(DngTag::AsShotNeutral);
    let factors: Option<Vec<f32>> = neutral
        .filter(|n| n.count() == 3)
        .map(|n| (0..3).map(|i| 1.0 / n.force_f32(i)).collect());
    Ok(RawHeader {
        width_px: u32::try_from(area.d.w).unwrap_or(0),
        height_px: u32::try_from(area.d.h).unwrap_or(0),
        balance: factors.and_then(|f| colour::as_shot(&f)),
    })
}

fn number(entry: Option<&Entry>, index: usize) -> Option<usize> {
    let entry = entry.filter(|e| e.count() as usize > index)?;
    let value = entry.force_f32(index);
    (value.is_finite() && value >= 0.0).then_some(value as usize)
}

fn dng_active(raw: &IFD) -> Option<Rect> {
    let side = |i| number(raw.get_entry(DngTag::ActiveArea), i);
    let (top, left, bottom, right) = (side(0)?, side(1)?, side(2)?, side(3)?);
    let size = Dim2::new(right.checked_sub(left)?, bottom.checked_sub(top)?);
    Some(Rect::new(Point::new(left, top), size))
}

fn dng_crop(raw: &IFD, from: Point) -> Option<Rect> {
    let origin = |i| number(raw.get_entry(DngTag::DefaultCropOrigin), i);
    let size = |i| number(raw.get_entry(DngTag::DefaultCropSize), i);
    Some(Rect::new(
        Point::new(from.x + origin(0)?, from.y + origin(1)?),
        Dim2::new(size(0)?, size(1)?),
    ))
}
