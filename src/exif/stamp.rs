//! When the picture was taken, on the camera's clock.

use exif::Tag;
use jiff::civil::{Date, DateTime, Time};

use super::tags::Tags;
use crate::domain::{CameraStamp, CameraTime, Notice, NoticeKind};

/// Largest offset from UTC of any zone, with room to spare, in minutes.
const MAX_OFFSET_MIN: i32 = 15 * 60;

/// The capture time: DateTimeOriginal, else DateTimeDigitized, else DateTime (with a notice: that one is the time of the
/// last change), each with its own sub-seconds and offset.
///
/// Absent where the text is blank, is no date (year 0000, month 13), or is one of the placeholders 1904-01-01,
/// 1970-01-01 and 1980-01-01 at midnight exactly, which software writes for "not known". Other dates of unset clocks
/// (2000-01-01 at noon, say) are readings of a running clock and are kept.
pub(super) fn read(tags: &Tags, name: &str, notices: &mut Vec<Notice>) -> Option<CameraStamp> {
    let original = || {
        stamp(tags, Tag::DateTimeOriginal, Tag::SubSecTimeOriginal, || {
            offset(tags, Tag::OffsetTimeOriginal).or_else(|| offset_of_last_change(tags))
        })
    };
    let digitized = || {
        stamp(
            tags,
            Tag::DateTimeDigitized,
            Tag::SubSecTimeDigitized,
            || offset(tags, Tag::OffsetTimeDigitized),
        )
    };
    let changed = || {
        stamp(tags, Tag::DateTime, Tag::SubSecTime, || {
            offset(tags, Tag::OffsetTime)
        })
    };
    if let Some(found) = original() {
        return Some(found);
    }
    let (found, tag) = digitized()
        .map(|found| (found, "DateTimeDigitized"))
        .or_else(|| changed().map(|found| (found, "DateTime")))?;
    let tag = tag.to_owned();
    notices.push(Notice::note(NoticeKind::TimeOfAnotherTag { tag }).about(name));
    Some(found)
}

fn stamp(
    tags: &Tags,
    tag: Tag,
    subsec: Tag,
    offset_s: impl FnOnce() -> Option<i32>,
) -> Option<CameraStamp> {
    let whole = civil(&tags.text(tag)?)?;
    let subsec_ns = tags.text(subsec).and_then(|digits| nanoseconds(&digits));
    let time = whole
        .with()
        .subsec_nanosecond(subsec_ns.unwrap_or(0))
        .build()
        .ok()?;
    Some(CameraStamp {
        time: CameraTime::new(time),
        has_subsec: subsec_ns.is_some(),
        offset_s: offset_s(),
        of_change: tag == Tag::DateTime,
    })
}

/// OffsetTime belongs to DateTime; it holds for DateTimeOriginal too when both times are the same, for then nothing
/// was changed since the camera wrote them.
fn offset_of_last_change(tags: &Tags) -> Option<i32> {
    let same = tags.text(Tag::DateTime)? == tags.text(Tag::DateTimeOriginal)?;
    same.then(|| offset(tags, Tag::OffsetTime)).flatten()
}

/// `YYYY:MM:DD HH:MM:SS`; other punctuation between the same digits is let pass.
pub(super) fn civil(text: &str) -> Option<DateTime> {
    let fields: Vec<&str> = text
        .trim_end_matches('Z')
        .split(|c: char| !c.is_ascii_digit())
        .collect();
    let [year, month, day, hour, minute, second] = fields[..].first_chunk::<6>()?;
    let date = date(year, month, day)?;
    let time = Time::new(two(hour)?, two(minute)?, two(second)?, 0).ok()?;
    let read = date.to_datetime(time);
    let placeholder = time == Time::midnight()
        && date.month() == 1
        && date.day() == 1
        && matches!(date.year(), 1904 | 1970 | 1980);
    (!placeholder).then_some(read)
}

/// A date from its digits; `None` for year 0 and for days no month has.
pub(super) fn date(year: &str, month: &str, day: &str) -> Option<Date> {
    let year = (year.len() == 4).then(|| year.parse().ok()).flatten()?;
    (year > 0)
        .then(|| Date::new(year, two(month)?, two(day)?).ok())
        .flatten()
}

fn two(digits: &str) -> Option<i8> {
    (1..=2)
        .contains(&digits.len())
        .then(|| digits.parse().ok())
        .flatten()
}

/// Digits behind the decimal point to nanoseconds; further digits are cut off.
fn nanoseconds(digits: &str) -> Option<i32> {
    let all = !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit());
    let nine: String = digits
        .chars()
        .chain(std::iter::repeat('0'))
        .take(9)
        .collect();
    all.then(|| nine.parse().ok()).flatten()
}

/// `+HH:MM`, `-HH:MM` or `Z`, in seconds.
fn offset(tags: &Tags, tag: Tag) -> Option<i32> {
    offset_s(&tags.text(tag)?)
}

fn offset_s(text: &str) -> Option<i32> {
    if text == "Z" {
        return Some(0);
    }
    let (sign, rest) = match text.split_at_checked(1)? {
        ("+", rest) => (1, rest),
        ("-" | "\u{2212}", rest) => (-1, rest),
        _ => return None,
    };
    let (hours, minutes) = rest.split_once(':')?;
    let minutes = i32::from(two(hours)?) * 60 + i32::from(two(minutes).filter(|m| *m < 60)?);
    (minutes <= MAX_OFFSET_MIN).then_some(sign * minutes * 60)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_that_are_none_are_absent() {
        assert!(civil("2019:07:02 16:38:12").is_some());
        assert!(civil("2019-07-02T16:38:12Z").is_some());
        for none in [
            "0000:00:00 00:00:00",
            "1970:01:01 00:00:00",
            "1980:01:01 00:00:00",
            "2019:13:02 16:38:12",
            "2019:02:29 16:38:12",
            "2019:07:02 24:00:00",
            "2019:07:02 16:38:61",
            "    :  :     :  :  ",
            "2019:07:02",
            "19:07:02 16:38:12",
            "999999999:07:02 16:38:12",
            "",
            "é",
        ] {
            assert_eq!(civil(none), None, "{none:?}");
        }
    }

    #[test]
    fn a_running_unset_clock_is_kept() {
        assert!(civil("1970:01:01 00:07:31").is_some());
        assert!(civil("2000:01:01 00:00:00").is_some());
    }

    #[test]
    fn offsets_and_subseconds() {
        assert_eq!(offset_s("-04:00"), Some(-4 * 3600));
        assert_eq!(offset_s("+05:45"), Some(5 * 3600 + 45 * 60));
        assert_eq!(offset_s("Z"), Some(0));
        for none in ["   :  ", "", "+", "04:00", "+99:00", "+04:75", "+4", "é"] {
            assert_eq!(offset_s(none), None, "{none:?}");
        }
        assert_eq!(nanoseconds("07"), Some(70_000_000));
        assert_eq!(nanoseconds("1234567899"), Some(123_456_789));
        assert_eq!(nanoseconds("1x"), None);
    }
}
