//! The Sun rising or setting while eclipsed.

use super::solve;
use crate::domain::{Contacts, SunMoon};
use crate::ephemeris::{EclipseView, RISE_SET_ALT_DEG};

/// Step of the search for a rise or set. Near the poles the Sun can dip for less and be missed; then it grazes the horizon.
const STEP_S: f64 = 120.0;

/// How much of C1 to C4 has the Sun up.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Visible {
    /// From C1 to C4.
    All,
    /// Some of it.
    Part,
    /// The Sun is down throughout.
    No,
}

/// Sunrise or sunset between C1 and C4: the upper limb on a flat horizon, refraction included.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HorizonCrossing {
    /// True for sunrise.
    pub rising: bool,
    /// Sun and Moon then.
    pub sky: SunMoon,
}

/// Sunrises and sunsets between C1 and C4, in time order.
pub fn crossings(view: &EclipseView, contacts: &Contacts) -> Vec<HorizonCrossing> {
    let since = |utc: crate::domain::Utc| utc.seconds_since(view.origin());
    let (begin, end) = (since(contacts.c1.utc), since(contacts.c4.utc));
    let height = |t: f64| view.sun_alt_deg(t) - RISE_SET_ALT_DEG;
    let steps = ((end - begin) / STEP_S).ceil().max(1.0) as usize;
    let mut found = Vec::new();
    for n in 0..steps {
        let a = begin + n as f64 * STEP_S;
        let b = (a + STEP_S).min(end);
        if (height(a) > 0.0) == (height(b) > 0.0) {
            continue;
        }
        if let Some(t) = solve::root(height, a, b) {
            found.push(HorizonCrossing {
                rising: height(b) > 0.0,
                sky: view.at(view.origin().plus_s(t)),
            });
        }
    }
    found
}

/// How much of the eclipse has the Sun up.
pub fn visible(contacts: &Contacts, crossings: &[HorizonCrossing]) -> Visible {
    let up = contacts.events().filter(|event| event.sun_up).count();
    if up == 0 && crossings.is_empty() {
        Visible::No
    } else if up == contacts.events().count() && crossings.is_empty() {
        Visible::All
    } else {
        Visible::Part
    }
}

/// The most covered Sun above the horizon: at maximum where that is up, else at the sunrise, sunset or contact with most of
/// it. Nothing when the Sun is down throughout.
pub fn best_seen(contacts: &Contacts, crossings: &[HorizonCrossing]) -> Option<SunMoon> {
    if contacts.maximum.sun_up {
        return Some(contacts.maximum.sky);
    }
    let events = contacts.events().filter(|event| event.sun_up);
    let skies = events
        .map(|event| event.sky)
        .chain(crossings.iter().map(|crossing| crossing.sky));
    skies.max_by(|a, b| a.obscuration.total_cmp(&b.obscuration))
}
