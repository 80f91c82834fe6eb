//! Suns cut by something in front: the edge of an eyepiece's field, a roof, a tree.

use super::sky::{air_stops, bare, without_disc};
use crate::catalogue::ShotRecord;
use crate::domain::saturation::FULL_DISC;
use crate::domain::{Flag, Limb, Phase, upper_median};

/// So much less of the disc is lit than the Moon leaves bare, as a share of the disc and of what it leaves.
const MISSING: f64 = 0.08;
const MISSING_OF_BARE: f64 = 0.1;

/// Least that the Moon leaves bare to tell by: of less a small error of time makes much.
const LEAST_BARE: f64 = 0.2;

/// A time less sure than this, in seconds, does not say how much should be bare.
const SURE_S: f64 = 60.0;

/// What is left of a Sun cut by something in front is nearly as even as a clear one, with a dark neighbourhood: of cloud thick enough to hide
/// a part, neither holds (drawn: 0.03 to 0.06 against 0.17 and more, real Suns half behind cloud 0.08 and more; light about the disc 0.001
/// against 0.08 and more).
const STILL_EVEN: f64 = 0.07;
const STILL_DARK: f64 = 0.03;

/// A frame without a disc gives less than this part of the light that the bare part of the Sun has at the brightness it shows (drawn: 0.17 to
/// 0.63 of Suns cut by an eyepiece's field; whole ones 0.9 and more).
const LIT_PART: f64 = 0.7;

/// The disc's mean light over the brightest: limb darkening (I = mu^0.55, see `sky`), a little less for what a peak exceeds a middle by.
const MEAN_OF_PEAK: f64 = 0.8;

/// At least this part of the light that clear frames of the lens have for its exposure is seen, and so dark a sky over it: what is missing
/// is not behind cloud (drawn thick cloud: sky over 0.024).
const FULL_LIGHT: f64 = 0.7;
const DARK_SKY: f64 = 0.01;

/// Fewest frames of a lens that tell its light and size.
const LEAST_FRAMES: usize = 3;

/// Flags Suns of a lens that show less than the Moon leaves of them; cloud has a say first, but where it cannot be cloud.
pub(super) fn told(shots: &mut [ShotRecord], group: &[usize]) {
    let usual = usual(shots, group);
    for &i in group {
        let shape = usual
            .as_ref()
            .is_some_and(|usual| is_part_of_a_sun(&shots[i], usual));
        if shape || shows_too_little(&shots[i]) {
            shots[i].flags.set(Flag::Cut);
            shots[i].flags.clear(Flag::Clouded);
        }
    }
}

fn shows_too_little(record: &ShotRecord) -> bool {
    let sure = record.utc_sigma_s.is_some_and(|sigma| sigma < SURE_S);
    let other = matches!(
        record.phase,
        Phase::Totality | Phase::Unrelated | Phase::Untimed
    );
    let sun = record.disc.is_some_and(|fit| fit.limb == Limb::Sun);
    let known = record
        .look
        .and_then(|look| look.disc)
        .zip(record.predicted.and_then(|sky| bare(&sky)));
    if !sure || other || !sun {
        return false;
    }
    known.is_some_and(|(look, bare)| {
        let even = look.uneven.is_some_and(|v| v < STILL_EVEN) && look.halo < STILL_DARK;
        if record.flags.has(Flag::Clouded) && !even {
            return false;
        }
        let missing = bare.share - look.lit;
        bare.share > LEAST_BARE && missing > MISSING.max(MISSING_OF_BARE * bare.share)
    })
}

/// What the clear, filtered Suns of a lens have in common.
struct Usual {
    /// Light of the disc at no exposure and outside the air, in stops.
    light: f64,
    sun_radius_px: f64,
    /// Pixels of a picture.
    picture_px: u64,
}

fn usual(shots: &[ShotRecord], group: &[usize]) -> Option<Usual> {
    let clear: Vec<(f64, f64, u64)> = group.iter().filter_map(|&i| clear_sun(&shots[i])).collect();
    let picture_px = clear.first()?.2;
    let same = clear.len() >= LEAST_FRAMES && clear.iter().all(|c| c.2 == picture_px);
    let light = upper_median(&mut clear.iter().map(|c| c.0).collect::<Vec<f64>>())?;
    let sun_radius_px = upper_median(&mut clear.iter().map(|c| c.1).collect::<Vec<f64>>())?;
    same.then_some(Usual {
        light,
        sun_radius_px,
        picture_px,
    })
}

/// Light in stops, radius and picture's size of a Sun that nothing speaks against.
fn clear_sun(record: &ShotRecord) -> Option<(f64, f64, u64)> {
    let flawed = [Flag::Clouded, Flag::Cut, Flag::Clipped];
    let sun = record
        .disc
        .filter(|fit| fit.limb == Limb::Sun && !flawed.iter().any(|f| record.flags.has(*f)))?
        .sun?;
    let look = record.look.filter(|look| look.peak > 0.0)?;
    let stops = record.shot.exposure.stops()?;
    let air = air_stops(record.predicted?.sun_alt_refracted_deg);
    Some((
        look.peak.log2() - stops + air,
        sun.radius_px,
        picture_px(record)?,
    ))
}

fn picture_px(record: &ShotRecord) -> Option<u64> {
    let (width, height) = record.shot.width_px.zip(record.shot.height_px)?;
    Some(u64::from(width) * u64::from(height))
}

/// Whether a frame without a disc shows sunlight of full brightness, but much less of it than the Moon leaves: a Sun cut to a shape in which no
/// limb stands out.
fn is_part_of_a_sun(record: &ShotRecord, usual: &Usual) -> bool {
    let sure = record.utc_sigma_s.is_some_and(|sigma| sigma < SURE_S);
    if !sure || picture_px(record) != Some(usual.picture_px) {
        return false;
    }
    without_disc(record).is_some_and(|(look, sky, stops)| {
        let due = (usual.light + stops - air_stops(sky.sun_alt_refracted_deg)).exp2();
        let share = bare(&sky).map_or(0.0, |bare| bare.share);
        let area_px = std::f64::consts::PI * usual.sun_radius_px.powi(2) * share;
        let light = (look.mean - look.sky) * usual.picture_px as f64;
        look.peak < FULL_DISC
            && look.peak > FULL_LIGHT * due
            && look.sky < DARK_SKY * look.peak
            && share > LEAST_BARE
            && light < LIT_PART * MEAN_OF_PEAK * look.peak * area_px
    })
}
