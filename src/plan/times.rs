//! Local times, directions in words, and the moments of the day.

use jiff::Timestamp;
use jiff::tz::TimeZone;
use serde::Serialize;

use crate::domain::{ContactKind, Contacts, SunMoon, Utc};
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
    /// Shutter to start from, through the filter.
    pub shutter: String,
    /// Longest shutter worth trying on a narrow crescent, whose limb is darker; `None` on wider ones.
    pub crescent_shutter: Option<String>,
}

/// Moments a partial is due: every five minutes from first contact to last, with the Sun up, none within totality or
/// annularity, and the maximum of a partial eclipse besides.
pub(super) fn partial_moments(contacts: &Contacts, sky: &dyn Fn(Utc) -> SunMoon) -> Vec<SunMoon> {
    let span_s = contacts.c4.utc.seconds_since(contacts.c1.utc);
    let count = (span_s / PARTIAL_EVERY_S).floor().clamp(0.0, 100.0) as u32;
    let mut moments: Vec<Utc> = (0..=count)
        .map(|n| contacts.c1.utc.plus_s(f64::from(n) * PARTIAL_EVERY_S))
        .collect();
    if contacts.c2.is_none() {
        moments.push(contacts.maximum.utc);
    }
    moments.push(contacts.c4.utc);
    moments.sort();
    moments.dedup_by(|a, b| a.seconds_since(*b).abs() < 1.0);
    let central = contacts.c2.zip(contacts.c3).map(|(a, b)| (a.utc, b.utc));
    moments.retain(|t| central.is_none_or(|(start, end)| *t < start || *t > end));
    moments
        .into_iter()
        .map(sky)
        .filter(|s| s.sun_alt_refracted_deg > SUN_UP_DEG)
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

const TO_C2: [Step; 8] = [
    (-1200.0, "Check focus again: the air has cooled"),
    (-600.0, "Aim; set the totality bracket, filter still on"),
    (-300.0, "Last five-minute partial; card and battery checked"),
    (-120.0, "Aim for the last time; nobody touches the focus"),
    (-60.0, "Filter still on; hand at the filter"),
    (-30.0, "Thin crescent, filter on; viewers on"),
    (-10.0, "Ready"),
    (
        0.0,
        "TOTALITY, last bead gone: filter off the lens now, not before",
    ),
];

const TO_C3: [Step; 4] = [
    (-30.0, "Hand at the filter; last long exposures end"),
    (-10.0, "Base shutter for beads; eyes away from every finder"),
    (0.0, "SUN RETURNS: filter on, viewers on"),
    (300.0, "First five-minute partial of the egress"),
];

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

const TO_C4: [Step; 3] = [
    (-300.0, "Last five-minute partial"),
    (0.0, "Last contact"),
    (120.0, "One frame of the whole Sun, filter on; then pack"),
];

/// The countdowns of the day; contacts with the Sun down are left out.
pub(super) fn countdowns(contacts: &Contacts, total_seen: bool, zone: &TimeZone) -> Vec<Countdown> {
    contacts
        .events()
        .filter(|event| event.sun_up)
        .filter_map(|event| {
            let central = contacts.c2.is_some();
            let steps: &[Step] = match event.kind {
                ContactKind::C1 => &TO_C1,
                ContactKind::C2 if total_seen => &TO_C2,
                ContactKind::C2 => &TO_C2_ANNULAR,
                ContactKind::C3 if total_seen => &TO_C3,
                ContactKind::C3 => &TO_C3_ANNULAR,
                ContactKind::C4 => &TO_C4,
                ContactKind::Maximum if central => return None,
                ContactKind::Maximum => &TO_MAXIMUM_PARTIAL,
            };
            let lines = steps
                .iter()
                .map(|step| line(event.kind, event.utc, *step, zone))
                .collect();
            Some(Countdown {
                contact: event.kind,
                lines,
            })
        })
        .collect()
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
    }
}

/// Loss of light in one thickness of air, in magnitudes: a clear site at sea level (common practice, 0.15 to 0.3).
const AIR_MAG: f64 = 0.2;

/// Stops of light lost to the air below what a Sun 60 degrees high loses, at a refracted altitude in degrees.
///
/// 2.5 log10(2) = 0.753 magnitudes in a stop.
pub fn low_sun_stops(alt_deg: f64) -> f64 {
    let extra = AIR_MAG * (air_mass(alt_deg) - air_mass(60.0)) / (2.5 * 2_f64.log10());
    extra.max(0.0)
}

impl PartialLine {
    /// "1/320 s", on a narrow crescent "1/320 s to 1/80 s".
    pub(super) fn shutter_words(&self) -> String {
        match &self.crescent_shutter {
            Some(longest) => format!("{} to {longest}", self.shutter),
            None => self.shutter.clone(),
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
    }
}
