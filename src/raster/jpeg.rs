//! JPEG to stored values, whole or not at all.

use zune_core::bytestream::ZCursor;
use zune_core::colorspace::ColorSpace;
use zune_core::options::DecoderOptions;
use zune_jpeg::JpegDecoder;

use super::Frame;
use super::error::{DecodeError, check_size};
use super::scan::Luma;

/// Decoded JPEG: values row-major, channels interleaved.
pub(super) struct Stored {
    pub(super) width: usize,
    pub(super) height: usize,
    /// 1 (grey) or 3 (red green blue).
    pub(super) channels: usize,
    pub(super) values: Vec<u8>,
    /// Embedded colour profile.
    pub(super) icc: Option<Vec<u8>>,
}

/// What is wanted of a JPEG.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wanted {
    /// All it holds.
    Colour,
    /// Its luma alone, where it is stored apart; it comes in half the time.
    Luma,
}

/// Pictures with no longer side than this, in pixels, are decoded whole: their overviews are finer than a block.
const LEAST_SIDE_PX: usize = 4608;

/// A JPEG whose header was read. Oddities in it are let pass.
pub(super) struct Opened<'a> {
    bytes: &'a [u8],
    decoder: JpegDecoder<ZCursor<&'a [u8]>>,
    width: usize,
    height: usize,
}

/// What is let pass in a header.
fn lenient() -> DecoderOptions {
    DecoderOptions::default()
        .set_strict_mode(false)
        .set_max_width(usize::MAX)
        .set_max_height(usize::MAX)
}

impl<'a> Opened<'a> {
    /// Reads the header.
    pub(super) fn new(bytes: &'a [u8]) -> Result<Self, DecodeError> {
        let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes), lenient());
        decoder.decode_headers().map_err(|e| trouble(bytes, &e))?;
        let (width, height) = decoder.dimensions().unwrap_or((0, 0));
        Ok(Self {
            bytes,
            decoder,
            width,
            height,
        })
    }

    /// The luma of a large picture, decoded where somebody looks; `None` where it has to be decoded whole.
    pub(super) fn where_looked_at(&self) -> Option<Frame> {
        let plain = matches!(
            self.decoder.input_colorspace(),
            Some(ColorSpace::Luma | ColorSpace::YCbCr)
        );
        let large = self.width.max(self.height) > LEAST_SIDE_PX;
        let luma = (plain && large).then(|| Luma::new(self.bytes)).flatten()?;
        Some(Frame::of_scan(luma, self.decoder.icc_profile()))
    }

    /// All values, in the memory of `scratch`. A scan with a gap or an early end is an error, never a frame that is grey from
    /// some row on.
    pub(super) fn stored(
        mut self,
        wanted: Wanted,
        scratch: Vec<u8>,
    ) -> Result<Stored, DecodeError> {
        let (width, height) = (self.width, self.height);
        let grey = match self.decoder.input_colorspace() {
            Some(ColorSpace::Luma) => true,
            Some(ColorSpace::YCbCr) => wanted == Wanted::Luma,
            _ => false,
        };
        let (channels, wanted) = if grey {
            (1, ColorSpace::Luma)
        } else {
            (3, ColorSpace::RGB)
        };
        check_size(width as u64, height as u64, channels as u64)?;
        if !reaches_end(self.bytes) {
            return Err(DecodeError::CutShort);
        }
        self.decoder.set_options(
            lenient()
                .set_strict_mode(true)
                .jpeg_set_out_colorspace(wanted),
        );
        let mut values = scratch;
        if self.decoder.output_buffer_size() != Some(width * height * channels) {
            return Err(DecodeError::Jpeg("unusual colour layout".to_owned()));
        }
        values.resize(width * height * channels, 0);
        self.decoder
            .decode_into(&mut values)
            .map_err(|e| trouble(self.bytes, &e))?;
        Ok(Stored {
            width,
            height,
            channels,
            values,
            icc: self.decoder.icc_profile(),
        })
    }
}

fn trouble(bytes: &[u8], cause: &zune_jpeg::errors::DecodeErrors) -> DecodeError {
    if reaches_end(bytes) {
        DecodeError::Jpeg(cause.to_string())
    } else {
        DecodeError::CutShort
    }
}

/// Whether the first picture in the file has its end-of-image marker (ISO/IEC 10918-1, B.1.1.3).
///
/// Pictures after the first (previews, motion pictures behind a phone's photograph) do not count.
fn reaches_end(bytes: &[u8]) -> bool {
    bytes.ends_with(&[0xFF, 0xD9]) || end_marker_follows(bytes)
}

/// Walks the markers: segments are skipped by their length, scans byte by byte.
fn end_marker_follows(bytes: &[u8]) -> bool {
    let mut at = 2;
    loop {
        let Some(found) = bytes
            .get(at..)
            .and_then(|rest| rest.iter().position(|b| *b == 0xFF))
        else {
            return false;
        };
        at += found + 1;
        match bytes.get(at) {
            None => return false,
            Some(0xD9) => return true,
            Some(0xFF) => {}                            // fill byte
            Some(0x00 | 0x01 | 0xD0..=0xD8) => at += 1, // stuffed byte or marker without a segment
            Some(_) => match bytes.get(at + 1..at + 3) {
                Some(len) => at += 1 + usize::from(u16::from_be_bytes([len[0], len[1]])).max(2),
                None => return false,
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_end_marker_inside_a_segment_is_not_the_end() {
        let preview_in_segment = [0xFF, 0xD8, 0xFF, 0xE1, 0, 6, 0xFF, 0xD8, 0xFF, 0xD9];
        assert!(!end_marker_follows(&preview_in_segment));
        let mut whole = preview_in_segment.to_vec();
        whole.extend([
            0xFF, 0xDA, 0, 2, 1, 2, 0xFF, 0x00, 3, 0xFF, 0xD0, 0xFF, 0xFF, 0xD9, 0, 0,
        ]);
        assert!(end_marker_follows(&whole));
        assert!(!end_marker_follows(&[]));
        assert!(!end_marker_follows(&[0xFF, 0xD8, 0xFF]));
    }
}
