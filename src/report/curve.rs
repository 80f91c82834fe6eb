//! The predicted curve with every shot on it.

use std::fmt::Write as _;

use jiff::tz::TimeZone;

use super::markup::{clock_time, counted, safe};
use super::plot::{Frame, place};
use crate::catalogue::{Catalogue, FilmRecord, ShotRecord};
use crate::domain::{ContactKind, Contacts, SunMoon, Utc};

/// Width of the drawing.
const WIDTH: f64 = 960.0;
/// Height of the curve's part.
const CURVE_HEIGHT: f64 = 240.0;
/// Height of one body's rail.
const RAIL_HEIGHT: f64 = 30.0;
/// Seconds shown before the first contact and after the last.
const MARGIN_S: f64 = 900.0;
/// Seconds shown before second contact and after third, close up.
const CLOSE_MARGIN_S: f64 = 60.0;
/// Looks a body's mark can take; further bodies start over.
const SHAPES: usize = 5;

/// Instants worth computing for the curve: every minute over the eclipse and every two seconds around totality or
/// annularity, in order.
pub fn curve_moments(contacts: &Contacts) -> Vec<Utc> {
    let every = |from: Utc, to: Utc, step: f64| {
        let count = (to.seconds_since(from) / step).ceil().clamp(0.0, 2000.0) as u32;
        (0..=count).map(move |n| from.plus_s(f64::from(n) * step))
    };
    let (start, end) = span(contacts, MARGIN_S);
    let mut moments: Vec<Utc> = every(start, end, 60.0).collect();
    if let Some((c2, c3)) = contacts.c2.zip(contacts.c3) {
        let (from, to) = (
            c2.utc.plus_s(-CLOSE_MARGIN_S),
            c3.utc.plus_s(CLOSE_MARGIN_S),
        );
        moments.extend(every(from, to, 2.0));
    }
    moments.extend(contacts.events().map(|e| e.utc));
    moments.sort();
    moments.dedup();
    moments
}

fn span(contacts: &Contacts, margin_s: f64) -> (Utc, Utc) {
    (
        contacts.c1.utc.plus_s(-margin_s),
        contacts.c4.utc.plus_s(margin_s),
    )
}

/// The drawings: the whole eclipse and, where there is a central phase, that close up.
pub(super) fn curves(
    catalogue: &Catalogue,
    contacts: &Contacts,
    curve: &[SunMoon],
    zone: &TimeZone,
) -> String {
    let (from, to) = span(contacts, MARGIN_S);
    let mut out = figure(
        catalogue,
        contacts,
        curve,
        zone,
        (from, to),
        "The whole eclipse",
    );
    if let Some((c2, c3)) = contacts.c2.zip(contacts.c3) {
        let close = (
            c2.utc.plus_s(-CLOSE_MARGIN_S),
            c3.utc.plus_s(CLOSE_MARGIN_S),
        );
        out += &figure(
            catalogue,
            contacts,
            curve,
            zone,
            close,
            "From C2 to C3, close up",
        );
    }
    out + &legend(catalogue)
}

fn figure(
    catalogue: &Catalogue,
    contacts: &Contacts,
    curve: &[SunMoon],
    zone: &TimeZone,
    (from, to): (Utc, Utc),
    title: &str,
) -> String {
    let rails = rails(catalogue);
    let frame = Frame {
        left: 52.0,
        right: WIDTH - 48.0,
        top: 24.0,
        bottom: CURVE_HEIGHT,
        from,
        to,
        low: least_covered(curve, from, to),
        high: 1.0,
    };
    let rails_top = CURVE_HEIGHT + 30.0;
    let height = rails_top + RAIL_HEIGHT * rails.len() as f64 + 6.0;
    let drawn = catalogue
        .shots
        .iter()
        .filter(|s| s.utc.is_some_and(|t| frame.spans(t)))
        .count();
    let flagged = catalogue
        .shots
        .iter()
        .filter(|s| s.utc.is_some_and(|t| frame.spans(t)) && !s.flags.is_empty())
        .count();
    let words = format!(
        "Covered area of the Sun from {} to {}, with {}, {flagged} of them flagged. The table of shots \
             holds the same.",
        clock_time(from, zone),
        clock_time(to, zone),
        counted(drawn, "shot")
    );
    let mut svg = format!(
        "<figure>\n<div class=\"wide\" role=\"group\" aria-label=\"{title}\" tabindex=\"0\">\n<svg \
             class=\"plot\" viewBox=\"0 0 {WIDTH} {height}\" role=\"group\" aria-label=\"{}\">\n",
        safe(&words)
    );
    axes(&mut svg, &frame, zone, height);
    contact_lines(&mut svg, &frame, contacts, height);
    lines(&mut svg, &frame, curve);
    for (n, rail) in rails.iter().enumerate() {
        let y = rails_top + RAIL_HEIGHT * (n as f64 + 0.5);
        let (x1, x2) = (place(frame.left), place(frame.right));
        let _ = writeln!(svg, "<path class=\"rail\" d=\"M{x1} {y}H{x2}\"/>");
        let _ = writeln!(
            svg,
            "<text class=\"b{}\" x=\"{x1}\" y=\"{}\">{}</text>",
            n % SHAPES,
            place(y - 10.0),
            safe(&rail.label)
        );
    }
    for (n, rail) in rails.iter().enumerate() {
        let y = rails_top + RAIL_HEIGHT * (n as f64 + 0.5);
        bars(&mut svg, &frame, n, y, &rail.films);
        marks(&mut svg, &frame, n, y, &rail.shots, (curve, zone));
    }
    let _ = write!(
        svg,
        "</svg>\n</div>\n<figcaption>{title}: {}</figcaption>\n</figure>\n",
        safe(&words)
    );
    svg
}

/// Where the scale of covered area starts: at nothing, or on a drawing that never falls far, at a round percent below.
fn least_covered(curve: &[SunMoon], from: Utc, to: Utc) -> f64 {
    let shown = curve.iter().filter(|s| s.utc >= from && s.utc <= to);
    let least = shown.map(|s| s.obscuration).fold(1.0, f64::min);
    if least < 0.75 {
        0.0
    } else {
        ((least * 25.0 - 0.25).floor() / 25.0).max(0.0)
    }
}

/// A shot with its place in the record.
type Numbered<'a> = (usize, &'a ShotRecord);

/// A body's line below the curve: its name, its shots and its films.
struct Rail<'a> {
    label: String,
    shots: Vec<Numbered<'a>>,
    films: Vec<&'a FilmRecord>,
}

impl Rail<'_> {
    fn of(label: &str) -> Self {
        Self {
            label: label.to_owned(),
            shots: Vec::new(),
            films: Vec::new(),
        }
    }
}

/// Bodies by label with their shots; those without a named body come last, and cameras that only filmed.
fn rails(catalogue: &Catalogue) -> Vec<Rail<'_>> {
    let mut rails: Vec<Rail<'_>> = catalogue
        .cameras
        .iter()
        .map(|c| Rail::of(&c.label))
        .collect();
    let mut nameless = Vec::new();
    for (n, shot) in catalogue.shots.iter().enumerate() {
        let label = catalogue.camera_label(&shot.shot);
        match rails.iter_mut().find(|rail| rail.label == label) {
            Some(rail) => rail.shots.push((n, shot)),
            None => nameless.push((n, shot)),
        }
    }
    if !nameless.is_empty() {
        rails.push(Rail {
            shots: nameless,
            ..Rail::of("camera not named")
        });
    }
    for film in catalogue.films.iter().filter(|film| film.utc.is_some()) {
        let label = match film.camera_label.as_str() {
            "" => "films of no named camera",
            label => label,
        };
        match rails.iter_mut().find(|rail| rail.label == label) {
            Some(rail) => rail.films.push(film),
            None => rails.push(Rail {
                films: vec![film],
                ..Rail::of(label)
            }),
        }
    }
    rails
}

/// Films as bars on a body's rail, as long as they last and never too short to be seen.
fn bars(svg: &mut String, frame: &Frame, body: usize, rail_y: f64, films: &[&FilmRecord]) {
    const LEAST_WIDTH: f64 = 3.0;
    for film in films {
        let Some(begin) = film.utc else {
            continue;
        };
        let end = film.end().unwrap_or(begin);
        if end < frame.from || begin > frame.to {
            continue;
        }
        let left = frame.x(begin.max(frame.from));
        let right = frame.x(end.min(frame.to)).max(left + LEAST_WIDTH);
        let _ = writeln!(
            svg,
            "<path class=\"film b{}\" d=\"M{} {}H{}v6H{}z\"><title>{}, {}</title></path>",
            body % SHAPES,
            place(left),
            place(rail_y - 3.0),
            place(right),
            place(left),
            safe(film.name()),
            film.phase
        );
    }
}

fn axes(svg: &mut String, frame: &Frame, zone: &TimeZone, height: f64) {
    let (left, right) = (place(frame.left), place(frame.right));
    for quarter in 0..=4 {
        let covered = frame.low + (frame.high - frame.low) * f64::from(quarter) / 4.0;
        let y = frame.y(covered);
        let _ = writeln!(
            svg,
            "<path class=\"grid\" d=\"M{left} {}H{right}\"/><text class=\"end\" x=\"{}\" y=\"{}\">{:.0} \
                 %</text>",
            place(y),
            place(frame.left - 6.0),
            place(y + 4.0),
            covered * 100.0
        );
    }
    for degrees in [0, 30, 60, 90] {
        let y = frame.bottom - (frame.bottom - frame.top) * f64::from(degrees) / 90.0;
        let _ = writeln!(
            svg,
            "<text class=\"alt\" x=\"{}\" y=\"{}\">{degrees}°</text>",
            place(frame.right + 6.0),
            place(y + 4.0)
        );
    }
    for t in frame.time_marks(zone, 10) {
        let x = place(frame.x(t));
        let label = clock_time(t, zone);
        let label = label.strip_suffix(":00").unwrap_or(&label);
        let _ = writeln!(
            svg,
            "<path class=\"grid\" d=\"M{x} {}V{}\"/><text class=\"mid\" x=\"{x}\" y=\"{}\">{label}</text>",
            place(frame.top),
            place(height),
            place(frame.bottom + 16.0)
        );
    }
}

/// Hairlines at the contacts; on the whole eclipse the maximum is left to its neighbours.
fn contact_lines(svg: &mut String, frame: &Frame, contacts: &Contacts, height: f64) {
    let crowded = contacts.c2.is_some() && frame.to.seconds_since(frame.from) > 1800.0;
    for event in contacts.events() {
        if !frame.spans(event.utc) || crowded && event.kind == ContactKind::Maximum {
            continue;
        }
        let anchor = match event.kind {
            ContactKind::C2 if crowded => "end",
            ContactKind::C3 if crowded => "start",
            _ => "mid",
        };
        let x = place(frame.x(event.utc));
        let _ = writeln!(
            svg,
            "<path class=\"contact\" d=\"M{x} {}V{}\"/><text class=\"{anchor} name\" x=\"{x}\" \
                 y=\"14\">{}</text>",
            place(frame.top - 4.0),
            place(height),
            event.kind.word()
        );
    }
}

/// Covered area and altitude of the Sun.
fn lines(svg: &mut String, frame: &Frame, curve: &[SunMoon]) {
    let line = |value: &dyn Fn(&SunMoon) -> Option<f64>| {
        let mut d = String::new();
        let mut pen_down = false;
        for sky in curve.iter().filter(|s| frame.spans(s.utc)) {
            match value(sky).filter(|v| v.is_finite()) {
                Some(v) => {
                    let _ = write!(
                        d,
                        "{}{} {}",
                        if pen_down { 'L' } else { 'M' },
                        place(frame.x(sky.utc)),
                        place(frame.y(v))
                    );
                    pen_down = true;
                }
                None => pen_down = false,
            }
        }
        d
    };
    let altitude = line(&|s| {
        (0.0..=90.0)
            .contains(&s.sun_alt_refracted_deg)
            .then_some(frame.low + (frame.high - frame.low) * s.sun_alt_refracted_deg / 90.0)
    });
    let covered = line(&|s| Some(s.obscuration.clamp(0.0, 1.0)));
    for (class, d) in [("altitude", altitude), ("covered", covered)] {
        if !d.is_empty() {
            let _ = writeln!(svg, "<path class=\"{class}\" d=\"{d}\"/>");
        }
    }
}

/// One body's shots: a mark on the curve that leads to its row, and a tick on the rail; flagged ones hollow, with a taller tick.
fn marks(
    svg: &mut String,
    frame: &Frame,
    body: usize,
    rail_y: f64,
    shots: &[Numbered<'_>],
    (curve, zone): (&[SunMoon], &TimeZone),
) {
    for flagged in [false, true] {
        let mut on_curve = String::new();
        let mut on_rail = String::new();
        for (n, shot) in shots.iter().filter(|(_, s)| s.flags.is_empty() != flagged) {
            let Some(t) = shot.utc.filter(|t| frame.spans(*t)) else {
                continue;
            };
            let x = frame.x(t);
            let reach = if flagged { 9.0 } else { 5.0 };
            let _ = write!(
                on_rail,
                "M{} {}v{}",
                place(x),
                place(rail_y - reach),
                place(2.0 * reach)
            );
            let covered = shot.predicted.map(|p| p.obscuration);
            if let Some(covered) = covered.or_else(|| covered_at(curve, t)) {
                let d = shape(body % SHAPES, x, frame.y(covered.clamp(0.0, 1.0)));
                // The table is the way there for keys: no stop for each point.
                let _ = writeln!(
                    on_curve,
                    "<a href=\"#r{n}\" tabindex=\"-1\"><path d=\"{d}\"><title>{}, {}</title></path></a>",
                    safe(shot.name()),
                    clock_time(t, zone)
                );
            }
        }
        let class = format!(
            "b{}{}",
            body % SHAPES,
            if flagged { " flagged" } else { "" }
        );
        if !on_curve.is_empty() {
            let _ = writeln!(svg, "<g class=\"mark {class}\">\n{on_curve}</g>");
        }
        if !on_rail.is_empty() {
            let _ = writeln!(svg, "<path class=\"tick {class}\" d=\"{on_rail}\"/>");
        }
    }
}

/// Covered area at an instant, on straight lines between those computed.
fn covered_at(curve: &[SunMoon], t: Utc) -> Option<f64> {
    let after = curve.partition_point(|s| s.utc < t);
    let (b, a) = (curve.get(after)?, curve.get(after.saturating_sub(1))?);
    let gap = b.utc.seconds_since(a.utc);
    let share = if gap > 0.0 {
        t.seconds_since(a.utc) / gap
    } else {
        0.0
    };
    Some(a.obscuration + share * (b.obscuration - a.obscuration))
}

/// Outline of a body's mark about a point: circle, square, triangle, diamond, bar.
fn shape(which: usize, x: f64, y: f64) -> String {
    let (x, y) = (|dx: f64| place(x + dx), |dy: f64| place(y + dy));
    match which {
        0 => format!(
            "M{} {}a3.5 3.5 0 1 0 7 0a3.5 3.5 0 1 0-7 0z",
            x(-3.5),
            y(0.0)
        ),
        1 => format!("M{} {}h6.4v6.4h-6.4z", x(-3.2), y(-3.2)),
        2 => format!("M{} {}l4.2 7.2h-8.4z", x(0.0), y(-4.4)),
        3 => format!("M{} {}l4.4 4.4l-4.4 4.4l-4.4-4.4z", x(0.0), y(-4.4)),
        _ => format!("M{} {}h3v10h-3z", x(-1.5), y(-5.0)),
    }
}

/// "40 shots, 2 films".
fn members(rail: &Rail<'_>) -> String {
    match rail.films.len() {
        0 => counted(rail.shots.len(), "shot"),
        films => format!(
            "{}, {}",
            counted(rail.shots.len(), "shot"),
            counted(films, "film")
        ),
    }
}

fn legend(catalogue: &Catalogue) -> String {
    let mut out = String::from("<ul class=\"legend\">\n");
    for (n, rail) in rails(catalogue).iter().enumerate() {
        let _ = writeln!(
            out,
            "<li><svg viewBox=\"0 0 14 14\" aria-hidden=\"true\"><path class=\"mark b{}\" d=\"{}\"/></svg> \
                 {}, {}</li>",
            n % SHAPES,
            shape(n % SHAPES, 7.0, 7.0),
            safe(&rail.label),
            members(rail)
        );
    }
    if catalogue.films.iter().any(|film| film.utc.is_some()) {
        out.push_str(
            "<li><svg viewBox=\"0 0 28 14\" aria-hidden=\"true\"><path class=\"film b0\" d=\"M2 4H26v6H2z\"/></svg> a film, as long \
             as it lasts</li>\n",
        );
    }
    let _ = writeln!(
        out,
        "<li><svg viewBox=\"0 0 14 14\" aria-hidden=\"true\"><path class=\"mark b0 flagged\" \
             d=\"{}\"/></svg> hollow, with a tall tick: flagged</li>",
        shape(0, 7.0, 7.0)
    );
    out.push_str(
        "<li><svg viewBox=\"0 0 28 14\" aria-hidden=\"true\"><path class=\"altitude\" d=\"M0 \
         7H28\"/></svg> altitude of the Sun, scale on the right</li>\n</ul>\n",
    );
    out
}
