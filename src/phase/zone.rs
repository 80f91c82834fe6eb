//! The zone a camera's clock was set to: what the header says, else what the person says, else the zone of the place.

use std::collections::BTreeMap;
use std::str::FromStr;

use jiff::tz::{Offset, TimeZone};

use crate::domain::{NamedOffset, Shot, Site, Utc, ZoneReading, ZoneSource, offset_text};

/// Widest offset from UTC a zone may have, in seconds. Zones in use span -12 to +14 hours, those of the past -15:13 to +15:09 (IANA
/// time zone database): what lies beyond is a slip of the pen.
const MAX_OFFSET_S: i32 = 16 * 3600;

/// A zone as a person gives it: an IANA name or a fixed offset.
#[derive(Clone, Debug, PartialEq)]
pub struct Zone {
    /// The name as it will be shown: `America/Santiago` or `-04:00`.
    pub name: String,
    /// The rules behind it.
    pub rules: TimeZone,
}

/// A text that is no zone.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "cannot read the zone '{0}': it is an IANA name such as America/Santiago, or an offset such as -04:00 (local minus UTC)"
)]
pub struct ZoneError(
    /// What was given.
    pub String,
);

/// What was decided about one body's clock.
#[derive(Clone, Debug, PartialEq)]
pub struct ZoneChoice {
    /// Local minus UTC on the day, in seconds.
    pub offset_s: i32,
    /// Where it came from.
    pub source: ZoneSource,
    /// The same for the person to be told.
    pub reading: ZoneReading,
}

impl Zone {
    /// Local minus UTC at an instant, in seconds.
    pub fn offset_s(&self, at: Utc) -> i32 {
        self.rules.to_offset(at.timestamp()).seconds()
    }
}

impl FromStr for Zone {
    type Err = ZoneError;

    /// Reads an IANA name (any case), `UTC`, `Z`, or an offset `±HH`, `±HHMM`, `±HH:MM`.
    fn from_str(text: &str) -> Result<Self, ZoneError> {
        let wrong = || ZoneError(text.to_owned());
        let given = text.trim();
        if given.eq_ignore_ascii_case("z") {
            return Ok(fixed(0));
        }
        if given.starts_with(['+', '-', '\u{2212}']) {
            return offset_seconds(given).map(fixed).ok_or_else(wrong);
        }
        let rules = TimeZone::get(given).map_err(|_| wrong())?;
        let name = rules.iana_name().unwrap_or(given).to_owned();
        Ok(Self { name, rules })
    }
}

fn fixed(offset_s: i32) -> Zone {
    let offset = Offset::from_seconds(offset_s).unwrap_or(Offset::UTC);
    Zone {
        name: offset_text(offset_s),
        rules: TimeZone::fixed(offset),
    }
}

/// Seconds of a signed offset; `None` when it is not one.
fn offset_seconds(text: &str) -> Option<i32> {
    let negative = !text.starts_with('+');
    let digits: String = text.chars().skip(1).collect();
    let (hours, minutes) = match digits.split_once(':') {
        Some((h, m)) if m.len() == 2 => (h, m),
        Some(_) => return None,
        None if digits.len() == 4 && digits.is_ascii() => digits.split_at(2),
        None => (digits.as_str(), "00"),
    };
    let whole = |part: &str| {
        let plain = (1..=2).contains(&part.len()) && part.bytes().all(|b| b.is_ascii_digit());
        plain.then(|| part.parse::<i32>().ok()).flatten()
    };
    let (hours, minutes) = (whole(hours)?, whole(minutes)?);
    let seconds = hours * 3600 + minutes * 60;
    (minutes < 60 && seconds <= MAX_OFFSET_S).then_some(if negative { -seconds } else { seconds })
}

/// The civil zone of a place, from boundaries of the time-zone database bundled with the program; at sea the nautical
/// zone. `None` where no zone covers the place.
///
/// Source of the boundaries: timezone-boundary-builder by way of the `tzf-dist` data set (simplified: within a few
/// hundred metres of a border it may name the neighbour).
pub fn of_place(site: &Site) -> Option<Zone> {
    let finder = tzf_rs::EmbeddedFinder::new();
    finder.get_tz_name(site.lon_deg, site.lat_deg).parse().ok()
}

/// Decides the zone of one body's clock on the day of `at`, an instant of the eclipse.
///
/// `shots` are that body's shots. The offset most of them carry in their headers wins (of those taken within 36 hours
/// of `at`, where there are any); else `given`; else `place`; else UTC. The notice says which, and is one to look at
/// when nothing was known or when header and person disagree.
pub fn decide<'a>(
    shots: impl IntoIterator<Item = &'a Shot>,
    given: Option<&Zone>,
    place: Option<&Zone>,
    at: Utc,
) -> ZoneChoice {
    let header = header_offset(shots, at);
    match (header, given, place) {
        (Some(header), given, _) => by_header(header, given, at),
        (None, Some(zone), _) => ZoneChoice {
            offset_s: zone.offset_s(at),
            source: ZoneSource::Given,
            reading: ZoneReading::Given {
                zone: named(zone, at),
            },
        },
        (None, None, Some(zone)) => ZoneChoice {
            offset_s: zone.offset_s(at),
            source: ZoneSource::Place,
            reading: ZoneReading::Place {
                zone: named(zone, at),
            },
        },
        (None, None, None) => ZoneChoice {
            offset_s: 0,
            source: ZoneSource::Place,
            reading: ZoneReading::Nothing,
        },
    }
}

fn named(zone: &Zone, at: Utc) -> NamedOffset {
    NamedOffset {
        name: zone.name.clone(),
        offset_s: zone.offset_s(at),
    }
}

/// The header's word, with a remark where headers disagree among themselves or with the person.
fn by_header(header: HeaderOffset, given: Option<&Zone>, at: Utc) -> ZoneChoice {
    let overruled = given.filter(|zone| zone.offset_s(at) != header.offset_s);
    ZoneChoice {
        offset_s: header.offset_s,
        source: ZoneSource::Header,
        reading: ZoneReading::Headers {
            offset_s: header.offset_s,
            others: header.others,
            overruled: overruled.map(|zone| named(zone, at)),
        },
    }
}

/// The usual offset of a body's headers.
struct HeaderOffset {
    offset_s: i32,
    others: usize,
}

/// Shots this far from the eclipse, in seconds, still speak for the clock of the day.
const SAME_TRIP_S: f64 = 36.0 * 3600.0;

fn header_offset<'a>(shots: impl IntoIterator<Item = &'a Shot>, at: Utc) -> Option<HeaderOffset> {
    let stamps = shots
        .into_iter()
        .filter_map(|shot| shot.stamp.as_ref())
        .filter_map(|stamp| Some((stamp.time.read_as_utc(), stamp.offset_s?)));
    let (near, far): (Vec<_>, Vec<_>) = stamps.partition(|(clock, offset_s)| {
        let utc = clock.plus_s(-f64::from(*offset_s));
        utc.seconds_since(at).abs() <= SAME_TRIP_S
    });
    let heard = if near.is_empty() { far } else { near };
    let mut votes: BTreeMap<i32, usize> = BTreeMap::new();
    for (_, offset_s) in &heard {
        *votes.entry(*offset_s).or_default() += 1;
    }
    let (&offset_s, &most) = votes.iter().max_by_key(|&(_, &count)| count)?;
    Some(HeaderOffset {
        offset_s,
        others: heard.len() - most,
    })
}
