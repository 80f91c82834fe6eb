//! Which way the axis of a mount that follows is to be moved.
//!
//! The drift method (common practice; the relations follow from turning about an axis that misses the pole): an axis
//! whose northern end misses the pole by `a` towards the equator on the meridian and by `b` towards the west lets the
//! declination of a body at hour angle `H` drift by `15 (b cos H - a sin H)` seconds of arc a second. So one stretch of
//! frames tells one combination of the two: near the meridian the azimuth, low in the east or west the altitude.
//! What drifts along right ascension says little of the axis near the equator, and as much of the motor's rate.

use super::sun::{SOLAR_RATE_ARCSEC_S, hour_angle_deg};
use crate::domain::Utc;

/// Error of the axis in degrees from which its direction is told: less is within the noise of a session.
const TOLD_DEG: f64 = 0.2;

/// Latitude above which a turn in azimuth says little.
const NEAR_POLE_DEG: f64 = 85.0;

/// Where and when a stretch of frames was shot.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stand {
    pub(super) lat_deg: f64,
    pub(super) lon_deg: f64,
    /// The middle of the stretch.
    pub(super) utc: Utc,
}

/// What the drift of the declination says: what was found and what to move.
pub(super) struct Telling {
    pub(super) found: String,
    pub(super) advice: String,
}

/// `drift` and `west` are the motion of the Sun in the picture, x right and y down, in seconds of arc a second with the motor
/// on, and in any unit with it off. The picture is taken not to be mirrored.
pub(super) fn telling(drift: (f64, f64), west: (f64, f64), stand: Option<Stand>) -> Telling {
    let length = west.0.hypot(west.1).max(1e-12);
    // North is a quarter turn anticlockwise from west as the picture shows the sky.
    let north = (west.1 / length, -west.0 / length);
    let declination_arcsec_s = drift.0 * north.0 + drift.1 * north.1;
    let way = if declination_arcsec_s >= 0.0 {
        "north"
    } else {
        "south"
    };
    let found = format!(
        "declination drifts {:.2} to the {way}",
        declination_arcsec_s.abs()
    );
    let off_deg = (declination_arcsec_s / SOLAR_RATE_ARCSEC_S).to_degrees();
    let advice = match stand {
        _ if off_deg.abs() < TOLD_DEG => String::new(),
        Some(stand) => moved(off_deg, &stand),
        None => rule(off_deg),
    };
    Telling { found, advice }
}

/// What to move for a combination `b cos H - a sin H` in degrees.
fn moved(off_deg: f64, stand: &Stand) -> String {
    let hour_angle_deg = hour_angle_deg(stand.utc, stand.lon_deg);
    let (sin, cos) = hour_angle_deg.to_radians().sin_cos();
    // The raised end is the northern one north of the equator, and points the other way south of it.
    let raised = if stand.lat_deg < 0.0 { -1.0 } else { 1.0 };
    let side = if hour_angle_deg < 0.0 { "east" } else { "west" };
    let stood = format!(
        "the Sun stood {:.1} degrees {side} of the meridian",
        hour_angle_deg.abs()
    );
    if cos.abs() >= sin.abs() {
        let west_deg = raised * off_deg / cos;
        let turn = if west_deg > 0.0 { "east" } else { "west" };
        let scale = if stand.lat_deg.abs() < NEAR_POLE_DEG {
            let on_scale_deg = west_deg.abs() / stand.lat_deg.to_radians().cos();
            format!(" ({on_scale_deg:.1} on the azimuth scale)")
        } else {
            String::new()
        };
        format!(
            "{stood}: if the height of the axis is right, turn its raised end {:.1} degrees {turn}{scale}; the height \
             shows with the Sun low in the east or west",
            west_deg.abs()
        )
    } else {
        let high_deg = -raised * off_deg / sin;
        let turn = if high_deg > 0.0 { "lower" } else { "raise" };
        format!(
            "{stood}: if the azimuth of the axis is right, {turn} it {:.1} degrees; the azimuth shows with the Sun near \
             the meridian",
            high_deg.abs()
        )
    }
}

/// The same where place and time are not known, for the north.
fn rule(off_deg: f64) -> String {
    let (azimuth, east, west) = if off_deg > 0.0 {
        ("turn the axis east", "lower it", "raise it")
    } else {
        ("turn the axis west", "raise it", "lower it")
    };
    format!(
        "north of the equator that means: shot near the meridian, {azimuth}; in the east, {east}; in the west, {west}"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Drift of the declination by turning the Sun's direction about the axis and about the pole, step by step.
    fn drawn_arcsec_s(a_deg: f64, b_deg: f64, hour_angle_deg: f64, declination_deg: f64) -> f64 {
        let (sin_h, cos_h) = hour_angle_deg.to_radians().sin_cos();
        let (sin_d, cos_d) = declination_deg.to_radians().sin_cos();
        let sun = [cos_d * cos_h, cos_d * sin_h, sin_d];
        let (a, b) = (a_deg.to_radians().tan(), b_deg.to_radians().tan());
        let length = (1.0 + a * a + b * b).sqrt();
        let axis = [a / length, b / length, 1.0 / length];
        let turned = |about: [f64; 3], angle: f64| {
            let cross = [
                about[1] * sun[2] - about[2] * sun[1],
                about[2] * sun[0] - about[0] * sun[2],
                about[0] * sun[1] - about[1] * sun[0],
            ];
            let along: f64 = (0..3).map(|i| about[i] * sun[i]).sum();
            let (sin, cos) = angle.sin_cos();
            [0, 1, 2].map(|i| sun[i] * cos + cross[i] * sin + about[i] * along * (1.0 - cos))
        };
        // One minute.
        let angle = (15.0 * 60.0 / 3_600.0_f64).to_radians();
        let (sky, mount) = (turned([0.0, 0.0, 1.0], angle), turned(axis, angle));
        let apart = (sky[2].asin() - mount[2].asin()).to_degrees() * 3_600.0;
        apart / 60.0
    }

    fn number_before(text: &str, words: &str) -> f64 {
        let at = text
            .find(words)
            .unwrap_or_else(|| panic!("{words}: {text}"));
        text[..at]
            .trim_end()
            .rsplit(' ')
            .next()
            .unwrap()
            .parse()
            .unwrap()
    }

    /// Noon, morning and evening of 20 March 2026 at Greenwich's meridian, where the Sun is 7.5 minutes late.
    fn stand(lat_deg: f64, hour_utc: f64) -> Stand {
        Stand {
            lat_deg,
            lon_deg: 0.0,
            utc: Utc::new("2026-03-20T00:00:00Z".parse().unwrap()).plus_s(3_600.0 * hour_utc),
        }
    }

    #[test]
    fn an_axis_is_sent_back_where_it_belongs() {
        // Latitude, hour, the raised end too high and too far west in degrees, the words wanted.
        for (lat_deg, hour, high, west, words) in [
            (40.0, 12.1, 0.0, 1.5, "degrees east"),
            (40.0, 12.1, 0.0, -1.5, "degrees west"),
            (40.0, 6.6, 2.0, 0.0, "lower it"),
            (40.0, 6.6, -2.0, 0.0, "raise it"),
            (40.0, 17.6, 2.0, 0.0, "lower it"),
            (-30.0, 12.1, 0.0, 1.5, "degrees east"),
            (-30.0, 17.6, 2.0, 0.0, "lower it"),
            (-30.0, 6.6, -2.0, 0.0, "raise it"),
        ] {
            let stand = stand(lat_deg, hour);
            let hour_angle = hour_angle_deg(stand.utc, stand.lon_deg);
            assert!(
                (hour_angle - 15.0 * (hour - 12.125)).abs() < 0.3,
                "{hour_angle}"
            );
            let end = if lat_deg < 0.0 { -1.0 } else { 1.0 };
            let drift = drawn_arcsec_s(end * high, end * west, hour_angle, 0.0);
            // West to the lower right of the picture, north to its upper right.
            let (sin, cos) = 30_f64.to_radians().sin_cos();
            let told = telling(
                (drift * sin, -drift * cos),
                (7.0 * cos, 7.0 * sin),
                Some(stand),
            );
            let way = if drift > 0.0 { "north" } else { "south" };
            assert!(told.found.ends_with(way), "{}", told.found);
            assert!(
                told.advice.contains(words),
                "{lat_deg} {hour}: {}",
                told.advice
            );
            let unit = if west == 0.0 { "degrees;" } else { "degrees " };
            let said = number_before(
                told.advice.rsplit("right, ").next().unwrap(),
                unit.trim_end(),
            );
            assert!(
                (said - f64::hypot(high, west)).abs() < 0.11,
                "{}",
                told.advice
            );
        }
        let told = telling((0.0, -0.02), (7.0, 0.0), Some(stand(40.0, 12.1)));
        assert_eq!(told.advice, "");
        let told = telling((0.0, -0.4), (7.0, 0.0), None);
        assert!(
            told.advice
                .contains("near the meridian, turn the axis east")
        );
    }
}
