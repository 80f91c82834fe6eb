//! Instants in the civil time of a place, for the outputs.

use jiff::Timestamp;
use jiff::tz::{Offset, TimeZone};

use crate::domain::{Site, Utc};

/// Degrees of longitude to an hour of nautical time.
const DEG_PER_HOUR: f64 = 15.0;

/// Nanoseconds in a second.
const NS_PER_S: i128 = 1_000_000_000;

/// A time zone and the name to show for it.
#[derive(Clone, Debug, PartialEq)]
pub struct CivilZone {
    /// IANA name, or an offset such as `+05:30`.
    pub name: String,
    /// The rules behind it.
    pub rules: TimeZone,
}

impl CivilZone {
    /// Coordinated Universal Time itself.
    pub fn utc() -> Self {
        Self {
            name: "UTC".to_owned(),
            rules: TimeZone::UTC,
        }
    }

    /// The nautical zone: whole hours by the longitude alone (common practice), for places no border covers.
    pub fn nautical(site: &Site) -> Self {
        let hours = (site.lon_deg / DEG_PER_HOUR).round().clamp(-12.0, 12.0) as i8;
        let sign = if hours < 0 { '-' } else { '+' };
        Self {
            name: format!("{sign}{:02}:00", hours.abs()),
            rules: TimeZone::fixed(Offset::constant(hours)),
        }
    }

    /// The instant in local time, rounded to `decimals` of a second (0 to 3).
    pub fn local(&self, utc: Utc, decimals: usize) -> LocalTime {
        let decimals = decimals.min(3);
        let unit = NS_PER_S / 10i128.pow(decimals as u32);
        let ns = utc.timestamp().as_nanosecond();
        let rounded = (ns + unit / 2).div_euclid(unit) * unit;
        let at = Timestamp::from_nanosecond(rounded).unwrap_or(utc.timestamp());
        let zoned = at.to_zoned_datetime(self.rules.clone());
        let part = i128::from(zoned.subsec_nanosecond()) / unit;
        let fraction = match decimals {
            0 => String::new(),
            _ => format!(".{part:0decimals$}"),
        };
        LocalTime {
            date: zoned.date().to_string(),
            time: format!("{}{fraction}", zoned.strftime("%H:%M:%S")),
            offset: zoned.strftime("%:z").to_string(),
        }
    }
}

/// A local time in words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LocalTime {
    /// `YYYY-MM-DD`.
    pub date: String,
    /// `HH:MM:SS` with decimals.
    pub time: String,
    /// `+HH:MM`.
    pub offset: String,
}

impl LocalTime {
    /// ISO 8601 with the offset.
    pub fn iso(&self) -> String {
        format!("{}T{}{}", self.date, self.time, self.offset)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nautical_zones_follow_the_longitude() {
        for (lon, name) in [
            (0.0, "+00:00"),
            (-7.6, "-01:00"),
            (180.0, "+12:00"),
            (-180.0, "-12:00"),
        ] {
            let zone = CivilZone::nautical(&Site::new(0.0, lon, 0.0).unwrap());
            assert_eq!(zone.name, name);
        }
    }

    #[test]
    fn local_times_are_rounded_across_the_second() {
        let utc = Utc::new("2019-07-02T20:38:12.96Z".parse().unwrap());
        let zone = CivilZone::nautical(&Site::new(-30.0, -61.0, 0.0).unwrap());
        assert_eq!(zone.local(utc, 1).iso(), "2019-07-02T16:38:13.0-04:00");
        assert_eq!(zone.local(utc, 0).time, "16:38:13");
        assert_eq!(zone.local(utc, 3).time, "16:38:12.960");
    }
}
