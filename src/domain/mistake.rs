//! Takes a clock's whole error apart: days, zone, and what is left.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Seconds in a day and an hour.
pub(crate) const DAY_S: f64 = 86_400.0;
pub(crate) const HOUR_S: f64 = 3_600.0;

/// Zones in use that are not whole hours from UTC, in seconds (IANA time-zone database 2025b; +05:40 and the like of old
/// left out): half hours, then quarters.
pub(crate) const HALF_HOUR_ZONES_S: [i32; 10] = [
    -34_200, -12_600, -9_000, 12_600, 16_200, 19_800, 23_400, 34_200, 37_800, 41_400,
];
pub(crate) const QUARTER_HOUR_ZONES_S: [i32; 4] = [20_700, 31_500, 45_900, 49_500];

/// Zones in use span -12 to +14 hours.
pub(crate) const ZONES_S: std::ops::RangeInclusive<i32> = -43_200..=50_400;

/// A clock this close to a whole number of hours off, in seconds, was set in another zone (our choice: a clock itself is
/// seldom off by more than some minutes).
const NEAR_HOUR_S: f64 = 420.0;
/// The same for half and quarter hours, in seconds.
const NEAR_PART_S: f64 = 240.0;

/// A clock's error in the parts it was made of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ClockMistake {
    /// Whole days the date was ahead (negative: behind).
    pub days: i64,
    /// Seconds by which the zone the clock was set to lies ahead of the zone it was read in; a whole number of quarter
    /// hours.
    pub zone_s: i32,
    /// What is left: camera minus true time in seconds.
    pub seconds: f64,
}

impl ClockMistake {
    /// Takes apart `error_s`, camera minus true time when read in the zone `zone_offset_s` (local minus UTC, seconds).
    ///
    /// A part is called a zone mistake only when it leads to or from a zone in use.
    pub fn of(error_s: f64, zone_offset_s: i32) -> Self {
        let days = (error_s / DAY_S).round();
        let rest_s = error_s - days * DAY_S;
        let found = [HOUR_S, HOUR_S / 2.0, HOUR_S / 4.0]
            .into_iter()
            .filter_map(|unit_s| zone_part(rest_s, unit_s, zone_offset_s))
            .next()
            .or_else(|| over_midnight(rest_s, zone_offset_s));
        let (more_days, zone_s) = found.unwrap_or((0, 0));
        let day_s = more_days as f64 * DAY_S;
        Self {
            days: days as i64 + more_days,
            zone_s,
            seconds: rest_s - day_s - f64::from(zone_s),
        }
    }

    /// Whether zone or date was wrong.
    pub fn is_gross(&self) -> bool {
        self.days != 0 || self.zone_s != 0
    }
}

/// The zone part of an error, where it is near a whole number of `unit_s`.
fn zone_part(rest_s: f64, unit_s: f64, zone_offset_s: i32) -> Option<(i64, i32)> {
    let part_s = (rest_s / unit_s).round() * unit_s;
    let near_s = if unit_s < HOUR_S {
        NEAR_PART_S
    } else {
        NEAR_HOUR_S
    };
    let zone_s = part_s as i32;
    let set_to = zone_offset_s.checked_add(zone_s)?;
    let known = unit_s >= HOUR_S || leads_there(zone_offset_s, set_to);
    let near = (rest_s - part_s).abs() <= near_s;
    (near && known && ZONES_S.contains(&set_to)).then_some((0, zone_s))
}

/// An error of more than half a day that is a zone part the other way round and a day.
fn over_midnight(rest_s: f64, zone_offset_s: i32) -> Option<(i64, i32)> {
    let day = if rest_s > 0.0 { 1 } else { -1 };
    let (_, zone_s) = zone_part(rest_s - day as f64 * DAY_S, HOUR_S, zone_offset_s)?;
    Some((day, zone_s))
}

/// Whether one of two zones is not a whole hour from UTC and in use, and the other is in use too.
fn leads_there(a: i32, b: i32) -> bool {
    let odd = |zone: &i32| HALF_HOUR_ZONES_S.contains(zone) || QUARTER_HOUR_ZONES_S.contains(zone);
    let used = |zone: &i32| zone % 3600 == 0 || odd(zone);
    (odd(&a) || odd(&b)) && used(&a) && used(&b)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_halves_and_quarters_come_off() {
        let chile = -14_400;
        let hour = ClockMistake::of(3_600.0 + 42.5, chile);
        assert_eq!((hour.days, hour.zone_s), (0, 3_600));
        assert!((hour.seconds - 42.5).abs() < 1e-9);
        let nepal = ClockMistake::of(f64::from(20_700 - chile) - 7.0, chile);
        assert_eq!((nepal.zone_s, nepal.seconds.round() as i32), (35_100, -7));
        let india = ClockMistake::of(f64::from(19_800 - chile) + 7.0, chile);
        assert_eq!((india.zone_s, india.seconds.round() as i32), (34_200, 7));
    }

    #[test]
    fn ten_minutes_are_no_zone() {
        let slow = ClockMistake::of(-600.0, 0);
        assert!(!slow.is_gross());
        assert!((slow.seconds + 600.0).abs() < 1e-9);
    }

    #[test]
    fn a_year_is_days() {
        let year = ClockMistake::of(366.0 * 86_400.0 - 3_600.0 + 3.0, 3_600);
        assert_eq!((year.days, year.zone_s), (366, -3_600));
    }
}
