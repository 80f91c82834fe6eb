//! The horizon as it is seen from the very spot: hills, trees, houses.

use serde::Serialize;

/// A point of the horizon.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct SkylinePoint {
    /// Azimuth in degrees from north through east, 0 to 360.
    pub az_deg: f64,
    /// Altitude in degrees as it is seen, -10 to 90.
    pub alt_deg: f64,
}

/// A horizon measured from the spot, as a line from point to point.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Skyline {
    /// Its points by azimuth; points of one azimuth, as at the corner of a house, in the order given.
    pub points: Vec<SkylinePoint>,
}

/// The text is no horizon. Lines are counted from 1.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SkylineError {
    /// A line is something else than two numbers.
    #[error(
        "line {line} of the horizon is no azimuth and altitude: '{text}'; write two numbers in degrees, such as 285, 4.5"
    )]
    NotTwoNumbers {
        /// Which line.
        line: usize,
        /// What it says.
        text: String,
    },
    /// A number is of no direction.
    #[error("line {line} of the horizon: {what} {value} is outside {least} to {most} degrees")]
    OutOfRange {
        /// Which line.
        line: usize,
        /// Which number.
        what: &'static str,
        /// What was given.
        value: f64,
        /// Least legal value.
        least: f64,
        /// Greatest legal value.
        most: f64,
    },
    /// Fewer than two points are no line.
    #[error(
        "the horizon has {0} of the two points it needs at least; write a line of azimuth, altitude for each"
    )]
    TooFew(usize),
    /// More points than anybody measures.
    #[error("the horizon has more than {MOST_POINTS} lines")]
    TooMany,
}

/// Most points taken: one each 20 seconds of arc all round is beyond any survey.
const MOST_POINTS: usize = 65_536;

/// Points further apart in azimuth are not joined, as nobody has measured between them (our choice: a line over 30 degrees says more of
/// the one who drew it than of the hills).
const JOINED_DEG: f64 = 30.0;

/// Most letters of a line shown in an error.
const SHOWN: usize = 60;

impl std::str::FromStr for Skyline {
    type Err = SkylineError;

    /// Reads a line a point: azimuth and altitude in degrees, parted by a comma, a semicolon or space. What follows `#` and empty lines
    /// are left out, and so is a first line of words. With semicolons a comma is the decimal point.
    fn from_str(text: &str) -> Result<Self, SkylineError> {
        let mut points = Vec::new();
        let mut headed = false;
        for (n, whole) in text.trim_start_matches('\u{feff}').lines().enumerate() {
            let line = whole.split('#').next().unwrap_or_default().trim();
            if line.is_empty() {
                continue;
            }
            if points.is_empty() && !headed && !line.contains(|c: char| c.is_ascii_digit()) {
                headed = true;
                continue;
            }
            points.push(point(n + 1, line)?);
            if points.len() > MOST_POINTS {
                return Err(SkylineError::TooMany);
            }
        }
        if points.len() < 2 {
            return Err(SkylineError::TooFew(points.len()));
        }
        points.sort_by(|a: &SkylinePoint, b| a.az_deg.total_cmp(&b.az_deg));
        Ok(Self { points })
    }
}

fn point(line: usize, text: &str) -> Result<SkylinePoint, SkylineError> {
    let [az, alt_deg] = numbers(text).ok_or_else(|| SkylineError::NotTwoNumbers {
        line,
        text: text.chars().take(SHOWN).collect(),
    })?;
    for (what, value, least, most) in [
        ("azimuth", az, -180.0, 360.0),
        ("altitude", alt_deg, -10.0, 90.0),
    ] {
        if !(least..=most).contains(&value) {
            return Err(SkylineError::OutOfRange {
                line,
                what,
                value,
                least,
                most,
            });
        }
    }
    Ok(SkylinePoint {
        az_deg: az.rem_euclid(360.0),
        alt_deg,
    })
}

/// Two finite numbers.
fn numbers(text: &str) -> Option<[f64; 2]> {
    let parted: Vec<String> = if text.contains(';') {
        text.split(';').map(|part| part.replace(',', ".")).collect()
    } else {
        let parts = text.split(|c: char| c == ',' || c.is_whitespace());
        parts.filter(|p| !p.is_empty()).map(str::to_owned).collect()
    };
    let [az, alt] = parted.as_slice() else {
        return None;
    };
    let number = |part: &String| -> Option<f64> {
        let bare = part.trim().trim_end_matches(['°', 'º']).trim();
        bare.parse().ok().filter(|v: &f64| v.is_finite())
    };
    Some([number(az)?, number(alt)?])
}

impl Skyline {
    /// Altitude of the horizon at an azimuth, both in degrees; `None` where no two points less than 30 degrees apart stand about it.
    pub fn altitude_deg(&self, az_deg: f64) -> Option<f64> {
        let az_deg = az_deg.rem_euclid(360.0);
        let after = self.points.partition_point(|p| p.az_deg <= az_deg);
        let before = self.points[(after + self.points.len() - 1) % self.points.len()];
        let next = self.points[after % self.points.len()];
        let along = (az_deg - before.az_deg).rem_euclid(360.0);
        let apart = (next.az_deg - before.az_deg).rem_euclid(360.0);
        if along == 0.0 {
            return Some(before.alt_deg);
        }
        (apart > 0.0 && apart <= JOINED_DEG)
            .then(|| before.alt_deg + (next.alt_deg - before.alt_deg) * along / apart)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Skyline, SkylineError> {
        text.parse()
    }

    #[test]
    fn a_horizon_is_read_as_people_write_it() {
        let plain =
            read("# from the terrace\nazimuth, altitude\n280, 4\n300 6.5  # the mast\n\n290\t5\n")
                .unwrap();
        assert_eq!(plain.points.len(), 3);
        assert!((plain.altitude_deg(295.0).unwrap() - 5.75).abs() < 1e-12);
        let comma = read("280,5;4,5\n281;5").unwrap().points[0];
        assert!((comma.az_deg - 280.5).abs() < 1e-12 && (comma.alt_deg - 4.5).abs() < 1e-12);
        // Round by north, and a wall.
        let north = read("350, 2\n-10, 8\n10, 4").unwrap();
        assert!((north.altitude_deg(0.0).unwrap() - 6.0).abs() < 1e-12);
        assert_eq!(north.altitude_deg(350.0), Some(8.0));
        // Nobody measured the other side.
        assert_eq!(north.altitude_deg(180.0), None);
    }

    #[test]
    fn what_is_no_horizon_is_refused_by_its_line() {
        let not = |line, text: &str| SkylineError::NotTwoNumbers {
            line,
            text: text.to_owned(),
        };
        assert_eq!(read("10, 2\n20, hill\n"), Err(not(2, "20, hill")));
        assert_eq!(read("10, 2\n20\n"), Err(not(2, "20")));
        assert_eq!(read("10, 2, 3"), Err(not(1, "10, 2, 3")));
        assert_eq!(read("10, nan\n"), Err(not(1, "10, nan")));
        for (text, at) in [("10, 2\n\n400, 1", 3), ("10, 95", 1), ("-181, 3", 1)] {
            let error = read(text).unwrap_err();
            assert!(
                matches!(error, SkylineError::OutOfRange { line, .. } if line == at),
                "{error}"
            );
            assert!(error.to_string().contains(&format!("line {at}")), "{error}");
        }
        assert_eq!(read("# nothing\n"), Err(SkylineError::TooFew(0)));
        assert_eq!(read("10, 2"), Err(SkylineError::TooFew(1)));
    }
}
