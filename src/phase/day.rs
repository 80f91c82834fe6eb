//! Whether a shot belongs to the day of the eclipse.

use crate::domain::{Contacts, Utc};

/// Shots no farther than this outside C1 to C4, in seconds, are of the day whatever the date: three hours (our choice:
/// setting up and packing away).
const ALWAYS_OF_THE_DAY_S: f64 = 3.0 * 3600.0;

/// Seconds in a day.
const DAY_S: f64 = 86_400.0;

/// Whether an instant is of another day: more than three hours outside C1 to C4, and on a date that none of C1 to C4
/// falls on. Dates are by local mean time at the place (longitude at 15 degrees an hour), so that no zone is needed.
pub(super) fn is_another(utc: Utc, contacts: &Contacts) -> bool {
    let early_s = contacts.c1.utc.seconds_since(utc);
    let late_s = utc.seconds_since(contacts.c4.utc);
    if early_s.max(late_s) <= ALWAYS_OF_THE_DAY_S {
        return false;
    }
    let day = |utc: Utc| {
        let mean_time_s = utc.unix_s() + contacts.site.lon_deg / 360.0 * DAY_S;
        (mean_time_s / DAY_S).floor()
    };
    day(utc) < day(contacts.c1.utc) || day(utc) > day(contacts.c4.utc)
}
