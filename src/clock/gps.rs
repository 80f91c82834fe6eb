//! What the GPS times of frames say: the receiver's last fix, which is as old as the receiver cared to let it grow.
//!
//! A fix is never younger than the picture, so that each bounds the clock from one side; how far below the bound the clock lies
//! is a matter of belief. Fixes are renewed every few seconds while the receiver is on, and may be minutes old otherwise.

use super::ClockFrame;

/// Fixes are mostly no older than this, scale in seconds of an exponential fall (our choice: receivers renew every one to five
/// seconds, whole seconds are cut).
const FRESH_S: f64 = 3.0;

/// Some are of a receiver that rested, scale in seconds.
const STALE_S: f64 = 600.0;

/// Share of those where one fix speaks, and where several differ in age, so that the freshest of them is fresh.
const STALE_SHARE: (f64, f64) = (0.05, 0.005);

/// Fixes that differ by this in age, in seconds, were renewed between pictures.
const RENEWED_S: f64 = 0.5;

/// Fewest fixes whose ages can be compared.
const SEVERAL: usize = 3;

/// A fix may be younger than the picture by this, one sigma in seconds: stamps are cut, exposures start late.
const YOUNGER_S: f64 = 0.7;

/// Chance that the GPS times of a body mean something else: local time in the wrong field, edited headers.
const WRONG: f64 = 1e-3;

/// The bound that a body's GPS times set on its clock.
#[derive(Clone, Copy, Debug)]
pub(super) struct GpsBound {
    /// Largest clock error they allow: camera reading as UTC, minus UTC, in seconds.
    most_s: f64,
    stale_share: f64,
    /// Frames with a GPS time.
    pub(super) frames: u32,
}

impl GpsBound {
    /// The bound, where a frame has a GPS time.
    pub(super) fn of(frames: &[ClockFrame]) -> Option<Self> {
        let mut ages: Vec<f64> = frames
            .iter()
            .filter_map(|frame| {
                let reading = frame.stamp?.time.read_as_utc();
                let cut_s = if frame.stamp?.has_subsec { 0.0 } else { 0.5 };
                Some(reading.seconds_since(frame.gps_utc?) + cut_s)
            })
            .filter(|age| age.is_finite())
            .collect();
        ages.sort_by(f64::total_cmp);
        let most_s = *ages.first()?;
        let renewed = ages.len() >= SEVERAL && ages[ages.len() / 2] - most_s > RENEWED_S;
        Some(Self {
            most_s,
            stale_share: if renewed {
                STALE_SHARE.1
            } else {
                STALE_SHARE.0
            },
            frames: ages.len() as u32,
        })
    }

    /// Log of how likely a clock error is by the bound, up to a constant.
    pub(super) fn log(&self, tau_s: f64) -> f64 {
        let age_s = self.most_s - tau_s;
        let chance = if age_s < 0.0 {
            (-0.5 * (age_s / YOUNGER_S).powi(2)).exp()
        } else {
            let fall = |scale_s: f64| (-age_s / scale_s).exp() * FRESH_S / scale_s;
            (1.0 - self.stale_share) * fall(FRESH_S) + self.stale_share * fall(STALE_S)
        };
        (WRONG * FRESH_S / STALE_S + (1.0 - WRONG) * chance).ln()
    }

    /// The largest error allowed.
    pub(super) fn most_s(&self) -> f64 {
        self.most_s
    }
}
