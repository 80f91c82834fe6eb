//! From a tile to a disc on black: placed, the sky taken off, its edge faded.

use super::level::{Rings, rings};
use super::pose::{Light, Pose};
use super::tile::Tile;
use crate::domain::saturation::FULL_IN_STRIP;
use crate::domain::{Circle, SIGMAS_PER_MAD, quantile, upper_median};
use crate::raster::{LinearRgb, Placing, resampled};

/// Where the fade of a filtered disc begins, in solar radii: just off the limb, wider than its blur.
const FADE_FROM: f64 = 1.05;

/// Where it has gone to black, in solar radii.
pub(super) const FADE_TO: f64 = 1.32;

/// Where the sky is measured, in solar radii.
const SKY_RING: (f64, f64) = (1.4, 1.75);

/// Where the sky beside a bare Sun is looked for, in solar radii.
const BARE_RING: (f64, f64) = (1.5, 6.0);

/// Part of a bare frame's pixels that are darker than what counts as its darkest light.
const DARK_PART: f64 = 0.02;

/// How much of a photograph a disc needs, in solar radii.
pub(super) const TILE_REACH: f64 = 1.8;

/// Fraction of a bare picture's reach at which its fade begins.
const BARE_FADE_FROM: f64 = 0.4;

/// Depth of the fade towards the photograph's own edge, in solar radii.
const EDGE_FADE: f64 = 0.2;

/// A disc in its place: a small picture and where its corner stands on the canvas.
#[derive(Clone, Debug)]
pub(super) struct Disc {
    /// Light; black where nothing is.
    pub(super) light: LinearRgb,
    /// Canvas pixel of the picture's top-left pixel.
    pub(super) corner: (i64, i64),
    /// The disc that stands still, the Sun unless aligned on the Moon, in pixels of `light`.
    pub(super) sun: Circle,
    /// How it was taken.
    pub(super) kind: Light,
    /// Fraction of the source's values at saturation, on the part of the Sun seen.
    pub(super) clipped: f64,
    /// How bright it is at each distance from the Sun's centre; filtered discs only.
    pub(super) rings: Option<Rings>,
}

/// Where a disc goes on the canvas, in canvas pixels.
#[derive(Clone, Copy, Debug)]
pub(super) struct Target {
    /// Centre of the Sun.
    pub(super) centre: (f64, f64),
    /// Radius of the Sun.
    pub(super) radius_px: f64,
    /// How far its light may reach.
    pub(super) reach_px: f64,
}

impl Target {
    /// Corner and side of the square that holds the reach.
    fn square(&self) -> ((i64, i64), usize) {
        let half = self.reach_px.ceil() + 1.0;
        let corner = |v: f64| (v - half).floor() as i64;
        let side = (2.0 * half) as usize + 2;
        ((corner(self.centre.0), corner(self.centre.1)), side)
    }
}

/// Develops a tile. The sky's own light is taken off and the edge goes to pure black.
pub(super) fn developed(tile: &Tile, pose: &Pose, target: &Target) -> Disc {
    let source = tile.light();
    let still = tile.circle(&pose.still);
    let ((left, top), side) = target.square();
    let centre = (target.centre.0 - left as f64, target.centre.1 - top as f64);
    let placing = Placing {
        source_px: (still.x_px, still.y_px),
        result_px: centre,
        scale: still.radius_px / target.radius_px,
        mirrored: pose.mirrored,
        clockwise_deg: pose.clockwise_deg,
    };
    let sun = Circle {
        x_px: centre.0,
        y_px: centre.1,
        radius_px: target.radius_px,
    };
    let seen = Seen::of(tile, pose, &source);
    let mut disc = Disc {
        light: resampled(&source, &placing, side, side),
        corner: (left, top),
        sun,
        kind: pose.light,
        clipped: seen.sun.map_or(0.0, |sun| clipped(&source, &sun)),
        rings: seen.rings(&source),
    };
    let size = (source.width(), source.height());
    finish(
        &mut disc,
        &seen.sky,
        &Fade::of(pose.light, target, placing, size),
    );
    disc
}

/// How bright a filtered frame is at each distance from the Sun's centre, without developing it; `None` for bare ones.
pub(super) fn measured_rings(tile: &Tile, pose: &Pose) -> Option<Rings> {
    let tile = tile.cut(&pose.still, TILE_REACH * pose.still.radius_px)?;
    let source = tile.light();
    Seen::of(&tile, pose, &source).rings(&source)
}

/// What a tile shows: its sky, and the discs in its own pixels where they are to be measured.
struct Seen {
    sky: Sky,
    sun: Option<Circle>,
    moon: Option<Circle>,
}

impl Seen {
    fn of(tile: &Tile, pose: &Pose, source: &LinearRgb) -> Self {
        let here = |circle: Circle| tile.circle(&circle);
        match pose.light {
            Light::Bare => Self {
                sky: Sky::darkest(source, &here(pose.still)),
                sun: None,
                moon: None,
            },
            Light::Filtered => Self {
                sky: Sky::measured(source, &here(pose.still)),
                sun: pose.sun.map(here),
                moon: pose.moon.map(here),
            },
        }
    }

    fn rings(&self, source: &LinearRgb) -> Option<Rings> {
        let sun = self.sun?;
        Some(rings(source, &sun, self.moon.as_ref(), self.sky.level))
    }
}

/// Places a finished picture of the corona.
pub(super) fn placed_corona(source: &LinearRgb, placing: Placing, target: &Target) -> Disc {
    let ((left, top), side) = target.square();
    let centre = (target.centre.0 - left as f64, target.centre.1 - top as f64);
    let placing = Placing {
        result_px: centre,
        ..placing
    };
    let mut disc = Disc {
        light: resampled(source, &placing, side, side),
        corner: (left, top),
        sun: Circle {
            x_px: centre.0,
            y_px: centre.1,
            radius_px: target.radius_px,
        },
        kind: Light::Bare,
        clipped: 0.0,
        rings: None,
    };
    let size = (source.width(), source.height());
    let sun = Circle {
        x_px: placing.source_px.0,
        y_px: placing.source_px.1,
        radius_px: placing.scale * target.radius_px,
    };
    let sky = Sky {
        sigma: [0.0; 3],
        ..Sky::darkest(source, &sun)
    };
    finish(
        &mut disc,
        &sky,
        &Fade::of(Light::Bare, target, placing, size),
    );
    disc
}

/// The light of the sky beside the Sun.
#[derive(Clone, Copy, Debug, Default)]
struct Sky {
    level: [f32; 3],
    sigma: [f32; 3],
}

impl Sky {
    /// Median and spread (1.4826 times the median deviation, a Gaussian's sigma) in a ring about the Sun.
    fn measured(source: &LinearRgb, sun: &Circle) -> Self {
        let ring = ring_values(source, sun, SKY_RING);
        let mut sky = Self::default();
        for c in 0..3 {
            let mut values: Vec<f32> = ring.iter().map(|rgb| rgb[c]).collect();
            sky.level[c] = upper_median(&mut values).unwrap_or(0.0);
            let mut off: Vec<f32> = values.iter().map(|v| (v - sky.level[c]).abs()).collect();
            sky.sigma[c] = SIGMAS_PER_MAD as f32 * upper_median(&mut off).unwrap_or(0.0);
        }
        sky
    }

    /// The darkest light about a bare Sun, be it on the Moon or in the sky, and the noise on the Moon.
    ///
    /// Taking it off makes the Moon as black as the sheet; what stands above it, earthshine too, stays.
    fn darkest(source: &LinearRgb, sun: &Circle) -> Self {
        let ring = ring_values(source, sun, BARE_RING);
        let moon = ring_values(source, sun, (0.0, 0.5));
        let mut sky = Self::default();
        for c in 0..3 {
            let mut all: Vec<f32> = ring.iter().chain(&moon).map(|rgb| rgb[c]).collect();
            let mut on_moon: Vec<f32> = moon.iter().map(|rgb| rgb[c]).collect();
            let usual = upper_median(&mut on_moon).unwrap_or(0.0);
            on_moon.iter_mut().for_each(|v| *v = (*v - usual).abs());
            let dark = quantile(&mut all, DARK_PART).unwrap_or(0.0);
            sky.level[c] = dark.min(usual);
            sky.sigma[c] = SIGMAS_PER_MAD as f32 * upper_median(&mut on_moon).unwrap_or(0.0);
        }
        sky
    }

    /// What is left of a value: the level taken off, and what does not stand out from the noise pressed down.
    fn taken_off(&self, c: usize, value: f32) -> f32 {
        let above = (value - self.level[c]).max(0.0);
        let noise = 2.0 * self.sigma[c];
        let square = above * above;
        if noise > 0.0 {
            above * square / (square + noise * noise)
        } else {
            above
        }
    }
}

/// Some thousands of pixels of a ring about the Sun, from and to these many solar radii.
fn ring_values(source: &LinearRgb, sun: &Circle, ring: (f64, f64)) -> Vec<[f32; 3]> {
    let step = (sun.radius_px / 60.0).ceil().max(1.0) as usize;
    let (near, far) = (ring.0 * sun.radius_px, ring.1 * sun.radius_px);
    let mut values = Vec::new();
    for y in (0..source.height()).step_by(step) {
        for x in (0..source.width()).step_by(step) {
            let r = (x as f64 - sun.x_px).hypot(y as f64 - sun.y_px);
            if (near..far).contains(&r) {
                values.push(source.at(x, y));
            }
        }
    }
    values
}

/// Fraction of saturated pixels on the Sun's disc, of those that are lit at all.
fn clipped(source: &LinearRgb, sun: &Circle) -> f64 {
    let (mut lit, mut full) = (0_u32, 0_u32);
    let step = (sun.radius_px / 60.0).ceil().max(1.0) as usize;
    for y in (0..source.height()).step_by(step) {
        for x in (0..source.width()).step_by(step) {
            let inside = (x as f64 - sun.x_px).hypot(y as f64 - sun.y_px) < sun.radius_px;
            let most = source.at(x, y).into_iter().fold(0.0, f32::max);
            if inside && most > 0.05 {
                lit += 1;
                full += u32::from(most > FULL_IN_STRIP);
            }
        }
    }
    if lit == 0 {
        0.0
    } else {
        f64::from(full) / f64::from(lit)
    }
}

/// How light fades away from a disc.
struct Fade {
    from_px: f64,
    to_px: f64,
    radius_px: f64,
    edge_px: f64,
    placing: Placing,
    source_size: (usize, usize),
}

impl Fade {
    fn of(light: Light, target: &Target, placing: Placing, source_size: (usize, usize)) -> Self {
        let (from_px, to_px) = match light {
            Light::Filtered => (
                (FADE_FROM * target.radius_px).min(target.reach_px),
                (FADE_TO * target.radius_px).min(target.reach_px),
            ),
            Light::Bare => (
                (BARE_FADE_FROM * target.reach_px).max(target.radius_px.min(target.reach_px)),
                target.reach_px,
            ),
        };
        Self {
            from_px,
            to_px,
            radius_px: target.radius_px,
            edge_px: EDGE_FADE * target.radius_px * placing.scale,
            placing,
            source_size,
        }
    }

    /// What part of the light stays at a place in the result, `r_px` from the Sun's centre.
    fn at(&self, x: usize, y: usize, r_px: f64) -> f32 {
        if r_px >= self.to_px {
            return 0.0;
        }
        if r_px <= self.radius_px {
            return 1.0;
        }
        let away = eased((self.to_px - r_px) / (self.to_px - self.from_px).max(1e-6));
        // Squared, because light near nothing shows far brighter in a coded file than it is.
        (away * away * self.at_edge(x, y)) as f32
    }

    /// Fading towards the photograph's own edge, so that it never shows as a line.
    fn at_edge(&self, x: usize, y: usize) -> f64 {
        let (sx, sy) = self.placing.source_of(x as f64, y as f64);
        let right = self.source_size.0 as f64 - 1.0 - sx;
        let below = self.source_size.1 as f64 - 1.0 - sy;
        eased(sx.min(sy).min(right).min(below) / self.edge_px.max(1e-6))
    }
}

/// From 0 to 1 with level ends (the cubic `3t^2 - 2t^3`).
fn eased(t: f64) -> f64 {
    let t = t.clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

fn finish(disc: &mut Disc, sky: &Sky, fade: &Fade) {
    let sun = disc.sun;
    for y in 0..disc.light.height() {
        for (x, rgb) in disc.light.row_mut(y).chunks_exact_mut(3).enumerate() {
            let r = (x as f64 - sun.x_px).hypot(y as f64 - sun.y_px);
            let stays = fade.at(x, y, r);
            for (c, value) in rgb.iter_mut().enumerate() {
                *value = if stays > 0.0 {
                    sky.taken_off(c, *value) * stays
                } else {
                    0.0
                };
            }
        }
    }
}
