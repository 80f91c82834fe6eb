//! The `disc` room, through its door.
#![allow(clippy::print_stdout)]

use std::path::{Path, PathBuf};

use contactstrip::disc::{DiscHint, DiscReport, examine};
use contactstrip::domain::{Flag, Limb, Orientation};
use contactstrip::raster::decode;
use rayon::prelude::*;

use crate::support::sun::{Other, Scene, Tone};

fn photo(name: &str) -> Option<PathBuf> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("../shared/photos")
        .join(name);
    if !path.exists() {
        println!("{name} is not here; nothing checked");
    }
    path.exists().then_some(path)
}

fn look_at(name: &str) -> Option<DiscReport> {
    let path = photo(name)?;
    let frame = decode(&path, Orientation::default()).unwrap();
    Some(examine(&frame, &DiscHint::default()))
}

/// Distance of the fitted Sun from the drawn one.
fn miss(scene: &Scene, report: &DiscReport) -> Option<f64> {
    let sun = report.fit.ok()?.sun?;
    Some((sun.x_px - scene.sun.0).hypot(sun.y_px - scene.sun.1))
}

#[test]
fn a_whole_disc_is_found() {
    let scene = Scene::default();
    let report = examine(&scene.frame(), &DiscHint::default());
    assert!(miss(&scene, &report).unwrap() < 0.2, "{report:?}");
}

#[test]
fn crescents_are_found() {
    for obscuration in [0.02, 0.2, 0.5, 0.8, 0.9, 0.97] {
        let scene = Scene::default().covered(obscuration, 1.03, 35.0);
        let report = examine(&scene.frame(), &DiscHint::default());
        let miss = miss(&scene, &report);
        assert!(
            miss.is_some_and(|m| m < 2.5),
            "{obscuration}: {miss:?} {report:?}"
        );
    }
}

#[test]
fn ordinary_photographs_hold_no_disc() {
    for name in [
        "gps/DSCN0010.jpg",
        "gps/DSCN0012.jpg",
        "gps/DSCN0021.jpg",
        "gps/DSCN0025.jpg",
        "six-partials-montage.jpg",
    ] {
        if let Some(report) = look_at(name) {
            assert!(report.fit.is_err(), "{name}: {report:?}");
        }
    }
}

#[test]
fn real_photographs_are_found() {
    for n in 1..=20 {
        if let Some(report) = look_at(&format!("crescents-2024/frame{n}.png")) {
            assert_eq!(report.fit.unwrap().limb, Limb::Sun, "frame{n}");
        }
    }
    if let Some(report) = look_at("full-disc.jpg") {
        assert_eq!(report.fit.unwrap().limb, Limb::Sun);
    }
    if let Some(report) = look_at("totality-phone-2024.jpg") {
        assert_eq!(report.fit.unwrap().limb, Limb::Moon);
    }
}

#[test]
fn pictures_of_other_things_hold_no_disc() {
    for other in [
        Other::Lamp,
        Other::MoonlitNight,
        Other::Pinholes,
        Other::Sky,
        Other::Wall,
        Other::Capped,
        Other::JustOutside,
    ] {
        for seed in 0..3 {
            let report = examine(&other.frame(seed), &DiscHint::default());
            assert!(report.fit.is_err(), "{other:?} {seed}: {report:?}");
            let has = |flag| report.flags.has(flag);
            assert_eq!(
                has(Flag::Capped),
                other == Other::Capped,
                "{other:?}: {report:?}"
            );
            let outside = other == Other::JustOutside;
            assert_eq!(has(Flag::OutOfFrame), outside, "{other:?}: {report:?}");
        }
    }
}

#[test]
fn a_dark_frame_in_totality_has_its_filter_on() {
    let hint = DiscHint {
        totality: Some(true),
        ..DiscHint::default()
    };
    let report = examine(&Other::Capped.frame(0), &hint);
    assert_eq!(report.flags.to_string(), "filter-on", "{report:?}");
}

#[test]
fn a_ring_is_a_sun_with_a_moon_in_it() {
    for (dx, dy) in [(0.0, 0.0), (3.0, -2.0), (-5.0, 1.0)] {
        let (x, y, r) = Scene::default().sun;
        let scene = Scene {
            moon: Some((x + dx, y + dy, 0.95 * r)),
            ..Scene::default()
        };
        let hint = DiscHint {
            moon_ratio: Some((0.95, 0.002)),
            ..DiscHint::default()
        };
        for hint in [hint, DiscHint::default()] {
            let report = examine(&scene.frame(), &hint);
            let fit = report.fit.unwrap();
            assert_eq!(fit.limb, Limb::Sun);
            assert!(miss(&scene, &report).unwrap() < 0.1, "{fit:?}");
            let moon = fit.moon.unwrap();
            assert!(
                (moon.x_px - x - dx).hypot(moon.y_px - y - dy) < 0.1,
                "{fit:?}"
            );
        }
    }
}

/// The last or first sliver of the unfiltered Sun beside a Moon in the inner corona.
fn diamond_ring(sliver_px: f64, turn_deg: f64, seed: u64) -> Scene {
    let (sin, cos) = turn_deg.to_radians().sin_cos();
    let sun = (403.3, 297.6, 100.0);
    let apart = 4.0 + sliver_px;
    Scene {
        width: 800,
        height: 600,
        sun,
        moon: Some((sun.0 + apart * cos, sun.1 + apart * sin, 104.0)),
        level: 400.0,
        corona: 0.4,
        earthshine: 1e-4,
        noise: 0.02,
        seed,
        ..Scene::default()
    }
}

#[test]
fn a_diamond_ring_is_fitted_on_the_moon() {
    for (n, sliver_px) in [0.05, 0.2, 0.5].into_iter().enumerate() {
        let scene = diamond_ring(sliver_px, 70.0 + 100.0 * n as f64, n as u64 + 1);
        let report = examine(&scene.frame(), &DiscHint::default());
        let fit = report.fit.unwrap();
        assert_eq!(fit.limb, Limb::Moon, "{sliver_px}: {fit:?}");
        let (moon, truth) = (fit.moon.unwrap(), scene.moon.unwrap());
        let miss = (moon.x_px - truth.0).hypot(moon.y_px - truth.1);
        assert!(
            miss < 0.5 || miss < 3.0 * fit.sigma_px,
            "{sliver_px}: {miss} {fit:?}"
        );
    }
}

#[test]
fn a_disc_drifting_out_is_cut_and_still_centred() {
    for (x, y) in [
        (90.0, 200.0),
        (40.0, 60.0),
        (600.0, 225.0),
        (300.0, 440.0),
        (-60.0, 225.0),
    ] {
        for obscuration in [0.0, 0.4] {
            let scene = Scene {
                sun: (x + 0.3, y + 0.4, 150.0),
                ..Scene::default()
            };
            let scene = if obscuration > 0.0 {
                scene.covered(obscuration, 1.02, 200.0)
            } else {
                scene
            };
            let report = examine(&scene.frame(), &DiscHint::default());
            let Ok(fit) = report.fit else {
                assert!(x < 0.0, "{x} {y} {obscuration}: {report:?}");
                continue;
            };
            assert!(report.flags.has(Flag::Cut), "{x} {y}");
            let miss = miss(&scene, &report).unwrap();
            assert!(
                miss < 0.3 || miss < 3.0 * fit.sigma_px,
                "{x} {y} {obscuration}: {miss} {fit:?}"
            );
        }
    }
}

#[test]
fn spoilt_frames_are_named() {
    let plain = Scene::default().covered(0.4, 1.02, 30.0);
    let ghosts = Scene {
        width: 1000,
        height: 700,
        sun: (350.0, 300.0, 120.0),
        flare: 0.03,
        ..Scene::default()
    };
    let flags = |scene: &Scene| examine(&scene.frame(), &DiscHint::default()).flags;
    assert_eq!(flags(&plain).to_string(), "");
    for (flag, scene) in [
        (
            Flag::Soft,
            Scene {
                blur: 5.0,
                ..plain.clone()
            },
        ),
        (
            Flag::Shaken,
            Scene {
                smear: (6.0, 4.0),
                ..plain.clone()
            },
        ),
        (
            Flag::Clouded,
            Scene {
                cloud: 0.6,
                halo: 0.02,
                ..plain.clone()
            },
        ),
        (
            Flag::Clipped,
            Scene {
                level: 2.5,
                ..plain.clone()
            },
        ),
        (Flag::Flare, ghosts),
    ] {
        let found = flags(&scene);
        assert_eq!(found.to_string(), flag.word(), "{flag:?}");
    }
}

#[test]
fn a_careful_person_would_rank_them_so() {
    let plain = Scene::default().covered(0.4, 1.02, 30.0);
    let quality = |scene: &Scene| examine(&scene.frame(), &DiscHint::default()).quality;
    let best = quality(&plain);
    for worse in [
        Scene {
            blur: 2.0,
            ..plain.clone()
        },
        Scene {
            smear: (5.0, 0.0),
            ..plain.clone()
        },
        Scene {
            cloud: 0.5,
            ..plain.clone()
        },
        Scene {
            level: 2.5,
            ..plain.clone()
        },
        Scene {
            level: 0.03,
            ..plain.clone()
        },
    ] {
        let q = quality(&worse);
        assert!(q < best && q > 0.0, "{q} {best}");
    }
}

/// What was missed over several frames of one kind.
struct Misses {
    sun: Vec<f64>,
    moon: Vec<f64>,
    sun_pull: Vec<f64>,
    moon_pull: Vec<f64>,
    none: usize,
    /// Over 1 px with nothing said.
    silent: usize,
}

fn rms(v: &[f64]) -> f64 {
    (v.iter().map(|x| x * x).sum::<f64>() / v.len().max(1) as f64).sqrt()
}

fn max(v: &[f64]) -> f64 {
    v.iter().copied().fold(0.0, f64::max)
}

/// The same kind of frame drawn `n` times with other sub-pixel places, directions and noise, and examined.
fn trial(base: &Scene, obscuration: f64, hinted: bool, n: u64) -> Misses {
    let results: Vec<_> = (0..n)
        .into_par_iter()
        .map(|seed| {
            let f = |k: f64| (seed as f64 * k + 0.1).fract();
            let (x, y, r) = base.sun;
            let scene = Scene {
                sun: (x + f(0.37), y + f(0.71), r + f(0.23)),
                seed: seed + 1,
                ..base.clone()
            };
            let ratio = 1.0 + 0.04 * f(0.617);
            let scene = if obscuration > 0.0 {
                scene.covered(obscuration, ratio, 360.0 * f(0.618))
            } else {
                scene
            };
            let hint = DiscHint {
                moon_ratio: Some((ratio, 0.002 * ratio)),
                sun_radius_px: hinted.then_some((scene.sun.2, 0.05)),
                ..DiscHint::default()
            };
            (examine(&scene.frame(), &hint), scene)
        })
        .collect();
    let mut misses = Misses {
        sun: vec![],
        moon: vec![],
        sun_pull: vec![],
        moon_pull: vec![],
        none: 0,
        silent: 0,
    };
    for (report, scene) in results {
        if std::env::var("SHOW").is_ok_and(|v| !v.is_empty()) {
            println!("{report:?} {:?} {:?}", scene.sun, scene.moon);
        }
        let Some((fit, sun)) = report.fit.ok().and_then(|f| Some((f, f.sun?))) else {
            misses.none += 1;
            continue;
        };
        let miss = (sun.x_px - scene.sun.0).hypot(sun.y_px - scene.sun.1);
        misses.sun.push(miss);
        misses.sun_pull.push(miss / fit.sigma_px / 2_f64.sqrt());
        if miss > 1.0 && fit.sigma_px < miss / 3.0 && report.flags.is_empty() {
            misses.silent += 1;
        }
        if let Some(m) = scene.moon {
            let Some(moon) = fit.moon else {
                misses.silent += 1;
                continue;
            };
            let miss = (moon.x_px - m.0).hypot(moon.y_px - m.1);
            let sigma = fit.moon_sigma_px.unwrap_or(0.0);
            misses.moon.push(miss);
            misses.moon_pull.push(miss / sigma / 2_f64.sqrt());
            if miss > 1.0 && sigma < miss / 3.0 && report.flags.is_empty() {
                misses.silent += 1;
            }
        }
    }
    misses
}

fn row(name: &str, obscuration: f64, m: &Misses) {
    println!(
        "| {name:30} | {obscuration:5.3} | {:7.3} | {:7.3} | {:7.3} | {:7.3} | {:5.2} | {:5.2} | {:4} | {:6} |",
        rms(&m.sun),
        max(&m.sun),
        rms(&m.moon),
        max(&m.moon),
        rms(&m.sun_pull),
        rms(&m.moon_pull),
        m.none,
        m.silent
    );
}

/// Prints how far fits lie from the truth over many drawn frames, one line a kind.
///
/// `cargo test --release --test tests disc::table -- --ignored --nocapture`
#[test]
#[ignore = "prints a table; run by hand"]
fn table() {
    let n = std::env::var("FRAMES")
        .ok()
        .and_then(|v| v.parse().ok())
        .unwrap_or(16);
    let only = std::env::var("ONLY").unwrap_or_default();
    println!(
        "| kind | covered | Sun rms px | Sun max | Moon rms px | Moon max | Sun pull | Moon pull | none | silent |"
    );
    println!("|---|---|---|---|---|---|---|---|---|---|");
    let plain = Scene::default();
    let sized = |r: f64| Scene {
        width: (r * 3.0) as usize,
        height: (r * 2.6) as usize,
        sun: (r * 1.45, r * 1.27, r),
        ..Scene::default()
    };
    let kinds: Vec<(&str, Scene, bool)> = vec![
        ("plain", plain.clone(), false),
        ("plain, radius known", plain.clone(), true),
        ("radius 30", sized(30.0), true),
        ("radius 60", sized(60.0), true),
        ("radius 400", sized(400.0), true),
        (
            "noise 3 %",
            Scene {
                noise: 0.03,
                ..plain.clone()
            },
            true,
        ),
        (
            "noise 8 %",
            Scene {
                noise: 0.08,
                ..plain.clone()
            },
            true,
        ),
        (
            "blur 2.5 px",
            Scene {
                blur: 2.5,
                ..plain.clone()
            },
            true,
        ),
        (
            "blur 6 px",
            Scene {
                blur: 6.0,
                ..plain.clone()
            },
            true,
        ),
        (
            "S-curve",
            Scene {
                tone: Tone::Curved(0.6),
                ..plain.clone()
            },
            true,
        ),
        (
            "shoulder",
            Scene {
                tone: Tone::Shoulder,
                ..plain.clone()
            },
            true,
        ),
        (
            "cloud",
            Scene {
                cloud: 0.5,
                halo: 0.03,
                ..plain.clone()
            },
            true,
        ),
        (
            "saturated",
            Scene {
                level: 3.0,
                ..plain.clone()
            },
            true,
        ),
        (
            "orange",
            Scene {
                colour: [1.0, 0.35, 0.02],
                ..plain.clone()
            },
            true,
        ),
        (
            "dark",
            Scene {
                level: 0.08,
                ..plain.clone()
            },
            true,
        ),
        (
            "spots and flare",
            Scene {
                spots: 5,
                flare: 0.05,
                ..plain.clone()
            },
            true,
        ),
        (
            "smeared 6 px",
            Scene {
                smear: (5.0, 3.3),
                ..plain.clone()
            },
            true,
        ),
    ];
    for (name, scene, hinted) in &kinds {
        if !name.contains(&only) {
            continue;
        }
        for obscuration in [0.0, 0.01, 0.3, 0.8, 0.9, 0.97, 0.99] {
            row(name, obscuration, &trial(scene, obscuration, *hinted, n));
        }
    }
}

/// Totality drawn at several exposures; the Moon stands a little off the Sun.
fn totality(corona: f64, seed: u64) -> Scene {
    let f = |k: f64| (seed as f64 * k + 0.1).fract();
    let sun = (400.0 + f(0.37), 300.0 + f(0.71), 100.0);
    let turn = std::f64::consts::TAU * f(0.618);
    Scene {
        width: 800,
        height: 600,
        sun,
        moon: Some((sun.0 + 2.0 * turn.cos(), sun.1 + 2.0 * turn.sin(), 104.0)),
        level: 0.0,
        corona,
        earthshine: 2e-4 * corona,
        sky: 0.001,
        noise: 0.02,
        seed: seed + 1,
        ..Scene::default()
    }
}

/// Prints how far the Moon lies from the truth in totality, one line an exposure.
///
/// `cargo test --release --test tests disc::dark_table -- --ignored --nocapture`
#[test]
#[ignore = "prints a table; run by hand"]
fn dark_table() {
    println!(
        "| corona at the limb | known | Moon rms px | Moon max | radius off | pull | not moon | silent |"
    );
    println!("|---|---|---|---|---|---|---|---|");
    for corona in [0.01, 0.03, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 300.0] {
        for hinted in [false, true] {
            let (mut miss, mut off, mut pull) = (vec![], vec![], vec![]);
            let (mut other, mut silent) = (0, 0);
            for seed in 0..8 {
                let scene = totality(corona, seed);
                let hint = DiscHint {
                    sun_radius_px: hinted.then_some((100.0, 0.2)),
                    moon_ratio: hinted.then_some((1.04, 0.00208)),
                    ..DiscHint::default()
                };
                let report = examine(&scene.frame(), &hint);
                if std::env::var("SHOW").is_ok_and(|v| !v.is_empty()) {
                    println!("{report:?}");
                }
                let moon = report.fit.ok().filter(|f| f.limb == Limb::Moon);
                let Some((fit, moon)) = moon.and_then(|f| Some((f, f.moon?))) else {
                    other += 1;
                    continue;
                };
                let truth = scene.moon.unwrap();
                let d = (moon.x_px - truth.0).hypot(moon.y_px - truth.1);
                miss.push(d);
                off.push(moon.radius_px - truth.2);
                pull.push(d / fit.sigma_px / 2_f64.sqrt());
                silent += usize::from(d > 1.0 && fit.sigma_px < d / 3.0);
            }
            println!(
                "| {corona:6} | {hinted:5} | {:7.3} | {:7.3} | {:7.3} | {:5.2} | {other} | {silent} |",
                rms(&miss),
                max(&miss),
                rms(&off),
                rms(&pull)
            );
        }
    }
}
