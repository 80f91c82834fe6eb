//! What is known of a clock's error, drawn: density over error, one piece of the axis for each peak.

use std::fmt::Write;

use crate::catalogue::CameraRecord;
use crate::domain::{ClockMistake, DAY_S, error_text};

/// Height of the panel in user units.
pub(super) const HEIGHT: f64 = 190.0;

/// Space above and below the curve.
const ABOVE: f64 = 40.0;
const BELOW: f64 = 40.0;

/// Space between pieces of the axis.
const BREAK: f64 = 26.0;

/// Values farther apart than this many of their usual steps begin a new piece.
const BROKEN_STEPS: f64 = 12.0;

/// Most pieces drawn: the highest.
const MOST_PIECES: usize = 4;

/// Draws a body's curve from `left` to `right`, its panel's top at `top`.
pub(super) fn panel(
    svg: &mut String,
    camera: &CameraRecord,
    (left, right): (f64, f64),
    top: f64,
) -> std::fmt::Result {
    writeln!(
        svg,
        "<text x=\"{left}\" y=\"{}\" fill=\"#111111\">What its pictures leave of the clock's error</text>",
        top + 22.0
    )?;
    let pieces = pieces(camera);
    let count = pieces.len() as f64;
    let wide = (right - left - BREAK * (count - 1.0)) / count;
    for (n, piece) in pieces.iter().enumerate() {
        let from = left + n as f64 * (wide + BREAK);
        draw(svg, camera, piece, (from, from + wide), top)?;
    }
    Ok(())
}

/// The curve in its pieces, the highest, in order of error; whole days and zones are taken off as the solution has them.
fn pieces(camera: &CameraRecord) -> Vec<Vec<(f64, f64)>> {
    let cells = &camera.clock_curve.0;
    let mut steps: Vec<f64> = cells.windows(2).map(|w| w[1].0 - w[0].0).collect();
    steps.sort_by(f64::total_cmp);
    let usual_s = steps.get(steps.len() / 2).copied().unwrap_or(1.0).max(1e-3);
    let mut pieces: Vec<Vec<(f64, f64)>> = cells
        .chunk_by(|a, b| b.0 - a.0 <= BROKEN_STEPS * usual_s)
        .map(<[(f64, f64)]>::to_vec)
        .collect();
    let height = |piece: &[(f64, f64)]| piece.iter().map(|c| c.1).fold(0.0, f64::max);
    pieces.sort_by(|a, b| height(b).total_cmp(&height(a)));
    pieces.truncate(MOST_PIECES);
    pieces.sort_by(|a, b| a[0].0.total_cmp(&b[0].0));
    pieces
}

fn draw(
    svg: &mut String,
    camera: &CameraRecord,
    piece: &[(f64, f64)],
    (left, right): (f64, f64),
    top: f64,
) -> std::fmt::Result {
    let (first, last) = (piece[0].0, piece[piece.len() - 1].0);
    let span_s = (last - first).max(0.1);
    let foot = top + HEIGHT - BELOW;
    let x = |error_s: f64| left + (error_s - first) / span_s * (right - left);
    let y = |density: f64| foot - density * (foot - top - ABOVE);
    let mut path = format!("M{:.1} {foot:.1}", x(first));
    for (error_s, density) in piece {
        write!(path, "L{:.1} {:.1}", x(*error_s), y(*density))?;
    }
    writeln!(
        svg,
        "<path d=\"{path}L{:.1} {foot:.1}Z\" fill=\"#dde8f4\" stroke=\"#1f5fa8\"/>\
         <line x1=\"{left:.1}\" x2=\"{right:.1}\" y1=\"{foot:.1}\" y2=\"{foot:.1}\" stroke=\"#444444\"/>",
        x(last)
    )?;
    let days_s = whole_days_s(camera.clock.error_s);
    for (at, anchor) in [(first, "start"), (last, "end")] {
        writeln!(
            svg,
            "<text x=\"{:.1}\" y=\"{:.1}\" text-anchor=\"{anchor}\" fill=\"#444444\">{}</text>",
            x(at),
            foot + 18.0,
            error_text(at - days_s)
        )?;
    }
    Ok(())
}

/// The whole days in an error, in seconds.
fn whole_days_s(error_s: f64) -> f64 {
    ClockMistake::of(error_s, 0).days as f64 * DAY_S
}
