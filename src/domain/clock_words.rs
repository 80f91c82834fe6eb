//! Times and errors of clocks as text: one wording for the terminal, the table, the plot and the page.

use super::mistake::DAY_S;
use super::{ClockEvidence, ClockMistake};

/// Days in a year of the calendar (Gregory).
const YEAR_DAYS: f64 = 365.2425;

/// An error in words: `34.2 s fast`, `1 h 2 min 3.0 s slow`, `right`.
pub fn error_text(error_s: f64) -> String {
    let side = if error_s > 0.0 { "fast" } else { "slow" };
    let size = error_s.abs();
    if size < 0.05 {
        "right".to_owned()
    } else {
        format!("{} {side}", length_text(size))
    }
}

/// The same for a whole error: days last, where there are some.
pub fn whole_error_text(error_s: f64) -> String {
    let mistake = ClockMistake::of(error_s, 0);
    if mistake.days == 0 {
        return error_text(error_s);
    }
    let rest_s = error_s - mistake.days as f64 * DAY_S;
    format!("{} and {}", error_text(rest_s), days_text(mistake.days))
}

fn length_text(seconds: f64) -> String {
    let tenths = (seconds * 10.0).round() as u64;
    let (h, m, s) = (tenths / 36_000, tenths / 600 % 60, tenths % 600);
    let s = format!("{}.{}", s / 10, s % 10);
    match (h, m) {
        (0, 0) => format!("{s} s"),
        (0, m) => format!("{m} min {s} s"),
        (h, m) => format!("{h} h {m} min {s} s"),
    }
}

/// One sigma to the digits that mean something.
pub fn sigma_text(sigma_s: f64) -> String {
    if sigma_s < 10.0 {
        format!("{sigma_s:.1}")
    } else {
        format!("{sigma_s:.0}")
    }
}

/// What a clock rests on.
pub fn evidence_text(evidence: &[ClockEvidence]) -> String {
    let all: Vec<String> = evidence.iter().map(ToString::to_string).collect();
    all.join(" and ")
}

/// `a year behind`, `2 days ahead`: how a date differs from the true one.
fn days_text(days: i64) -> String {
    let side = if days > 0 { "ahead" } else { "behind" };
    let years = (days as f64 / YEAR_DAYS).round();
    let same_day = years.abs() >= 1.0 && (days as f64 - years * YEAR_DAYS).abs() < 1.0;
    match (days.unsigned_abs(), years.abs() as u64) {
        (_, 1) if same_day => format!("a year {side}"),
        (_, years) if same_day => format!("{years} years {side}"),
        (1, _) => format!("a day {side}"),
        (days, _) => format!("{days} days {side}"),
    }
}

/// A wrong date or zone in words; `read_as_s` is local minus UTC, in seconds, of the zone the clock was first read in.
pub(super) fn gross_text(mistake: &ClockMistake, read_as_s: i32) -> String {
    let mut parts = Vec::new();
    if mistake.days != 0 {
        parts.push(format!("its date is {}", days_text(mistake.days)));
    }
    if mistake.zone_s != 0 {
        parts.push(format!(
            "it was set to {}, not to {}",
            zone_text(read_as_s.saturating_add(mistake.zone_s)),
            zone_text(read_as_s)
        ));
    }
    parts.join(", and ")
}

/// `UTC`, `UTC-04:00`, `UTC+05:30`.
pub fn zone_text(offset_s: i32) -> String {
    match offset_s.unsigned_abs() / 60 {
        0 => "UTC".to_owned(),
        minutes => format!(
            "UTC{}{:02}:{:02}",
            if offset_s < 0 { '-' } else { '+' },
            minutes / 60,
            minutes % 60
        ),
    }
}

/// An offset as `±HH:MM`, with seconds only where there are some.
pub fn offset_text(offset_s: i32) -> String {
    let sign = if offset_s < 0 { '-' } else { '+' };
    let all = offset_s.unsigned_abs();
    let (h, m, s) = (all / 3600, all / 60 % 60, all % 60);
    if s == 0 {
        format!("{sign}{h:02}:{m:02}")
    } else {
        format!("{sign}{h:02}:{m:02}:{s:02}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn errors_say_which_way_and_how_much() {
        assert_eq!(error_text(83.44), "1 min 23.4 s fast");
        assert_eq!(error_text(-3_723.0), "1 h 2 min 3.0 s slow");
        assert_eq!(error_text(0.01), "right");
        let year = -366.0 * 86_400.0 + 85.5;
        assert_eq!(
            whole_error_text(year),
            "1 min 25.5 s fast and a year behind"
        );
        assert_eq!(
            whole_error_text(-86_400.0 - 7.0),
            "7.0 s slow and a day behind"
        );
    }

    #[test]
    fn zones_and_dates_are_told_as_they_were_set() {
        let utc = ClockMistake {
            days: 0,
            zone_s: 14_400,
            seconds: 3.0,
        };
        assert_eq!(
            gross_text(&utc, -14_400),
            "it was set to UTC, not to UTC-04:00"
        );
        let year = ClockMistake {
            days: -365,
            ..ClockMistake::default()
        };
        assert_eq!(gross_text(&year, -14_400), "its date is a year behind");
    }
}
