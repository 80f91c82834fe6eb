//! Where the picture was taken.

use exif::Tag;

use super::stamp;
use super::tags::Tags;
use crate::domain::{CameraStamp, GpsFix, Notice, NoticeKind, Utc};

/// Heights taken as real, in metres: as for a site.
const ELEV_M: (f64, f64) = (-500.0, 9_000.0);

/// A fix dated farther than this from the picture is pointed out, in days.
const STALE_FIX_DAYS: i32 = 2;

/// The position fix of a header.
///
/// Absent when a part of it is missing or impossible: no N/S or E/W, minutes or seconds of 60 and more, a latitude
/// beyond 90 or a longitude beyond 180 degrees, a receiver that says it had no fix (GPSStatus `V`), or exactly 0, 0, the
/// mark of a receiver that never had one. The time is absent without a proper date.
pub(super) fn read(
    tags: &Tags,
    stamp: Option<&CameraStamp>,
    name: &str,
    notices: &mut Vec<Notice>,
) -> Option<GpsFix> {
    if tags
        .text(Tag::GPSStatus)
        .is_some_and(|s| s.starts_with('V'))
    {
        return None;
    }
    let lat_deg = angle(
        tags,
        Tag::GPSLatitude,
        Tag::GPSLatitudeRef,
        ["N", "S"],
        90.0,
    )?;
    let lon_deg = angle(
        tags,
        Tag::GPSLongitude,
        Tag::GPSLongitudeRef,
        ["E", "W"],
        180.0,
    )?;
    if lat_deg.abs().max(lon_deg.abs()) < f64::EPSILON {
        return None;
    }
    let utc = time(tags);
    if let (Some(utc), Some(stamp)) = (utc, stamp) {
        point_out_stale(utc, stamp, name, notices);
    }
    Some(GpsFix {
        lat_deg,
        lon_deg,
        elev_m: height(tags),
        utc,
    })
}

/// Degrees, minutes and seconds with a hemisphere, the second of which is negative.
fn angle(
    tags: &Tags,
    value: Tag,
    hemisphere: Tag,
    [plus, minus]: [&str; 2],
    most: f64,
) -> Option<f64> {
    let parts = tags.numbers(value);
    let degrees = *parts.first()?;
    let minutes = parts.get(1).copied().unwrap_or(0.0);
    let seconds = parts.get(2).copied().unwrap_or(0.0);
    let below_60 = |v: f64| (0.0..60.0).contains(&v);
    let size = degrees + minutes / 60.0 + seconds / 3600.0;
    if degrees < 0.0 || !below_60(minutes) || !below_60(seconds) || size > most {
        return None;
    }
    let hemisphere = tags.text(hemisphere)?;
    if hemisphere.eq_ignore_ascii_case(plus) {
        Some(size)
    } else {
        hemisphere.eq_ignore_ascii_case(minus).then_some(-size)
    }
}

/// GPSAltitude with its reference (odd: below; Exif 2.32 and 3.0, tag 0x0005).
fn height(tags: &Tags) -> Option<f64> {
    let size = tags.number(Tag::GPSAltitude).filter(|h| *h >= 0.0)?;
    let below = tags
        .whole_number(Tag::GPSAltitudeRef)
        .is_some_and(|r| r % 2 == 1);
    let elev_m = if below { -size } else { size };
    (ELEV_M.0..=ELEV_M.1).contains(&elev_m).then_some(elev_m)
}

/// GPSDateStamp and GPSTimeStamp together.
fn time(tags: &Tags) -> Option<Utc> {
    let text = tags.text(Tag::GPSDateStamp)?;
    let mut fields = text.split(|c: char| !c.is_ascii_digit());
    let date = stamp::date(fields.next()?, fields.next()?, fields.next()?)?;
    let [hours, minutes, seconds] = tags.numbers(Tag::GPSTimeStamp)[..] else {
        return None;
    };
    let real = (0.0..24.0).contains(&hours)
        && (0.0..60.0).contains(&minutes)
        && (0.0..=60.0).contains(&seconds);
    let midnight =
        jiff::tz::TimeZone::UTC.to_timestamp(date.to_datetime(jiff::civil::Time::midnight()));
    let midnight = Utc::new(midnight.ok()?);
    real.then(|| midnight.plus_s(hours * 3600.0 + minutes * 60.0 + seconds))
}

/// A fix of another day: the receiver kept an old place, or the camera's date is wrong. Both are kept as written.
fn point_out_stale(utc: Utc, stamp: &CameraStamp, name: &str, notices: &mut Vec<Notice>) {
    let days = (utc.seconds_since(stamp.time.read_as_utc()) / 86_400.0).abs();
    if days > f64::from(STALE_FIX_DAYS) {
        notices.push(Notice::look(NoticeKind::GpsTimeAway { days }).about(name));
    }
}
