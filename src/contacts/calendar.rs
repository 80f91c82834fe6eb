//! A calendar file of the eclipse at a place: iCalendar, B. Desruisseaux (ed.) 2009, RFC 5545.

use super::circumstances::Circumstances;
use super::words::minutes;
use super::{kind_word, limb_words, local_word};
use crate::domain::{ContactEvent, ContactKind, LocalKind, Utc, safety_words};

/// Octets a line may have, its end apart (RFC 5545, 3.1).
const LINE_OCTETS: usize = 75;
/// How long before C1 the reminder comes, in minutes (common practice: filters on, cameras on target).
const REMIND_C1_MIN: u32 = 15;
/// How long before C2 the reminder comes, in minutes.
const REMIND_C2_MIN: u32 = 5;

/// The calendar: one entry for the eclipse, one for totality or annularity, one for each contact with the Sun up.
///
/// Times are whole seconds of UTC, as the format has no fractions; totality is cut to the whole seconds inside it.
/// The stamp of the entries is the instant of maximum, so that the same place gives the same bytes.
pub fn calendar(all: &Circumstances) -> String {
    let mut lines = Vec::new();
    for (name, value) in [
        ("BEGIN", "VCALENDAR"),
        ("VERSION", "2.0"),
        ("PRODID", "-//contactstrip//contacts//EN"),
        ("CALSCALE", "GREGORIAN"),
    ] {
        lines.push(format!("{name}:{value}"));
    }
    whole(&mut lines, all);
    central(&mut lines, all);
    for event in all.contacts.events().filter(|event| event.sun_up) {
        moment(&mut lines, all, event);
    }
    lines.push("END:VCALENDAR".to_owned());
    lines.iter().map(|line| folded(line)).collect()
}

fn whole(lines: &mut Vec<String>, all: &Circumstances) {
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
            .then_some((REMIND_C1_MIN, "First contact: filters on"));
    entry(lines, all, "eclipse", &title, &about, span, remind);
}

fn central(lines: &mut Vec<String>, all: &Circumstances) {
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
    entry(
        lines,
        all,
        "central",
        title,
        &about,
        (from, to),
        Some((REMIND_C2_MIN, title)),
    );
}

fn moment(lines: &mut Vec<String>, all: &Circumstances, event: &ContactEvent) {
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
    entry(
        lines,
        all,
        event.kind.word(),
        title,
        &about,
        (at.clone(), at),
        None,
    );
}

fn entry(
    lines: &mut Vec<String>,
    all: &Circumstances,
    id: &str,
    title: &str,
    about: &str,
    (from, to): (String, String),
    remind: Option<(u32, &str)>,
) {
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
    lines.push(format!(
        "DTSTAMP:{}",
        second(c.maximum.utc, Toward::Nearest)
    ));
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
    fn text_is_escaped() {
        assert_eq!(escaped("a,b;c\\d\ne"), "a\\,b\\;c\\\\d\\ne");
    }
}
