//! How far fitted discs lie from drawn ones, kind of frame by kind of frame.
//!
//! ```text
//! cargo bench --bench disc -- FRAMES WORD      for example 16 radius
//! ```
//!
//! `FRAMES` is how many frames a row has (16 without it, a quarter of that for the largest discs), `WORD` leaves out rows
//! whose name lacks it. The drawings share no code with the fitter. Each frame has its own sub-pixel place, radius, ratio of
//! the radii, direction of the Moon and noise, goes through a JPEG, and is decoded as the pipeline decodes it; then it is
//! looked at twice: with the radius and the ratio that other frames of a card give, each with its error, and knowing nothing.
//! With `SHOW` set, every frame's truth and report are printed before its row.
#![allow(clippy::print_stdout, missing_docs)]

#[path = "../tests/support/sun.rs"]
#[allow(dead_code)]
mod sun;

use contactstrip::disc::{DiscHint, DiscReport, examine};
use contactstrip::domain::{Estimate, Limb, Orientation};
use contactstrip::raster::{Frame, Samples, decode_luma};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64Mcg;
use rayon::prelude::*;
use sun::{Scene, Tone};

/// Frames in a row.
const FRAMES: u64 = 16;

/// Discs larger than this, in pixels, have a quarter of the frames.
const LARGE_PX: f64 = 500.0;

/// JPEG quality of frames whose row says nothing of it.
const JPEG: u8 = 92;

/// Relative error of the radius that other frames give, and its stated sigma (`model::lens`).
const RADIUS: (f64, f64) = (0.0005, 0.002);

/// Relative error of the computed ratio of the radii as a camera shows it, and its stated sigma (`model::lens`).
const RATIO: (f64, f64) = (0.0005, 0.0015);

/// A miss beyond this, in pixels, must be told by a flag or by the sigma.
const TOLD_PX: f64 = 1.0;

/// Partial phases at 150 px.
const COVERED: [f64; 10] = [0.0, 0.1, 0.3, 0.5, 0.7, 0.8, 0.9, 0.95, 0.97, 0.99];

/// Partial phases of all other rows.
const FEW: [f64; 4] = [0.0, 0.5, 0.9, 0.97];

/// Frames of one kind.
struct Kind {
    name: &'static str,
    scene: Scene,
    covered: f64,
    /// Moon's radius over the Sun's, from and to.
    ratio: (f64, f64),
}

/// A frame with its truth, and what was seen in it.
struct Looked {
    scene: Scene,
    hinted: DiscReport,
    bare: DiscReport,
}

impl Looked {
    fn at(scene: Scene, hint: &DiscHint) -> Self {
        let frame = taken(&scene);
        Self {
            hinted: examine(&frame, hint),
            bare: examine(&frame, &DiscHint::default()),
            scene,
        }
    }
}

/// Misses of one row, looked at in one way.
#[derive(Default)]
struct Misses {
    sun_px: Vec<f64>,
    moon_px: Vec<f64>,
    within: usize,
    silent: usize,
    none: usize,
}

fn main() {
    let mut frames = if std::env::args().any(|arg| arg == "--bench") {
        FRAMES
    } else {
        1
    };
    let mut word = String::new();
    for arg in std::env::args().skip(1).filter(|a| !a.starts_with("--")) {
        match arg.parse() {
            Ok(count) => frames = count,
            Err(_) => word = arg,
        }
    }
    partials(frames, &word);
    totalities(frames, &word);
    slivers(frames, &word);
}

fn partials(frames: u64, word: &str) {
    println!(
        "{:16} {:>7} {:>3} | {:>5} {:>8} {:>8} {:>5} {:>6} {:>8} | {:>5} {:>8} {:>8} {:>5} {:>6} {:>8}",
        "drawn",
        "covered",
        "n",
        "found",
        "Sun rms",
        "largest",
        "3 sig",
        "silent",
        "Moon rms",
        "found",
        "Sun rms",
        "largest",
        "3 sig",
        "silent",
        "Moon rms"
    );
    for kind in kinds().iter().filter(|kind| kind.name.contains(word)) {
        let large = kind.scene.sun.2 > LARGE_PX;
        let frames = if large { frames.div_ceil(4) } else { frames };
        let looked: Vec<Looked> = (0..frames)
            .into_par_iter()
            .map(|seed| looked(kind, seed))
            .collect();
        let (mut hinted, mut bare) = (Misses::default(), Misses::default());
        for one in &looked {
            hinted.add(&one.hinted, &one.scene);
            bare.add(&one.bare, &one.scene);
        }
        println!(
            "{:16} {:7} {frames:3} | {} | {}",
            kind.name,
            kind.covered,
            hinted.row(),
            bare.row()
        );
    }
}

impl Misses {
    fn add(&mut self, report: &DiscReport, scene: &Scene) {
        let Some((fit, sun)) = report.fit.ok().and_then(|fit| Some((fit, fit.sun?))) else {
            self.none += 1;
            return;
        };
        let miss_px = (sun.x_px - scene.sun.0).hypot(sun.y_px - scene.sun.1);
        self.sun_px.push(miss_px);
        self.within += usize::from(miss_px < 3.0 * fit.sigma_px);
        let mut silent = is_silent(miss_px, fit.sigma_px, report);
        match (scene.moon, fit.moon) {
            (Some((x, y, _)), Some(moon)) => {
                let miss_px = (moon.x_px - x).hypot(moon.y_px - y);
                self.moon_px.push(miss_px);
                silent |= is_silent(miss_px, fit.moon_sigma_px.unwrap_or(f64::MAX), report);
            }
            (None, None) => {}
            // A Moon overlooked, or one that is not there.
            _ => silent |= report.flags.is_empty(),
        }
        self.silent += usize::from(silent);
        if std::env::var_os("SHOW").is_some() {
            println!("    {miss_px:.3} {silent} {:?} {:?}", scene.sun, scene.moon);
            println!("    {report:?}");
        }
    }

    fn row(&self) -> String {
        let found = self.sun_px.len();
        let largest = self.sun_px.iter().copied().fold(0.0, f64::max);
        format!(
            "{found:5} {:8.3} {largest:8.3} {:3.0} % {:6} {:>8}",
            rms(&self.sun_px),
            100.0 * self.within as f64 / found.max(1) as f64,
            self.silent,
            if self.moon_px.is_empty() {
                "-".to_owned()
            } else {
                format!("{:.3}", rms(&self.moon_px))
            }
        )
    }
}

/// Whether a miss is beyond a pixel and neither a flag nor the sigma tells of it.
fn is_silent(miss_px: f64, sigma_px: f64, report: &DiscReport) -> bool {
    miss_px > TOLD_PX && miss_px > 3.0 * sigma_px && report.flags.is_empty()
}

fn rms(values: &[f64]) -> f64 {
    let square: f64 = values.iter().map(|v| v * v).sum();
    (square / values.len().max(1) as f64).sqrt()
}

/// The rows.
fn kinds() -> Vec<Kind> {
    let plain = sized(150.0);
    let mut kinds = Vec::new();
    let mut add = |name: &'static str, scene: &Scene, covered: &[f64]| {
        kinds.extend(covered.iter().map(|&covered| Kind {
            name,
            scene: scene.clone(),
            covered,
            ratio: (1.01, 1.06),
        }));
    };
    add("radius 150 px", &plain, &COVERED);
    for (name, radius_px) in [("radius 30 px", 30.0), ("radius 60 px", 60.0)] {
        add(name, &sized(radius_px), &FEW);
    }
    add("radius 400 px", &sized(400.0), &FEW);
    add("radius 800 px", &sized(800.0), &[0.0, 0.9]);
    let changed = |change: fn(&mut Scene)| {
        let mut scene = plain.clone();
        change(&mut scene);
        scene
    };
    add("noise 3 %", &changed(|s| s.noise = 0.03), &FEW);
    add("noise 8 %", &changed(|s| s.noise = 0.08), &FEW);
    add("blur 2.5 px", &changed(|s| s.blur = 2.5), &FEW);
    add("blur 6 px", &changed(|s| s.blur = 6.0), &FEW);
    add("smeared 6 px", &changed(|s| s.smear = (5.0, 3.3)), &FEW);
    add("dark", &changed(|s| s.level = 0.08), &FEW);
    add("saturated", &changed(|s| s.level = 3.0), &FEW);
    add(
        "orange filter",
        &changed(|s| s.colour = [1.0, 0.35, 0.02]),
        &FEW,
    );
    add("S-curve", &changed(|s| s.tone = Tone::Curved(0.6)), &FEW);
    add("shoulder", &changed(|s| s.tone = Tone::Shoulder), &FEW);
    add("cloud", &changed(|s| (s.cloud, s.halo) = (0.5, 0.03)), &FEW);
    add(
        "spots and flare",
        &changed(|s| (s.spots, s.flare) = (5, 0.05)),
        &FEW,
    );
    add("JPEG quality 60", &changed(|s| s.jpeg = Some(60)), &FEW);
    add("8 bits, no JPEG", &changed(|s| s.jpeg = None), &FEW);
    for (name, alt_deg) in [
        ("low: 8 degrees", 8.0),
        ("low: 5 degrees", 5.0),
        ("low: 3 degrees", 3.0),
        ("low: 2 degrees", 2.0),
    ] {
        let mut scene = plain.clone();
        scene.low = Some((alt_deg, 20.0));
        add(name, &scene, &FEW);
    }
    add("filter's halo", &changed(|s| s.halo = 0.06), &FEW);
    add("glare", &changed(|s| (s.level, s.glare) = (1.5, 0.1)), &FEW);
    add("thin", &plain, &[0.995, 0.998]);
    kinds.push(Kind {
        name: "ring",
        covered: 0.9,
        ratio: (0.955, 0.975),
        scene: plain,
    });
    kinds
}

/// A scene of the usual shape for a Sun of this radius.
fn sized(radius_px: f64) -> Scene {
    Scene {
        width: (3.0 * radius_px) as usize,
        height: (2.6 * radius_px) as usize,
        sun: (1.5 * radius_px, 1.3 * radius_px, radius_px),
        jpeg: Some(JPEG),
        ..Scene::default()
    }
}

/// Draws one frame of a kind and looks at it.
fn looked(kind: &Kind, seed: u64) -> Looked {
    let mut rng = Pcg64Mcg::seed_from_u64(0xD15C ^ seed.wrapping_mul(0x9E37_79B9));
    let (x, y, r) = kind.scene.sun;
    let scene = Scene {
        sun: (
            x + rng.random_range(-2.0..2.0),
            y + rng.random_range(-2.0..2.0),
            r + rng.random_range(-0.5..0.5),
        ),
        seed: seed + 1,
        ..kind.scene.clone()
    };
    let ratio = rng.random_range(kind.ratio.0..kind.ratio.1);
    let turn_deg: f64 = rng.random_range(0.0..360.0);
    let scene = match kind.covered {
        none if none <= 0.0 => scene,
        // A ring covers what the ratio lets it; the Moon stands anywhere inside.
        covered if ratio < 1.0 && covered > ratio * ratio - 0.04 => {
            let away = rng.random_range(0.0..0.9) * (1.0 - ratio) * scene.sun.2;
            let (sin, cos) = turn_deg.to_radians().sin_cos();
            let (x, y, r) = scene.sun;
            Scene {
                moon: Some((x + away * cos, y + away * sin, ratio * r)),
                ..scene
            }
        }
        covered => scene.covered(covered, ratio, turn_deg),
    };
    let unit = Normal::new(0.0, 1.0).unwrap();
    let mut near = |value: f64, (error, sigma): (f64, f64)| {
        let shown = value * (1.0 + error * unit.sample(&mut rng));
        Some(Estimate::new(shown, sigma * value))
    };
    let hint = DiscHint {
        sun_radius_px: near(scene.sun.2, RADIUS),
        moon_ratio: near(ratio, RATIO),
        squeeze: scene.squeeze(),
        ..DiscHint::default()
    };
    Looked::at(scene, &hint)
}

/// The frame as the pipeline reads it: of a JPEG its luma.
fn taken(scene: &Scene) -> Frame {
    let drawn = Scene {
        jpeg: None,
        ..scene.clone()
    }
    .frame();
    let (Some(quality), Samples::U8(values)) = (scene.jpeg, drawn.samples()) else {
        return drawn;
    };
    let mut bytes = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, quality)
        .encode(
            values,
            drawn.width() as u32,
            drawn.height() as u32,
            image::ExtendedColorType::Rgb8,
        )
        .unwrap();
    decode_luma(&bytes, Orientation::default(), Vec::new()).unwrap()
}

/// Totality at several exposures: how far the Moon lies from the drawn one.
fn totalities(frames: u64, word: &str) {
    if !word.is_empty() && !"totality".starts_with(word) {
        return;
    }
    println!();
    println!(
        "{:16} {:>7} {:>3} | {:>5} {:>8} {:>8} {:>5} {:>6} {:>5} | {:>5} {:>8} {:>8} {:>5} {:>6} {:>5}",
        "totality",
        "corona",
        "n",
        "found",
        "Moon rms",
        "largest",
        "3 sig",
        "silent",
        "small",
        "found",
        "Moon rms",
        "largest",
        "3 sig",
        "silent",
        "small"
    );
    let exposures = [0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 300.0];
    let rows = exposures
        .map(|corona| ("Sun of 100 px", corona, 0.0, None))
        .into_iter()
        .chain([0.3, 3.0, 30.0].map(|corona| ("glare", corona, 0.03, None)))
        .chain([10.0, 6.0, 3.0, 2.0].map(|alt| ("low", 0.3, 0.01, Some((alt, -15.0)))))
        .chain([10.0, 6.0, 3.0, 2.0].map(|alt| ("low, saturated", 5.0, 0.01, Some((alt, -15.0)))));
    for (name, corona, glare, low) in rows {
        let looked: Vec<Looked> = (0..frames)
            .into_par_iter()
            .map(|seed| covered_sun(corona, glare, low, seed))
            .collect();
        let row = |pick: fn(&Looked) -> &DiscReport| {
            let (mut miss, mut within, mut silent) = (Vec::new(), 0, 0);
            let mut small = 0;
            for one in &looked {
                let report = pick(one);
                let fit = report.fit.ok().filter(|fit| fit.limb == Limb::Moon);
                let Some((fit, moon)) = fit.and_then(|fit| Some((fit, fit.moon?))) else {
                    continue;
                };
                let (x, y, _) = one.scene.moon.unwrap();
                let miss_px = (moon.x_px - x).hypot(moon.y_px - y);
                miss.push(miss_px);
                small += usize::from(moon.radius_px < one.scene.sun.2);
                within += usize::from(miss_px < 3.0 * fit.sigma_px);
                silent += usize::from(is_silent(miss_px, fit.sigma_px, report));
            }
            format!(
                "{:5} {:8.3} {:8.3} {:3.0} % {silent:6} {small:5}",
                miss.len(),
                rms(&miss),
                miss.iter().copied().fold(0.0, f64::max),
                100.0 * within as f64 / miss.len().max(1) as f64,
            )
        };
        println!(
            "{name:16} {:7} {frames:3} | {} | {}",
            low.map_or(corona, |low: (f64, f64)| low.0),
            row(|one| &one.hinted),
            row(|one| &one.bare)
        );
    }
}

/// Totality with the corona this bright at the limb, saturation being 1; the Moon stands a little off the Sun.
fn covered_sun(corona: f64, glare: f64, low: Option<(f64, f64)>, seed: u64) -> Looked {
    let mut rng = Pcg64Mcg::seed_from_u64(0x707A ^ seed.wrapping_mul(0x9E37_79B9));
    let sun = (
        400.0 + rng.random_range(-2.0..2.0),
        300.0 + rng.random_range(-2.0..2.0),
        100.0,
    );
    let (sin, cos) = rng.random_range(0.0..std::f64::consts::TAU).sin_cos();
    let scene = Scene {
        width: 800,
        height: 600,
        sun,
        moon: Some((sun.0 + 2.0 * cos, sun.1 + 2.0 * sin, 104.0)),
        level: 0.0,
        corona,
        earthshine: 2e-4 * corona,
        sky: 0.001,
        noise: 0.02,
        glare,
        low,
        jpeg: Some(JPEG),
        seed: seed + 1,
        ..Scene::default()
    };
    let hint = DiscHint {
        sun_radius_px: Some(Estimate::new(100.0, 100.0 * RADIUS.1)),
        moon_ratio: Some(Estimate::new(1.04, 1.04 * RATIO.1)),
        squeeze: scene.squeeze(),
        ..DiscHint::default()
    };
    Looked::at(scene, &hint)
}

/// Seconds from a contact that a sliver of this many solar radii is away: half a second of arc a second (common knowledge).
fn seconds_of(width_radii: f64) -> f64 {
    width_radii * 960.0 / 0.5
}

/// The unfiltered last or first sliver of the Sun at several exposures, everything else known as the pipeline knows it by then.
fn slivers(frames: u64, word: &str) {
    if !word.is_empty() && !"slivers".starts_with(word) {
        return;
    }
    println!();
    println!(
        "{:16} {:>7} {:>3} | {:>5} {:>8} {:>8} {:>5} {:>6} {:>8}",
        "sliver", "light", "n", "found", "Sun rms", "largest", "3 sig", "silent", "Moon rms"
    );
    for width_radii in [0.001, 0.003, 0.0065, 0.012] {
        for level in [0.6, 10.0, 300.0, 10_000.0] {
            let looked: Vec<(Scene, DiscReport)> = (0..frames)
                .into_par_iter()
                .map(|seed| sliver(width_radii, level, seed))
                .collect();
            let mut misses = Misses::default();
            for (scene, report) in &looked {
                misses.add(report, scene);
            }
            let name = format!("{:.0} s", seconds_of(width_radii));
            println!("{name:16} {level:7} {frames:3} | {}", misses.row());
        }
    }
}

fn sliver(width_radii: f64, level: f64, seed: u64) -> (Scene, DiscReport) {
    let mut rng = Pcg64Mcg::seed_from_u64(0x511F ^ seed.wrapping_mul(0x9E37_79B9));
    let (radius_px, ratio) = (120.0, 1.04);
    let (x, y) = (
        360.0 + rng.random_range(-2.0..2.0),
        312.0 + rng.random_range(-2.0..2.0),
    );
    let (sin, cos) = rng.random_range(0.0..std::f64::consts::TAU).sin_cos();
    let apart = ratio - 1.0 + width_radii;
    let scene = Scene {
        width: 720,
        height: 624,
        sun: (x, y, radius_px),
        moon: Some((
            x + apart * radius_px * cos,
            y + apart * radius_px * sin,
            ratio * radius_px,
        )),
        level,
        glare: 0.01,
        // A millionth of the disc's light at the limb (Baumbach 1937, as drawn).
        corona: 4e-6 * level,
        noise: 0.02,
        seed: seed + 1,
        ..Scene::default()
    };
    let unit = Normal::new(0.0, 1.0).unwrap();
    let mut near = |value: f64, sigma: f64| value + sigma * unit.sample(&mut rng);
    let offset = [near(apart * cos, 0.002), near(apart * sin, 0.002)];
    let hint = DiscHint {
        sun_radius_px: Some(Estimate::new(radius_px, radius_px * RADIUS.1)),
        moon_ratio: Some(Estimate::new(ratio, ratio * RATIO.1)),
        offset_solar_radii: Some(Estimate::new(apart, 0.05)),
        moon_offset: Some((offset, 0.003)),
        ..DiscHint::default()
    };
    let report = examine(&taken(&scene), &hint);
    (scene, report)
}
