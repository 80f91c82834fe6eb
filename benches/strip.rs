//! A strip of 24 partials and a corona, 6,000 pixels wide, from 24-megapixel JPEGs, files included.

use std::hint::black_box;
use std::io::Cursor;

use contactstrip::catalogue::{Catalogue, ShotRecord, VERSION};
use contactstrip::domain::{
    CardFile, Circle, DiscFit, Exposure, FileFormat, Flags, Limb, Orientation, Phase, Role, Shot,
    Utc,
};
use contactstrip::raster::{
    Depth, LinearRgb, Packing, Picture, PictureInfo, decode_bytes, write_jpeg, write_png,
    write_tiff16,
};
use contactstrip::strip::{Centre, CentrePiece, Drawn, Recipe, Tile, draw, tile_for};
use criterion::{Criterion, criterion_group, criterion_main};

const PARTIALS: usize = 24;
const RADIUS_PX: f64 = 400.0;
const SUN: Circle = Circle {
    x_px: 3_010.3,
    y_px: 1_985.7,
    radius_px: RADIUS_PX,
};

/// A crescent whose Moon stands `s` solar radii to the right.
fn moon(s: f64) -> Circle {
    Circle {
        x_px: SUN.x_px + s * RADIUS_PX,
        ..SUN
    }
}

fn photograph(s: f64) -> Vec<u8> {
    let mut light = LinearRgb::new(6_000, 4_000);
    let moon = moon(s);
    for y in 1_500..2_500 {
        for x in 2_500..3_500 {
            let r = (x as f64 - SUN.x_px).hypot(y as f64 - SUN.y_px) / RADIUS_PX;
            let covered = (x as f64 - moon.x_px).hypot(y as f64 - moon.y_px) < moon.radius_px;
            if r < 1.0 && !covered {
                let v = (0.7 * (0.4 + 0.6 * (1.0 - r * r).sqrt())) as f32;
                light.set(x, y, [v, v * 0.6, v * 0.2]);
            }
        }
    }
    let mut file = Vec::new();
    write_jpeg(
        &Picture::from_linear(&light),
        &PictureInfo::new(""),
        95,
        &mut file,
    )
    .unwrap();
    file
}

fn record(i: usize, s: f64) -> ShotRecord {
    ShotRecord {
        shot: Shot {
            file: CardFile {
                name: format!("{i}"),
                path: format!("{i}").into(),
                format: FileFormat::Jpeg,
                size_bytes: 0,
                modified: None,
            },
            camera: None,
            stamp: None,
            gps: None,
            exposure: Exposure::default(),
            orientation: Orientation::UPRIGHT,
            width_px: Some(6_000),
            height_px: Some(4_000),
        },
        role: Some(Role::Tele),
        utc: Some(Utc::from_unix_s(1.5e9 + 300.0 * i as f64)),
        utc_sigma_s: None,
        phase: Phase::Ingress,
        near_contact: None,
        burst: None,
        disc: Some(DiscFit {
            limb: Limb::Sun,
            sun: Some(SUN),
            moon: Some(moon(s)),
            sigma_px: 0.05,
            moon_sigma_px: None,
            limb_arc_deg: 200.0,
            residual_px: 0.1,
            blur_px: None,
        }),
        no_disc: None,
        look: None,
        north_deg: Some(17.0),
        mirrored: Some(false),
        predicted: None,
        quality: Some(0.9),
        flags: Flags::default(),
        sibling: None,
    }
}

fn files(drawn: &Drawn) -> usize {
    let mut tiff = Cursor::new(Vec::new());
    write_tiff16(&drawn.sheet, &drawn.info, Packing::Lzw, &mut tiff).unwrap();
    let (mut png, mut jpeg) = (Vec::new(), Vec::new());
    write_png(&drawn.sheet, &drawn.info, Depth::Eight, &mut png).unwrap();
    write_jpeg(&drawn.sheet, &drawn.info, 95, &mut jpeg).unwrap();
    tiff.into_inner().len() + png.len() + jpeg.len()
}

fn rebuild(c: &mut Criterion) {
    let steps: Vec<f64> = (0..PARTIALS)
        .map(|i| 1.9 - 3.8 * i as f64 / PARTIALS as f64)
        .collect();
    let photographs: Vec<Vec<u8>> = steps.iter().map(|s| photograph(*s)).collect();
    let shots: Vec<ShotRecord> = steps
        .iter()
        .enumerate()
        .map(|(i, s)| record(i, *s))
        .collect();
    let names: Vec<String> = shots.iter().map(|s| s.name().to_owned()).collect();
    let catalogue = Catalogue {
        version: VERSION,
        program: String::new(),
        cards: Vec::new(),
        sources: Vec::new(),
        site_source: None,
        zone: None,
        contacts: None,
        cameras: Vec::new(),
        corona: None,
        shots,
        films: Vec::new(),
        strays: Vec::new(),
        notices: Vec::new(),
    };
    let recipe = Recipe {
        before: names[..PARTIALS / 2].to_vec(),
        centre: Centre::Corona,
        after: names[PARTIALS / 2..].to_vec(),
        ..Recipe::default()
    };
    let light = LinearRgb::from_data(2_000, 2_000, vec![0.1; 12_000_000]);
    let sun = Circle {
        x_px: 1_000.0,
        y_px: 1_000.0,
        radius_px: 300.0,
    };
    let centre = || {
        Some(CentrePiece {
            light: &light,
            sun,
            north_deg: 0.0,
            mirrored: false,
            frames: 9,
        })
    };
    let decoded = |record: &ShotRecord| {
        let bytes = &photographs[record.name().parse::<usize>().unwrap()];
        decode_bytes(bytes, Orientation::UPRIGHT)
            .map(Tile::whole)
            .map_err(|e| e.to_string())
    };
    let kept: Vec<Vec<u8>> = catalogue
        .shots
        .iter()
        .map(|record| {
            let tile = tile_for(&catalogue, record, decoded(record).unwrap()).unwrap();
            let mut file = Vec::new();
            tile.write(&mut file).unwrap();
            file
        })
        .collect();
    let from_tiles = |record: &ShotRecord| {
        Tile::read(&kept[record.name().parse::<usize>().unwrap()]).map_err(|e| e.to_string())
    };
    let mut group = c.benchmark_group("strip of 25 discs, 6000 px");
    group.sample_size(10);
    group.bench_function("from JPEGs, drawn", |b| {
        b.iter(|| black_box(draw(&catalogue, &recipe, &decoded, centre()).unwrap()));
    });
    group.bench_function("from kept tiles, drawn", |b| {
        b.iter(|| black_box(draw(&catalogue, &recipe, &from_tiles, centre()).unwrap()));
    });
    let drawn = draw(&catalogue, &recipe, &from_tiles, centre()).unwrap();
    group.bench_function("TIFF, PNG and JPEG written", |b| {
        b.iter(|| black_box(files(&drawn)))
    });
    group.finish();
}

criterion_group!(benches, rebuild);
criterion_main!(benches);
