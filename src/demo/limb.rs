//! The Moon's limb over the site: a table made outside the program from NASA's height map, interpolated.
//!
//! The drawn card is truth for the program's own limb, so its mountains come from a stored profile (made with JPL DE421's own
//! orientation, see `fixtures/scripts/make_demo_limb.py`), never from the `limb` room.

use std::io::Read;

use flate2::read::ZlibDecoder;

use crate::domain::Utc;

/// A limb table that cannot be used.
#[derive(Debug, thiserror::Error)]
#[error("the limb table is broken: {0}")]
pub struct LimbTableError(&'static str);

/// Heights of the limb at even steps of time and of position angle.
#[derive(Clone, Debug)]
pub struct LimbTable {
    first_unix_s: f64,
    step_s: f64,
    unit_arcsec: f32,
    /// One row an epoch: heights in units, evenly from north through east.
    rows: Vec<Vec<i16>>,
}

impl LimbTable {
    /// Reads a table as `fixtures/scripts/make_demo_limb.py` writes it: lines of text with `epochs FIRST STEP COUNT`, `points
    /// COUNT` and `unit ARCSEC` up to an empty line, then packed differences.
    ///
    /// # Errors
    /// [`LimbTableError`] when a line is missing or the values do not unpack to the stated number.
    pub fn parse(bytes: &[u8]) -> Result<Self, LimbTableError> {
        let end = bytes.windows(2).position(|pair| pair == b"\n\n");
        let end = end.ok_or(LimbTableError("no empty line"))?;
        let head = std::str::from_utf8(&bytes[..end]).map_err(|_| LimbTableError("no text"))?;
        let [first_unix_s, step_s, count] = numbers(head, "epochs")?;
        let [points] = numbers(head, "points")?;
        let [unit] = numbers(head, "unit")?;
        let (count, points) = (count as usize, points as usize);
        if count < 2 || points < 2 || step_s <= 0.0 {
            return Err(LimbTableError("too few epochs or points"));
        }
        let mut deltas = Vec::new();
        ZlibDecoder::new(&bytes[end + 2..])
            .read_to_end(&mut deltas)
            .map_err(|_| LimbTableError("the values do not unpack"))?;
        if deltas.len() != 2 * count * points {
            return Err(LimbTableError("another number of values than stated"));
        }
        Ok(Self {
            first_unix_s,
            step_s,
            unit_arcsec: unit as f32,
            rows: undone(&deltas, points),
        })
    }

    /// The limb at an instant, straight between epochs; outside the table that of its end.
    ///
    /// At epochs five minutes apart this is good to 0.007 seconds of arc.
    pub fn at(&self, utc: Utc) -> LimbNow {
        let last = (self.rows.len() - 1) as f64;
        let place = ((utc.unix_s() - self.first_unix_s) / self.step_s).clamp(0.0, last);
        let n = (place as usize).min(self.rows.len() - 2);
        let part = (place - n as f64) as f32;
        let mixed = self.rows[n].iter().zip(&self.rows[n + 1]).map(|(a, b)| {
            let (a, b) = (f32::from(*a), f32::from(*b));
            (a + (b - a) * part) * self.unit_arcsec
        });
        LimbNow {
            heights_arcsec: mixed.collect(),
        }
    }
}

/// The limb at one instant.
#[derive(Clone, Debug)]
pub struct LimbNow {
    heights_arcsec: Vec<f32>,
}

impl LimbNow {
    /// Height of the limb over the mean one (k = 0.2725076), in seconds of arc, towards east and north of the Moon's centre.
    pub fn height_arcsec(&self, east: f32, north: f32) -> f32 {
        let points = self.heights_arcsec.len();
        let turn = east.atan2(north) / std::f32::consts::TAU;
        let x = turn.rem_euclid(1.0) * points as f32;
        let i = x as usize % points;
        let next = self.heights_arcsec[(i + 1) % points];
        self.heights_arcsec[i] + (next - self.heights_arcsec[i]) * x.fract()
    }
}

/// The numbers of a line of the head.
fn numbers<const N: usize>(head: &str, name: &str) -> Result<[f64; N], LimbTableError> {
    let found = head.lines().find_map(|line| {
        let rest = line.strip_prefix(name)?.strip_prefix(' ')?;
        let all: Option<Vec<f64>> = rest.split(' ').map(|n| n.parse().ok()).collect();
        <[f64; N]>::try_from(all?).ok()
    });
    found.ok_or(LimbTableError("a line of its head is missing"))
}

/// The values behind the differences from `left + up - up-left`; low bytes of all come first, then high bytes.
fn undone(deltas: &[u8], points: usize) -> Vec<Vec<i16>> {
    let (low, high) = deltas.split_at(deltas.len() / 2);
    let mut rows: Vec<Vec<i16>> = Vec::new();
    for (low, high) in low.chunks_exact(points).zip(high.chunks_exact(points)) {
        let mut row = Vec::with_capacity(points);
        let (mut left, mut up_left) = (0_i16, 0_i16);
        for (k, bytes) in low.iter().zip(high).enumerate() {
            let up = rows.last().map_or(0, |above| above[k]);
            let delta = i16::from_le_bytes([*bytes.0, *bytes.1]);
            left = left
                .wrapping_add(up)
                .wrapping_sub(up_left)
                .wrapping_add(delta);
            up_left = up;
            row.push(left);
        }
        rows.push(row);
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::super::sky::SkyTable;
    use super::*;

    fn vicuna() -> LimbTable {
        LimbTable::parse(include_bytes!("limb.bin")).unwrap()
    }

    /// Figures printed by the script.
    #[test]
    fn the_table_is_that_of_the_script() {
        let heights: Vec<f32> = vicuna()
            .rows
            .iter()
            .flatten()
            .map(|v| f32::from(*v) * 0.01)
            .collect();
        let count = heights.len() as f32;
        let mean = heights.iter().sum::<f32>() / count;
        let rms = (heights.iter().map(|h| (h - mean).powi(2)).sum::<f32>() / count).sqrt();
        let (low, high) = heights
            .iter()
            .fold((0.0_f32, 0.0_f32), |(l, h), v| (l.min(*v), h.max(*v)));
        assert!((mean + 0.089).abs() < 0.001 && (rms - 1.052).abs() < 0.001);
        assert!((low + 2.90).abs() < 0.006 && (high - 3.26).abs() < 0.006);
    }

    /// Greatest height of the Sun's limb beyond the Moon's.
    fn light_arcsec(utc: Utc) -> f64 {
        let sky = SkyTable::parse(include_str!("sky.csv"))
            .unwrap()
            .at(utc)
            .unwrap();
        let limb = vicuna().at(utc);
        let beyond = |n: i32| {
            let (sin, cos) = (f64::from(n) * 0.02).to_radians().sin_cos();
            let along = -(sky.moon_east_arcsec * sin + sky.moon_north_arcsec * cos);
            let across = sky.moon_east_arcsec * cos - sky.moon_north_arcsec * sin;
            let sun = along + (sky.sun_radius_arcsec.powi(2) - across * across).sqrt();
            let height = f64::from(limb.height_arcsec(sin as f32, cos as f32));
            sun - sky.moon_radius_arcsec - height
        };
        (0..18_000).map(beyond).fold(f64::NEG_INFINITY, f64::max)
    }

    /// The contacts of the sky table are those of a profile five times finer: 0.1 s is 0.04 seconds of arc.
    #[test]
    fn sunlight_ends_and_begins_at_the_contacts_of_the_sky_table() {
        let contacts = *SkyTable::parse(include_str!("sky.csv")).unwrap().contacts();
        for (contact, inward_s) in [(contacts.c2.unwrap(), 0.1), (contacts.c3.unwrap(), -0.1)] {
            assert!(light_arcsec(contact.plus_s(inward_s)) < 0.0);
            assert!(light_arcsec(contact.plus_s(-inward_s)) > 0.0);
        }
    }

    #[test]
    fn a_table_cut_short_is_told() {
        let whole = include_bytes!("limb.bin");
        assert!(LimbTable::parse(&whole[..whole.len() - 9]).is_err());
        assert!(LimbTable::parse(b"points 7\n\n").is_err());
    }
}
