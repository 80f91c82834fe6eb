//! Beads as a table, as JSON and as a drawing.

use std::fmt::Write;

use serde::Serialize;

use super::beads::{Beads, LitInstant};
use super::zone::CivilZone;
use crate::domain::{ContactKind, clock_face};

/// The beads of the contacts in words: one line for each that stands alone for a while.
pub(super) fn table(all: &[Beads], zone: &CivilZone) -> String {
    let mut out = String::new();
    for beads in all {
        let (word, sense) = sense(beads);
        let _ = writeln!(
            out,
            "Beads of {}, {}; seconds from it. The diamond stands at P {:.1}, V {:.1}: about {}, zenith up.",
            beads.contact.word(),
            zone.local(beads.utc, 1).time,
            beads.diamond_deg,
            vertex(beads, beads.diamond_deg),
            clock_face(vertex(beads, beads.diamond_deg)),
        );
        let _ = writeln!(
            out,
            "  {:>9}  {:>10}       P       V  face         height",
            word, sense
        );
        for bead in &beads.beads {
            let _ = writeln!(
                out,
                "  {:>+7.1} s  {:>+8.1} s  {:>6.2}  {:>6.2}  {:<11}  {:.2}\"",
                bead.from_s,
                bead.to_s,
                bead.position_angle_deg,
                bead.vertex_angle_deg,
                clock_face(bead.vertex_angle_deg),
                bead.height_arcsec,
            );
        }
        out.push('\n');
    }
    out
}

/// Headings of a bead's two times.
fn sense(beads: &Beads) -> (&'static str, &'static str) {
    if parting(beads) {
        ("alone from", "goes out")
    } else {
        ("lights up", "joins")
    }
}

/// Whether the light breaks up towards later times: before C2 of a total eclipse, after C3 of an annular one.
fn parting(beads: &Beads) -> bool {
    let lit = |instant: &LitInstant| instant.lit.iter().map(|s| s.area_arcsec2).sum::<f64>();
    match (beads.instants.first(), beads.instants.last()) {
        (Some(first), Some(last)) => lit(first) > lit(last),
        _ => beads.contact == ContactKind::C2,
    }
}

fn vertex(beads: &Beads, position_deg: f64) -> f64 {
    (position_deg - beads.parallactic_deg).rem_euclid(360.0)
}

/// The JSON form; layout in `document`.
#[derive(Serialize)]
pub(super) struct BeadsDocument {
    contact: &'static str,
    utc: String,
    diamond_position_angle_deg: f64,
    diamond_vertex_angle_deg: f64,
    beads: Vec<BeadDocument>,
    instants: Vec<InstantDocument>,
}

#[derive(Serialize)]
struct BeadDocument {
    position_angle_deg: f64,
    vertex_angle_deg: f64,
    from_s: f64,
    to_s: f64,
    height_arcsec: f64,
}

#[derive(Serialize)]
struct InstantDocument {
    seconds_from_contact: f64,
    utc: String,
    lit: Vec<StretchDocument>,
}

#[derive(Serialize)]
struct StretchDocument {
    pa_from_deg: f64,
    pa_to_deg: f64,
    vertex_from_deg: f64,
    vertex_to_deg: f64,
    height_arcsec: f64,
}

/// The JSON form of the beads of one contact.
pub(super) fn document(beads: &Beads) -> BeadsDocument {
    let each = beads.beads.iter().map(|bead| BeadDocument {
        position_angle_deg: rounded(bead.position_angle_deg, 2),
        vertex_angle_deg: rounded(bead.vertex_angle_deg, 2),
        from_s: rounded(bead.from_s, 1),
        to_s: rounded(bead.to_s, 1),
        height_arcsec: rounded(bead.height_arcsec, 3),
    });
    BeadsDocument {
        contact: beads.contact.word(),
        utc: beads.utc.to_string(),
        diamond_position_angle_deg: rounded(beads.diamond_deg, 2),
        diamond_vertex_angle_deg: rounded(vertex(beads, beads.diamond_deg), 2),
        beads: each.collect(),
        instants: beads.instants.iter().map(|i| instant(beads, i)).collect(),
    }
}

fn instant(beads: &Beads, instant: &LitInstant) -> InstantDocument {
    let lit = instant.lit.iter().map(|stretch| StretchDocument {
        pa_from_deg: rounded(stretch.from_deg, 2),
        pa_to_deg: rounded(stretch.to_deg, 2),
        vertex_from_deg: rounded(vertex(beads, stretch.from_deg), 2),
        vertex_to_deg: rounded(vertex(beads, stretch.to_deg), 2),
        height_arcsec: rounded(stretch.height_arcsec, 3),
    });
    InstantDocument {
        seconds_from_contact: rounded(instant.from_contact_s, 1),
        utc: instant.utc.to_string(),
        lit: lit.collect(),
    }
}

fn rounded(value: f64, decimals: i32) -> f64 {
    let unit = 10f64.powi(decimals);
    (value * unit).round() / unit
}

/// Height of one chart of [`charts`], its title and margin included.
pub(super) const CHART_HEIGHT: f64 = 330.0;
/// Height of the profile in a chart.
const PROFILE: f64 = 130.0;
/// Height of the strip of lit stretches in a chart.
const STRIP: f64 = 120.0;
/// Seconds of arc above and below the middle of the profile.
const REACH_ARCSEC: f64 = 4.0;

/// Charts of the limb about each contact, one below the other from the top of the drawing's own coordinates: the Moon's limb
/// much enlarged in height with the Sun's behind it, and below, tenth by tenth of a second, what is lit. The limb is laid flat
/// with the sky up, so position angles run to the left.
pub(super) fn charts(all: &[Beads], width: f64) -> String {
    let mut svg = String::new();
    for (n, beads) in all.iter().enumerate() {
        let _ = writeln!(
            svg,
            "<g transform=\"translate(0 {:.1})\">",
            CHART_HEIGHT * n as f64
        );
        chart(&mut svg, beads, width);
        svg.push_str("</g>\n");
    }
    svg
}

/// Left and right margin of a chart.
const MARGIN: f64 = 60.0;

/// Where a position angle stands in a chart.
struct Across {
    first_deg: f64,
    length_deg: f64,
    width: f64,
}

impl Across {
    fn of(beads: &Beads, width: f64) -> Self {
        let (first_deg, last_deg) = match (beads.limb.first(), beads.limb.last()) {
            (Some(first), Some(last)) => (first.0, last.0),
            _ => (0.0, 360.0),
        };
        Self {
            first_deg,
            length_deg: (last_deg - first_deg).rem_euclid(360.0).max(1.0),
            width: width - 2.0 * MARGIN,
        }
    }

    fn x(&self, position_deg: f64) -> f64 {
        let along = (position_deg - self.first_deg).rem_euclid(360.0) / self.length_deg;
        MARGIN + self.width * (1.0 - along)
    }
}

fn chart(svg: &mut String, beads: &Beads, width: f64) {
    let across = Across::of(beads, width);
    let _ = writeln!(
        svg,
        "<text class=\"foot\" x=\"20\" y=\"16\" font-weight=\"bold\">{}: the Moon\u{2019}s limb, {REACH_ARCSEC}\u{2033} either way; the Sun\u{2019}s at 10, 5, 3, 2, 1 and 0 s; diamond at V {:.0}\u{b0}, {}</text>",
        beads.contact.word(),
        vertex(beads, beads.diamond_deg),
        clock_face(vertex(beads, beads.diamond_deg)).replace('\'', "\u{2019}"),
    );
    let _ = writeln!(
        svg,
        "<rect x=\"{MARGIN}\" y=\"26\" width=\"{:.1}\" height=\"{PROFILE}\" fill=\"#e4e9ed\"/>",
        across.width
    );
    profile(svg, beads, &across);
    strip(svg, beads, &across);
    scale(svg, beads, &across);
}

fn profile(svg: &mut String, beads: &Beads, across: &Across) {
    let y = |arcsec: f64| {
        let held = arcsec.clamp(-REACH_ARCSEC, REACH_ARCSEC);
        26.0 + PROFILE / 2.0 * (1.0 - held / REACH_ARCSEC)
    };
    for (n, (_, heights)) in beads.sun.iter().enumerate() {
        let points = beads.limb.iter().zip(heights).step_by(5);
        let line: String = points
            .map(|((deg, _), height)| format!("{:.1},{:.1} ", across.x(*deg), y(*height)))
            .collect();
        let opacity = 0.35 + 0.13 * n as f64;
        let _ = writeln!(
            svg,
            "<polyline points=\"{line}\" fill=\"none\" stroke=\"#b98a00\" stroke-opacity=\"{opacity:.2}\"/>"
        );
    }
    let foot = 26.0 + PROFILE;
    let ground: String = beads
        .limb
        .iter()
        .map(|(deg, height)| format!("{:.1},{:.1} ", across.x(*deg), y(*height)))
        .collect();
    let _ = writeln!(
        svg,
        "<polygon points=\"{:.1},{foot} {ground}{MARGIN},{foot}\" fill=\"#3b4450\"/>",
        MARGIN + across.width
    );
}

fn strip(svg: &mut String, beads: &Beads, across: &Across) {
    let top = 26.0 + PROFILE + 6.0;
    let each = STRIP / beads.instants.len().max(1) as f64;
    let _ = writeln!(
        svg,
        "<rect x=\"{MARGIN}\" y=\"{top}\" width=\"{:.1}\" height=\"{STRIP}\" fill=\"#3b4450\"/>\n<path fill=\"#f6c945\" d=\"",
        across.width
    );
    for (n, instant) in beads.instants.iter().enumerate() {
        let y = top + each * n as f64;
        for stretch in &instant.lit {
            let (left, right) = (across.x(stretch.to_deg), across.x(stretch.from_deg));
            let wide = (right - left).max(0.4);
            let _ = write!(svg, "M{left:.1} {y:.1}h{wide:.1}v{each:.2}h-{wide:.1}z");
        }
    }
    svg.push_str("\"/>\n");
    for (n, instant) in [beads.instants.first(), beads.instants.last()]
        .into_iter()
        .flatten()
        .enumerate()
    {
        let y = top + 10.0 + (STRIP - 10.0) * n as f64;
        let _ = writeln!(
            svg,
            "<text class=\"foot\" x=\"8\" y=\"{y:.1}\">{:+.0} s</text>",
            instant.from_contact_s
        );
    }
}

/// Position angles below the chart.
fn scale(svg: &mut String, beads: &Beads, across: &Across) {
    let y = 26.0 + PROFILE + STRIP + 22.0;
    let first = (across.first_deg / 10.0).ceil() as i32;
    for n in 0..=(across.length_deg / 10.0) as i32 {
        let deg = f64::from((first + n) * 10);
        if (deg - across.first_deg) > across.length_deg {
            break;
        }
        let _ = writeln!(
            svg,
            "<text class=\"mark\" x=\"{:.1}\" y=\"{y:.1}\">P {:.0}\u{b0}, V {:.0}\u{b0}</text>",
            across.x(deg),
            deg.rem_euclid(360.0),
            vertex(beads, deg)
        );
    }
}
