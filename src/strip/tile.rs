//! The part of a photograph a strip needs: the disc and some sky, as it was decoded.

use std::io::{self, Cursor, Write};

use crate::catalogue::ShotRecord;
use crate::domain::Circle;
use crate::raster::{Frame, LinearRgb, Rect, Samples, Transfer, linear_to_srgb};

/// Name of the text that says where a tile was cut.
const PLACE_KEY: &str = "tile-place";

/// Largest tile read back, in bytes: a whole frame of 100 megapixels at 16 bits.
const MAX_TILE_BYTES: usize = 600_000_000;

/// A part of a frame, kept as compact as it came, that knows where it was cut.
///
/// A drawing made from tiles read back from files is the same, byte for byte, as one made from the photographs.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tile {
    frame: Frame,
    x0_px: usize,
    y0_px: usize,
    /// Pixels of the photograph that one of these is wide.
    step: usize,
}

impl Tile {
    /// A whole frame.
    pub fn whole(frame: Frame) -> Self {
        Self {
            frame,
            x0_px: 0,
            y0_px: 0,
            step: 1,
        }
    }

    /// The same at `1/step` size, for drawings to look at; places and circles are still given in pixels of the photograph. It is not to
    /// be written. The step is at most 256.
    pub fn reduced(&self, step: usize) -> Self {
        let step = step.clamp(1, 256);
        let small = self.frame.coarse(self.frame.full(), step);
        let (width, height) = (small.width(), small.height());
        let coded = |light: f32| (linear_to_srgb(light.clamp(0.0, 1.0)) * 65_535.0).round() as u16;
        let places = (0..height).flat_map(|y| (0..width).map(move |x| (x, y)));
        let values = places
            .flat_map(|(x, y)| small.at(x, y).map(coded))
            .collect();
        Self {
            frame: Frame::new(width, height, 3, Samples::U16(values), Transfer::Srgb),
            x0_px: self.x0_px,
            y0_px: self.y0_px,
            step: self.step * step,
        }
    }

    /// The square of half-width `half_px` about a circle's centre, clipped; `None` when that lies off the frame.
    ///
    /// The circle is in full-resolution pixels of the photograph, for tiles cut from tiles too.
    pub fn cut(&self, circle: &Circle, half_px: f64) -> Option<Self> {
        let (x, y) = self.inside(circle.x_px, circle.y_px);
        let rect = self.frame.clip(x, y, half_px / self.step as f64)?;
        Some(Self {
            frame: cropped(&self.frame, rect),
            x0_px: self.x0_px + rect.x * self.step,
            y0_px: self.y0_px + rect.y * self.step,
            step: self.step,
        })
    }

    /// Full-resolution pixels as pixels of this tile.
    pub fn inside(&self, x_px: f64, y_px: f64) -> (f64, f64) {
        let step = self.step as f64;
        // Written so that a step of 1 changes no bit.
        let here = |at: f64, corner: usize| (at - corner as f64 - (step - 1.0) / 2.0) / step;
        (here(x_px, self.x0_px), here(y_px, self.y0_px))
    }

    /// A circle in full-resolution pixels as one in pixels of this tile.
    pub fn circle(&self, circle: &Circle) -> Circle {
        let (x_px, y_px) = self.inside(circle.x_px, circle.y_px);
        let radius_px = circle.radius_px / self.step as f64;
        Circle {
            x_px,
            y_px,
            radius_px,
        }
    }

    /// The pixels.
    pub fn frame(&self) -> &Frame {
        &self.frame
    }

    /// The light of the whole tile.
    pub fn light(&self) -> LinearRgb {
        self.frame.linear_rgb(self.frame.full())
    }

    /// Writes the tile as a lossless PNG that [`Tile::read`] takes back.
    ///
    /// # Errors
    /// Those of `out`.
    pub fn write(&self, out: &mut dyn Write) -> io::Result<()> {
        let mut buffered = io::BufWriter::new(out);
        let (width, height) = (self.frame.width() as u32, self.frame.height() as u32);
        let mut encoder = png::Encoder::new(&mut buffered, width, height);
        encoder.set_color(match self.frame.channels() {
            1 => png::ColorType::Grayscale,
            _ => png::ColorType::Rgb,
        });
        encoder.set_compression(png::Compression::Fast);
        let curve = match self.frame.transfer() {
            Transfer::Srgb => "srgb",
            Transfer::Linear => "linear",
        };
        let place = format!("{} {} {curve}", self.x0_px, self.y0_px);
        encoder.add_text_chunk(PLACE_KEY.to_owned(), place)?;
        match self.frame.samples() {
            Samples::U8(values) => {
                encoder.set_depth(png::BitDepth::Eight);
                encoder.write_header()?.write_image_data(values)?;
            }
            Samples::U16(values) => {
                encoder.set_depth(png::BitDepth::Sixteen);
                let bytes: Vec<u8> = values.iter().flat_map(|v| v.to_be_bytes()).collect();
                encoder.write_header()?.write_image_data(&bytes)?;
            }
        }
        buffered.flush()
    }

    /// Reads back what [`Tile::write`] wrote.
    ///
    /// # Errors
    /// When the bytes are not such a file.
    pub fn read(bytes: &[u8]) -> io::Result<Self> {
        let odd = |what: &str| io::Error::new(io::ErrorKind::InvalidData, what.to_owned());
        let mut reader = png::Decoder::new(Cursor::new(bytes)).read_info()?;
        let size = reader
            .output_buffer_size()
            .filter(|size| *size <= MAX_TILE_BYTES)
            .ok_or_else(|| odd("too large"))?;
        let mut values = vec![0; size];
        let shape = reader.next_frame(&mut values)?;
        values.truncate(shape.buffer_size());
        reader.finish()?;
        let texts = &reader.info().uncompressed_latin1_text;
        let place = texts
            .iter()
            .find(|t| t.keyword == PLACE_KEY)
            .ok_or_else(|| odd("it does not say where it was cut"))?;
        let (x0_px, y0_px, transfer) = placed(&place.text).ok_or_else(|| odd("its place"))?;
        let channels = match shape.color_type {
            png::ColorType::Grayscale => 1,
            png::ColorType::Rgb => 3,
            _ => return Err(odd("its channels")),
        };
        let samples = match shape.bit_depth {
            png::BitDepth::Eight => Samples::U8(values),
            png::BitDepth::Sixteen => Samples::U16(
                values
                    .chunks_exact(2)
                    .map(|pair| u16::from_be_bytes([pair[0], pair[1]]))
                    .collect(),
            ),
            _ => return Err(odd("its depth")),
        };
        let (width, height) = (shape.width as usize, shape.height as usize);
        Ok(Self {
            frame: Frame::new(width, height, channels, samples, transfer),
            x0_px,
            y0_px,
            step: 1,
        })
    }
}

fn placed(text: &str) -> Option<(usize, usize, Transfer)> {
    let mut words = text.split(' ');
    let x0 = words.next()?.parse().ok()?;
    let y0 = words.next()?.parse().ok()?;
    let transfer = match words.next()? {
        "srgb" => Transfer::Srgb,
        "linear" => Transfer::Linear,
        _ => return None,
    };
    Some((x0, y0, transfer))
}

fn cropped(frame: &Frame, rect: Rect) -> Frame {
    let samples = match frame.samples() {
        Samples::U8(values) => Samples::U8(rows_of(values, frame, rect)),
        Samples::U16(values) => Samples::U16(rows_of(values, frame, rect)),
    };
    let (channels, transfer) = (frame.channels(), frame.transfer());
    Frame::new(rect.width, rect.height, channels, samples, transfer)
}

fn rows_of<T: Copy>(values: &[T], frame: &Frame, rect: Rect) -> Vec<T> {
    let channels = frame.channels();
    let mut part = Vec::with_capacity(rect.width * rect.height * channels);
    for y in rect.y..rect.y + rect.height {
        let start = (y * frame.width() + rect.x) * channels;
        part.extend_from_slice(&values[start..start + rect.width * channels]);
    }
    part
}

/// Opens a frame of the catalogue: whole, or the tile kept of it.
pub type Open<'a> = dyn Fn(&ShotRecord) -> Result<Tile, String> + Sync + 'a;
