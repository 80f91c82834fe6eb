//! TT minus UT1: how far the Earth's turn lags behind even time.

/// How well TT minus UT1 is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum DeltaTStatus {
    /// Measured by the IERS.
    Observed,
    /// Predicted by the IERS, a year ahead at most.
    Predicted,
    /// Carried on at the last year's rate.
    Extrapolated,
    /// Given by the person.
    Given,
}

impl DeltaTStatus {
    /// The word used in outputs.
    pub fn word(self) -> &'static str {
        match self {
            Self::Observed => "observed",
            Self::Predicted => "predicted",
            Self::Extrapolated => "extrapolated",
            Self::Given => "given",
        }
    }
}

/// TT-UT1 and TT-UTC at one eclipse.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct DeltaTRow {
    /// Year, month and day (TT) of greatest eclipse.
    pub(super) date: (i16, i8, i8),
    /// TT minus UT1 in seconds.
    pub(super) tt_minus_ut1_s: f64,
    /// TT minus UTC in seconds.
    pub(super) tt_minus_utc_s: f64,
    /// How well it is known.
    pub(super) status: DeltaTStatus,
}

/// Last observation behind the table: 2026-10-22 as a fraction of a year.
const OBSERVED_TO_YEAR: f64 = 2026.81;

/// One sigma of TT-UT1 in seconds for an eclipse of `date`.
///
/// Observed values are good to a millisecond. Later ones follow `0.12 s (years ahead)^1.3`, a curve through the errors the
/// same extrapolation would have made on the IERS series of 1976 to 2026: rms 0.09 s after 1 year, 0.91 s after 5,
/// 2.4 s after 10, 5.2 s after 20, 11 s after 30 (printed by `fixtures/scripts/make_eclipse_tables.py`).
pub(super) fn sigma_s(row: &DeltaTRow) -> f64 {
    if row.status == DeltaTStatus::Observed {
        return 0.001;
    }
    let (year, month, day) = row.date;
    let when = f64::from(year) + (f64::from(month) - 1.0) / 12.0 + f64::from(day) / 365.25;
    0.12 * (when - OBSERVED_TO_YEAR).max(0.0).powf(1.3)
}
