//! PNG files of 8 or 16 bits, and steady sequences as animated PNG.

use std::borrow::Cow;
use std::io::{self, Write};

use png::{BitDepth, ColorType, Compression, EncodingError, Filter, PixelDimensions, Unit};

use super::exif_block::{Host, exif_block};
use super::picture::eight_bit;
use super::{BAND_ROWS, PictureInfo, Rows, srgb_profile};

/// Bits a channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Depth {
    /// For screens.
    Eight,
    /// For editors.
    Sixteen,
}

/// Writes a PNG with profile, print size and captions; only a band of rows is in memory at a time.
///
/// # Errors
/// Those of `out`, and pictures a PNG cannot hold (no pixels, a side above 2^31 - 1).
pub fn write_png(
    rows: &dyn Rows,
    info: &PictureInfo,
    depth: Depth,
    out: &mut dyn Write,
) -> io::Result<()> {
    let header = header(rows, info, depth)?;
    let mut buffered = io::BufWriter::new(out);
    let mut encoder = png::Encoder::with_info(&mut buffered, header).map_err(as_io)?;
    settle(&mut encoder, info).map_err(as_io)?;
    let mut writer = encoder.write_header().map_err(as_io)?;
    let mut stream = writer.stream_writer().map_err(as_io)?;
    each_band(rows, depth, &mut |bytes| stream.write_all(bytes))?;
    stream.finish().map_err(as_io)?;
    writer.finish().map_err(as_io)?;
    buffered.flush()
}

/// An animated PNG (PNG third edition, W3C 2025), 8 bits a channel, played for ever, frame after frame.
pub struct Animation<W: Write> {
    writer: png::Writer<io::BufWriter<W>>,
    size: (usize, usize),
}

impl<W: Write> Animation<W> {
    /// Begins an animation of `frames` pictures of one size, each shown for `hold_ms` milliseconds.
    ///
    /// # Errors
    /// Those of `out`, no frames, and sizes a PNG cannot hold.
    pub fn begin(
        (width, height): (usize, usize),
        frames: u32,
        hold_ms: u16,
        info: &PictureInfo,
        out: W,
    ) -> io::Result<Self> {
        let blank = Shape { width, height };
        let header = header(&blank, info, Depth::Eight)?;
        let mut encoder =
            png::Encoder::with_info(io::BufWriter::new(out), header).map_err(as_io)?;
        settle(&mut encoder, info).map_err(as_io)?;
        encoder.set_animated(frames, 0).map_err(as_io)?;
        encoder.set_frame_delay(hold_ms, 1_000).map_err(as_io)?;
        let writer = encoder.write_header().map_err(as_io)?;
        Ok(Self {
            writer,
            size: (width, height),
        })
    }

    /// Adds the next picture.
    ///
    /// # Errors
    /// Those of the file, a picture of another size, and more pictures than announced.
    pub fn add(&mut self, rows: &dyn Rows) -> io::Result<()> {
        if (rows.width(), rows.height()) != self.size {
            return Err(io::Error::other("a frame of another size"));
        }
        let mut bytes = Vec::with_capacity(self.size.0 * self.size.1 * 3);
        each_band(rows, Depth::Eight, &mut |band| {
            bytes.extend_from_slice(band);
            Ok(())
        })?;
        self.writer.write_image_data(&bytes).map_err(as_io)
    }

    /// Ends the file.
    ///
    /// # Errors
    /// Those of the file, and fewer pictures than announced.
    pub fn finish(self) -> io::Result<()> {
        self.writer.finish().map_err(as_io)
    }
}

/// A size without pixels.
struct Shape {
    width: usize,
    height: usize,
}

impl Rows for Shape {
    fn width(&self) -> usize {
        self.width
    }

    fn height(&self) -> usize {
        self.height
    }

    fn fill(&self, _: usize, out: &mut [u16]) {
        out.fill(0);
    }
}

fn as_io(error: EncodingError) -> io::Error {
    match error {
        EncodingError::IoError(e) => e,
        other => io::Error::other(other),
    }
}

fn header(rows: &dyn Rows, info: &PictureInfo, depth: Depth) -> io::Result<png::Info<'static>> {
    let side = |v: usize| u32::try_from(v).map_err(io::Error::other);
    let mut header = png::Info::with_size(side(rows.width())?, side(rows.height())?);
    header.color_type = ColorType::Rgb;
    header.bit_depth = match depth {
        Depth::Eight => BitDepth::Eight,
        Depth::Sixteen => BitDepth::Sixteen,
    };
    // Dots per metre: an inch is 0.0254 m by definition.
    let per_metre = (f64::from(info.dpi_whole()) / 0.0254).round() as u32;
    header.pixel_dims = Some(PixelDimensions {
        xppu: per_metre,
        yppu: per_metre,
        unit: Unit::Meter,
    });
    header.icc_profile = Some(Cow::Borrowed(srgb_profile()?));
    header.exif_metadata = Some(Cow::Owned(exif_block(info, Host::Png)?));
    Ok(header)
}

fn settle<W: Write>(
    encoder: &mut png::Encoder<'_, W>,
    info: &PictureInfo,
) -> Result<(), EncodingError> {
    encoder.set_compression(Compression::Balanced);
    encoder.set_filter(Filter::Adaptive);
    for (key, words) in texts(info) {
        encoder.add_itxt_chunk(key.to_owned(), words.replace('\0', " "))?;
    }
    Ok(())
}

/// Keywords of the PNG specification, section 11.3.3.1, and their texts.
fn texts(info: &PictureInfo) -> Vec<(&'static str, String)> {
    let mut texts = vec![
        ("Description", info.description.clone()),
        ("Software", info.software.clone()),
    ];
    if let Some(credit) = &info.credit {
        texts.push(("Author", credit.clone()));
        texts.push(("Copyright", credit.clone()));
    }
    if let Some(range) = info.captured_text() {
        texts.push(("Comment", format!("captured {range}")));
    }
    texts
}

/// Hands the picture's bytes on band by band, as PNG orders them.
fn each_band(
    rows: &dyn Rows,
    depth: Depth,
    take: &mut dyn FnMut(&[u8]) -> io::Result<()>,
) -> io::Result<()> {
    let mut bytes = Vec::new();
    for y in (0..rows.height()).step_by(BAND_ROWS) {
        let count = BAND_ROWS.min(rows.height() - y);
        let mut band = vec![0; count * rows.width() * 3];
        rows.fill(y, &mut band);
        bytes.clear();
        match depth {
            Depth::Eight => bytes.extend(band.iter().map(|&v| eight_bit(v))),
            Depth::Sixteen => bytes.extend(band.iter().flat_map(|v| v.to_be_bytes())),
        }
        take(&bytes)?;
    }
    Ok(())
}
