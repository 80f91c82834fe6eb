//! Zones of civil time.

use std::str::FromStr;

use jiff::tz::{Offset, TimeZone};

use super::clock_words::offset_text;
use super::time::Utc;

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

impl Zone {
    /// Local minus UTC at an instant, in seconds.
    pub fn offset_s(&self, at: Utc) -> i32 {
        self.rules.to_offset(at.timestamp()).seconds()
    }

    /// The rules of a zone as a record names it; UTC where it names none that can be read.
    pub fn rules_of(name: Option<&str>) -> TimeZone {
        let zone = name.and_then(|name| name.parse::<Self>().ok());
        zone.map_or(TimeZone::UTC, |zone| zone.rules)
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn records_name_zones_either_way() {
        let t: Utc = Utc::new("2019-07-02T20:38:12Z".parse().unwrap());
        for (zone, hour) in [
            (Some("America/Santiago"), 16),
            (Some(" -04:00 "), 16),
            (Some("+5:30"), 2),
            (Some("nowhere"), 20),
            (None, 20),
        ] {
            let local = Zone::rules_of(zone).to_datetime(t.timestamp());
            assert_eq!(local.hour(), hour, "{zone:?}");
        }
    }
}
