//! When the Sun is up: frames that show it cannot be of the night.

use super::course::Course;
use crate::domain::{Contacts, SunMoon, Utc};

/// Seconds between rows of the table: the Sun rises or sinks by a degree and a quarter at most.
const STEP_S: f64 = 300.0;

/// The table runs this long before C1 and after C4, in seconds: clocks half a day off either way.
const REACH_S: f64 = 16.0 * 3600.0;

/// The Sun's centre is this high, in degrees with refraction, when its upper limb is on the horizon of a place that looks down
/// from a hill by a degree.
const LEAST_DEG: f64 = -1.5;

/// Heights of the Sun about the eclipse.
pub(super) struct Heights {
    from_s: f64,
    up: Vec<bool>,
}

impl Heights {
    /// The table; seconds are counted from the course's origin.
    pub(super) fn new(
        contacts: &Contacts,
        sky: &(dyn Fn(Utc) -> SunMoon + Sync),
        course: &Course,
    ) -> Self {
        let first = contacts.c1.utc.plus_s(-REACH_S);
        let length_s = contacts.c4.utc.seconds_since(first) + REACH_S;
        let count = (length_s / STEP_S).clamp(1.0, 1000.0) as usize;
        let is_up =
            |n: usize| sky(first.plus_s(n as f64 * STEP_S)).sun_alt_refracted_deg > LEAST_DEG;
        Self {
            from_s: first.seconds_since(course.origin()),
            up: (0..count).map(is_up).collect(),
        }
    }

    /// Whether the Sun is up; beyond the table anything may be.
    pub(super) fn is_up(&self, t_s: f64) -> bool {
        let row = ((t_s - self.from_s) / STEP_S).round();
        row < 0.0 || self.up.get(row as usize).copied().unwrap_or(true)
    }
}
