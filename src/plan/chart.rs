//! The Sun's path over the compass horizon, as inline SVG.

use std::fmt::Write as _;

use super::course::{HorizonReport, PathPoint, near};
use super::sheet::{ContactLine, Sheet};
use super::skyline::Skyline;
use super::times::compass_point;
use crate::domain::{ContactKind, in_markup};

/// Width of the drawing in its own units: 12 of a letter are 10 px high on a phone's page and 16 on a wide one.
const WIDTH: f64 = 420.0;
/// Left edge of the plot.
const LEFT: f64 = 34.0;
/// Right edge of the plot.
const RIGHT: f64 = 412.0;
/// Top edge of the plot.
const TOP: f64 = 10.0;
/// Room below the plot for two lines of letters.
const FOOT: f64 = 40.0;

/// Where directions stand in the plot.
struct Plot {
    /// Azimuths at the left and right edge in degrees, without jumps.
    az_deg: (f64, f64),
    /// Altitudes at the bottom and top in degrees.
    alt_deg: (f64, f64),
    /// Bottom edge in the drawing's units.
    bottom: f64,
}

/// The drawing; `None` where the Sun is never up.
pub(super) fn chart(sheet: &Sheet) -> Option<String> {
    let plot = Plot::of(&sheet.sun_path)?;
    let height = plot.bottom + FOOT;
    let title = in_markup(&title(sheet));
    let mut out = format!(
        "<svg class=\"chart\" viewBox=\"0 0 {WIDTH} {height:.0}\" role=\"img\" aria-label=\"{title}\">\n\
         <rect class=\"sky\" x=\"{LEFT}\" y=\"{TOP}\" width=\"{:.1}\" height=\"{:.1}\"/>\n",
        RIGHT - LEFT,
        plot.bottom - TOP
    );
    grid(&mut out, &plot);
    path(&mut out, &plot, &sheet.sun_path);
    ground(&mut out, &plot, sheet.horizon_file.as_ref());
    contacts(&mut out, &plot, sheet);
    compass(&mut out, &plot);
    out.push_str("</svg>\n");
    Some(out)
}

/// What the drawing says, for those who hear the page.
fn title(sheet: &Sheet) -> String {
    let up = sheet.contacts.iter().filter(|c| c.sun_up);
    let said: Vec<String> = up
        .map(|c| {
            format!(
                "{} at {:.0} degrees, {:.0} up",
                c.contact.word(),
                c.sun_az_deg,
                c.sun_alt_deg
            )
        })
        .collect();
    format!("The Sun's path over the horizon: {}", said.join("; "))
}

impl Plot {
    fn of(path: &[PathPoint]) -> Option<Self> {
        let (mut low_az, mut high_az, mut high_alt) = (f64::MAX, f64::MIN, f64::MIN);
        for point in path {
            low_az = low_az.min(point.az_deg);
            high_az = high_az.max(point.az_deg);
            high_alt = high_alt.max(point.alt_deg);
        }
        if path.is_empty() {
            return None;
        }
        // A label needs room on either side of a path that hardly moves in azimuth.
        let wanted = ((high_az - low_az) * 1.2).clamp(30.0, 360.0);
        let middle = (low_az + high_az) / 2.0;
        let az_deg = (middle - wanted / 2.0, middle + wanted / 2.0);
        let top = (high_alt * 1.18 + 2.0).clamp(8.0, 95.0);
        let floor = -0.06 * top;
        // Degrees are as long in height as in width where that leaves a drawing of some shape.
        let even = (RIGHT - LEFT) / wanted * (top - floor);
        Some(Self {
            az_deg,
            alt_deg: (floor, top),
            bottom: TOP + even.clamp(150.0, 270.0),
        })
    }

    fn x(&self, az_deg: f64) -> f64 {
        LEFT + (RIGHT - LEFT) * (az_deg - self.az_deg.0) / (self.az_deg.1 - self.az_deg.0)
    }

    fn y(&self, alt_deg: f64) -> f64 {
        let (low, high) = self.alt_deg;
        let held = alt_deg.clamp(low, high);
        self.bottom - (self.bottom - TOP) * (held - low) / (high - low)
    }

    /// The azimuth as it runs in the plot, near its middle.
    fn run_on(&self, az_deg: f64) -> f64 {
        near(az_deg, (self.az_deg.0 + self.az_deg.1) / 2.0)
    }
}

/// A round step that parts a range into six at the most.
fn step(range: f64, steps: &[f64]) -> f64 {
    let fits = steps.iter().copied().find(|s| range / s <= 6.0);
    fits.unwrap_or(90.0)
}

fn grid(out: &mut String, plot: &Plot) {
    let each = step(plot.alt_deg.1, &[2.0, 5.0, 10.0, 15.0]);
    let mut alt = 0.0;
    while alt < plot.alt_deg.1 {
        let y = plot.y(alt);
        let _ = writeln!(
            out,
            "<line class=\"grid\" x1=\"{LEFT}\" x2=\"{RIGHT}\" y1=\"{y:.1}\" y2=\"{y:.1}\"/><text class=\"end\" x=\"{:.0}\" y=\"{:.1}\">{alt:.0}°</text>",
            LEFT - 4.0,
            y + 4.0
        );
        alt += each;
    }
}

fn path(out: &mut String, plot: &Plot, points: &[PathPoint]) {
    let line: Vec<String> = points
        .iter()
        .map(|p| format!("{:.1},{:.1}", plot.x(p.az_deg), plot.y(p.alt_deg)))
        .collect();
    let _ = writeln!(
        out,
        "<polyline class=\"way\" points=\"{}\"/>",
        line.join(" ")
    );
}

/// The ground up to the horizon.
fn ground(out: &mut String, plot: &Plot, report: Option<&HorizonReport>) {
    let skyline = report.map(|r| Skyline {
        points: r.points.clone(),
    });
    let alt = |az: f64| {
        let measured = skyline.as_ref().and_then(|line| line.altitude_deg(az));
        measured.unwrap_or(0.0)
    };
    let (first, last) = plot.az_deg;
    let mut azimuths: Vec<f64> = (0..=180)
        .map(|n| first + (last - first) * f64::from(n) / 180.0)
        .collect();
    // The file's own corners, a hair to either side so that walls stand upright.
    for point in skyline.iter().flat_map(|line| &line.points) {
        let az = plot.run_on(point.az_deg);
        azimuths.extend([az - 1e-6, az, az + 1e-6]);
    }
    azimuths.retain(|az| (first..=last).contains(az));
    azimuths.sort_by(f64::total_cmp);
    let edge: Vec<String> = azimuths
        .iter()
        .map(|az| format!("{:.1},{:.1}", plot.x(*az), plot.y(alt(*az))))
        .collect();
    let _ = writeln!(
        out,
        "<polygon class=\"ground\" points=\"{LEFT},{bottom:.1} {} {RIGHT},{bottom:.1}\"/>",
        edge.join(" "),
        bottom = plot.bottom
    );
}

/// A mark on the path with its label.
struct Mark {
    label: String,
    az_deg: f64,
    alt_deg: f64,
}

/// Contacts with the Sun up; second, maximum and third in one where they stand together.
fn marks(plot: &Plot, sheet: &Sheet) -> Vec<Mark> {
    let at = |c: &ContactLine| {
        let (az_deg, alt_deg) = (plot.run_on(c.sun_az_deg), c.sun_alt_deg);
        (plot.x(az_deg), plot.y(alt_deg), az_deg, alt_deg)
    };
    let mut marks: Vec<(Mark, f64, f64, ContactKind)> = Vec::new();
    for contact in sheet.contacts.iter().filter(|c| c.sun_up) {
        let (x, y, az_deg, alt_deg) = at(contact);
        let local = contact.local.get(..5).unwrap_or(&contact.local);
        if let Some((mark, px, py, first)) = marks.last_mut()
            && (x - *px).hypot(y - *py) < TOGETHER
            && contact.contact != ContactKind::C4
        {
            if (*first, contact.contact) == (ContactKind::C2, ContactKind::C3) {
                mark.label = mark.label.replacen("C2", "C2 to C3", 1);
            }
            continue;
        }
        let mark = Mark {
            label: match contact.contact {
                ContactKind::Maximum => format!("max. {local}"),
                kind => format!("{} {local}", kind.word()),
            },
            az_deg,
            alt_deg,
        };
        marks.push((mark, x, y, contact.contact));
    }
    marks.into_iter().map(|(mark, ..)| mark).collect()
}

/// Marks nearer than this, in the drawing's units, share a label.
const TOGETHER: f64 = 14.0;

fn contacts(out: &mut String, plot: &Plot, sheet: &Sheet) {
    for mark in marks(plot, sheet) {
        let (x, y) = (plot.x(mark.az_deg), plot.y(mark.alt_deg));
        let (dx, dy) = normal(plot, &sheet.sun_path, mark.az_deg, mark.alt_deg);
        let (mut tx, ty) = (x + 10.0 * dx, (y - 10.0 * dy + 4.0).max(TOP + 12.0));
        let half = 3.3 * mark.label.chars().count() as f64;
        let anchor = match dx {
            dx if dx > 0.4 => "start",
            dx if dx < -0.4 => "end",
            _ => "middle",
        };
        let (reach_left, reach_right) = match anchor {
            "start" => (0.0, 2.0 * half),
            "end" => (2.0 * half, 0.0),
            _ => (half, half),
        };
        tx = tx.clamp(LEFT + 3.0 + reach_left, RIGHT - 3.0 - reach_right);
        let _ = writeln!(
            out,
            "<circle class=\"mark\" cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4.5\"/><text class=\"label\" text-anchor=\"{anchor}\" x=\"{tx:.1}\" y=\"{ty:.1}\">{}</text>",
            in_markup(&mark.label)
        );
    }
}

/// The unit vector, right and up, square to the path at a place and away from the ground; straight right where the path is upright.
fn normal(plot: &Plot, path: &[PathPoint], az_deg: f64, alt_deg: f64) -> (f64, f64) {
    let (x, y) = (plot.x(az_deg), plot.y(alt_deg));
    let off = |p: &PathPoint| (plot.x(p.az_deg) - x).hypot(plot.y(p.alt_deg) - y);
    let nearest = (0..path.len()).min_by(|a, b| off(&path[*a]).total_cmp(&off(&path[*b])));
    let Some(n) = nearest else {
        return (0.0, 1.0);
    };
    let (a, b) = (path[n.saturating_sub(1)], path[(n + 1).min(path.len() - 1)]);
    let along = (
        plot.x(b.az_deg) - plot.x(a.az_deg),
        plot.y(a.alt_deg) - plot.y(b.alt_deg),
    );
    let length = along.0.hypot(along.1).max(1e-9);
    let (right, up) = (-along.1 / length, along.0 / length);
    if up < 0.0 { (-right, -up) } else { (right, up) }
}

/// Azimuths below the plot, compass points under them.
fn compass(out: &mut String, plot: &Plot) {
    let (first, last) = plot.az_deg;
    let each = step(last - first, &[5.0, 10.0, 15.0, 30.0, 45.0]);
    let mut az = (first / each).ceil() * each;
    while az <= last {
        let x = plot.x(az);
        let _ = writeln!(
            out,
            "<line class=\"tick\" x1=\"{x:.1}\" x2=\"{x:.1}\" y1=\"{:.1}\" y2=\"{:.1}\"/><text class=\"mid\" x=\"{x:.1}\" y=\"{:.1}\">{:.0}°</text>",
            plot.bottom,
            plot.bottom + 4.0,
            plot.bottom + 17.0,
            az.rem_euclid(360.0)
        );
        az += each;
    }
    // Every point of the compass where there is room for it, else the eight main ones or the four.
    let apart = [22.5, 45.0, 90.0];
    let fits = apart.iter().find(|deg| (last - first) / **deg <= 8.0);
    let each = fits.copied().unwrap_or(90.0);
    let mut az = (first / each).ceil() * each;
    while az <= last {
        let _ = writeln!(
            out,
            "<text class=\"mid point\" x=\"{:.1}\" y=\"{:.1}\">{}</text>",
            plot.x(az),
            plot.bottom + 33.0,
            compass_point(az)
        );
        az += each;
    }
}
