//! What a frame of a sort costs, step by step: decoding 24 megapixels in colour and in luma, and looking at a whole Sun, a
//! thin crescent, totality and a black frame.
#![allow(missing_docs)]

use std::hint::black_box;

#[path = "../tests/support/sun.rs"]
#[allow(dead_code)]
mod sun;

use contactstrip::disc::{DiscHint, examine};
use contactstrip::domain::{Estimate, Orientation};
use contactstrip::raster::{
    Depth, Frame, Picture, PictureInfo, Samples, decode_bytes, decode_luma, write_jpeg, write_png,
};
use criterion::{BatchSize, Criterion, criterion_group, criterion_main};
use sun::Scene;

const RADIUS_PX: f64 = 400.0;

fn scene() -> Scene {
    Scene {
        width: 6000,
        height: 4000,
        sun: (3011.3, 1985.8, RADIUS_PX),
        ..Scene::default()
    }
}

/// As the pipeline hints once a few frames are known.
fn hint() -> DiscHint {
    DiscHint {
        sun_radius_px: Some(Estimate::new(RADIUS_PX, 0.002 * RADIUS_PX)),
        moon_ratio: Some(Estimate::new(1.03, 0.0015)),
        ..DiscHint::default()
    }
}

fn in_totality() -> DiscHint {
    DiscHint {
        totality: Some(true),
        ..hint()
    }
}

fn jpeg(frame: &Frame) -> Vec<u8> {
    let picture = Picture::from_linear(&frame.linear_rgb(frame.full()));
    let mut bytes = Vec::new();
    write_jpeg(&picture, &PictureInfo::new(""), 95, &mut bytes).unwrap();
    bytes
}

fn decoding(c: &mut Criterion) {
    let picture = scene().covered(0.5, 1.03, 30.0).frame();
    let bytes = jpeg(&picture);
    let small = Scene::default().frame();
    let mut png = Vec::new();
    let small = Picture::from_linear(&small.linear_rgb(small.full()));
    write_png(&small, &PictureInfo::new(""), Depth::Eight, &mut png).unwrap();
    let mut group = c.benchmark_group("decode");
    group.sample_size(10);
    group.bench_function("24 megapixels in colour", |b| {
        b.iter(|| decode_bytes(black_box(&bytes), Orientation::UPRIGHT).unwrap());
    });
    group.bench_function(
        "24 megapixels in luma, the one walk through the scan",
        |b| {
            b.iter(|| decode_luma(black_box(&bytes), Orientation::UPRIGHT, Vec::new()).unwrap());
        },
    );
    let walked = decode_luma(&bytes, Orientation::UPRIGHT, Vec::new()).unwrap();
    group.bench_function("24 megapixels in luma, all pixels after the walk", |b| {
        b.iter_batched(
            || walked.clone(),
            |frame| matches!(frame.samples(), Samples::U8(_)),
            BatchSize::LargeInput,
        );
    });
    group.bench_function("a small PNG", |b| {
        b.iter(|| decode_bytes(black_box(&png), Orientation::UPRIGHT).unwrap());
    });
    group.finish();
}

fn looking(c: &mut Criterion) {
    let dark = Scene {
        level: 0.0,
        sky: 0.0,
        ..scene()
    };
    let total = Scene {
        moon: Some((3015.3, 1983.8, 1.03 * RADIUS_PX)),
        level: 0.0,
        corona: 0.5,
        ..scene()
    };
    let kinds = [
        ("a whole Sun", scene(), hint()),
        ("half a Sun", scene().covered(0.5, 1.03, 30.0), hint()),
        (
            "half a Sun, nothing known of it",
            scene().covered(0.5, 1.03, 30.0),
            DiscHint::default(),
        ),
        (
            "a crescent of 3 %",
            scene().covered(0.97, 1.03, 30.0),
            hint(),
        ),
        ("totality", total, in_totality()),
        ("nothing but dark", dark, hint()),
    ];
    let mut group = c.benchmark_group("look at 24 megapixels");
    group.sample_size(10);
    for (name, scene, hint) in kinds {
        let bytes = jpeg(&scene.frame());
        let frame = decode_luma(&bytes, Orientation::UPRIGHT, Vec::new()).unwrap();
        // What is looked at is decoded as it is looked at.
        group.bench_function(name, |b| {
            b.iter_batched(
                || frame.clone(),
                |frame| examine(black_box(&frame), &hint),
                BatchSize::LargeInput,
            );
        });
    }
    group.finish();
}

criterion_group!(kernels, decoding, looking);
criterion_main!(kernels);
