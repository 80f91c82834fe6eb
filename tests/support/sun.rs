//! Drawn solar discs with known truth: supersampled edges, limb darkening, the Moon in front, corona, cloud, flare,
//! blur, noise, a camera's tone curve and a JPEG round trip. Shares no code with the fitter.

use std::io::Cursor;

use contactstrip::demo::LimbNow;
use contactstrip::raster::{Frame, Samples, Transfer};
use image::{DynamicImage, ImageReader, RgbImage};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64Mcg;

/// How a camera renders linear light.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Tone {
    /// Plain sRGB.
    Plain,
    /// sRGB, then an S-curve of this strength (0 to 1): dark is darkened, bright lifted.
    Curved(f64),
    /// A rounded shoulder before white, then sRGB.
    Shoulder,
}

/// The real limb of the Moon in a picture: a stored profile (`fixtures/limb`).
#[derive(Clone, Debug)]
pub(crate) struct Mountains {
    pub(crate) limb: LimbNow,
    pub(crate) px_per_arcsec: f64,
    /// Celestial north, anticlockwise from picture up.
    pub(crate) north_deg: f64,
    pub(crate) mirrored: bool,
}

/// What to draw; lengths in pixels, light with 1 at saturation.
#[derive(Clone, Debug)]
pub(crate) struct Scene {
    pub(crate) width: usize,
    pub(crate) height: usize,
    /// Sun: x, y, radius.
    pub(crate) sun: (f64, f64, f64),
    /// Moon: x, y, radius.
    pub(crate) moon: Option<(f64, f64, f64)>,
    /// Its mountains; none for a smooth Moon.
    pub(crate) mountains: Option<Mountains>,
    /// Light at the disc's centre.
    pub(crate) level: f64,
    /// Share of each channel.
    pub(crate) colour: [f64; 3],
    /// Quadratic limb darkening.
    pub(crate) limb: (f64, f64),
    /// Light of the sky.
    pub(crate) sky: f64,
    /// Light of the halo at the limb, falling by e in one solar radius.
    pub(crate) halo: f64,
    /// Corona: light at the lunar limb; 0 for none.
    pub(crate) corona: f64,
    /// Light of the Moon's dark side.
    pub(crate) earthshine: f64,
    /// Gaussian sigma of the blur.
    pub(crate) blur: f64,
    /// Share of the light that lens and air scatter about, up to half a solar radius away.
    pub(crate) glare: f64,
    /// Altitude of the Sun's centre as seen, and the direction of the zenith anticlockwise from picture up, in degrees: places
    /// of Sun and Moon are as seen, their outlines are bent by the air.
    pub(crate) low: Option<(f64, f64)>,
    /// Straight smear (dx, dy).
    pub(crate) smear: (f64, f64),
    /// Standard deviation at saturation from photon counts; it falls with the root of light.
    pub(crate) noise: f64,
    /// Depth of the cloud, 0 to 1.
    pub(crate) cloud: f64,
    /// Light of three flare ghosts.
    pub(crate) flare: f64,
    /// Number of sunspots.
    pub(crate) spots: usize,
    pub(crate) tone: Tone,
    /// JPEG quality of the round trip.
    pub(crate) jpeg: Option<u8>,
    pub(crate) seed: u64,
}

impl Default for Scene {
    fn default() -> Self {
        Self {
            width: 600,
            height: 450,
            sun: (301.3, 222.8, 150.0),
            moon: None,
            mountains: None,
            level: 0.6,
            colour: [1.0, 0.97, 0.9],
            limb: (0.44, 0.23),
            sky: 0.0008,
            halo: 0.0,
            corona: 0.0,
            earthshine: 0.0,
            blur: 1.0,
            glare: 0.0,
            low: None,
            smear: (0.0, 0.0),
            noise: 0.01,
            cloud: 0.0,
            flare: 0.0,
            spots: 0,
            tone: Tone::Plain,
            jpeg: Some(92),
            seed: 1,
        }
    }
}

impl Scene {
    /// Puts a Moon `ratio` times as large so that it covers this fraction of the Sun's area, in direction `turn_deg`
    /// (clockwise from right, as seen).
    pub(crate) fn covered(mut self, obscuration: f64, ratio: f64, turn_deg: f64) -> Self {
        let (x, y, r) = self.sun;
        let (mut near, mut far) = ((1.0 - ratio).abs(), 1.0 + ratio);
        for _ in 0..80 {
            let middle = 0.5 * (near + far);
            if lens_area(1.0, ratio, middle) / std::f64::consts::PI > obscuration {
                near = middle;
            } else {
                far = middle;
            }
        }
        let (sin, cos) = turn_deg.to_radians().sin_cos();
        self.moon = Some((x + near * r * cos, y + near * r * sin, ratio * r));
        self
    }

    /// Draws it.
    pub(crate) fn frame(&self) -> Frame {
        let mut rng = Pcg64Mcg::seed_from_u64(self.seed);
        let light = self.blurred(self.sharp(&mut rng));
        let normal = Normal::new(0.0, 1.0).unwrap();
        let mut rgb = RgbImage::new(self.width as u32, self.height as u32);
        for (pixel, &v) in rgb.pixels_mut().zip(&light) {
            for c in 0..3 {
                let clean = f64::from(v) * self.colour[c];
                let sigma = self.noise * clean.max(0.0).sqrt() + 0.1 * self.noise;
                pixel[c] = self.tone.code(clean + sigma * normal.sample(&mut rng));
            }
        }
        let rgb = match self.jpeg {
            Some(quality) => round_trip(&rgb, quality),
            None => rgb,
        };
        Frame::new(
            self.width,
            self.height,
            3,
            Samples::U8(rgb.into_raw()),
            Transfer::Srgb,
        )
    }

    /// Light before blur and noise.
    fn sharp(&self, rng: &mut Pcg64Mcg) -> Vec<f32> {
        let spots = self.spot_places(rng);
        let waves = cloud_waves(rng, self.sun.2);
        let mut out = vec![0_f32; self.width * self.height];
        for y in 0..self.height {
            for x in 0..self.width {
                let fine = if self.near_edge(x as f64, y as f64) {
                    10
                } else {
                    1
                };
                let mut sum = 0.0;
                for j in 0..fine {
                    for i in 0..fine {
                        let px = x as f64 + (i as f64 + 0.5) / fine as f64 - 0.5;
                        let py = y as f64 + (j as f64 + 0.5) / fine as f64 - 0.5;
                        sum += self.point(px, py, &spots);
                    }
                }
                let clear = 1.0 - self.cloud * cloud_depth(&waves, x as f64, y as f64);
                out[y * self.width + x] = (self.sky + clear * sum / f64::from(fine * fine)) as f32;
            }
        }
        if self.flare > 0.0 {
            self.add_flare(&mut out);
        }
        out
    }

    fn spot_places(&self, rng: &mut Pcg64Mcg) -> Vec<(f64, f64, f64)> {
        (0..self.spots)
            .map(|_| {
                let r = self.sun.2 * 0.8 * rng.random::<f64>().sqrt();
                let t = std::f64::consts::TAU * rng.random::<f64>();
                let size = self.sun.2 * (0.008 + 0.02 * rng.random::<f64>());
                (self.sun.0 + r * t.cos(), self.sun.1 + r * t.sin(), size)
            })
            .collect()
    }

    fn near_edge(&self, x: f64, y: f64) -> bool {
        let near = |disc: (f64, f64, f64)| (self.from(disc, x, y) - disc.2).abs() < 2.0;
        near(self.sun) || self.moon.is_some_and(near)
    }

    /// Distance of a point from a disc's centre as it would be without air, in pixels.
    fn from(&self, (cx, cy, _): (f64, f64, f64), x: f64, y: f64) -> f64 {
        let (dx, dy) = (x - cx, y - cy);
        let Some((alt_deg, zenith_deg)) = self.low else {
            return dx.hypot(dy);
        };
        let (sin, cos) = zenith_deg.to_radians().sin_cos();
        let (up, across) = (-sin * dx - cos * dy, cos * dx - sin * dy);
        let deg_per_px = SUN_RADIUS_DEG / self.sun.2;
        let lift = |x: f64, y: f64| (-sin * (x - self.sun.0) - cos * (y - self.sun.1)) * deg_per_px;
        let (here, centre) = (alt_deg + lift(x, y), alt_deg + lift(cx, cy));
        let bent_deg = refraction_deg(here) - refraction_deg(centre);
        across.hypot(up - bent_deg / deg_per_px)
    }

    /// Height of the refracted Sun over its width, and the direction of the zenith, as a hint has them.
    pub(crate) fn squeeze(&self) -> Option<(f64, f64)> {
        let (alt_deg, zenith_deg) = self.low?;
        // Half a degree of sky apart, without air, as seen.
        let seen = |airless: f64| (0..30).fold(airless, |h, _| airless + refraction_deg(h));
        let airless = alt_deg - refraction_deg(alt_deg);
        let r = SUN_RADIUS_DEG;
        Some((
            (seen(airless + r) - seen(airless - r)) / (2.0 * r),
            zenith_deg,
        ))
    }

    /// How high the Moon's limb stands over its mean circle in the direction of a point, in pixels.
    fn height_px(&self, (cx, cy, _): (f64, f64, f64), x: f64, y: f64) -> f64 {
        let Some(mountains) = &self.mountains else {
            return 0.0;
        };
        let (sin, cos) = mountains.north_deg.to_radians().sin_cos();
        let (right, up) = (x - cx, cy - y);
        let hand = if mountains.mirrored { -1.0 } else { 1.0 };
        let (east, north) = (-cos * right - sin * up, cos * up - sin * right);
        let height = mountains
            .limb
            .height_arcsec((hand * east) as f32, north as f32);
        f64::from(height) * mountains.px_per_arcsec
    }

    /// Light of Sun, corona and Moon at a point.
    fn point(&self, x: f64, y: f64, spots: &[(f64, f64, f64)]) -> f64 {
        let (sx, sy, sr) = self.sun;
        let r = self.from(self.sun, x, y) / sr;
        if let Some(moon) = self.moon
            && self.from(moon, x, y) < moon.2 + self.height_px(moon, x, y)
        {
            return self.earthshine + self.halo * 0.5;
        }
        let halo = self.halo * (-(r - 1.0).max(0.0)).exp();
        if r < 1.0 {
            let m = 1.0 - (1.0 - r * r).sqrt();
            let mut light = self.level * (1.0 - self.limb.0 * m - self.limb.1 * m * m);
            for &(px, py, size) in spots {
                light *= 1.0 - 0.7 * (-((x - px).powi(2) + (y - py).powi(2)) / (size * size)).exp();
            }
            light + halo
        } else {
            halo + self.corona * corona(r, (y - sy).atan2(x - sx))
        }
    }

    fn add_flare(&self, out: &mut [f32]) {
        let (w, h) = (self.width as f64, self.height as f64);
        for (k, size) in [(-0.5, 0.3), (-1.0, 0.12), (0.6, 0.2)] {
            let cx = w / 2.0 + (self.sun.0 - w / 2.0) * k + 0.4 * self.sun.2;
            let cy = h / 2.0 + (self.sun.1 - h / 2.0) * k + 0.6 * self.sun.2;
            let r = size * self.sun.2;
            for y in 0..self.height {
                for x in 0..self.width {
                    let d = (x as f64 - cx).hypot(y as f64 - cy) - r;
                    out[y * self.width + x] += (self.flare / (1.0 + (d * 0.8).exp())) as f32;
                }
            }
        }
    }

    /// Light with a share of it spread over some tens of pixels, as lens and air do.
    fn scattered(&self, light: Vec<f32>) -> Vec<f32> {
        if self.glare <= 0.0 {
            return light;
        }
        let r = self.sun.2;
        let mut out: Vec<f32> = light
            .iter()
            .map(|v| v * (1.0 - self.glare as f32))
            .collect();
        for (share, sigma) in [(0.5, 0.03 * r), (0.3, 0.1 * r), (0.2, 0.3 * r)] {
            let wide = self.smoothed(light.clone(), sigma);
            for (v, w) in out.iter_mut().zip(wide) {
                *v += (self.glare * share) as f32 * w;
            }
        }
        out
    }

    fn smoothed(&self, light: Vec<f32>, sigma: f64) -> Vec<f32> {
        let n = (3.5 * sigma).ceil() as i64;
        let kernel: Vec<f32> = (-n..=n)
            .map(|i| (-0.5 * (i as f64 / sigma).powi(2)).exp() as f32)
            .collect();
        let light = self.convolved(&light, &kernel, |i| (i as f64 - n as f64, 0.0));
        self.convolved(&light, &kernel, |i| (0.0, i as f64 - n as f64))
    }

    fn blurred(&self, light: Vec<f32>) -> Vec<f32> {
        let mut light = self.scattered(light);
        if self.blur > 0.0 {
            let n = (4.0 * self.blur).ceil() as i64;
            let kernel: Vec<f32> = (-n..=n)
                .map(|i| (-0.5 * (i as f64 / self.blur).powi(2)).exp() as f32)
                .collect();
            light = self.convolved(&light, &kernel, |i| (i as f64 - n as f64, 0.0));
            light = self.convolved(&light, &kernel, |i| (0.0, i as f64 - n as f64));
        }
        let length = self.smear.0.hypot(self.smear.1);
        if length > 0.0 {
            let n = (2.0 * length).ceil() as usize + 1;
            let part = |i: usize| i as f64 / (n - 1) as f64 - 0.5;
            let smear = self.smear;
            light = self.convolved(&light, &vec![1.0; n], |i| {
                (smear.0 * part(i), smear.1 * part(i))
            });
        }
        light
    }

    fn convolved(
        &self,
        light: &[f32],
        kernel: &[f32],
        place: impl Fn(usize) -> (f64, f64),
    ) -> Vec<f32> {
        let total: f32 = kernel.iter().sum();
        let mut out = vec![0_f32; light.len()];
        let (w, h) = (self.width as i64, self.height as i64);
        for (i, k) in kernel.iter().enumerate() {
            let (dx, dy) = place(i);
            let k = k / total;
            let whole = dx.fract() == 0.0 && dy.fract() == 0.0;
            for y in 0..h {
                let row = &mut out[(y * w) as usize..((y + 1) * w) as usize];
                if whole {
                    let from = (y + dy as i64).clamp(0, h - 1) * w;
                    for (x, v) in row.iter_mut().enumerate() {
                        *v += k * light[(from + (x as i64 + dx as i64).clamp(0, w - 1)) as usize];
                    }
                } else {
                    for (x, v) in row.iter_mut().enumerate() {
                        *v += k * self.sampled(light, x as f64 + dx, y as f64 + dy);
                    }
                }
            }
        }
        out
    }

    fn sampled(&self, light: &[f32], x: f64, y: f64) -> f32 {
        let x = x.clamp(0.0, (self.width - 1) as f64);
        let y = y.clamp(0.0, (self.height - 1) as f64);
        let (x0, y0) = (x as usize, y as usize);
        let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
        let at =
            |x: usize, y: usize| light[y.min(self.height - 1) * self.width + x.min(self.width - 1)];
        if fx == 0.0 && fy == 0.0 {
            return at(x0, y0);
        }
        (at(x0, y0) * (1.0 - fx) + at(x0 + 1, y0) * fx) * (1.0 - fy)
            + (at(x0, y0 + 1) * (1.0 - fx) + at(x0 + 1, y0 + 1) * fx) * fy
    }
}

impl Tone {
    fn code(self, light: f64) -> u8 {
        let light = match self {
            Self::Shoulder => 1.0 - (-1.6 * light.max(0.0)).exp(),
            _ => light,
        };
        let light = light.clamp(0.0, 1.0);
        let v = if light <= 0.003_130_8 {
            12.92 * light
        } else {
            1.055 * light.powf(1.0 / 2.4) - 0.055
        };
        let v = match self {
            Self::Curved(a) => v + a * ((3.0 - 2.0 * v) * v * v - v),
            _ => v,
        };
        (v * 255.0).round().clamp(0.0, 255.0) as u8
    }
}

/// Mean radius of the Sun in degrees (common knowledge, 16 minutes of arc).
const SUN_RADIUS_DEG: f64 = 0.2666;

/// How much the air lifts what is seen at an altitude, in degrees.
///
/// Source: G. G. Bennett 1982, "The calculation of astronomical refraction in marine navigation", J. Inst. Navigation 35, 255.
fn refraction_deg(seen_alt_deg: f64) -> f64 {
    let h = seen_alt_deg;
    1.0 / (h + 7.31 / (h + 4.4)).to_radians().tan() / 60.0
}

/// Altitude at which a place of this airless altitude is seen, in degrees.
pub(crate) fn seen_alt_deg(airless_deg: f64) -> f64 {
    (0..30).fold(airless_deg, |h, _| airless_deg + refraction_deg(h))
}

/// Brightness of the corona at `r` solar radii over that at the limb, with streamers.
///
/// Source: S. Baumbach 1937, "Strahlung, Ergiebigkeit und Elektronendichte der Sonnenkorona", Astron. Nachr. 263, 121.
pub(crate) fn corona(r: f64, angle: f64) -> f64 {
    let fall = (0.0532 * r.powf(-2.5) + 1.425 * r.powi(-7) + 2.565 * r.powi(-17)) / 4.0432;
    fall * (1.0
        + 0.45 * (2.0 * angle).cos()
        + 0.25 * (3.0 * angle + 1.0).sin()
        + 0.15 * (7.0 * angle).cos())
}

/// Area two circles share.
pub(crate) fn lens_area(a: f64, b: f64, apart: f64) -> f64 {
    if apart >= a + b {
        return 0.0;
    }
    if apart <= (a - b).abs() {
        return std::f64::consts::PI * a.min(b).powi(2);
    }
    let u = ((apart * apart + a * a - b * b) / (2.0 * apart * a))
        .clamp(-1.0, 1.0)
        .acos();
    let v = ((apart * apart + b * b - a * a) / (2.0 * apart * b))
        .clamp(-1.0, 1.0)
        .acos();
    a * a * (u - 0.5 * (2.0 * u).sin()) + b * b * (v - 0.5 * (2.0 * v).sin())
}

fn cloud_waves(rng: &mut Pcg64Mcg, scale: f64) -> Vec<(f64, f64, f64)> {
    (0..8)
        .map(|i| {
            let t = std::f64::consts::TAU * rng.random::<f64>();
            let k = (0.8 + 0.5 * f64::from(i)) / scale;
            (
                k * t.cos(),
                k * t.sin(),
                std::f64::consts::TAU * rng.random::<f64>(),
            )
        })
        .collect()
}

/// Depth of the cloud, 0 to 1.
fn cloud_depth(waves: &[(f64, f64, f64)], x: f64, y: f64) -> f64 {
    let sum: f64 = waves.iter().map(|w| (w.0 * x + w.1 * y + w.2).sin()).sum();
    (0.5 + 0.15 * sum).clamp(0.0, 1.0)
}

fn round_trip(rgb: &RgbImage, quality: u8) -> RgbImage {
    let mut bytes = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, quality)
        .encode_image(rgb)
        .unwrap();
    let reader = ImageReader::new(Cursor::new(bytes))
        .with_guessed_format()
        .unwrap();
    match reader.decode().unwrap() {
        DynamicImage::ImageRgb8(rgb) => rgb,
        other => other.into_rgb8(),
    }
}

/// Pictures that hold no Sun.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Other {
    /// A lamp with its glow in a dim room: a window, a shelf.
    Lamp,
    /// Hills and water under moonlight: stars, noise, the Moon's reflection.
    MoonlitNight,
    /// Crescents cast through leaves on the ground.
    Pinholes,
    /// Clear sky, brighter to one side.
    Sky,
    /// A bright wall with the shadow of a post.
    Wall,
    /// Cover on.
    Capped,
    /// The filtered Sun just outside: light leaks in from one side.
    JustOutside,
}

impl Other {
    /// Draws it, 900 by 600 pixels.
    pub(crate) fn frame(self, seed: u64) -> Frame {
        let mut rng = Pcg64Mcg::seed_from_u64(seed);
        let (w, h) = (900_usize, 600_usize);
        let grain = Normal::new(0.0, 1.0).unwrap();
        let waves = cloud_waves(&mut rng, 120.0);
        let places: Vec<(f64, f64, f64)> = (0..60)
            .map(|_| {
                (
                    rng.random::<f64>() * w as f64,
                    rng.random::<f64>() * h as f64,
                    rng.random::<f64>(),
                )
            })
            .collect();
        let mut rgb = RgbImage::new(w as u32, h as u32);
        for (x, y, pixel) in rgb.enumerate_pixels_mut() {
            let (x, y) = (f64::from(x), f64::from(y));
            let light = self.light(x, y, &waves, &places);
            for c in 0..3 {
                let noise = (0.015 * light.max(0.0).sqrt() + 0.001) * grain.sample(&mut rng);
                pixel[c] = Tone::Plain.code(light * [1.0, 0.9, 0.8][c] + noise);
            }
        }
        let rgb = round_trip(&rgb, 90);
        Frame::new(w, h, 3, Samples::U8(rgb.into_raw()), Transfer::Srgb)
    }

    fn light(self, x: f64, y: f64, waves: &[(f64, f64, f64)], places: &[(f64, f64, f64)]) -> f64 {
        let texture = cloud_depth(waves, x, y);
        match self {
            Self::Lamp => {
                let r = (x - 420.0).hypot(y - 210.0);
                let glow = 0.25 * (-r / 60.0).exp() + 0.03 * (-r / 250.0).exp();
                let bulb = 3.0 * (-(r / 22.0).powi(2)).exp();
                let shelf = if (430.0..445.0).contains(&y) {
                    0.05
                } else {
                    0.0
                };
                let window = if (650.0..800.0).contains(&x) && (80.0..330.0).contains(&y) {
                    0.12
                } else {
                    0.0
                };
                0.01 + 0.01 * texture + glow + bulb + shelf + window
            }
            Self::MoonlitNight => {
                let ridge = 330.0 + 60.0 * (x / 130.0).sin() + 25.0 * (x / 41.0).sin();
                let stars: f64 = places
                    .iter()
                    .filter(|p| p.1 < 300.0)
                    .map(|p| p.2 * 0.5 * (-((x - p.0).powi(2) + (y - p.1).powi(2)) / 1.5).exp())
                    .sum();
                let water = if y > 450.0 {
                    0.06 * (-((x - 500.0) / (20.0 + 0.3 * (y - 450.0))).powi(2)).exp()
                        * (0.5 + 0.5 * (y / 3.0 + texture * 9.0).sin())
                } else {
                    0.0
                };
                if y < ridge {
                    0.015 + 0.01 * (y / 600.0) + stars
                } else {
                    0.004 + 0.003 * texture + water
                }
            }
            Self::Pinholes => {
                let spots: f64 = places
                    .iter()
                    .take(25)
                    .map(|p| {
                        let edge = |d: f64| 1.0 / (1.0 + (d / 3.0).exp());
                        let sun = edge((x - p.0).hypot(y - p.1) - 34.0);
                        let moon = edge((x - p.0 - 16.0).hypot(y - p.1 - 9.0) - 34.0);
                        0.35 * sun * (1.0 - moon)
                    })
                    .sum();
                0.1 + 0.08 * texture + spots
            }
            Self::Sky => 0.2 + 0.3 * x / 900.0 + 0.05 * y / 600.0,
            Self::Wall => {
                if (300.0..340.0).contains(&(x + 0.2 * y)) {
                    0.1
                } else {
                    0.5 + 0.1 * texture
                }
            }
            Self::Capped => 0.0,
            Self::JustOutside => 0.02 * (-(900.0 - x) / 60.0).exp(),
        }
    }
}
