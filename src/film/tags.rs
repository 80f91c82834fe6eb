//! What cameras write about themselves into a film: make, model, and the time on their own clock.

use std::collections::BTreeMap;
use std::io::Cursor;

use exif::{Context, Exif, In, Reader, Tag, Value};
use jiff::civil::DateTime;

use crate::domain::{CameraId, CameraStamp, CameraTime, header_text};
use crate::raster::boxes;

/// Largest offset from UTC of any zone, with room to spare, in minutes.
const MAX_OFFSET_MIN: i32 = 15 * 60;

/// The tags of one film, from whichever place it keeps them in.
#[derive(Default)]
pub(super) struct Tags {
    texts: BTreeMap<String, String>,
    blocks: Vec<Exif>,
}

impl Tags {
    fn put(&mut self, key: &str, value: &[u8]) {
        if let Some(text) = header_text(value) {
            self.texts.entry(key.to_owned()).or_insert(text);
        }
    }

    /// A `meta` box: Apple's keys with their values, or the list of music players (QuickTime File Format, "Metadata"; checked on
    /// files of ffmpeg). QuickTime has the boxes at once, ISO/IEC 14496-12 behind four bytes of version.
    pub(super) fn add_meta(&mut self, body: &[u8]) {
        let body = match body.get(8..12) {
            Some(b"hdlr") => &body[4..],
            _ => body,
        };
        let of_kind = |wanted: &[u8; 4]| boxes(body).find(|(kind, _)| kind == wanted);
        let keys = of_kind(b"keys").map_or_else(Vec::new, |(_, keys)| key_names(keys));
        let Some((_, items)) = of_kind(b"ilst") else {
            return;
        };
        for (kind, item) in boxes(items) {
            let Some((_, data)) = boxes(item).find(|(kind, _)| kind == b"data") else {
                continue;
            };
            let number = (u32::from_be_bytes(kind) as usize).checked_sub(1);
            let name = number.and_then(|n| keys.get(n)).cloned();
            let name = name.unwrap_or_else(|| mac_roman_kind(kind));
            self.put(&name, data.get(8..).unwrap_or_default());
        }
    }

    /// User data: texts behind a length and a language (QuickTime File Format, "User data"), and blocks of makers.
    pub(super) fn add_user_data(&mut self, body: &[u8]) {
        for (kind, contents) in boxes(body) {
            match &kind {
                b"meta" => self.add_meta(contents),
                // Canon: a small JPEG with the tags of a photograph (from memory; no such film at hand).
                b"CNTH" => {
                    let jpeg = boxes(contents).find(|(kind, _)| kind == b"CNDA");
                    jpeg.into_iter()
                        .for_each(|(_, jpeg)| self.add_picture(jpeg));
                }
                [0xA9, ..] => {
                    let length = contents
                        .first_chunk::<2>()
                        .map_or(0, |l| usize::from(u16::from_be_bytes(*l)));
                    if let Some(text) = contents.get(4..4 + length) {
                        self.put(&mac_roman_kind(kind), text);
                    }
                }
                _ => {}
            }
        }
    }

    /// The tags of a picture inside the film.
    fn add_picture(&mut self, bytes: &[u8]) {
        let parsed = Reader::new()
            .continue_on_error(true)
            .read_from_container(&mut Cursor::new(bytes))
            .or_else(|e| e.distill_partial_result(|_| {}));
        self.blocks.extend(parsed);
    }

    /// A block of TIFF inside the film.
    pub(super) fn add_block(&mut self, bytes: &[u8]) {
        let parsed = Reader::new()
            .continue_on_error(true)
            .read_raw(bytes.to_vec())
            .or_else(|e| e.distill_partial_result(|_| {}));
        self.blocks.extend(parsed);
    }

    /// Sony: a text beside the film that names camera and time in its attributes (from memory; no such film at hand).
    pub(super) fn add_sony(&mut self, text: &[u8]) {
        let text = String::from_utf8_lossy(text);
        let attribute = |element: &str, name: &str| {
            let (_, rest) = text.split_once(&format!("<{element} "))?;
            let (inside, _) = rest.split_once('>')?;
            let (_, value) = inside.split_once(&format!("{name}=\""))?;
            Some(value.split_once('"')?.0.to_owned())
        };
        let found = [
            ("make", attribute("Device", "manufacturer")),
            ("model", attribute("Device", "modelName")),
            ("serial", attribute("Device", "serialNo")),
            ("created", attribute("CreationDate", "value")),
        ];
        for (key, value) in found {
            value
                .into_iter()
                .for_each(|value| self.put(key, value.as_bytes()));
        }
    }

    fn text(&self, keys: &[&str]) -> Option<&str> {
        let found = keys.iter().find_map(|key| self.texts.get(*key));
        found.map(String::as_str)
    }

    /// A text among the tags of a picture inside; Exif tags may stand among those of the first picture.
    fn exif_text(&self, tag: Tag) -> Option<String> {
        let plain = Tag(Context::Tiff, tag.number());
        let field = self.blocks.iter().find_map(|block| {
            block
                .get_field(tag, In::PRIMARY)
                .or_else(|| block.get_field(plain, In::PRIMARY))
        })?;
        let Value::Ascii(parts) = &field.value else {
            return None;
        };
        header_text(parts.first()?)
    }

    /// The camera, where a tag names one.
    pub(super) fn camera(&self) -> Option<CameraId> {
        let text = |tag: Tag, keys: &[&str]| {
            self.exif_text(tag)
                .or_else(|| self.text(keys).map(str::to_owned))
        };
        let make = text(
            Tag::Make,
            &[
                "com.apple.quicktime.make",
                "make",
                "\u{a9}mak",
                "com.android.manufacturer",
            ],
        );
        let model = text(
            Tag::Model,
            &[
                "com.apple.quicktime.model",
                "model",
                "\u{a9}mod",
                "com.android.model",
            ],
        );
        let serial = text(Tag::BodySerialNumber, &["serial"])
            .filter(|serial| serial.chars().any(|c| c.is_alphanumeric() && c != '0'));
        (make.is_some() || model.is_some()).then(|| CameraId {
            make: make.unwrap_or_default(),
            model: model.unwrap_or_default(),
            serial,
        })
    }

    /// The time on the camera's own clock, where a tag of its own has one.
    pub(super) fn stamp(&self) -> Option<CameraStamp> {
        let of_picture = || {
            let mut stamp = stamp(&self.exif_text(Tag::DateTimeOriginal)?)?;
            let zone = self.exif_text(Tag::OffsetTimeOriginal);
            stamp.offset_s = zone.and_then(|text| offset_s(&text)).or(stamp.offset_s);
            Some(stamp)
        };
        let of_texts = || {
            let keys = [
                "com.apple.quicktime.creationdate",
                "created",
                "\u{a9}day",
                "date",
            ];
            keys.iter().find_map(|key| stamp(self.texts.get(*key)?))
        };
        of_texts().or_else(of_picture)
    }

    /// Whether Android's own writer made the file.
    pub(super) fn by_android(&self) -> bool {
        self.texts.contains_key("com.android.version")
    }
}

/// Names in a `keys` box, in their order; items of the list call them by number from 1.
fn key_names(body: &[u8]) -> Vec<String> {
    boxes(body.get(8..).unwrap_or_default())
        .map(|(_, name)| String::from_utf8_lossy(name).into_owned())
        .collect()
}

/// A kind as text: the sign © is one byte of the Macintosh's alphabet.
fn mac_roman_kind(kind: [u8; 4]) -> String {
    kind.iter()
        .map(|byte| match byte {
            0xA9 => '\u{a9}',
            byte => char::from(*byte),
        })
        .collect()
}

/// Date and time of ISO 8601 or as Exif writes them, with the zone behind them where there is one; `None` for a date alone and for
/// years no film is of.
pub(super) fn stamp(text: &str) -> Option<CameraStamp> {
    let text = text.trim();
    let (date, rest) = text.split_at_checked(10)?;
    let rest = rest.strip_prefix(['T', ' '])?;
    let (time, rest) = rest.split_at_checked(8)?;
    let at = |text: &str, from: usize, to: usize| text.get(from..to)?.parse::<i16>().ok();
    let small = |value: i16| i8::try_from(value).ok();
    let whole = DateTime::new(
        at(date, 0, 4)?,
        small(at(date, 5, 7)?)?,
        small(at(date, 8, 10)?)?,
        small(at(time, 0, 2)?)?,
        small(at(time, 3, 5)?)?,
        small(at(time, 6, 8)?)?,
        0,
    );
    let whole = whole.ok().filter(|time| time.year() >= FIRST_YEAR)?;
    let (fraction, zone) = match rest.strip_prefix('.') {
        Some(rest) => {
            let end = rest
                .find(|c: char| !c.is_ascii_digit())
                .unwrap_or(rest.len());
            rest.split_at(end)
        }
        None => ("", rest),
    };
    let nine: String = fraction
        .chars()
        .chain(std::iter::repeat('0'))
        .take(9)
        .collect();
    let subsec_ns = nine.parse().ok()?;
    Some(CameraStamp {
        time: CameraTime::new(whole.with().subsec_nanosecond(subsec_ns).build().ok()?),
        has_subsec: !fraction.is_empty(),
        offset_s: offset_s(zone.trim()),
        of_change: false,
    })
}

/// No film is older: the first digital film cameras are of the nineties.
pub(super) const FIRST_YEAR: i16 = 1990;

/// `Z`, `±HH`, `±HHMM` or `±HH:MM`, in seconds.
fn offset_s(text: &str) -> Option<i32> {
    if text == "Z" {
        return Some(0);
    }
    let (sign, rest) = match text.split_at_checked(1)? {
        ("+", rest) => (1, rest),
        ("-", rest) => (-1, rest),
        _ => return None,
    };
    let digits: String = rest.chars().filter(|c| *c != ':').collect();
    let two = |part: Option<&str>| part.and_then(|p| p.parse::<u8>().ok()).map(i32::from);
    let (hours, minutes) = match digits.len() {
        2 => (two(digits.get(..2))?, 0),
        4 => (two(digits.get(..2))?, two(digits.get(2..))?),
        _ => return None,
    };
    let all = hours * 60 + minutes;
    (minutes < 60 && all <= MAX_OFFSET_MIN).then_some(sign * all * 60)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_with_and_without_a_zone() {
        let read = |text: &str| {
            let stamp = stamp(text)?;
            Some((stamp.time.to_string(), stamp.has_subsec, stamp.offset_s))
        };
        let some = |time: &str, sub, zone| Some((time.to_owned(), sub, zone));
        let whole = "2024-04-08T13:40:05";
        let cdt = Some(-5 * 3600);
        assert_eq!(read("2024-04-08T13:40:05-0500"), some(whole, false, cdt));
        assert_eq!(read("2024-04-08T13:40:05-05:00"), some(whole, false, cdt));
        assert_eq!(read("2024:04:08 13:40:05"), some(whole, false, None));
        assert_eq!(
            read("2024-04-08T13:40:05.25Z"),
            some("2024-04-08T13:40:05.25", true, Some(0))
        );
        for none in [
            "",
            "2024",
            "2024-04-08",
            "2024-13-08T13:40:05",
            "1904-01-01T00:00:00Z",
            "2024-04-08T25:40:05",
            "é024-04-08T13:40:05",
            "+024-04-08T13:40:05",
        ] {
            assert_eq!(read(none), None, "{none:?}");
        }
    }

    #[test]
    fn offsets_that_are_none() {
        for none in ["", "05:00", "+5", "+99:00", "+04:75", "-é", "+123456"] {
            assert_eq!(offset_s(none), None, "{none:?}");
        }
        assert_eq!(offset_s("+0545"), Some(5 * 3600 + 45 * 60));
    }
}
