//! The Sun in the frame of the lens and sensor given, as inline SVG.

use std::fmt::Write as _;

use super::gear::SUN_RATE_ARCSEC_S;
use super::sheet::Sheet;
use crate::domain::in_markup;

/// Width of the drawing in its own units.
const WIDTH: f64 = 300.0;

/// Solar radii from the centre that the brighter corona reaches: 4 off the limb, as far as the bracket.
const CORONA_RADII: f64 = 5.0;

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
    for planet in &sheet.planets {
        let Some((right, up)) = planet.in_frame_deg else {
            continue;
        };
        let (x, y) = (right * per_deg, -up * per_deg);
        // The name on the side with more room.
        let (anchor, off) = if x > 0.0 {
            ("end", -6.0)
        } else {
            ("start", 6.0)
        };
        let _ = writeln!(
            out,
            "<circle class=\"mark\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"2.5\"/><text text-anchor=\"{anchor}\" x=\"{:.1}\" y=\"{:.1}\">{}</text>",
            x + off,
            y + 4.0,
            planet.name
        );
    }
    let _ = write!(
        out,
        "</svg>\n<figcaption>{caption}</figcaption>\n</figure>\n"
    );
    out
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
