//! Bursts as rows of thumbnails, and the table of shots.

use std::collections::BTreeMap;
use std::collections::BTreeSet;
use std::fmt::Write as _;

use jiff::tz::TimeZone;

use super::markup::{base64, clock_time, counted, link, paragraph, safe, section, shutter};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Phase, Role};

/// All thumbnails within a page together, in bytes of JPEG: with the rest they keep a page of 1,000 shots under 8 MB. A card with more
/// has them beside the page.
pub const THUMBS_BYTES: u64 = 4_500_000;

/// A small picture of a shot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Thumb {
    /// A JPEG to be held by the page itself.
    Within(Vec<u8>),
    /// A file beside the page, by its path from there with `/` separators.
    Beside(String),
}

/// Gives the small picture of a shot, if it has one.
pub(super) type Thumbs<'a> = &'a dyn Fn(&ShotRecord) -> Option<Thumb>;

/// The picture of a shot as an element, or words that there is none.
pub(super) fn small_picture(thumb: Option<Thumb>, alt: &str) -> String {
    let source = match thumb {
        Some(Thumb::Within(jpeg)) if !jpeg.is_empty() => {
            format!("data:image/jpeg;base64,{}", base64(&jpeg))
        }
        Some(Thumb::Beside(path)) => safe(&link(&path)),
        _ => return "<span class=\"none\">no small picture</span>".to_owned(),
    };
    format!(
        "<img loading=\"lazy\" decoding=\"async\" alt=\"{}\" src=\"{source}\">",
        safe(alt)
    )
}

/// The section of thumbnails: bursts first, then single frames phase by phase.
pub(super) fn bursts(
    catalogue: &Catalogue,
    thumb: Thumbs<'_>,
    beside: bool,
    zone: &TimeZone,
) -> String {
    let mut in_bursts: BTreeMap<u32, Vec<(u32, usize)>> = BTreeMap::new();
    let mut single: BTreeMap<Phase, Vec<usize>> = BTreeMap::new();
    for (n, shot) in catalogue.shots.iter().enumerate() {
        match shot.burst {
            Some(place) => in_bursts
                .entry(place.id)
                .or_default()
                .push((place.index, n)),
            None => single.entry(shot.phase).or_default().push(n),
        }
    }
    let mut body = paragraph(&format!(
        "{}, and the single frames after them. A picture leads to its row in the table.",
        counted(in_bursts.len(), "burst")
    ));
    if beside {
        body += &paragraph(
            "The card has too many frames to hold their small pictures in this page: they are files in the folder .cache/thumbs beside it.",
        );
    }
    body += &filters(catalogue);
    for (id, mut members) in in_bursts {
        members.sort_unstable();
        let members: Vec<usize> = members.into_iter().map(|(_, n)| n).collect();
        let heading = burst_heading(catalogue, id, &members, zone);
        body += &row(catalogue, &heading, &members, thumb, zone);
    }
    for (phase, members) in single {
        let heading = format!(
            "Single frames, {phase}: {}",
            counted(members.len(), "frame")
        );
        body += &row(catalogue, &heading, &members, thumb, zone);
    }
    section("frames", "Bursts and frames", &body)
}

/// "Burst 3, totality, 16:38:20: 9 frames, 1/2000 s to 1/8 s".
fn burst_heading(catalogue: &Catalogue, id: u32, members: &[usize], zone: &TimeZone) -> String {
    let shots: Vec<&ShotRecord> = members
        .iter()
        .filter_map(|n| catalogue.shots.get(*n))
        .collect();
    let mut out = format!("Burst {id}");
    if let Some(first) = shots.first() {
        let _ = write!(out, ", {}", first.phase);
        if let Some(t) = first.utc {
            let _ = write!(out, ", {}", clock_time(t, zone));
        }
    }
    let times = || {
        shots
            .iter()
            .filter_map(|s| s.shot.exposure.shutter_s)
            .filter(|t| t.is_finite() && *t > 0.0)
    };
    let _ = write!(out, ": {}", counted(shots.len(), "frame"));
    if let (Some(shortest), Some(longest)) = (times().reduce(f64::min), times().reduce(f64::max)) {
        let _ = match shortest < longest {
            true => write!(
                out,
                ", {} to {}",
                shutter(Some(shortest)),
                shutter(Some(longest))
            ),
            false => write!(out, ", {}", shutter(Some(shortest))),
        };
    }
    out
}

fn row(
    catalogue: &Catalogue,
    heading: &str,
    members: &[usize],
    thumb: Thumbs<'_>,
    zone: &TimeZone,
) -> String {
    let mut out = format!(
        "<section class=\"group\">\n<h3>{}</h3>\n<ul class=\"row\">\n",
        safe(heading)
    );
    for &n in members {
        let Some(shot) = catalogue.shots.get(n) else {
            continue;
        };
        let name = safe(shot.name().rsplit('/').next().unwrap_or_default());
        let picture = small_picture(thumb(shot), &alt_text(shot, zone));
        let flags = if shot.flags.is_empty() {
            String::new()
        } else {
            format!(" <span class=\"flag\">{}</span>", shot.flags)
        };
        let _ = writeln!(
            out,
            "<li id=\"p{n}\"><a href=\"#r{n}\">{picture}<span \
                 class=\"name\">{name}</span></a><span>{}{flags}</span></li>",
            shutter(shot.shot.exposure.shutter_s)
        );
    }
    out.push_str("</ul>\n</section>\n");
    out
}

/// What a thumbnail shows: "totality at 16:39:20, moon's limb found".
fn alt_text(shot: &ShotRecord, zone: &TimeZone) -> String {
    let mut words = shot.phase.word().to_owned();
    if let Some(t) = shot.utc {
        let _ = write!(words, " at {}", clock_time(t, zone));
    }
    if let Some(predicted) = shot
        .predicted
        .filter(|_| matches!(shot.phase, Phase::Ingress | Phase::Egress))
    {
        let _ = write!(
            words,
            ", obscuration {:.0} percent",
            predicted.obscuration * 100.0
        );
    }
    words
        + match shot.disc_word() {
            _ if shot.role == Some(Role::Wide) => ", wide view",
            "sun" => ", Sun's limb found",
            "moon" => ", Moon's limb found",
            _ => ", no disc found",
        }
}

/// The column of words that sort by a number: phases in their order.
const KEYED: &str = "Phase";

/// Columns of the table: heading, and whether it holds numbers.
const COLUMNS: [(&str, bool); 12] = [
    ("File", false),
    ("Time", true),
    (KEYED, false),
    ("Body", false),
    ("Burst", true),
    ("Shutter", true),
    ("f", true),
    ("ISO", true),
    ("Disc", false),
    ("Covered", true),
    ("Quality", true),
    ("Flags", false),
];

/// The section with the table of shots and its filters.
pub(super) fn shot_table(catalogue: &Catalogue, zone: &TimeZone) -> String {
    let mut body = String::new();
    body.push_str("<div class=\"wide tall\" role=\"group\" aria-label=\"Table of shots\" \
         tabindex=\"0\">\n<table id=\"shot-table\">\n<caption>Every shot on the card; a heading sorts by \
         its column.</caption>\n<thead><tr>");
    for (heading, number) in COLUMNS {
        let keyed = if heading == KEYED { " data-keyed" } else { "" };
        let class = if number { " class=\"n\"" } else { keyed };
        let _ = write!(body, "<th scope=\"col\"{class}>{heading}</th>");
    }
    body.push_str("</tr></thead>\n<tbody>\n");
    for (n, shot) in catalogue.shots.iter().enumerate() {
        table_row(&mut body, catalogue, n, shot, zone);
    }
    body.push_str("</tbody>\n</table>\n</div>\n");
    section("shots", "Shots", &body)
}

/// One row; what sorts otherwise than it reads carries its value in `data-v`.
fn table_row(
    out: &mut String,
    catalogue: &Catalogue,
    n: usize,
    shot: &ShotRecord,
    zone: &TimeZone,
) {
    let body = catalogue.camera_label(&shot.shot);
    let exposure = &shot.shot.exposure;
    let _ = write!(
        out,
        "<tr id=\"r{n}\" data-phase=\"{}\" data-body=\"{}\" data-flags=\"{}\"><th scope=\"row\"><a \
             href=\"#p{n}\" tabindex=\"-1\">{}</a></th>",
        shot.phase,
        safe(body),
        shot.flags,
        safe(shot.name())
    );
    let time = shot.utc.map_or_else(String::new, |t| clock_time(t, zone));
    let cells = [
        (shot.utc.map(|t| t.unix_s()), time),
        (
            Some(f64::from(shot.phase as u8)),
            shot.phase.word().to_owned(),
        ),
        (None, body.to_owned()),
        (
            shot.burst
                .map(|b| f64::from(b.id) + f64::from(b.index) / 1000.0),
            shot.burst
                .map_or_else(String::new, |b| format!("{}.{}", b.id, b.index)),
        ),
        (exposure.shutter_s, shutter(exposure.shutter_s)),
        (
            exposure.f_number,
            exposure
                .f_number
                .map_or_else(String::new, |f| format!("{}", (f * 10.0).round() / 10.0)),
        ),
        (
            exposure.iso,
            exposure.iso.map_or_else(String::new, |i| format!("{i:.0}")),
        ),
        (None, shot.disc_word().to_owned()),
        (
            shot.predicted.map(|p| p.obscuration),
            shot.predicted
                .map_or_else(String::new, |p| format!("{:.1} %", p.obscuration * 100.0)),
        ),
        (
            shot.quality,
            shot.quality.map_or_else(String::new, |q| format!("{q:.2}")),
        ),
        (None, shot.flags.to_string()),
    ];
    for ((value, text), (_, number)) in cells.iter().zip(COLUMNS.iter().skip(1)) {
        let class = if *number { " class=\"n\"" } else { "" };
        let _ = match value.filter(|v| v.is_finite()) {
            Some(v) => write!(out, "<td{class} data-v=\"{v}\">{}</td>", safe(text)),
            None => write!(out, "<td{class}>{}</td>", safe(text)),
        };
    }
    out.push_str("</tr>\n");
}

/// Drop-down lists for phase, flag and body; they appear with the script that works them.
fn filters(catalogue: &Catalogue) -> String {
    let phases: BTreeSet<Phase> = catalogue.shots.iter().map(|s| s.phase).collect();
    let flags: BTreeSet<_> = catalogue
        .shots
        .iter()
        .flat_map(|s| s.flags.iter())
        .collect();
    let bodies: BTreeSet<&str> = catalogue
        .shots
        .iter()
        .map(|s| catalogue.camera_label(&s.shot))
        .filter(|l| !l.is_empty())
        .collect();
    let option = |value: &str| format!("<option value=\"{0}\">{0}</option>", safe(value));
    let phases: String = phases.iter().map(|p| option(p.word())).collect();
    let flags: String = flags.iter().map(|f| option(f.word())).collect();
    let bodies: String = bodies.iter().map(|b| option(b)).collect();
    let pick = |id: &str, name: &str, first: &str, options: &str| {
        format!(
            "<span><label for=\"{id}\">{name}</label> <select id=\"{id}\">{first}{options}</select></span>\n"
        )
    };
    let all = "<option value=\"\">all</option>";
    let flag_first =
        format!("{all}<option value=\"*\">any flag</option><option value=\"-\">no flag</option>");
    format!(
        "<div id=\"filters\" role=\"group\" aria-label=\"Filter pictures and table\" hidden>\n{}{}{}<button \
             type=\"button\" id=\"all\">Show all</button>\n<output id=\"shown\" for=\"f-phase f-flag \
             f-body\">{}</output>\n</div>\n",
        pick("f-phase", "Phase", all, &phases),
        pick("f-flag", "Flag", &flag_first, &flags),
        pick("f-body", "Camera", all, &bodies),
        counted(catalogue.shots.len(), "shot")
    )
}
