//! The clocks of a card as a table of text.

use std::fmt::Write;

use super::words::error_text;
use crate::catalogue::{CameraRecord, ClockPoint};
use crate::domain::in_line;

/// The clocks as text: one paragraph a body with error, sigma, zone and evidence, then one line a frame that spoke.
/// Says so where no body has a clock.
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
    let evidence: Vec<String> = clock.evidence.iter().map(ToString::to_string).collect();
    writeln!(
        text,
        "{}",
        if camera.label.is_empty() {
            "unnamed camera"
        } else {
            &*label
        }
    )?;
    writeln!(
        text,
        "  error      {:+.2} s ± {:.2} s (camera minus true; {})",
        clock.error_s,
        clock.sigma_s,
        error_text(clock.error_s)
    )?;
    writeln!(
        text,
        "  zone       {:+.2} h (local minus UTC)",
        f64::from(clock.zone_offset_s) / 3600.0
    )?;
    writeln!(text, "  evidence   {}", evidence.join(", "))?;
    writeln!(text, "  in short   {}", in_line(&camera.clock_summary))?;
    if camera.clock_points.is_empty() {
        writeln!(text, "  no frame by frame evidence\n")?;
        return Ok(());
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
