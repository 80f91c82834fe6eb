//! How each clock was found, with what every frame says of it.

use std::fmt::Write as _;

use jiff::tz::TimeZone;

use super::markup::{clock_time, counted, safe, section};
use super::plot::{Frame, place};
use crate::catalogue::{CameraRecord, Catalogue, ClockPoint};
use crate::domain::ZoneSource;

/// Width and height of the plot.
const SIZE: (f64, f64) = (960.0, 240.0);

/// The section on the clocks.
pub(super) fn clocks(catalogue: &Catalogue, zone: &TimeZone) -> String {
    if catalogue.cameras.is_empty() {
        return section(
            "clocks",
            "Camera clocks",
            "<p>No camera is named on this card.</p>\n",
        );
    }
    let each: String = catalogue
        .cameras
        .iter()
        .map(|camera| one(camera, zone))
        .collect();
    section("clocks", "Camera clocks", &each)
}

fn one(camera: &CameraRecord, zone: &TimeZone) -> String {
    let clock = &camera.clock;
    let zone_from = match clock.zone_source {
        ZoneSource::Header => "as the camera wrote it",
        ZoneSource::Given => "as given",
        ZoneSource::Place => "of the place",
        ZoneSource::Pictures => "read off the pictures",
    };
    let mut out = format!("<h3>{}</h3>\n", safe(&camera.label));
    // The words name what the clock rests on; where there are none, that is told by itself.
    let words = match camera.clock_words() {
        words if words.is_empty() => {
            let evidence = clock.evidence.iter().map(ToString::to_string);
            format!("rests on {}", evidence.collect::<Vec<_>>().join("; "))
        }
        words => words,
    };
    let _ = writeln!(
        out,
        "<p><strong>Clock:</strong> {}. Read as UTC{} ({zone_from}).</p>",
        safe(&words),
        offset(clock.zone_offset_s),
    );
    out + &residuals(camera, zone)
}

/// `+05:30`, `-04:00`.
fn offset(seconds: i32) -> String {
    let minutes = seconds.unsigned_abs() / 60;
    format!(
        "{}{:02}:{:02}",
        if seconds < 0 { '-' } else { '+' },
        minutes / 60,
        minutes % 60
    )
}

/// Frame by frame: its own word on the clock minus the solution, with error bars; left-out frames are crossed.
fn residuals(camera: &CameraRecord, zone: &TimeZone) -> String {
    let points: Vec<&ClockPoint> = camera
        .clock_points
        .iter()
        .filter(|p| p.residual_s.is_finite() && p.sigma_s.is_finite())
        .collect();
    let (Some(first), Some(last)) = (
        points.iter().map(|p| p.utc).min(),
        points.iter().map(|p| p.utc).max(),
    ) else {
        return String::new();
    };
    let outliers = points.iter().filter(|p| p.outlier).count();
    let reach = reach_s(&points, camera.clock.sigma_s);
    let margin_s = (last.seconds_since(first) * 0.03).max(30.0);
    let frame = Frame {
        left: 64.0,
        right: SIZE.0 - 16.0,
        top: 12.0,
        bottom: SIZE.1 - 28.0,
        from: first.plus_s(-margin_s),
        to: last.plus_s(margin_s),
        low: -reach,
        high: reach,
    };
    let words = format!(
        "Residuals of {} of {}, in seconds, {outliers} left out. The band is one sigma of the solution.",
        counted(points.len(), "frame"),
        camera.label
    );
    let mut svg = format!(
        "<figure>\n<div class=\"wide\" role=\"group\" aria-label=\"Residuals of {}\" tabindex=\"0\">\n<svg \
             class=\"plot\" viewBox=\"0 0 {} {}\" role=\"img\" aria-label=\"{}\">\n",
        safe(&camera.label),
        SIZE.0,
        SIZE.1,
        safe(&words)
    );
    axes(&mut svg, &frame, zone, camera.clock.sigma_s);
    for p in &points {
        point(&mut svg, &frame, p);
    }
    let _ = write!(
        svg,
        "</svg>\n</div>\n<figcaption>{}</figcaption>\n</figure>\n",
        safe(&words)
    );
    svg
}

/// Half the height of the plot in seconds: the frames that count, with their error bars, and no more than twice the
/// widest of them for those left out.
fn reach_s(points: &[&ClockPoint], sigma_s: f64) -> f64 {
    let widest = |outlier: bool| {
        points
            .iter()
            .filter(|p| p.outlier == outlier)
            .map(|p| p.residual_s.abs() + p.sigma_s)
            .fold(0.0, f64::max)
    };
    let kept = widest(false).max(sigma_s).max(0.05);
    kept.max(widest(true).min(2.0 * kept)) * 1.1
}

/// The greatest of 1, 2 and 5 times a power of ten that is no more than a value above 0.
fn round_step(value: f64) -> f64 {
    let power = 10_f64.powf(value.log10().floor());
    let steps = [5.0, 2.0, 1.0].map(|n| n * power);
    let fits = |step: &f64| *step <= value * (1.0 + 1e-9);
    steps.into_iter().find(fits).unwrap_or(power)
}

/// Seconds beside a line of the plot.
fn mark(value: f64, digits: usize) -> String {
    if value.abs() < 1e-12 {
        return "0 s".to_owned();
    }
    format!("{value:+.digits$} s").replace('-', "\u{2212}")
}

fn axes(svg: &mut String, frame: &Frame, zone: &TimeZone, sigma_s: f64) {
    let (left, width) = (place(frame.left), place(frame.right - frame.left));
    let band = sigma_s.clamp(0.0, frame.high);
    let _ = writeln!(
        svg,
        "<rect class=\"band\" x=\"{left}\" y=\"{}\" width=\"{width}\" height=\"{}\"/>",
        place(frame.y(band)),
        place(frame.y(-band) - frame.y(band))
    );
    let step = round_step(frame.high / 2.0);
    let digits = (-step.log10().floor()).max(0.0) as usize;
    for value in [-2.0, -1.0, 0.0, 1.0, 2.0].map(|n| n * step) {
        let y = frame.y(value);
        let _ = writeln!(
            svg,
            "<path class=\"grid\" d=\"M{left} {}h{width}\"/><text class=\"end\" x=\"{}\" \
                 y=\"{}\">{}</text>",
            place(y),
            place(frame.left - 6.0),
            place(y + 4.0),
            mark(value, digits)
        );
    }
    for t in frame.time_marks(zone, 10) {
        let label = clock_time(t, zone);
        let label = label.strip_suffix(":00").unwrap_or(&label);
        let _ = writeln!(
            svg,
            "<text class=\"mid\" x=\"{}\" y=\"{}\">{label}</text>",
            place(frame.x(t)),
            place(frame.bottom + 18.0)
        );
    }
}

fn point(svg: &mut String, frame: &Frame, p: &ClockPoint) {
    let held = |v: f64| frame.y(v.clamp(frame.low, frame.high));
    let (x, y) = (place(frame.x(p.utc)), held(p.residual_s));
    let (top, bottom) = (
        held(p.residual_s + p.sigma_s),
        held(p.residual_s - p.sigma_s),
    );
    let _ = write!(
        svg,
        "<path class=\"bar\" d=\"M{x} {}V{}\"/>",
        place(top),
        place(bottom)
    );
    if p.outlier {
        let _ = writeln!(
            svg,
            "<path class=\"out\" d=\"M{x} {}m-4-4l8 8m0-8l-8 8\"/>",
            place(y)
        );
    } else {
        let _ = writeln!(
            svg,
            "<circle class=\"dot\" cx=\"{x}\" cy=\"{}\" r=\"3.2\"/>",
            place(y)
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_lines_of_the_plot_are_round() {
        for (value, step) in [
            (6.06, 5.0),
            (5.0, 5.0),
            (4.9, 2.0),
            (0.19, 0.1),
            (31.0, 20.0),
        ] {
            assert!((round_step(value) - step).abs() < 1e-12, "{value}");
        }
        assert_eq!(mark(-10.0, 0), "\u{2212}10 s");
        assert_eq!(mark(0.2, 1), "+0.2 s");
        assert_eq!(mark(0.0, 1), "0 s");
    }
}
