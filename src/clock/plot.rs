//! The plot of the clocks: what each frame alone says about its camera's clock, and what is known of it in all.

use std::fmt::Write;

use super::curve;
use crate::catalogue::{CameraRecord, ClockPoint};
use crate::domain::{Contacts, Utc, in_markup};

/// Width of the picture in user units.
const WIDTH: f64 = 960.0;
/// Height of one body's panel.
const PANEL: f64 = 260.0;
/// Height of a body's title.
const TITLE: f64 = 34.0;
/// Margins of a panel: left, right, top, bottom.
const MARGINS: [f64; 4] = [70.0, 20.0, 46.0, 44.0];

/// An SVG picture: for each body a panel of points, residual seconds over time, one-sigma bars, the solved clock's own
/// one-sigma band, frames left out drawn open at the edge they lie beyond, and the contacts; below it the density of what is
/// known of the error, in as many pieces as it has peaks.
///
/// Without anything to draw the picture says so. Text in the picture is escaped.
pub fn residual_plot(cameras: &[CameraRecord], contacts: Option<&Contacts>) -> String {
    let shown: Vec<&CameraRecord> = cameras.iter().filter(|c| height_of(c) > 0.0).collect();
    let height = shown
        .iter()
        .map(|c| height_of(c))
        .sum::<f64>()
        .max(PANEL / 2.0);
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {height}\" font-family=\"sans-serif\" font-size=\"13\">\n\
         <rect width=\"{WIDTH}\" height=\"{height}\" fill=\"#ffffff\"/>\n"
    );
    if shown.is_empty() {
        svg += "<text x=\"40\" y=\"60\" fill=\"#222222\">No picture on this card tells its clocks.</text>\n";
    }
    let mut top = 0.0;
    for camera in shown {
        body(&mut svg, camera, contacts, top).expect("writing to a string cannot fail");
        top += height_of(camera);
    }
    svg + "</svg>\n"
}

/// Height of a body's panels in user units.
fn height_of(camera: &CameraRecord) -> f64 {
    let points = f64::from(u8::from(!camera.clock_points.is_empty()));
    let curve = f64::from(u8::from(!camera.clock_curve.0.is_empty()));
    match points.max(curve) > 0.0 {
        true => TITLE + points * (PANEL - TITLE) + curve * curve::HEIGHT,
        false => 0.0,
    }
}

fn body(
    svg: &mut String,
    camera: &CameraRecord,
    contacts: Option<&Contacts>,
    top: f64,
) -> std::fmt::Result {
    writeln!(
        svg,
        "<text x=\"{}\" y=\"{}\" font-size=\"15\" fill=\"#111111\">{}: {}</text>",
        MARGINS[0],
        top + 24.0,
        in_markup(&camera.label),
        in_markup(&camera.clock_words())
    )?;
    let mut curve_top = top + TITLE;
    if !camera.clock_points.is_empty() {
        panel(svg, camera, contacts, top)?;
        curve_top = top + PANEL;
    }
    if camera.clock_curve.0.is_empty() {
        return Ok(());
    }
    curve::panel(svg, camera, (MARGINS[0], WIDTH - MARGINS[1]), curve_top)
}

/// From seconds to places in a panel.
struct Scale {
    from: Utc,
    span_s: f64,
    half_s: f64,
    top: f64,
}

impl Scale {
    fn of(points: &[ClockPoint], sigma_s: f64, top: f64) -> Self {
        let first = points.iter().map(|p| p.utc).min();
        let last = points.iter().map(|p| p.utc).max();
        let from = first.unwrap_or(Utc::from_unix_s(0.0));
        let span_s = last.map_or(0.0, |l| l.seconds_since(from)).max(60.0);
        let kept = points.iter().filter(|p| !p.outlier);
        let reach = kept.map(|p| p.residual_s.abs() + p.sigma_s);
        let most = reach
            .filter(|r| r.is_finite())
            .fold(2.0 * sigma_s, f64::max);
        Self {
            from: from.plus_s(-0.04 * span_s),
            span_s: 1.08 * span_s,
            half_s: nice(most.clamp(0.2, 1e7)),
            top,
        }
    }

    fn x(&self, utc: Utc) -> f64 {
        let part = utc.seconds_since(self.from) / self.span_s;
        MARGINS[0] + part * (WIDTH - MARGINS[0] - MARGINS[1])
    }

    /// Held inside the panel.
    fn y(&self, seconds: f64) -> f64 {
        let part = (seconds / self.half_s).clamp(-1.0, 1.0);
        let inner = PANEL - MARGINS[2] - MARGINS[3];
        self.top + MARGINS[2] + inner * (1.0 - part) / 2.0
    }

    fn bottom(&self) -> f64 {
        self.y(-self.half_s)
    }
}

/// The next of 1, 2, 5 times a power of ten.
fn nice(value: f64) -> f64 {
    let power = 10f64.powf(value.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|step| step * power)
        .find(|step| *step >= value)
        .unwrap_or(value)
}

fn panel(
    svg: &mut String,
    camera: &CameraRecord,
    contacts: Option<&Contacts>,
    top: f64,
) -> std::fmt::Result {
    let scale = Scale::of(&camera.clock_points, camera.clock.sigma_s, top);
    let right = WIDTH - MARGINS[1];
    let (high, low) = (
        scale.y(camera.clock.sigma_s),
        scale.y(-camera.clock.sigma_s),
    );
    writeln!(
        svg,
        "<rect x=\"{}\" y=\"{high:.1}\" width=\"{}\" height=\"{:.1}\" fill=\"#dde8f4\"/>",
        MARGINS[0],
        right - MARGINS[0],
        low - high
    )?;
    for part in [-1.0, -0.5, 0.0, 0.5, 1.0] {
        let (seconds, y) = (part * scale.half_s, scale.y(part * scale.half_s));
        writeln!(
            svg,
            "<line x1=\"{}\" x2=\"{right}\" y1=\"{y:.1}\" y2=\"{y:.1}\" stroke=\"#bbbbbb\" stroke-width=\"0.7\"/>\
             <text x=\"{}\" y=\"{:.1}\" text-anchor=\"end\" fill=\"#444444\">{seconds:+} s</text>",
            MARGINS[0],
            MARGINS[0] - 8.0,
            y + 4.0
        )?;
    }
    if let Some(contacts) = contacts {
        marks(svg, contacts, &scale)?;
    }
    camera
        .clock_points
        .iter()
        .try_for_each(|p| point(svg, p, &scale))?;
    writeln!(
        svg,
        "<text x=\"{}\" y=\"{:.1}\" fill=\"#444444\">{}</text><text x=\"{right}\" y=\"{:.1}\" text-anchor=\"end\" fill=\"#444444\">{}</text>",
        MARGINS[0],
        scale.bottom() + 34.0,
        clock_text(scale.from),
        scale.bottom() + 34.0,
        clock_text(scale.from.plus_s(scale.span_s))
    )
}

fn marks(svg: &mut String, contacts: &Contacts, scale: &Scale) -> std::fmt::Result {
    let inside = |x: f64| (MARGINS[0]..=WIDTH - MARGINS[1]).contains(&x);
    for event in contacts.events() {
        let x = scale.x(event.utc);
        if !inside(x) {
            continue;
        }
        writeln!(
            svg,
            "<line x1=\"{x:.1}\" x2=\"{x:.1}\" y1=\"{:.1}\" y2=\"{:.1}\" stroke=\"#c08a2d\" stroke-dasharray=\"4 3\"/>",
            scale.y(scale.half_s),
            scale.bottom()
        )?;
        // C2, maximum and C3 lie too close together for three words.
        if event.kind != crate::domain::ContactKind::Maximum {
            let anchor = if event.kind == crate::domain::ContactKind::C2 {
                "end"
            } else {
                "start"
            };
            writeln!(
                svg,
                "<text x=\"{x:.1}\" y=\"{:.1}\" text-anchor=\"{anchor}\" fill=\"#8a5d10\">{}</text>",
                scale.bottom() + 16.0,
                event.kind.word()
            )?;
        }
    }
    Ok(())
}

fn point(svg: &mut String, point: &ClockPoint, scale: &Scale) -> std::fmt::Result {
    let (x, y) = (scale.x(point.utc), scale.y(point.residual_s));
    let fill = if point.outlier { "#ffffff" } else { "#1f5fa8" };
    let colour = if point.outlier { "#b03030" } else { "#1f5fa8" };
    if !point.outlier && point.sigma_s.is_finite() {
        writeln!(
            svg,
            "<line x1=\"{x:.1}\" x2=\"{x:.1}\" y1=\"{:.1}\" y2=\"{:.1}\" stroke=\"{colour}\"/>",
            scale.y(point.residual_s - point.sigma_s),
            scale.y(point.residual_s + point.sigma_s)
        )?;
    }
    writeln!(
        svg,
        "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3.5\" fill=\"{fill}\" stroke=\"{colour}\"><title>{}: {:+.2} s ± {:.2} s{}</title></circle>",
        in_markup(&point.file),
        point.residual_s,
        point.sigma_s,
        if point.outlier { ", left out" } else { "" }
    )
}

/// Hours, minutes and seconds UTC.
fn clock_text(utc: Utc) -> String {
    let text = utc.to_string();
    let time = text.get(11..19).unwrap_or(&text);
    format!("{time} UTC")
}
