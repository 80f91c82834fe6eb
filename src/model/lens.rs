//! A lens of a card: how large Sun and Moon show through it, and in which colour.

use std::collections::BTreeMap;

use super::discs::{ScaleKey, Seen, scale_key};
use super::zoom::{self, Stretch, SunSize};
use crate::disc::DiscReport;
use crate::domain::{
    CameraId, Circle, DiscFit, Estimate, Flag, Limb, Notice, NoticeKind, Shot, SizedFrame, median,
};

/// Least arc of solar limb, in degrees, for a frame to have a say in the shared radius.
const LEAST_ARC_DEG: f64 = 100.0;

/// Least relative sigma of the shared radius: seeing, refraction and focus change it from frame to frame (from memory).
const LEAST_RADIUS_SIGMA: f64 = 0.002;

/// The same where the headers name no camera: such pictures were cut out and resized by their owner, or are of screens, so that the Sun
/// may have a size of its own in each (our choice: wide enough for a fit to start from its own limb and not from the others' size).
const LEAST_UNTOLD_SIGMA: f64 = 0.04;

/// Least one sigma of a learned excess, in solar radii: mountains and valleys of the Moon's limb move the circle through a
/// part of it by an arcsecond or so (from memory).
const LEAST_EXCESS_SIGMA: f64 = 0.0012;

/// Usual size of an excess, in solar radii (our choice: a part of a pixel at 200 pixels' radius).
const USUAL_EXCESS: f64 = 0.0012;

/// Least one sigma of a ratio of the radii.
const LEAST_RATIO_SIGMA: f64 = 0.0006;

/// One sigma of a computed ratio of the radii, as a fraction, where nothing is learned of how a body shows edges: a
/// developed picture shows a bright disc a little large or small (from memory).
const RATIO_SIGMA: f64 = 0.0015;

/// Distances of the centres, in solar radii, at which enough of the Moon's limb is seen to measure its radius.
const MEASURABLE: std::ops::Range<f64> = 0.15..1.1;

/// Fewest frames that say how the Moon's radius shows.
pub(crate) const LEAST_MOONS: usize = 3;

/// What is known of one lens.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Lens {
    /// The Sun's radius, in pixels.
    pub(crate) sun_radius_px: Option<Estimate>,
    /// How much larger than computed the Moon shows, in pixels.
    pub(crate) moon_excess_px: Option<Estimate>,
    /// How much brighter the Sun is in its brightest channel than in luma: the colour of the filter.
    pub(crate) tint: Option<f64>,
    /// Stretches of time with a Sun of another size each, although no header says so; empty where there is one size.
    pub(crate) slips: Vec<Stretch>,
}

impl Lens {
    /// The Sun's radius at the time of a shot, in pixels.
    pub(crate) fn sun_radius_at(&self, shot: &Shot) -> Option<Estimate> {
        self.slipped_radius_at(shot).or(self.sun_radius_px)
    }

    /// The same, only where the zoom slipped.
    pub(crate) fn slipped_radius_at(&self, shot: &Shot) -> Option<Estimate> {
        zoom::radius_at(&self.slips, clock_s(shot)?)
    }

    /// The ratio of the radii as a frame of this lens shows it, from the computed one.
    ///
    /// A developed picture wears bright edges away or lets them grow, the same for all frames of a body: the Sun shows
    /// small and the Moon before it large, or the reverse.
    pub(crate) fn shown_ratio(&self, computed: f64, shot: &Shot) -> Estimate {
        let learned = self.sun_radius_at(shot).zip(self.moon_excess_px);
        let Some((radius_px, excess_px)) = learned else {
            return Estimate::relative(computed, RATIO_SIGMA);
        };
        let radius_px = radius_px.value;
        let excess = Estimate::new(excess_px.value / radius_px, excess_px.sigma / radius_px);
        // Weighed against none at all, which is what a plain camera shows.
        let learned = excess.sigma.max(LEAST_EXCESS_SIGMA).powi(-2);
        let weight = learned + USUAL_EXCESS.powi(-2);
        Estimate::new(
            computed + excess.value * learned / weight,
            weight.powf(-0.5).max(LEAST_RATIO_SIGMA),
        )
    }

    /// What a person should know of a zoom that slipped.
    fn slip_notices(&self, shots: &[Shot]) -> Vec<Notice> {
        if self.slips.len() > MOST_SIZES {
            return vec![many_sizes_notice(&self.slips, shots)];
        }
        let told = |pair: &[Stretch]| slip_notice(&pair[0], &pair[1], shots);
        self.slips.windows(2).map(told).collect()
    }
}

/// The lenses of a card.
#[derive(Clone, Debug, Default)]
pub(crate) struct Lenses(pub(crate) BTreeMap<ScaleKey, Lens>);

impl Lenses {
    /// What is known of the lens of a shot.
    pub(crate) fn of(&self, shot: &Shot) -> Lens {
        self.0.get(&scale_key(shot)).cloned().unwrap_or_default()
    }

    /// The Sun's radius at the time of a shot, in pixels, where the zoom slipped.
    pub(crate) fn slipped_radius_px(&self, shot: &Shot) -> Option<Estimate> {
        self.0.get(&scale_key(shot))?.slipped_radius_at(shot)
    }

    /// What a person should know of zooms that slipped.
    pub(crate) fn slip_notices(&self, shots: &[Shot]) -> Vec<Notice> {
        let all = self.0.values();
        all.flat_map(|lens| lens.slip_notices(shots)).collect()
    }
}

/// A lens that shows the Sun in more sizes than this did not slip so often: its pictures were cut out and enlarged by their
/// owner, or taken at an eyepiece (our choice).
const MOST_SIZES: usize = 3;

/// The one notice for a lens of many sizes.
fn many_sizes_notice(stretches: &[Stretch], shots: &[Shot]) -> Notice {
    let first = &shots[stretches[0].first];
    let radii = || stretches.iter().map(|s| s.radius_px.value);
    let (least, most) = (
        radii().fold(f64::MAX, f64::min),
        radii().fold(0.0, f64::max),
    );
    Notice::look(NoticeKind::ManySizes {
        camera: first.camera.as_ref().map(CameraId::make_model),
        sizes: stretches.len(),
        least_px: least,
        most_px: most,
    })
}

fn slip_notice(old: &Stretch, new: &Stretch, shots: &[Shot]) -> Notice {
    let (before, after) = (&shots[old.last], &shots[new.first]);
    let sized = |shot: &Shot, radius_px: f64| SizedFrame {
        file: shot.file.name.clone(),
        clock: shot.stamp.map(|stamp| stamp.time),
        radius_px,
    };
    Notice::look(NoticeKind::SizeSteps {
        camera: after.camera.as_ref().map(CameraId::make_model),
        before: sized(before, old.radius_px.value),
        after: sized(after, new.radius_px.value),
        focal_mm: after.exposure.focal_mm,
    })
    .about(&after.file.name)
}

/// Time by the camera's clock, in seconds.
pub(crate) fn clock_s(shot: &Shot) -> Option<f64> {
    Some(shot.stamp.as_ref()?.time.read_as_utc().unix_s())
}

/// Where each lens's Sun changes its size from one moment to the next, of lenses where it does. Frames whose disc is
/// flattened, by `round`, are left out.
pub(crate) fn slips(
    shots: &[Shot],
    seen: &[Seen],
    round: &dyn Fn(usize) -> bool,
) -> BTreeMap<ScaleKey, Vec<Stretch>> {
    let mut suns: BTreeMap<ScaleKey, Vec<SunSize>> = BTreeMap::new();
    for (index, (shot, seen)) in shots.iter().zip(seen).enumerate() {
        let own = seen.report().and_then(own_radius_px);
        if let (Some(radius_px), Some(time_s)) = (own, clock_s(shot))
            && round(index)
        {
            suns.entry(scale_key(shot)).or_default().push(SunSize {
                time_s,
                shot: index,
                radius_px: radius_px.value,
                sigma_px: radius_px.sigma,
            });
        }
    }
    suns.into_iter()
        .map(|(key, suns)| {
            let least = least_radius_sigma(key.names_camera());
            (key, zoom::stretches(suns, least))
        })
        .filter(|(_, stretches)| stretches.len() > 1)
        .collect()
}

/// Radius of a Sun that says it of its own: well seen, and neither burnt out nor behind cloud.
fn own_radius_px(report: &DiscReport) -> Option<Estimate> {
    let fit = report.fit.as_ref().ok()?;
    let sun =
        sun_seen(fit).filter(|_| fit.limb_arc_deg >= LEAST_ARC_DEG && fit.blur_px.is_some())?;
    let spoilt = [Flag::Clipped, Flag::Clouded]
        .iter()
        .any(|flag| report.flags.has(*flag));
    (!spoilt).then_some(Estimate::new(sun.radius_px, fit.sigma_px))
}

/// The Sun of a fit that rests on its limb.
pub(crate) fn sun_seen(fit: &DiscFit) -> Option<Circle> {
    fit.sun.filter(|_| fit.limb == Limb::Sun)
}

/// The middle radius of the well-seen Suns, in pixels; `None` without any.
///
/// Each fit comes with the height of its disc over its width: a plain circle through an oval is as large as the mean of the two,
/// from which the half-width follows; how far an arc of it strays from that depends on which arc is seen.
///
/// `told` is whether a header says which camera it is.
pub(crate) fn sun_radius_px<'a>(
    fits: impl Iterator<Item = (&'a DiscFit, f64)>,
    told: bool,
) -> Option<Estimate> {
    let well_seen = fits.filter_map(|(fit, squeeze)| {
        let sun = sun_seen(fit).filter(|_| fit.limb_arc_deg >= LEAST_ARC_DEG)?;
        let flat = (1.0 - squeeze).clamp(0.0, MOST_FLAT);
        Some((sun.radius_px / (1.0 - 0.5 * flat), flat))
    });
    let (radii, mut flats): (Vec<f64>, Vec<f64>) = well_seen.unzip();
    let Estimate { value, sigma } = Estimate::middle_of(radii)?;
    let least = least_radius_sigma(told).max(FLAT_SIGMA * median(&mut flats)?);
    Some(Estimate::new(value, sigma.max(least * value)))
}

fn least_radius_sigma(told: bool) -> f64 {
    if told {
        LEAST_RADIUS_SIGMA
    } else {
        LEAST_UNTOLD_SIGMA
    }
}

/// Refraction at the horizon flattens a disc by about this much (common knowledge: 0.83 of its width).
const MOST_FLAT: f64 = 0.17;

/// One sigma of the radius that plain circles give for flattened discs, as a share of the flattening: a circle through the upper
/// and lower limbs alone errs by half of it (our choice: half of that).
const FLAT_SIGMA: f64 = 0.25;

/// The middle of some excesses, in pixels; `None` where they are too few.
pub(crate) fn moon_excess_px(all: Vec<f64>) -> Option<Estimate> {
    let count = all.len();
    let Estimate { value, sigma } = Estimate::middle_of(all).filter(|_| count >= LEAST_MOONS)?;
    Some(Estimate::new(value, sigma / (count as f64).sqrt()))
}

/// How much larger than by the computed `ratio` the Moon shows in a partial phase whose limbs are both well seen, in pixels.
pub(crate) fn excess_px(fit: &DiscFit, ratio: f64) -> Option<f64> {
    let (sun, moon) = fit.sun.zip(fit.moon)?;
    let sure = fit
        .moon_sigma_px
        .is_some_and(|sigma| sigma < 0.01 * sun.radius_px);
    let seen = fit.limb == Limb::Sun && fit.limb_arc_deg >= LEAST_ARC_DEG;
    (seen && sure && shows_moon_radius(fit)).then_some(moon.radius_px - ratio * sun.radius_px)
}

/// Whether so much of the Sun's limb is seen that it tells the Sun's radius.
pub(crate) fn is_well_seen(fit: &DiscFit) -> bool {
    fit.limb == Limb::Sun && fit.limb_arc_deg >= LEAST_ARC_DEG
}

/// Whether the Moon stands where enough of its limb is seen to measure its radius.
pub(crate) fn shows_moon_radius(fit: &DiscFit) -> bool {
    let apart = fit
        .sun
        .zip(fit.moon)
        .map(|(sun, moon)| (sun.x_px - moon.x_px).hypot(sun.y_px - moon.y_px) / sun.radius_px);
    apart.is_some_and(|apart| MEASURABLE.contains(&apart))
}
