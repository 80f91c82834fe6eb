//! The Sun in the frame of the lens and sensor given, as inline SVG.

use std::fmt::Write as _;

use super::gear::SUN_RATE_ARCSEC_S;
use super::sheet::Sheet;
use crate::domain::in_markup;

/// Width of the drawing in its own units.
const WIDTH: f64 = 300.0;

/// Solar radii from the centre that the brighter corona reaches: 4 off the limb, as far as the bracket.
const CORONA_RADII: f64 = 5.0;

/// Width of a letter of a name and height of a line, in the drawing's units (measured in a browser; the letters are 11 high).
const LETTER: f64 = 6.0;
const LINE: f64 = 11.0;

/// From a mark to its name.
const BESIDE: f64 = 6.0;

/// Least radius of the Sun in the drawing's units, so that a wide view shows it.
const LEAST: f64 = 1.5;

/// A level frame with the Sun in the middle: corona and planets where it is total, and how far the Sun drifts in a minute.
pub(super) fn figure(sheet: &Sheet) -> String {
    let framing = &sheet.framing;
    let height = WIDTH * framing.frame_height_deg / framing.frame_width_deg;
    let per_deg = WIDTH / framing.frame_width_deg;
    let radius = (framing.disc_px / 2.0 * framing.arcsec_per_px / 3600.0 * per_deg).max(LEAST);
    let caption = in_markup(&caption(sheet));
    let (left, top) = (-WIDTH / 2.0, -height / 2.0);
    let mut out = format!(
        "<figure class=\"frame\">\n<svg viewBox=\"{left:.1} {top:.1} {WIDTH:.1} {height:.1}\" role=\"img\" aria-label=\"{caption}\">\n\
         <rect class=\"sky\" x=\"{left:.1}\" y=\"{top:.1}\" width=\"{WIDTH:.1}\" height=\"{height:.1}\"/>\n"
    );
    if sheet.totality_seen {
        let _ = writeln!(
            out,
            "<circle class=\"corona\" r=\"{:.1}\"/><circle class=\"corona\" r=\"{:.1}\"/><circle class=\"moon\" r=\"{radius:.1}\"/>",
            CORONA_RADII * radius,
            2.0 * radius
        );
    } else {
        let _ = writeln!(out, "<circle class=\"sun\" r=\"{radius:.1}\"/>");
    }
    if !sheet.gear.tracked {
        drift(&mut out, sheet, per_deg, radius);
    }
    marks(&mut out, sheet, per_deg);
    let _ = write!(
        out,
        "</svg>\n<figcaption>{caption}</figcaption>\n</figure>\n"
    );
    out
}

/// Planets and stars with their names, planets first and brightest first; a name with no room on either side is left out.
fn marks(out: &mut String, sheet: &Sheet, per_deg: f64) {
    let planets = sheet
        .planets
        .iter()
        .map(|p| (p.name, p.magnitude, p.in_frame_deg));
    let stars = sheet
        .stars
        .iter()
        .map(|s| (s.name, s.magnitude, s.in_frame_deg));
    let mut taken: Vec<[f64; 4]> = Vec::new();
    for (name, magnitude, place) in planets.chain(stars) {
        let Some((right, up)) = place else { continue };
        let (x, y) = (right * per_deg, -up * per_deg);
        let size = (2.6 - 0.45 * magnitude.max(-1.0)).clamp(0.8, 2.5);
        let _ = writeln!(
            out,
            "<circle class=\"mark\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"{size:.1}\"/>"
        );
        taken.push([x - size, y - size, x + size, y + size]);
        // The side with more room first.
        let sides = if x > 0.0 { [-1.0, 1.0] } else { [1.0, -1.0] };
        let free = sides.into_iter().find_map(|side| {
            let place = name_place((x, y), side, name);
            let inside = place[0].abs().max(place[2].abs()) < WIDTH / 2.0;
            let alone = taken.iter().all(|other| !overlap(*other, place));
            (inside && alone).then_some((side, place))
        });
        if let Some((side, place)) = free {
            taken.push(place);
            let anchor = if side < 0.0 { "end" } else { "start" };
            let _ = writeln!(
                out,
                "<text text-anchor=\"{anchor}\" x=\"{:.1}\" y=\"{:.1}\">{}</text>",
                x + side * BESIDE,
                y + 4.0,
                in_markup(name)
            );
        }
    }
}

/// Left, top, right and bottom of a name beside its mark, to the left of it for -1 and to the right for 1.
fn name_place((x, y): (f64, f64), side: f64, name: &str) -> [f64; 4] {
    let (near, far) = (
        x + side * BESIDE,
        x + side * (BESIDE + LETTER * name.chars().count() as f64),
    );
    [near.min(far), y - LINE / 2.0, near.max(far), y + LINE / 2.0]
}

fn overlap(a: [f64; 4], b: [f64; 4]) -> bool {
    a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3]
}

fn caption(sheet: &Sheet) -> String {
    let mut said = String::from("A level frame with the Sun in the middle");
    if sheet.totality_seen {
        said += ", the corona to 4 solar radii off the limb";
    }
    if !sheet.gear.tracked {
        said += "; the arrow is as long as the Sun's way in one minute";
    }
    said + "."
}

/// The Sun's way in a minute, drawn from the limb, with a head where it ends.
fn drift(out: &mut String, sheet: &Sheet, per_deg: f64, radius: f64) {
    let framing = &sheet.framing;
    let length = framing.drift_arcsec_s.min(SUN_RATE_ARCSEC_S) * 60.0 / 3600.0 * per_deg;
    let (right, up) = (framing.drift_right, framing.drift_up);
    let (x0, y0) = (right * radius, -up * radius);
    let (x, y) = (x0 + right * length, y0 - up * length);
    // Two short strokes back from the end, a quarter to either side.
    let back = (-right * 5.0, up * 5.0);
    let _ = writeln!(
        out,
        "<path class=\"way\" d=\"M{x0:.1} {y0:.1}L{x:.1} {y:.1}M{:.1} {:.1}L{x:.1} {y:.1}L{:.1} {:.1}\"/>",
        x + back.0 - back.1 * 0.5,
        y + back.1 + back.0 * 0.5,
        x + back.0 + back.1 * 0.5,
        y + back.1 - back.0 * 0.5
    );
}
