//! Finds the discs of Sun and Moon in a frame.
//!
//! Three steps, each on less of the frame: bright regions at reduced size; limbs as circles among the edges of a
//! region; then limb points at full resolution. All on linear light; axes x right, y down, (0, 0) the centre of the
//! top-left pixel.

mod arcs;
mod circle;
mod edges;
mod find;
mod gauss;
mod judge;
mod look;
mod partial;
mod profile;
mod rays;
mod refine;

use crate::domain::{Circle, DiscFit, Flag, Flags, FrameLook, Limb};
use crate::raster::{Channel, Frame, Rect};

pub use circle::{CircleFit, algebraic, distance, geometric};
use find::{LEAST_RADIUS_PX, LimbArc};
use judge::Verdict;

/// What is known about a frame before looking.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct DiscHint {
    /// The Sun's radius and its one sigma in pixels, from other frames of this body at this focal length.
    pub sun_radius_px: Option<(f64, f64)>,
    /// Moon's radius over the Sun's, from the ephemeris.
    pub moon_ratio: Option<f64>,
    /// Distance of the Moon's centre from the Sun's and its one sigma, in solar radii.
    pub offset_solar_radii: Option<(f64, f64)>,
    /// Height of the refracted disc over its width, and the direction of the zenith in degrees anticlockwise from
    /// picture up.
    pub squeeze: Option<(f64, f64)>,
    /// Whether the Sun is covered; `None` when not known.
    pub totality: Option<bool>,
}

/// Why no disc was fitted.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum NoDisc {
    /// Nothing but dark.
    #[error("nothing but dark (brightest part {peak:.4} of saturation)")]
    Dark {
        /// Most light at reduced size.
        peak: f64,
    },
    /// No round limb.
    #[error("no round limb stands out")]
    NoLimb,
    /// Too much else around.
    #[error("the round edge found is one of many: {percent:.0} % of the edges around lie on it")]
    Cluttered {
        /// How much of the edge strength around lies on the limb, percent.
        percent: f64,
    },
    /// A round thing that is not the Sun.
    #[error("the round edge found has no dark sky around it")]
    NotTheSun,
    /// Several bright shapes.
    #[error("{shapes} bright shapes of like size, not one disc")]
    Several {
        /// How many, the fitted one included.
        shapes: usize,
    },
}

/// What was found in one frame.
#[derive(Clone, Debug, PartialEq)]
pub struct DiscReport {
    /// The discs, or why there are none.
    pub fit: Result<DiscFit, NoDisc>,
    /// Plain measures.
    pub look: FrameLook,
    /// What a careful person would want to know.
    pub flags: Flags,
    /// For ranking frames of one phase, 0 to 1; 0 without a disc.
    pub quality: f64,
}

/// Below this much light at reduced size a frame is nothing but dark.
const DARK: f32 = 0.002;

/// A candidate that explains this much is taken without looking further.
const CONVINCING: f64 = 0.6;

/// Of the edge strength around a disc, at least this much lies on its limbs.
const LEAST_EXPLAINED: f64 = 0.3;

/// Looks for the discs of Sun and Moon in a frame and measures it. Never fails; a frame without a disc says why.
pub fn examine(frame: &Frame, hint: &DiscHint) -> DiscReport {
    let view = find::overview(frame);
    let mut look = look::look(frame, &view);
    let mut flags = Flags::default();
    let fit = if view.peak - view.sky < DARK {
        flags.set(Flag::Capped);
        Err(NoDisc::Dark {
            peak: f64::from(view.peak),
        })
    } else {
        searched(frame, &view, hint, &mut look)
    };
    let quality = if fit.is_ok() { 0.5 } else { 0.0 };
    DiscReport {
        fit,
        look,
        flags,
        quality,
    }
}

fn searched(
    frame: &Frame,
    view: &find::Overview,
    hint: &DiscHint,
    look: &mut FrameLook,
) -> Result<DiscFit, NoDisc> {
    let verdict = best_candidate(frame, view, hint).ok_or(NoDisc::NoLimb)?;
    if verdict.explained < LEAST_EXPLAINED {
        return Err(NoDisc::Cluttered {
            percent: 100.0 * verdict.explained,
        });
    }
    let fit = measured(frame, &verdict, hint, look)?;
    match rivals(view, &fit) {
        0 => Ok(fit),
        n => Err(NoDisc::Several { shapes: n + 1 }),
    }
}

fn best_candidate(frame: &Frame, view: &find::Overview, hint: &DiscHint) -> Option<Verdict> {
    let longest = frame.width().max(frame.height()) as f64;
    let radius_px = match hint.sun_radius_px {
        Some((r, s)) => (0.93 * r - 5.0 * s, 1.12 * r + 5.0 * s),
        None => (LEAST_RADIUS_PX, 0.75 * longest),
    };
    let mut best: Option<Verdict> = None;
    for rect in find::boxes(frame, view) {
        let Some(verdict) = judge::judged(find::limbs_in(frame, rect, radius_px), hint) else {
            continue;
        };
        let verdict = closer(frame, verdict, hint);
        if best.as_ref().is_none_or(|b| verdict.weight > b.weight) {
            let done = verdict.weight > CONVINCING;
            best = Some(verdict);
            if done {
                break;
            }
        }
    }
    best
}

/// Looks again from closer by, when the limbs were found at a smaller size than their own box allows.
fn closer(frame: &Frame, verdict: Verdict, hint: &DiscHint) -> Verdict {
    let circles = |v: &Verdict| {
        let circle = |a: &Option<LimbArc>| a.as_ref().map(|a| a.circle);
        (circle(&v.sun), circle(&v.moon))
    };
    let (sun, moon) = circles(&verdict);
    let Some(c) = sun.or(moon) else {
        return verdict;
    };
    let Some(rect) = frame.clip(c.x_px, c.y_px, 1.15 * c.radius_px + 8.0) else {
        return verdict;
    };
    let slack = verdict.step as f64;
    match judge::judged(find::limbs_near(frame, rect, sun, moon, slack), hint) {
        Some(near) if near.limb == verdict.limb => Verdict {
            weight: verdict.weight.max(near.weight),
            explained: verdict.explained.max(near.explained),
            ..near
        },
        _ => verdict,
    }
}

/// Limb points at full resolution and circles through them.
fn measured(
    frame: &Frame,
    verdict: &Verdict,
    hint: &DiscHint,
    look: &mut FrameLook,
) -> Result<DiscFit, NoDisc> {
    let carrier = match verdict.limb {
        Limb::Sun => verdict.sun.as_ref(),
        Limb::Moon => verdict.moon.as_ref(),
    };
    let carrier = carrier.ok_or(NoDisc::NoLimb)?;
    let channel = Channel::Max;
    let reach = 2.0 * verdict.step as f64 + 6.0;
    let inside = verdict.limb == Limb::Sun;
    let points = rays::limb_points(frame, carrier, inside, reach, channel);
    let levels = |f: fn(&rays::LimbPoint) -> f64| arcs::median(points.iter().map(f).collect());
    let (bright, dark) = (levels(|p| p.bright), levels(|p| p.dark));
    let least_contrast = if inside { 0.6 } else { 0.15 };
    if points.len() < 10 || bright - dark < least_contrast * bright {
        return Err(NoDisc::NotTheSun);
    }
    look.disc_level = inside.then_some(bright);
    look.limb_sharpness = Some(levels(|p| p.slope) / bright);
    let fit = circle_through(&points, carrier.circle).ok_or(NoDisc::NoLimb)?;
    if !inside {
        return Ok(moon_alone(&fit, carrier));
    }
    let moon = verdict.moon.as_ref().and_then(|arc| {
        let points = rays::limb_points(frame, arc, false, reach, channel);
        circle_through(&points, arc.circle)
    });
    let measuring = partial::channel(frame, &points);
    let rough = partial::Rough {
        sun: fit.circle,
        moon: moon.map(|m| m.circle),
        limb_level: bright,
        sky: dark,
        blur_px: (0.4 * (bright - dark) / levels(|p| p.slope)).clamp(0.4, 20.0),
    };
    match partial::refined_discs(frame, measuring, rough, hint) {
        Some(r) => Ok(refined_fit(&r, carrier, &fit)),
        None => Ok(rough_fit(&fit, moon.as_ref(), carrier)),
    }
}

/// The fit of a Moon alone.
fn moon_alone(fit: &CircleFit, arc: &LimbArc) -> DiscFit {
    DiscFit {
        limb: Limb::Moon,
        sun: None,
        moon: Some(fit.circle),
        sigma_px: sigma_px(fit),
        moon_sigma_px: Some(sigma_px(fit)),
        limb_arc_deg: arc.seen_deg,
        residual_px: fit.rms,
        blur_px: None,
    }
}

fn refined_fit(r: &refine::Refined, arc: &LimbArc, rough: &CircleFit) -> DiscFit {
    DiscFit {
        limb: Limb::Sun,
        sun: Some(r.sun),
        moon: r.moon,
        sigma_px: r.sun_sigma_px,
        moon_sigma_px: r.moon_sigma_px,
        limb_arc_deg: arc.seen_deg,
        residual_px: rough.rms,
        blur_px: Some((r.blur_px.0 * r.blur_px.1).sqrt()),
    }
}

/// Circles through limb points only: biased where the crescent is thin, so their sigma is wide.
fn rough_fit(sun: &CircleFit, moon: Option<&CircleFit>, arc: &LimbArc) -> DiscFit {
    DiscFit {
        limb: Limb::Sun,
        sun: Some(sun.circle),
        moon: moon.map(|m| m.circle),
        sigma_px: sigma_px(sun) + 1.0,
        moon_sigma_px: moon.map(|m| sigma_px(m) + 1.0),
        limb_arc_deg: arc.seen_deg,
        residual_px: sun.rms,
        blur_px: None,
    }
}

/// One sigma of a circle's centre per axis; never below the bias a geometric fit may have.
fn sigma_px(fit: &CircleFit) -> f64 {
    (0.5 * (fit.covariance[(0, 0)] + fit.covariance[(1, 1)]))
        .sqrt()
        .hypot(0.3)
}

fn circle_through(points: &[rays::LimbPoint], start: Circle) -> Option<CircleFit> {
    let places: Vec<_> = points.iter().map(|p| p.place).collect();
    let rough = geometric(&places, start, 1.0)?;
    let near: Vec<_> = places
        .into_iter()
        .filter(|&p| distance(rough.circle, p).abs() < (3.0 * rough.rms).clamp(1.0, 4.0))
        .collect();
    geometric(&near, rough.circle, 0.5)
}

/// Bright shapes away from the fitted disc that are like it in size.
fn rivals(view: &find::Overview, fit: &DiscFit) -> usize {
    let Some(c) = fit.sun.or(fit.moon) else {
        return 0;
    };
    let list = find::regions_above(view, view.sky + 0.4 * (view.peak - view.sky));
    let away = |r: &find::Region| {
        let (x, y) = (
            0.5 * (r.sides[0] + r.sides[2]),
            0.5 * (r.sides[1] + r.sides[3]),
        );
        (x - c.x_px).hypot(y - c.y_px) > 1.4 * c.radius_px
    };
    let own: f64 = list.iter().filter(|r| !away(r)).map(|r| r.area_px).sum();
    list.iter()
        .filter(|r| away(r) && r.area_px > 0.2 * own)
        .count()
}

/// The part of the frame around a circle, for those who want to look closer.
pub fn surroundings(frame: &Frame, circle: Circle, radii: f64) -> Option<Rect> {
    frame.clip(circle.x_px, circle.y_px, radii * circle.radius_px)
}
