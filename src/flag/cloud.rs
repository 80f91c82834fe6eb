//! Cloud by the light it takes and scatters.
//!
//! A clear sky is the same for all frames, cloud is not: the clear frames of a lens agree on the brightest light for an exposure, and what
//! falls short of it stood behind cloud. A saturated disc has no brightness to judge by. Cloud that is even and stays throughout
//! looks like a denser filter: of that nothing can be said in partial phases; in totality no filter is on, and the corona's
//! light is known about well enough to tell thick cloud.

use std::f64::consts::TAU;

use super::sky::{Bare, air_stops, bare, limb_stops, without_disc};
use crate::catalogue::ShotRecord;
use crate::domain::saturation::FULL_SHARE;
use crate::domain::{DiscLook, Flag, Limb, Phase, upper_median};

/// A frame so much short of the clear ones' light, in stops, stood behind cloud: of an exposure that a clear one has, and of others, where
/// the camera's tone curve comes in.
const SHORT: f64 = 0.38;
const SHORT_OTHERWISE: f64 = 0.8;

/// Exposures nearer than this, in stops, are the same.
const SAME_STOPS: f64 = 0.2;

/// Clear frames agree within this, in stops, and there are at least so many of them, and this part of all.
const AGREE: f64 = 0.2;
const LEAST_CLEAR: usize = 3;
const CLEAR_PART: usize = 8;

/// Light about the disc, over its light and for the part of it that is bare, above that of most frames of the lens: more is cloud's. What
/// most have is the filter's or the lens's own.
const GLOW: f64 = 0.02;

/// Least bare share that this is told for: a crescent's halo is mostly its neighbourhood's.
const LEAST_BARE: f64 = 0.15;

/// Least bare share that has a brightness, and how much more than is due may be lit.
const LEAST_SHARE: f64 = 0.03;
const STRAY_LIT: f64 = 0.25;

/// Light of a thin crescent along its limb below that of its middle, in stops: it is narrower towards its horns (measured by
/// `benches/flags.py` on clear cards, within 0.3 at Suns of 26 to 75 px).
const HORNS_STOPS: f64 = 0.45;

/// A thin crescent so much short of the clear frames' light, in stops, stood behind cloud: its light hangs on the blur, too.
const CRESCENT_SHORT: f64 = 0.8;

/// The same for totality: stops short of the clear frames' corona, between limits in which its light can be measured.
const CORONA_SHORT: f64 = 0.65;
const CORONA_AGREE: f64 = 0.35;
const MEASURABLE: (f64, f64) = (0.012, 0.85);

/// Light of the corona close to the limb, of saturation, for an exposure of 0 stops (1 s at f/1 and ISO 100), in stops. S. Baumbach
/// 1937, Astron. Nachr. 263, 121 gives 1.3 millionths of the disc a tenth of a radius up, some 2000 candela a square metre, and a sensor
/// saturates at 78 lux seconds over its ISO speed (ISO 12232): 10.7 at most; developed pictures of clear skies have 8.6 (one real
/// card). Between the two.
pub(super) const CORONA_STOPS: f64 = 9.5;

/// So much short of that, in stops, no clear sky's corona is, by the same two figures.
const CORONA_MISSING: f64 = 3.0;

/// Cloud scatters the corona's own light: a sky with this part of the light close to the limb, in a frame whose corona is this many stops
/// short outside the air, stood behind it (drawn: 0.25 to 0.7 behind cloud, 0.02 to 0.08 under clear skies; real clear skies 0.00 to 0.02,
/// phones' evened-out pictures, which name no exposure, up to 0.16).
const VEIL: f64 = 0.25;
const VEIL_SHORT: f64 = 1.5;

/// With this much of it a frame so short is not known to be clear.
const VEIL_DOUBTFUL: f64 = 0.1;

/// Frames without a measurable corona are as the ones before and after within this many seconds.
const NEAR_S: f64 = 30.0;

/// A partial frame that has a brightness.
struct Partial {
    index: usize,
    exposure: f64,
    /// Light of the whole disc at no exposure and outside the air, in stops.
    light: f64,
    /// Light about the disc for its bare part.
    glow: f64,
    bare: Bare,
}

/// Flags cloud in the partial phases of a lens.
pub(super) fn in_partials(shots: &mut [ShotRecord], group: &[usize]) {
    let frames: Vec<Partial> = group
        .iter()
        .filter_map(|&i| partial(&shots[i], i))
        .collect();
    let clear = clear_light(frames.iter().map(|f| f.light).collect(), AGREE);
    let near = |f: &Partial, clear: f64| (f.light - clear).abs() <= AGREE;
    let usual = upper_median(&mut frames.iter().map(|f| f.glow).collect::<Vec<f64>>());
    for &i in group {
        let dim = clear.is_some_and(|clear| {
            is_dim_without_disc(&shots[i], clear) || is_dim_crescent(&shots[i], clear)
        });
        if dim {
            shots[i].flags.set(Flag::Clouded);
        }
    }
    for f in &frames {
        let dim = clear.is_some_and(|clear| {
            let same = frames
                .iter()
                .any(|o| near(o, clear) && (o.exposure - f.exposure).abs() <= SAME_STOPS);
            clear - f.light > if same { SHORT } else { SHORT_OTHERWISE }
        });
        let glows = usual
            .is_some_and(|usual| f.bare.share >= LEAST_BARE && f.glow - usual > GLOW.max(usual));
        if dim || glows {
            shots[f.index].flags.set(Flag::Clouded);
        }
    }
}

fn partial(record: &ShotRecord, index: usize) -> Option<Partial> {
    let fit = record.disc.filter(|fit| fit.limb == Limb::Sun)?;
    let covered = matches!(
        record.phase,
        Phase::Totality | Phase::Unrelated | Phase::Untimed
    );
    let look = disc_look(record).filter(|look| look.saturated <= FULL_SHARE && look.level > 0.0)?;
    let sky = record.predicted.filter(|_| !covered && fit.sun.is_some())?;
    let exposure = record.shot.exposure.stops()?;
    // Of a crescent so thin that it hardly reaches in from the limb the sky's light is measured, not its own.
    let lit = |bare: &Bare| bare.share > LEAST_SHARE && look.lit < bare.share + STRAY_LIT;
    let bare = bare(&sky).filter(lit)?;
    Some(Partial {
        index,
        exposure,
        light: look.level.log2() - exposure - bare.stops + air_stops(sky.sun_alt_refracted_deg),
        glow: look.halo / bare.share.max(LEAST_BARE),
        bare,
    })
}

/// Whether a frame of the partial phases without a disc is neither dark nor as bright as it should be.
fn is_dim_without_disc(record: &ShotRecord, clear: f64) -> bool {
    without_disc(record).is_some_and(|(look, sky, exposure)| {
        let share = bare(&sky).map_or(0.0, |bare| bare.share);
        let light = look.peak.max(1e-9).log2() - exposure + air_stops(sky.sun_alt_refracted_deg);
        look.peak > MEASURABLE.0 && share > LEAST_SHARE && clear - light > SHORT_OTHERWISE
    })
}

/// Whether a crescent too thin to have a brightness of its own falls short of what its limb should show.
fn is_dim_crescent(record: &ShotRecord, clear: f64) -> bool {
    let partial = matches!(record.phase, Phase::Ingress | Phase::Egress);
    let spoilt = [Flag::Shaken, Flag::Soft, Flag::Approximate, Flag::Cut];
    if !partial || spoilt.iter().any(|flag| record.flags.has(*flag)) {
        return false;
    }
    crescent_stops(record).is_some_and(|light| clear - light > CRESCENT_SHORT)
}

/// The light of the whole disc at no exposure and outside the air, in stops, as a thin crescent's limb has it; `None` of others.
fn crescent_stops(record: &ShotRecord) -> Option<f64> {
    let fit = record.disc.filter(|fit| fit.limb == Limb::Sun)?;
    let sky = record.predicted?;
    let thin = bare(&sky).is_none_or(|bare| bare.share <= LEAST_SHARE);
    let level = record
        .look?
        .disc_level
        .filter(|level| thin && *level > 0.0)?;
    let wide = 1.0 - sky.magnitude;
    let wide_px = 2.0 * wide * fit.sun?.radius_px;
    // Exact for blurs far wider and far narrower than the crescent.
    let kept = wide_px / (wide_px * wide_px + TAU * fit.blur_px?.powi(2)).sqrt();
    let due = kept.log2() + limb_stops(wide) - HORNS_STOPS;
    (wide > 0.0).then_some(())?;
    Some(level.log2() - record.shot.exposure.stops()? - due + air_stops(sky.sun_alt_refracted_deg))
}

fn disc_look(record: &ShotRecord) -> Option<DiscLook> {
    record.look?.disc
}

/// The light clear frames agree on, in stops: the brightest that enough have within `agree`.
fn clear_light(mut lights: Vec<f64>, agree: f64) -> Option<f64> {
    lights.sort_by(|a, b| b.total_cmp(a));
    let least = LEAST_CLEAR.max(lights.len() / CLEAR_PART);
    (0..lights.len()).find_map(|from| {
        let like: Vec<f64> = lights[from..]
            .iter()
            .copied()
            .take_while(|l| lights[from] - l <= agree)
            .collect();
        (like.len() >= least).then(|| like[like.len() / 2])
    })
}

/// Flags cloud in the totality of a lens; gives the corona's light at no exposure, in stops, as the clear frames have it, else as it is
/// known.
pub(super) fn in_totality(shots: &mut [ShotRecord], group: &[usize]) -> f64 {
    let bare: Vec<usize> = group
        .iter()
        .copied()
        .filter(|&i| shots[i].phase == Phase::Totality)
        .collect();
    let lights: Vec<Option<f64>> = bare.iter().map(|&i| corona_light(&shots[i])).collect();
    let clear = clear_light(lights.iter().flatten().copied().collect(), CORONA_AGREE);
    let known = |i: usize| {
        let e = &shots[i].shot.exposure;
        e.f_number.is_some() && e.iso.is_some()
    };
    let clouded: Vec<Option<bool>> = bare
        .iter()
        .zip(&lights)
        .map(|(&i, light)| {
            light.and_then(|light| {
                let dim = clear.is_some_and(|clear| clear - light > CORONA_SHORT)
                    || known(i) && CORONA_STOPS - light > CORONA_MISSING;
                match veil(&shots[i], light).filter(|_| known(i)) {
                    Some(veil) if dim || veil > VEIL => Some(true),
                    Some(veil) if veil > VEIL_DOUBTFUL => None,
                    _ => Some(dim),
                }
            })
        })
        .collect();
    let clouded: Vec<Option<bool>> = (0..bare.len())
        .map(|n| clouded[n].or_else(|| outshone(shots, &bare, &clouded, n).then_some(true)))
        .collect();
    for (n, &i) in bare.iter().enumerate() {
        if clouded[n].unwrap_or_else(|| between_clouded(shots, &bare, &clouded, n)) {
            shots[i].flags.set(Flag::Clouded);
        }
    }
    clear
        .unwrap_or(CORONA_STOPS)
        .max(CORONA_STOPS - CORONA_MISSING)
}

/// The sky's light over the corona's in a frame whose corona falls short of what is known of it; `None` of others.
fn veil(record: &ShotRecord, light: f64) -> Option<f64> {
    let look = disc_look(record).filter(|look| look.level > 0.0)?;
    let air = record
        .predicted
        .map_or(0.0, |sky| air_stops(sky.sun_alt_refracted_deg));
    (CORONA_STOPS - light - air > VEIL_SHORT).then_some(look.halo / look.level)
}

/// The corona's light at no exposure, in stops, where the frame can tell it.
fn corona_light(record: &ShotRecord) -> Option<f64> {
    record.disc.filter(|fit| fit.limb == Limb::Moon)?;
    let look = disc_look(record)?;
    let told = look.saturated <= FULL_SHARE && (MEASURABLE.0..MEASURABLE.1).contains(&look.level);
    Some(look.level.log2() - record.shot.exposure.stops().filter(|_| told)?)
}

/// Least light that is compared between frames of one exposure, of saturation: a few steps of an 8-bit file.
const COMPARABLE: f64 = 8e-4;

/// Whether a frame in the shadows of the tone curve, or in its highlights, shows much less corona than one of the same exposure that is
/// not known to be clouded.
fn outshone(shots: &[ShotRecord], bare: &[usize], clouded: &[Option<bool>], n: usize) -> bool {
    let level = |m: usize| {
        let record = &shots[bare[m]];
        record.disc.filter(|fit| fit.limb == Limb::Moon)?;
        let look = disc_look(record).filter(|look| look.level > COMPARABLE)?;
        Some((record.shot.exposure.stops()?, look.level.log2()))
    };
    let Some((exposure, light)) = level(n) else {
        return false;
    };
    (0..bare.len())
        .filter(|&m| clouded[m] != Some(true))
        .filter_map(level)
        .any(|(other, brighter)| {
            (other - exposure).abs() <= SAME_STOPS && brighter - light > CORONA_SHORT
        })
}

/// Whether the nearest frames that can tell, before and after, are both clouded.
fn between_clouded(
    shots: &[ShotRecord],
    bare: &[usize],
    clouded: &[Option<bool>],
    n: usize,
) -> bool {
    let near = |m: &usize| {
        let apart = shots[bare[*m]].utc.zip(shots[bare[n]].utc);
        apart.is_some_and(|(a, b)| a.seconds_since(b).abs() <= NEAR_S)
    };
    let told = |m: usize| clouded[m];
    let before = (0..n).rev().take_while(near).find_map(told);
    let after = (n + 1..bare.len()).take_while(near).find_map(told);
    match (before, after) {
        (Some(before), Some(after)) => before && after,
        (Some(one), None) | (None, Some(one)) => one,
        (None, None) => false,
    }
}
