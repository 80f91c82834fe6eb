//! Walking through a scan: once from end to end for the mean of every block, then through single tiles for their pixels.

use super::bits::{Bits, Scan};
use super::cosine::{BLOCK, SIDE, ZIGZAG, pixels, scaled};
use super::header::{Component, Header};

/// Units in a tile, a power of two; a tile is a part of one row of units.
const TILE_UNITS: usize = 32;

/// A scan that was walked through once.
#[derive(Clone, Debug)]
pub(super) struct Walked {
    scan: Scan,
    parts: Vec<Component>,
    /// Steps of luma as the transform wants them.
    factors: [f32; BLOCK],
    restart: usize,
    /// Units across.
    across: usize,
    /// Where each tile begins, row by row.
    tiles: Vec<Mark>,
    /// First coefficients of each component, multiplied by their step: eight times the mean less 128.
    pub(super) firsts: Vec<Grid>,
}

/// Values of blocks, row by row.
#[derive(Clone, Debug)]
pub(super) struct Grid {
    /// Blocks across.
    pub(super) width: usize,
    /// One value a block.
    pub(super) values: Vec<i16>,
}

/// A place between two units.
#[derive(Clone, Copy, Debug, Default)]
struct Mark {
    bit: usize,
    /// First coefficients of the blocks before.
    before: [i32; 3],
}

/// Where the reading of a row stands.
struct Reader<'a> {
    bits: Bits<'a>,
    before: [i32; 3],
    /// Units read from the beginning of the scan.
    unit: usize,
}

impl Walked {
    /// Walks through the scan of a picture; `None` when there is an error in it.
    pub(super) fn new(header: Header<'_>) -> Option<Self> {
        let (h, v) = header.parts[0].sampling;
        let across = header.width.div_ceil(SIDE * h);
        let down = header.height.div_ceil(SIDE * v);
        let scan = Scan::new(header.coded)?;
        let parts = match header.restart {
            0 => 1,
            every => (across * down).div_ceil(every),
        };
        if scan.parts() != parts {
            return None;
        }
        let firsts = header
            .parts
            .iter()
            .map(|part| Grid {
                width: across * part.sampling.0,
                values: vec![0; across * down * part.sampling.0 * part.sampling.1],
            })
            .collect();
        let mut walked = Self {
            factors: scaled(&header.parts[0].steps),
            scan,
            parts: header.parts,
            restart: header.restart,
            across,
            tiles: Vec::new(),
            firsts,
        };
        walked.walk(down)?;
        Some(walked)
    }

    /// About how much memory it takes, in bytes.
    pub(super) fn memory_bytes(&self) -> usize {
        let firsts: usize = self.firsts.iter().map(|grid| grid.values.len()).sum();
        self.scan.memory_bytes() + 2 * firsts + size_of::<Mark>() * self.tiles.len()
    }

    /// Pixels of luma in a row of units, down.
    pub(super) fn unit_rows_px(&self) -> usize {
        SIDE * self.parts[0].sampling.1
    }

    /// Pixels of luma in a unit, across.
    pub(super) fn unit_columns_px(&self) -> usize {
        SIDE * self.parts[0].sampling.0
    }

    /// Pixels of luma in a tile, across; the last of a row may be narrower.
    pub(super) fn tile_columns_px(&self) -> usize {
        TILE_UNITS * self.unit_columns_px()
    }

    /// Tiles in a row.
    pub(super) fn tiles_across(&self) -> usize {
        self.across.div_ceil(TILE_UNITS)
    }

    /// Pixels across in a tile.
    pub(super) fn tile_width_px(&self, column: usize) -> usize {
        self.units(column).len() * self.unit_columns_px()
    }

    /// Units of a tile.
    fn units(&self, column: usize) -> std::ops::Range<usize> {
        let first = column * TILE_UNITS;
        first..(first + TILE_UNITS).min(self.across)
    }

    /// The one walk from end to end.
    fn walk(&mut self, down: usize) -> Option<()> {
        let mut firsts = std::mem::take(&mut self.firsts);
        let mut tiles = Vec::with_capacity(down * self.tiles_across());
        let mut reader = Reader {
            bits: self.scan.from(0),
            before: [0; 3],
            unit: 0,
        };
        for row in 0..down {
            if reader.bits.position() > self.scan.end(self.scan.parts() - 1) {
                return None;
            }
            for column in 0..self.across {
                if column.is_multiple_of(TILE_UNITS) {
                    tiles.push(Mark {
                        bit: reader.bits.position(),
                        before: reader.before,
                    });
                }
                self.restarted(&mut reader)?;
                for (n, (part, grid)) in self.parts.iter().zip(&mut firsts).enumerate() {
                    let (h, v) = part.sampling;
                    for y in 0..v {
                        let at = (row * v + y) * grid.width + column * h;
                        for slot in &mut grid.values[at..at + h] {
                            let first = first(part, &mut reader, n)?;
                            let level = first.wrapping_mul(part.steps[0].into());
                            *slot = level.clamp(i16::MIN.into(), i16::MAX.into()) as i16;
                            part.others.skip_block(&mut reader.bits)?;
                        }
                    }
                }
                reader.unit += 1;
            }
        }
        let last = self.scan.parts() - 1;
        let whole = reader.bits.position() <= self.scan.end(last);
        (self.firsts, self.tiles) = (firsts, tiles);
        whole.then_some(())
    }

    /// Goes on to the next part where a restart marker was; `None` when the part before was longer than its bytes.
    #[inline(always)]
    fn restarted<'a>(&'a self, reader: &mut Reader<'a>) -> Option<()> {
        if self.restart > 0 && reader.unit > 0 && reader.unit.is_multiple_of(self.restart) {
            let part = reader.unit / self.restart;
            if reader.bits.position() > self.scan.end(part - 1) {
                return None;
            }
            reader.bits = self.scan.from(self.scan.begin(part));
            reader.before = [0; 3];
        }
        Some(())
    }

    /// Luma of a tile: lines of [`Walked::tile_width_px`] pixels.
    pub(super) fn tile(&self, row: usize, column: usize) -> Option<Vec<u8>> {
        let mark = self.tiles.get(row * self.tiles_across() + column)?;
        let units = self.units(column);
        let mut reader = Reader {
            bits: self.scan.from(mark.bit),
            before: mark.before,
            unit: row * self.across + units.start,
        };
        let (h, v) = self.parts[0].sampling;
        let width = self.tile_width_px(column);
        let mut tile = vec![0; width * v * SIDE];
        for unit in 0..units.len() {
            self.restarted(&mut reader)?;
            for (n, part) in self.parts.iter().enumerate() {
                for block in 0..part.sampling.0 * part.sampling.1 {
                    let first = first(part, &mut reader, n)?;
                    if n == 0 {
                        let corner = block / h * SIDE * width + (unit * h + block % h) * SIDE;
                        self.block(first, &mut reader.bits, &mut tile[corner..], width)?;
                    } else {
                        part.others.skip_block(&mut reader.bits)?;
                    }
                }
            }
            reader.unit += 1;
        }
        Some(tile)
    }

    /// Reads the rest of a block of luma and puts its pixels where they belong.
    fn block(&self, first: i32, bits: &mut Bits<'_>, to: &mut [u8], width: usize) -> Option<()> {
        let mut block = [[0.0; SIDE]; SIDE];
        let flat = block.as_flattened_mut();
        flat[0] = first as f32 * self.factors[0];
        // Bits of the places that are not zero.
        let mut places = 0;
        let mut next = 1;
        while next < BLOCK {
            bits.fill();
            let (steps, size) = self.parts[0].others.next(bits)?;
            next += steps;
            if size == 0 {
                continue;
            }
            let value = bits.value(size);
            let at = next - 1;
            let place = usize::from(*ZIGZAG.get(at)?);
            flat[place % BLOCK] = value as f32 * self.factors[at];
            places |= place;
        }
        if places == 0 {
            let value = super::cosine::stored(flat[0]);
            for line in to.chunks_mut(width).take(SIDE) {
                line[..SIDE].fill(value);
            }
        } else {
            for (line, row) in to
                .chunks_mut(width)
                .zip(pixels(&block, places & (SIDE / 2) != 0))
            {
                line[..SIDE].copy_from_slice(&row);
            }
        }
        Some(())
    }
}

/// The next first coefficient of a component: the one before and a difference. Leaves bits for one leap.
#[inline(always)]
fn first(part: &Component, reader: &mut Reader<'_>, n: usize) -> Option<i32> {
    reader.bits.fill();
    let before = &mut reader.before[n];
    *before = before.wrapping_add(part.first.next(&mut reader.bits)?);
    Some(*before)
}
