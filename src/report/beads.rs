//! Frames around second and third contact beside the light that was due: which stretches of the limb the sky had lit.

use std::fmt::Write as _;

use jiff::tz::TimeZone;

use super::markup::{clock_time, paragraph, safe, section};
use super::shots::{Thumbs, small_picture};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::ContactKind;

/// A stretch of the Moon's limb with sunlight past it: position angles in degrees from north through east, from and to.
pub type Arc = (f64, f64);

/// The light due in a frame near second or third contact.
#[derive(Clone, Debug, PartialEq)]
pub struct DueLight {
    /// Which of the record's shots.
    pub shot: usize,
    /// C2 or C3.
    pub contact: ContactKind,
    /// Middle of the exposure after the contact, in seconds.
    pub from_contact_s: f64,
    /// One sigma of that in seconds: of the clock and of the contact.
    pub sigma_s: f64,
    /// What is lit within one sigma of the time throughout.
    pub sure: Vec<Arc>,
    /// What is lit some time within one sigma.
    pub perhaps: Vec<Arc>,
}

/// The section; nothing where no frame has light due.
pub(super) fn beads(
    catalogue: &Catalogue,
    due: &[DueLight],
    thumb: Thumbs<'_>,
    zone: &TimeZone,
) -> String {
    let mut items = String::new();
    for light in due {
        let Some(shot) = catalogue.shots.get(light.shot) else {
            continue;
        };
        let picture = small_picture(thumb(shot), "");
        let at = shot.utc.map(|utc| clock_time(utc, zone));
        let _ = writeln!(
            items,
            "<li><a href=\"#r{}\">{picture}{}<span class=\"name\">{}</span></a><span>{}; {}</span></li>",
            light.shot,
            drawing(shot, light),
            safe(shot.name().rsplit('/').next().unwrap_or_default()),
            safe(&when(light)),
            safe(&where_lit(light, at.as_deref())),
        );
    }
    if items.is_empty() {
        return String::new();
    }
    let words = paragraph(
        "Beside each frame the light that was due at its time, turned as the picture is: what is lit for as long as the clock's one \
         sigma leaves open is drawn full, what may be lit is drawn thin. The heights of the Moon's limb are NASA's (LOLA).",
    );
    let list = format!("<ul class=\"row beads\">\n{items}</ul>\n");
    section("due", "Beads, as taken and as due", &(words + &list))
}

/// "C2 −3.2 s ± 0.4 s", no finer than it is known.
fn when(light: &DueLight) -> String {
    let fine = light.sigma_s < 1.0;
    let unit = if fine { 0.1 } else { 1.0 };
    // Nothing added makes a plain zero of a negative one.
    let seconds = (light.from_contact_s / unit).round() * unit + 0.0;
    let decimals = usize::from(fine);
    let text = format!(
        "{} {seconds:+.decimals$} s \u{b1} {:.decimals$} s",
        light.contact.word(),
        light.sigma_s.max(0.1)
    );
    text.replace('-', "\u{2212}")
}

/// "light at P 112° to 118°, 124°".
fn where_lit(light: &DueLight, at: Option<&str>) -> String {
    /// More stretches than this are counted, not listed.
    const MOST: usize = 6;
    /// Shorter than this, in degrees, a stretch is told by one angle.
    const POINT_DEG: f64 = 1.5;
    let time = at.map_or_else(String::new, |at| format!("{at}; "));
    let arcs = joined(if light.sure.is_empty() {
        &light.perhaps
    } else {
        &light.sure
    });
    let one = |(from, to): &Arc| match (to - from).rem_euclid(360.0) {
        length if length < POINT_DEG => format!("{:.0}°", (from + length / 2.0).rem_euclid(360.0)),
        _ => format!("{from:.0}° to {to:.0}°"),
    };
    match arcs.len() {
        0 => format!("{time}no sunlight due"),
        n if n > MOST => format!("{time}{n} beads due"),
        _ => {
            let maybe = if light.sure.is_empty() {
                "perhaps "
            } else {
                ""
            };
            let list: Vec<String> = arcs.iter().map(one).collect();
            format!("{time}{maybe}light at P {}", list.join(", "))
        }
    }
}

/// Stretches nearer to each other than angles are told are told as one.
fn joined(arcs: &[Arc]) -> Vec<Arc> {
    /// Degrees between stretches that are told apart.
    const APART_DEG: f64 = 1.0;
    let mut out: Vec<Arc> = Vec::new();
    for &(from, to) in arcs {
        match out.last_mut() {
            Some(last) if (from - last.1).rem_euclid(360.0) < APART_DEG => last.1 = to,
            _ => out.push((from, to)),
        }
    }
    out
}

/// The Moon with the light about it, as the picture has it turned.
fn drawing(shot: &ShotRecord, light: &DueLight) -> String {
    let Some(north_deg) = shot.north_deg else {
        return String::new();
    };
    let hand = if shot.mirrored == Some(true) {
        -1.0
    } else {
        1.0
    };
    let turn = Turned { north_deg, hand };
    let mut svg =
        "<svg viewBox=\"-50 -50 100 100\" role=\"img\" aria-label=\"Light due about the Moon\">\
                   <circle r=\"34\" class=\"moon\"/>"
            .to_owned();
    for (arcs, class) in [(&light.perhaps, "perhaps"), (&light.sure, "sure")] {
        for arc in arcs {
            let _ = write!(svg, "<path class=\"{class}\" d=\"{}\"/>", turn.path(*arc));
        }
    }
    svg.push_str("</svg>");
    svg
}

/// How a picture is turned.
struct Turned {
    north_deg: f64,
    /// 1, or -1 in a mirrored picture.
    hand: f64,
}

impl Turned {
    /// Radius at which the light is drawn.
    const RADIUS: f64 = 38.0;
    /// Least length drawn, in degrees: a bead is a point.
    const LEAST_DEG: f64 = 3.0;

    /// The stretch as a path.
    fn path(&self, (from, to): Arc) -> String {
        let length = (to - from).rem_euclid(360.0);
        let more = (Self::LEAST_DEG - length).max(0.0) / 2.0;
        let (start, end) = (self.point(from - more), self.point(to + more));
        let large = u8::from(length > 180.0);
        // Position angles run anticlockwise on the sky, clockwise in a mirror.
        let sweep = u8::from(self.hand < 0.0);
        format!(
            "M{:.1} {:.1}A{r} {r} 0 {large} {sweep} {:.1} {:.1}",
            start.0,
            start.1,
            end.0,
            end.1,
            r = Self::RADIUS
        )
    }

    fn point(&self, position_deg: f64) -> (f64, f64) {
        let (sin, cos) = (self.north_deg + self.hand * position_deg)
            .to_radians()
            .sin_cos();
        (-Self::RADIUS * sin, -Self::RADIUS * cos)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn light(from_contact_s: f64, sigma_s: f64, sure: Vec<Arc>) -> DueLight {
        DueLight {
            shot: 0,
            contact: ContactKind::C2,
            from_contact_s,
            sigma_s,
            perhaps: sure.clone(),
            sure,
        }
    }

    #[test]
    fn east_is_to_the_left_of_north_and_to_the_right_in_a_mirror() {
        let plain = Turned {
            north_deg: 0.0,
            hand: 1.0,
        };
        let mirrored = Turned {
            hand: -1.0,
            ..plain
        };
        assert!(plain.point(90.0).0 < -37.9 && mirrored.point(90.0).0 > 37.9);
        // North anticlockwise from up by a quarter turn: to the left.
        let turned = Turned {
            north_deg: 90.0,
            hand: 1.0,
        };
        assert!(turned.point(0.0).0 < -37.9);
    }

    #[test]
    fn words_are_no_finer_than_the_clock() {
        let words = |from_s, sigma_s| when(&light(from_s, sigma_s, Vec::new()));
        assert_eq!(words(-2.34, 0.31), "C2 \u{2212}2.3 s \u{b1} 0.3 s");
        assert_eq!(words(-2.34, 1.6), "C2 \u{2212}2 s \u{b1} 2 s");
        assert_eq!(words(-0.3, 1.6), "C2 +0 s \u{b1} 2 s");
        let arcs = vec![(112.2, 115.0), (115.4, 118.1), (124.0, 124.5)];
        assert_eq!(
            where_lit(&light(-1.0, 0.1, arcs), None),
            "light at P 112° to 118°, 124°"
        );
        assert_eq!(
            where_lit(&light(3.0, 0.1, Vec::new()), None),
            "no sunlight due"
        );
    }
}
