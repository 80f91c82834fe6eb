//! The published exposure guide, filters, and the shutter dial.

/// A feature of an eclipse with its brightness exponent.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Feature {
    /// Short name for scripts.
    pub key: &'static str,
    /// Name for people.
    pub name: &'static str,
    /// Brightness exponent `Q` of `t = N^2 / (ISO 2^Q)`, without a filter.
    pub q: f64,
}

const fn feature(key: &'static str, name: &'static str, q: f64) -> Feature {
    Feature { key, name, q }
}

/// Features of totality, brightest first; heights of the corona in solar radii above the limb.
///
/// Source: F. Espenak & J. Anderson 1995, Total Solar Eclipse of 1997 March 9, NASA Reference Publication 1369,
/// Table 16 (Solar Eclipse Exposure Guide). The table recommends the 0.2-radius exposure for the diamond ring.
pub const FEATURES: [Feature; 10] = [
    feature("beads", "Baily's beads", 12.0),
    feature("chromosphere", "Chromosphere", 11.0),
    feature("prominences", "Prominences", 9.0),
    feature("corona-0.1", "Corona, 0.1 radii", 7.0),
    feature("corona-0.2", "Corona, 0.2 radii; diamond ring", 5.0),
    feature("corona-0.5", "Corona, 0.5 radii", 3.0),
    feature("corona-1", "Corona, 1 radius", 1.0),
    feature("corona-2", "Corona, 2 radii", 0.0),
    feature("corona-4", "Corona, 4 radii", -1.0),
    feature("corona-8", "Corona, 8 radii", -3.0),
];

/// Exponent of the brightest feature a bracket must hold: the beads.
pub const BRIGHTEST_Q: f64 = 12.0;

/// Exponent of the faintest feature a bracket must hold: the corona 4 radii out.
pub const FAINTEST_Q: f64 = -1.0;

/// Densities of the two filters in the published table, with the exponent printed for the partial phases behind each.
/// Source: as [`FEATURES`].
const FILTERED: [(f64, f64); 2] = [(4.0, 11.0), (5.0, 8.0)];

/// Stops in one unit of optical density: `log2(10)`.
pub const STOPS_PER_DENSITY: f64 = std::f64::consts::LOG2_10;

/// Exposure time in seconds: `N^2 / (ISO 2^Q)`.
///
/// Source: as [`FEATURES`]. `f_number` and `iso` are positive.
pub fn exposure_s(f_number: f64, iso: f64, q: f64) -> f64 {
    f_number * f_number / (iso * q.exp2())
}

/// Exponent of the partial phases behind a filter of so many stops.
///
/// The table prints 11 for density 4.0 and 8 for 5.0: unfiltered that is 24.3 and 24.6, rounded to whole stops as they
/// are. Between them the unfiltered exponent is taken on the straight line, outside at the nearer one, so both rows
/// come out as printed and the filter counts stop for stop elsewhere.
pub fn filtered_q(filter_stops: f64) -> f64 {
    let [(thin, q_thin), (dense, q_dense)] = FILTERED;
    let bare = |density: f64, q: f64| q + density * STOPS_PER_DENSITY;
    let share = ((filter_stops / STOPS_PER_DENSITY - thin) / (dense - thin)).clamp(0.0, 1.0);
    let unfiltered = bare(thin, q_thin) * (1.0 - share) + bare(dense, q_dense) * share;
    unfiltered - filter_stops
}

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
    fn times_off_the_dial_say_so() {
        assert_eq!(dial_mark(1e-5), "under 1/8000 s");
        assert_eq!(dial_mark(120.0), "bulb, 120 s");
        assert_eq!(dial_mark(f64::NAN), "under 1/8000 s");
    }

    #[test]
    fn both_printed_filters_come_out_as_printed() {
        for (density, q) in FILTERED {
            assert!((filtered_q(density * STOPS_PER_DENSITY) - q).abs() < 1e-9);
        }
        assert!((filtered_q(18.0) - filtered_q(19.0) - 1.0).abs() < 1e-9);
    }
}
