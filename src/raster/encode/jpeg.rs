//! JPEG files, band by band.

use std::cell::RefCell;
use std::io::{self, Write};

use image::codecs::jpeg::{JpegEncoder, PixelDensity};
use image::{GenericImageView, ImageEncoder, ImageError, Rgb};

use super::exif_block::{Host, exif_block};
use super::picture::eight_bit;
use super::{PictureInfo, Rows, srgb_profile};

/// Rows of a JPEG block.
const BLOCK_ROWS: usize = 8;

/// Writes a JPEG with profile, print size and captions; `quality` is held to 1 to 100.
///
/// The encoder asks for eight rows at a time and sees each pixel once, so only those are in memory.
///
/// # Errors
/// Those of `out`, an empty picture, and a side above 65,535 pixels, which a JPEG cannot hold.
pub fn write_jpeg(
    rows: &dyn Rows,
    info: &PictureInfo,
    quality: u8,
    out: &mut dyn Write,
) -> io::Result<()> {
    let side = |v: usize| u32::try_from(v).map_err(io::Error::other);
    let view = BandView {
        rows,
        size: (side(rows.width())?, side(rows.height())?),
        band: RefCell::new(Band {
            first: usize::MAX,
            values: Vec::new(),
        }),
    };
    let mut buffered = io::BufWriter::new(out);
    let mut encoder = JpegEncoder::new_with_quality(&mut buffered, quality.clamp(1, 100));
    let density = u16::try_from(info.dpi_whole()).unwrap_or(u16::MAX);
    encoder.set_pixel_density(PixelDensity::dpi(density));
    encoder
        .set_icc_profile(srgb_profile()?.to_vec())
        .map_err(io::Error::other)?;
    encoder
        .set_exif_metadata(exif_block(info, Host::Jpeg(view.size.0, view.size.1))?)
        .map_err(io::Error::other)?;
    encoder.encode_image(&view).map_err(as_io)?;
    buffered.flush()
}

fn as_io(error: ImageError) -> io::Error {
    match error {
        ImageError::IoError(e) => e,
        other => io::Error::other(other),
    }
}

/// Rows that are fetched as the encoder comes to them.
struct BandView<'a> {
    rows: &'a dyn Rows,
    size: (u32, u32),
    band: RefCell<Band>,
}

/// The eight rows in hand.
struct Band {
    first: usize,
    values: Vec<u16>,
}

impl Band {
    /// Makes sure row `y` is in hand.
    fn reach(&mut self, y: usize, rows: &dyn Rows) {
        let first = y - y % BLOCK_ROWS;
        if self.first != first {
            let count = BLOCK_ROWS.min(rows.height() - first);
            self.values.resize(count * rows.width() * 3, 0);
            rows.fill(first, &mut self.values);
            self.first = first;
        }
    }
}

impl GenericImageView for BandView<'_> {
    type Pixel = Rgb<u8>;

    fn dimensions(&self) -> (u32, u32) {
        self.size
    }

    fn get_pixel(&self, x: u32, y: u32) -> Rgb<u8> {
        let (x, y) = (x as usize, y as usize);
        let mut band = self.band.borrow_mut();
        band.reach(y, self.rows);
        let i = ((y - band.first) * self.rows.width() + x) * 3;
        Rgb([0, 1, 2].map(|c| eight_bit(band.values[i + c])))
    }
}
