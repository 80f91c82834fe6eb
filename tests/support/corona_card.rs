//! Cards with two brackets of totality and some partials: several mounts, heights of the Sun, skies and habits. Drawn,
//! sorted and merged, and held against the light they were drawn with.

use std::path::Path;
use std::sync::Arc;

use contactstrip::catalogue::Catalogue;
use contactstrip::contacts;
use contactstrip::domain::{Limb, Orientation, Phase, Site, Utc};
use contactstrip::ephemeris::EclipseView;
use contactstrip::merge::{Air, Flattened, MergeInput, MergeOptions, Merged, merge, without_air};
use contactstrip::pipeline::{Settings, Unwatched, sort};
use contactstrip::raster::{Frame, decode};
use exif::{Tag, Value};
use rayon::prelude::*;

use super::corona::{Low, Sky, Take, photograph};
use super::header;
use super::sun::Scene;

/// Radius of the Sun in pixels.
pub(crate) const RADIUS_PX: f64 = 70.0;

/// How a card differs from a tracked one under a clear sky.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Kind {
    pub(crate) name: &'static str,
    place: (&'static str, f64, f64, f64),
    tripod: bool,
    cloud: f64,
    haze: f64,
    hot: usize,
    order: Order,
    two_speeds: bool,
    short_canvas: bool,
    air: bool,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Order {
    Down,
    Up,
    Zigzag,
}

const HIGH: (&str, f64, f64, f64) = ("2024-04-08", 25.54, -103.41, 1120.0);

const PLAIN: Kind = Kind {
    name: "tracker, Sun 70 degrees high",
    place: HIGH,
    tripod: false,
    cloud: 0.0,
    haze: 0.0,
    hot: 0,
    order: Order::Down,
    two_speeds: false,
    short_canvas: false,
    air: false,
};

/// All kinds.
pub(crate) fn kinds() -> Vec<Kind> {
    let tripod = |name, place| Kind {
        name,
        place,
        tripod: true,
        ..PLAIN
    };
    vec![
        PLAIN,
        tripod("tripod, 42 degrees", ("2017-08-21", 44.63, -121.13, 700.0)),
        tripod("tripod, 70 degrees", HIGH),
        tripod("tripod, 82 degrees", ("2027-08-02", 25.69, 32.64, 90.0)),
        tripod("tripod, south", ("2020-12-14", -39.36, -71.93, 230.0)),
        Kind {
            name: "thin cloud drifting by",
            cloud: 0.25,
            ..PLAIN
        },
        Kind {
            name: "haze",
            haze: 6e-8,
            ..PLAIN
        },
        Kind {
            name: "hot pixels, 1 in 20,000",
            hot: 20,
            ..PLAIN
        },
        Kind {
            name: "ascending bracket",
            order: Order::Up,
            ..PLAIN
        },
        Kind {
            name: "zigzag bracket",
            order: Order::Zigzag,
            ..PLAIN
        },
        Kind {
            name: "ISO 100 and 400",
            two_speeds: true,
            ..PLAIN
        },
        Kind {
            name: "short canvas over clipped long ones",
            short_canvas: true,
            ..PLAIN
        },
        Kind {
            name: "tripod, 13 degrees, air",
            place: ("2019-07-02", -30.03, -70.71, 600.0),
            tripod: true,
            air: true,
            ..PLAIN
        },
    ]
}

/// A bracket's marked shutter times in seconds, the shortest first.
const MARKED: [(u32, u32); 9] = [
    (1, 2000),
    (1, 640),
    (1, 200),
    (1, 60),
    (1, 20),
    (1, 6),
    (1, 2),
    (16, 10),
    (32, 10),
];

/// A card drawn, sorted and merged.
pub(crate) struct Result {
    pub(crate) sky: Sky,
    pub(crate) takes: Vec<Take>,
    pub(crate) inputs: Vec<MergeInput>,
    pub(crate) merged: Merged,
    /// Index of the take of each input.
    pub(crate) take_of: Vec<usize>,
}

/// Draws, sorts and merges.
pub(crate) fn run(kind: &Kind) -> Result {
    let folder = tempfile::tempdir().unwrap();
    let card = folder.path().join("card");
    std::fs::create_dir(&card).unwrap();
    let (date, lat_deg, lon_deg, elev_m) = kind.place;
    let (site, date) = (
        Site {
            lat_deg,
            lon_deg,
            elev_m,
        },
        date.parse().unwrap(),
    );
    let view = contacts::view(&site, date, &contacts::ContactsOptions::default()).unwrap();
    let sky = Sky {
        haze: kind.haze,
        moon_radius: view.at(maximum(&view)).ratio(),
        ..Sky::default()
    };
    partials(kind, &view, &card);
    let takes = takes(kind, &view);
    takes.par_iter().enumerate().for_each(|(k, (utc, take))| {
        let frame = photograph(&sky, take);
        write(&card.join(name(k)), &frame, *utc, marked(take), take.iso);
    });
    let settings = Settings {
        cards: vec![card.clone()],
        out: folder.path().join("out"),
        site: Some(site),
        date: Some(date),
        zone: Some("+00:00".parse().unwrap()),
        ..Settings::default()
    };
    let catalogue = sort(&settings, &Unwatched).unwrap().catalogue.unwrap();
    let inputs = inputs(&catalogue, kind);
    let open = |i: usize| {
        decode(&card.join(&inputs[i].name), Orientation::UPRIGHT)
            .map(Arc::new)
            .map_err(|e| e.to_string())
    };
    let mut merged = merge(&inputs, &open, &MergeOptions::default(), None, &|_, _| {}).unwrap();
    if kind.air {
        clear_air(&catalogue, &inputs, &mut merged);
    }
    let take_of = inputs
        .iter()
        .map(|i| (0..takes.len()).find(|&k| name(k) == i.name).unwrap())
        .collect();
    Result {
        sky,
        takes: takes.into_iter().map(|t| t.1).collect(),
        inputs,
        merged,
        take_of,
    }
}

fn name(k: usize) -> String {
    format!("TOT_{k:04}.JPG")
}

fn maximum(view: &EclipseView) -> Utc {
    contacts::of_view(view).unwrap().maximum.utc
}

/// The marked shutter of a take as a fraction.
fn marked(take: &Take) -> (u32, u32) {
    let near =
        |m: &(u32, u32)| (f64::from(m.0) / f64::from(m.1) / take.marked_s - 1.0).abs() < 0.01;
    *MARKED.iter().find(|m| near(m)).unwrap()
}

/// Two brackets, a quarter and three quarters through totality.
fn takes(kind: &Kind, view: &EclipseView) -> Vec<(Utc, Take)> {
    let all = contacts::of_view(view).unwrap();
    let (c2, c3) = (all.c2.unwrap().utc, all.c3.unwrap().utc);
    let length_s = c3.seconds_since(c2);
    let mut out = Vec::new();
    for set in 0..2 {
        let start = c2.plus_s(length_s * if set == 0 { 0.12 } else { 0.80 });
        for n in 0..MARKED.len() {
            let k = match kind.order {
                Order::Down => MARKED.len() - 1 - n,
                Order::Up => n,
                Order::Zigzag => [4, 3, 5, 2, 6, 1, 7, 0, 8][n],
            };
            let utc = start.plus_s(1.3 * n as f64);
            out.push((utc, take(kind, view, utc, k, out.len())));
        }
    }
    out
}

fn take(kind: &Kind, view: &EclipseView, utc: Utc, k: usize, n: usize) -> Take {
    let pose = view.at(utc);
    let north_deg = north_deg(kind, view, utc);
    let moon = [pose.moon_east_arcsec, pose.moon_north_arcsec];
    let marked_s = f64::from(MARKED[k].0) / f64::from(MARKED[k].1);
    let speed = if kind.two_speeds && n >= MARKED.len() {
        4.0
    } else {
        1.0
    };
    let at = n as f64;
    let wander = |a: f64| 0.12 * RADIUS_PX * (a * (at + 1.0)).sin();
    let size = [(9.0 * RADIUS_PX) as usize, (8.4 * RADIUS_PX) as usize];
    // The shortest frames of a short canvas have the Sun near their edge.
    let aside = if kind.short_canvas && k < 4 {
        2.9 * RADIUS_PX
    } else {
        0.0
    };
    let true_s = ((marked_s.log2() * 3.0).round() / 3.0 + 0.04 * (3.0 * at).sin()).exp2();
    let zenith_deg = pose.zenith_in_picture_deg(north_deg, false).to_radians();
    let low = kind.air.then(|| {
        let mass = |alt_deg: f64| 1.0 / alt_deg.to_radians().sin();
        Low {
            up: [-zenith_deg.sin(), -zenith_deg.cos()],
            squeeze: pose.vertical_squeeze,
            // The Sun's radius is 0.266 degrees.
            clearing: EXTINCTION_MAG / 1.0857
                * (mass(pose.sun_alt_deg) - mass(pose.sun_alt_deg + 0.266)),
        }
    });
    Take {
        size,
        sun: [
            0.5 * size[0] as f64 + wander(1.7) + aside,
            0.5 * size[1] as f64 + wander(2.9),
        ],
        radius_px: RADIUS_PX,
        north_deg,
        moon: moon.map(|v| v / pose.sun_radius_arcsec),
        marked_s,
        true_s,
        iso: 100.0 * speed,
        cloud: kind.cloud * (0.5 + 0.5 * (0.9 * at).sin()),
        s_curve: 0.0,
        noise: true,
        seed: 500 + n as u64,
        hot: kind.hot,
        low,
    }
}

fn north_deg(kind: &Kind, view: &EclipseView, utc: Utc) -> f64 {
    let zenith_deg = view.at(utc).zenith_in_picture_deg(0.0, false);
    if kind.tripod { 7.0 - zenith_deg } else { 7.0 }
}

/// Eight partials either side of totality, through a filter.
fn partials(kind: &Kind, view: &EclipseView, card: &Path) {
    let all = contacts::of_view(view).unwrap();
    let (c1, c2) = (all.c1.utc, all.c2.unwrap().utc);
    let (c3, c4) = (all.c3.unwrap().utc, all.c4.utc);
    let between = |from: Utc, to: Utc| {
        let length_s = to.seconds_since(from);
        (0..8).map(move |n| from.plus_s(length_s * (0.06 + 0.12 * f64::from(n))))
    };
    for (n, utc) in between(c1, c2).chain(between(c3, c4)).enumerate() {
        let north_deg = north_deg(kind, view, utc);
        let sky = view.at(utc);
        let (right, down) = sky.moon_offset_in_picture(north_deg, false);
        let (x, y) = (
            300.0 + 40.0 * (1.3 * n as f64).sin(),
            290.0 + 40.0 * (2.1 * n as f64).cos(),
        );
        let scene = Scene {
            width: 630,
            height: 588,
            sun: (x, y, RADIUS_PX),
            moon: Some((
                x + right * RADIUS_PX,
                y + down * RADIUS_PX,
                sky.ratio() * RADIUS_PX,
            )),
            seed: 90 + n as u64,
            ..Scene::default()
        };
        write(
            &card.join(format!("PART{n:04}.JPG")),
            &scene.frame(),
            utc,
            (1, 500),
            100.0,
        );
    }
}

fn write(path: &Path, frame: &Frame, utc: Utc, shutter: (u32, u32), iso: f64) {
    let jpeg = header::encoded(frame, 97);
    let civil = jiff::tz::TimeZone::UTC.to_datetime(utc.timestamp());
    let hundredths = civil.subsec_nanosecond() / 10_000_000;
    let fields = vec![
        header::text(Tag::Make, "Test"),
        header::text(Tag::Model, "Long"),
        header::text(
            Tag::DateTimeOriginal,
            &civil.strftime("%Y:%m:%d %H:%M:%S").to_string(),
        ),
        header::field(
            Tag::SubSecTimeOriginal,
            Value::Ascii(vec![format!("{hundredths:02}").into_bytes()]),
        ),
        header::ratios(Tag::ExposureTime, &[shutter]),
        header::ratios(Tag::FNumber, &[(8, 1)]),
        header::short(Tag::PhotographicSensitivity, iso as u16),
        header::ratios(Tag::FocalLength, &[(600, 1)]),
    ];
    std::fs::write(
        path,
        header::with_exif(&jpeg, &header::block(&fields, true)),
    )
    .unwrap();
}

/// Takes out what the air dims across the field, with the drawn dimming.
fn clear_air(catalogue: &Catalogue, inputs: &[MergeInput], merged: &mut Merged) {
    let sky = catalogue
        .shot(&inputs[merged.instant].name)
        .unwrap()
        .predicted
        .unwrap();
    let air = Air {
        sun_alt_deg: sky.sun_alt_refracted_deg,
        zenith_deg: sky.zenith_in_picture_deg(merged.north_deg.unwrap(), false),
        pixel_deg: sky.sun_radius_arcsec / 3600.0 / merged.sun.radius_px,
        dimming: [EXTINCTION_MAG / 1.0857; 3],
    };
    without_air(merged, &air);
}

/// Drawn extinction in magnitudes an air mass.
const EXTINCTION_MAG: f64 = 0.25;

/// What the pipeline hands to the merge.
fn inputs(catalogue: &Catalogue, kind: &Kind) -> Vec<MergeInput> {
    let frames = catalogue.shots.iter().filter_map(|shot| {
        let fit = shot.disc.filter(|d| d.limb == Limb::Moon)?;
        (shot.phase == Phase::Totality).then_some(())?;
        Some(MergeInput {
            name: shot.name().to_owned(),
            exposure: shot.shot.exposure,
            moon: fit.moon?,
            sun: fit.sun?,
            sun_sigma_px: fit.sigma_px,
            moon_sigma_px: fit.moon_sigma_px.unwrap_or(fit.sigma_px),
            north_deg: shot.north_deg,
            mirrored: shot.mirrored.unwrap_or(false),
            flattened: shot.predicted.zip(shot.north_deg).filter(|_| kind.air).map(
                |(sky, north_deg)| Flattened {
                    zenith_deg: sky.zenith_in_picture_deg(north_deg, false),
                    squeeze: sky.vertical_squeeze,
                },
            ),
        })
    });
    frames.collect()
}
