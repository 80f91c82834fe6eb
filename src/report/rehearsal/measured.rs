//! The numbers of a rehearsal that a shooting sheet can use.

use super::points::{
    clock_errors_s, drift_px_s, follows, good_shutters_s, median, radius_px, sky_rate_arcsec_s,
};
use super::sun::{Sun, hour_angle_deg, sun_on};
use crate::catalogue::ShotRecord;
use crate::domain::Practice;

/// What the frames of one body measure, in time order.
pub(super) fn measured(body: &str, frames: &[&ShotRecord]) -> Practice {
    let stamp = frames.iter().find_map(|s| s.shot.stamp);
    let sun = stamp.map(|s| sun_on(s.time));
    let radius = radius_px(frames);
    let scale = sun.zip(radius).map(|(sun, r)| sun.radius_arcsec / r);
    let drift_arcsec_s = radius.zip(scale).and_then(|(radius, scale)| {
        let (x, y) = drift_px_s(frames, radius)?;
        Some(x.hypot(y) * scale)
    });
    Practice {
        body: body.to_owned(),
        frames: frames.len(),
        day: stamp
            .map(|s| s.time.read_as_utc().timestamp())
            .map(|t| jiff::tz::TimeZone::UTC.to_datetime(t).date()),
        sides_px: sides_px(frames),
        sun_radius_px: radius,
        arcsec_per_px: scale,
        drift_arcsec_s,
        follows: drift_arcsec_s
            .zip(sun)
            .and_then(|(rate, sun)| follows(rate / sky_rate_arcsec_s(sun))),
        filtered_q: median(good_shutters_s(frames).filter_map(exponent).collect()),
        sun_alt_deg: median(
            frames
                .iter()
                .filter_map(|s| altitude_deg(s, sun?))
                .collect(),
        ),
        clock_error_s: median(clock_errors_s(frames)),
    }
}

/// Sides of the frames, the longer first, where all agree.
fn sides_px(frames: &[&ShotRecord]) -> Option<(f64, f64)> {
    let mut sides = frames.iter().filter_map(|s| {
        let (w, h) = (s.shot.width_px?, s.shot.height_px?);
        Some((f64::from(w.max(h)), f64::from(w.min(h))))
    });
    let first = sides.next()?;
    sides
        .all(|s| (s.0 - first.0).abs() < 0.5 && (s.1 - first.1).abs() < 0.5)
        .then_some(first)
}

/// The exponent `Q` of `t = N^2 / (ISO 2^Q)` for the shutter that suits a frame.
fn exponent((shot, shutter_s): (&ShotRecord, f64)) -> Option<f64> {
    let positive = |v: &f64| v.is_finite() && *v > 0.0;
    let f_number = shot.shot.exposure.f_number.filter(positive)?;
    let iso = shot.shot.exposure.iso.filter(positive)?;
    Some((f_number * f_number / (iso * shutter_s)).log2())
}

/// Altitude of the Sun in degrees, without air, where the header says where and when:
/// `sin h = sin lat sin dec + cos lat cos dec cos H`.
fn altitude_deg(shot: &ShotRecord, sun: Sun) -> Option<f64> {
    let fix = shot.shot.gps?;
    let hour = hour_angle_deg(fix.utc?, fix.lon_deg).to_radians();
    let (sin_lat, cos_lat) = fix.lat_deg.to_radians().sin_cos();
    let (sin_dec, cos_dec) = sun.declination_deg.to_radians().sin_cos();
    let sin_alt = sin_lat * sin_dec + cos_lat * cos_dec * hour.cos();
    Some(sin_alt.clamp(-1.0, 1.0).asin().to_degrees())
}
