//! A calendar file of the eclipse at a place: iCalendar, B. Desruisseaux (ed.) 2009, RFC 5545.

use super::circumstances::Circumstances;
use super::durations::minutes;
use super::{kind_word, limb_words, local_word};
use crate::domain::{ContactEvent, ContactKind, LocalKind, Utc, safety_words};

/// Octets a line may have, its end apart (RFC 5545, 3.1).
const LINE_OCTETS: usize = 75;
/// How long before the eclipse begins its reminder comes, in minutes (common practice: filters on, cameras on target).
const REMIND_ECLIPSE_MIN: u32 = 15;
/// How long before the central phase its reminder comes, in minutes.
const REMIND_CENTRAL_MIN: u32 = 5;
/// How long before each contact its own reminder comes, in minutes (our choice: time to put a hand at the filter, no more).
const REMIND_CONTACT_MIN: u32 = 1;

/// When a calendar file was written, and how often before (RFC 5545, 3.8.7.2 and 3.8.7.4): programs that read it again take the
/// entry of the greater number.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Written {
    /// The instant of writing.
    pub at: Utc,
    /// 0 for the first file, one more for each that replaces another.
    pub sequence: u32,
}

impl Written {
    /// The next number after those of a calendar file that is to be replaced.
    pub fn after(at: Utc, earlier: Option<&str>) -> Self {
        let numbers = earlier.into_iter().flat_map(|text| {
            text.lines().filter_map(|line| {
                line.trim_end()
                    .strip_prefix("SEQUENCE:")?
                    .parse::<u32>()
                    .ok()
            })
        });
        Self {
            at,
            sequence: numbers.max().map_or(0, |n| n.saturating_add(1)),
        }
    }
}

/// The calendar: one entry for the eclipse, one for totality or annularity, one for each contact with the Sun up.
///
/// Times are whole seconds of UTC, as the format has no fractions; totality is cut to the whole seconds inside it.
/// Each contact reminds a minute before with what to do about filters.
pub fn calendar(all: &Circumstances, written: Written) -> String {
    let mut lines = Vec::new();
    for (name, value) in [
        ("BEGIN", "VCALENDAR"),
        ("VERSION", "2.0"),
        ("PRODID", "-//contactstrip//contacts//EN"),
        ("CALSCALE", "GREGORIAN"),
    ] {
        lines.push(format!("{name}:{value}"));
    }
    whole(&mut lines, all, written);
    central(&mut lines, all, written);
    for event in all.contacts.events().filter(|event| event.sun_up) {
        moment(&mut lines, all, event, written);
    }
    lines.push("END:VCALENDAR".to_owned());
    lines.iter().map(|line| folded(line)).collect()
}

fn whole(lines: &mut Vec<String>, all: &Circumstances, written: Written) {
    let c = &all.contacts;
    let title = format!(
        "{} solar eclipse: {} here",
        kind_word(c.eclipse_kind),
        local_word(c.kind)
    );
    let about = format!(
        "Magnitude {:.3}, {:.1} % of the Sun's area covered. {} {}",
        c.magnitude,
        c.obscuration * 100.0,
        limb_words::basis_line(c),
        cautions(all)
    );
    let span = (
        second(c.c1.utc, Toward::Earlier),
        second(c.c4.utc, Toward::Later),
    );
    let remind =
        c.c1.sun_up
            .then_some((REMIND_ECLIPSE_MIN, "The eclipse begins: filters on"));
    let words = Words {
        id: "eclipse",
        title: &title,
        about: &about,
        remind,
    };
    entry(lines, all, &words, span, written);
}

fn central(lines: &mut Vec<String>, all: &Circumstances, written: Written) {
    let c = &all.contacts;
    let (Some(c2), Some(c3)) = (c.c2, c.c3) else {
        return;
    };
    if !(c2.sun_up || c3.sun_up) {
        return;
    }
    let total = c.kind == LocalKind::Total;
    let title = if total {
        "Totality"
    } else {
        "Annularity (filters stay on)"
    };
    let lasts = minutes(c3.utc.seconds_since(c2.utc));
    let about = format!(
        "Lasts {lasts}; either end is uncertain by {:.0} s. {} {}",
        c2.sigma_s.ceil(),
        limb_words::basis_line(c),
        cautions(all)
    );
    let from = second(c2.utc, Toward::Later);
    // Written the same width, the later time is the greater text; a phase under a second has no whole one inside.
    let to = second(c3.utc, Toward::Earlier).max(from.clone());
    let remind = if total {
        "Totality in five minutes: filters on until the last bead is gone"
    } else {
        title
    };
    let words = Words {
        id: "central",
        title,
        about: &about,
        remind: Some((REMIND_CENTRAL_MIN, remind)),
    };
    entry(lines, all, &words, (from, to), written);
}

fn moment(lines: &mut Vec<String>, all: &Circumstances, event: &ContactEvent, written: Written) {
    let (title, toward) = match event.kind {
        ContactKind::C1 => ("C1 first contact", Toward::Nearest),
        ContactKind::C2 => ("C2 second contact", Toward::Later),
        ContactKind::Maximum => ("Maximum", Toward::Nearest),
        ContactKind::C3 => ("C3 third contact", Toward::Earlier),
        ContactKind::C4 => ("C4 fourth contact", Toward::Nearest),
    };
    let at = second(event.utc, toward);
    let about = format!(
        "{} local time, one sigma {:.1} s. Sun at altitude {:.1}, azimuth {:.1} degrees. {}",
        all.zone.local(event.utc, 1).time,
        event.sigma_s,
        event.sky.sun_alt_refracted_deg,
        event.sky.sun_az_deg,
        cautions(all)
    );
    let words = Words {
        id: event.kind.word(),
        title,
        about: &about,
        remind: Some((
            REMIND_CONTACT_MIN,
            filter_words(event.kind, all.contacts.kind),
        )),
    };
    entry(lines, all, &words, (at.clone(), at), written);
}

/// What to do about filters a minute before a contact.
fn filter_words(contact: ContactKind, kind: LocalKind) -> &'static str {
    match (contact, kind) {
        (ContactKind::C1, _) => "C1 in a minute: filters on, eyes and lens",
        (ContactKind::C2, LocalKind::Total) => {
            "C2 in a minute: filters on until the last bead is gone"
        }
        (ContactKind::C3, LocalKind::Total) => "C3 in a minute: filters back before the first bead",
        (ContactKind::Maximum, LocalKind::Total) => "Maximum in a minute",
        (ContactKind::C2, _) => "C2 in a minute: every filter stays on",
        (ContactKind::Maximum, _) => "Maximum in a minute: every filter stays on",
        (ContactKind::C3, _) => "C3 in a minute: every filter stays on",
        (ContactKind::C4, _) => "C4 in a minute: filters on until it has passed",
    }
}

/// What an entry says: its part of the identity, title, description and reminder (minutes before, text).
struct Words<'a> {
    id: &'a str,
    title: &'a str,
    about: &'a str,
    remind: Option<(u32, &'a str)>,
}

fn entry(
    lines: &mut Vec<String>,
    all: &Circumstances,
    words: &Words<'_>,
    (from, to): (String, String),
    written: Written,
) {
    let Words {
        id,
        title,
        about,
        remind,
    } = *words;
    let c = &all.contacts;
    let site = c.site;
    lines.push("BEGIN:VEVENT".to_owned());
    lines.push(format!(
        "UID:{}-{}-{:.5}-{:.5}-{:.0}@contactstrip",
        c.eclipse_date,
        id.to_lowercase(),
        site.lat_deg,
        site.lon_deg,
        site.elev_m
    ));
    lines.push(format!("DTSTAMP:{}", second(written.at, Toward::Earlier)));
    lines.push(format!("SEQUENCE:{}", written.sequence));
    lines.push(format!("DTSTART:{from}"));
    if to != from {
        lines.push(format!("DTEND:{to}"));
    }
    lines.push(format!("SUMMARY:{}", escaped(title)));
    lines.push(format!("DESCRIPTION:{}", escaped(about)));
    lines.push(format!("GEO:{:.6};{:.6}", site.lat_deg, site.lon_deg));
    lines.push("TRANSP:OPAQUE".to_owned());
    if let Some((before_min, words)) = remind {
        lines.push("BEGIN:VALARM".to_owned());
        lines.push("ACTION:DISPLAY".to_owned());
        lines.push(format!("DESCRIPTION:{}", escaped(words)));
        lines.push(format!("TRIGGER:-PT{before_min}M"));
        lines.push("END:VALARM".to_owned());
    }
    lines.push("END:VEVENT".to_owned());
}

/// The safety words as one paragraph.
fn cautions(all: &Circumstances) -> String {
    safety_words(Some(all.contacts.kind)).join(" ")
}

/// Which way a time is brought to a whole second.
#[derive(Clone, Copy)]
enum Toward {
    Earlier,
    Nearest,
    Later,
}

/// Form 2 of DATE-TIME (RFC 5545, 3.3.5): UTC.
fn second(utc: Utc, toward: Toward) -> String {
    let unix_s = utc.unix_s();
    let whole = match toward {
        Toward::Earlier => unix_s.floor(),
        Toward::Nearest => unix_s.round(),
        Toward::Later => unix_s.ceil(),
    };
    let at = Utc::from_unix_s(whole).timestamp();
    at.strftime("%Y%m%dT%H%M%SZ").to_string()
}

/// TEXT (RFC 5545, 3.3.11).
fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\")
        .replace(';', "\\;")
        .replace(',', "\\,")
        .replace('\n', "\\n")
}

/// A content line, folded between characters, with its end (RFC 5545, 3.1).
fn folded(line: &str) -> String {
    let mut out = String::new();
    let mut octets = 0;
    for letter in line.chars() {
        if octets + letter.len_utf8() > LINE_OCTETS {
            out.push_str("\r\n ");
            octets = 1;
        }
        out.push(letter);
        octets += letter.len_utf8();
    }
    out.push_str("\r\n");
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_lines_are_folded_and_unfold_again() {
        let line = "DESCRIPTION:".to_owned() + &"späte Sonne ".repeat(20);
        let out = folded(&line);
        assert!(out.split("\r\n").all(|part| part.len() <= LINE_OCTETS));
        assert_eq!(out.replace("\r\n ", "").trim_end_matches("\r\n"), line);
    }

    #[test]
    fn a_file_that_replaces_another_counts_on() {
        let at = Utc::from_unix_s(1.0e9);
        assert_eq!(Written::after(at, None).sequence, 0);
        let earlier = "BEGIN:VEVENT\r\nSEQUENCE:2\r\nEND:VEVENT\r\nSEQUENCE:0\r\n";
        assert_eq!(Written::after(at, Some(earlier)).sequence, 3);
    }

    #[test]
    fn text_is_escaped() {
        assert_eq!(escaped("a,b;c\\d\ne"), "a\\,b\\;c\\\\d\\ne");
    }
}
