//! A card drawn in memory: photographs of an eclipse of our own, with true discs.

use contactstrip::catalogue::{CameraRecord, Catalogue, ShotRecord, VERSION};
use contactstrip::domain::{
    CameraId, CardFile, Circle, ClockCorrection, ClockOutcome, ContactEvent, ContactKind, Contacts,
    DiscFit, EclipseKind, Exposure, FileFormat, Flags, Limb, LocalKind, Orientation, Phase, Role,
    Shot, Site, SunMoon, Utc, ZoneSource,
};
use contactstrip::raster::{Frame, LinearRgb, Samples, Transfer, linear_to_srgb};
use contactstrip::strip::Tile;

/// Seconds from maximum to first and fourth contact, and to second and third.
pub(crate) const HALF_PARTIAL_S: f64 = 4_300.0;
pub(crate) const HALF_CENTRAL_S: f64 = 70.0;

const SUN_ARCSEC: f64 = 945.0;

/// How the photographs of a card are drawn, and what its eclipse is.
#[derive(Clone, Copy)]
pub(crate) struct Scene {
    pub(crate) kind: LocalKind,
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) radius_px: f64,
}

impl Scene {
    pub(crate) const SMALL: Self = Self {
        kind: LocalKind::Total,
        width: 420,
        height: 320,
        radius_px: 80.0,
    };

    fn ratio(&self) -> f64 {
        match self.kind {
            LocalKind::Total => 1.03,
            _ => 0.96,
        }
    }

    /// Moon minus Sun in solar radii, east and north, `t_s` seconds after maximum.
    fn moon_at(&self, t_s: f64) -> (f64, f64) {
        let speed = (1.0 + self.ratio()) / HALF_PARTIAL_S;
        let miss = match self.kind {
            LocalKind::Partial => 0.6,
            _ => 0.002,
        };
        // Along position angle 250 degrees, missing the Sun's centre by a little.
        let (sin, cos) = 250.0_f64.to_radians().sin_cos();
        let s = -t_s * speed;
        (s * sin + miss * cos, s * cos - miss * sin)
    }

    pub(crate) fn sky(&self, t_s: f64) -> SunMoon {
        let (east, north) = self.moon_at(t_s);
        let ratio = self.ratio();
        let apart = east.hypot(north);
        SunMoon {
            utc: maximum().plus_s(t_s),
            sun_radius_arcsec: SUN_ARCSEC,
            moon_radius_arcsec: SUN_ARCSEC * ratio,
            moon_east_arcsec: east * SUN_ARCSEC,
            moon_north_arcsec: north * SUN_ARCSEC,
            obscuration: lens_area(apart, ratio) / std::f64::consts::PI,
            magnitude: ((1.0 + ratio - apart) / 2.0).max(0.0),
            sun_alt_deg: 25.0 - t_s * 0.0031,
            sun_alt_refracted_deg: 25.0 - t_s * 0.0031,
            sun_az_deg: 318.0 - t_s * 0.0030,
            parallactic_deg: 120.0 + t_s * 0.001,
            vertical_squeeze: 1.0,
        }
    }
}

/// Area shared by a circle of radius 1 and one of radius `r`, centres `d` apart.
fn lens_area(d: f64, r: f64) -> f64 {
    let pi = std::f64::consts::PI;
    if d >= 1.0 + r {
        return 0.0;
    }
    if d <= (1.0 - r).abs() {
        return pi * r.min(1.0).powi(2);
    }
    let a = ((d * d + 1.0 - r * r) / (2.0 * d)).acos();
    let b = ((d * d + r * r - 1.0) / (2.0 * d * r)).acos();
    let kite = (-d + 1.0 + r) * (d + 1.0 - r) * (d - 1.0 + r) * (d + 1.0 + r);
    a + r * r * b - 0.5 * kite.sqrt()
}

pub(crate) fn maximum() -> Utc {
    Utc::new("2019-07-02T20:39:20Z".parse().unwrap())
}

pub(crate) fn contacts(scene: &Scene) -> Contacts {
    let event = |kind, t_s: f64| ContactEvent {
        kind,
        utc: maximum().plus_s(t_s),
        sigma_s: 0.5,
        sky: scene.sky(t_s),
        position_angle_deg: 250.0,
        vertex_angle_deg: 100.0,
        sun_up: true,
    };
    let central = scene.kind != LocalKind::Partial;
    let central = |kind, t_s| central.then(|| event(kind, t_s));
    Contacts {
        eclipse_date: "2019-07-02".parse().unwrap(),
        eclipse_kind: EclipseKind::Total,
        site: Site::new(-30.03, -70.71, 600.0).unwrap(),
        kind: scene.kind,
        c1: event(ContactKind::C1, -HALF_PARTIAL_S),
        c2: central(ContactKind::C2, -HALF_CENTRAL_S),
        maximum: event(ContactKind::Maximum, 0.0),
        c3: central(ContactKind::C3, HALF_CENTRAL_S),
        c4: event(ContactKind::C4, HALF_PARTIAL_S),
        magnitude: scene.sky(0.0).magnitude,
        obscuration: scene.sky(0.0).obscuration,
        delta_t_s: 69.2,
        limb: contactstrip::domain::MoonLimb::Mean,
        limb_margin: None,
    }
}

/// How one photograph was taken.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Take {
    /// Seconds after maximum.
    pub(crate) t_s: f64,
    /// Where the Sun's centre is, in pixels.
    pub(crate) sun: (f64, f64),
    pub(crate) radius_px: f64,
    pub(crate) north_deg: f64,
    pub(crate) mirrored: bool,
    /// Light at the disc's centre, red green blue.
    pub(crate) light: [f64; 3],
}

impl Take {
    /// Seconds after maximum as an index of variety: position, exposure and colour differ from frame to frame.
    pub(crate) fn varied(scene: &Scene, t_s: f64) -> Self {
        let n = (t_s / 60.0).round();
        let wave = |step: f64| (n * step).sin();
        let exposure = 0.55 * 2.0_f64.powf(0.7 * wave(1.7));
        Self {
            t_s,
            sun: (
                scene.width as f64 / 2.0 + 30.0 * wave(0.9) + 0.37,
                scene.height as f64 / 2.0 + 12.0 * wave(1.3) - 0.21,
            ),
            radius_px: scene.radius_px * (1.0 + 0.01 * wave(2.1)),
            north_deg: 37.0 + 0.15 * n,
            mirrored: false,
            light: [
                exposure,
                exposure * 0.62 * (1.0 + 0.08 * wave(0.5)),
                exposure * 0.2 * (1.0 + 0.12 * wave(0.8)),
            ],
        }
    }
}

pub(crate) fn circle((x_px, y_px): (f64, f64), radius_px: f64) -> Circle {
    Circle {
        x_px,
        y_px,
        radius_px,
    }
}

/// The Moon in the photograph.
fn moon(scene: &Scene, take: &Take) -> Circle {
    let (x, y) = scene
        .sky(take.t_s)
        .moon_offset_in_picture(take.north_deg, take.mirrored);
    let centre = (
        take.sun.0 + x * take.radius_px,
        take.sun.1 + y * take.radius_px,
    );
    circle(centre, take.radius_px * scene.ratio())
}

/// The record of a take, as the reading half would give it.
pub(crate) fn record(scene: &Scene, name: &str, take: &Take, phase: Phase) -> ShotRecord {
    let sky = scene.sky(take.t_s);
    let sun = circle(take.sun, take.radius_px);
    ShotRecord {
        shot: Shot {
            file: CardFile {
                name: name.into(),
                path: format!("/card/{name}").into(),
                format: FileFormat::Jpeg,
                size_bytes: 1,
                modified: None,
            },
            camera: Some(body()),
            stamp: None,
            gps: None,
            exposure: Exposure::default(),
            orientation: Orientation::UPRIGHT,
            width_px: Some(scene.width as u32),
            height_px: Some(scene.height as u32),
        },
        role: Some(Role::Tele),
        utc: Some(sky.utc),
        utc_sigma_s: Some(0.3),
        phase,
        near_contact: None,
        burst: None,
        disc: Some(DiscFit {
            limb: if phase == Phase::Totality {
                Limb::Moon
            } else {
                Limb::Sun
            },
            sun: Some(sun),
            moon: (sky.obscuration > 0.0).then(|| moon(scene, take)),
            sigma_px: 0.05,
            moon_sigma_px: None,
            limb_arc_deg: 200.0,
            residual_px: 0.1,
            blur_px: Some(0.8),
        }),
        no_disc: None,
        look: None,
        north_deg: Some(take.north_deg),
        mirrored: Some(take.mirrored),
        predicted: Some(sky),
        quality: Some(0.8),
        flags: Flags::default(),
        sibling: None,
    }
}

pub(crate) fn body() -> CameraId {
    CameraId {
        make: "Drawn".into(),
        model: "One".into(),
        serial: None,
    }
}

pub(crate) fn catalogue(scene: &Scene, shots: Vec<ShotRecord>) -> Catalogue {
    Catalogue {
        corona: None,
        version: VERSION,
        program: "test".into(),
        cards: Vec::new(),
        sources: Vec::new(),
        site_source: None,
        zone: Some("America/Santiago".into()),
        contacts: Some(contacts(scene)),
        cameras: vec![CameraRecord {
            id: body(),
            label: "Drawn One".into(),
            clock: ClockCorrection::trusting(-4 * 3_600, ZoneSource::Given, 0.3),
            arcsec_per_px: None,
            clock_outcome: ClockOutcome::Given,
            clock_points: Vec::new(),
            clock_curve: Default::default(),
        }],
        shots,
        films: Vec::new(),
        strays: Vec::new(),
        notices: Vec::new(),
    }
}

/// Partials every `step_s` either side of totality, and one frame of totality.
pub(crate) fn card(scene: &Scene, step_s: f64) -> (Catalogue, Vec<(String, Take)>) {
    let mut takes = Vec::new();
    let mut t_s = -(HALF_PARTIAL_S / step_s).floor() * step_s;
    while t_s < HALF_PARTIAL_S {
        takes.push(Take::varied(scene, t_s));
        t_s += step_s;
    }
    let phase = |t: f64| {
        if t.abs() < HALF_CENTRAL_S {
            match scene.kind {
                LocalKind::Total => Phase::Totality,
                LocalKind::Annular => Phase::Annularity,
                _ => Phase::Ingress,
            }
        } else if t < 0.0 {
            Phase::Ingress
        } else {
            Phase::Egress
        }
    };
    let named: Vec<(String, Take)> = takes
        .into_iter()
        .enumerate()
        .map(|(i, take)| (format!("DCIM/100/SUN_{:04}.JPG", i + 1), take))
        .collect();
    let shots = named
        .iter()
        .map(|(name, take)| record(scene, name, take, phase(take.t_s)))
        .collect();
    (catalogue(scene, shots), named)
}

/// Noise of a pixel, -1 to 1, the same every time.
fn noise(x: usize, y: usize, c: usize) -> f64 {
    let mut h = (x as u64) << 40 ^ (y as u64) << 20 ^ c as u64;
    h = (h ^ (h >> 31)).wrapping_mul(0x9E37_79B9_7F4A_7C15);
    h = (h ^ (h >> 29)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
    ((h >> 40) as f64 / f64::from(1 << 23)) - 1.0
}

/// Coverage of a pixel by a disc whose limb is `distance_px` beyond the pixel's centre.
fn cover(distance_px: f64) -> f64 {
    (0.5 + distance_px / 1.6).clamp(0.0, 1.0)
}

/// Light of the Sun's face at `r` solar radii, per channel, 1 at the centre.
fn face(r: f64, c: usize) -> f64 {
    let mu = (1.0 - r * r).max(0.0).sqrt();
    1.0 - [0.45, 0.55, 0.75][c] * (1.0 - mu)
}

/// A photograph: limb darkening, a sunspot 0.4 radii from the centre towards celestial north, sky, noise; in totality
/// a corona with streamers and a prominence.
pub(crate) fn photograph(scene: &Scene, take: &Take, phase: Phase) -> Tile {
    let moon = moon(scene, take);
    let total = phase == Phase::Totality;
    let mut values = Vec::with_capacity(scene.width * scene.height * 3);
    let (sin, cos) = take.north_deg.to_radians().sin_cos();
    let spot = (
        take.sun.0 - sin * 0.4 * take.radius_px,
        take.sun.1 - cos * 0.4 * take.radius_px,
    );
    for y in 0..scene.height {
        for x in 0..scene.width {
            let (px, py) = (x as f64, y as f64);
            let from_sun = (px - take.sun.0).hypot(py - take.sun.1);
            let r = from_sun / take.radius_px;
            let off_moon = (px - moon.x_px).hypot(py - moon.y_px) - moon.radius_px;
            let open = cover(off_moon);
            for c in 0..3 {
                let light = if total {
                    let angle = (py - take.sun.1).atan2(px - take.sun.0);
                    let streamers = 0.6 + 0.4 * (3.0 * angle).cos();
                    open * (0.9 * r.powf(-4.0)).min(1.0) * streamers
                } else {
                    let dark = ((px - spot.0).hypot(py - spot.1) / (0.05 * take.radius_px)).powi(2);
                    let lit = cover(take.radius_px - from_sun) * open;
                    take.light[c] * face(r.min(1.0), c) * lit * (1.0 - 0.8 * (-dark).exp())
                };
                let seen = light + 0.004 + 0.002 * noise(x, y, c);
                let coded = linear_to_srgb(seen.clamp(0.0, 1.0) as f32) * 255.0;
                values.push(
                    (f64::from(coded) + 0.5 + 0.4 * noise(y, x, c + 3)).clamp(0.0, 255.0) as u8,
                );
            }
        }
    }
    Tile::whole(Frame::new(
        scene.width,
        scene.height,
        3,
        Samples::U8(values),
        Transfer::Srgb,
    ))
}

/// A merged corona of our own, wider than it will be shown, with long equatorial streamers.
pub(crate) fn corona(radius_px: f64, side: usize) -> (LinearRgb, Circle) {
    let mut light = LinearRgb::new(side, side);
    let centre = (side as f64 - 1.0) / 2.0;
    for y in 0..side {
        for x in 0..side {
            let (dx, dy) = (x as f64 - centre, y as f64 - centre);
            let r = dx.hypot(dy) / radius_px;
            let angle = dy.atan2(dx);
            let shape = 0.35 + 0.65 * (angle.cos().powi(2)) * (1.0 + 0.2 * (9.0 * angle).sin());
            let seen = cover((r - 1.03) * radius_px) * (0.8 * r.powf(-3.2) * shape).min(1.0);
            light.set(
                x,
                y,
                [seen as f32, (seen * 0.98) as f32, (seen * 0.95) as f32],
            );
        }
    }
    (light, circle((centre, centre), radius_px))
}
