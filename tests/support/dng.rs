//! Drawn raw files: DNGs of 14-bit Bayer sensors, plain or in lossless-JPEG tiles, with Exif and GPS.
//!
//! Written by the specification (Adobe DNG 1.7; TIFF 6.0; ISO/IEC 10918-1 annex H for the packing); shares no code with
//! the reader that is measured.

/// How the values are stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Packing {
    /// One strip of 16-bit words.
    Plain,
    /// Lossless-JPEG tiles of this size, two columns a sample pair.
    Tiles(usize, usize),
}

/// What the header says about the shot.
#[derive(Clone, Debug)]
pub(crate) struct Taken {
    pub(crate) make: String,
    pub(crate) model: String,
    /// `2019:07:02 16:38:00`.
    pub(crate) local: String,
    pub(crate) subsec: Option<String>,
    /// Parts of a fraction of seconds.
    pub(crate) shutter: (u32, u32),
    pub(crate) f_number: (u32, u32),
    pub(crate) iso: u16,
    pub(crate) focal: (u32, u32),
    pub(crate) orientation: u16,
    /// Degrees, north and east positive.
    pub(crate) place: Option<(f64, f64)>,
}

impl Default for Taken {
    fn default() -> Self {
        Self {
            make: "Drawn".to_owned(),
            model: "Raw 14".to_owned(),
            local: "2019:07:02 16:38:07".to_owned(),
            subsec: Some("25".to_owned()),
            shutter: (1, 800),
            f_number: (8, 1),
            iso: 100,
            focal: (600, 1),
            orientation: 1,
            place: Some((-30.03, -70.71)),
        }
    }
}

/// A sensor's picture.
#[derive(Clone, Debug)]
pub(crate) struct Dng {
    pub(crate) width: usize,
    pub(crate) height: usize,
    /// Row-major, `width * height`.
    pub(crate) values: Vec<u16>,
    /// Colours of the four pixels from the active area's corner on: 0 red, 1 green, 2 blue.
    pub(crate) pattern: [u8; 4],
    /// Levels of the four pixels from the active area's corner on.
    pub(crate) black: [u16; 4],
    pub(crate) white: u16,
    /// Sensor values of a neutral thing, in thousandths of the greatest.
    pub(crate) neutral: [u32; 3],
    /// Top, left, bottom, right.
    pub(crate) active: Option<[u32; 4]>,
    /// Left, top, width, height, from the active area's corner on.
    pub(crate) crop: Option<[u32; 4]>,
    pub(crate) packing: Packing,
    pub(crate) taken: Taken,
    /// A JPEG to stand inside as the camera's own picture: bytes, width, height.
    pub(crate) preview: Option<(Vec<u8>, u32, u32)>,
    /// Further entries of the first directory: tag, type, bytes.
    pub(crate) more: Vec<(u16, u16, Vec<u8>)>,
}

/// XYZ to a sensor whose colours are sRGB's: the inverse of IEC 61966-2-1's matrix, in ten-thousandths.
const XYZ_TO_SRGB: [i32; 9] = [32406, -15372, -4986, -9689, 18758, 415, 557, -2040, 10570];

type Field = (u16, u16, u32, Vec<u8>);

fn shorts(tag: u16, values: &[u16]) -> Field {
    let bytes = values.iter().flat_map(|v| v.to_le_bytes()).collect();
    (tag, 3, values.len() as u32, bytes)
}

fn longs(tag: u16, values: &[u32]) -> Field {
    let bytes = values.iter().flat_map(|v| v.to_le_bytes()).collect();
    (tag, 4, values.len() as u32, bytes)
}

fn ratios(tag: u16, values: &[(u32, u32)]) -> Field {
    let parts = values.iter().flat_map(|(n, d)| [*n, *d]);
    let bytes = parts.flat_map(u32::to_le_bytes).collect();
    (tag, 5, values.len() as u32, bytes)
}

fn signed_ratios(tag: u16, values: &[(i32, i32)]) -> Field {
    let parts = values.iter().flat_map(|(n, d)| [*n, *d]);
    let bytes = parts.flat_map(i32::to_le_bytes).collect();
    (tag, 10, values.len() as u32, bytes)
}

fn text(tag: u16, text: &str) -> Field {
    let mut bytes = text.as_bytes().to_vec();
    bytes.push(0);
    (tag, 2, bytes.len() as u32, bytes)
}

fn raw_bytes(tag: u16, kind: u16, bytes: &[u8]) -> Field {
    (tag, kind, bytes.len() as u32, bytes.to_vec())
}

/// Appends a directory with what it points to and returns its place.
fn put_directory(out: &mut Vec<u8>, mut fields: Vec<Field>) -> u32 {
    fields.sort_by_key(|f| f.0);
    out.resize(out.len().next_multiple_of(2), 0);
    let mut places = Vec::new();
    for (_, _, _, bytes) in &fields {
        places.push(out.len() as u32);
        if bytes.len() > 4 {
            out.extend(bytes);
            out.resize(out.len().next_multiple_of(2), 0);
        }
    }
    let start = out.len() as u32;
    out.extend((fields.len() as u16).to_le_bytes());
    for ((tag, kind, count, bytes), place) in fields.iter().zip(places) {
        out.extend(tag.to_le_bytes());
        out.extend(kind.to_le_bytes());
        out.extend(count.to_le_bytes());
        let mut value = place.to_le_bytes();
        if bytes.len() <= 4 {
            value = [0; 4];
            value[..bytes.len()].copy_from_slice(bytes);
        }
        out.extend(value);
    }
    out.extend([0; 4]);
    start
}

impl Dng {
    /// A whole file.
    pub(crate) fn bytes(&self) -> Vec<u8> {
        let mut out = b"II*\0\0\0\0\0".to_vec();
        let picture = self.put_picture(&mut out);
        let exif = put_directory(&mut out, self.exif_fields());
        let gps = self
            .taken
            .place
            .map(|p| put_directory(&mut out, gps_fields(p)));
        let mut root = self.root_fields();
        let more = self.more.iter();
        root.extend(more.map(|(tag, kind, bytes)| raw_bytes(*tag, *kind, bytes)));
        root.push(longs(0x8769, &[exif]));
        root.extend(gps.map(|gps| longs(0x8825, &[gps])));
        match &self.preview {
            None => root.extend(picture),
            Some((jpeg, width, height)) => {
                let place = out.len() as u32;
                out.extend(jpeg);
                let shown = put_directory(
                    &mut out,
                    vec![
                        longs(0x00FE, &[1]),
                        longs(0x0100, &[*width]),
                        longs(0x0101, &[*height]),
                        shorts(0x0102, &[8, 8, 8]),
                        shorts(0x0103, &[7]),
                        shorts(0x0106, &[6]),
                        longs(0x0111, &[place]),
                        shorts(0x0115, &[3]),
                        longs(0x0116, &[*height]),
                        longs(0x0117, &[jpeg.len() as u32]),
                    ],
                );
                let raw = put_directory(&mut out, picture);
                root.push(longs(0x014A, &[raw, shown]));
                root.extend(self.stamp_picture(&mut out));
            }
        }
        let root = put_directory(&mut out, root);
        out[4..8].copy_from_slice(&root.to_le_bytes());
        out
    }

    /// The small first picture of files with several: 4 by 4 grey pixels.
    fn stamp_picture(&self, out: &mut Vec<u8>) -> Vec<Field> {
        let place = out.len() as u32;
        out.extend([128; 48]);
        vec![
            longs(0x00FE, &[1]),
            longs(0x0100, &[4]),
            longs(0x0101, &[4]),
            shorts(0x0102, &[8, 8, 8]),
            shorts(0x0103, &[1]),
            shorts(0x0106, &[2]),
            longs(0x0111, &[place]),
            shorts(0x0115, &[3]),
            longs(0x0116, &[4]),
            longs(0x0117, &[48]),
        ]
    }

    fn root_fields(&self) -> Vec<Field> {
        let matrix = XYZ_TO_SRGB.map(|v| (v, 10_000));
        let neutral = self.neutral.map(|v| (v, 1000));
        vec![
            text(0x010F, &self.taken.make),
            text(0x0110, &self.taken.model),
            shorts(0x0112, &[self.taken.orientation]),
            raw_bytes(0xC612, 1, &[1, 4, 0, 0]),
            raw_bytes(0xC613, 1, &[1, 1, 0, 0]),
            text(0xC614, &format!("{} {}", self.taken.make, self.taken.model)),
            signed_ratios(0xC621, &matrix),
            ratios(0xC628, &neutral),
            shorts(0xC65A, &[21]),
        ]
    }

    fn exif_fields(&self) -> Vec<Field> {
        let taken = &self.taken;
        let mut fields = vec![
            ratios(0x829A, &[taken.shutter]),
            ratios(0x829D, &[taken.f_number]),
            shorts(0x8827, &[taken.iso]),
            raw_bytes(0x9000, 7, b"0232"),
            text(0x9003, &taken.local),
            ratios(0x920A, &[taken.focal]),
        ];
        fields.extend(taken.subsec.as_ref().map(|s| text(0x9291, s)));
        fields
    }

    /// The packed values, and the fields that describe them.
    fn put_picture(&self, out: &mut Vec<u8>) -> Vec<Field> {
        let mut fields = vec![
            longs(0x00FE, &[0]),
            longs(0x0100, &[self.width as u32]),
            longs(0x0101, &[self.height as u32]),
            shorts(
                0x0102,
                &[if self.packing == Packing::Plain {
                    16
                } else {
                    14
                }],
            ),
            shorts(0x0106, &[32803]),
            shorts(0x0115, &[1]),
            shorts(0x828D, &[2, 2]),
            raw_bytes(0x828E, 1, &self.pattern),
            shorts(0xC619, &[2, 2]),
            shorts(0xC61A, &self.black),
            longs(0xC61D, &[u32::from(self.white)]),
        ];
        fields.extend(self.active.map(|a| longs(0xC68D, &a)));
        if let Some([left, top, width, height]) = self.crop {
            fields.push(longs(0xC61F, &[left, top]));
            fields.push(longs(0xC620, &[width, height]));
        }
        match self.packing {
            Packing::Plain => {
                let place = out.len() as u32;
                out.extend(self.values.iter().flat_map(|v| v.to_le_bytes()));
                fields.push(shorts(0x0103, &[1]));
                fields.push(longs(0x0111, &[place]));
                fields.push(longs(0x0116, &[self.height as u32]));
                fields.push(longs(0x0117, &[2 * self.values.len() as u32]));
            }
            Packing::Tiles(across, down) => {
                let (mut places, mut lengths) = (Vec::new(), Vec::new());
                for y0 in (0..self.height).step_by(down) {
                    for x0 in (0..self.width).step_by(across) {
                        let packed = lossless(&self.tile(x0, y0, across, down), across, down);
                        places.push(out.len() as u32);
                        lengths.push(packed.len() as u32);
                        out.extend(packed);
                        out.resize(out.len().next_multiple_of(2), 0);
                    }
                }
                fields.push(shorts(0x0103, &[7]));
                fields.push(longs(0x0142, &[across as u32]));
                fields.push(longs(0x0143, &[down as u32]));
                fields.push(longs(0x0144, &places));
                fields.push(longs(0x0145, &lengths));
            }
        }
        fields
    }

    /// The values of a tile; the last column and row go on beyond the picture.
    fn tile(&self, x0: usize, y0: usize, across: usize, down: usize) -> Vec<u16> {
        let at = |x: usize, y: usize| {
            self.values[y.min(self.height - 1) * self.width + x.min(self.width - 1)]
        };
        (0..across * down)
            .map(|i| at(x0 + i % across, y0 + i / across))
            .collect()
    }
}

fn gps_fields((lat_deg, lon_deg): (f64, f64)) -> Vec<Field> {
    let parts = |deg: f64| {
        let hundredths = (deg.abs() * 360_000.0).round() as u32;
        [
            (hundredths / 360_000, 1),
            (hundredths / 6000 % 60, 1),
            (hundredths % 6000, 100),
        ]
    };
    vec![
        raw_bytes(0x0000, 1, &[2, 3, 0, 0]),
        text(0x0001, if lat_deg < 0.0 { "S" } else { "N" }),
        ratios(0x0002, &parts(lat_deg)),
        text(0x0003, if lon_deg < 0.0 { "W" } else { "E" }),
        ratios(0x0004, &parts(lon_deg)),
    ]
}

/// Packs values as a lossless JPEG of two components side by side, predicted from the left.
fn lossless(values: &[u16], width: usize, height: usize) -> Vec<u8> {
    let columns = width / 2;
    let side = |v: usize| (v as u16).to_be_bytes();
    let mut out = vec![0xFF, 0xD8, 0xFF, 0xC3, 0, 14, 14];
    out.extend(side(height));
    out.extend(side(columns));
    out.extend([2, 0, 0x11, 0, 1, 0x11, 0]);
    // Huffman table: seventeen lengths of differences, five bits each.
    out.extend([0xFF, 0xC4, 0, 19 + 17, 0, 0, 0, 0, 0, 17]);
    out.extend([0; 11]);
    out.extend(0..17_u8);
    out.extend([0xFF, 0xDA, 0, 10, 2, 0, 0, 1, 0, 1, 0, 0]);
    let mut bits = Bits::default();
    for y in 0..height {
        for x in 0..width {
            let value = i32::from(values[y * width + x]);
            let predicted = match (x, y) {
                (0 | 1, 0) => 1 << 13,
                (0 | 1, _) => i32::from(values[(y - 1) * width + x]),
                _ => i32::from(values[y * width + x - 2]),
            };
            bits.put_difference(value - predicted);
        }
    }
    out.extend(bits.finished());
    out.extend([0xFF, 0xD9]);
    out
}

#[derive(Default)]
struct Bits {
    out: Vec<u8>,
    held: u32,
    count: u32,
}

impl Bits {
    fn put(&mut self, value: u32, count: u32) {
        for bit in (0..count).rev() {
            self.held = self.held << 1 | (value >> bit & 1);
            self.count += 1;
            if self.count == 8 {
                self.out.push(self.held as u8);
                if self.held as u8 == 0xFF {
                    self.out.push(0);
                }
                (self.held, self.count) = (0, 0);
            }
        }
    }

    fn put_difference(&mut self, difference: i32) {
        let length = 32 - difference.unsigned_abs().leading_zeros();
        self.put(length, 5);
        let value = match difference < 0 {
            true => difference + (1 << length) - 1,
            false => difference,
        };
        self.put(value as u32, length);
    }

    fn finished(mut self) -> Vec<u8> {
        while self.count != 0 {
            self.put(1, 1);
        }
        self.out
    }
}
