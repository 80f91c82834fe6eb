//! 16-bit TIFF files, band by band.

use std::io::{self, Seek, Write};

use flate2::Compression;
use flate2::write::ZlibEncoder;
use tiff::TiffError;
use tiff::encoder::{DirectoryEncoder, Rational, TiffEncoder, TiffKindStandard};
use tiff::tags::Tag;

use super::exif_block::exif_time;
use super::{BAND_ROWS, PictureInfo, Rows, srgb_profile};

/// Writes a 16-bit RGB TIFF (TIFF 6.0, deflate-compressed with horizontal differences) with profile and captions.
///
/// Only a band of rows is in memory at a time.
///
/// # Errors
/// Those of `out`, an empty picture, and pictures whose compressed size passes 4 GB.
pub fn write_tiff16(
    rows: &dyn Rows,
    info: &PictureInfo,
    out: &mut (impl Write + Seek),
) -> io::Result<()> {
    let mut buffered = io::BufWriter::new(out);
    whole_file(rows, info, &mut buffered).map_err(as_io)?;
    buffered.flush()
}

fn as_io(error: TiffError) -> io::Error {
    match error {
        TiffError::IoError(e) => e,
        other => io::Error::other(other),
    }
}

fn whole_file(
    rows: &dyn Rows,
    info: &PictureInfo,
    out: &mut (impl Write + Seek),
) -> Result<(), TiffError> {
    let mut file = TiffEncoder::new(out)?;
    let mut page = file.image_directory()?;
    let strips = write_strips(rows, &mut page)?;
    write_shape(rows, &mut page, &strips)?;
    write_info(info, &mut page)?;
    page.finish()
}

/// Where the strips of pixels ended up.
struct Strips {
    offsets: Vec<u32>,
    byte_counts: Vec<u32>,
}

type Page<'a, W> = DirectoryEncoder<'a, W, TiffKindStandard>;

fn write_strips<W: Write + Seek>(
    rows: &dyn Rows,
    page: &mut Page<'_, W>,
) -> Result<Strips, TiffError> {
    let mut strips = Strips {
        offsets: Vec::new(),
        byte_counts: Vec::new(),
    };
    for y in (0..rows.height()).step_by(BAND_ROWS) {
        let count = BAND_ROWS.min(rows.height() - y);
        let mut band = vec![0; count * rows.width() * 3];
        rows.fill(y, &mut band);
        let packed = packed(&band, rows.width())?;
        strips.byte_counts.push(u32::try_from(packed.len())?);
        strips
            .offsets
            .push(u32::try_from(page.write_data(packed.as_slice())?)?);
    }
    Ok(strips)
}

/// A band as differences along its rows, deflated (TIFF 6.0 section 14; Adobe Photoshop TIFF technical notes 2002).
fn packed(band: &[u16], width: usize) -> io::Result<Vec<u8>> {
    let mut deflate = ZlibEncoder::new(Vec::new(), Compression::new(6));
    let mut bytes = Vec::with_capacity(width * 6);
    for row in band.chunks_exact(width * 3) {
        bytes.clear();
        for (i, &value) in row.iter().enumerate() {
            let before = if i < 3 { 0 } else { row[i - 3] };
            bytes.extend_from_slice(&value.wrapping_sub(before).to_ne_bytes());
        }
        deflate.write_all(&bytes)?;
    }
    deflate.finish()
}

fn write_shape<W: Write + Seek>(
    rows: &dyn Rows,
    page: &mut Page<'_, W>,
    strips: &Strips,
) -> Result<(), TiffError> {
    page.write_tag(Tag::ImageWidth, u32::try_from(rows.width())?)?;
    page.write_tag(Tag::ImageLength, u32::try_from(rows.height())?)?;
    page.write_tag(Tag::BitsPerSample, &[16_u16, 16, 16][..])?;
    page.write_tag(Tag::SampleFormat, &[1_u16, 1, 1][..])?;
    page.write_tag(Tag::SamplesPerPixel, 3_u16)?;
    page.write_tag(Tag::PhotometricInterpretation, 2_u16)?;
    page.write_tag(Tag::PlanarConfiguration, 1_u16)?;
    page.write_tag(Tag::Compression, 8_u16)?;
    page.write_tag(Tag::Predictor, 2_u16)?;
    page.write_tag(Tag::RowsPerStrip, BAND_ROWS as u32)?;
    page.write_tag(Tag::StripOffsets, strips.offsets.as_slice())?;
    page.write_tag(Tag::StripByteCounts, strips.byte_counts.as_slice())
}

fn write_info<W: Write + Seek>(
    info: &PictureInfo,
    page: &mut Page<'_, W>,
) -> Result<(), TiffError> {
    let dpi = || Rational {
        n: info.dpi_whole(),
        d: 1,
    };
    page.write_tag(Tag::XResolution, dpi())?;
    page.write_tag(Tag::YResolution, dpi())?;
    page.write_tag(Tag::ResolutionUnit, 2_u16)?;
    page.write_tag(
        Tag::ImageDescription,
        ascii(&info.full_description()).as_str(),
    )?;
    page.write_tag(Tag::Software, ascii(&info.software).as_str())?;
    if let Some(credit) = &info.credit {
        page.write_tag(Tag::Artist, ascii(credit).as_str())?;
        page.write_tag(Tag::Copyright, ascii(credit).as_str())?;
    }
    if let Some((first, _)) = info.captured {
        page.write_tag(Tag::DateTime, exif_time(first).as_str())?;
    }
    page.write_tag(Tag::IccProfile, srgb_profile()?)
}

/// Text without zero bytes, which would end it early; other letters stay as UTF-8, which readers of today expect.
fn ascii(words: &str) -> String {
    words.replace('\0', " ")
}
