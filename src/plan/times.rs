//! Local times, directions in words, and the moments of the day.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Serialize;

use crate::domain::{ContactKind, Contacts, LocalKind, SunMoon, Utc};
use crate::ephemeris::air_mass;

/// Sun's altitude in degrees, refraction included, below which its upper limb is under a flat horizon: its radius of
/// about 0.27 degrees.
pub const SUN_UP_DEG: f64 = -0.27;

/// Degrees a fist spans at arm's length (common practice).
pub const FIST_DEG: f64 = 10.0;

/// Seconds between partials (common practice: every five minutes, a minute either way does no harm).
pub const PARTIAL_EVERY_S: f64 = 300.0;

/// How a time is cut to whole seconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Rounding {
    /// To the nearest second.
    Nearest,
    /// Never earlier than the instant.
    Up,
    /// Never later than the instant.
    Down,
}

/// `HH:MM:SS` in a zone.
pub fn clock_time(utc: Utc, zone: &TimeZone, rounding: Rounding) -> String {
    let ns = utc.timestamp().as_nanosecond();
    let ns_per_s = 1_000_000_000;
    let seconds = match rounding {
        Rounding::Nearest => (ns + ns_per_s / 2).div_euclid(ns_per_s),
        Rounding::Up => (ns + ns_per_s - 1).div_euclid(ns_per_s),
        Rounding::Down => ns.div_euclid(ns_per_s),
    };
    let held = i64::try_from(seconds)
        .ok()
        .and_then(|s| Timestamp::from_second(s).ok());
    let shown = zone.to_datetime(held.unwrap_or(utc.timestamp()));
    shown.strftime("%H:%M:%S").to_string()
}

/// The date in a zone, `YYYY-MM-DD`.
pub fn calendar_date(utc: Utc, zone: &TimeZone) -> String {
    zone.to_datetime(utc.timestamp()).date().to_string()
}

/// One of 16 compass points, "NNE", for an azimuth in degrees from north through east.
pub fn compass_point(az_deg: f64) -> &'static str {
    const POINTS: [&str; 16] = [
        "N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW",
        "NW", "NNW",
    ];
    POINTS[(az_deg.rem_euclid(360.0) / 22.5).round() as usize % 16]
}

/// A partial to shoot.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PartialLine {
    /// When.
    pub utc: Utc,
    /// When, in local time.
    pub local: String,
    /// Altitude of the Sun in degrees, refraction included.
    pub sun_alt_deg: f64,
    /// Azimuth of the Sun in degrees from north through east.
    pub sun_az_deg: f64,
    /// Compass point of the azimuth.
    pub compass: &'static str,
    /// Covered fraction of the Sun's area.
    pub obscuration: f64,
    /// Stops more than under a high Sun, for the thicker air.
    pub low_sun_stops: f64,
    /// Stops more than under a high Sun in hazy air.
    pub hazy_stops: f64,
    /// Shutter to start from in clear air, through the filter.
    pub shutter: String,
    /// The same in hazy air.
    pub hazy_shutter: String,
    /// Whether the measured horizon hides the Sun then, wholly or in part.
    pub behind_horizon: bool,
    /// Longest shutter worth trying on a narrow crescent, whose limb is darker; `None` on wider ones.
    pub crescent_shutter: Option<String>,
}

/// Seconds about second and third contact that belong to beads and ring: no partial is due in them (our choice: the last minute
/// before totality is for the hand at the filter).
const CLEAR_OF_CONTACT_S: f64 = 60.0;

/// Moments a partial is due: every five minutes from first contact to last, with the Sun's centre above the horizon, none within
/// totality, nor within a minute of second or third contact; the maximum of a partial or annular eclipse besides.
pub(super) fn partial_moments(contacts: &Contacts, sky: &dyn Fn(Utc) -> SunMoon) -> Vec<SunMoon> {
    let span_s = contacts.c4.utc.seconds_since(contacts.c1.utc);
    let count = (span_s / PARTIAL_EVERY_S).floor().clamp(0.0, 100.0) as u32;
    let mut moments: Vec<Utc> = (0..=count)
        .map(|n| contacts.c1.utc.plus_s(f64::from(n) * PARTIAL_EVERY_S))
        .collect();
    moments.push(contacts.c4.utc);
    let central = contacts.c2.zip(contacts.c3).map(|(a, b)| (a.utc, b.utc));
    moments.retain(|t| {
        central.is_none_or(|(start, end)| {
            start.seconds_since(*t) >= CLEAR_OF_CONTACT_S
                || t.seconds_since(end) >= CLEAR_OF_CONTACT_S
        })
    });
    if contacts.kind != LocalKind::Total {
        moments.push(contacts.maximum.utc);
    }
    moments.sort();
    moments.dedup_by(|a, b| a.seconds_since(*b).abs() < 1.0);
    moments
        .into_iter()
        .map(sky)
        .filter(|s| s.sun_alt_refracted_deg > 0.0)
        .collect()
}

/// A moment of a countdown.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CountdownLine {
    /// Seconds from the contact; negative before it.
    pub from_contact_s: f64,
    /// When.
    pub utc: Utc,
    /// When, in local time.
    pub local: String,
    /// What to do.
    pub action: String,
    /// Whether the measured horizon hides the Sun then, wholly or in part.
    pub behind_horizon: bool,
}

/// The countdown to one contact.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Countdown {
    /// The contact.
    pub contact: ContactKind,
    /// Its moments in time order.
    pub lines: Vec<CountdownLine>,
}

/// Seconds from the contact and what to do then.
type Step = (f64, &'static str);

const TO_C1: [Step; 4] = [
    (
        -600.0,
        "Filter on, focus on the limb or a spot, clock set against GPS",
    ),
    (
        -120.0,
        "One frame of the whole Sun; check level and sharpness",
    ),
    (-30.0, "Sun in the frame, release in hand"),
    (0.0, "First contact: first partial"),
];

const TO_C2: [Step; 6] = [
    (-1200.0, "Check focus again: the air has cooled"),
    (-600.0, "Aim; set the totality bracket, filter still on"),
    (-120.0, "Aim for the last time; nobody touches the focus"),
    (-60.0, "Filter still on; hand at the filter"),
    (-30.0, "Thin crescent, viewers on"),
    (-10.0, "Ready"),
];

const AT_C2: Step = (
    0.0,
    "TOTALITY, last bead gone: filter off the lens now, not before",
);

/// The lens is uncovered already, by the photographer's choice: what is left is for the eyes.
const AT_C2_UNCOVERED: Step = (0.0, "TOTALITY, last bead gone: viewers off now, not before");

/// The contacts are less sure than totality is long: the clock gives no order.
const AT_C2_DOUBTED: Step = (
    0.0,
    "Predicted start, too uncertain to act on: go by the beads alone",
);

const TO_C3: [Step; 3] = [
    (-30.0, "Hand at the filter; last long exposures end"),
    (
        -10.0,
        "Shortest shutter, for the beads; eyes away from every finder",
    ),
    (0.0, "SUN RETURNS: filter on, viewers on"),
];

const AT_C3_UNCOVERED: Step = (
    0.0,
    "SUN RETURNS: viewers on; the lens keeps on for the ring as you chose",
);

const AT_C3_DOUBTED: Step = (
    0.0,
    "Predicted end, as uncertain: filter and viewers on at the first bead",
);

const TO_C2_ANNULAR: [Step; 5] = [
    (-600.0, "Aim; check focus through the filter"),
    (-120.0, "Aim for the last time"),
    (-15.0, "Burst through the filter: beads along the limb"),
    (0.0, "Annularity begins; the filter stays on"),
    (15.0, "Burst ends"),
];

const TO_C3_ANNULAR: [Step; 3] = [
    (-15.0, "Burst through the filter: beads along the limb"),
    (0.0, "Annularity ends; the filter stays on"),
    (15.0, "Burst ends"),
];

const TO_MAXIMUM_PARTIAL: [Step; 2] = [
    (-120.0, "Aim; check focus through the filter"),
    (0.0, "Maximum: the deepest partial; the filter stays on"),
];

const TO_MAXIMUM_ANNULAR: [Step; 1] = [(
    0.0,
    "Maximum: the ring at its most even; the filter stays on",
)];

const TO_C4: [Step; 2] = [
    (0.0, "Last contact"),
    (120.0, "One frame of the whole Sun, filter on; then pack"),
];

/// How the lens's filter is handled around totality.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum FilterCourse {
    /// No totality is seen: it stays on throughout.
    StaysOn,
    /// Off at second contact, on at third.
    AtContacts,
    /// Off this many seconds before second contact and on as many after third, by the photographer's choice.
    Early(f64),
    /// The contacts are less sure than totality is long.
    Doubted,
}

/// The countdowns of the day; contacts with the Sun down are left out. The partials named in them are those of `partials`.
pub(super) fn countdowns(
    contacts: &Contacts,
    course: FilterCourse,
    partials: &[PartialLine],
    zone: &TimeZone,
) -> Vec<Countdown> {
    contacts
        .events()
        .filter(|event| event.sun_up)
        .filter_map(|event| {
            let steps = steps_to(event.kind, contacts, course);
            let mut lines: Vec<CountdownLine> = steps
                .into_iter()
                .map(|step| line(event.kind, event.utc, step, zone))
                .collect();
            lines.extend(partial_beside(event.kind, contacts, partials));
            lines.retain(|line| belongs(line, event.kind, contacts));
            lines.sort_by_key(|line| line.utc);
            (!lines.is_empty()).then_some(Countdown {
                contact: event.kind,
                lines,
            })
        })
        .collect()
}

/// What is done around one contact.
fn steps_to(kind: ContactKind, contacts: &Contacts, course: FilterCourse) -> Vec<Step> {
    use FilterCourse::{AtContacts, Doubted, Early, StaysOn};
    let with = |steps: &[Step], more: &[Step]| [steps, more].concat();
    match (kind, course) {
        (ContactKind::C1, _) => TO_C1.to_vec(),
        (ContactKind::C2, StaysOn) => TO_C2_ANNULAR.to_vec(),
        (ContactKind::C2, AtContacts) => with(&TO_C2, &[AT_C2]),
        (ContactKind::C2, Doubted) => with(&TO_C2[..4], &[AT_C2_DOUBTED]),
        (ContactKind::C2, Early(early_s)) => with(
            &TO_C2[..4],
            &[
                (
                    -early_s,
                    "Filter off the lens, as you chose; viewers stay on, no eye at a finder",
                ),
                AT_C2_UNCOVERED,
            ],
        ),
        (ContactKind::C3, StaysOn) => TO_C3_ANNULAR.to_vec(),
        (ContactKind::C3, AtContacts) => TO_C3.to_vec(),
        (ContactKind::C3, Doubted) => vec![AT_C3_DOUBTED],
        (ContactKind::C3, Early(late_s)) => with(
            &TO_C3[1..2],
            &[AT_C3_UNCOVERED, (late_s, "Filter on the lens")],
        ),
        (ContactKind::C4, _) => TO_C4.to_vec(),
        (ContactKind::Maximum, _) => match contacts.kind {
            LocalKind::Total => Vec::new(),
            LocalKind::Annular => TO_MAXIMUM_ANNULAR.to_vec(),
            LocalKind::Partial | LocalKind::None => TO_MAXIMUM_PARTIAL.to_vec(),
        },
    }
}

/// The partial of the table that stands next to a contact: the last before second contact, the first after third, the last of all.
fn partial_beside(
    kind: ContactKind,
    contacts: &Contacts,
    partials: &[PartialLine],
) -> Option<CountdownLine> {
    let (contact, found, action) = match kind {
        ContactKind::C2 => {
            let c2 = contacts.c2?.utc;
            let last = partials.iter().rev().find(|p| p.utc < c2);
            (
                c2,
                last,
                "Last five-minute partial; card and battery checked",
            )
        }
        ContactKind::C3 => {
            let c3 = contacts.c3?.utc;
            let first = partials.iter().find(|p| p.utc > c3);
            (c3, first, "First five-minute partial of the egress")
        }
        ContactKind::C4 => {
            let c4 = contacts.c4.utc;
            let last = partials.iter().rev().find(|p| p.utc < c4);
            (c4, last, "Last five-minute partial before it")
        }
        ContactKind::C1 | ContactKind::Maximum => return None,
    };
    let partial = found?;
    Some(CountdownLine {
        from_contact_s: partial.utc.seconds_since(contact),
        utc: partial.utc,
        local: partial.local.clone(),
        action: action.to_owned(),
        behind_horizon: partial.behind_horizon,
    })
}

/// Whether a line stands on its contact's own side of the neighbouring ones, so that two countdowns never cross.
fn belongs(line: &CountdownLine, kind: ContactKind, contacts: &Contacts) -> bool {
    let after = |event: Option<Utc>| event.is_none_or(|utc| line.utc > utc);
    let before = |event: Option<Utc>| event.is_none_or(|utc| line.utc < utc);
    let (c2, c3) = (contacts.c2.map(|c| c.utc), contacts.c3.map(|c| c.utc));
    match kind {
        ContactKind::C1 => true,
        ContactKind::C2 => after(Some(contacts.c1.utc)) && before(c3),
        ContactKind::Maximum => after(Some(contacts.c1.utc)) && after(c2) && before(c3),
        ContactKind::C3 => after(c2) && before(Some(contacts.c4.utc)),
        ContactKind::C4 => after(c3),
    }
}

/// One line; moments in which an uncovered lens would be hurt are rounded to the safe side.
fn line(
    kind: ContactKind,
    contact: Utc,
    (from_contact_s, action): Step,
    zone: &TimeZone,
) -> CountdownLine {
    let utc = contact.plus_s(from_contact_s);
    let rounding = match kind {
        ContactKind::C2 => Rounding::Up,
        ContactKind::C3 => Rounding::Down,
        _ => Rounding::Nearest,
    };
    CountdownLine {
        from_contact_s,
        utc,
        local: clock_time(utc, zone, rounding),
        action: action.to_owned(),
        behind_horizon: false,
    }
}

/// Loss of light in one thickness of air, in magnitudes: a clear site at sea level (common practice, 0.15 to 0.3).
const AIR_MAG: f64 = 0.2;

/// The same in haze (common practice: half a magnitude; smoke and dust take more).
const HAZY_AIR_MAG: f64 = 0.5;

/// Stops of light lost to clear air below what a Sun 60 degrees high loses, at a refracted altitude in degrees.
///
/// 2.5 log10(2) = 0.753 magnitudes in a stop.
pub fn low_sun_stops(alt_deg: f64) -> f64 {
    stops_below_high_sun(alt_deg, AIR_MAG)
}

/// Stops of light lost to hazy air below what a Sun 60 degrees high loses in clear air, at a refracted altitude in degrees.
pub fn hazy_sun_stops(alt_deg: f64) -> f64 {
    stops_below_high_sun(alt_deg, HAZY_AIR_MAG)
}

fn stops_below_high_sun(alt_deg: f64, air_mag: f64) -> f64 {
    let lost_mag = air_mag * air_mass(alt_deg) - AIR_MAG * air_mass(60.0);
    (lost_mag / (2.5 * 2_f64.log10())).max(0.0)
}

impl PartialLine {
    /// "1/320 s", on a narrow crescent "1/320 s to 1/80 s".
    pub(super) fn shutter_words(&self) -> String {
        match &self.crescent_shutter {
            Some(longest) => format!("{} to {longest}", self.shutter),
            None => self.shutter.clone(),
        }
    }

    /// "1/200 s", or nothing where haze does not change the mark of the dial.
    pub(super) fn haze_words(&self) -> &str {
        if self.hazy_shutter == self.shutter {
            "the same"
        } else {
            &self.hazy_shutter
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_round_to_the_side_asked_for() {
        let t = Utc::new("2019-07-02T20:38:12.2Z".parse().unwrap());
        let zone = TimeZone::get("America/Santiago").unwrap();
        assert_eq!(clock_time(t, &zone, Rounding::Nearest), "16:38:12");
        assert_eq!(clock_time(t, &zone, Rounding::Up), "16:38:13");
        assert_eq!(clock_time(t.plus_s(0.7), &zone, Rounding::Down), "16:38:12");
    }

    #[test]
    fn the_compass_closes() {
        assert_eq!(compass_point(359.0), "N");
        assert_eq!(compass_point(0.0), "N");
        assert_eq!(compass_point(247.5), "WSW");
        assert_eq!(compass_point(-90.0), "W");
    }

    #[test]
    fn only_a_low_sun_costs_light() {
        assert!(low_sun_stops(70.0) < 1e-9);
        assert!((0.9..1.5).contains(&low_sun_stops(10.0)));
        assert!(low_sun_stops(-5.0).is_finite());
        // Half a magnitude an air mass: 0.5 x 5.6 - 0.2 x 1.15 magnitudes at 10 degrees, 3.4 stops.
        assert!((3.2..3.6).contains(&hazy_sun_stops(10.0)));
    }
}
