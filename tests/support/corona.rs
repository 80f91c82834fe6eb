//! A drawn corona whose radiance is known everywhere, and photographs of it.
//!
//! Shares no code with the merge: its own geometry, its own curves, its own Moon.

use rand::{RngExt as _, SeedableRng};
use rand_distr::StandardNormal;
use rand_pcg::Pcg64Mcg;

use contactstrip::domain::{Circle, Exposure};
use contactstrip::merge::MergeInput;
use contactstrip::raster::{Frame, Samples, Transfer};

/// The sky: corona, prominences, sky light and the Moon's disc. Lengths in solar radii, east and north positive.
#[derive(Clone, Debug)]
pub(crate) struct Sky {
    pub(crate) moon_radius: f64,
    /// Light of the sky, in mean solar discs.
    pub(crate) sky: f64,
    /// Light of the Moon's face (earthshine and what air and lens scatter), in mean solar discs.
    pub(crate) earthshine: f64,
    /// Whether streamers and rays are drawn.
    pub(crate) structure: bool,
    /// Light that haze throws over everything about the Sun, the Moon's disc too, in mean solar discs at the limb.
    pub(crate) haze: f64,
}

impl Default for Sky {
    fn default() -> Self {
        Self {
            moon_radius: 1.04,
            sky: 2e-10,
            earthshine: 3e-10,
            structure: true,
            haze: 0.0,
        }
    }
}

impl Sky {
    /// Light at a place, without the Moon in front, in mean solar discs, as red, green, blue.
    pub(crate) fn light(&self, east: f64, north: f64) -> [f64; 3] {
        let r = east.hypot(north).max(1.0);
        let angle = east.atan2(north);
        // Baumbach 1937, Astron. Nachr. 263, 121: mean brightness of the corona in millionths of the solar disc.
        let mean = 1e-6 * (0.0532 * r.powf(-2.5) + 1.425 * r.powi(-7) + 2.565 * r.powi(-17));
        let shape = if self.structure {
            streamers(r, angle)
        } else {
            1.0
        };
        let corona = mean * shape;
        let mut out = [corona + self.sky; 3];
        out[2] += 0.3 * self.sky;
        if self.structure {
            for (at, height, width) in [(1.1, 0.05, 0.03), (4.4, 0.03, 0.05), (2.6, 0.04, 0.02)] {
                let off = (angle - at + std::f64::consts::PI)
                    .rem_euclid(2.0 * std::f64::consts::PI)
                    - std::f64::consts::PI;
                let up = (r - 1.0 - height).max(0.0) / 0.012;
                let glow = 2.5e-5 * (-0.5 * (off / width).powi(2) - up * up).exp();
                out[0] += glow;
                out[1] += 0.12 * glow;
                out[2] += 0.30 * glow;
            }
        }
        out
    }
}

/// Streamers, polar plumes and fine rays: a factor about 1.
fn streamers(r: f64, angle: f64) -> f64 {
    let height = ((r - 1.0) / 1.5).min(1.0);
    let mut out = 0.75;
    for (at, width, strength) in [
        (1.45, 0.28, 0.9),
        (1.95, 0.10, 0.5),
        (4.60, 0.30, 1.0),
        (5.15, 0.12, 0.6),
        (3.30, 0.06, 0.25),
    ] {
        let off = (angle - at + std::f64::consts::PI).rem_euclid(2.0 * std::f64::consts::PI)
            - std::f64::consts::PI;
        let narrow = width / (1.0 + 0.6 * height);
        out += strength * (0.5 + 0.5 * height) * (-0.5 * (off / narrow).powi(2)).exp();
    }
    // Arches low down, rays all round.
    let arches = 0.10 * (9.0 * angle + 12.0 * r).sin() * (-(r - 1.0) / 0.25).exp();
    let rays = 0.06 * (37.0 * angle + 1.5 * r).sin() + 0.05 * (61.0 * angle - 0.7 * r).sin();
    out * (1.0 + arches + rays * (-(r - 1.0) / 3.0).exp())
}

/// One photograph to take.
#[derive(Clone, Debug)]
pub(crate) struct Take {
    pub(crate) size: [usize; 2],
    /// True place of the Sun, pixels.
    pub(crate) sun: [f64; 2],
    pub(crate) radius_px: f64,
    /// True direction of north, anticlockwise from up, degrees.
    pub(crate) north_deg: f64,
    /// The Moon from the Sun, in solar radii, east and north.
    pub(crate) moon: [f64; 2],
    /// Exposure time in seconds as the header has it.
    pub(crate) marked_s: f64,
    /// Exposure time in seconds the shutter gave.
    pub(crate) true_s: f64,
    pub(crate) iso: f64,
    /// Light lost to cloud, 0 to 1.
    pub(crate) cloud: f64,
    /// Whether the camera bends the sRGB curve into an S.
    pub(crate) s_curve: f64,
    pub(crate) noise: bool,
    pub(crate) seed: u64,
    pub(crate) hot: usize,
    /// What the air does to a low Sun.
    pub(crate) low: Option<Low>,
}

/// A Sun near the horizon.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Low {
    /// Unit vector to the zenith on the picture, x right, y down.
    pub(crate) up: [f64; 2],
    /// Vertical over true size.
    pub(crate) squeeze: f64,
    /// Growth of the natural logarithm of light per solar radius upwards.
    pub(crate) clearing: f64,
}

/// Light in mean solar discs that saturates one second at ISO 100.
pub(crate) const SATURATES_1S: f64 = 8e-9;

/// Takes a photograph, 8 bits, sRGB-coded.
pub(crate) fn photograph(sky: &Sky, take: &Take) -> Frame {
    let mut rng = Pcg64Mcg::seed_from_u64(take.seed);
    let [width, height] = take.size;
    let (sin, cos) = take.north_deg.to_radians().sin_cos();
    let unit = 1.0 / take.radius_px;
    let moon_px = moon_in(sky, take);
    let gather = (1.0 - take.cloud) * take.true_s * take.iso / 100.0 / SATURATES_1S;
    let mut out = vec![0_u8; width * height * 3];
    for y in 0..height {
        for x in 0..width {
            let (dx, dy) = (x as f64 - take.sun[0], y as f64 - take.sun[1]);
            let (dx, dy, air) = through_air(take, dx, dy);
            let north = (-sin * dx - cos * dy) * unit;
            let east = (-cos * dx + sin * dy) * unit;
            let off = (dx + take.sun[0] - moon_px.x_px).hypot(dy + take.sun[1] - moon_px.y_px)
                - moon_px.radius_px;
            let haze = sky.haze / (1.0 + (dx.hypot(dy) * unit / 2.5).powi(2));
            // A limb softened over about a pixel either way.
            let uncovered = 0.5 * (1.0 + (off / 0.8).tanh());
            let light = sky.light(east, north);
            for (c, value) in out[(y * width + x) * 3..][..3].iter_mut().enumerate() {
                let seen = light[c] * uncovered + sky.earthshine * (1.0 - uncovered);
                *value = sensor((seen * air + haze) * gather, take, &mut rng);
            }
        }
    }
    let mut places = Pcg64Mcg::seed_from_u64(77);
    for _ in 0..take.hot {
        let i = places.random_range(0..width * height);
        out[i * 3 + (i % 3)] = coded(0.9 * (take.true_s * 4.0).min(1.0) + 0.05, 0.0);
    }
    Frame::new(width, height, 3, Samples::U8(out), Transfer::Srgb)
}

/// From the picture's offset to the sky's, and how much of its light comes through.
fn through_air(take: &Take, dx: f64, dy: f64) -> (f64, f64, f64) {
    let Some(low) = take.low else {
        return (dx, dy, 1.0);
    };
    let up = dx * low.up[0] + dy * low.up[1];
    let true_up = up / low.squeeze;
    let more = true_up - up;
    let air = (low.clearing * true_up / take.radius_px).exp();
    (dx + more * low.up[0], dy + more * low.up[1], air)
}

/// The Moon in the photograph.
pub(crate) fn moon_in(sky: &Sky, take: &Take) -> Circle {
    let (sin, cos) = take.north_deg.to_radians().sin_cos();
    let [east, north] = take.moon;
    Circle {
        x_px: take.sun[0] + take.radius_px * (-sin * north - cos * east),
        y_px: take.sun[1] + take.radius_px * (-cos * north + sin * east),
        radius_px: sky.moon_radius * take.radius_px,
    }
}

fn sensor(light: f64, take: &Take, rng: &mut Pcg64Mcg) -> u8 {
    let speed = take.iso / 100.0;
    let noise = if take.noise {
        let normal: f64 = rng.sample(StandardNormal);
        normal * (2.5e-5 * speed * light.min(1.0) + (3e-4 * speed).powi(2)).sqrt()
    } else {
        0.0
    };
    coded(light + noise, take.s_curve)
}

/// The stored value of light, 0 to 1: the sRGB curve, bent by `s_curve` towards an S.
fn coded(light: f64, s_curve: f64) -> u8 {
    let l = light.clamp(0.0, 1.0);
    let plain = if l <= 0.003_130_8 {
        12.92 * l
    } else {
        1.055 * l.powf(1.0 / 2.4) - 0.055
    };
    let bent =
        plain - s_curve * (2.0 * std::f64::consts::PI * plain).sin() / (2.0 * std::f64::consts::PI);
    (bent * 255.0).round().clamp(0.0, 255.0) as u8
}

/// What a reader of headers and fitter of limbs would hand on, off by `error_px` and `error_deg`.
pub(crate) fn input(
    sky: &Sky,
    take: &Take,
    name: &str,
    error_px: [f64; 2],
    error_deg: f64,
) -> MergeInput {
    let moon = moon_in(sky, take);
    MergeInput {
        name: name.into(),
        exposure: Exposure {
            shutter_s: Some(take.marked_s),
            f_number: Some(8.0),
            iso: Some(take.iso),
            ..Exposure::default()
        },
        moon: Circle {
            x_px: moon.x_px + error_px[0],
            y_px: moon.y_px + error_px[1],
            ..moon
        },
        sun: Circle {
            x_px: take.sun[0] + error_px[0],
            y_px: take.sun[1] + error_px[1],
            radius_px: take.radius_px,
        },
        sun_sigma_px: 0.5,
        moon_sigma_px: 0.5,
        north_deg: Some(take.north_deg + error_deg),
        mirrored: false,
        flattened: None,
    }
}
