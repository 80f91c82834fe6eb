//! What the sky should show at a frame's time.

use crate::catalogue::ShotRecord;
use crate::domain::{Flag, FrameLook, SunMoon, upper_median};

/// Steps from the centre of the disc to its limb.
const STEPS: i32 = 24;

/// Part of the disc that is looked at, in radii; the frames are measured over the same (`DiscLook`).
const INSIDE: f64 = 0.9;

/// Power of `mu` with which the Sun darkens towards its limb in visible light: D. Hestroffer, C. Magnan 1998, "Wavelength dependency of
/// the solar limb darkening", Astron. Astrophys. 333, 338 (some 0.55 about 550 nm; from memory).
const DARKENING: f64 = 0.55;

/// The look, the sky and the exposure in stops of a frame of a partial phase, before or after, in which no disc was found and nothing says that
/// the Sun was not there.
pub(super) fn without_disc(record: &ShotRecord) -> Option<(FrameLook, SunMoon, f64)> {
    let absent = record.flags.has(Flag::OutOfFrame) || record.flags.has(Flag::Capped);
    if !record.phase.is_filtered() || absent || record.disc.is_some() {
        return None;
    }
    Some((
        record.look?,
        record.predicted?,
        record.shot.exposure.stops()?,
    ))
}

/// The bare part of a disc.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bare {
    /// Its share of the disc.
    pub(super) share: f64,
    /// Its median light over that of the whole disc, in stops.
    pub(super) stops: f64,
}

/// The bare part as the Moon leaves it; `None` where it leaves next to nothing.
pub(super) fn bare(sky: &SunMoon) -> Option<Bare> {
    let (east, north) = (
        sky.moon_east_arcsec / sky.sun_radius_arcsec,
        sky.moon_north_arcsec / sky.sun_radius_arcsec,
    );
    let ratio = sky.ratio();
    let (mut all, mut open) = (Vec::new(), Vec::new());
    for j in -STEPS..=STEPS {
        for i in -STEPS..=STEPS {
            let (x, y) = (
                f64::from(i) / f64::from(STEPS),
                f64::from(j) / f64::from(STEPS),
            );
            let r2 = x * x + y * y;
            if r2 >= INSIDE * INSIDE {
                continue;
            }
            let light = (1.0 - r2).powf(0.5 * DARKENING);
            all.push(light);
            if (x - east).hypot(y - north) > ratio {
                open.push(light);
            }
        }
    }
    let share = open.len() as f64 / all.len() as f64;
    let stops = (upper_median(&mut open)? / upper_median(&mut all)?).log2();
    Some(Bare { share, stops })
}

/// The light a part of the radius inside the Sun's limb over the median of the whole disc, in stops.
pub(super) fn limb_stops(inside: f64) -> f64 {
    let mu2 = |r2: f64| (1.0 - r2).max(1e-9);
    let light = mu2((1.0 - inside).powi(2)).powf(0.5 * DARKENING);
    // Half of what is looked at lies within this radius squared.
    let middle = mu2(0.5 * INSIDE * INSIDE).powf(0.5 * DARKENING);
    (light / middle).log2()
}

/// Light that a clear air takes for each air mass, in stops: some 0.25 magnitudes at sea level (common practice).
const AIR_STOPS: f64 = 0.33;

/// Light that clear air takes at an altitude in degrees, in stops; the plane-parallel air mass, held at 10.
pub(super) fn air_stops(altitude_deg: f64) -> f64 {
    AIR_STOPS * (1.0 / altitude_deg.to_radians().sin().max(0.1)).min(10.0)
}
