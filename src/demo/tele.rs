//! The long lens: the discs, the corona and the beads, in units of the mean solar disc.

use super::aim::Placement;
use super::corona::Corona;
use super::glare::{self, Source};
use super::limb::{LimbNow, LimbTable};
use super::moon::Moon;
use super::sky::SkyInstant;
use super::sun::{Chromosphere, Photosphere};
use crate::raster::{LinearImage, LinearRgb};

/// Everything that shines or covers.
#[derive(Clone, Debug)]
pub struct Heavens {
    /// The bright disc.
    pub photosphere: Photosphere,
    /// Pink rim and prominences.
    pub chromosphere: Chromosphere,
    /// The corona.
    pub corona: Corona,
    /// The Moon.
    pub moon: Moon,
}

impl Heavens {
    /// Seeded heavens with a Moon's limb as known; `favoured_deg` are position angles that get a large prominence.
    pub fn new(seed: u64, favoured_deg: &[f32], limb: LimbTable) -> Self {
        Self {
            photosphere: Photosphere::new(seed),
            chromosphere: Chromosphere::new(seed, favoured_deg),
            corona: Corona::new(seed),
            moon: Moon::new(seed, limb),
        }
    }
}

/// Colour of the corona: the Sun's own light, a trace warmer for its dust.
pub const CORONA_COLOUR: [f32; 3] = [1.0, 0.99, 0.97];
/// Colour of earthshine, a little blue.
const EARTHSHINE_COLOUR: [f32; 3] = [0.88, 0.98, 1.15];
/// Colour of the photosphere right at the limb, over its mean.
const LIMB_COLOUR: [f32; 3] = [1.0, 0.92, 0.78];
/// Colour of the sky about the eclipsed Sun.
const SKY_COLOUR: [f32; 3] = [0.62, 0.92, 1.55];
/// Sky radiance near the Sun deep in totality and, per uncovered share of the disc, before and after it (drawn after
/// common practice: a dark twilight in totality, millionths of the disc in a clear day sky near the Sun).
const SKY_TOTAL: f32 = 3.5e-10;
const SKY_DAY: f32 = 2.5e-6;

/// Samples across a pixel on a limb.
const FINE: usize = 6;
/// Samples across a pixel on a thin sliver of photosphere.
const FINEST: usize = 10;

/// A picture to paint.
#[derive(Clone, Copy, Debug)]
pub struct Canvas {
    /// Pixels across.
    pub width_px: usize,
    /// Pixels down.
    pub height_px: usize,
    /// Blur of lens and air: sigma of a Gaussian, in pixels.
    pub blur_px: f64,
    /// Trail of the sky during the exposure, in pixels (right, down).
    pub trail_px: (f64, f64),
}

/// Geometry of one picture, ready for many pixels.
struct Geometry {
    sun_px: (f64, f64),
    /// Solar radii east and north per pixel right and down.
    east: [f32; 2],
    north: [f32; 2],
    moon: (f32, f32),
    limb: LimbNow,
    ratio: f32,
    arcsec: f32,
    pixel: f32,
}

impl Geometry {
    fn new(moon: &Moon, sky: &SkyInstant, placed: &Placement) -> Self {
        let (x0, y0) = (placed.sun.x_px, placed.sun.y_px);
        let right = placed.sky_place(x0 + 1.0, y0);
        let down = placed.sky_place(x0, y0 + 1.0);
        let radius = sky.sun_radius_arcsec;
        Self {
            sun_px: (x0, y0),
            east: [right.0 as f32, down.0 as f32],
            north: [right.1 as f32, down.1 as f32],
            moon: (
                (sky.moon_east_arcsec / radius) as f32,
                (sky.moon_north_arcsec / radius) as f32,
            ),
            limb: moon.limb_at(sky.utc),
            ratio: sky.ratio() as f32,
            arcsec: radius as f32,
            pixel: (1.0 / placed.sun.radius_px / placed.squeeze) as f32,
        }
    }

    /// Solar radii east and north of the Sun's centre.
    fn sky_place(&self, x: f64, y: f64) -> (f32, f32) {
        let (dx, dy) = ((x - self.sun_px.0) as f32, (y - self.sun_px.1) as f32);
        (
            self.east[0] * dx + self.east[1] * dy,
            self.north[0] * dx + self.north[1] * dy,
        )
    }

    /// How far outside the Moon's mean limb a place is, in solar radii; negative inside.
    fn outside_moon(&self, east: f32, north: f32) -> f32 {
        let (e, n) = (east - self.moon.0, north - self.moon.1);
        (e * e + n * n).sqrt() - self.ratio
    }

    /// Whether the Moon, limb relief and all, covers a place.
    fn covered(&self, east: f32, north: f32) -> bool {
        let outside = self.outside_moon(east, north) * self.arcsec;
        match outside {
            o if o > RELIEF_ARCSEC => false,
            o if o < -RELIEF_ARCSEC => true,
            o => {
                o < self
                    .limb
                    .height_arcsec(east - self.moon.0, north - self.moon.1)
            }
        }
    }
}

/// No mountain or valley of the Moon's limb goes beyond this (the highest, 9 km at 360,000 km).
const RELIEF_ARCSEC: f32 = 5.0;

/// The filtered Sun: photosphere less the Moon, blurred; in units of the mean disc, before filter and air.
pub fn filtered_sun(
    heavens: &Heavens,
    sky: &SkyInstant,
    placed: &Placement,
    canvas: &Canvas,
) -> LinearRgb {
    let geometry = Geometry::new(&heavens.moon, sky, placed);
    let mut image = LinearRgb::new(canvas.width_px, canvas.height_px);
    let Some((from, to)) = box_about(placed, canvas, 1.0, 4.0 + 3.0 * canvas.blur_px) else {
        return image;
    };
    for y in from.1..to.1 {
        for x in from.0..to.0 {
            let rgb = averaged(&geometry, x, y, FINE, |e, n| {
                if geometry.covered(e, n) {
                    [0.0; 3]
                } else {
                    heavens.photosphere.at(e, n)
                }
            });
            image.set(x, y, rgb);
        }
    }
    glare::blur(&mut image, canvas.blur_px as f32, from, to);
    image
}

/// The Sun without a filter: corona, chromosphere, earthshine, sky, and what is left of the photosphere with its glare;
/// in units of the mean disc, before the air.
pub fn bare_sun(
    heavens: &Heavens,
    sky: &SkyInstant,
    placed: &Placement,
    canvas: &Canvas,
) -> LinearRgb {
    let geometry = Geometry::new(&heavens.moon, sky, placed);
    let mut image = LinearRgb::new(canvas.width_px, canvas.height_px);
    let veil = sky_light(sky.obscuration());
    for y in 0..canvas.height_px {
        for (x, pixel) in image.row_mut(y).chunks_exact_mut(3).enumerate() {
            let rgb = averaged(&geometry, x, y, FINE, |e, n| {
                faint(heavens, &geometry, e, n)
            });
            pixel.copy_from_slice(&[rgb[0] + veil[0], rgb[1] + veil[1], rgb[2] + veil[2]]);
        }
    }
    if let Some((from, to)) = box_about(placed, canvas, 1.25, 4.0) {
        glare::blur(&mut image, canvas.blur_px as f32, from, to);
    }
    add_photosphere(&mut image, heavens, &geometry, placed, canvas);
    let (dx, dy) = (canvas.trail_px.0 as f32, canvas.trail_px.1 as f32);
    if dx.hypot(dy) > 0.25 {
        image = glare::trail(&image, dx, dy);
    }
    image
}

/// Radiance of the sky about the Sun, by colour, in units of the mean disc, for a covered fraction of the Sun's area.
pub fn sky_light(obscuration: f64) -> [f32; 3] {
    let level = SKY_TOTAL + SKY_DAY * (1.0 - obscuration) as f32;
    SKY_COLOUR.map(|c| c * level)
}

/// All but the photosphere and the sky.
fn faint(heavens: &Heavens, geometry: &Geometry, east: f32, north: f32) -> [f32; 3] {
    if geometry.covered(east, north) {
        let (e, n) = (
            (east - geometry.moon.0) / geometry.ratio,
            (north - geometry.moon.1) / geometry.ratio,
        );
        let shine = heavens.moon.earthshine(e, n);
        return EARTHSHINE_COLOUR.map(|c| c * shine);
    }
    let corona = heavens.corona.at(east, north);
    let rim = heavens.chromosphere.at(east, north);
    std::array::from_fn(|c| CORONA_COLOUR[c] * corona + rim[c])
}

/// Share of the light a good lens scatters into its halo, and how steeply the halo falls (drawn after common practice).
const HALO_SHARE: f32 = 0.02;
const HALO_FALL: f32 = 2.35;
/// Strength of the diaphragm's rays.
const RAY_STRENGTH: f32 = 2.2e-4;

/// Adds the uncovered photosphere: the bright core, its halo, its rays.
fn add_photosphere(
    image: &mut LinearRgb,
    heavens: &Heavens,
    geometry: &Geometry,
    placed: &Placement,
    canvas: &Canvas,
) {
    let hidden = geometry.ratio - 1.0 - RELIEF_ARCSEC / geometry.arcsec;
    if geometry.moon.0.hypot(geometry.moon.1) < hidden {
        return;
    }
    let Some((from, to)) = box_about(placed, canvas, 1.0, 4.0) else {
        return;
    };
    let mut bright = LinearImage::new(canvas.width_px, canvas.height_px);
    let mut light = 0.0_f32;
    for y in from.1..to.1 {
        for x in from.0..to.0 {
            let [_, green, _] = averaged(geometry, x, y, FINEST, |e, n| {
                if e * e + n * n >= 1.0 || geometry.covered(e, n) {
                    [0.0; 3]
                } else {
                    heavens.photosphere.at(e, n)
                }
            });
            *bright.at_mut(x, y) = green;
            light += green;
        }
    }
    if light <= 0.0 {
        return;
    }
    let mut glow = glare::halo(&bright, HALO_SHARE, HALO_FALL);
    for source in glare::sources(&bright, 40) {
        glare::add_rays(&mut glow, source, RAY_STRENGTH, ray_reach(source, canvas));
    }
    let mut core = LinearRgb::new(canvas.width_px, canvas.height_px);
    for (rgb, (b, g)) in core
        .data_mut()
        .chunks_exact_mut(3)
        .zip(bright.data().iter().zip(glow.data()))
    {
        for c in 0..3 {
            rgb[c] = b * LIMB_COLOUR[c] + g * (0.35 + 0.65 * LIMB_COLOUR[c]);
        }
    }
    if let Some((from, to)) = box_about(placed, canvas, 1.1, 4.0) {
        glare::blur(&mut core, canvas.blur_px as f32, from, to);
    }
    image
        .data_mut()
        .iter_mut()
        .zip(core.data())
        .for_each(|(v, b)| *v += b);
}

/// Rays reach farther the brighter their source, up to half the picture's height.
fn ray_reach(source: Source, canvas: &Canvas) -> f32 {
    (90.0 * (source.light + 0.02).sqrt()).clamp(40.0, canvas.height_px as f32 * 0.5)
}

/// Mean over a pixel; sampled finely on the limbs, once elsewhere.
fn averaged(
    geometry: &Geometry,
    x: usize,
    y: usize,
    fine: usize,
    at: impl Fn(f32, f32) -> [f32; 3],
) -> [f32; 3] {
    let (east, north) = geometry.sky_place(x as f64, y as f64);
    let near = 1.3 * geometry.pixel;
    let on_sun = ((east * east + north * north).sqrt() - 1.0).abs() < near;
    let relief = RELIEF_ARCSEC / geometry.arcsec;
    let on_moon = geometry.outside_moon(east, north).abs() < near + relief;
    if !on_sun && !on_moon {
        return at(east, north);
    }
    let mut sum = [0.0; 3];
    for j in 0..fine {
        for i in 0..fine {
            let part = |k: usize| (k as f64 + 0.5) / fine as f64 - 0.5;
            let (e, n) = geometry.sky_place(x as f64 + part(i), y as f64 + part(j));
            let rgb = at(e, n);
            (0..3).for_each(|c| sum[c] += rgb[c]);
        }
    }
    sum.map(|s| s / (fine * fine) as f32)
}

/// The part of the picture within `radii` solar radii and a margin of the Sun: from and to (exclusive), or nothing.
fn box_about(
    placed: &Placement,
    canvas: &Canvas,
    radii: f64,
    margin_px: f64,
) -> Option<((usize, usize), (usize, usize))> {
    let half = placed.sun.radius_px * radii + margin_px;
    let low = |c: f64, limit: usize| (c - half).floor().clamp(0.0, limit as f64) as usize;
    let high = |c: f64, limit: usize| (c + half).ceil().clamp(0.0, limit as f64) as usize;
    let from = (
        low(placed.sun.x_px, canvas.width_px),
        low(placed.sun.y_px, canvas.height_px),
    );
    let to = (
        high(placed.sun.x_px, canvas.width_px),
        high(placed.sun.y_px, canvas.height_px),
    );
    (from.0 < to.0 && from.1 < to.1).then_some((from, to))
}
