//! The zone a camera's clock was set to: what the header says, else what the person says, else the zone of the place.

use std::collections::BTreeMap;

use crate::domain::{NamedOffset, Shot, Site, Utc, ZoneReading, ZoneSource};
pub use crate::domain::{Zone, ZoneError};

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
