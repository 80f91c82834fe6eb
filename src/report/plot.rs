//! Axes of a small plot: where a time and a value fall, and which round marks to label.

use jiff::tz::TimeZone;

use crate::domain::Utc;

/// Where the plotted area lies in the drawing, and what it spans.
pub(super) struct Frame {
    pub(super) left: f64,
    pub(super) right: f64,
    pub(super) top: f64,
    pub(super) bottom: f64,
    /// First and last instant.
    pub(super) from: Utc,
    pub(super) to: Utc,
    /// Value at the bottom and at the top.
    pub(super) low: f64,
    pub(super) high: f64,
}

impl Frame {
    /// Place of an instant from the left.
    pub(super) fn x(&self, t: Utc) -> f64 {
        let span = self.to.seconds_since(self.from).max(1e-3);
        self.left + (self.right - self.left) * t.seconds_since(self.from) / span
    }

    /// Place of a value from the top.
    pub(super) fn y(&self, value: f64) -> f64 {
        let share = (value - self.low) / (self.high - self.low).max(1e-12);
        self.bottom - (self.bottom - self.top) * share
    }

    /// Whether an instant is on the plot.
    pub(super) fn spans(&self, t: Utc) -> bool {
        t >= self.from && t <= self.to
    }

    /// Round local times to label with: at most `most` of them.
    pub(super) fn time_marks(&self, zone: &TimeZone, most: usize) -> Vec<Utc> {
        const STEPS_S: [f64; 15] = [
            1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1200.0, 1800.0, 3600.0,
            7200.0, 21_600.0,
        ];
        let span = self.to.seconds_since(self.from);
        let step = STEPS_S
            .iter()
            .copied()
            .find(|s| span / s <= most as f64)
            .unwrap_or(86_400.0);
        let shift = f64::from(zone.to_offset(self.from.timestamp()).seconds());
        let first = ((self.from.unix_s() + shift) / step).ceil();
        let count = (span / step).floor().clamp(0.0, 100.0) as u32;
        (0..=count)
            .map(|n| Utc::from_unix_s((first + f64::from(n)) * step - shift))
            .filter(|t| self.spans(*t))
            .collect()
    }
}

/// A coordinate with one decimal and no more digits than it needs.
pub(super) fn place(v: f64) -> String {
    let text = format!("{v:.1}");
    text.strip_suffix(".0")
        .map_or_else(|| text.clone(), str::to_owned)
}
