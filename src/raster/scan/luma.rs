//! A picture's luma, worked out row by row as it is asked for.

use std::ops::Range;
use std::sync::OnceLock;

use super::super::error::check_size;
use super::cosine::SIDE;
use super::header::Header;
use super::walk::{Grid, Walked};

/// A block whose mean is so many stored values over the picture's usual one has something that shines in it.
const SHINES: usize = 10;

/// Where more than this part of the blocks shine, single pixels do not matter.
const MOST_LIT: usize = 4;

/// The stored luma of a JPEG, its overview, and its colours at an eighth of the size.
#[derive(Clone, Debug)]
pub(in crate::raster) struct Luma {
    width: usize,
    height: usize,
    walked: Walked,
    /// Binary logarithms of the pixels of a tile, across and down.
    tile_log2: (u32, u32),
    /// Pixels of the tiles that somebody looked at, row by row.
    tiles: Vec<OnceLock<Vec<u8>>>,
}

impl Luma {
    /// Pixels of a block on a side.
    pub(in crate::raster) const BLOCK_PX: usize = SIDE;

    /// Walks through a JPEG once; `None` where it is of another kind than this room reads, or has an error in it.
    pub(in crate::raster) fn new(bytes: &[u8]) -> Option<Self> {
        let header = Header::read(bytes)?;
        let (width, height) = (header.width, header.height);
        check_size(width as u64, height as u64, 1).ok()?;
        let walked = Walked::new(header)?;
        let tiles = walked.tiles_across() * height.div_ceil(walked.unit_rows_px());
        Some(Self {
            width,
            height,
            tile_log2: (
                walked.tile_columns_px().ilog2(),
                walked.unit_rows_px().ilog2(),
            ),
            walked,
            tiles: vec![OnceLock::new(); tiles],
        })
    }

    /// Pixels across.
    pub(in crate::raster) fn width(&self) -> usize {
        self.width
    }

    /// Pixels down.
    pub(in crate::raster) fn height(&self) -> usize {
        self.height
    }

    /// About how much memory it takes now, in bytes.
    pub(in crate::raster) fn memory_bytes(&self) -> usize {
        let tiles = self.tiles.iter().filter_map(OnceLock::get);
        self.walked.memory_bytes() + tiles.map(Vec::len).sum::<usize>()
    }

    /// The stored value of a pixel inside the picture.
    pub(in crate::raster) fn at(&self, x: usize, y: usize) -> u8 {
        let (wide, high) = self.tile_log2;
        let (tile, width) = self.tile(y >> high, x >> wide);
        let rest = |v: usize, log2: u32| v & ((1 << log2) - 1);
        tile[rest(y, high) * width + rest(x, wide)]
    }

    /// Stored values of some columns of a row, tile by tile; all inside the picture.
    pub(in crate::raster) fn line(
        &self,
        y: usize,
        columns: Range<usize>,
    ) -> impl Iterator<Item = &[u8]> {
        let (wide, high) = (self.walked.tile_columns_px(), self.walked.unit_rows_px());
        (columns.start / wide..columns.end.div_ceil(wide)).map(move |column| {
            let (tile, width) = self.tile(y / high, column);
            let left = column * wide;
            let part = columns.start.max(left) - left..columns.end.min(left + width) - left;
            &tile[y % high * width..][part]
        })
    }

    /// The pixels of a tile and its width.
    fn tile(&self, row: usize, column: usize) -> (&[u8], usize) {
        let width = self.walked.tile_width_px(column);
        let tile = self.tiles[row * self.walked.tiles_across() + column].get_or_init(|| {
            // The first walk found no error, so this one finds none.
            let blank = || vec![0; width * self.walked.unit_rows_px()];
            self.walked.tile(row, column).unwrap_or_else(blank)
        });
        (tile, width)
    }

    /// All stored values, row by row.
    pub(in crate::raster) fn all(&self) -> Vec<u8> {
        let mut all = Vec::with_capacity(self.width * self.height);
        for y in 0..self.height {
            self.line(y, 0..self.width)
                .for_each(|piece| all.extend_from_slice(piece));
        }
        all
    }

    /// Counts of stored values, one for each block: of a pixel of it where something shines, else of its mean. Where much of the
    /// picture is lit, the means stand for all.
    pub(in crate::raster) fn counts(&self) -> [usize; 256] {
        let mut counts = [0; 256];
        let rows = 0..self.height / SIDE;
        for row in rows.clone() {
            self.means(row)
                .iter()
                .for_each(|mean| counts[code(*mean)] += 1);
        }
        let all: usize = counts.iter().sum();
        let mut below = 0;
        let middle = counts.iter().position(|count| {
            below += count;
            2 * below >= all
        });
        let dark = middle.unwrap_or(0) + SHINES;
        let lit: usize = counts.iter().skip(dark + 1).sum();
        if lit > all / MOST_LIT {
            return counts;
        }
        // The mean, as it is stored, from which a block shines.
        let least = i16::try_from(8 * (dark as i32 - 127) - 4).unwrap_or(i16::MAX);
        for row in rows {
            for (group, means) in self.means(row).chunks(GROUP).enumerate() {
                if means.iter().copied().max() < Some(least) {
                    continue;
                }
                for (n, mean) in means.iter().enumerate().filter(|(_, mean)| **mean >= least) {
                    let column = group * GROUP + n;
                    let value = self.at(column * SIDE + SIDE / 2, row * SIDE + SIDE / 2);
                    counts[code(*mean)] -= 1;
                    counts[usize::from(value)] += 1;
                }
            }
        }
        counts
    }

    /// The means of the blocks of a row of blocks that lie wholly inside the picture, to be read by [`Luma::level`].
    pub(in crate::raster) fn means(&self, row: usize) -> &[i16] {
        let grid = &self.walked.firsts[0];
        &grid.values[row * grid.width..][..self.width / SIDE]
    }

    /// Mean stored value, 0 to 255 but for rounding, of a block.
    pub(in crate::raster) fn level(mean: i16) -> f32 {
        f32::from(mean) / SIDE as f32 + 128.0
    }

    /// Stored red, green and blue of a pixel inside the picture: its own luma in the mean colours of what lies about it, straight
    /// between the middles of blocks; of a grey picture its luma three times.
    pub(in crate::raster) fn coloured(&self, x: usize, y: usize) -> [u8; 3] {
        let [_, blue, red] = &self.walked.firsts[..] else {
            return [self.at(x, y); 3];
        };
        let block = [self.walked.unit_columns_px(), self.walked.unit_rows_px()];
        let across = Along::new(x, block[0], blue.width);
        let down = Along::new(y, block[1], blue.values.len() / blue.width.max(1));
        let level = |grid: &Grid| {
            let at = |x: usize, y: usize| Self::level(grid.values[y * grid.width + x]);
            let row = |y: usize| across.between(at(across.low, y), at(across.high, y));
            down.between(row(down.low), row(down.high)) - 128.0
        };
        mixed(f32::from(self.at(x, y)), level(blue), level(red))
    }

    /// The picture at an eighth of its size in colour, with its width and height; `None` for a grey one. A pixel (i, j) there
    /// is centred on (8 i + 3.5, 8 j + 3.5) here.
    pub(in crate::raster) fn colours(&self) -> Option<(usize, usize, Vec<u8>)> {
        let [luma, blue, red] = &self.walked.firsts[..] else {
            return None;
        };
        let (width, height) = (self.width / SIDE, self.height / SIDE);
        let (h, v) = (
            self.walked.unit_columns_px() / SIDE,
            self.walked.unit_rows_px() / SIDE,
        );
        let mut rgb = Vec::with_capacity(3 * width * height);
        for y in 0..height {
            for x in 0..width {
                let at =
                    |grid: &Grid, x: usize, y: usize| Self::level(grid.values[y * grid.width + x]);
                let (cb, cr) = (
                    at(blue, x / h, y / v) - 128.0,
                    at(red, x / h, y / v) - 128.0,
                );
                rgb.extend(mixed(at(luma, x, y), cb, cr));
            }
        }
        Some((width, height, rgb))
    }
}

/// A pixel's place between the middles of two blocks.
struct Along {
    low: usize,
    high: usize,
    part: f32,
}

impl Along {
    fn new(pixel: usize, block_px: usize, blocks: usize) -> Self {
        let at = ((pixel as f32 + 0.5) / block_px as f32 - 0.5).max(0.0);
        let low = (at as usize).min(blocks.saturating_sub(1));
        Self {
            low,
            high: (low + 1).min(blocks.saturating_sub(1)),
            part: at - low as f32,
        }
    }

    fn between(&self, low: f32, high: f32) -> f32 {
        low + (high - low) * self.part.min(1.0)
    }
}

/// Blocks that are passed over at once where nothing shines.
const GROUP: usize = 32;

/// Mean stored value of a block in whole numbers.
fn code(mean: i16) -> usize {
    ((mean.saturating_add(4) >> 3) + 128).clamp(0, 255) as usize
}

/// Red, green and blue of luma and colour differences (ITU-T T.871, "JPEG File Interchange Format", sect. 7).
fn mixed(y: f32, cb: f32, cr: f32) -> [u8; 3] {
    [
        y + 1.402 * cr,
        y - 0.344_136 * cb - 0.714_136 * cr,
        y + 1.772 * cb,
    ]
    .map(|v| v.round().clamp(0.0, 255.0) as u8)
}

#[cfg(test)]
mod tests {
    use std::fs;
    use std::path::{Path, PathBuf};

    use super::super::cosine::BLOCK;
    use super::*;
    use crate::domain::Orientation;
    use crate::raster::decode_bytes;

    /// Size of the stored pictures.
    const SIZE: (usize, usize) = (173, 101);

    /// Kinds of JPEG that this room reads.
    const KINDS: [&str; 8] = [
        "full",
        "across",
        "quarter",
        "fine",
        "restarts",
        "restart_rows",
        "grey",
        "grey_restarts",
    ];

    fn stored(name: &str) -> PathBuf {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        root.join("fixtures/raster/scan").join(name)
    }

    fn jpeg(kind: &str) -> Vec<u8> {
        fs::read(stored(&format!("{kind}.jpg"))).unwrap()
    }

    #[test]
    fn values_are_those_of_another_decoder() {
        for kind in KINDS {
            let luma = Luma::new(&jpeg(kind)).unwrap();
            let due = fs::read(stored(&format!("{kind}.luma"))).unwrap();
            let all = luma.all();
            assert_eq!(
                (luma.width(), luma.height(), all.len()),
                (SIZE.0, SIZE.1, due.len())
            );
            let apart = |(a, b): (&u8, &u8)| a.abs_diff(*b);
            let most = all.iter().zip(&due).map(apart).max().unwrap();
            let off = all.iter().zip(&due).filter(|(a, b)| a != b).count();
            // Both round; they may fall on either side of a half.
            assert!(most <= 1, "{kind}: {most} off");
            assert!(off < due.len() / 50, "{kind}: {off} values off");
        }
    }

    #[test]
    fn any_way_of_asking_gives_the_same() {
        for kind in ["quarter", "restarts", "grey"] {
            let bytes = jpeg(kind);
            let all = Luma::new(&bytes).unwrap().all();
            let luma = Luma::new(&bytes).unwrap();
            for (x, y) in [(172, 100), (0, 0), (90, 50), (15, 16), (16, 15)] {
                assert_eq!(luma.at(x, y), all[y * SIZE.0 + x], "{kind} {x} {y}");
            }
            for (y, columns) in [(99, 3..170), (7, 60..61), (50, 16..32), (20, 172..173)] {
                let line: Vec<u8> = luma.line(y, columns.clone()).flatten().copied().collect();
                let start = y * SIZE.0;
                assert_eq!(
                    line,
                    all[start + columns.start..start + columns.end],
                    "{kind} {y}"
                );
            }
        }
    }

    #[test]
    fn only_tiles_that_are_asked_for_are_worked_out() {
        let luma = Luma::new(&jpeg("quarter")).unwrap();
        let before = luma.memory_bytes();
        luma.at(5, 5);
        let tile = luma.memory_bytes() - before;
        assert_eq!(tile, 176 * 16, "one row of units of this narrow picture");
        luma.at(150, 15);
        assert_eq!(luma.memory_bytes() - before, tile);
    }

    #[test]
    fn a_blocks_mean_is_that_of_its_pixels() {
        for kind in KINDS {
            let luma = Luma::new(&jpeg(kind)).unwrap();
            let all = luma.all();
            for row in 0..SIZE.1 / SIDE {
                for (column, mean) in luma.means(row).iter().enumerate() {
                    let pixels = (0..BLOCK)
                        .map(|n| all[(row * SIDE + n / SIDE) * SIZE.0 + column * SIDE + n % SIDE]);
                    let values: Vec<f32> = pixels.map(f32::from).collect();
                    let due = values.iter().sum::<f32>() / BLOCK as f32;
                    // What is held at black or white pulls the mean of the pixels inwards.
                    let held = values.iter().any(|v| *v < 1.0 || *v > 254.0);
                    let off = (Luma::level(*mean) - due).abs();
                    assert!(
                        off < if held { 8.0 } else { 0.3 },
                        "{kind} {row} {column}: {off}"
                    );
                }
            }
        }
    }

    #[test]
    fn colours_are_means_of_colours() {
        for kind in ["full", "across", "quarter"] {
            let bytes = jpeg(kind);
            let (width, height, rgb) = Luma::new(&bytes).unwrap().colours().unwrap();
            assert_eq!((width, height), (SIZE.0 / SIDE, SIZE.1 / SIDE));
            let whole = decode_bytes(&bytes, Orientation::UPRIGHT).unwrap();
            // In the midst of the disc, where nothing changes.
            let (x, y) = (8, 6);
            let small = &rgb[3 * (y * width + x)..][..3];
            let light = whole.rgb(x * SIDE + 4, y * SIDE + 4);
            for (code, light) in small.iter().zip(light) {
                let due = 255.0 * crate::raster::linear_to_srgb(light);
                assert!(
                    (f32::from(*code) - due).abs() < 2.5,
                    "{kind}: {small:?} {light}"
                );
            }
        }
        assert!(Luma::new(&jpeg("grey")).unwrap().colours().is_none());
    }

    #[test]
    fn coloured_pixels_are_those_of_a_whole_decode_where_colours_are_even() {
        for kind in ["full", "across", "quarter", "grey"] {
            let bytes = jpeg(kind);
            let luma = Luma::new(&bytes).unwrap();
            let whole = decode_bytes(&bytes, Orientation::UPRIGHT).unwrap();
            // In the midst of the disc, and in the sky beside it.
            for (x, y) in [(66, 50), (70, 53), (75, 60), (150, 20)] {
                let due = whole
                    .rgb(x, y)
                    .map(|l| 255.0 * crate::raster::linear_to_srgb(l));
                let got = luma.coloured(x, y);
                for (got, due) in got.into_iter().zip(due) {
                    assert!(
                        (f32::from(got) - due).abs() < 3.0,
                        "{kind} {x} {y}: {got} {due}"
                    );
                }
            }
            for (x, y) in [(0, 0), (172, 0), (0, 100), (172, 100)] {
                luma.coloured(x, y);
            }
        }
    }

    #[test]
    fn counts_see_what_shines() {
        let luma = Luma::new(&jpeg("full")).unwrap();
        let counts = luma.counts();
        let all: usize = counts.iter().sum();
        assert_eq!(all, (SIZE.0 / SIDE) * (SIZE.1 / SIDE));
        // The disc covers pi 31^2 of the 173 by 101 pixels and has a luma of 0.299 + 0.587 * 0.62 + 0.114 * 0.18 of 235.
        let bright = counts[145..].iter().sum::<usize>() as f64 / all as f64;
        let due = std::f64::consts::PI * 31.0 * 31.0 / (SIZE.0 * SIZE.1) as f64;
        assert!((bright - due).abs() < 0.05, "{bright} for {due}");
    }

    #[test]
    fn other_kinds_and_cut_files_are_left_to_the_general_decoder() {
        assert!(Luma::new(&jpeg("progressive")).is_none());
        assert!(Luma::new(b"").is_none());
        let whole = jpeg("quarter");
        for end in (0..whole.len()).step_by(7) {
            assert!(Luma::new(&whole[..end]).is_none(), "{end} bytes");
        }
    }

    #[test]
    fn damage_is_refused_or_decoded_but_never_a_breakdown() {
        let mut state = 99_u64;
        let mut random = |below: usize| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1);
            (state >> 33) as usize % below
        };
        let mut refused = 0;
        for round in 0..2000 {
            let mut bytes = jpeg(KINDS[round % KINDS.len()]);
            for _ in 0..1 + round % 4 {
                let at = random(bytes.len());
                bytes[at] = random(256) as u8;
            }
            match Luma::new(&bytes) {
                Some(luma) => assert_eq!(luma.all().len(), luma.width() * luma.height()),
                None => refused += 1,
            }
        }
        assert!((200..1900).contains(&refused), "{refused} of 2000");
    }
}
