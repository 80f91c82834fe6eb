//! Names the part of the eclipse each shot belongs to.
//!
//! A shot's time is the start of its exposure on the corrected clock. Where the clock's uncertainty reaches across a
//! contact the shot still gets the likelier phase, and [`TaggedShot::near_contact`] names the contact in doubt.
//! [`zone`] decides what zone a camera's clock was set to, and never in silence.

mod day;
mod odd;
mod windows;
pub mod zone;

use std::collections::BTreeMap;

pub use odd::odd;
pub use windows::PhaseWindows;

use crate::domain::{
    CameraId, ClockCorrection, ContactEvent, ContactKind, Contacts, Flag, Flags, Phase, Shot,
    TaggedShot, Utc,
};

/// The clock of each body; `None` stands for shots whose header names no body.
pub type Clocks = BTreeMap<Option<CameraId>, ClockCorrection>;

/// How many sigmas to either side of a shot's time may touch a contact, or the edge of its window, before the shot is called
/// near it.
///
/// Three: a phase that is told without a word of doubt is wrong no more than a few times in a thousand (our choice; it costs
/// some frames of a well-known clock a doubt they need not have).
pub const NEAR_CONTACT_SIGMAS: f64 = 3.0;

/// Gives each shot its true time and its phase; the list keeps its order and length.
///
/// `contacts` are those of the place, `windows` the widths of the phases around second and third contact. A shot
/// without a capture time, or of a body that has no clock in `clocks`, has no time and is [`Phase::Untimed`]; one of
/// another day at the place is [`Phase::Unrelated`]: more than three hours outside C1 to C4 and on another date by local mean
/// time. `Unreadable` is never given here: whoever opens the file knows that.
pub fn tag(
    shots: &[Shot],
    clocks: &Clocks,
    contacts: &Contacts,
    windows: &PhaseWindows,
) -> Vec<TaggedShot> {
    shots
        .iter()
        .map(|shot| tag_one(shot, clocks.get(&shot.camera), contacts, windows))
        .collect()
}

fn tag_one(
    shot: &Shot,
    clock: Option<&ClockCorrection>,
    contacts: &Contacts,
    windows: &PhaseWindows,
) -> TaggedShot {
    let timed = clock.and_then(|clock| Some(clock.utc_of(shot.stamp.as_ref()?)));
    let (utc, utc_sigma_s) = timed.unzip();
    TaggedShot {
        shot: shot.clone(),
        utc,
        utc_sigma_s,
        phase: utc.map_or(Phase::Untimed, |utc| at(utc, contacts, windows)),
        near_contact: timed.and_then(|(utc, sigma_s)| near(utc, sigma_s, contacts, windows)),
    }
}

/// The phase at an instant.
pub fn at(utc: Utc, contacts: &Contacts, windows: &PhaseWindows) -> Phase {
    if day::is_another(utc, contacts) {
        Phase::Unrelated
    } else {
        windows.phase(utc, contacts)
    }
}

/// The phases between two instants, in order, each once a stretch; that of `from` alone where `to` is not later.
pub fn between(
    from: Utc,
    to: Utc,
    contacts: &Contacts,
    windows: &PhaseWindows,
) -> Vec<(Phase, f64)> {
    let length_s = to.seconds_since(from);
    if length_s <= 0.0 {
        return vec![(at(from, contacts, windows), 0.0)];
    }
    let mut edges_s: Vec<f64> = contacts
        .events()
        .flat_map(|event| {
            let own_s = event.utc.seconds_since(from);
            let edges_s = windows.edges_s(event.kind, contacts.kind);
            edges_s.map(|edge_s| own_s + edge_s)
        })
        .filter(|edge_s| *edge_s > 0.0 && *edge_s < length_s)
        .chain([0.0, length_s])
        .collect();
    edges_s.sort_by(f64::total_cmp);
    let mut phases: Vec<(Phase, f64)> = Vec::new();
    for pair in edges_s.windows(2).filter(|pair| pair[1] > pair[0]) {
        let phase = at(from.plus_s(0.5 * (pair[0] + pair[1])), contacts, windows);
        match phases.last_mut() {
            Some((last, lasts_s)) if *last == phase => *lasts_s += pair[1] - pair[0],
            _ => phases.push((phase, pair[1] - pair[0])),
        }
    }
    phases
}

/// The contact an instant known to `sigma_s` (one sigma, seconds) may lie on either side of, or of the edge of its window:
/// the nearest in sigmas where there are several.
///
/// The contact's own uncertainty is added in quadrature; the doubt reaches [`NEAR_CONTACT_SIGMAS`] of the sum.
/// Maximum is no contact. `None` also for sigmas that are not numbers.
pub fn near(
    utc: Utc,
    sigma_s: f64,
    contacts: &Contacts,
    windows: &PhaseWindows,
) -> Option<ContactKind> {
    let sigmas_away = |event: &ContactEvent, edge_s: f64| {
        let width_s = sigma_s.hypot(event.sigma_s);
        (utc.seconds_since(event.utc) - edge_s).abs() / width_s.max(f64::MIN_POSITIVE)
    };
    contacts
        .events()
        .filter(|event| event.kind != ContactKind::Maximum)
        .flat_map(|event| {
            let edges_s = windows.edges_s(event.kind, contacts.kind);
            edges_s.map(|edge_s| (event.kind, sigmas_away(event, edge_s)))
        })
        .filter(|(_, away)| *away <= NEAR_CONTACT_SIGMAS)
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(kind, _)| kind)
}

/// The flags that follow from the tag alone: `no-time`.
pub fn flags(tagged: &TaggedShot) -> Flags {
    tagged
        .utc
        .is_none()
        .then_some(Flag::NoTime)
        .into_iter()
        .collect()
}
