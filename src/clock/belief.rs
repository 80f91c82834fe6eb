//! What is believed of a camera's clock before its pictures are looked at.
//!
//! Most clocks are right within a minute or so, some are minutes off; some were set to another zone or to UTC, some show
//! another day or year; a few show anything. The shares below are our choice, made from what people tell of their cards: they
//! only weigh what pictures leave open, and none of them is nought.

use crate::domain::{DAY_S, HALF_HOUR_ZONES_S, HOUR_S, QUARTER_HOUR_ZONES_S, ZONES_S};

/// Share of clocks that are off by no more than setting by hand and a season's drift make.
const GOOD: f64 = 0.75;

/// Scale of those errors in seconds: of a distribution of Student's with three degrees of freedom.
const GOOD_SCALE_S: f64 = 40.0;

/// Scale of the others in seconds: of a distribution of Cauchy's.
const ASTRAY_SCALE_S: f64 = 200.0;

/// Weights of a clock set to UTC, one hour off, in another zone of whole hours, in a zone of half or quarter hours.
const SET_TO_UTC: f64 = 0.08;
const ONE_HOUR: f64 = 0.06;
const OTHER_ZONE: f64 = 0.006;
const ODD_ZONE: f64 = 0.001;

/// Weights of a date off by a day, and of the same day of another year.
const ONE_DAY: f64 = 0.01;
const OTHER_YEAR: f64 = 0.02;

/// Density of a clock that shows anything on the day, and on any other day, a second.
const ANYTHING: f64 = 1e-8;
const ANY_DAY: f64 = 1e-10;

/// Days in a year of the calendar (Gregory).
const YEAR_DAYS: f64 = 365.2425;

/// Log of the density of believing that a camera read in the zone `zone_s` (local minus UTC, seconds) is off by `error_s`.
pub(super) fn log_density(error_s: f64, zone_s: i32) -> f64 {
    let days = (error_s / DAY_S).round();
    let around = [days - 1.0, days, days + 1.0];
    let by_days: f64 = around
        .iter()
        .map(|day| day_weight(*day) * within_a_day(error_s - day * DAY_S, zone_s))
        .sum();
    let anything = if days.abs() <= 1.0 { ANYTHING } else { ANY_DAY };
    (by_days + anything).ln()
}

/// Minus twice the log of how much less is believed in an error than in none.
pub(super) fn cost(error_s: f64, zone_s: i32) -> f64 {
    2.0 * (log_density(0.0, zone_s) - log_density(error_s, zone_s))
}

fn day_weight(days: f64) -> f64 {
    let years = (days / YEAR_DAYS).round();
    let same_day = years.abs() >= 1.0 && (days - years * YEAR_DAYS).abs() < 1.0;
    match days.abs() {
        0.0 => 1.0,
        1.0 => ONE_DAY,
        _ if same_day => OTHER_YEAR,
        _ => 0.0,
    }
}

/// Density of an error within the day, whatever zone it comes from.
fn within_a_day(error_s: f64, zone_s: i32) -> f64 {
    let nearest = |unit_s: f64| ((error_s / unit_s).round() * unit_s) as i32;
    let mut parts = [0, nearest(HOUR_S), nearest(HOUR_S / 4.0)];
    parts.sort_unstable();
    let mut density = 0.0;
    for (n, part_s) in parts.iter().enumerate() {
        if n == 0 || parts[n - 1] != *part_s {
            density += zone_weight(*part_s, zone_s) * of_seconds(error_s - f64::from(*part_s));
        }
    }
    density
}

fn zone_weight(part_s: i32, zone_s: i32) -> f64 {
    let set_to = zone_s.saturating_add(part_s);
    let odd = |zone: &i32| HALF_HOUR_ZONES_S.contains(zone) || QUARTER_HOUR_ZONES_S.contains(zone);
    match part_s.abs() {
        0 => 1.0,
        _ if !ZONES_S.contains(&set_to) => 0.0,
        _ if set_to == 0 => SET_TO_UTC,
        3600 => ONE_HOUR,
        part if part % 3600 == 0 => OTHER_ZONE,
        _ if odd(&set_to) || odd(&zone_s) => ODD_ZONE,
        _ => 0.0,
    }
}

fn of_seconds(error_s: f64) -> f64 {
    use std::f64::consts::PI;
    let x = error_s / GOOD_SCALE_S;
    let student = 2.0 / (PI * 3f64.sqrt() * GOOD_SCALE_S) / (1.0 + x * x / 3.0).powi(2);
    let y = error_s / ASTRAY_SCALE_S;
    let cauchy = 1.0 / (PI * ASTRAY_SCALE_S) / (1.0 + y * y);
    GOOD * student + (1.0 - GOOD) * cauchy
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_errors_are_believed_before_large_ones() {
        let chile = -14_400;
        let by_size = [0.0, 60.0, 1_400.0].map(|e| log_density(e, chile));
        assert!(by_size.is_sorted_by(|a, b| a > b), "{by_size:?}");
    }

    #[test]
    fn zones_days_and_years_are_believed_before_chance() {
        let chile = -14_400;
        let chance = log_density(2.4 * 3_600.0, chile);
        for error_s in [14_400.0, -3_600.0, 7_200.0, 86_400.0, -365.0 * 86_400.0] {
            assert!(
                log_density(error_s + 20.0, chile) > chance + 1.0,
                "{error_s}"
            );
        }
        assert!(
            log_density(14_400.0, chile) > log_density(10_800.0, chile),
            "UTC is likelier"
        );
    }
}
