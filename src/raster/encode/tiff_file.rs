//! TIFF files of 16-bit and 32-bit float values, band by band.

use std::io::{self, Seek, Write};
use std::sync::OnceLock;

use exif::{Context, Field, Value};
use flate2::Compression;
use flate2::write::ZlibEncoder;
use rayon::prelude::*;
use tiff::encoder::compression::{CompressionAlgorithm, Lzw};
use tiff::encoder::{DirectoryEncoder, TiffEncoder, TiffKindStandard, TiffValue};
use tiff::tags::{Tag, Type};
use tiff::{Directory, TiffError};

use super::super::LinearRgb;
use super::exif_block::{Host, exif_fields};
use super::{BAND_ROWS, PictureInfo, Rows, linear_profile, srgb_profile};

/// Level of deflate: higher ones cost several times as long on photographs and save a few per cent.
const LEVEL: Compression = Compression::new(2);

/// Bits of a float's 23-bit fraction that are left out: what is kept tells one part in 32,768 apart, finer than any
/// camera's 14 bits, and packs to half.
const FRACTION_BITS_LEFT_OUT: u32 = 8;

/// How a 16-bit TIFF is packed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Packing {
    /// LZW (TIFF 6.0 section 13), which every reader knows: for finished pictures.
    Lzw,
    /// Deflate (Adobe Photoshop TIFF technical notes 2002), a third smaller on photographs: for layers.
    Deflate,
}

/// Writes a 16-bit RGB TIFF (TIFF 6.0, packed with horizontal differences) with profile and captions.
///
/// Only a few bands of rows are in memory at a time.
///
/// # Errors
/// Those of `out`, an empty picture, and pictures whose compressed size passes 4 GB.
pub fn write_tiff16(
    rows: &dyn Rows,
    info: &PictureInfo,
    packing: Packing,
    out: &mut (impl Write + Seek),
) -> io::Result<()> {
    let size = (rows.width(), rows.height());
    let band = |y: usize, count: usize| {
        let mut values = vec![0; count * rows.width() * 3];
        rows.fill(y, &mut values);
        let blank = values.iter().all(|v| *v == 0);
        Band {
            bytes: differences(&values, rows.width()),
            blank,
        }
    };
    let kind = Kind {
        packing,
        ..Kind::SIXTEEN_BIT
    };
    write(size, &kind, &band, info, out)
}

/// Writes linear light as a 32-bit float RGB TIFF (TIFF 6.0 section 19, deflate-compressed) with a linear profile of
/// sRGB's primaries and captions. Values are kept to one part in 32,768; what is not a number becomes 0.
///
/// Only a few bands of rows are in memory beside the picture.
///
/// # Errors
/// Those of `out`, an empty picture, and pictures whose compressed size passes 4 GB.
pub fn write_tiff_float(
    light: &LinearRgb,
    info: &PictureInfo,
    out: &mut (impl Write + Seek),
) -> io::Result<()> {
    let size = (light.width(), light.height());
    let band = |y: usize, count: usize| {
        let values = &light.data()[y * size.0 * 3..(y + count) * size.0 * 3];
        Band {
            blank: values.iter().all(|v| v.to_bits() == 0),
            bytes: values
                .iter()
                .flat_map(|v| shortened(*v).to_ne_bytes())
                .collect(),
        }
    };
    write(size, &Kind::FLOAT, &band, info, out)
}

/// A float with the end of its fraction rounded off.
fn shortened(value: f32) -> f32 {
    if !value.is_finite() {
        return 0.0;
    }
    let half = 1_u32 << (FRACTION_BITS_LEFT_OUT - 1);
    let rounded = value.to_bits().saturating_add(half) >> FRACTION_BITS_LEFT_OUT;
    let back = f32::from_bits(rounded << FRACTION_BITS_LEFT_OUT);
    if back.is_finite() { back } else { value }
}

/// What the tags of a kind of file say.
struct Kind {
    bits: u16,
    sample_format: u16,
    predictor: u16,
    packing: Packing,
    profile: fn() -> io::Result<&'static [u8]>,
    host: Host,
}

impl Kind {
    /// Unsigned, sRGB-coded, horizontal differences.
    const SIXTEEN_BIT: Self = Self {
        bits: 16,
        sample_format: 1,
        predictor: 2,
        packing: Packing::Deflate,
        profile: srgb_profile,
        host: Host::Tiff,
    };
    /// IEEE floats, linear light, as they are: not every reader knows the differences of floats.
    const FLOAT: Self = Self {
        bits: 32,
        sample_format: 3,
        predictor: 1,
        packing: Packing::Deflate,
        profile: linear_profile,
        host: Host::LinearTiff,
    };
}

/// Some rows ready to be deflated.
struct Band {
    bytes: Vec<u8>,
    /// Whether all of it is black.
    blank: bool,
}

/// Gives the band of so many rows from a row on.
type Bands<'a> = dyn Fn(usize, usize) -> Band + Sync + 'a;

fn write(
    size: (usize, usize),
    kind: &Kind,
    band: &Bands<'_>,
    info: &PictureInfo,
    out: &mut (impl Write + Seek),
) -> io::Result<()> {
    if size.0 == 0 || size.1 == 0 {
        return Err(io::Error::other("a picture without pixels"));
    }
    let mut buffered = io::BufWriter::new(out);
    whole_file(size, kind, band, info, &mut buffered).map_err(as_io)?;
    buffered.flush()
}

fn as_io(error: TiffError) -> io::Error {
    match error {
        TiffError::IoError(e) => e,
        other => io::Error::other(other),
    }
}

fn whole_file(
    size: (usize, usize),
    kind: &Kind,
    band: &Bands<'_>,
    info: &PictureInfo,
    out: &mut (impl Write + Seek),
) -> Result<(), TiffError> {
    let fields = exif_fields(info, kind.host);
    let mut file = TiffEncoder::new(out)?;
    let exif = directory_beside(&mut file, &fields, Context::Exif)?;
    let place = directory_beside(&mut file, &fields, Context::Gps)?;
    let mut page = file.image_directory()?;
    let strips = write_strips(size.1, kind.packing, band, &mut page)?;
    write_shape(size, kind, &mut page, &strips)?;
    write_fields(&fields, Context::Tiff, &mut page)?;
    write_tag(&mut page, Tag::IccProfile, Bytes((kind.profile)()?))?;
    for (tag, offset) in [(Tag::ExifDirectory, exif), (Tag::GpsDirectory, place)] {
        if let Some(offset) = offset {
            page.write_tag(tag, offset)?;
        }
    }
    align(&mut page)?;
    page.finish()
}

/// A directory of its own with the fields of a context; gives its place, or `None` where there are no such fields.
fn directory_beside<W: Write + Seek>(
    file: &mut TiffEncoder<W>,
    fields: &[Field],
    context: Context,
) -> Result<Option<u32>, TiffError> {
    if !fields.iter().any(|f| f.tag.context() == context) {
        return Ok(None);
    }
    let mut directory = file.extra_directory()?;
    write_fields(fields, context, &mut directory)?;
    Ok(Some(directory.finish_with_offsets()?.offset))
}

/// Bytes without a meaning to TIFF (type 7).
struct Bytes<'a>(&'a [u8]);

impl TiffValue for Bytes<'_> {
    const BYTE_LEN: u8 = 1;
    const FIELD_TYPE: Type = Type::UNDEFINED;

    fn count(&self) -> usize {
        self.0.len()
    }

    fn data(&self) -> std::borrow::Cow<'_, [u8]> {
        self.0.into()
    }
}

/// Brings the file to an even length: values begin on word boundaries (TIFF 6.0 section 2).
fn align<W: Write + Seek>(page: &mut Page<'_, W>) -> Result<(), TiffError> {
    let nothing: &[u8] = &[];
    if !page.write_data(nothing)?.is_multiple_of(2) {
        page.write_data(0_u8)?;
    }
    Ok(())
}

fn write_tag<W: Write + Seek>(
    page: &mut Page<'_, W>,
    tag: Tag,
    value: impl TiffValue,
) -> Result<(), TiffError> {
    align(page)?;
    page.write_tag(tag, value)
}

/// Writes those of the fields that belong to a context.
fn write_fields<W: Write + Seek>(
    fields: &[Field],
    context: Context,
    page: &mut Page<'_, W>,
) -> Result<(), TiffError> {
    for field in fields.iter().filter(|f| f.tag.context() == context) {
        let Some((kind, bytes)) = plain(&field.value) else {
            continue;
        };
        align(page)?;
        let entry = page.write_entry_bytes(kind, &bytes)?;
        let tag = Tag::from_u16_exhaustive(field.tag.number());
        page.extend_from(&Directory::from_iter([(tag, entry)]));
    }
    // The directory itself begins on a word boundary too.
    align(page)
}

/// A field's value in this machine's order of bytes, as the rest of the file; `None` for kinds that no field here has.
fn plain(value: &Value) -> Option<(Type, Vec<u8>)> {
    Some(match value {
        Value::Ascii(lines) => {
            let mut bytes = lines.join(&b' ');
            bytes.push(0);
            (Type::ASCII, bytes)
        }
        Value::Byte(bytes) => (Type::BYTE, bytes.clone()),
        Value::Undefined(bytes, _) => (Type::UNDEFINED, bytes.clone()),
        Value::Short(values) => {
            let bytes = values.iter().flat_map(|v| v.to_ne_bytes());
            (Type::SHORT, bytes.collect())
        }
        Value::Rational(values) => {
            let pair = |r: &exif::Rational| [r.num.to_ne_bytes(), r.denom.to_ne_bytes()].concat();
            (Type::RATIONAL, values.iter().flat_map(pair).collect())
        }
        _ => return None,
    })
}

/// Where the strips of pixels ended up.
struct Strips {
    offsets: Vec<u32>,
    byte_counts: Vec<u32>,
}

type Page<'a, W> = DirectoryEncoder<'a, W, TiffKindStandard>;

/// Packs a few bands at a time, one a thread, and writes them in order.
fn write_strips<W: Write + Seek>(
    height: usize,
    packing: Packing,
    band: &Bands<'_>,
    page: &mut Page<'_, W>,
) -> Result<Strips, TiffError> {
    let mut strips = Strips {
        offsets: Vec::new(),
        byte_counts: Vec::new(),
    };
    let blank = OnceLock::new();
    let starts: Vec<usize> = (0..height).step_by(BAND_ROWS).collect();
    for few in starts.chunks(rayon::current_num_threads().clamp(1, 8)) {
        let packed: Vec<io::Result<Vec<u8>>> = few
            .par_iter()
            .map(|&y| {
                let count = BAND_ROWS.min(height - y);
                packed(
                    &band(y, count),
                    packing,
                    (count == BAND_ROWS).then_some(&blank),
                )
            })
            .collect();
        for bytes in packed {
            let bytes = bytes?;
            strips.byte_counts.push(u32::try_from(bytes.len())?);
            align(page)?;
            strips
                .offsets
                .push(u32::try_from(page.write_data(bytes.as_slice())?)?);
        }
    }
    Ok(strips)
}

/// A band packed. Black bands of full height are all the same: the first is kept in `blank` for the others.
fn packed(band: &Band, packing: Packing, blank: Option<&OnceLock<Vec<u8>>>) -> io::Result<Vec<u8>> {
    let pack = |bytes: &[u8]| match packing {
        Packing::Lzw => {
            let mut packed = Vec::new();
            Lzw.write_to(&mut packed, bytes).map(|_| packed)
        }
        Packing::Deflate => deflated(bytes),
    };
    match blank.filter(|_| band.blank) {
        Some(kept) => match kept.get() {
            Some(known) => Ok(known.clone()),
            None => {
                let bytes = pack(&band.bytes)?;
                Ok(kept.get_or_init(|| bytes).clone())
            }
        },
        None => pack(&band.bytes),
    }
}

fn deflated(bytes: &[u8]) -> io::Result<Vec<u8>> {
    let mut deflate = ZlibEncoder::new(Vec::new(), LEVEL);
    deflate.write_all(bytes)?;
    deflate.finish()
}

/// A band's values as differences along its rows (TIFF 6.0 section 14).
fn differences(band: &[u16], width: usize) -> Vec<u8> {
    let mut bytes = Vec::with_capacity(band.len() * 2);
    for row in band.chunks_exact(width * 3) {
        for (i, &value) in row.iter().enumerate() {
            let before = if i < 3 { 0 } else { row[i - 3] };
            bytes.extend_from_slice(&value.wrapping_sub(before).to_ne_bytes());
        }
    }
    bytes
}

fn write_shape<W: Write + Seek>(
    (width, height): (usize, usize),
    kind: &Kind,
    page: &mut Page<'_, W>,
    strips: &Strips,
) -> Result<(), TiffError> {
    let compression = match kind.packing {
        Packing::Lzw => 5_u16,
        Packing::Deflate => 8,
    };
    write_tag(page, Tag::ImageWidth, u32::try_from(width)?)?;
    write_tag(page, Tag::ImageLength, u32::try_from(height)?)?;
    write_tag(page, Tag::BitsPerSample, &[kind.bits; 3][..])?;
    write_tag(page, Tag::SampleFormat, &[kind.sample_format; 3][..])?;
    write_tag(page, Tag::SamplesPerPixel, 3_u16)?;
    write_tag(page, Tag::PhotometricInterpretation, 2_u16)?;
    write_tag(page, Tag::PlanarConfiguration, 1_u16)?;
    write_tag(page, Tag::Compression, compression)?;
    write_tag(page, Tag::Predictor, kind.predictor)?;
    write_tag(page, Tag::RowsPerStrip, BAND_ROWS as u32)?;
    write_tag(page, Tag::StripOffsets, strips.offsets.as_slice())?;
    write_tag(page, Tag::StripByteCounts, strips.byte_counts.as_slice())
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use tiff::decoder::{Decoder, DecodingResult};

    use super::*;

    #[test]
    fn floats_come_back_to_one_part_in_thirty_thousand() {
        let (width, height) = (31, 3 * BAND_ROWS + 7);
        let value = |i: usize| 1e-7 * 1.003_f32.powi(i as i32 % 4_000);
        let mut data: Vec<f32> = (0..width * height * 3).map(value).collect();
        data[..width * BAND_ROWS * 3].fill(0.0);
        data[width * 2 * BAND_ROWS * 3] = f32::NAN;
        let light = LinearRgb::from_data(width, height, data.clone());
        let mut file = Cursor::new(Vec::new());
        write_tiff_float(&light, &PictureInfo::new("a layer"), &mut file).unwrap();
        file.set_position(0);
        let DecodingResult::F32(back) = Decoder::new(file).unwrap().read_image().unwrap() else {
            panic!("not floats");
        };
        for (a, b) in data.iter().zip(&back) {
            let a = if a.is_nan() { 0.0 } else { *a };
            assert!((a - b).abs() <= a / 32_768.0, "{a} came back as {b}");
        }
    }

    #[test]
    fn black_bands_are_kept_in_their_places() {
        let (width, height) = (5, 4 * BAND_ROWS);
        let mut data = vec![0; width * height * 3];
        data[width * 2 * BAND_ROWS * 3 + 4] = 777;
        let picture = super::super::Picture::new(width, height, data.clone());
        for packing in [Packing::Lzw, Packing::Deflate] {
            let mut file = Cursor::new(Vec::new());
            write_tiff16(&picture, &PictureInfo::new("a layer"), packing, &mut file).unwrap();
            let back = image::load_from_memory(file.get_ref()).unwrap();
            assert_eq!(back.into_rgb16().into_raw(), data);
        }
    }

    #[test]
    fn floats_do_not_call_themselves_srgb() {
        let light = LinearRgb::new(8, 8);
        let mut file = Cursor::new(Vec::new());
        write_tiff_float(&light, &PictureInfo::new("a layer"), &mut file).unwrap();
        file.set_position(0);
        let tags = exif::Reader::new().read_from_container(&mut file).unwrap();
        let field = tags.get_field(exif::Tag::ColorSpace, exif::In::PRIMARY);
        assert_eq!(field.unwrap().value.get_uint(0), Some(0xFFFF));
    }

    #[test]
    fn a_picture_without_pixels_is_refused() {
        let none = LinearRgb::new(0, 3);
        let mut file = Cursor::new(Vec::new());
        assert!(write_tiff_float(&none, &PictureInfo::new(""), &mut file).is_err());
    }
}
