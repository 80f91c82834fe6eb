//! What the GPS times of frames say: the receiver's last fix, which is as old as the receiver cared to let it grow.
//!
//! A fix is never younger than the picture, so that each bounds the clock from one side; how far below the bound the clock lies
//! is a matter of belief. Fixes are renewed every few seconds while the receiver is on, and may be minutes old otherwise.

use super::{ClockFrame, changed};
use crate::domain::Utc;

/// Fixes of a receiver that renews them are mostly no older than this, scale in seconds of an exponential fall (our choice:
/// receivers renew every one to five seconds, whole seconds are cut).
const FRESH_S: f64 = 3.0;

/// Some are of a receiver that rested, scale in seconds.
const STALE_S: f64 = 600.0;

/// Share of those where several fixes are all of one age, and where they differ in age, so that the freshest of them is fresh.
const STALE_SHARE: (f64, f64) = (0.05, 0.005);

/// Fixes that differ by this in age, in seconds, were renewed between pictures.
const RENEWED_S: f64 = 0.5;

/// Fewest different fixes that show a receiver at work.
const SEVERAL: usize = 3;

/// Oldest fix a camera still writes, in seconds (our choice): where none shows how often they are renewed, every order of
/// magnitude of age from [`FRESH_S`] to this is held for as likely as any other.
const OLDEST_S: f64 = 3600.0;

/// A fix may be younger than the picture by this, one sigma in seconds: stamps are cut, exposures start late.
const YOUNGER_S: f64 = 0.7;

/// Chance that the GPS times of a body mean something else: local time in the wrong field, edited headers.
const WRONG: f64 = 1e-3;

/// The bound that a body's GPS times set on its clock.
#[derive(Clone, Copy, Debug)]
pub(super) struct GpsBound {
    /// Largest clock error they allow: camera reading as UTC, minus UTC, in seconds.
    most_s: f64,
    /// Share of stale fixes, where several of them show that the receiver renews them.
    stale_share: Option<f64>,
    /// Frames with a GPS time.
    pub(super) frames: u32,
}

impl GpsBound {
    /// The bound, where a frame has a GPS time.
    pub(super) fn of(frames: &[ClockFrame]) -> Option<Self> {
        let mut ages: Vec<f64> = frames
            .iter()
            .filter(|frame| !changed::is_changed(frame))
            .filter_map(|frame| {
                let reading = frame.stamp?.time.read_as_utc();
                let cut_s = if frame.stamp?.has_subsec { 0.0 } else { 0.5 };
                Some(reading.seconds_since(frame.gps_utc?) + cut_s)
            })
            .filter(|age| age.is_finite())
            .collect();
        ages.sort_by(f64::total_cmp);
        let most_s = *ages.first()?;
        let renewed = ages[ages.len() / 2] - most_s > RENEWED_S;
        let share = if renewed {
            STALE_SHARE.1
        } else {
            STALE_SHARE.0
        };
        Some(Self {
            most_s,
            stale_share: (different_fixes(frames) >= SEVERAL).then_some(share),
            frames: ages.len() as u32,
        })
    }

    /// Log of how likely a clock error is by the bound, up to a constant.
    pub(super) fn log(&self, tau_s: f64) -> f64 {
        let age_s = self.most_s - tau_s;
        let chance = if age_s < 0.0 {
            (-0.5 * (age_s / YOUNGER_S).powi(2)).exp()
        } else if let Some(share) = self.stale_share {
            let fall = |scale_s: f64| (-age_s / scale_s).exp() * FRESH_S / scale_s;
            (1.0 - share) * fall(FRESH_S) + share * fall(STALE_S)
        } else {
            // A scale that is not known: the density falls as one over the age.
            FRESH_S / (FRESH_S + age_s) * (-age_s / OLDEST_S).exp()
        };
        (WRONG * FRESH_S / STALE_S + (1.0 - WRONG) * chance).ln()
    }

    /// The largest error allowed.
    pub(super) fn most_s(&self) -> f64 {
        self.most_s
    }
}

fn different_fixes(frames: &[ClockFrame]) -> usize {
    let mut fixes: Vec<Utc> = frames.iter().filter_map(|frame| frame.gps_utc).collect();
    fixes.sort();
    fixes.dedup();
    fixes.len()
}
