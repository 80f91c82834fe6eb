//! OpenEXR files of linear light.
//!
//! Three 32-bit float channels, losslessly packed in blocks of 16 lines, with the primaries of ITU-R BT.709 (those
//! of sRGB) named in the header so that other programs know what red, green and blue mean.
//! Format: OpenEXR 2.0 file layout (Academy Software Foundation, technical documentation).

use std::io::{Seek, Write};

use ::exr::block::chunk::{Chunk, CompressedBlock, CompressedScanLineBlock};
use ::exr::block::writer::ChunksWriter as _;
use ::exr::meta::BlockDescription;
use ::exr::meta::attribute::{ChannelDescription, SampleType};
use ::exr::meta::header::Header;
use ::exr::prelude::{Compression, ImageAttributes, LayerAttributes, LineOrder, Text, Vec2};
use flate2::write::ZlibEncoder;
use rayon::prelude::*;

use super::LinearRgb;

/// A picture could not be written as OpenEXR.
#[derive(Debug, thiserror::Error)]
pub enum ExrError {
    /// The picture has no pixels.
    #[error("a picture without pixels cannot be written")]
    Empty,
    /// The encoder or the file behind it refused.
    #[error("OpenEXR cannot be written: {0}")]
    Write(#[from] ::exr::error::Error),
}

/// What the header says besides the pixels. Text that is not ASCII has other characters replaced by `?`, since the
/// format has no other.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ExrNotes {
    /// What the picture shows and how it was made; several lines are fine (attribute `comments`).
    pub comments: String,
    /// Program that wrote it (attribute `software`).
    pub software: String,
    /// Exposure time for which a value of 1 saturates, in seconds (attribute `expTime`), where it means something.
    pub exposure_s: Option<f32>,
    /// f-number that goes with it (attribute `aperture`).
    pub aperture: Option<f32>,
    /// ISO speed that goes with it (attribute `isoSpeed`).
    pub iso_speed: Option<f32>,
}

/// CIE 1931 xy of the BT.709 primaries and D65 (ITU-R BT.709-6, item 1.3).
const BT709: [[f32; 2]; 4] = [
    [0.640, 0.330],
    [0.300, 0.600],
    [0.150, 0.060],
    [0.3127, 0.3290],
];

/// Writes `picture` as OpenEXR: channels R, G, B, 32-bit float, values as they are (no curve, no clipping).
///
/// The same picture and notes give the same bytes every time.
///
/// # Errors
/// [`ExrError::Empty`] for a picture without pixels; [`ExrError::Write`] when `out` fails.
pub fn write_exr(
    picture: &LinearRgb,
    notes: &ExrNotes,
    out: impl Write + Seek,
) -> Result<(), ExrError> {
    if picture.width() == 0 || picture.height() == 0 {
        return Err(ExrError::Empty);
    }
    let channels = ["B", "G", "R"].map(|name| ChannelDescription::named(name, SampleType::F32));
    let size = (picture.width(), picture.height());
    let start = Header::new(Text::from(""), size, channels.into_iter().collect()).with_encoding(
        Compression::ZIP16,
        BlockDescription::ScanLines,
        LineOrder::Increasing,
    );
    let shared = image_attributes(&start.shared_attributes);
    let header = start
        .with_attributes(layer_attributes(notes))
        .with_shared_attributes(shared);
    ::exr::block::write(out, [header].into_iter().collect(), true, |_, chunks| {
        let blocks: Vec<usize> = (0..picture.height()).step_by(BLOCK_ROWS).collect();
        for (n, few) in blocks.chunks(BLOCKS_AT_ONCE).enumerate() {
            let packed: Vec<Vec<u8>> = few.par_iter().map(|&y| packed(picture, y)).collect();
            for (k, (y, bytes)) in few.iter().zip(packed).enumerate() {
                let block = CompressedScanLineBlock {
                    y_coordinate: i32::try_from(*y)?,
                    compressed_pixels_le: bytes,
                };
                let chunk = Chunk {
                    layer_index: 0,
                    compressed_block: CompressedBlock::ScanLine(block),
                };
                chunks.write_chunk(n * BLOCKS_AT_ONCE + k, chunk)?;
            }
        }
        Ok(())
    })?;
    Ok(())
}

/// Lines of a block of this packing.
const BLOCK_ROWS: usize = 16;

/// Blocks packed at a time, shared among the threads.
const BLOCKS_AT_ONCE: usize = 64;

/// Level of deflate: the low bits of floats are noise, of which higher levels save nothing (measured: 90 % of the size at
/// any level on a merged corona).
const LEVEL: flate2::Compression = flate2::Compression::new(1);

/// The lines of a block from `y` on, packed as the format's ZIP: line by line blue, green and red; of all that the bytes in
/// even places and those in odd ones, as differences, deflated. What does not get smaller stays as it is.
fn packed(picture: &LinearRgb, y: usize) -> Vec<u8> {
    let rows = y..(y + BLOCK_ROWS).min(picture.height());
    let mut plain = Vec::with_capacity(rows.len() * picture.width() * 12);
    for row in rows.map(|y| picture.row(y)) {
        for channel in [2, 1, 0] {
            plain.extend(
                row.iter()
                    .skip(channel)
                    .step_by(3)
                    .flat_map(|v| v.to_le_bytes()),
            );
        }
    }
    let pairs = plain.as_chunks::<2>().0.iter();
    let mut parted: Vec<u8> = pairs.clone().map(|pair| pair[0]).collect();
    parted.extend(pairs.map(|pair| pair[1]));
    let mut before = 0;
    for (n, byte) in parted.iter_mut().enumerate() {
        let value = *byte;
        if n > 0 {
            *byte = value.wrapping_sub(before).wrapping_add(128);
        }
        before = value;
    }
    let mut deflate = ZlibEncoder::new(Vec::with_capacity(plain.len()), LEVEL);
    let deflated = deflate.write_all(&parted).and_then(|()| deflate.finish());
    match deflated {
        Ok(bytes) if bytes.len() < plain.len() => bytes,
        _ => plain,
    }
}

/// The primaries. Free attributes are left out: their order in the file would change from run to run.
fn image_attributes(start: &ImageAttributes) -> ImageAttributes {
    let [red, green, blue, white] = BT709.map(|[x, y]| Vec2(x, y));
    ImageAttributes {
        chromaticities: Some(::exr::meta::attribute::Chromaticities {
            red,
            green,
            blue,
            white,
        }),
        ..start.clone()
    }
}

fn layer_attributes(notes: &ExrNotes) -> LayerAttributes {
    let text = |t: &str| (!t.is_empty()).then(|| ascii(t));
    LayerAttributes {
        comments: text(&notes.comments),
        software_name: text(&notes.software),
        exposure: notes.exposure_s,
        aperture: notes.aperture,
        iso_speed: notes.iso_speed,
        ..LayerAttributes::default()
    }
}

fn ascii(text: &str) -> Text {
    let plain: String = text
        .chars()
        .map(|c| if c.is_ascii() { c } else { '?' })
        .collect();
    Text::new_or_none(&plain).unwrap_or_else(|| Text::from("?"))
}

#[cfg(test)]
mod tests {
    use std::io::Cursor;

    use ::exr::prelude::{ReadChannels as _, ReadLayers as _};

    use super::*;

    fn written(notes: &ExrNotes) -> Vec<u8> {
        let data = (0..5 * 3 * 3).map(|i| i as f32 * 1.5e-4).collect();
        let picture = LinearRgb::from_data(5, 3, data);
        let mut out = Cursor::new(Vec::new());
        write_exr(&picture, notes, &mut out).unwrap();
        out.into_inner()
    }

    #[test]
    fn values_come_back_exactly() {
        let bytes = written(&ExrNotes::default());
        let image = ::exr::prelude::read()
            .no_deep_data()
            .largest_resolution_level()
            .rgb_channels(
                |size, _| vec![[0.0_f32; 3]; size.area()],
                |pixels, at, (r, g, b): (f32, f32, f32)| pixels[at.y() * 5 + at.x()] = [r, g, b],
            )
            .first_valid_layer()
            .all_attributes()
            .from_buffered(Cursor::new(bytes))
            .unwrap();
        let pixels = &image.layer_data.channel_data.pixels;
        let written = [21.0_f32, 22.0, 23.0].map(|v| (v * 1.5e-4).to_bits());
        assert_eq!(pixels[7].map(f32::to_bits), written);
        let primaries = image.attributes.chromaticities.unwrap();
        assert_eq!(primaries.green, Vec2(0.3, 0.6));
    }

    #[test]
    fn blocks_come_back_bit_by_bit_whether_they_pack_or_not() {
        // Smooth, blank and noisy blocks, and a last one of fewer lines.
        let (width, height) = (37, 16 * 3 + 5);
        let value = |i: usize| match i / (width * 16 * 3) {
            0 => (i as f32).sqrt(),
            1 => 0.0,
            _ => f32::from_bits((i as u32).wrapping_mul(2_654_435_761) & 0x7F7F_FFFF),
        };
        let data: Vec<f32> = (0..width * height * 3).map(value).collect();
        let picture = LinearRgb::from_data(width, height, data.clone());
        let mut out = Cursor::new(Vec::new());
        write_exr(&picture, &ExrNotes::default(), &mut out).unwrap();
        let image = ::exr::prelude::read()
            .no_deep_data()
            .largest_resolution_level()
            .rgb_channels(
                |size, _| vec![[0.0_f32; 3]; size.area()],
                |pixels, at, (r, g, b): (f32, f32, f32)| pixels[at.y() * 37 + at.x()] = [r, g, b],
            )
            .first_valid_layer()
            .all_attributes()
            .from_buffered(Cursor::new(out.into_inner()))
            .unwrap();
        let back = image.layer_data.channel_data.pixels.as_flattened();
        let same = back
            .iter()
            .zip(&data)
            .all(|(a, b)| a.to_bits() == b.to_bits());
        assert!(same && back.len() == data.len());
    }

    #[test]
    fn notes_are_kept_and_bytes_repeat() {
        let notes = ExrNotes {
            comments: "corona\nsun 12.5 \u{b1} 0.1 px".into(),
            software: "contactstrip".into(),
            exposure_s: Some(0.5),
            ..ExrNotes::default()
        };
        let bytes = written(&notes);
        assert_eq!(bytes, written(&notes));
        let meta = ::exr::meta::MetaData::read_from_buffered(Cursor::new(bytes), true).unwrap();
        let own = &meta.headers[0].own_attributes;
        assert_eq!(own.exposure, Some(0.5));
        assert!(
            own.comments
                .as_ref()
                .unwrap()
                .to_string()
                .contains("12.5 ? 0.1")
        );
    }

    #[test]
    fn nothing_is_refused() {
        let out = Cursor::new(Vec::new());
        let empty = LinearRgb::new(0, 4);
        assert!(matches!(
            write_exr(&empty, &ExrNotes::default(), out),
            Err(ExrError::Empty)
        ));
    }
}
