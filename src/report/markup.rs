//! Text and numbers made fit for a page.

use std::fmt::Write as _;

use jiff::tz::TimeZone;

pub(in crate::report) use crate::domain::counted;
use crate::domain::{Utc, in_markup};

/// Text made safe inside an element or a quoted attribute; control characters become spaces.
pub(super) fn safe(text: &str) -> String {
    in_markup(text)
}

/// A path below the page's folder as an address relative to the page: what is not a plain letter is percent-coded (RFC 3986).
pub(super) fn link(path: &str) -> String {
    let mut out = String::new();
    for byte in path.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'/' | b'.' | b'-' | b'_' | b'~' => {
                out.push(char::from(byte));
            }
            _ => {
                let _ = write!(out, "%{byte:02X}");
            }
        }
    }
    out
}

/// A section with its heading and an anchor.
pub(super) fn section(id: &str, heading: &str, body: &str) -> String {
    format!(
        "<section id=\"{id}\" aria-labelledby=\"{id}-h\">\n<h2 id=\"{id}-h\">{heading}</h2>\n{body}</section>\n"
    )
}

/// A paragraph of text.
pub(super) fn paragraph(text: &str) -> String {
    format!("<p>{}</p>\n", safe(text))
}

/// A list of texts; nothing when there are none.
pub(super) fn list<T: AsRef<str>>(items: &[T]) -> String {
    if items.is_empty() {
        return String::new();
    }
    let items: String = items
        .iter()
        .map(|i| format!("<li>{}</li>\n", safe(i.as_ref())))
        .collect();
    format!("<ul>\n{items}</ul>\n")
}

/// A list behind a line that opens it.
pub(super) fn folded<T: AsRef<str>>(summary: &str, items: &[T]) -> String {
    if items.is_empty() {
        return String::new();
    }
    format!(
        "<details>\n<summary>{}</summary>\n{}</details>\n",
        safe(summary),
        list(items)
    )
}

/// A table of texts in a box that scrolls where the screen is narrow.
pub(super) fn table(name: &str, columns: &[&str], rows: &[Vec<String>]) -> String {
    let row = |row: &Vec<String>| {
        let cells: String = row
            .iter()
            .map(|cell| format!("<td>{}</td>", safe(cell)))
            .collect();
        format!("<tr>{cells}</tr>\n")
    };
    table_of(name, columns, &rows.iter().map(row).collect::<String>())
}

/// The same of rows that are markup already.
pub(super) fn table_of(name: &str, columns: &[&str], rows: &str) -> String {
    let mut out = format!(
        "<div class=\"wide\" role=\"group\" aria-label=\"{}\" tabindex=\"0\">\n<table>\n<thead><tr>",
        safe(name)
    );
    for column in columns {
        let _ = write!(out, "<th scope=\"col\">{}</th>", safe(column));
    }
    out.push_str("</tr></thead>\n<tbody>\n");
    out.push_str(rows);
    out.push_str("</tbody>\n</table>\n</div>\n");
    out
}

/// `HH:MM:SS` in a zone, to the nearest second.
pub(super) fn clock_time(utc: Utc, zone: &TimeZone) -> String {
    zone.to_datetime(utc.nearest_second().timestamp())
        .strftime("%H:%M:%S")
        .to_string()
}

/// `YYYY-MM-DD` in a zone.
pub(super) fn calendar_date(utc: Utc, zone: &TimeZone) -> String {
    zone.to_datetime(utc.timestamp()).date().to_string()
}

/// "1/800 s", "2.5 s", nothing for what is not known.
pub(super) fn shutter(seconds: Option<f64>) -> String {
    match seconds.filter(|s| s.is_finite() && *s > 0.0) {
        None => String::new(),
        Some(s) if s < 0.3 => format!("1/{:.0} s", 1.0 / s),
        Some(s) => format!("{} s", (s * 10.0).round() / 10.0),
    }
}

/// "2 min 24.3 s", "45.0 s".
pub(super) fn minutes(seconds: f64) -> String {
    let tenths = (seconds * 10.0).round();
    let (whole, rest) = ((tenths / 600.0).floor(), (tenths % 600.0) / 10.0);
    if whole > 0.0 {
        format!("{whole:.0} min {rest:.1} s")
    } else {
        format!("{rest:.1} s")
    }
}

/// Base64 as in RFC 4648, section 4, with padding.
pub(super) fn base64(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for group in bytes.chunks(3) {
        let word = (0..3).fold(0_u32, |w, k| {
            w << 8 | u32::from(group.get(k).copied().unwrap_or(0))
        });
        for k in 0..4 {
            let digit = DIGITS[(word >> (18 - 6 * k)) as usize & 63];
            out.push(if k <= group.len() {
                char::from(digit)
            } else {
                '='
            });
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn base64_agrees_with_the_standard() {
        // RFC 4648, section 10.
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(base64(plain.as_bytes()), coded);
        }
    }

    #[test]
    fn nothing_from_a_file_becomes_markup() {
        assert_eq!(
            safe("<a href='x'>&\"\u{202e}\0"),
            "&lt;a href=&#39;x&#39;&gt;&amp;&quot;\u{FFFD} "
        );
    }

    #[test]
    fn times_of_day_are_rounded_to_the_second() {
        let t = Utc::new("2019-07-02T20:38:12.6Z".parse().unwrap());
        let santiago = TimeZone::get("America/Santiago").unwrap();
        assert_eq!(clock_time(t, &santiago), "16:38:13");
    }

    #[test]
    fn shutters_are_written_as_on_the_dial() {
        assert_eq!(shutter(Some(1.0 / 800.0)), "1/800 s");
        assert_eq!(shutter(Some(2.5)), "2.5 s");
        assert_eq!(shutter(Some(0.0)), "");
        assert_eq!(shutter(Some(f64::NAN)), "");
    }
}
