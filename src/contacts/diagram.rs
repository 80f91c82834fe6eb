//! A drawing of the disc at the contacts, zenith up, as a scalable picture (SVG 1.1).

use std::fmt::Write;

use super::circumstances::Circumstances;
use super::words::{capital, place};
use super::{bead_words, kind_word, limb_words, local_word};
use crate::domain::{ContactKind, SunMoon, in_markup, safety_words};

/// Radius of the Sun in the drawing, in its own units.
const SUN: f64 = 56.0;
/// Width of one panel, its margin included.
const PANEL: f64 = 236.0;
/// Half the side of the window of sky in a panel; the far side of the Moon at C1 and C4 is cut off by it.
const SKY: f64 = 110.0;
/// Height of the panels' centres below the top.
const MIDDLE: f64 = 215.0;
/// Height of the part above the foot.
const BODY: f64 = 425.0;
/// Height of a line of the foot.
const LINE: f64 = 17.0;

/// One disc to draw.
struct Panel {
    name: String,
    time: String,
    details: [String; 2],
    sky: SunMoon,
    /// Vertex angle of the point touched, where the panel is a contact.
    touched_deg: Option<f64>,
}

/// The discs at the contacts with the Sun up, and at sunrise or sunset during the eclipse, in time order; zenith up and
/// the low Sun as flat as the air makes it. When nothing is seen the picture says so.
pub fn diagram(all: &Circumstances) -> String {
    let panels = panels(all);
    let width = PANEL * panels.len().max(3) as f64;
    let foot = foot(all, width);
    let body = BODY + bead_words::CHART_HEIGHT * all.beads.len() as f64;
    let height = body + LINE * foot.len() as f64 + 12.0;
    let mut svg = String::new();
    head(&mut svg, all, width, height);
    for (n, panel) in panels.iter().enumerate() {
        let _ = writeln!(
            svg,
            "<g transform=\"translate({:.1} {MIDDLE})\">",
            PANEL * (n as f64 + 0.5)
        );
        draw(&mut svg, panel);
        svg.push_str("</g>\n");
    }
    if panels.is_empty() {
        let _ = writeln!(
            svg,
            "<text class=\"name\" x=\"{:.1}\" y=\"{MIDDLE}\">The Sun is below the horizon throughout</text>",
            width / 2.0
        );
    }
    let _ = writeln!(
        svg,
        "<g transform=\"translate(0 {:.1})\">\n{}</g>",
        BODY - 15.0,
        bead_words::charts(&all.beads, width)
    );
    for (n, line) in foot.iter().enumerate() {
        let y = body + LINE * n as f64;
        let _ = writeln!(
            svg,
            "<text class=\"foot\" x=\"20\" y=\"{y:.1}\">{}</text>",
            in_markup(line)
        );
    }
    svg.push_str("</svg>\n");
    svg
}

fn panels(all: &Circumstances) -> Vec<Panel> {
    let time = |sky: &SunMoon| all.zone.local(sky.utc, 1).time;
    let events = all.contacts.events().filter(|event| event.sun_up);
    let mut panels: Vec<Panel> = events
        .map(|event| {
            let touched = event.kind != ContactKind::Maximum;
            Panel {
                name: event.kind.word().to_owned(),
                time: time(&event.sky),
                details: [
                    up_and_around(&event.sky),
                    if touched {
                        format!(
                            "P {:.1}°, V {:.1}°",
                            event.position_angle_deg, event.vertex_angle_deg
                        )
                    } else {
                        format!("{:.1} % of the area", event.sky.obscuration * 100.0)
                    },
                ],
                sky: event.sky,
                touched_deg: touched.then_some(event.vertex_angle_deg),
            }
        })
        .collect();
    panels.extend(all.crossings.iter().map(|crossing| Panel {
        name: if crossing.rising { "sunrise" } else { "sunset" }.to_owned(),
        time: time(&crossing.sky),
        details: [
            up_and_around(&crossing.sky),
            format!("{:.1} % of the area", crossing.sky.obscuration * 100.0),
        ],
        sky: crossing.sky,
        touched_deg: None,
    }));
    panels.sort_by_key(|panel| panel.sky.utc);
    panels
}

fn up_and_around(sky: &SunMoon) -> String {
    format!(
        "alt {:.1}°, az {:.1}°",
        sky.sun_alt_refracted_deg, sky.sun_az_deg
    )
}

fn head(svg: &mut String, all: &Circumstances, width: f64, height: f64) {
    let c = &all.contacts;
    let title = format!(
        "{} solar eclipse of {}: {} at {}",
        capital(kind_word(c.eclipse_kind)),
        c.eclipse_date,
        local_word(c.kind),
        place(&c.site)
    );
    let zone = format!(
        "Local times in {} ({})",
        all.zone.name,
        all.zone.local(c.maximum.utc, 0).offset
    );
    let _ = write!(
        svg,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width:.0}\" height=\"{height:.0}\" viewBox=\"0 0 {width:.0} {height:.0}\">\n\
         <title>{title}</title>\n\
         <style>\n\
         text {{ font-family: sans-serif; fill: #24303c; }}\n\
         .title {{ font-size: 18px; font-weight: bold; }}\n\
         .name {{ font-size: 16px; font-weight: bold; text-anchor: middle; }}\n\
         .small {{ font-size: 13px; text-anchor: middle; }}\n\
         .mark {{ font-size: 12px; text-anchor: middle; dominant-baseline: central; fill: #6a7682; }}\n\
         .foot {{ font-size: 12px; fill: #4a5661; }}\n\
         </style>\n\
         <clipPath id=\"sky\"><rect x=\"-{SKY}\" y=\"-{SKY}\" width=\"{side}\" height=\"{side}\" rx=\"10\"/></clipPath>\n\
         <rect width=\"100%\" height=\"100%\" fill=\"#fbfaf7\"/>\n\
         <text class=\"title\" x=\"20\" y=\"32\">{title}</text>\n\
         <text x=\"20\" y=\"54\" font-size=\"13\">{zone}</text>\n",
        side = 2.0 * SKY,
        title = in_markup(&title),
        zone = in_markup(&zone)
    );
}

/// The disc about the origin, y down.
fn draw(svg: &mut String, panel: &Panel) {
    let sky = &panel.sky;
    let scale = SUN / sky.sun_radius_arcsec;
    let moon_v = sky.position_angle_deg() - sky.parallactic_deg;
    let (mx, my) = polar(sky.separation_arcsec() * scale, moon_v);
    let moon = sky.moon_radius_arcsec * scale;
    // Air flattens both discs towards the horizon; the scale is about the Sun's centre, as both are small.
    let _ = write!(
        svg,
        "<rect x=\"-{SKY}\" y=\"-{SKY}\" width=\"{side}\" height=\"{side}\" rx=\"10\" fill=\"#e4e9ed\"/>\n\
         <g clip-path=\"url(#sky)\"><g transform=\"scale(1 {:.4})\">\n\
         <circle r=\"{SUN}\" fill=\"#f6c945\"/>\n\
         <circle cx=\"{mx:.2}\" cy=\"{my:.2}\" r=\"{moon:.2}\" fill=\"#3b4450\" fill-opacity=\"0.93\"/>\n\
         <circle r=\"{SUN}\" fill=\"none\" stroke=\"#b98a00\" stroke-width=\"1\" stroke-dasharray=\"3 3\"/>\n",
        sky.vertical_squeeze,
        side = 2.0 * SKY
    );
    if let Some(v) = panel.touched_deg {
        let (x, y) = polar(SUN, v);
        let _ = writeln!(
            svg,
            "<circle cx=\"{x:.2}\" cy=\"{y:.2}\" r=\"4.5\" fill=\"#d3372c\" stroke=\"#ffffff\"/>"
        );
    }
    svg.push_str("</g></g>\n");
    north(svg, -sky.parallactic_deg);
    captions(svg, panel);
}

/// A tick and an N outside the disc where celestial north is.
fn north(svg: &mut String, vertex_deg: f64) {
    let (x1, y1) = polar(SUN + 3.0, vertex_deg);
    let (x2, y2) = polar(SUN + 13.0, vertex_deg);
    let (tx, ty) = polar(SUN + 22.0, vertex_deg);
    let _ = writeln!(
        svg,
        "<line x1=\"{x1:.2}\" y1=\"{y1:.2}\" x2=\"{x2:.2}\" y2=\"{y2:.2}\" stroke=\"#6a7682\"/>\
         <text class=\"mark\" x=\"{tx:.2}\" y=\"{ty:.2}\">N</text>"
    );
}

fn captions(svg: &mut String, panel: &Panel) {
    let _ = writeln!(
        svg,
        "<text class=\"name\" y=\"-120\">{}</text>",
        in_markup(&panel.name)
    );
    for (n, line) in std::iter::once(&panel.time)
        .chain(&panel.details)
        .enumerate()
    {
        let y = 134.0 + 18.0 * n as f64;
        let _ = writeln!(
            svg,
            "<text class=\"small\" y=\"{y:.0}\">{}</text>",
            in_markup(line)
        );
    }
}

/// A point by its distance and vertex angle: anticlockwise from up, in axes x right and y down.
fn polar(distance: f64, vertex_deg: f64) -> (f64, f64) {
    let (sin, cos) = vertex_deg.to_radians().sin_cos();
    (-distance * sin, -distance * cos)
}

/// Lines below the panels, wrapped to the width.
fn foot(all: &Circumstances, width: f64) -> Vec<String> {
    let letters = ((width - 40.0) / 6.6) as usize; // a letter of 12 px is about 6.6 px wide
    let about = "Zenith up, not mirrored; N is celestial north, the red dot the point of the Sun's limb touched. \
                 Sizes and distances of the discs are to scale.";
    let mut lines = wrapped(about, letters);
    lines.extend(wrapped(limb_words::basis_line(&all.contacts), letters));
    for sentence in limb_words::sentences(all) {
        lines.extend(wrapped(&sentence, letters));
    }
    for sentence in safety_words(Some(all.contacts.kind)) {
        lines.extend(wrapped(sentence, letters));
    }
    lines
}

fn wrapped(text: &str, letters: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let last = lines.last_mut().expect("begins with one line");
        if !last.is_empty() && last.chars().count() + 1 + word.chars().count() > letters {
            lines.push(word.to_owned());
        } else {
            if !last.is_empty() {
                last.push(' ');
            }
            last.push_str(word);
        }
    }
    lines
}
