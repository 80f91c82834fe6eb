//! The clocks of a card as a table of text.

use std::fmt::Write;

use crate::catalogue::{CameraRecord, ClockPoint};
use crate::domain::{evidence_text, in_line, sigma_text, whole_error_text, zone_text};

/// The clocks as text: one paragraph a body with its line, how its stamps become true time and what that rests on, then one
/// line a frame that spoke. Says so where no body has a clock.
pub fn table(cameras: &[CameraRecord]) -> String {
    if cameras.is_empty() {
        return "no camera on this card\n".to_owned();
    }
    let mut text = String::new();
    for camera in cameras {
        body(&mut text, camera).expect("writing to a string cannot fail");
    }
    text
}

fn body(text: &mut String, camera: &CameraRecord) -> std::fmt::Result {
    let clock = &camera.clock;
    let label = in_line(&camera.label);
    writeln!(
        text,
        "{}",
        if camera.label.is_empty() {
            "unnamed camera"
        } else {
            &*label
        }
    )?;
    writeln!(text, "  clock      {}", in_line(&camera.clock_words()))?;
    writeln!(text, "  read as    {}", zone_text(clock.zone_offset_s))?;
    writeln!(
        text,
        "  corrected  {} ± {} s",
        whole_error_text(clock.error_s),
        sigma_text(clock.sigma_s)
    )?;
    writeln!(text, "  rests on   {}", evidence_text(&clock.evidence))?;
    points(text, camera)
}

fn points(text: &mut String, camera: &CameraRecord) -> std::fmt::Result {
    if camera.clock_points.is_empty() {
        return writeln!(text, "  no frame by frame evidence\n");
    }
    let name = |point: &ClockPoint| in_line(&point.file).into_owned();
    let widest = camera.clock_points.iter().map(|p| name(p).chars().count());
    let wide = widest.max().unwrap_or(4).max(4);
    writeln!(
        text,
        "  {:wide$}  {:24}  {:>10}  {:>8}",
        "file", "utc", "residual_s", "sigma_s"
    )?;
    for point in &camera.clock_points {
        let mark = if point.outlier { "  left out" } else { "" };
        writeln!(
            text,
            "  {:wide$}  {:24}  {:>+10.2}  {:>8.2}{mark}",
            name(point),
            point.utc.to_string(),
            point.residual_s,
            point.sigma_s
        )?;
    }
    writeln!(text)
}
