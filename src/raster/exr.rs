//! OpenEXR files of linear light.
//!
//! Three 32-bit float channels, losslessly packed in blocks of 16 lines, with the primaries of ITU-R BT.709 (those
//! of sRGB) named in the header so that other programs know what red, green and blue mean.
//! Format: OpenEXR 2.0 file layout (Academy Software Foundation, technical documentation).

use std::io::{Seek, Write};

use ::exr::prelude::{
    Compression, Encoding, Image, ImageAttributes, Layer, LayerAttributes, LineOrder,
    SpecificChannels, Text, Vec2, WritableImage,
};

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
    let channels = SpecificChannels::rgb(|at: Vec2<usize>| {
        let [r, g, b] = picture.at(at.x(), at.y());
        (r, g, b)
    });
    let encoding = Encoding {
        compression: Compression::ZIP16,
        blocks: ::exr::prelude::Blocks::ScanLines,
        line_order: LineOrder::Increasing,
    };
    let size = (picture.width(), picture.height());
    let layer = Layer::new(size, layer_attributes(notes), encoding, channels);
    let mut image = Image::from_layer(layer);
    image.attributes = image_attributes(&image.attributes);
    image.write().to_buffered(out)?;
    Ok(())
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
