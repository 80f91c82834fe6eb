//! The published exposure guide, and filters.

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
    feature("corona-0.1", "Corona 0.1 solar radii off the limb", 7.0),
    feature("corona-0.2", "Corona 0.2 radii off it; diamond ring", 5.0),
    feature("corona-0.5", "Corona 0.5 radii off the limb", 3.0),
    feature("corona-1", "Corona 1 radius off the limb", 1.0),
    feature("corona-2", "Corona 2 radii off the limb", 0.0),
    feature("corona-4", "Corona 4 radii off the limb", -1.0),
    feature("corona-8", "Corona 8 radii off the limb", -3.0),
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

/// Stops of the filter behind which the partial phases have an exponent: the inverse of [`filtered_q`], 0 to 40.
pub fn filter_stops_of(q: f64) -> f64 {
    // The unfiltered exponent hardly changes with the filter, so a few rounds settle it.
    let mut stops = FILTERED[1].0 * STOPS_PER_DENSITY;
    for _ in 0..20 {
        stops = (stops + filtered_q(stops) - q).clamp(0.0, 40.0);
    }
    stops
}

/// Exposure time of the filtered Sun in seconds as photographers usually set it: f/8 and 1/800 s through 16 stops at low
/// ISO, taken as 100, and stop for stop from there. Common practice.
pub fn practice_s(f_number: f64, iso: f64, filter_stops: f64) -> f64 {
    (f_number / 8.0).powi(2) * (100.0 / iso) * (filter_stops - 16.0).exp2() / 800.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_printed_filters_come_out_as_printed() {
        for (density, q) in FILTERED {
            assert!((filtered_q(density * STOPS_PER_DENSITY) - q).abs() < 1e-9);
        }
        assert!((filtered_q(18.0) - filtered_q(19.0) - 1.0).abs() < 1e-9);
        for stops in [0.0, 10.0, 13.3, 15.0, 16.6, 20.0, 40.0] {
            assert!((filter_stops_of(filtered_q(stops)) - stops).abs() < 1e-9);
        }
    }
}
