//! Lengths of time in words.

/// Seconds as minutes and seconds.
pub(super) fn minutes(seconds: f64) -> String {
    let tenths = (seconds * 10.0).round();
    let whole = (tenths / 600.0).floor();
    format!("{whole:.0}m{:04.1}s", (tenths - whole * 600.0) / 10.0)
}
