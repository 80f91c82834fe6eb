//! From rough circles to refined ones in a partial phase: which pixels, which channel, which start.

use super::fit::{Pixel, pixels_at};
use super::flat::{Flat, Squeeze};
use super::hint::DiscHint;
use super::rays::{LimbPoint, light_at};
use super::refine::{Refined, Start, refined};
use super::sampled::{Band, Places, add_grid};
use crate::domain::{Circle, Estimate};
use crate::raster::{Channel, Frame};

/// About this many pixels take part at first.
const FIRST_PIXELS: f64 = 600.0;

/// About this many pixels take part in the end.
const PIXELS: f64 = 1300.0;

/// Pixels of the grid over the disc, to a radius.
const GRID: f64 = 12.0;

/// Starts for the Moon nearer to each other than this, in solar radii, are one.
const SAME_START: f64 = 0.03;

/// A start for the Moon farther than this from where it is due, in solar radii, leads somewhere else.
const FAR_START: f64 = 0.3;

/// Directions in which the limb is tested for light.
const DIRECTIONS: usize = 360;

/// Least run of dark limb that is taken for the Moon, in degrees.
const LEAST_DARK_DEG: usize = 8;

/// Moon's radius over the Sun's and its one sigma where nothing is known (range at eclipses: common knowledge,
/// 0.94 to 1.08).
const ANY_RATIO: Estimate = Estimate {
    value: 1.0,
    sigma: 0.06,
};

/// The channel to measure in: bright, not saturated, green for choice since most cells of a sensor are green.
pub(super) fn channel(frame: &Frame, points: &[LimbPoint]) -> Channel {
    let level = |pick: fn([f32; 3]) -> f32| {
        let all = points
            .iter()
            .filter_map(|p| {
                let (x, y) = (p.top.0.round(), p.top.1.round());
                let inside = x >= 0.0 && y >= 0.0;
                let (x, y) = (x as usize, y as usize);
                (inside && x < frame.width() && y < frame.height())
                    .then(|| f64::from(pick(frame.rgb(x, y))))
            })
            .collect();
        super::arcs::median(all)
    };
    let levels = [
        (Channel::Green, 2.5 * level(|c| c[1]), level(|c| c[1])),
        (Channel::Red, level(|c| c[0]), level(|c| c[0])),
        (Channel::Blue, level(|c| c[2]), level(|c| c[2])),
    ];
    let top = levels.iter().map(|l| l.2).fold(0.0, f64::max);
    levels
        .iter()
        .filter(|l| l.2 < 0.85 && l.2 > 0.1 * top)
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map_or(levels[0].0, |l| l.0)
}

/// Refines a partial phase from rough circles; `None` when the fit does not settle.
pub(super) fn refined_discs(
    frame: &Frame,
    channel: Channel,
    rough: Rough,
    hint: &DiscHint,
) -> Option<Refined> {
    let start = Start {
        sun: rough.sun,
        moon: None,
        level: (1.6 * rough.limb_level).max(1e-4),
        blur_px: rough.blur_px,
        radius: hint.sun_radius_px,
        ratio: hint.moon_ratio.unwrap_or(ANY_RATIO),
        offset: hint.offset_solar_radii,
        squeeze: Squeeze::known(hint),
    };
    let scan = moon_from_dark_limb(frame, channel, &rough, &start);
    let due = hint
        .moon_offset
        .map(|(offset, sigma)| (due_moon(&start, offset), sigma));
    let mut best: Option<Refined> = None;
    let mut tried: Vec<Circle> = Vec::new();
    // From where it is due first: what ends where a fit has ended is not tried.
    let starts = [due.map(|due| due.0), rough.moon, scan];
    for moon in starts.into_iter().flatten() {
        let apart =
            |t: &Circle| (t.x_px - moon.x_px).hypot(t.y_px - moon.y_px) / rough.sun.radius_px;
        let far = due.is_some_and(|(due, sigma)| apart(&due) > FAR_START + 4.0 * sigma);
        if far || tried.iter().any(|t| apart(t) < SAME_START) {
            continue;
        }
        tried.push(moon);
        let Some(fit) =
            with_moon(frame, channel, &start, moon).filter(|fit| bites(fit) && is_due(fit, hint))
        else {
            continue;
        };
        // A start where a fit has ended leads there again.
        tried.extend(fit.moon);
        if best.as_ref().is_none_or(|b| fit.cost < b.cost) {
            best = Some(fit);
        }
    }
    if best.as_ref().is_some_and(|fit| fit.patches > DOUBTFUL)
        && let Some(bare) = twice(frame, channel, &start)
        && best.as_ref().is_some_and(|fit| explains_better(&bare, fit))
    {
        return Some(bare);
    }
    if best.is_none() {
        let bare = twice(frame, channel, &start)?;
        let again = Rough {
            sun: bare.sun,
            limb_level: rough.limb_level,
            blur_px: bare.blur_px.0,
            ..rough
        };
        best = moon_from_dark_limb(frame, channel, &again, &start)
            .and_then(|moon| with_moon(frame, channel, &start, moon))
            .filter(|fit| bites(fit) && is_due(fit, hint))
            .or(Some(bare));
    }
    best
}

/// With more patches than this on its bare part a disc with a Moon is held against one without: a faint whole disc in few
/// steps of grey has been given Moons that were not there.
const DOUBTFUL: f64 = 0.06;

/// Whether a whole disc leaves less than half of the patches that a Moon leaves: one that is there covers what a whole disc
/// would have bright.
fn explains_better(bare: &Refined, bitten: &Refined) -> bool {
    bare.patches < 0.5 * bitten.patches && bare.strays <= bitten.strays
}

/// Where the Moon stands by the vector known beforehand.
fn due_moon(start: &Start, [right, down]: [f64; 2]) -> Circle {
    let radius_px = start.sun.radius_px;
    Circle {
        x_px: start.sun.x_px + right * radius_px,
        y_px: start.sun.y_px + down * radius_px,
        radius_px: start.ratio.value * radius_px,
    }
}

fn with_moon(frame: &Frame, channel: Channel, start: &Start, moon: Circle) -> Option<Refined> {
    let start = Start {
        moon: Some(moon),
        ..*start
    };
    twice(frame, channel, &start)
}

/// Rough circles and levels to start from.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rough {
    /// The Sun.
    pub sun: Circle,
    /// The Moon, where its limb was found.
    pub moon: Option<Circle>,
    /// Light just inside the Sun's limb.
    pub limb_level: f64,
    /// Light outside.
    pub sky: f64,
    /// Blur as a Gaussian sigma in pixels.
    pub blur_px: f64,
}

/// Fits, then gathers the pixels anew around the result and fits again.
fn twice(frame: &Frame, channel: Channel, start: &Start) -> Option<Refined> {
    let first = refined(&gathered(frame, channel, start, FIRST_PIXELS), start, None)?;
    let again = Start {
        sun: first.sun,
        moon: first.moon,
        level: first.level.clamp(1e-4, 20.0),
        blur_px: (first.blur_px.0 * first.blur_px.1).sqrt().max(0.3),
        ..*start
    };
    refined(
        &gathered(frame, channel, &again, PIXELS),
        &again,
        Some(&first),
    )
    .filter(|fit| sane(fit, start))
}

/// Whether a fit stayed near its rough circle; a geometric fit is never off by more.
fn sane(fit: &Refined, start: &Start) -> bool {
    let room = 0.05 * start.sun.radius_px + 4.0;
    let moved = (fit.sun.x_px - start.sun.x_px).hypot(fit.sun.y_px - start.sun.y_px);
    moved < 2.0 * room && (fit.sun.radius_px - start.sun.radius_px).abs() < room
}

/// Whether the Moon reaches into the Sun beyond doubt.
fn bites(fit: &Refined) -> bool {
    fit.moon.is_some_and(|m| {
        let apart = (m.x_px - fit.sun.x_px).hypot(m.y_px - fit.sun.y_px);
        let depth = fit.sun.radius_px + m.radius_px - apart;
        depth > 0.3 + 3.0 * fit.moon_sigma_px.unwrap_or(0.0)
    })
}

/// Farther than this from where it is due, in solar radii, what was fitted is not the Moon.
const DUE_SLACK: f64 = 0.1;

/// Whether a fitted Moon stands about where it must, so far as that is known.
fn is_due(fit: &Refined, hint: &DiscHint) -> bool {
    fit.moon
        .zip(hint.moon_offset)
        .is_none_or(|(moon, (due, sigma))| {
            let r = fit.sun.radius_px;
            let off = ((moon.x_px - fit.sun.x_px) / r - due[0])
                .hypot((moon.y_px - fit.sun.y_px) / r - due[1]);
            off < DUE_SLACK + 4.0 * sigma
        })
}

/// Pixels near both limbs, with a thin grid over the disc for its level.
fn gathered(frame: &Frame, channel: Channel, start: &Start, count: f64) -> Vec<Pixel> {
    let blur = start.blur_px.clamp(0.3, 0.2 * start.sun.radius_px + 0.3);
    let (inside, outside) = (5.0 * blur + 4.0, 4.0 * blur + 4.0);
    let mut places = Places::new();
    let band = Band {
        circle: start.sun,
        flat: Flat(start.squeeze),
        reach: (inside, outside),
        count,
    };
    band.add(&mut places, frame, |_, _| true);
    if let Some(circle) = start.moon {
        let sun = start.sun;
        let band = Band {
            circle,
            reach: (inside, inside),
            ..band
        };
        band.add(&mut places, frame, |x, y| {
            (x - sun.x_px).hypot(y - sun.y_px) < sun.radius_px + 2.0
        });
    }
    add_grid(&mut places, frame, start.sun, GRID);
    pixels_at(places, frame, channel)
}

/// Where the Moon must stand for the longest dark run of solar limb; `None` when the limb is bright all around.
fn moon_from_dark_limb(
    frame: &Frame,
    channel: Channel,
    rough: &Rough,
    start: &Start,
) -> Option<Circle> {
    let ratio = start.ratio.value;
    let flat = Flat(start.squeeze);
    let depth = rough.blur_px + 1.5;
    let light: Vec<Option<f64>> = (0..DIRECTIONS)
        .map(|i| {
            let (sin, cos) = (i as f64).to_radians().sin_cos();
            let limb_px = rough.sun.radius_px * flat.reach(cos, sin);
            let most = [0.5, 1.0, 1.5].into_iter().filter_map(|part| {
                let r = limb_px - part * depth;
                light_at(
                    frame,
                    rough.sun.x_px + r * cos,
                    rough.sun.y_px + r * sin,
                    channel,
                )
            });
            most.reduce(f64::max)
        })
        .collect();
    // The bright part of the limb sets the level; on a thin crescent it is the smaller part.
    let mut sorted: Vec<f64> = light.iter().flatten().copied().collect();
    sorted.sort_unstable_by(f64::total_cmp);
    let level = *sorted.get(sorted.len() * 4 / 5)?;
    let threshold = rough.sky + 0.6 * (level - rough.sky);
    let lit: Vec<bool> = light
        .iter()
        .map(|v| v.is_none_or(|v| v > threshold))
        .collect();
    let (from, length) = longest_dark_run(&lit)?;
    if length < LEAST_DARK_DEG {
        return None;
    }
    let half = 0.5 * length as f64;
    let (sin, cos) = (from as f64 + half - 0.5).to_radians().sin_cos();
    let c = half.to_radians().cos();
    let apart = (c + (c * c - 1.0 + ratio * ratio).max(0.0).sqrt()).max((ratio - 1.0).abs() + 0.01);
    let apart = apart * rough.sun.radius_px;
    Some(Circle {
        x_px: rough.sun.x_px + apart * cos,
        y_px: rough.sun.y_px + apart * sin,
        radius_px: ratio * rough.sun.radius_px,
    })
}

/// Start and length of the longest run of `false`, around the circle.
fn longest_dark_run(lit: &[bool]) -> Option<(usize, usize)> {
    let n = lit.len();
    let first = lit.iter().position(|&l| l)?;
    let (mut best, mut run) = ((0, 0), 0);
    for k in 1..=n {
        let i = (first + k) % n;
        if lit[i] {
            if run > best.1 {
                best = ((i + n - run) % n, run);
            }
            run = 0;
        } else {
            run += 1;
        }
    }
    (best.1 > 0).then_some(best)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_dark_run_may_cross_the_start() {
        let lit = [false, true, true, false, true, false];
        assert_eq!(longest_dark_run(&lit), Some((5, 2)));
        assert_eq!(longest_dark_run(&[true; 4]), None);
        assert_eq!(longest_dark_run(&[false; 4]), None);
    }
}
