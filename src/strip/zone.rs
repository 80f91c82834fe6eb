//! Local time for captions and comments.

use jiff::tz::{Offset, TimeZone};

use crate::catalogue::Catalogue;
use crate::domain::Utc;

/// An instant in the catalogue's zone to the nearest second, as `format` (strftime) says; in UTC where there is no zone that can be read.
pub(super) fn local_time(catalogue: &Catalogue, utc: Utc, format: &str) -> String {
    let zone = catalogue.zone.as_deref().and_then(zone_of);
    let zone = zone.unwrap_or(TimeZone::UTC);
    zone.to_datetime(utc.nearest_second().timestamp())
        .strftime(format)
        .to_string()
}

/// An IANA name or an offset such as `-04:00`.
fn zone_of(text: &str) -> Option<TimeZone> {
    let text = text.trim();
    if let Some(rest) = text.strip_prefix(['+', '-', '\u{2212}']) {
        let (hours, minutes) = rest.split_once(':').unwrap_or((rest, "0"));
        let seconds = hours.parse::<i32>().ok()? * 3_600 + minutes.parse::<i32>().ok()? * 60;
        let signed = if text.starts_with('+') {
            seconds
        } else {
            -seconds
        };
        return Offset::from_seconds(signed).ok().map(TimeZone::fixed);
    }
    TimeZone::get(text).ok()
}
