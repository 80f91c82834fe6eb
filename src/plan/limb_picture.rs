//! The disc at second and third contact as the camera sees it, as inline SVG.

use std::fmt::Write as _;

use super::diamond::LimbLightLine;
use crate::domain::{LocalKind, SunMoon, in_markup};

/// Radius of the Sun in the drawing's own units.
const SUN: f64 = 52.0;

/// Half the side of the drawing.
const HALF: f64 = 100.0;

/// Distance of the letters from the middle.
const LETTERS: f64 = 88.0;

/// How a view is turned.
struct View {
    /// What is up, for the caption.
    up: String,
    /// Degrees that everything is turned anticlockwise from zenith up.
    turn_deg: f64,
    /// The letter of a direction, and its vertex angle.
    mark: (char, f64),
    /// Where the light stands on a clock face.
    face: String,
}

/// Two pictures of each place: zenith up, and the celestial pole up.
pub(super) fn figures(
    lines: &[LimbLightLine],
    kind: LocalKind,
    locals: &[(String, String)],
) -> String {
    let mut out = String::from("<div class=\"pictures\">\n");
    for line in lines {
        let word = line.light.contact.word();
        let local = locals.iter().find(|(contact, _)| contact == word);
        for view in views(line) {
            let caption = format!(
                "{word}{}, {} up: {}",
                local.map_or_else(String::new, |(_, local)| format!(" {local}")),
                view.up,
                view.face
            );
            let caption = in_markup(&caption);
            let _ = write!(
                out,
                "<figure>\n<svg viewBox=\"-{HALF} -{HALF} {side} {side}\" role=\"img\" aria-label=\"{caption}\">\n",
                side = 2.0 * HALF
            );
            draw(&mut out, line, &view, kind);
            let _ = write!(
                out,
                "</svg>\n<figcaption>{caption}</figcaption>\n</figure>\n"
            );
        }
    }
    out + "</div>\n"
}

fn views(line: &LimbLightLine) -> [View; 2] {
    let q = line.light.sky.parallactic_deg;
    // North stands at -q from the zenith.
    let turn_deg = q + line.pole.north_deg();
    [
        View {
            up: "zenith".to_owned(),
            turn_deg: 0.0,
            mark: ('N', -q),
            face: line.zenith_up.clone(),
        },
        View {
            up: format!("celestial {}", line.pole.word()),
            turn_deg,
            mark: ('Z', 0.0),
            face: line.pole_up.clone(),
        },
    ]
}

/// A point by its distance and its angle anticlockwise from up, in axes x right and y down.
fn polar(distance: f64, anticlockwise_deg: f64) -> (f64, f64) {
    let (sin, cos) = anticlockwise_deg.to_radians().sin_cos();
    (-distance * sin, -distance * cos)
}

/// The Moon's centre and radius in a drawing with the zenith up and no air.
fn moon(sky: &SunMoon) -> (f64, f64, f64) {
    let scale = SUN / sky.sun_radius_arcsec;
    let vertex_deg = sky.position_angle_deg() - sky.parallactic_deg;
    let (x, y) = polar(sky.separation_arcsec() * scale, vertex_deg);
    (x, y, sky.moon_radius_arcsec * scale)
}

fn draw(out: &mut String, line: &LimbLightLine, view: &View, kind: LocalKind) {
    let sky = &line.light.sky;
    let _ = write!(
        out,
        "<rect class=\"sky\" x=\"-98\" y=\"-98\" width=\"196\" height=\"196\" rx=\"8\"/>\n\
         <g transform=\"rotate({:.2}) scale(1 {:.4})\">\n",
        -view.turn_deg, sky.vertical_squeeze
    );
    let (mx, my, radius) = moon(sky);
    if kind == LocalKind::Total {
        out.push_str("<circle class=\"corona\" r=\"80\"/><circle class=\"corona\" r=\"66\"/>\n");
    } else {
        let _ = writeln!(out, "<circle class=\"sun\" r=\"{SUN}\"/>");
    }
    let _ = writeln!(
        out,
        "<circle class=\"moon\" cx=\"{mx:.2}\" cy=\"{my:.2}\" r=\"{radius:.2}\"/>"
    );
    let at = |position_deg: f64, out_by: f64| {
        let (x, y) = polar(radius + out_by, position_deg - sky.parallactic_deg);
        (mx + x, my + y)
    };
    for (from_deg, to_deg) in &line.light.lit_deg {
        let ((x1, y1), (x2, y2)) = (at(*from_deg, 1.0), at(*to_deg, 1.0));
        // Position angles run anticlockwise; a stretch of a second from the contact is less than half a turn.
        let _ = writeln!(
            out,
            "<path class=\"lit\" d=\"M{x1:.2} {y1:.2}A{r:.2} {r:.2} 0 0 0 {x2:.2} {y2:.2}\"/>",
            r = radius + 1.0
        );
    }
    let (x, y) = at(line.light.position_angle_deg, 2.0);
    if line.diamond {
        let _ = writeln!(out, "<path class=\"diamond\" d=\"{}\"/>", star(x, y));
    } else {
        let _ = writeln!(
            out,
            "<circle class=\"diamond\" cx=\"{x:.2}\" cy=\"{y:.2}\" r=\"5\"/>"
        );
    }
    out.push_str("</g>\n");
    let (letter, vertex_deg) = view.mark;
    let (tx, ty) = polar(LETTERS, vertex_deg + view.turn_deg);
    let _ = writeln!(
        out,
        "<text class=\"mid\" x=\"{tx:.1}\" y=\"{:.1}\">{letter}</text>",
        ty + 5.0
    );
}

/// A star of eight points about a place.
fn star(x: f64, y: f64) -> String {
    let mut path = String::new();
    for n in 0..16 {
        let distance = if n % 2 == 1 {
            4.5
        } else if n % 4 == 0 {
            15.0
        } else {
            9.0
        };
        let (dx, dy) = polar(distance, f64::from(n) * 22.5);
        let _ = write!(
            path,
            "{}{:.2} {:.2}",
            if n == 0 { 'M' } else { 'L' },
            x + dx,
            y + dy
        );
    }
    path + "Z"
}
