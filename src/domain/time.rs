//! Three kinds of time that do not mix.

use std::fmt;

use jiff::Timestamp;
use jiff::civil::DateTime;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Nanoseconds in a second.
const NS_PER_S: f64 = 1e9;

/// What a camera's clock showed: civil date and time with no zone and with whatever error the clock had.
///
/// It becomes a [`Utc`] only through a [`crate::domain::ClockCorrection`].
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(transparent)]
pub struct CameraTime(#[schemars(with = "String")] DateTime);

impl CameraTime {
    /// Wraps a civil date and time.
    pub fn new(civil: DateTime) -> Self {
        Self(civil)
    }

    /// The civil date and time as written.
    pub fn civil(self) -> DateTime {
        self.0
    }

    /// Seconds from `earlier` to `self` on the camera's own clock; negative when `self` came first.
    pub fn seconds_since(self, earlier: Self) -> f64 {
        self.read_as_utc().seconds_since(earlier.read_as_utc())
    }

    /// The instant this would be if the clock had been set to UTC and had no error.
    ///
    /// Only a step of a conversion: the clock correction is still to be taken off. Times in the last hours of the year
    /// 9999 that are no instants are held at the last one.
    pub fn read_as_utc(self) -> Utc {
        Utc(jiff::tz::TimeZone::UTC
            .to_timestamp(self.0)
            .unwrap_or(Timestamp::MAX))
    }
}

impl fmt::Display for CameraTime {
    /// ISO 8601 with sub-seconds where they are not zero.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// A true instant, on Coordinated Universal Time.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(transparent)]
pub struct Utc(#[schemars(with = "String")] Timestamp);

impl Utc {
    /// Wraps a timestamp.
    pub fn new(timestamp: Timestamp) -> Self {
        Self(timestamp)
    }

    /// The timestamp inside.
    pub fn timestamp(self) -> Timestamp {
        self.0
    }

    /// Seconds since 1970-01-01T00:00:00Z without leap seconds.
    pub fn unix_s(self) -> f64 {
        self.0.as_nanosecond() as f64 / NS_PER_S
    }

    /// The instant `unix_s` seconds after 1970-01-01T00:00:00Z (leap seconds not counted), to the nearest nanosecond.
    ///
    /// Values beyond the years -9999 to 9999 are held at the end of that range; not-a-number gives 1970.
    pub fn from_unix_s(unix_s: f64) -> Self {
        let ns = (unix_s * NS_PER_S).round() as i128;
        let held = ns.clamp(
            Timestamp::MIN.as_nanosecond(),
            Timestamp::MAX.as_nanosecond(),
        );
        Self(Timestamp::from_nanosecond(held).expect("held inside the range"))
    }

    /// This instant moved by `seconds` (negative: earlier).
    pub fn plus_s(self, seconds: f64) -> Self {
        let moved = self.0.as_nanosecond() + (seconds * NS_PER_S).round() as i128;
        let held = moved.clamp(
            Timestamp::MIN.as_nanosecond(),
            Timestamp::MAX.as_nanosecond(),
        );
        Self(Timestamp::from_nanosecond(held).expect("held inside the range"))
    }

    /// The nearest whole second: what every screen and page shows where seconds have no fraction.
    pub fn nearest_second(self) -> Self {
        Self::from_unix_s((self.unix_s() + 0.5).floor())
    }

    /// Seconds from `earlier` to `self`; negative when `self` came first. Leap seconds are not counted.
    pub fn seconds_since(self, earlier: Self) -> f64 {
        (self.0.as_nanosecond() - earlier.0.as_nanosecond()) as f64 / NS_PER_S
    }
}

impl fmt::Display for Utc {
    /// ISO 8601 with milliseconds and `Z`, rounded to the nearest millisecond.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let ms = self
            .0
            .as_nanosecond()
            .saturating_add(500_000)
            .div_euclid(1_000_000);
        // The last millisecond of the range has none to be rounded up to: it is cut off.
        let rounded = i64::try_from(ms)
            .ok()
            .and_then(|ms| Timestamp::from_millisecond(ms).ok())
            .unwrap_or(self.0);
        write!(f, "{rounded:.3}")
    }
}

/// An instant on Terrestrial Time, the even scale the ephemerides run on.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize, JsonSchema)]
pub struct Tt {
    /// Seconds since 2000-01-01 12:00:00 TT (Julian date 2451545.0).
    pub j2000_s: f64,
}

impl Tt {
    /// From seconds since 2000-01-01 12:00:00 TT.
    pub fn from_j2000_s(j2000_s: f64) -> Self {
        Self { j2000_s }
    }

    /// From a Julian date on TT (days); good to about 40 microseconds.
    pub fn from_julian_date(jd: f64) -> Self {
        Self {
            j2000_s: (jd - 2_451_545.0) * 86_400.0,
        }
    }

    /// Seconds from `earlier` to `self`.
    pub fn seconds_since(self, earlier: Self) -> f64 {
        self.j2000_s - earlier.j2000_s
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn utc_is_written_with_milliseconds() {
        let t = Utc::new("2019-07-02T20:38:12.34567Z".parse().unwrap());
        assert_eq!(t.to_string(), "2019-07-02T20:38:12.346Z");
        assert_eq!(t.plus_s(-0.34567).to_string(), "2019-07-02T20:38:12.000Z");
        let (first, last) = (Utc::from_unix_s(-1e300), Utc::from_unix_s(1e300));
        assert!(first.to_string().starts_with("-009999-01-02"));
        assert_eq!(last.to_string(), "9999-12-30T22:00:00.999Z");
        assert_eq!(last.plus_s(-0.5).plus_s(9.0), last);
    }

    #[test]
    fn camera_times_subtract_on_their_own_clock() {
        let a = CameraTime::new("2019-07-02T16:38:12.25".parse().unwrap());
        let b = CameraTime::new("2019-07-02T16:38:10".parse().unwrap());
        assert!((a.seconds_since(b) - 2.25).abs() < 1e-9);
        assert_eq!(a.to_string(), "2019-07-02T16:38:12.25");
    }
}
