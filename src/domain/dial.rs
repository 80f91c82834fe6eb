//! The shutter dial.

/// Marks of the shutter dial in thirds of a stop, shortest first; the n-th stands for `2^((n - 39) / 3)` seconds.
/// Common practice.
const DIAL: [&str; 55] = [
    "1/8000", "1/6400", "1/5000", "1/4000", "1/3200", "1/2500", "1/2000", "1/1600", "1/1250",
    "1/1000", "1/800", "1/640", "1/500", "1/400", "1/320", "1/250", "1/200", "1/160", "1/125",
    "1/100", "1/80", "1/60", "1/50", "1/40", "1/30", "1/25", "1/20", "1/15", "1/13", "1/10", "1/8",
    "1/6", "1/5", "1/4", "0.3", "0.4", "0.5", "0.6", "0.8", "1", "1.3", "1.6", "2", "2.5", "3.2",
    "4", "5", "6", "8", "10", "13", "15", "20", "25", "30",
];

/// Place on [`DIAL`] of one second.
const DIAL_ONE_S: f64 = 39.0;

/// The mark of the shutter dial nearest to a time in seconds, with its unit: "1/800 s".
///
/// Times off the dial say so: "under 1/8000 s", "bulb, 60 s".
pub fn dial_mark(exposure_s: f64) -> String {
    let place = (exposure_s.log2() * 3.0 + DIAL_ONE_S).round();
    if !place.is_finite() || place < 0.0 {
        return format!("under {} s", DIAL[0]);
    }
    match DIAL.get(place as usize) {
        Some(mark) => format!("{mark} s"),
        None => format!("bulb, {exposure_s:.0} s"),
    }
}

/// The longest mark of the shutter dial that is no longer than a time in seconds, with its unit; off the dial as
/// [`dial_mark`] says it.
pub fn dial_mark_within(exposure_s: f64) -> String {
    // Half a mark shorter: the nearest mark is then the one below.
    dial_mark(exposure_s * HALF_A_MARK_SHORTER)
}

/// A sixth of a stop, less a hair so that a time on a mark keeps it.
const HALF_A_MARK_SHORTER: f64 = 0.891;

#[cfg(test)]
mod tests {
    use super::*;

    /// Seconds a mark names.
    fn seconds(mark: &str) -> f64 {
        match mark.split_once('/') {
            Some((one, n)) => one.parse::<f64>().unwrap() / n.parse::<f64>().unwrap(),
            None => mark.parse().unwrap(),
        }
    }

    #[test]
    fn every_mark_stands_near_its_place() {
        for (n, mark) in DIAL.iter().enumerate() {
            let exact = ((n as f64 - DIAL_ONE_S) / 3.0).exp2();
            let off = (seconds(mark) / exact).log2();
            assert!(off.abs() < 0.14, "{mark} is {off} stops off");
            assert_eq!(dial_mark(exact), format!("{mark} s"));
        }
    }

    #[test]
    fn a_limit_is_kept() {
        assert_eq!(dial_mark_within(0.144), "1/8 s");
        assert_eq!(dial_mark_within(0.249), "1/5 s");
        assert_eq!(dial_mark_within(0.25), "1/4 s");
    }

    #[test]
    fn times_off_the_dial_say_so() {
        assert_eq!(dial_mark(1e-5), "under 1/8000 s");
        assert_eq!(dial_mark(120.0), "bulb, 120 s");
        assert_eq!(dial_mark(f64::NAN), "under 1/8000 s");
    }
}
