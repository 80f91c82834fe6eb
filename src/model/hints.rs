//! What is known about each frame before it is looked at: sizes from the sample; times and turns once the clock is solved.

use super::clocks::Solved;
use super::discs::Learned;
use super::place::Place;
use crate::disc::DiscHint;
use crate::domain::{ClockEvidence, Shot, SunMoon, Utc};
use crate::phase::Clocks;

/// A clock less sure than this, in seconds, says nothing about a frame.
const SURE_ENOUGH_S: f64 = 60.0;

/// Sigmas of the clock that keep a frame clear of a contact.
const CLEAR_SIGMAS: f64 = 3.0;

/// Seconds of beads and of the lunar limb's mountains that keep a frame clear of a contact besides.
const BEADS_S: f64 = 5.0;

/// Least one sigma of a predicted distance of the centres, in solar radii: wide enough that the frames decide.
const LEAST_OFFSET_SIGMA: f64 = 0.05;

/// One sigma of a computed ratio of the radii, as a fraction, where nothing is learned of how a body shows edges: a
/// developed picture shows a bright disc a little large or small (from memory).
const RATIO_SIGMA: f64 = 0.0015;

/// Ratio of the radii, Moon over Sun, at a shot's time by the camera's own word; at maximum where it has none. The Moon
/// grows by one part in sixty from horizon to zenith, so that minutes of error do no harm.
///
/// With it comes the height of the refracted disc over its width.
pub(crate) fn sizes_of(shot: &Shot, trusted: &Clocks, place: &Place) -> (f64, f64) {
    let utc = shot
        .stamp
        .as_ref()
        .zip(trusted.get(&shot.camera))
        .map(|(stamp, clock)| clock.utc_of(stamp).0);
    let sky = utc
        .filter(|utc| {
            let (c1, c4) = (place.contacts.c1.utc, place.contacts.c4.utc);
            utc.seconds_since(c1) > -NEAR_S && utc.seconds_since(c4) < NEAR_S
        })
        .map_or(place.contacts.maximum.sky, |utc| place.view.at(utc));
    (sky.ratio(), sky.vertical_squeeze)
}

/// A time farther than this from first and fourth contact, in seconds, is no time of this eclipse.
const NEAR_S: f64 = 3600.0;

/// The hint for one frame before any clock is solved: sizes alone. `ratio` is the computed ratio of the radii.
pub(crate) fn plain(shot: &Shot, learned: &Learned, ratio: f64) -> DiscHint {
    let scale = learned.of(shot);
    let unlearned = (ratio, RATIO_SIGMA * ratio);
    DiscHint {
        sun_radius_px: scale.radius_px,
        tint: scale.tint,
        moon_ratio: Some(scale.shown_ratio(ratio).unwrap_or(unlearned)),
        ..DiscHint::default()
    }
}

/// The same with what the solved clock says: distance of the centres, squeeze, whether the Sun is covered.
fn timed(index: usize, shot: &Shot, learned: &Learned, solved: &Solved, place: &Place) -> DiscHint {
    let Some((utc, sigma_s)) = time_of(shot, solved) else {
        return plain(shot, learned, place.contacts.maximum.sky.ratio());
    };
    let sky = place.view.at(utc);
    let plain = plain(shot, learned, sky.ratio());
    DiscHint {
        offset_solar_radii: Some(offset(place, utc, sigma_s)),
        squeeze: solved.turn_of(index).map(|turn| {
            let zenith_deg = sky.zenith_in_picture_deg(turn.north_deg, turn.mirrored);
            (sky.vertical_squeeze, zenith_deg)
        }),
        totality: covered(place, utc, sigma_s),
        ..plain
    }
}

/// The hint for one frame once the clock is solved: the vector between the centres is known then.
pub(crate) fn settled(
    index: usize,
    shot: &Shot,
    learned: &Learned,
    solved: &Solved,
    place: &Place,
) -> DiscHint {
    let plain = timed(index, shot, learned, solved, place);
    let known = time_of(shot, solved).zip(solved.turn_of(index));
    DiscHint {
        moon_offset: known.map(|((utc, sigma_s), turn)| {
            let vector = |away_s: f64| {
                let sky = place.view.at(utc.plus_s(away_s));
                sky.moon_offset_in_picture(turn.north_deg, turn.mirrored)
            };
            let ((x, y), later) = (vector(0.0), vector(sigma_s));
            let by_clock = (later.0 - x).hypot(later.1 - y);
            let by_turn = x.hypot(y) * turn.north_sigma_deg.to_radians();
            ([x, y], by_clock.hypot(by_turn))
        }),
        ..plain
    }
}

/// The hint for a low Sun before its clock is settled: its squeeze, and about where the Moon stands to start from, but
/// nothing that would draw the Moon there.
pub(crate) fn flattened(
    index: usize,
    shot: &Shot,
    learned: &Learned,
    solved: &Solved,
    place: &Place,
) -> DiscHint {
    DiscHint {
        offset_solar_radii: None,
        ..settled(index, shot, learned, solved, place)
    }
}

/// The hint for one frame while only a sample of them has been looked at; `None` where that gave no sure clock.
pub(crate) fn early(
    index: usize,
    shot: &Shot,
    learned: &Learned,
    early: &Solved,
    place: &Place,
) -> Option<DiscHint> {
    time_of(shot, early)?;
    Some(flattened(index, shot, learned, early, place))
}

/// Middle of the exposure in true time, where the clock is sure enough and rests on more than the camera's word.
fn time_of(shot: &Shot, rough: &Solved) -> Option<(Utc, f64)> {
    let clock = rough.clock_of(shot)?;
    if clock.evidence.contains(&ClockEvidence::Camera) {
        return None;
    }
    let (utc, sigma_s) = clock.utc_of(shot.stamp.as_ref()?);
    let middle_s = 0.5 * shot.exposure.shutter_s.unwrap_or(0.0);
    (sigma_s <= SURE_ENOUGH_S).then(|| (utc.plus_s(middle_s), sigma_s))
}

/// Distance of the centres and its one sigma, in solar radii.
fn offset(place: &Place, utc: Utc, sigma_s: f64) -> (f64, f64) {
    let length = |sky: SunMoon| {
        let (east, north) = sky.refracted_moon_offset();
        east.hypot(north)
    };
    let at = |away_s: f64| length(place.view.at(utc.plus_s(away_s)));
    let here = at(0.0);
    let swing = (at(sigma_s) - here).abs().max((at(-sigma_s) - here).abs());
    (here, swing.max(LEAST_OFFSET_SIGMA))
}

/// Whether the Sun is covered, where the frame is clear of second and third contact.
fn covered(place: &Place, utc: Utc, sigma_s: f64) -> Option<bool> {
    let (Some(c2), Some(c3)) = (place.contacts.c2, place.contacts.c3) else {
        return Some(false);
    };
    let total = place.contacts.kind == crate::domain::LocalKind::Total;
    let after_c2 = utc.seconds_since(c2.utc);
    let before_c3 = -utc.seconds_since(c3.utc);
    let clear = CLEAR_SIGMAS * sigma_s + BEADS_S;
    match after_c2.min(before_c3) {
        inside if !total && inside.is_finite() => Some(false),
        inside if inside > clear => Some(true),
        inside if inside < -clear => Some(false),
        _ => None,
    }
}
