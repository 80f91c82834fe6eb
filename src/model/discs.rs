//! Looks at every frame: first at a few of each body to learn the size of the Sun, then at all with that known.

use std::collections::BTreeMap;

use rayon::prelude::*;

use super::at_once::{each_frame, look_bytes};
use super::kept::Desk;
use super::opening::{self, Keep, open_and_examine};
use super::zoom::{self, Stretch, SunSize};
use super::{ModelError, Watch};
use crate::disc::{self, DiscHint, DiscReport};
use crate::domain::{CameraId, Circle, DiscFit, FileFormat, Flag, Limb, Notice, Shot};
use crate::raster;

/// Frames of a body and focal length that are looked at first.
const SAMPLE: usize = 12;

/// Least arc of solar limb, in degrees, for a frame to have a say in the shared radius.
const LEAST_ARC_DEG: f64 = 100.0;

/// Least relative sigma of the shared radius: seeing, refraction and focus change it from frame to frame (from memory).
const LEAST_RADIUS_SIGMA: f64 = 0.002;

/// What came of looking at one frame.
#[derive(Clone, Debug)]
pub(crate) enum Seen {
    /// Not looked at: its pixels are not decoded, or it is of another day.
    No,
    /// Looked at, with the squeeze of the disc that was taken into account, if one was: height over width, and the
    /// direction of the zenith in degrees anticlockwise from picture up.
    Yes(Box<DiscReport>, Option<(f64, f64)>),
    /// It could not be decoded.
    Broken(String),
}

impl Seen {
    /// The report, where the frame was looked at.
    pub(crate) fn report(&self) -> Option<&DiscReport> {
        match self {
            Self::Yes(report, _) => Some(report),
            Self::No | Self::Broken(_) => None,
        }
    }

    /// Height over width of the disc that was taken into account in fitting, and the direction of the zenith.
    pub(crate) fn squeeze(&self) -> Option<(f64, f64)> {
        match self {
            Self::Yes(_, squeeze) => *squeeze,
            Self::No | Self::Broken(_) => None,
        }
    }

    /// The discs, where some were found.
    pub(crate) fn fit(&self) -> Option<&DiscFit> {
        self.report()?.fit.as_ref().ok()
    }
}

/// Frames that share one scale: same body, focal length and picture size.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct ScaleKey {
    camera: Option<CameraId>,
    focal_tenths_mm: Option<i64>,
    sides_px: Option<(u32, u32)>,
}

/// The scale group of a shot.
pub(crate) fn scale_key(shot: &Shot) -> ScaleKey {
    let sides = shot.width_px.zip(shot.height_px);
    ScaleKey {
        camera: shot.camera.clone(),
        focal_tenths_mm: shot.exposure.focal_mm.map(|mm| (mm * 10.0).round() as i64),
        sides_px: sides.map(|(w, h)| (w.max(h), w.min(h))),
    }
}

/// Whether our decoders read the pixels of a file.
pub(crate) fn has_pixels(shot: &Shot) -> bool {
    raster::reads_pixels(shot.file.format)
}

/// What a few frames of each scale say before all are looked at.
#[derive(Clone, Debug)]
pub(crate) struct Learned {
    scales: BTreeMap<ScaleKey, Scale>,
    /// Scales whose Sun changes its size although no header says so.
    slipped: BTreeMap<ScaleKey, Vec<Stretch>>,
}

impl Learned {
    /// What is known of a shot's scale.
    pub(crate) fn of(&self, shot: &Shot) -> Scale {
        let scale = self.scales.get(&scale_key(shot));
        Scale {
            radius_px: self
                .slipped_radius_px(shot)
                .or(scale.and_then(|scale| scale.radius_px)),
            ..scale.copied().unwrap_or_default()
        }
    }

    /// The Sun's radius at the time of a shot and its one sigma, in pixels, where the zoom slipped.
    pub(crate) fn slipped_radius_px(&self, shot: &Shot) -> Option<(f64, f64)> {
        let stretches = self.slipped.get(&scale_key(shot))?;
        zoom::radius_at(stretches, clock_s(shot)?)
    }

    /// What a person should know of zooms that slipped.
    pub(crate) fn slips(&self, shots: &[Shot]) -> Vec<Notice> {
        let told = |pair: &[Stretch]| {
            let (old, new) = (&shots[pair[0].last], &shots[pair[1].first]);
            let at = |shot: &Shot| match &shot.stamp {
                Some(stamp) => format!("{} ({})", shot.file.name, stamp.time),
                None => shot.file.name.clone(),
            };
            let body = new.camera.as_ref().map_or_else(
                || "a camera without a name".to_owned(),
                CameraId::make_model,
            );
            let focal = match new.exposure.focal_mm {
                Some(mm) => format!("its headers say {mm} mm throughout"),
                None => "its headers do not say so".to_owned(),
            };
            Notice::look(format!(
                "{body}: the Sun's radius steps from {:.1} px to {:.1} px between {} and {}, and {focal}: the zoom slipped or the \
                 lens was changed; discs before and after are fitted with their own size",
                pair[0].radius_px.0,
                pair[1].radius_px.0,
                at(old),
                at(new)
            ))
            .about(&new.file.name)
        };
        let all = self.slipped.values();
        all.flat_map(|stretches| match stretches.len() > MOST_SIZES {
            true => vec![many_sizes(stretches, shots)],
            false => stretches.windows(2).map(told).collect(),
        })
        .collect()
    }
}

/// A scale that shows the Sun in more sizes than this was not slipped so often: its pictures were cut out and enlarged by their
/// owner, or taken at an eyepiece (our choice).
const MOST_SIZES: usize = 3;

/// The one notice for a scale of many sizes.
fn many_sizes(stretches: &[Stretch], shots: &[Shot]) -> Notice {
    let first = &shots[stretches[0].first];
    let body = first.camera.as_ref().map_or_else(
        || "pictures that name no camera".to_owned(),
        CameraId::make_model,
    );
    let radii = || stretches.iter().map(|s| s.radius_px.0);
    let (least, most) = (
        radii().fold(f64::MAX, f64::min),
        radii().fold(0.0, f64::max),
    );
    Notice::look(format!(
        "{body}: the Sun shows in {} sizes, {least:.0} to {most:.0} px in radius, and no header says so: cut out or enlarged \
         after they were taken, or at an eyepiece or a zoom; each is fitted with the size about its own time",
        stretches.len()
    ))
}

/// Time by the camera's clock, in seconds.
fn clock_s(shot: &Shot) -> Option<f64> {
    Some(shot.stamp.as_ref()?.time.read_as_utc().unix_s())
}

/// Scales whose Sun changes its size from one moment to the next. `sky` says how flat the Sun is: flattened ones are left out.
fn slipped(
    shots: &[Shot],
    seen: &[Seen],
    sky: &dyn Fn(&Shot) -> (f64, f64),
) -> BTreeMap<ScaleKey, Vec<Stretch>> {
    let mut suns: BTreeMap<ScaleKey, Vec<SunSize>> = BTreeMap::new();
    for (index, (shot, seen)) in shots.iter().zip(seen).enumerate() {
        if let (Some(report), Some(time_s)) = (seen.report(), clock_s(shot))
            && let Some((radius_px, sigma_px)) = own_radius_px(report)
            && sky(shot).1 > ROUND_ENOUGH
        {
            suns.entry(scale_key(shot)).or_default().push(SunSize {
                time_s,
                shot: index,
                radius_px,
                sigma_px,
            });
        }
    }
    suns.into_iter()
        .map(|(key, suns)| (key, zoom::stretches(suns, LEAST_RADIUS_SIGMA)))
        .filter(|(_, stretches)| stretches.len() > 1)
        .collect()
}

/// Radius of a Sun that says it of its own, and its one sigma: well seen, and neither burnt out nor behind cloud.
fn own_radius_px(report: &DiscReport) -> Option<(f64, f64)> {
    let fit = report.fit.as_ref().ok()?;
    let sun = sun_of(fit).filter(|_| fit.limb_arc_deg >= LEAST_ARC_DEG && fit.blur_px.is_some())?;
    let spoilt = [Flag::Clipped, Flag::Clouded]
        .iter()
        .any(|flag| report.flags.has(*flag));
    (!spoilt).then_some((sun.radius_px, fit.sigma_px))
}

/// What is known of one scale.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Scale {
    /// The Sun's radius and its one sigma, in pixels.
    pub(crate) radius_px: Option<(f64, f64)>,
    /// How much larger than computed the Moon shows, and its one sigma, in pixels.
    excess_px: Option<(f64, f64)>,
    /// How much brighter the Sun is in its brightest channel than in luma.
    pub(crate) tint: Option<f64>,
}

impl Scale {
    /// The ratio of the radii as frames of this scale show it, and its one sigma, from the computed one.
    ///
    /// A developed picture wears bright edges away or lets them grow, the same for all frames of a body: the Sun shows
    /// small and the Moon before it large, or the reverse.
    pub(crate) fn shown_ratio(&self, computed: f64) -> Option<(f64, f64)> {
        let (radius_px, _) = self.radius_px?;
        let (excess_px, sigma_px) = self.excess_px?;
        let (excess, sigma) = (excess_px / radius_px, sigma_px / radius_px);
        // Weighed against none at all, which is what a plain camera shows.
        let learned = sigma.max(LEAST_EXCESS_SIGMA).powi(-2);
        let weight = learned + USUAL_EXCESS.powi(-2);
        Some((
            computed + excess * learned / weight,
            weight.powf(-0.5).max(LEAST_RATIO_SIGMA),
        ))
    }
}

/// One sigma of the ratio of the radii, as a fraction, while it is being learned: wide enough that the frames decide.
const LEARNING_RATIO_SIGMA: f64 = 0.02;

/// Least one sigma of a learned excess, in solar radii: mountains and valleys of the Moon's limb move the circle through a
/// part of it by an arcsecond or so (from memory).
const LEAST_EXCESS_SIGMA: f64 = 0.0012;

/// Usual size of an excess, in solar radii (our choice: a part of a pixel at 200 pixels' radius).
const USUAL_EXCESS: f64 = 0.0012;

/// Least one sigma of a ratio of the radii.
const LEAST_RATIO_SIGMA: f64 = 0.0006;

/// Distances of the centres, in solar radii, at which enough of the Moon's limb is seen to measure its radius.
const MEASURABLE: std::ops::Range<f64> = 0.15..1.1;

/// A disc flattened by less than this is measured as well as a round one.
const ROUND_ENOUGH: f64 = 0.997;

/// Fewest frames that say how the Moon's radius shows.
const LEAST_MOONS: usize = 3;

/// Looks at a few frames of each scale marked in `wanted`; gives what was learned and what was seen, [`Seen::No`] for the
/// frames left out. `sky` gives the Moon's computed radius over the Sun's, and how
/// flat the Sun is.
pub(crate) fn learn(
    shots: &[Shot],
    wanted: &[bool],
    sky: &(dyn Fn(&Shot) -> (f64, f64) + Sync),
    desk: &Desk<'_>,
    watch: &dyn Watch,
) -> Result<(Learned, Vec<Seen>), ModelError> {
    let mut groups: BTreeMap<ScaleKey, Vec<usize>> = BTreeMap::new();
    for (index, shot) in shots.iter().enumerate() {
        if wanted[index] {
            groups.entry(scale_key(shot)).or_default().push(index);
        }
    }
    let sample: Vec<usize> = groups
        .values()
        .flat_map(|group| spread(shots, group))
        .collect();
    let bare = desk.bare();
    watch.begin("learning the Sun's size", sample.len() as u64);
    let bytes = |index: usize| look_bytes(&shots[index]);
    let samples = each_frame(&sample, bytes, watch, |index| {
        let (ratio, _) = sky(&shots[index]);
        let hint = DiscHint {
            moon_ratio: Some((ratio, LEARNING_RATIO_SIGMA * ratio)),
            ..DiscHint::default()
        };
        open_and_examine(index, &shots[index], &hint, &bare, Keep::Always)
    })?;
    watch.end();
    let looked: BTreeMap<usize, Seen> = sample.into_iter().zip(samples).collect();
    let mut scales = BTreeMap::new();
    for (key, group) in groups {
        let fits = || {
            group
                .iter()
                .filter_map(|index| Some((*index, looked.get(index)?.fit()?)))
        };
        let excesses = fits().filter_map(|(index, fit)| match sky(&shots[index]) {
            (ratio, squeeze) if squeeze > ROUND_ENOUGH => excess_px(fit, ratio),
            _ => None,
        });
        let suns = fits().filter_map(|(index, fit)| sun_of(fit).map(|sun| (index, sun)));
        let scale = Scale {
            radius_px: shared_radius(fits().map(|(index, fit)| (fit, sky(&shots[index]).1))),
            excess_px: middle_excess(excesses.collect()),
            tint: shown_tint(shots, suns.take(COLOURS).collect(), desk),
        };
        scales.insert(key, scale);
    }
    let mut seen = vec![Seen::No; shots.len()];
    for (index, one) in looked {
        seen[index] = one;
    }
    let slipped = slipped(shots, &seen, sky);
    Ok((Learned { scales, slipped }, seen))
}

/// Frames of a body looked at in colour, to learn the tint of its filter.
const COLOURS: usize = 3;

fn sun_of(fit: &DiscFit) -> Option<Circle> {
    fit.sun.filter(|_| fit.limb == Limb::Sun)
}

/// The middle tint of some Suns; `None` where frames are decoded in colour anyway.
fn shown_tint(shots: &[Shot], suns: Vec<(usize, Circle)>, desk: &Desk<'_>) -> Option<f64> {
    let mut tints: Vec<f64> = suns
        .into_par_iter()
        .filter(|(index, _)| shots[*index].file.format == FileFormat::Jpeg)
        .filter_map(|(index, sun)| opening::tint(index, &shots[index], sun, desk))
        .collect();
    median(&mut tints)
}

/// Learns how large the Moon shows from low Suns, for scales that saw none higher; `hint` knows their squeeze. Gives all that
/// is known then.
pub(crate) fn learn_moons(
    shots: &[Shot],
    seen: &[Seen],
    hint: &(dyn Fn(usize) -> DiscHint + Sync),
    learned: &Learned,
    desk: &Desk<'_>,
    watch: &dyn Watch,
) -> Result<Learned, ModelError> {
    let bare = desk.bare();
    let mut learned = learned.clone();
    let mut groups: BTreeMap<ScaleKey, Vec<usize>> = BTreeMap::new();
    for (index, shot) in shots.iter().enumerate() {
        let scale = learned.of(shot);
        let open = scale.radius_px.is_some() && scale.excess_px.is_none();
        let apart = seen[index].fit().and_then(moon_apart);
        if open && apart.is_some_and(|apart| MEASURABLE.contains(&apart)) {
            groups.entry(scale_key(shot)).or_default().push(index);
        }
    }
    for (key, group) in groups {
        let sample = spread(shots, &group);
        watch.begin("learning the Moon's size", sample.len() as u64);
        let bytes = |index: usize| look_bytes(&shots[index]);
        let samples = each_frame(&sample, bytes, watch, |index| {
            let hint = hint(index);
            let ratio = hint.moon_ratio?.0;
            let loose = DiscHint {
                moon_ratio: Some((ratio, LEARNING_RATIO_SIGMA * ratio)),
                ..hint
            };
            let seen = open_and_examine(index, &shots[index], &loose, &bare, Keep::Always);
            excess_px(seen.fit()?, ratio)
        })?;
        watch.end();
        learned.scales.entry(key).or_default().excess_px =
            middle_excess(samples.into_iter().flatten().collect());
    }
    Ok(learned)
}

/// Distance of the centres in solar radii, where both discs were found.
fn moon_apart(fit: &DiscFit) -> Option<f64> {
    let (sun, moon) = fit.sun.zip(fit.moon)?;
    Some((sun.x_px - moon.x_px).hypot(sun.y_px - moon.y_px) / sun.radius_px)
}

/// How much larger than computed the Moon shows in a partial phase whose limbs are both well seen, in pixels.
fn excess_px(fit: &DiscFit, ratio: f64) -> Option<f64> {
    let (sun, moon) = fit.sun.zip(fit.moon)?;
    let apart = moon_apart(fit)?;
    let sure = fit
        .moon_sigma_px
        .is_some_and(|sigma| sigma < 0.01 * sun.radius_px);
    let seen = fit.limb == Limb::Sun && fit.limb_arc_deg >= LEAST_ARC_DEG;
    (seen && sure && MEASURABLE.contains(&apart)).then_some(moon.radius_px - ratio * sun.radius_px)
}

/// The middle of some excesses and its one sigma, in pixels; `None` where they are too few.
fn middle_excess(mut all: Vec<f64>) -> Option<(f64, f64)> {
    if all.len() < LEAST_MOONS {
        return None;
    }
    let middle = median(&mut all)?;
    let mut apart: Vec<f64> = all.iter().map(|e| (e - middle).abs()).collect();
    let spread = 1.4826 * median(&mut apart)?;
    Some((middle, spread / (all.len() as f64).sqrt()))
}

/// Looks at all frames marked in `wanted`, each with its hint; one [`Seen`] a shot, in order. Frames of the sample that showed
/// no disc when nothing was known of it show none now that nothing more is known.
pub(crate) fn look(
    shots: &[Shot],
    wanted: &[bool],
    sample: &[Seen],
    hint: &(dyn Fn(usize) -> DiscHint + Sync),
    desk: &Desk<'_>,
    watch: &dyn Watch,
) -> Result<Vec<Seen>, ModelError> {
    let settled = |i: usize, one: &Seen| match one {
        Seen::No => false,
        Seen::Broken(_) => true,
        Seen::Yes(report, _) => report.fit.is_err() && hint(i).sun_radius_px.is_none(),
    };
    let mut seen = vec![Seen::No; shots.len()];
    let mut all = Vec::new();
    for (i, one) in sample.iter().enumerate() {
        if settled(i, one) {
            seen[i] = one.clone();
        } else if wanted[i] {
            all.push(i);
        }
    }
    look_at(shots, &all, &mut seen, hint, desk, "finding discs", watch)?;
    Ok(seen)
}

/// Looks at some frames, each with its hint, and puts what was seen in its place.
fn look_at(
    shots: &[Shot],
    indices: &[usize],
    seen: &mut [Seen],
    hint: &(dyn Fn(usize) -> DiscHint + Sync),
    desk: &Desk<'_>,
    stage: &str,
    watch: &dyn Watch,
) -> Result<(), ModelError> {
    watch.begin(stage, indices.len() as u64);
    let bytes = |index: usize| look_bytes(&shots[index]);
    let reports = each_frame(indices, bytes, watch, |index| {
        open_and_examine(index, &shots[index], &hint(index), desk, Keep::IfOpen)
    })?;
    watch.end();
    for (&index, report) in indices.iter().zip(reports) {
        seen[index] = report;
    }
    Ok(())
}

/// A disc whose flattening is known better than at the first look by more than this much is fitted again.
const FLAT_ENOUGH: f64 = 0.0015;

/// How far two flattenings are apart, with none as a round disc: as ellipses, which are the same turned by half.
fn flattening_apart(a: Option<(f64, f64)>, b: Option<(f64, f64)>) -> f64 {
    let vector = |squeeze: Option<(f64, f64)>| {
        let (height, zenith_deg) = squeeze.unwrap_or((1.0, 0.0));
        let (sin, cos) = (2.0 * zenith_deg).to_radians().sin_cos();
        ((1.0 - height) * cos, (1.0 - height) * sin)
    };
    let (a, b) = (vector(a), vector(b));
    (a.0 - b.0).hypot(a.1 - b.1)
}

/// Finds where zooms slipped, now that all frames have been looked at, and looks once more at those that were looked at with the
/// wrong size in mind; `hint` makes their hints of what is known now. Gives all that is known then.
pub(crate) fn look_past_slips(
    shots: &[Shot],
    seen: &mut [Seen],
    learned: Learned,
    sky: &(dyn Fn(&Shot) -> (f64, f64) + Sync),
    hint: &(dyn Fn(usize, &Learned) -> DiscHint + Sync),
    desk: &Desk<'_>,
    watch: &dyn Watch,
) -> Result<Learned, ModelError> {
    let now = Learned {
        slipped: slipped(shots, seen, sky),
        scales: learned.scales.clone(),
    };
    let astray = |index: &usize| {
        let shot = &shots[*index];
        let (old, new) = (learned.of(shot).radius_px, now.of(shot).radius_px);
        let moved = old
            .zip(new)
            .is_some_and(|(old, new)| (old.0 - new.0).abs() > old.1.min(new.1));
        moved && matches!(seen[*index], Seen::Yes(..))
    };
    let open: Vec<usize> = (0..shots.len()).filter(astray).collect();
    if !open.is_empty() {
        let hint = |index: usize| hint(index, &now);
        look_at(
            shots,
            &open,
            seen,
            &hint,
            desk,
            "looking past the zoom",
            watch,
        )?;
    }
    Ok(now)
}

/// Looks once more at low Suns whose squeeze was not known; says how many there were.
pub(crate) fn look_at_flat(
    shots: &[Shot],
    seen: &mut [Seen],
    hint: &(dyn Fn(usize) -> DiscHint + Sync),
    desk: &Desk<'_>,
    watch: &dyn Watch,
) -> Result<usize, ModelError> {
    let flat = |index: usize| {
        let known = hint(index).squeeze;
        known.is_some()
            && flattening_apart(known, seen[index].squeeze()) > FLAT_ENOUGH
            && seen[index].fit().is_some()
    };
    let open: Vec<usize> = (0..shots.len()).filter(|&index| flat(index)).collect();
    look_at(shots, &open, seen, hint, desk, "looking at low Suns", watch)?;
    Ok(open.len())
}

/// Looks once more at the frames that can gain from the solved clock: beads and rings.
pub(crate) fn look_again(
    shots: &[Shot],
    seen: &mut [Seen],
    hint: &(dyn Fn(usize) -> DiscHint + Sync),
    desk: &Desk<'_>,
    watch: &dyn Watch,
) -> Result<(), ModelError> {
    for (index, one) in seen.iter_mut().enumerate() {
        if let Seen::Yes(report, _) = one {
            disc::follow_vector(report, &hint(index));
        }
    }
    let gains = |index: usize| {
        let report = seen[index].report();
        report.is_some_and(|report| !disc::is_settled(report, &hint(index)))
    };
    let open: Vec<usize> = (0..shots.len()).filter(|&index| gains(index)).collect();
    look_at(shots, &open, seen, hint, desk, "looking closer", watch)
}

/// Works on some indices in parallel, in order, stopping when the person interrupts.
pub(crate) fn each<T: Send>(
    indices: &[usize],
    watch: &dyn Watch,
    work: impl Fn(usize) -> T + Sync,
) -> Result<Vec<T>, ModelError> {
    indices
        .par_iter()
        .map(|&index| {
            if watch.interrupted() {
                return Err(ModelError::Interrupted);
            }
            let result = work(index);
            watch.advance(1);
            Ok(result)
        })
        .collect()
}

/// Up to [`SAMPLE`] of a group, evenly spread in time, so that long series of brackets do not crowd out the partials; evenly
/// spread in order where there are no times.
fn spread(shots: &[Shot], group: &[usize]) -> Vec<usize> {
    let mut timed: Vec<(f64, usize)> = group
        .iter()
        .filter_map(|&index| {
            let stamp = shots[index].stamp.as_ref()?;
            Some((stamp.time.read_as_utc().unix_s(), index))
        })
        .collect();
    let count = group.len().min(SAMPLE);
    if timed.len() < count {
        return (0..count).map(|n| group[n * group.len() / count]).collect();
    }
    timed.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (first, last) = (timed[0].0, timed[timed.len() - 1].0);
    let mut chosen: Vec<usize> = (0..count)
        .filter_map(|n| {
            let due = first + (last - first) * (n as f64 + 0.5) / count as f64;
            let away = |place: &usize| (timed[*place].0 - due).abs();
            let best = (0..timed.len()).min_by(|a, b| away(a).total_cmp(&away(b)))?;
            Some(timed.remove(best).1)
        })
        .collect();
    chosen.sort_unstable();
    chosen
}

/// The middle radius of the well-seen Suns and its one sigma, in pixels; `None` without any.
///
/// Each fit comes with the height of its disc over its width: a plain circle through an oval is as large as the mean of the two,
/// from which the half-width follows; how far an arc of it strays from that depends on which arc is seen.
fn shared_radius<'a>(fits: impl Iterator<Item = (&'a DiscFit, f64)>) -> Option<(f64, f64)> {
    let well_seen = fits.filter_map(|(fit, squeeze)| {
        let sun = sun_of(fit).filter(|_| fit.limb_arc_deg >= LEAST_ARC_DEG)?;
        let flat = (1.0 - squeeze).clamp(0.0, MOST_FLAT);
        Some((sun.radius_px / (1.0 - 0.5 * flat), flat))
    });
    let (mut radii, mut flats): (Vec<f64>, Vec<f64>) = well_seen.unzip();
    let middle = median(&mut radii)?;
    let mut apart: Vec<f64> = radii.iter().map(|r| (r - middle).abs()).collect();
    let spread = 1.4826 * median(&mut apart)?;
    let least = LEAST_RADIUS_SIGMA.max(FLAT_SIGMA * median(&mut flats)?);
    Some((middle, spread.max(least * middle)))
}

/// Refraction at the horizon flattens a disc by about this much (common knowledge: 0.83 of its width).
const MOST_FLAT: f64 = 0.17;

/// One sigma of the radius that plain circles give for flattened discs, as a share of the flattening: a circle through the upper
/// and lower limbs alone errs by half of it (our choice: half of that).
const FLAT_SIGMA: f64 = 0.25;

fn median(values: &mut [f64]) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let n = values.len();
    match n {
        0 => None,
        n if n % 2 == 1 => Some(values[n / 2]),
        n => Some(0.5 * (values[n / 2 - 1] + values[n / 2])),
    }
}
