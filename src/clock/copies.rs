//! Copies and exports of one exposure count once: they would make a clock look surer than it is, and a copy saved later carries
//! a later stamp.

use super::ClockFrame;
use crate::domain::{Circle, Limb};

/// Copies are stamped within this long of the exposure, in seconds (our choice: pictures saved from an app on the spot).
const SAVED_WITHIN_S: f64 = 600.0;

/// Discs of one exposure agree to this share of the radius; two exposures never do more than a few seconds apart, when the Moon
/// has moved by more.
const SAME_DISCS: f64 = 1.5e-3;

/// Suns of copies agree in place to this share of the radius.
const SAME_SPOT: f64 = 0.01;

/// Exposures this near together, in seconds, may show the same discs.
const SAME_MOMENT_S: f64 = 5.0;

/// The frames with the stamps of copies taken away: frames keep their places, copies lose their say.
pub(super) fn once(frames: &[ClockFrame]) -> Vec<ClockFrame> {
    let mut order: Vec<usize> = (0..frames.len())
        .filter(|&n| frames[n].stamp.is_some())
        .collect();
    order.sort_by(|&a, &b| read_s(&frames[a]).total_cmp(&read_s(&frames[b])));
    let mut out = frames.to_vec();
    for (place, &n) in order.iter().enumerate() {
        let earlier = order[..place].iter().rev();
        let near =
            earlier.take_while(|&&m| read_s(&frames[n]) - read_s(&frames[m]) <= SAVED_WITHIN_S);
        if near.into_iter().any(|&m| is_copy(&frames[m], &frames[n])) {
            out[n].stamp = None;
        }
    }
    out
}

fn read_s(frame: &ClockFrame) -> f64 {
    frame
        .stamp
        .map_or(0.0, |stamp| stamp.time.read_as_utc().unix_s())
}

/// Whether the later of two frames is the earlier once more.
fn is_copy(earlier: &ClockFrame, later: &ClockFrame) -> bool {
    let apart_s = read_s(later) - read_s(earlier);
    let same_settings = earlier.exposure_stops.is_none()
        || later.exposure_stops.is_none()
        || earlier.exposure_stops == later.exposure_stops;
    let same = discs(earlier)
        .zip(discs(later))
        .is_some_and(|(a, b)| same_discs(&a, &b));
    same && same_settings
        && same_spot(earlier, later)
        && (apart_s <= 0.0 || apart_s > SAME_MOMENT_S)
}

/// Copies of one size show the Sun on the same spot; a burst on a camera left standing does not.
fn same_spot(earlier: &ClockFrame, later: &ClockFrame) -> bool {
    let one_size = earlier.size_px.is_some() && earlier.size_px == later.size_px;
    let suns = discs(earlier).zip(discs(later));
    let apart = suns.map(|((a, _), (b, _))| (a.x_px - b.x_px).hypot(a.y_px - b.y_px) / a.radius_px);
    !one_size || apart.is_none_or(|apart| apart <= SAME_SPOT)
}

fn discs(frame: &ClockFrame) -> Option<(Circle, Circle)> {
    let fit = frame
        .fit
        .filter(|fit| fit.limb == Limb::Sun && fit.moon_sigma_px.is_some())?;
    fit.sun.zip(fit.moon)
}

fn same_discs(a: &(Circle, Circle), b: &(Circle, Circle)) -> bool {
    let apart = |(sun, moon): &(Circle, Circle)| {
        ((moon.x_px - sun.x_px) / sun.radius_px).hypot((moon.y_px - sun.y_px) / sun.radius_px)
    };
    let near = |x: f64, y: f64| (x - y).abs() <= SAME_DISCS;
    near(apart(a), apart(b))
        && near(a.1.radius_px / a.0.radius_px, b.1.radius_px / b.0.radius_px)
        && near(a.0.radius_px / b.0.radius_px, 1.0)
}
