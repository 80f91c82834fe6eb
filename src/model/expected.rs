//! What is expected of a shot by all that is known: sizes from its lens, times and poses from its clock.

use super::clocks::Solved;
use super::lens::Lens;
use super::place::Place;
use crate::clock::Turn;
use crate::disc::DiscHint;
use crate::domain::{Estimate, LocalKind, Shot, SunMoon, Utc};
use crate::phase::Clocks;

/// Sigmas of the clock that keep a frame clear of a contact.
const CLEAR_SIGMAS: f64 = 3.0;

/// Seconds of beads and of the lunar limb's mountains that keep a frame clear of a contact besides.
const BEADS_S: f64 = 5.0;

/// Least one sigma of a predicted distance of the centres, in solar radii: wide enough that the frames decide.
const LEAST_OFFSET_SIGMA: f64 = 0.05;

/// A time farther than this from first and fourth contact, in seconds, is no time of this eclipse.
const NEAR_S: f64 = 3600.0;

/// A disc flattened by less than this is measured as well as a round one.
const ROUND_ENOUGH: f64 = 0.997;

/// What is known of the moment a shot was taken, as far as anything is.
pub(crate) struct Moment {
    /// Middle of the exposure in true time, and its one sigma in seconds, where the clock is sure enough.
    timed: Option<(Utc, f64)>,
    /// Sun and Moon then, or about then.
    sky: SunMoon,
}

impl Moment {
    /// By the solved clock where it says enough; else by the camera's own word; by the middle of the eclipse without one.
    ///
    /// The Moon grows by one part in sixty from horizon to zenith, so that minutes of error do no harm to the ratio of the
    /// radii.
    pub(crate) fn of(shot: &Shot, solved: &Solved, stated: &Clocks, place: &Place) -> Self {
        let timed = solved.time_of(shot);
        let sky = match timed {
            Some((utc, _)) => place.view.at(utc),
            None => stated_sky(shot, stated, place),
        };
        Self { timed, sky }
    }

    /// Whether the solved clock says when it was.
    pub(crate) fn is_timed(&self) -> bool {
        self.timed.is_some()
    }

    /// The Moon's computed radius over the Sun's.
    pub(crate) fn ratio(&self) -> f64 {
        self.sky.ratio()
    }

    /// What is expected of the shot. A Moon is drawn towards where it is due only where `settled` says that the clock takes
    /// nothing from this frame any more.
    pub(crate) fn hint(
        &self,
        shot: &Shot,
        lens: &Lens,
        turn: Option<Turn>,
        place: &Place,
        settled: bool,
    ) -> DiscHint {
        let sizes = DiscHint {
            sun_radius_px: lens.sun_radius_at(shot),
            tint: lens.tint,
            moon_ratio: Some(lens.shown_ratio(self.ratio(), shot)),
            ..DiscHint::default()
        };
        let Some((utc, sigma_s)) = self.timed else {
            return sizes;
        };
        DiscHint {
            offset_solar_radii: settled.then(|| distance(place, utc, sigma_s)),
            moon_offset: turn.map(|turn| vector(place, utc, sigma_s, turn)),
            squeeze: turn.map(|turn| {
                let zenith_deg = self
                    .sky
                    .zenith_in_picture_deg(turn.north_deg, turn.mirrored);
                (self.sky.vertical_squeeze, zenith_deg)
            }),
            totality: covered(place, utc, sigma_s),
            ..sizes
        }
    }
}

/// Sun and Moon at a shot's time by the camera's own word; at maximum where it has none of this eclipse.
pub(crate) fn stated_sky(shot: &Shot, stated: &Clocks, place: &Place) -> SunMoon {
    let utc = shot
        .stamp
        .as_ref()
        .zip(stated.get(&shot.camera))
        .map(|(stamp, clock)| clock.utc_of(stamp).0);
    utc.filter(|utc| {
        let (c1, c4) = (place.contacts.c1.utc, place.contacts.c4.utc);
        utc.seconds_since(c1) > -NEAR_S && utc.seconds_since(c4) < NEAR_S
    })
    .map_or(place.contacts.maximum.sky, |utc| place.view.at(utc))
}

/// Whether a disc of this height over width is as good as round.
pub(crate) fn is_round(squeeze: f64) -> bool {
    squeeze > ROUND_ENOUGH
}

/// Distance of the centres, in solar radii.
fn distance(place: &Place, utc: Utc, sigma_s: f64) -> Estimate {
    let at = |away_s: f64| {
        let (east, north) = place.view.at(utc.plus_s(away_s)).refracted_moon_offset();
        east.hypot(north)
    };
    let here = at(0.0);
    let swing = (at(sigma_s) - here).abs().max((at(-sigma_s) - here).abs());
    Estimate::new(here, swing.max(LEAST_OFFSET_SIGMA))
}

/// The vector between the centres in the picture, in solar radii; its one sigma is that of the clock and of the turn.
fn vector(place: &Place, utc: Utc, sigma_s: f64, turn: Turn) -> ([f64; 2], f64) {
    let at = |away_s: f64| {
        let sky = place.view.at(utc.plus_s(away_s));
        sky.moon_offset_in_picture(turn.north_deg, turn.mirrored)
    };
    let ((x, y), later) = (at(0.0), at(sigma_s));
    let by_clock = (later.0 - x).hypot(later.1 - y);
    let by_turn = x.hypot(y) * turn.north_sigma_deg.to_radians();
    ([x, y], by_clock.hypot(by_turn))
}

/// Whether the Sun is covered, where the frame is clear of second and third contact.
fn covered(place: &Place, utc: Utc, sigma_s: f64) -> Option<bool> {
    let (Some(c2), Some(c3)) = (place.contacts.c2, place.contacts.c3) else {
        return Some(false);
    };
    let total = place.contacts.kind == LocalKind::Total;
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
