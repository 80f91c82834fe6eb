//! From a file to a [`Frame`].

use std::fs::File;
use std::io::{Cursor, Read};
use std::path::Path;

use image::{DynamicImage, ImageDecoder, ImageFormat, ImageReader, Limits};

use super::contain::contained;
use super::error::{DecodeError, check_size};
use super::jpeg::Wanted;
use super::limits::{MAX_FILE_MIB, MAX_PICTURE_MIB, MIB};
use super::turn::upright;
use super::{Frame, Samples, Transfer, jpeg, linear_to_srgb, profile, srgb_to_linear};
use crate::domain::Orientation;

/// Most memory that what a PNG holds besides its pixels may take, in MiB: profiles and texts are packed, and one of a megabyte may
/// unpack to thousands (our choice: the largest profiles in use, tables for printing presses, take some 4 MiB). A profile beyond it
/// is left out.
const MAX_ASIDE_MIB: u64 = 16;

/// Decodes a JPEG, PNG or TIFF file and turns it upright.
///
/// The kind is told from the first bytes. Grey pictures keep one channel, all others three; 8 and 16 bits a value are
/// kept; an alpha channel is laid over black; floating-point TIFF is taken as linear light and held to 0 to 1. A picture
/// with a colour profile of another space than sRGB (Adobe RGB, Display P3) is brought to sRGB in 16 bits.
///
/// # Errors
/// [`DecodeError`]; sizes beyond the limits are refused from the header, before any pixel is decoded; a file that ends
/// early is an error, never a frame with a blank part; a panic inside the decoder is an error too.
pub fn decode(path: &Path, orientation: Orientation) -> Result<Frame, DecodeError> {
    decode_bytes(&file_bytes(path)?, orientation)
}

/// The bytes of a file that [`decode_bytes`] takes.
///
/// # Errors
/// [`DecodeError::Read`], and [`DecodeError::HugeFile`] beyond [`MAX_FILE_MIB`].
pub fn file_bytes(path: &Path) -> Result<Vec<u8>, DecodeError> {
    let file = File::open(path)?;
    let size_bytes = file.metadata()?.len();
    if size_bytes > MAX_FILE_MIB * MIB {
        return Err(DecodeError::HugeFile);
    }
    let mut bytes = Vec::with_capacity(usize::try_from(size_bytes).unwrap_or(0));
    file.take(MAX_FILE_MIB * MIB).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// The same from bytes in memory.
///
/// # Errors
/// As [`decode`].
pub fn decode_bytes(bytes: &[u8], orientation: Orientation) -> Result<Frame, DecodeError> {
    decoded(bytes, orientation, Wanted::Colour, Vec::new())
}

/// The same for finding and measuring discs: of a JPEG that stores luma apart from colour only the luma is decoded, which
/// takes half the time and keeps clear of the blur of subsampled colour. It is taken as a grey picture on the sRGB curve
/// (ITU-T T.871, "JPEG File Interchange Format", sect. 7, gives the weights). `scratch` lends its memory;
/// [`Frame::into_scratch`] gives it back. A large upright picture of one baseline scan is decoded where somebody looks, to the
/// same values within 1.
///
/// # Errors
/// As [`decode`].
pub fn decode_luma(
    bytes: &[u8],
    orientation: Orientation,
    scratch: Vec<u8>,
) -> Result<Frame, DecodeError> {
    decoded(bytes, orientation, Wanted::Luma, scratch)
}

/// The same for showing it small, by [`thumbnail`](super::thumbnail()): a large upright picture of one baseline scan is
/// decoded where somebody looks.
///
/// # Errors
/// As [`decode`].
pub(super) fn glimpsed(bytes: &[u8], orientation: Orientation) -> Result<Frame, DecodeError> {
    let is_jpeg = bytes.starts_with(&[0xFF, 0xD8, 0xFF]);
    if is_jpeg && orientation == Orientation::UPRIGHT {
        let scan = contained(|| jpeg::Opened::new(bytes).ok()?.where_looked_at()).flatten();
        if let Some(frame) = scan.filter(Frame::is_shown_in_its_colours) {
            return Ok(frame);
        }
    }
    decode_bytes(bytes, orientation)
}

fn decoded(
    bytes: &[u8],
    orientation: Orientation,
    wanted: Wanted,
    scratch: Vec<u8>,
) -> Result<Frame, DecodeError> {
    contained(|| {
        if bytes.starts_with(&[0xFF, 0xD8, 0xFF]) {
            from_jpeg(bytes, orientation, wanted, scratch)
        } else {
            from_other(bytes, orientation)
        }
    })
    .unwrap_or(Err(DecodeError::Panic))
}

fn from_jpeg(
    bytes: &[u8],
    orientation: Orientation,
    wanted: Wanted,
    scratch: Vec<u8>,
) -> Result<Frame, DecodeError> {
    let opened = jpeg::Opened::new(bytes)?;
    if wanted == Wanted::Luma
        && orientation == Orientation::UPRIGHT
        && let Some(frame) = opened.where_looked_at()
    {
        return Ok(frame);
    }
    let stored = opened.stored(wanted, scratch)?;
    let samples = Samples::U8(stored.values);
    let (channels, samples) = match wanted {
        Wanted::Colour => in_srgb(stored.icc.as_deref(), stored.channels, samples),
        Wanted::Luma => (stored.channels, samples),
    };
    Ok(frame(
        (stored.width, stored.height, channels),
        samples,
        Transfer::Srgb,
        orientation,
    ))
}

fn from_other(bytes: &[u8], orientation: Orientation) -> Result<Frame, DecodeError> {
    let mut reader = ImageReader::new(Cursor::new(bytes)).with_guessed_format()?;
    match reader.format() {
        Some(ImageFormat::Tiff) => {}
        Some(ImageFormat::Png) => {
            let mut limits = Limits::default();
            limits.max_alloc = Some(MAX_ASIDE_MIB * MIB);
            reader.limits(limits);
        }
        _ => return Err(DecodeError::NotAPicture),
    }
    let mut decoder = reader.into_decoder().map_err(cut_short)?;
    let (width, height) = decoder.dimensions();
    let pixel_bytes = u64::from(decoder.color_type().bytes_per_pixel());
    check_size(u64::from(width), u64::from(height), pixel_bytes)?;
    let mut limits = Limits::default();
    limits.max_alloc = Some(2 * MAX_PICTURE_MIB * MIB);
    decoder.set_limits(limits)?;
    let icc = decoder.icc_profile().unwrap_or_default();
    let picture = DynamicImage::from_decoder(decoder).map_err(cut_short)?;
    let (mut channels, mut values, transfer) = plain_values(picture);
    if transfer == Transfer::Srgb {
        (channels, values) = in_srgb(icc.as_deref(), channels, values);
    }
    Ok(frame(
        (width as usize, height as usize, channels),
        values,
        transfer,
        orientation,
    ))
}

/// The channels and values, brought to sRGB where an embedded profile is of another space.
pub(super) fn in_srgb(icc: Option<&[u8]>, channels: usize, samples: Samples) -> (usize, Samples) {
    let converted = icc.and_then(|icc| profile::to_srgb(icc, channels, &samples));
    match converted {
        Some(values) => (3, Samples::U16(values)),
        None => (channels, samples),
    }
}

/// An early end of the file said as such.
fn cut_short(error: image::ImageError) -> DecodeError {
    let mut cause: Option<&(dyn std::error::Error + 'static)> = Some(&error);
    while let Some(e) = cause {
        let early_end = e
            .downcast_ref::<std::io::Error>()
            .is_some_and(|e| e.kind() == std::io::ErrorKind::UnexpectedEof);
        if early_end {
            return DecodeError::CutShort;
        }
        cause = e.source();
    }
    DecodeError::Decoder(error)
}

/// One or three channels of 8 or 16 bits from whatever the decoder gave.
fn plain_values(picture: DynamicImage) -> (usize, Samples, Transfer) {
    use DynamicImage as D;
    let srgb = Transfer::Srgb;
    match picture {
        D::ImageLuma8(p) => (1, Samples::U8(p.into_raw()), srgb),
        D::ImageRgb8(p) => (3, Samples::U8(p.into_raw()), srgb),
        D::ImageLumaA8(p) => (1, Samples::U8(over_black(p.pixels().map(|p| p.0))), srgb),
        D::ImageRgba8(p) => (3, Samples::U8(over_black(p.pixels().map(|p| p.0))), srgb),
        D::ImageLuma16(p) => (1, Samples::U16(p.into_raw()), srgb),
        D::ImageRgb16(p) => (3, Samples::U16(p.into_raw()), srgb),
        D::ImageLumaA16(p) => (1, Samples::U16(over_black(p.pixels().map(|p| p.0))), srgb),
        D::ImageRgba16(p) => (3, Samples::U16(over_black(p.pixels().map(|p| p.0))), srgb),
        other => {
            // Floating point: linear light by convention; values beyond saturation are held there.
            let held = |v: &f32| (v.clamp(0.0, 1.0) * 65_535.0).round() as u16;
            let values = other.into_rgb32f().iter().map(held).collect();
            (3, Samples::U16(values), Transfer::Linear)
        }
    }
}

/// A stored value that can be dimmed by an alpha value of its own kind.
trait Dimmed: Copy + PartialEq {
    const FULL: Self;
    fn dimmed(self, alpha: Self) -> Self;
}

macro_rules! dimmed {
    ($kind:ty) => {
        impl Dimmed for $kind {
            const FULL: Self = <$kind>::MAX;
            fn dimmed(self, alpha: Self) -> Self {
                let full = f32::from(Self::FULL);
                let light = srgb_to_linear(f32::from(self) / full) * f32::from(alpha) / full;
                (linear_to_srgb(light) * full).round() as Self
            }
        }
    };
}

dimmed!(u8);
dimmed!(u16);

/// The colours laid over black, mixed in light; the last of the `N` values is alpha.
fn over_black<V: Dimmed, const N: usize>(pixels: impl Iterator<Item = [V; N]>) -> Vec<V> {
    let mut values = Vec::with_capacity(pixels.size_hint().0 * (N - 1));
    for pixel in pixels {
        let alpha = pixel[N - 1];
        for value in &pixel[..N - 1] {
            values.push(if alpha == V::FULL {
                *value
            } else {
                value.dimmed(alpha)
            });
        }
    }
    values
}

/// A frame of stored values, turned upright.
pub(super) fn frame(
    (width, height, channels): (usize, usize, usize),
    values: Samples,
    transfer: Transfer,
    orientation: Orientation,
) -> Frame {
    let (samples, width, height) = match (values, channels) {
        (Samples::U8(v), 1) => {
            let (v, w, h) = upright::<_, 1>(v, width, height, orientation);
            (Samples::U8(v), w, h)
        }
        (Samples::U8(v), _) => {
            let (v, w, h) = upright::<_, 3>(v, width, height, orientation);
            (Samples::U8(v), w, h)
        }
        (Samples::U16(v), 1) => {
            let (v, w, h) = upright::<_, 1>(v, width, height, orientation);
            (Samples::U16(v), w, h)
        }
        (Samples::U16(v), _) => {
            let (v, w, h) = upright::<_, 3>(v, width, height, orientation);
            (Samples::U16(v), w, h)
        }
    };
    Frame::new(width, height, channels, samples, transfer)
}

#[cfg(test)]
mod tests {
    use image::codecs::jpeg::JpegEncoder;
    use image::{ImageEncoder, Rgb, RgbImage};

    use super::*;

    #[test]
    fn a_large_picture_has_the_same_luma_however_it_is_decoded() {
        let (width, height) = (4700_u32, 40_u32);
        let picture = RgbImage::from_fn(width, height, |x, y| {
            let glow = (200.0 * (-f64::from(x.abs_diff(900)).powi(2) / 9e4).exp()) as u8;
            Rgb([glow, glow / 2 + (y % 5) as u8, 10])
        });
        let mut bytes = Vec::new();
        JpegEncoder::new_with_quality(&mut bytes, 92)
            .write_image(&picture, width, height, image::ExtendedColorType::Rgb8)
            .unwrap();
        let lazy = decode_luma(&bytes, Orientation::UPRIGHT, Vec::new()).unwrap();
        assert!(lazy.colours().is_some(), "decoded where somebody looks");
        let opened = jpeg::Opened::new(&bytes).unwrap();
        let stored = opened.stored(Wanted::Luma, Vec::new()).unwrap();
        let whole = frame(
            (stored.width, stored.height, stored.channels),
            Samples::U8(stored.values),
            Transfer::Srgb,
            Orientation::UPRIGHT,
        );
        let (Samples::U8(a), Samples::U8(b)) = (lazy.samples(), whole.samples()) else {
            panic!("8 bits");
        };
        assert!(a.iter().zip(b).all(|(a, b)| a.abs_diff(*b) <= 1));
        let (small, step) = lazy.overview(768);
        assert_eq!((step, small.width(), small.height()), (8, 587, 5));
        let due = whole.coarse_brightest(whole.full(), 8);
        for (got, due) in small.data().iter().zip(due.data()) {
            assert!((got - due).abs() < 0.01 + 0.05 * due, "{got} for {due}");
        }
        let turned = decode_luma(&bytes, Orientation::from_exif(6).unwrap(), Vec::new()).unwrap();
        assert_eq!((turned.width(), turned.height()), (40, 4700));
    }

    const UPRIGHT: Orientation = Orientation::UPRIGHT;

    fn picture() -> RgbImage {
        RgbImage::from_fn(160, 120, |x, y| {
            Rgb([x as u8, y as u8, (x * 7 + y * 13) as u8])
        })
    }

    fn jpeg() -> Vec<u8> {
        let mut out = Vec::new();
        JpegEncoder::new_with_quality(&mut out, 95)
            .encode_image(&picture())
            .unwrap();
        out
    }

    fn written(picture: impl Into<DynamicImage>, format: ImageFormat) -> Vec<u8> {
        let mut out = Cursor::new(Vec::new());
        picture.into().write_to(&mut out, format).unwrap();
        out.into_inner()
    }

    fn samples_u16(frame: &Frame) -> &[u16] {
        match frame.samples() {
            Samples::U16(v) => v,
            Samples::U8(_) => panic!("16 bits expected"),
        }
    }

    fn samples_u8(frame: &Frame) -> &[u8] {
        match frame.samples() {
            Samples::U8(v) => v,
            Samples::U16(_) => panic!("8 bits expected"),
        }
    }

    #[test]
    fn a_jpeg_cut_anywhere_is_cut_short() {
        let whole = jpeg();
        assert!(decode_bytes(&whole, UPRIGHT).is_ok());
        let start = whole.windows(2).position(|w| w == [0xFF, 0xDA]).unwrap();
        for end in (start + 20..whole.len()).step_by(37) {
            let error = decode_bytes(&whole[..end], UPRIGHT).unwrap_err();
            assert!(matches!(error, DecodeError::CutShort), "at {end}: {error}");
        }
        for end in 0..start {
            assert!(decode_bytes(&whole[..end], UPRIGHT).is_err(), "at {end}");
        }
    }

    #[test]
    fn a_jpeg_whose_rest_was_never_written_is_no_picture() {
        let mut blank = jpeg();
        let half = blank.len() / 2;
        blank[half..].fill(0);
        assert!(matches!(
            decode_bytes(&blank, UPRIGHT),
            Err(DecodeError::CutShort)
        ));
    }

    #[test]
    fn what_follows_a_picture_does_not_matter() {
        let mut longer = jpeg();
        longer.extend(b"a motion picture behind the photograph");
        assert_eq!(
            decode_bytes(&longer, UPRIGHT).unwrap(),
            decode_bytes(&jpeg(), UPRIGHT).unwrap()
        );
    }

    /// A profile that unpacks to 100 MiB is left out, and the picture is read without it.
    #[test]
    fn a_profile_that_unpacks_to_anything_is_left_out() {
        use std::io::Write as _;
        let mut bytes = written(picture(), ImageFormat::Png);
        let mut packed = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::best());
        for _ in 0..100 {
            packed.write_all(&vec![0; 1 << 20]).unwrap();
        }
        let mut body = b"iCCPname\0\0".to_vec();
        body.extend(packed.finish().unwrap());
        let mut chunk = (body.len() as u32 - 4).to_be_bytes().to_vec();
        let mut check = flate2::Crc::new();
        check.update(&body);
        chunk.extend(&body);
        chunk.extend(check.sum().to_be_bytes());
        let behind_header = 8 + 25; // the signature and IHDR
        bytes.splice(behind_header..behind_header, chunk);
        let plain = decode_bytes(&written(picture(), ImageFormat::Png), UPRIGHT).unwrap();
        let read = decode_bytes(&bytes, UPRIGHT).unwrap();
        assert_eq!(samples_u8(&read), samples_u8(&plain));
        let profile = |max: Option<u64>| {
            let mut reader = ImageReader::with_format(Cursor::new(&bytes), ImageFormat::Png);
            let mut limits = Limits::default();
            limits.max_alloc = max;
            reader.limits(limits);
            reader.into_decoder().unwrap().icc_profile().unwrap()
        };
        assert_eq!(profile(None).map(|p| p.len()), Some(100 << 20));
        assert_eq!(profile(Some(MAX_ASIDE_MIB * MIB)), None);
    }

    #[test]
    fn sizes_beyond_the_limit_are_refused_from_the_header() {
        let mut huge = jpeg();
        let frame = huge.windows(2).position(|w| w == [0xFF, 0xC0]).unwrap();
        huge[frame + 5..frame + 9].copy_from_slice(&[0xEA, 0x60, 0xEA, 0x60]);
        let text = decode_bytes(&huge, UPRIGHT).unwrap_err().to_string();
        assert!(
            text.contains("60000 x 60000") && text.contains("30000 on a side"),
            "{text}"
        );

        let mut huge = written(picture(), ImageFormat::Png);
        huge[16..24].copy_from_slice(&[0, 0, 0xEA, 0x60, 0, 0, 0xEA, 0x60]);
        let crc = png_crc(&huge[12..29]);
        huge[29..33].copy_from_slice(&crc);
        let text = decode_bytes(&huge, UPRIGHT).unwrap_err().to_string();
        assert!(text.contains("60000 x 60000"), "{text}");
    }

    /// The check sum of a PNG chunk (ISO/IEC 15948, annex D).
    fn png_crc(bytes: &[u8]) -> [u8; 4] {
        let crc = bytes.iter().fold(u32::MAX, |crc, byte| {
            (0..8).fold(crc ^ u32::from(*byte), |c, _| {
                if c & 1 == 1 {
                    0xEDB8_8320 ^ (c >> 1)
                } else {
                    c >> 1
                }
            })
        });
        (!crc).to_be_bytes()
    }

    #[test]
    fn png_and_tiff_cut_short_are_errors() {
        for format in [ImageFormat::Png, ImageFormat::Tiff] {
            let whole = written(picture(), format);
            assert!(decode_bytes(&whole, UPRIGHT).is_ok());
            for part in 1..8 {
                let end = whole.len() * part / 8;
                assert!(
                    decode_bytes(&whole[..end], UPRIGHT).is_err(),
                    "{format:?} at {end}"
                );
            }
        }
    }

    #[test]
    fn bits_and_channels_are_kept() {
        let deep = image::ImageBuffer::from_fn(5, 3, |x, y| {
            Rgb([x as u16 * 9000, y as u16 * 777, 65_535])
        });
        for format in [ImageFormat::Png, ImageFormat::Tiff] {
            let frame = decode_bytes(&written(deep.clone(), format), UPRIGHT).unwrap();
            assert_eq!(frame.channels(), 3);
            assert_eq!(samples_u16(&frame), deep.as_raw());
        }
        let grey = image::GrayImage::from_fn(5, 3, |x, y| image::Luma([(x * 50 + y) as u8]));
        let frame = decode_bytes(&written(grey.clone(), ImageFormat::Png), UPRIGHT).unwrap();
        assert_eq!(
            (frame.channels(), samples_u8(&frame)),
            (1, &grey.as_raw()[..])
        );
        let frame = decode_bytes(&written(grey, ImageFormat::Jpeg), UPRIGHT).unwrap();
        assert_eq!(frame.channels(), 1);
    }

    #[test]
    fn alpha_lies_over_black() {
        let pixel = |alpha| image::RgbaImage::from_pixel(1, 1, image::Rgba([255, 100, 0, alpha]));
        let over = |alpha| {
            let frame = decode_bytes(&written(pixel(alpha), ImageFormat::Png), UPRIGHT).unwrap();
            samples_u8(&frame).to_vec()
        };
        assert_eq!(over(255), [255, 100, 0]);
        assert_eq!(over(0), [0, 0, 0]);
        assert_eq!(
            over(128)[0],
            188,
            "half the light of full is 188 on the sRGB curve"
        );
    }

    #[test]
    fn floating_point_is_light() {
        let picture = image::Rgb32FImage::from_pixel(2, 1, Rgb([0.5, 2.0, -1.0]));
        let frame = decode_bytes(&written(picture, ImageFormat::Tiff), UPRIGHT).unwrap();
        assert_eq!(frame.transfer(), Transfer::Linear);
        assert_eq!(samples_u16(&frame)[..3], [32_768, 65_535, 0]);
    }

    #[test]
    fn four_inks_become_three_colours() {
        let inks = include_bytes!("../../fixtures/raster/cmyk.jpg");
        let frame = decode_bytes(inks, UPRIGHT).unwrap();
        assert_eq!((frame.width(), frame.height(), frame.channels()), (8, 8, 3));
        for (value, drawn) in samples_u8(&frame)
            .chunks_exact(3)
            .flatten()
            .zip([200_u8, 40, 30].iter().cycle())
        {
            assert!(value.abs_diff(*drawn) <= 4, "{value} for {drawn}");
        }
    }

    #[test]
    fn the_fast_way_agrees_with_the_plain_one() {
        let frame = decode_bytes(&jpeg(), Orientation::from_exif(6).unwrap()).unwrap();
        let mut plain = image::load_from_memory(&jpeg()).unwrap();
        plain.apply_orientation(image::metadata::Orientation::Rotate90);
        assert_eq!((frame.width(), frame.height()), (120, 160));
        assert_eq!(samples_u8(&frame), plain.into_rgb8().as_raw());
    }

    #[test]
    fn changed_bytes_never_break_out() {
        let grey = image::GrayImage::new(9, 9);
        let mut png = Vec::new();
        image::codecs::png::PngEncoder::new(&mut png)
            .write_image(grey.as_raw(), 9, 9, image::ExtendedColorType::L8)
            .unwrap();
        let small = RgbImage::from_fn(24, 16, |x, y| Rgb([x as u8, y as u8, 0]));
        for whole in [
            png,
            written(small.clone(), ImageFormat::Tiff),
            written(small, ImageFormat::Jpeg),
        ] {
            for at in 0..whole.len().min(700) {
                let mut changed = whole.clone();
                changed[at] ^= 0xFF;
                let _ = decode_bytes(&changed, UPRIGHT);
            }
        }
    }

    #[test]
    fn nothing_is_no_picture() {
        for bytes in [&b""[..], b"text", b"\xFF\xD8\xFF", b"GIF89a"] {
            assert!(decode_bytes(bytes, UPRIGHT).is_err());
        }
        let missing = decode(Path::new("no/such/file.jpg"), UPRIGHT).unwrap_err();
        assert!(matches!(missing, DecodeError::Read(_)));
    }

    /// A PNG of one colour with a profile.
    fn with_profile(profile: &moxcms::ColorProfile, rgb: [u8; 3]) -> Vec<u8> {
        let mut out = Vec::new();
        let mut encoder = image::codecs::png::PngEncoder::new(&mut out);
        encoder.set_icc_profile(profile.encode().unwrap()).unwrap();
        let picture = RgbImage::from_pixel(3, 2, Rgb(rgb));
        encoder
            .write_image(picture.as_raw(), 3, 2, image::ExtendedColorType::Rgb8)
            .unwrap();
        out
    }

    #[test]
    fn other_colour_spaces_give_the_right_light() {
        // Adobe RGB (1998), 4.3.1.2: its curve is a power of 2.199 21875; greys are the same in both spaces.
        for value in [30_u8, 90, 200, 255] {
            let png = with_profile(&moxcms::ColorProfile::new_adobe_rgb(), [value; 3]);
            let frame = decode_bytes(&png, UPRIGHT).unwrap();
            let expected = (f32::from(value) / 255.0).powf(2.199_218_8);
            for light in frame.rgb(1, 1) {
                assert!(
                    (light / expected - 1.0).abs() < 0.01,
                    "{value}: {light} for {expected}"
                );
            }
        }
        // A red of Display P3 that sRGB can hold comes out redder, with the same luminance.
        let png = with_profile(&moxcms::ColorProfile::new_display_p3(), [150, 120, 120]);
        let [r, g, b] = decode_bytes(&png, UPRIGHT).unwrap().rgb(0, 0);
        let (p3_r, p3_g) = (srgb_to_linear(150.0 / 255.0), srgb_to_linear(120.0 / 255.0));
        assert!(r > p3_r * 1.02 && g < p3_g && b < p3_g * 1.01);
    }

    #[test]
    fn an_srgb_profile_changes_nothing() {
        let png = with_profile(&moxcms::ColorProfile::new_srgb(), [1, 128, 254]);
        let frame = decode_bytes(&png, UPRIGHT).unwrap();
        assert_eq!(samples_u8(&frame)[..3], [1, 128, 254]);
    }
}
