//! Light on and around fitted discs, measured directly from the pixels: what flags are judged by.
//!
//! No model of the limbs takes part, so that a fit led astray by cloud or saturation does not judge itself.

use nalgebra::Vector3;

use super::arcs::median;
use super::find::Overview;
use super::hint::DiscHint;
use super::rays::light_at;
use crate::domain::saturation::FULL_DISC;
use crate::domain::{Circle, DiscFit, DiscLook, EdgeLook, Limb, NormalEquations, SIGMAS_PER_MAD};
use crate::raster::{Channel, Frame};

/// Steps across the disc's radius at which it is sampled.
const STEPS: i32 = 24;

/// Sampled at reduced size where a pixel there is no more than this part of the radius.
const FINE: f64 = 1.0 / 12.0;

/// Part of the disc's usual light from which on a place counts as lit: limb and thin cloud are, the Moon and the sky are not.
const LIT: f64 = 0.3;

/// Distances between which the disc's light is looked at, in radii: blur mixes beyond, where limb darkening is steep too.
const INSIDE: f64 = 0.9;

/// Cells along each side of the disc's box in which unevenness is looked for: spots are smaller, clouds are not.
const CELLS: usize = 8;

/// Least places in a cell, and least cells, to tell of unevenness.
const LEAST_PLACES: usize = 6;
const LEAST_CELLS: usize = 6;

/// Ring in which light about a filtered disc is measured, and the corona about the Moon, in radii.
const HALO: (f64, f64) = (1.12, 1.3);
const CORONA: (f64, f64) = (1.08, 1.25);

/// Directions in which a ring is looked at.
const DIRECTIONS: usize = 48;

/// Light at places of a frame, from its pixels or from its reduced picture.
struct Light<'a> {
    frame: &'a Frame,
    view: Option<&'a Overview>,
}

impl Light<'_> {
    fn at(&self, x: f64, y: f64) -> Option<f64> {
        let whole = |v: f64, n: usize| (v >= 0.0 && v < n as f64).then_some(v as usize);
        match self.view {
            Some(view) => {
                let step = view.step as f64;
                let (x, y) = ((x + 0.5) / step, (y + 0.5) / step);
                let (x, y) = (
                    whole(x, view.light.width())?,
                    whole(y, view.light.height())?,
                );
                Some(f64::from(view.light.row(y)[x]))
            }
            None => {
                let x = whole((x + 0.5).floor(), self.frame.width())?;
                let y = whole((y + 0.5).floor(), self.frame.height())?;
                Some(f64::from(self.frame.value(x, y, Channel::Max)))
            }
        }
    }
}

/// Measures the light of a frame with fitted discs; `None` where the disc lies outside the frame or is dark.
pub(super) fn measured(
    frame: &Frame,
    view: &Overview,
    fit: &DiscFit,
    hint: &DiscHint,
) -> Option<DiscLook> {
    let circle = match fit.limb {
        Limb::Sun => fit.sun?,
        Limb::Moon => fit.moon?,
    };
    let light = Light {
        frame,
        view: (view.step as f64 <= FINE * circle.radius_px).then_some(view),
    };
    let full = full_at(hint);
    let sky = f64::from(view.sky);
    let mut look = match fit.limb {
        Limb::Sun => of_sun(&light, circle, fit.moon, full)?,
        Limb::Moon => of_corona(&light, circle, sky, full)?,
    };
    look.edge = edge(frame, circle, fit, full)
        .filter(|(_, step)| {
            // Wider than what is looked at, an edge leaves no more than noise to measure.
            fit.limb == Limb::Moon || *step > LEAST_STEP * look.level
        })
        .map(|(edge, _)| edge);
    Some(look)
}

/// Least light that a limb steps by, over the disc's: sharp ones step by a third and more, as the limb is darker than the middle.
const LEAST_STEP: f64 = 0.1;

/// Fewest directions in which a crescent's outer limb is looked at, and least light that it steps by: in a channel with less the steps of
/// the file are measured.
const LEAST_OUTER: usize = 8;
const LEAST_OUTER_STEP: f64 = 0.1;

/// Width of the outer limb of a crescent whose limb does not stand free, Gaussian sigmas in pixels.
#[derive(Clone, Copy, Debug)]
pub(super) struct OuterLimb {
    /// Directions that tell.
    pub directions: usize,
    /// Lower and upper quartile.
    pub quartiles_px: (f64, f64),
}

/// The outer limb of a crescent, from the steepest fall over what it falls by from the crescent's ridge. The other limb takes from the ridge, so
/// that a blur wider than the crescent shows as two thirds of itself at least. The channel least saturated tells; `None` where none does.
pub(super) fn outer_limb(frame: &Frame, fit: &DiscFit, hint: &DiscHint) -> Option<OuterLimb> {
    let (Limb::Sun, Some(sun)) = (fit.limb, fit.sun) else {
        return None;
    };
    let bare = |turn: &f64| {
        let (x, y) = (
            sun.x_px + sun.radius_px * turn.cos(),
            sun.y_px + sun.radius_px * turn.sin(),
        );
        fit.moon
            .is_none_or(|moon| (x - moon.x_px).hypot(y - moon.y_px) > moon.radius_px)
    };
    // The blue of an orange Sun is mostly fringe and glare.
    let all = [Channel::Max, Channel::Green];
    let channels = &all[..frame.channels().clamp(1, all.len())];
    channels.iter().find_map(|channel| {
        let rim = Rim {
            frame,
            circle: sun,
            inside: true,
            full: full_at(hint),
            channel: *channel,
            ridge: true,
        };
        let widths: Vec<(f64, f64)> = (0..DIRECTIONS)
            .map(|n| n as f64 / DIRECTIONS as f64 * std::f64::consts::TAU)
            .filter(bare)
            .filter_map(|turn| width(&rim, turn))
            .collect();
        outer_of(&widths)
    })
}

fn outer_of(widths: &[(f64, f64)]) -> Option<OuterLimb> {
    let usual = median(widths.iter().map(|w| w.1).collect());
    let mut widths: Vec<f64> = widths
        .iter()
        .filter(|w| w.1 > 0.3 * usual)
        .map(|w| w.0)
        .collect();
    widths.sort_by(f64::total_cmp);
    let count = widths.len();
    (count >= LEAST_OUTER && usual > LEAST_OUTER_STEP).then(|| OuterLimb {
        directions: count,
        quartiles_px: (widths[count / 4], widths[3 * count / 4]),
    })
}

/// Light from which on a place is saturated in some channel.
pub(super) fn full_at(hint: &DiscHint) -> f64 {
    FULL_DISC / hint.tint.unwrap_or(1.0).max(1.0)
}

/// A place on the disc: from its centre in radii, and its light.
type Spot = (f64, f64, f64);

fn of_sun(light: &Light<'_>, sun: Circle, moon: Option<Circle>, full: f64) -> Option<DiscLook> {
    let (mut spots, mut seen) = (Vec::new(), 0_u32);
    for j in -STEPS..=STEPS {
        for i in -STEPS..=STEPS {
            let (u, v) = (
                f64::from(i) / f64::from(STEPS),
                f64::from(j) / f64::from(STEPS),
            );
            if u.hypot(v) >= INSIDE {
                continue;
            }
            if let Some(value) =
                light.at(sun.x_px + u * sun.radius_px, sun.y_px + v * sun.radius_px)
            {
                seen += 1;
                spots.push((u, v, value));
            }
        }
    }
    let mut values: Vec<f64> = spots.iter().map(|s| s.2).collect();
    values.sort_by(f64::total_cmp);
    // A thin crescent lights but a few places: what counts as usual is bright.
    let bright = *values.get(values.len().checked_sub(1 + values.len() / 200)?)?;
    spots.retain(|s| s.2 > LIT * bright);
    if spots.is_empty() || bright <= 0.0 {
        return None;
    }
    let lit = spots.len();
    let level = median(spots.iter().map(|s| s.2).collect());
    let saturated = spots.iter().filter(|s| s.2 >= full).count();
    // Away from the Moon's blurred limb, and from what is saturated.
    let clear = |s: &Spot| {
        let off_moon = moon.is_none_or(|m| {
            let (x, y) = (
                sun.x_px + s.0 * sun.radius_px,
                sun.y_px + s.1 * sun.radius_px,
            );
            (x - m.x_px).hypot(y - m.y_px) > m.radius_px + 0.1 * sun.radius_px
        });
        off_moon && s.2 < full
    };
    spots.retain(clear);
    let (uneven, tilt) = unevenness(&spots, level).unzip();
    let (halo, halo_uneven) = halo(light, sun, moon, level);
    Some(DiscLook {
        level,
        saturated: saturated as f64 / lit as f64,
        lit: lit as f64 / f64::from(seen.max(1)),
        uneven,
        tilt,
        halo,
        halo_uneven,
        edge: None,
    })
}

/// Root mean square of what is left of the disc's light over its level, in cells, once limb darkening (a quadratic in `1 - mu`,
/// fitted to the disc itself) is taken off: with the slope across the disc left in, and that slope's share.
fn unevenness(spots: &[Spot], level: f64) -> Option<(f64, f64)> {
    let dark = |s: &Spot| 1.0 - (1.0 - s.0 * s.0 - s.1 * s.1).max(0.0).sqrt();
    let rows: Vec<[f64; 3]> = spots
        .iter()
        .map(|s| [1.0, dark(s), dark(s).powi(2)])
        .collect();
    let lights: Vec<f64> = spots.iter().map(|s| s.2 / level).collect();
    let law = least_squares(&rows, &lights)?;
    let left: Vec<f64> = rows
        .iter()
        .zip(&lights)
        .map(|(row, light)| light - row.iter().zip(&law).map(|(r, c)| r * c).sum::<f64>())
        .collect();
    let slope_rows: Vec<[f64; 3]> = spots.iter().map(|s| [1.0, s.0, s.1]).collect();
    let slope = least_squares(&slope_rows, &left)?;
    let flat: Vec<f64> = slope_rows
        .iter()
        .zip(&left)
        .map(|(row, l)| l - row.iter().zip(&slope).map(|(r, c)| r * c).sum::<f64>())
        .collect();
    Some((in_cells(spots, &flat)?, 0.5 * slope[1].hypot(slope[2])))
}

/// Root mean square of the medians of cells, beyond what noise alone gives.
fn in_cells(spots: &[Spot], left: &[f64]) -> Option<f64> {
    let mut cells = vec![Vec::new(); CELLS * CELLS];
    for (s, l) in spots.iter().zip(left) {
        let cell = |v: f64| (((0.5 + 0.5 * v) * CELLS as f64) as usize).min(CELLS - 1);
        cells[cell(s.1) * CELLS + cell(s.0)].push(*l);
    }
    cells.retain(|c| c.len() >= LEAST_PLACES);
    if cells.len() < LEAST_CELLS {
        return None;
    }
    let (mut square, mut noise) = (0.0, 0.0);
    for cell in &cells {
        let middle = median(cell.clone());
        let apart = SIGMAS_PER_MAD * median(cell.iter().map(|v| (v - middle).abs()).collect());
        square += middle * middle;
        // The variance of a median is pi/2 times that of a mean.
        noise += std::f64::consts::FRAC_PI_2 * apart * apart / cell.len() as f64;
    }
    Some(((square - noise).max(0.0) / cells.len() as f64).sqrt())
}

/// Coefficients of three columns by least squares; `None` where the columns cannot be told apart.
fn least_squares(rows: &[[f64; 3]], values: &[f64]) -> Option<[f64; 3]> {
    let mut sums = NormalEquations::zeros();
    for (row, value) in rows.iter().zip(values) {
        sums.add(&Vector3::from(*row), *value, 1.0);
    }
    // A touch of it holds a thin crescent, all of whose places are of one distance.
    sums.draw_to_zero(1e-6 * rows.len() as f64 + 1e-9);
    Some(sums.solution()?.into())
}

/// How unsure the wave of two is for a scatter of 1 about it, along its worse axis: a short arc of limb says little of it.
fn unsure(rows: &[[f64; 3]]) -> Option<f64> {
    let mut sums = NormalEquations::zeros();
    for row in rows {
        sums.add(&Vector3::from(*row), 0.0, 1.0);
    }
    let covariance = sums.covariance()?;
    Some(covariance[(1, 1)].max(covariance[(2, 2)]).max(0.0).sqrt())
}

/// Light just off the limb over the disc's, and its scatter around the disc: quartile and half the distance of the quartiles.
fn halo(light: &Light<'_>, sun: Circle, moon: Option<Circle>, level: f64) -> (f64, f64) {
    let mut around: Vec<f64> = ring(light, sun, HALO)
        .into_iter()
        .flatten()
        .filter(|(x, y, _)| {
            moon.is_none_or(|m| (x - m.x_px).hypot(y - m.y_px) > 1.05 * m.radius_px)
        })
        .map(|(.., value)| value / level)
        .collect();
    around.sort_by(f64::total_cmp);
    let part = |of: f64| {
        around
            .get((of * around.len() as f64) as usize)
            .copied()
            .unwrap_or(0.0)
    };
    (part(0.5), 0.5 * (part(0.75) - part(0.25)))
}

/// Mean light in each direction of a ring between two radii, with the place of its middle; `None` outside the frame.
fn ring(light: &Light<'_>, c: Circle, (from, to): (f64, f64)) -> Vec<Option<(f64, f64, f64)>> {
    let one = |n: usize| {
        let (sin, cos) = (n as f64 / DIRECTIONS as f64 * std::f64::consts::TAU).sin_cos();
        let at = |r: f64| {
            (
                c.x_px + r * c.radius_px * cos,
                c.y_px + r * c.radius_px * sin,
            )
        };
        let values: Vec<f64> = (0..5)
            .filter_map(|k| {
                let (x, y) = at(from + (to - from) * f64::from(k) / 4.0);
                light.at(x, y)
            })
            .collect();
        let (x, y) = at(0.5 * (from + to));
        (values.len() == 5).then(|| (x, y, values.iter().sum::<f64>() / 5.0))
    };
    (0..DIRECTIONS).map(one).collect()
}

/// The corona close to the Moon: level and unevenness of its logarithm around the limb.
fn of_corona(light: &Light<'_>, moon: Circle, sky: f64, full: f64) -> Option<DiscLook> {
    let around: Vec<f64> = ring(light, moon, CORONA)
        .into_iter()
        .flatten()
        .map(|(.., value)| value)
        .collect();
    if around.len() < DIRECTIONS / 2 {
        return None;
    }
    let level = median(around.clone()) - sky;
    let saturated = around.iter().filter(|v| **v >= full).count() as f64 / around.len() as f64;
    let logs: Vec<f64> = around.iter().map(|v| (v - sky).max(1e-5).ln()).collect();
    let mean = logs.iter().sum::<f64>() / logs.len() as f64;
    let square: f64 = logs.iter().map(|l| (l - mean).powi(2)).sum();
    Some(DiscLook {
        level: level.max(0.0),
        saturated,
        lit: around.len() as f64 / DIRECTIONS as f64,
        uneven: Some((square / logs.len() as f64).sqrt()),
        tilt: None,
        halo: sky,
        halo_uneven: 0.0,
        edge: None,
    })
}

/// Rays on either side of a direction whose profiles are joined, and their distance in degrees.
const RAYS: i32 = 2;
const RAY_DEG: f64 = 1.2;

/// Steps of a profile, pixels.
pub(super) const PROFILE_PX: f64 = 0.5;

/// How far either side of an edge is looked at, in pixels.
pub(super) fn reach_px(radius_px: f64) -> f64 {
    (0.16 * radius_px).clamp(7.0, 60.0)
}

/// Fewest directions that tell of an edge.
const LEAST_DIRECTIONS: usize = 8;

/// Width of the limb's edge in the directions where it stands free: Gaussian sigmas from the steepest slope, `step / (slope sqrt(2
/// pi))`. Its lower quartile is the blur, for prominences, chromosphere and cloud widen it in some directions only; its wave of two
/// around the limb, as variance, is a shake's. With the light it steps by.
fn edge(frame: &Frame, c: Circle, fit: &DiscFit, full: f64) -> Option<(EdgeLook, f64)> {
    let inside = fit.limb == Limb::Sun;
    let rim = Rim {
        frame,
        circle: c,
        inside,
        full,
        channel: Channel::Max,
        ridge: false,
    };
    let other = if inside { fit.moon } else { None };
    let mut widths: Vec<(f64, f64)> = Vec::new();
    let mut steps: Vec<f64> = Vec::new();
    for n in 0..DIRECTIONS {
        let turn = n as f64 / DIRECTIONS as f64 * std::f64::consts::TAU;
        let (x, y) = (
            c.x_px + c.radius_px * turn.cos(),
            c.y_px + c.radius_px * turn.sin(),
        );
        let hidden = other
            .is_some_and(|m| (x - m.x_px).hypot(y - m.y_px) < m.radius_px + 0.12 * c.radius_px);
        if hidden {
            continue;
        }
        if let Some((sigma, step)) = width(&rim, turn) {
            widths.push((turn, sigma));
            steps.push(step);
        }
    }
    if widths.len() < LEAST_DIRECTIONS {
        return None;
    }
    let usual = median(steps.clone());
    let mut kept = steps.iter().map(|s| *s > 0.3 * usual);
    widths.retain(|_| kept.next().unwrap_or(false));
    if widths.len() < LEAST_DIRECTIONS {
        return None;
    }
    let mut sorted: Vec<f64> = widths.iter().map(|w| w.1).collect();
    sorted.sort_by(f64::total_cmp);
    let rows: Vec<[f64; 3]> = widths
        .iter()
        .map(|(turn, _)| [1.0, (2.0 * turn).cos(), (2.0 * turn).sin()])
        .collect();
    let squares: Vec<f64> = widths.iter().map(|w| w.1 * w.1).collect();
    let wave = least_squares(&rows, &squares)?;
    let off: Vec<f64> = rows
        .iter()
        .zip(&squares)
        .map(|(row, v)| (v - row.iter().zip(&wave).map(|(r, c)| r * c).sum::<f64>()).abs())
        .collect();
    let scatter = SIGMAS_PER_MAD * median(off);
    let look = EdgeLook {
        directions: widths.len() as u32,
        quartile_px: sorted[sorted.len() / 4],
        median_px: sorted[sorted.len() / 2],
        wave_px2: wave[1].hypot(wave[2]),
        wave_sigma_px2: scatter * unsure(&rows)?,
    };
    Some((look, usual))
}

/// A round edge and how it is looked at.
struct Rim<'a> {
    frame: &'a Frame,
    circle: Circle,
    /// Bright inside.
    inside: bool,
    /// Light from which on a place is saturated.
    full: f64,
    channel: Channel,
    /// The bright side is a ridge: its brightest place is the edge's top.
    ridge: bool,
}

/// Sigma of the edge in one direction and the light it steps by; `None` where it is saturated, flat or off the frame.
fn width(rim: &Rim<'_>, turn: f64) -> Option<(f64, f64)> {
    let c = rim.circle;
    let reach = reach_px(c.radius_px);
    let count = (2.0 * reach / PROFILE_PX) as usize + 1;
    let mut profile = vec![0.0; count];
    for ray in -RAYS..=RAYS {
        let (sin, cos) = (turn + f64::from(ray) * RAY_DEG.to_radians()).sin_cos();
        for (k, value) in profile.iter_mut().enumerate() {
            let r = c.radius_px - reach + k as f64 * PROFILE_PX;
            let (x, y) = (c.x_px + r * cos, c.y_px + r * sin);
            *value += light_at(rim.frame, x, y, rim.channel)?;
        }
    }
    let rays = f64::from(2 * RAYS + 1);
    profile.iter_mut().for_each(|v| *v /= rays);
    if !rim.inside {
        profile.reverse();
    }
    // From bright to dark now: the steepest fall near the limb.
    let fall = |k: usize| (profile[k - 2] - profile[k + 2]) / (4.0 * PROFILE_PX);
    let near = count / 4..3 * count / 4;
    let steepest = near.max_by(|a, b| fall(*a).total_cmp(&fall(*b)))?;
    let slope = fall(steepest);
    if slope <= 0.0 {
        return None;
    }
    // Top and foot two and a half sigmas off, sigma being what they give: from a narrow guess, a few rounds.
    let (mut sigma, mut step) = (1.0, 0.0);
    for _ in 0..6 {
        let away = ((2.5 * sigma / PROFILE_PX) as usize).max(2);
        let (first, last) = (
            steepest.saturating_sub(away),
            (steepest + away).min(count - 1),
        );
        let (top, foot) = match rim.ridge {
            false => (profile[first], profile[last]),
            true => (most(&profile[first..=steepest]), profile[last]),
        };
        if top >= rim.full {
            return None;
        }
        step = top - foot;
        sigma = step / (slope * (2.0 * std::f64::consts::PI).sqrt());
    }
    (step > 0.0 && sigma.is_finite()).then_some((sigma, step))
}

fn most(values: &[f64]) -> f64 {
    values.iter().copied().fold(0.0, f64::max)
}
