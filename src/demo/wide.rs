//! The wide view: a valley under a darkening sky, with the small Sun above it.

use super::aim::View;
use super::glare;
use super::grain::{Grain, rise};
use super::sky::{Light, SkyInstant};
use super::tele::Heavens;
use crate::raster::{LinearImage, LinearRgb};

/// Radiance of a clear day sky in units of the mean solar disc (common practice: some 5,000 cd/m2 of 1.6e9).
const DAY_SKY: f32 = 3.0e-6;
/// Zenith and horizon in totality (drawn after common practice: a dark blue dusk, an orange rim all round).
const DUSK_SKY: f32 = 7.5e-10;
const RIM_GLOW: f32 = 1.15e-8;
/// Brightness of the Sun in magnitudes (Willmer 2018, Astrophys. J. Suppl. 236, 47: -26.76 in V), to place stars on the
/// same scale.
const SUN_MAGNITUDE: f64 = -26.76;

/// The state of the light over the valley.
#[derive(Clone, Copy, Debug)]
struct Daylight {
    sun_alt: f32,
    sun_az: f32,
    /// Share of sunlight left.
    day: f32,
    /// -1 at second contact to 1 at third: the rim is bright in the east first, then in the west.
    swing: f32,
    /// Warmth of a low Sun, 0 to 1.
    warm: f32,
}

impl Daylight {
    fn sky(&self, alt: f32, az: f32) -> [f32; 3] {
        let height = alt.max(0.0);
        let low = (-height / 12.0).exp();
        let (da, dz) = (
            alt - self.sun_alt,
            (az - self.sun_az) * alt.to_radians().cos(),
        );
        let apart = da.hypot(dz);
        let aureole = 0.9 * (-apart / 14.0).exp() + 1.6 * (-apart / 3.5).exp();
        let zenith = [0.15, 0.36, 1.0];
        let haze = [
            0.92 + 0.3 * self.warm,
            1.0 - 0.16 * self.warm,
            1.14 - 0.66 * self.warm,
        ];
        let sunlit = [1.2, 1.02 - 0.2 * self.warm, 0.86 - 0.4 * self.warm];
        let rim = RIM_GLOW * (0.75 + 0.45 * self.swing) * (-height / 5.0).exp();
        let upper = 0.30 * RIM_GLOW * (-height / 13.0).exp();
        let dusk = [0.42, 0.62, 1.15];
        let (fire, rose) = ([1.0, 0.50, 0.16], [0.68, 0.50, 0.62]);
        std::array::from_fn(|c| {
            let day = zenith[c] * (1.0 - low) * 0.85 + haze[c] * low + sunlit[c] * aureole;
            DAY_SKY * self.day * day + DUSK_SKY * dusk[c] + rim * fire[c] + upper * rose[c]
        })
    }

    /// Light that falls on the ground from above.
    fn ground(&self) -> [f32; 3] {
        let dusk = 2.2 * DUSK_SKY + 0.16 * RIM_GLOW;
        let (day_colour, dusk_colour) = ([1.0, 0.86, 0.66], [0.95, 0.8, 0.85]);
        std::array::from_fn(|c| DAY_SKY * self.day * day_colour[c] + dusk * dusk_colour[c])
    }
}

/// Ridges from far to near: mean height, relief (degrees), roughness per degree, share of sky light in their haze.
const RIDGES: [[f32; 4]; 4] = [
    [0.7, 2.3, 0.085, 0.44],
    [-1.3, 2.5, 0.11, 0.27],
    [-4.3, 2.2, 0.15, 0.14],
    [-8.6, 2.0, 0.20, 0.05],
];

/// Reach to either side and step of a [`Skyline`], in degrees.
const SKYLINE_HALF_DEG: f32 = 90.0;
const SKYLINE_STEP_DEG: f32 = 0.02;

/// Crests of all ridges at even steps of azimuth.
struct Skyline {
    first_az: f32,
    crests: Vec<[f32; RIDGES.len()]>,
}

impl Skyline {
    fn at(&self, az: f32) -> [f32; RIDGES.len()] {
        let place = ((az - self.first_az) / SKYLINE_STEP_DEG).max(0.0);
        let n = (place as usize).min(self.crests.len() - 2);
        let part = (place - n as f32).min(1.0);
        let (a, b) = (self.crests[n], self.crests[n + 1]);
        std::array::from_fn(|ridge| a[ridge] + (b[ridge] - a[ridge]) * part)
    }
}

/// The valley.
#[derive(Clone, Copy, Debug)]
pub(super) struct Valley {
    grain: Grain,
    texture: Grain,
    clouds: Grain,
    turn: f32,
    cloudy: bool,
    people: bool,
}

impl Valley {
    pub(super) fn new(seed: u64) -> Self {
        Self {
            grain: Grain::new(seed, 41),
            texture: Grain::new(seed, 42),
            clouds: Grain::new(seed, 43),
            turn: 0.0,
            cloudy: false,
            people: true,
        }
    }

    /// Another place on another day.
    pub(super) fn elsewhere(seed: u64, which: u32) -> Self {
        Self {
            turn: 400.0 + 150.0 * which as f32,
            cloudy: true,
            people: false,
            ..Self::new(seed)
        }
    }

    /// The crests over the azimuths a view can see, looked up many times.
    fn skyline(&self, view: &View) -> Skyline {
        let first_az = view.aim.az_deg as f32 - SKYLINE_HALF_DEG;
        let count = (2.0 * SKYLINE_HALF_DEG / SKYLINE_STEP_DEG) as usize;
        let crests = (0..count).map(|n| {
            let az = first_az + n as f32 * SKYLINE_STEP_DEG;
            std::array::from_fn(|ridge| self.crest(ridge, az))
        });
        Skyline {
            first_az,
            crests: crests.collect(),
        }
    }

    /// Crest of a ridge at an azimuth, in degrees.
    fn crest(&self, ridge: usize, az: f32) -> f32 {
        let [mean, relief, rough, _] = RIDGES[ridge];
        let x = (az + self.turn) * rough + 37.0 * ridge as f32;
        let crest = mean + relief * self.grain.lines(x, 6, 0.48);
        // The valley opens where the Sun goes down.
        let gap = (-((az - 297.0) / 7.5).powi(2)).exp() * f32::from(u8::from(self.people));
        let floor = [-0.6, -2.6, -5.6, -9.0][ridge];
        crest + (crest.min(floor) - crest) * gap
    }

    /// Land at a direction, nearest ridge first; `None` where the sky is free. The sky behind gives the haze.
    fn land(&self, light: &Daylight, skyline: &Skyline, alt: f32, az: f32) -> Option<[f32; 3]> {
        let crests = skyline.at(az);
        let ridge = (0..RIDGES.len()).rev().find(|&n| alt < crests[n])?;
        let haze = RIDGES[ridge][3];
        let sky = light.sky(0.8, az);
        let ground = light.ground();
        let depth = (crests[ridge] - alt).max(0.0);
        let rough = self.texture.planes(
            az * (0.9 + 0.5 * ridge as f32),
            alt * (2.2 + ridge as f32),
            4,
            0.66,
        );
        let lit = (0.20 + 0.10 * rough) * (1.0 - 0.35 * rise(0.0, 5.0, depth));
        let soil = [1.0, 0.74, 0.50];
        let fade = haze * (1.0 - 0.25 * rise(0.0, 3.0, depth));
        Some(std::array::from_fn(|c| {
            sky[c] * fade * 0.8 + ground[c] * soil[c] * lit * (1.0 - haze)
        }))
    }

    fn cloud(&self, light: &Daylight, alt: f32, az: f32, sky: [f32; 3]) -> [f32; 3] {
        // A flat deck: its distance is the cotangent of the altitude, held near the horizon.
        let far = 2.1 / (alt.max(0.0) + 2.5).to_radians().tan();
        let (sin, cos) = az.to_radians().sin_cos();
        let cells = self
            .clouds
            .planes(far * sin + self.turn, far * cos, 6, 0.55);
        let cover = rise(0.0, 0.38, cells);
        let white = [1.9, 1.9, 1.92].map(|g| g * DAY_SKY * light.day);
        std::array::from_fn(|c| sky[c] + (white[c] - sky[c]) * cover * 0.8 * rise(0.0, 4.0, alt))
    }
}

/// Strokes of the figures in the foreground: from, to (degrees right of the middle figure, altitude), half width.
const STROKES: [[f32; 5]; 22] = [
    // tripod
    [-1.0, -10.9, 0.15, -6.9, 0.075],
    [1.25, -10.9, 0.15, -6.9, 0.075],
    [0.1, -11.1, 0.15, -6.9, 0.065],
    // long lens, tilted up to the Sun
    [-0.75, -6.65, 1.55, -5.75, 0.24],
    [1.1, -5.92, 1.75, -5.67, 0.32],
    // person: legs, body, arm, head
    [-2.35, -11.0, -2.15, -8.2, 0.22],
    [-1.75, -11.0, -2.0, -8.2, 0.22],
    [-2.1, -8.3, -1.9, -6.6, 0.42],
    [-1.7, -6.8, -0.7, -6.8, 0.15],
    [-1.78, -5.72, -1.74, -5.68, 0.34],
    [-2.05, -5.42, -1.5, -5.44, 0.13],
    // child looking up
    [-4.15, -11.0, -4.1, -9.2, 0.15],
    [-3.8, -11.0, -3.9, -9.2, 0.15],
    [-4.02, -9.2, -3.98, -8.2, 0.27],
    [-3.9, -7.6, -3.88, -7.58, 0.27],
    // cactus, tall, with arms
    [13.5, -12.0, 13.5, -1.6, 0.40],
    [13.5, -6.9, 14.9, -6.3, 0.30],
    [14.9, -6.3, 15.0, -3.5, 0.30],
    [13.5, -8.3, 12.3, -7.8, 0.27],
    [12.3, -7.8, 12.2, -5.4, 0.27],
    // a smaller one
    [-19.0, -12.5, -19.1, -5.4, 0.33],
    [-19.0, -8.9, -17.9, -7.0, 0.25],
];

/// How far inside a figure a direction is, 0 to 1 over an edge of `soft` degrees.
fn figures(alt: f32, az: f32, middle_az: f32, soft: f32) -> f32 {
    let (x, y) = ((az - middle_az) * alt.to_radians().cos(), alt);
    let mut inside = 0.0_f32;
    for [x0, y0, x1, y1, half] in STROKES {
        let (dx, dy) = (x1 - x0, y1 - y0);
        let t = (((x - x0) * dx + (y - y0) * dy) / (dx * dx + dy * dy)).clamp(0.0, 1.0);
        let gap = (x - x0 - t * dx).hypot(y - y0 - t * dy) - half;
        inside = inside.max(0.5 - gap / soft);
    }
    inside.clamp(0.0, 1.0)
}

/// No figure reaches higher, in degrees of altitude.
const FIGURES_TOP_DEG: f32 = -1.0;
/// Azimuth of the figure in the middle, in degrees.
const FIGURES_AZ: f32 = 318.0;

/// What a landscape is painted from.
pub(super) struct Scene<'a> {
    pub(super) heavens: &'a Heavens,
    pub(super) valley: Valley,
    pub(super) lights: &'a [Light],
    /// What the air leaves of the Sun's light, by colour.
    pub(super) through: [f64; 3],
    /// -1 at second contact to 1 at third.
    pub(super) swing: f64,
}

/// The valley with the Sun in the sky; in units of the mean disc.
pub(super) fn landscape(
    scene: &Scene<'_>,
    sky: &SkyInstant,
    view: &View,
    blur_px: f64,
) -> LinearRgb {
    let light = Daylight {
        sun_alt: sky.alt_refracted_deg as f32,
        sun_az: sky.az_deg as f32,
        day: ((1.0 - sky.obscuration()) * scene.through[1].sqrt()) as f32,
        swing: scene.swing.clamp(-1.0, 1.0) as f32,
        warm: 1.0 - rise(2.0, 16.0, sky.alt_refracted_deg as f32),
    };
    let mut image = ground_and_sky(&scene.valley, &light, view);
    add_lights(&mut image, scene, view, &light);
    add_small_sun(&mut image, scene, sky, view);
    let all = (view.width_px, view.height_px);
    glare::blur(&mut image, blur_px as f32, (0, 0), all);
    image
}

/// An ordinary daylight picture without the Sun.
pub(super) fn ordinary(valley: Valley, view: &View, blur_px: f64) -> LinearRgb {
    let light = Daylight {
        sun_alt: 38.0,
        sun_az: view.aim.az_deg as f32 + 120.0,
        day: 1.0,
        swing: 0.0,
        warm: 0.0,
    };
    let mut image = ground_and_sky(&valley, &light, view);
    glare::blur(
        &mut image,
        blur_px as f32,
        (0, 0),
        (view.width_px, view.height_px),
    );
    image
}

fn ground_and_sky(valley: &Valley, light: &Daylight, view: &View) -> LinearRgb {
    let skyline = valley.skyline(view);
    let mut image = LinearRgb::new(view.width_px, view.height_px);
    let soft = (1.2 / view.px_per_rad).to_degrees() as f32;
    for y in 0..view.height_px {
        for x in 0..view.width_px {
            let (alt, az) = view.direction(x as f64, y as f64);
            let (alt, az) = (alt as f32, az as f32);
            let mut rgb = match valley.land(light, &skyline, alt, az) {
                Some(land) => land,
                None if valley.cloudy => valley.cloud(light, alt, az, light.sky(alt, az)),
                None => light.sky(alt, az),
            };
            if valley.people && alt < FIGURES_TOP_DEG {
                let dark = 1.0 - 0.94 * figures(alt, az, FIGURES_AZ, soft);
                rgb = rgb.map(|v| v * dark);
            }
            image.set(x, y, rgb);
        }
    }
    image
}

/// Planets and stars; by day they drown.
fn add_lights(image: &mut LinearRgb, scene: &Scene<'_>, view: &View, light: &Daylight) {
    let skyline = scene.valley.skyline(view);
    let disc_px2 = (view.px_per_rad * 0.2622_f64.to_radians()).powi(2) * std::f64::consts::PI;
    for star in scene.lights {
        let (x, y) = view.pixel(star.alt_deg, star.az_deg);
        let inside =
            x > 2.0 && y > 2.0 && x < view.width_px as f64 - 3.0 && y < view.height_px as f64 - 3.0;
        if !inside
            || scene
                .valley
                .land(light, &skyline, star.alt_deg as f32, star.az_deg as f32)
                .is_some()
        {
            continue;
        }
        let flux =
            10_f64.powf(-0.4 * (star.magnitude - SUN_MAGNITUDE)) * disc_px2 * scene.through[1];
        for j in -2..=2 {
            for i in -2..=2 {
                let (px, py) = (x.round() as isize + i, y.round() as isize + j);
                let d2 = (px as f64 - x).powi(2) + (py as f64 - y).powi(2);
                let part = (flux * (-d2 / 0.9).exp() / (0.9 * std::f64::consts::PI)) as f32;
                let (px, py) = (px as usize, py as usize);
                image.set(px, py, image.at(px, py).map(|v| v + part));
            }
        }
    }
}

/// Radius about the Sun painted with the corona, in solar radii.
const SMALL_SUN_REACH: f64 = 14.0;
/// Samples across a pixel of the small Sun.
const SMALL_SUN_FINE: usize = 8;

/// The Sun, a few pixels wide, its corona and its glare.
fn add_small_sun(image: &mut LinearRgb, scene: &Scene<'_>, sky: &SkyInstant, view: &View) {
    let placed = view.place(sky);
    let reach = placed.sun.radius_px * SMALL_SUN_REACH;
    let range = |c: f64, limit: usize| {
        (c - reach).clamp(0.0, limit as f64) as usize..(c + reach).clamp(0.0, limit as f64) as usize
    };
    let moon = (
        (sky.moon_east_arcsec / sky.sun_radius_arcsec) as f32,
        (sky.moon_north_arcsec / sky.sun_radius_arcsec) as f32,
    );
    let mut bright = LinearImage::new(view.width_px, view.height_px);
    let share = 1.0 / (SMALL_SUN_FINE * SMALL_SUN_FINE) as f32;
    for y in range(placed.sun.y_px, view.height_px) {
        for x in range(placed.sun.x_px, view.width_px) {
            let (mut disc, mut corona) = (0.0, 0.0);
            for k in 0..SMALL_SUN_FINE * SMALL_SUN_FINE {
                let part = |k: usize| (k as f64 + 0.5) / SMALL_SUN_FINE as f64 - 0.5;
                let (fx, fy) = (part(k % SMALL_SUN_FINE), part(k / SMALL_SUN_FINE));
                let (e, n) = placed.sky_place(x as f64 + fx, y as f64 + fy);
                let (e, n) = (e as f32, n as f32);
                if (e - moon.0).hypot(n - moon.1) < sky.ratio() as f32 {
                    continue;
                }
                disc += share * scene.heavens.photosphere.at(e, n)[1];
                let fade = 1.0
                    - rise(
                        0.4 * SMALL_SUN_REACH as f32,
                        SMALL_SUN_REACH as f32,
                        e.hypot(n),
                    );
                corona += share * fade * scene.heavens.corona.at(e, n);
            }
            *bright.at_mut(x, y) = disc;
            let glow = image.at(x, y).map(|v| v + corona);
            image.set(x, y, glow);
        }
    }
    let mut glow = glare::halo(&bright, 0.004, 2.5);
    for source in glare::sources(&bright, 60).into_iter().take(1) {
        glare::add_rays(&mut glow, source, 1.2e-5, view.height_px as f32 * 0.22);
    }
    for (rgb, (b, g)) in image
        .data_mut()
        .chunks_exact_mut(3)
        .zip(bright.data().iter().zip(glow.data()))
    {
        rgb.iter_mut()
            .zip(scene.through)
            .for_each(|(v, through)| *v += (b + g) * through as f32);
    }
}
