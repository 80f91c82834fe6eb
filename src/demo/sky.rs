//! Where Sun and Moon stand over the site: a table made outside the program, interpolated.
//!
//! The drawn card is truth for the program's own astronomy, so its places come from another ephemeris (JPL DE421 by
//! Skyfield, see `fixtures/scripts/make_demo_sky.py`), never from the `ephemeris` room.

use serde::Serialize;

use crate::domain::{ContactKind, Utc};

/// Sun and Moon at one instant.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SkyInstant {
    /// The instant.
    pub utc: Utc,
    /// Moon minus Sun towards east of the true equator of date, airless, in seconds of arc.
    pub moon_east_arcsec: f64,
    /// The same towards north.
    pub moon_north_arcsec: f64,
    /// Apparent radius of the Sun in seconds of arc, airless.
    pub sun_radius_arcsec: f64,
    /// Apparent radius of the Moon's mean limb in seconds of arc, airless.
    pub moon_radius_arcsec: f64,
    /// Altitude of the Sun's centre in degrees, without air.
    pub alt_deg: f64,
    /// The same as refracted by the air.
    pub alt_refracted_deg: f64,
    /// Azimuth of the Sun in degrees from north through east.
    pub az_deg: f64,
    /// Position angle of the zenith at the Sun, in degrees.
    pub parallactic_deg: f64,
    /// Height of the refracted disc over its width.
    pub squeeze: f64,
}

impl SkyInstant {
    /// Distance of the centres over the Sun's radius.
    pub fn separation_rs(&self) -> f64 {
        self.moon_east_arcsec.hypot(self.moon_north_arcsec) / self.sun_radius_arcsec
    }

    /// Moon radius over Sun radius.
    pub fn ratio(&self) -> f64 {
        self.moon_radius_arcsec / self.sun_radius_arcsec
    }

    /// Covered fraction of the Sun's area, 0 to 1: the lens where two circles overlap (plane geometry).
    pub fn obscuration(&self) -> f64 {
        let (d, k) = (self.separation_rs(), self.ratio());
        if d >= 1.0 + k {
            return 0.0;
        }
        if d <= (k - 1.0).abs() {
            return k.min(1.0).powi(2);
        }
        let angle = |a: f64, b: f64| ((d * d + a * a - b * b) / (2.0 * d * a)).acos();
        let (sun, moon) = (angle(1.0, k), angle(k, 1.0));
        (sun - sun.sin() * sun.cos() + k * k * (moon - moon.sin() * moon.cos()))
            / std::f64::consts::PI
    }
}

/// The contacts of the table, from the same source as its places; C2 and C3 on the Moon's real limb, C1 and C4 on the mean one.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct TrueContacts {
    /// First contact.
    pub c1: Utc,
    /// Second contact, where there is one.
    pub c2: Option<Utc>,
    /// Maximum.
    pub maximum: Utc,
    /// Third contact, where there is one.
    pub c3: Option<Utc>,
    /// Fourth contact.
    pub c4: Utc,
}

/// A sky table that cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum SkyTableError {
    /// A line that is not a row.
    #[error("line {line} of the sky table is no row of nine numbers after a time")]
    Row {
        /// Counted from 1.
        line: usize,
    },
    /// Too few rows, or rows not evenly spaced.
    #[error("the sky table needs at least four rows at even steps")]
    Steps,
    /// A contact line is missing.
    #[error("the sky table names no {0}")]
    NoContact(&'static str),
}

/// Number of quantities in a row.
const QUANTITIES: usize = 9;

/// Sun and Moon at even steps of time.
#[derive(Clone, Debug)]
pub struct SkyTable {
    first_unix_s: f64,
    step_s: f64,
    rows: Vec<[f64; QUANTITIES]>,
    contacts: TrueContacts,
}

impl SkyTable {
    /// Reads a table: lines `# contact NAME TIME`, a header row, then rows of time and the fields of [`SkyInstant`] in
    /// order. Other lines that begin with `#` are passed over.
    ///
    /// # Errors
    /// [`SkyTableError`] when a row cannot be read, the steps are uneven, or C1, the maximum or C4 is missing.
    pub fn parse(text: &str) -> Result<Self, SkyTableError> {
        let contacts = contacts_of(text)?;
        let (mut times, mut rows) = (Vec::new(), Vec::new());
        let lines = text.lines().enumerate();
        for (n, line) in lines.filter(|(_, l)| !l.starts_with('#') && !l.starts_with("utc")) {
            let (time, row) = row_of(line).ok_or(SkyTableError::Row { line: n + 1 })?;
            times.push(time);
            rows.push(row);
        }
        let [first, second, ..] = times[..] else {
            return Err(SkyTableError::Steps);
        };
        let step_s = second - first;
        let even = |(n, t): (usize, &f64)| (t - first - step_s * n as f64).abs() < 1e-3;
        if rows.len() < 4 || step_s <= 0.0 || !times.iter().enumerate().all(even) {
            return Err(SkyTableError::Steps);
        }
        unwrap_angles(&mut rows);
        Ok(Self {
            first_unix_s: first,
            step_s,
            rows,
            contacts,
        })
    }

    /// The contacts.
    pub fn contacts(&self) -> &TrueContacts {
        &self.contacts
    }

    /// Sun and Moon at an instant, by the cubic through the four nearest rows (Lagrange); `None` outside the table.
    ///
    /// At steps of 30 s the interpolation is good to 0.001 arcsec.
    pub fn at(&self, utc: Utc) -> Option<SkyInstant> {
        let place = (utc.unix_s() - self.first_unix_s) / self.step_s;
        if !(0.0..=(self.rows.len() - 1) as f64).contains(&place) {
            return None;
        }
        let first = (place.floor() as usize)
            .saturating_sub(1)
            .min(self.rows.len() - 4);
        let weights = lagrange_weights(place - first as f64);
        let value = |q: usize| (0..4).map(|k| weights[k] * self.rows[first + k][q]).sum();
        Some(SkyInstant {
            utc,
            moon_east_arcsec: value(0),
            moon_north_arcsec: value(1),
            sun_radius_arcsec: value(2),
            moon_radius_arcsec: value(3),
            alt_deg: value(4),
            alt_refracted_deg: value(5),
            az_deg: value(6),
            parallactic_deg: value(7),
            squeeze: value(8),
        })
    }
}

/// Weights of the points 0, 1, 2, 3 for a value at `x`.
fn lagrange_weights(x: f64) -> [f64; 4] {
    let (a, b, c, d) = (x, x - 1.0, x - 2.0, x - 3.0);
    [
        -b * c * d / 6.0,
        a * c * d / 2.0,
        -a * b * d / 2.0,
        a * b * c / 6.0,
    ]
}

fn row_of(line: &str) -> Option<(f64, [f64; QUANTITIES])> {
    let mut cells = line.split(',');
    let time: jiff::Timestamp = cells.next()?.trim().parse().ok()?;
    let mut row = [0.0; QUANTITIES];
    for value in &mut row {
        *value = cells.next()?.trim().parse().ok()?;
    }
    Some((Utc::new(time).unix_s(), row))
}

/// Takes jumps of 360 degrees out of azimuth and parallactic angle.
fn unwrap_angles(rows: &mut [[f64; QUANTITIES]]) {
    for q in [6, 7] {
        for n in 1..rows.len() {
            let jump = rows[n][q] - rows[n - 1][q];
            rows[n][q] -= (jump / 360.0).round() * 360.0;
        }
    }
}

fn contacts_of(text: &str) -> Result<TrueContacts, SkyTableError> {
    let find = |kind: ContactKind| {
        text.lines().find_map(|line| {
            let (name, time) = line.strip_prefix("# contact ")?.split_once(' ')?;
            (name == kind.word()).then(|| time.trim().parse().ok().map(Utc::new))?
        })
    };
    let must = |kind: ContactKind| find(kind).ok_or(SkyTableError::NoContact(kind.word()));
    Ok(TrueContacts {
        c1: must(ContactKind::C1)?,
        c2: find(ContactKind::C2),
        maximum: must(ContactKind::Maximum)?,
        c3: find(ContactKind::C3),
        c4: must(ContactKind::C4)?,
    })
}

/// A planet or star as a point of light.
#[derive(Clone, Debug, PartialEq)]
pub struct Light {
    /// Its name.
    pub name: String,
    /// Visual magnitude outside the air.
    pub magnitude: f64,
    /// Refracted altitude in degrees.
    pub alt_deg: f64,
    /// Azimuth in degrees from north through east.
    pub az_deg: f64,
}

/// Reads `name,magnitude,alt_deg,az_deg` rows; lines that are no such rows are passed over.
pub fn parse_lights(text: &str) -> Vec<Light> {
    text.lines()
        .filter_map(|line| {
            let mut cells = line.split(',');
            Some(Light {
                name: cells.next()?.to_owned(),
                magnitude: cells.next()?.parse().ok()?,
                alt_deg: cells.next()?.parse().ok()?,
                az_deg: cells.next()?.parse().ok()?,
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const VICUNA: &str = include_str!("sky.csv");

    #[test]
    fn rows_come_back_and_halves_are_smooth() {
        let table = SkyTable::parse(VICUNA).unwrap();
        let sparse: String = VICUNA
            .lines()
            .filter(|l| l.starts_with('#') || l.contains(":00Z"))
            .map(|l| format!("{l}\n"))
            .collect();
        let sparse = SkyTable::parse(&sparse).unwrap();
        let t = Utc::new("2019-07-02T20:38:30Z".parse().unwrap());
        let (row, between) = (table.at(t).unwrap(), sparse.at(t).unwrap());
        assert!((row.moon_east_arcsec - between.moon_east_arcsec).abs() < 0.002);
        assert!((row.parallactic_deg - between.parallactic_deg).abs() < 1e-4);
    }

    #[test]
    fn outer_contacts_are_where_the_discs_touch_and_inner_ones_nearby() {
        let table = SkyTable::parse(VICUNA).unwrap();
        let contacts = *table.contacts();
        let gap = |utc, sign: f64| {
            let sky = table.at(utc).unwrap();
            sky.separation_rs() - (sign + sky.ratio()).abs()
        };
        // 0.4 arcsec a second is 0.0004 radii a second: a millisecond of time is well below 1e-5 radii.
        assert!(gap(contacts.c1, 1.0).abs() < 1e-5);
        // Valleys and mountains run to 3 arcsec.
        assert!(gap(contacts.c2.unwrap(), -1.0).abs() < 3.2e-3);
        assert!(gap(contacts.c3.unwrap(), -1.0).abs() < 3.2e-3);
        assert!(gap(contacts.c4, 1.0).abs() < 1e-5);
    }

    #[test]
    fn a_broken_row_is_named() {
        let text = VICUNA.replace("2019-07-02T18:21:00Z,", "2019-07-02T18:21:00Z,x");
        let error = SkyTable::parse(&text).unwrap_err().to_string();
        assert!(error.contains("line 14"), "{error}");
    }
}
