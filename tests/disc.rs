//! The `disc` room, through its door.
#![allow(clippy::print_stdout)]

use std::path::{Path, PathBuf};

use contactstrip::disc::{DiscHint, DiscReport, examine};
use contactstrip::domain::{Limb, Orientation};
use contactstrip::raster::decode;

use crate::support::sun::Scene;

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
