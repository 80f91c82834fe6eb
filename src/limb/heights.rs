//! The embedded band of heights. Its layout is told in `fixtures/scripts/make_limb_table.py`, which makes it.

use std::io::Read;
use std::sync::OnceLock;

use flate2::read::ZlibDecoder;

/// NASA LOLA, LDEM_16, public domain; the file begins with its source and licence in words.
static PACKED: &[u8] = include_bytes!("heights.bin");

/// Rows of the map, from 90 N down.
const ROWS: usize = 2880;
/// Columns of the map, from 0 E eastwards.
const COLUMNS: usize = 5760;
/// Points a degree, both ways.
const PER_DEG: f64 = 16.0;
/// Metres in a step of the table.
const STEP_M: f64 = 15.0;
/// A row kept whole.
const ALL: u16 = u16::MAX;
/// Stands for a step beyond a byte.
const FAR: i8 = -128;

/// Rows of the roof, a degree of elevation each, from -13 up.
const ROOF_ROWS: usize = 26;
/// Columns of the roof, two degrees round the limb each.
const ROOF_COLUMNS: usize = 180;
/// What a roof of 0 stands for, metres.
const ROOF_FLOOR_M: f64 = -9_200.0;
/// Metres in a step of the roof.
const ROOF_STEP_M: f64 = 80.0;

/// A row of the map: every `thin`-th column, within `half` of them of 90 E and 270 E.
#[derive(Clone, Copy, Debug)]
struct Row {
    start: usize,
    thin: u16,
    half: u16,
}

impl Row {
    fn count(&self) -> usize {
        if self.half == ALL {
            COLUMNS / usize::from(self.thin)
        } else {
            2 * (2 * usize::from(self.half) + 1)
        }
    }

    /// Column of the map of the `k`-th point kept.
    fn column(&self, k: usize) -> usize {
        let thin = usize::from(self.thin);
        if self.half == ALL {
            return k * thin;
        }
        let half = usize::from(self.half);
        let (side, k) = (k / (2 * half + 1), k % (2 * half + 1));
        COLUMNS / 4 + side * COLUMNS / 2 + k * thin - half * thin
    }
}

/// Heights of the Moon in the band that can stand on its limb.
#[derive(Debug)]
pub(super) struct Heights {
    rows: Vec<Row>,
    roof: Vec<u8>,
    steps: Vec<i16>,
}

impl Heights {
    /// The band, unpacked on first use.
    pub(super) fn get() -> &'static Self {
        static HEIGHTS: OnceLock<Heights> = OnceLock::new();
        HEIGHTS.get_or_init(Self::unpacked)
    }

    fn unpacked() -> Self {
        let words = PACKED
            .windows(2)
            .position(|pair| pair == b"\n\n")
            .expect("the embedded table begins with text and an empty line");
        let mut bytes = Vec::new();
        ZlibDecoder::new(&PACKED[words + 2..])
            .read_to_end(&mut bytes)
            .expect("the embedded table is whole");
        let (head, rest) = bytes.split_at(ROWS * 4);
        let (roof, rest) = rest.split_at(ROOF_ROWS * ROOF_COLUMNS);
        let rows = rows(head);
        let count = rows.last().map_or(0, |row| row.start + row.count());
        let (near, far) = rest.split_at(count);
        Self {
            steps: undone(&rows, near, far),
            roof: roof.to_vec(),
            rows,
        }
    }

    /// Height in metres above the sphere at a selenographic unit vector, between the four points about it; nothing outside the
    /// band.
    pub(super) fn height_m(&self, at: [f64; 3]) -> Option<f64> {
        let lat_deg = at[2].clamp(-1.0, 1.0).asin().to_degrees();
        let lon_deg = at[1].atan2(at[0]).to_degrees();
        let y = ((90.0 - lat_deg) * PER_DEG - 0.5).clamp(0.0, (ROWS - 1) as f64);
        let x = (lon_deg * PER_DEG - 0.5).rem_euclid(COLUMNS as f64);
        let i = (y as usize).min(ROWS - 2);
        let part = y - i as f64;
        let (upper, lower) = (self.along(i, x)?, self.along(i + 1, x)?);
        Some((upper + (lower - upper) * part) * STEP_M)
    }

    /// Value in steps at column `x` of row `i`.
    fn along(&self, i: usize, x: f64) -> Option<f64> {
        let row = self.rows[i];
        let thin = f64::from(row.thin);
        if row.half == ALL {
            let count = row.count();
            let k = x / thin;
            let left = (k as usize).min(count - 1);
            let right = if left + 1 == count { 0 } else { left + 1 };
            return Some(self.between(row.start + left, row.start + right, k - left as f64));
        }
        let side = usize::from(x >= (COLUMNS / 2) as f64);
        let middle = (COLUMNS / 4 + side * COLUMNS / 2) as f64;
        let k = (x - middle) / thin + f64::from(row.half);
        let last = 2 * usize::from(row.half);
        if !(k >= 0.0 && k < last as f64) {
            return None;
        }
        let left = row.start + side * (last + 1) + k as usize;
        Some(self.between(left, left + 1, k.fract()))
    }

    fn between(&self, left: usize, right: usize, part: f64) -> f64 {
        let (left, right) = (f64::from(self.steps[left]), f64::from(self.steps[right]));
        left + (right - left) * part
    }

    /// Metres that nothing within 0.4 degrees of a selenographic unit vector stands above; nothing outside the band.
    pub(super) fn roof_m(&self, at: [f64; 3]) -> Option<f64> {
        let row = at[0].asin().to_degrees() + (ROOF_ROWS / 2) as f64;
        if !(row >= 0.0 && row < ROOF_ROWS as f64) {
            return None;
        }
        let round_deg = at[1].atan2(at[2]).to_degrees().rem_euclid(360.0);
        let column = ((round_deg / 2.0) as usize).min(ROOF_COLUMNS - 1);
        let step = self.roof[row as usize * ROOF_COLUMNS + column];
        Some(ROOF_FLOOR_M + ROOF_STEP_M * f64::from(step))
    }
}

fn rows(head: &[u8]) -> Vec<Row> {
    let mut start = 0;
    let each = head.chunks_exact(4).map(|four| {
        let row = Row {
            start,
            thin: u16::from_le_bytes([four[0], four[1]]),
            half: u16::from_le_bytes([four[2], four[3]]),
        };
        start += row.count();
        row
    });
    each.collect()
}

/// The values behind the differences from their predictions.
fn undone(rows: &[Row], near: &[u8], far: &[u8]) -> Vec<i16> {
    let mut far = far
        .chunks_exact(2)
        .map(|two| i16::from_le_bytes([two[0], two[1]]));
    let mut steps = vec![0_i16; near.len()];
    let (mut above_start, mut above) = (0, Vec::new());
    for row in rows {
        let columns: Vec<usize> = (0..row.count()).map(|k| row.column(k)).collect();
        // Points of the row above at or before the column at hand.
        let mut before = 0;
        let (mut left, mut up_left) = (0, 0);
        for (k, column) in columns.iter().enumerate() {
            while before < above.len() && above[before] <= *column {
                before += 1;
            }
            let up = match before {
                0 => 0,
                _ => steps[above_start + before - 1],
            };
            let predicted = if above.is_empty() {
                left
            } else {
                middle(left, up, left + up - up_left)
            };
            let delta = match near[row.start + k] as i8 {
                FAR => far.next().expect("one wide step for each mark"),
                delta => i16::from(delta),
            };
            left = predicted + delta;
            up_left = up;
            steps[row.start + k] = left;
        }
        (above_start, above) = (row.start, columns);
    }
    steps
}

fn middle(a: i16, b: i16, c: i16) -> i16 {
    a.min(b).max(a.max(b).min(c))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(lat_deg: f64, lon_deg: f64) -> [f64; 3] {
        let (sin, cos) = lat_deg.to_radians().sin_cos();
        let (sin_lon, cos_lon) = lon_deg.to_radians().sin_cos();
        [cos * cos_lon, cos * sin_lon, sin]
    }

    /// Points of LDEM_16.IMG itself, read with numpy: row, column, metres.
    #[test]
    fn points_of_the_map_come_back() {
        let heights = Heights::get();
        for (row, column, metres) in [
            (0, 0, 73.5),
            (3, 2880, -20.0),
            (40, 720, 180.0),
            (300, 1440, -2116.0),
            (1000, 1500, -2862.5),
            (1440, 1400, -3898.5),
            (1441, 4410, -349.5),
            (2000, 4203, -282.0),
            (2500, 4320, -1075.5),
            (2870, 0, -1021.5),
            (2879, 4320, 1180.0),
        ] {
            let lat = 90.0 - (f64::from(row) + 0.5) / PER_DEG;
            let lon = (f64::from(column) + 0.5) / PER_DEG;
            let found = heights.height_m(at(lat, lon)).unwrap();
            assert!(
                (found - metres).abs() < 7.6,
                "{row} {column}: {found} {metres}"
            );
        }
        assert!(heights.height_m(at(0.0, 0.0)).is_none());
        assert!(heights.height_m(at(10.0, 180.0)).is_none());
    }

    #[test]
    fn nothing_stands_above_the_roof() {
        let heights = Heights::get();
        for n in 0..20_000 {
            let lat = -90.0 + f64::from(n) * 0.009;
            let lon = 90.0 + 180.0 * f64::from(n % 2) + f64::from(n * 7919 % 1000) * 0.01 - 5.0;
            let place = at(lat, lon);
            let (height, roof) = (heights.height_m(place), heights.roof_m(place));
            if let (Some(height), Some(roof)) = (height, roof) {
                assert!(height <= roof + 8.0, "{lat} {lon}: {height} {roof}");
            }
        }
    }
}
