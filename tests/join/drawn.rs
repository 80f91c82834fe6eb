//! Cards of several people along a path, drawn from the ephemeris (held against JPL DE421 elsewhere) by drawings that share nothing with
//! what fits discs, chooses frames or merges coronas.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use contactstrip::contacts::{self, ContactsOptions};
use contactstrip::domain::{Site, SunMoon, Utc};
use contactstrip::ephemeris::EclipseView;
use contactstrip::pipeline::{Settings, Unwatched, sort};
use contactstrip::raster::Frame;
use exif::{Tag, Value};
use rayon::prelude::*;

use crate::support::corona::{Sky, Take, photograph};
use crate::support::header;
use crate::support::sun::Scene;

/// A camera of a drawn card.
#[derive(Clone, Copy)]
pub(crate) struct Camera {
    /// Model; the make is `Test`.
    pub(crate) model: &'static str,
    /// What its files' names begin with.
    pub(crate) files: &'static str,
    pub(crate) radius_px: f64,
    /// Celestial north, anticlockwise from picture up, in degrees: it follows the sky.
    pub(crate) north_deg: f64,
    /// Camera minus true, in seconds.
    pub(crate) error_s: f64,
    /// Partials between first and fourth contact.
    pub(crate) partials: usize,
    /// Marked shutter times of the bracket in the middle of totality, in seconds under 1.
    pub(crate) bracket: &'static [u32],
}

/// Somebody's card.
#[derive(Clone, Copy)]
pub(crate) struct Card {
    pub(crate) name: &'static str,
    /// Date, latitude, longitude, height.
    pub(crate) place: (&'static str, f64, f64, f64),
    pub(crate) cameras: &'static [Camera],
}

/// What a frame was drawn from.
#[derive(Clone, Copy)]
pub(crate) struct Truth {
    pub(crate) sky: SunMoon,
    pub(crate) radius_px: f64,
}

impl Card {
    pub(crate) fn site(&self) -> Site {
        let (_, lat_deg, lon_deg, elev_m) = self.place;
        Site {
            lat_deg,
            lon_deg,
            elev_m,
        }
    }

    pub(crate) fn view(&self) -> EclipseView {
        let date = self.place.0.parse().unwrap();
        contacts::view(&self.site(), date, &ContactsOptions::default()).unwrap()
    }

    /// Draws it into `folder/NAME-card`; truths by the files' names.
    pub(crate) fn draw(&self, folder: &Path) -> BTreeMap<String, Truth> {
        let (view, card) = (self.view(), self.pictures(folder));
        std::fs::create_dir_all(&card).unwrap();
        let mut truths = BTreeMap::new();
        for camera in self.cameras {
            for (n, utc) in partials(&view, camera.partials).into_iter().enumerate() {
                let name = format!("{}_{n:04}.JPG", camera.files);
                let frame = partial(camera, &view.at(utc), n);
                let shutter = (1, 500);
                write(&card.join(&name), &frame, camera, utc, shutter);
                truths.insert(name, truth(&view, utc, camera));
            }
            let bracket = bracket(&view, camera);
            let drawn: Vec<Frame> = bracket
                .par_iter()
                .enumerate()
                .map(|(n, (utc, shutter))| total(camera, &view.at(*utc), *shutter, n))
                .collect();
            for (n, ((utc, shutter), frame)) in bracket.iter().zip(drawn).enumerate() {
                let name = format!("{}_{:04}.JPG", camera.files, 900 + n);
                write(&card.join(&name), &frame, camera, *utc, (1, *shutter));
                truths.insert(name, truth(&view, *utc, camera));
            }
        }
        truths
    }

    pub(crate) fn pictures(&self, folder: &Path) -> PathBuf {
        folder.join(format!("{}-card", self.name))
    }

    /// Sorts it into `folder/NAME`.
    pub(crate) fn sort(&self, folder: &Path) -> PathBuf {
        let out = folder.join(self.name);
        let settings = Settings {
            cards: vec![self.pictures(folder)],
            out: out.clone(),
            site: Some(self.site()),
            date: Some(self.place.0.parse().unwrap()),
            zone: Some("+00:00".parse().unwrap()),
            ..Settings::default()
        };
        sort(&settings, &Unwatched).unwrap();
        out
    }
}

fn truth(view: &EclipseView, utc: Utc, camera: &Camera) -> Truth {
    Truth {
        sky: view.at(utc),
        radius_px: camera.radius_px,
    }
}

/// Evenly from first to fourth contact, but for the minute about second and third.
fn partials(view: &EclipseView, count: usize) -> Vec<Utc> {
    let all = contacts::of_view(view).unwrap();
    let length_s = all.c4.utc.seconds_since(all.c1.utc);
    let at = |n: usize| {
        all.c1
            .utc
            .plus_s(length_s * (n as f64 + 0.5) / count as f64)
    };
    let central = |utc: &Utc| {
        all.c2.zip(all.c3).is_some_and(|(c2, c3)| {
            utc.seconds_since(c2.utc) > -60.0 && utc.seconds_since(c3.utc) < 60.0
        })
    };
    (0..count).map(at).filter(|utc| !central(utc)).collect()
}

/// The instants of a bracket about the middle of totality, and the shutter's fraction of a second; none where it is not total.
fn bracket(view: &EclipseView, camera: &Camera) -> Vec<(Utc, u32)> {
    let all = contacts::of_view(view).unwrap();
    let Some((c2, c3)) = all.c2.zip(all.c3) else {
        return Vec::new();
    };
    let middle = c2.utc.plus_s(0.5 * c3.utc.seconds_since(c2.utc));
    let frames = camera.bracket.iter().enumerate();
    frames
        .map(|(n, part)| (middle.plus_s(1.4 * n as f64), *part))
        .collect()
}

/// Where the Sun stands in frame `n`.
fn wander(n: usize, middle: f64, by: f64) -> f64 {
    middle + by * (1.7 * (n as f64 + 1.0) + middle).sin()
}

fn partial(camera: &Camera, sky: &SunMoon, n: usize) -> Frame {
    let r = camera.radius_px;
    let (right, down) = sky.moon_offset_in_picture(camera.north_deg, false);
    let (x, y) = (wander(n, 1.8 * r, 0.3 * r), wander(n, 1.5 * r, 0.2 * r));
    let scene = Scene {
        width: (3.6 * r) as usize,
        height: (3.0 * r) as usize,
        sun: (x, y, r),
        moon: Some((x + right * r, y + down * r, sky.ratio() * r)),
        seed: 30 + n as u64,
        ..Scene::default()
    };
    scene.frame()
}

fn total(camera: &Camera, sky: &SunMoon, part: u32, n: usize) -> Frame {
    let r = camera.radius_px;
    let size = [(7.2 * r) as usize, (6.4 * r) as usize];
    let shutter_s = 1.0 / f64::from(part);
    let heavens = Sky {
        moon_radius: sky.ratio(),
        ..Sky::default()
    };
    let take = Take {
        size,
        sun: [
            wander(n, 0.5 * size[0] as f64, 0.1 * r),
            wander(n, 0.5 * size[1] as f64, 0.1 * r),
        ],
        radius_px: r,
        north_deg: camera.north_deg,
        moon: [sky.moon_east_arcsec, sky.moon_north_arcsec].map(|v| v / sky.sun_radius_arcsec),
        marked_s: shutter_s,
        true_s: (shutter_s.log2() * 3.0).round().exp2().powf(1.0 / 3.0),
        iso: 100.0,
        cloud: 0.0,
        s_curve: 0.0,
        noise: true,
        seed: 700 + n as u64,
        hot: 0,
        low: None,
    };
    photograph(&heavens, &take)
}

/// Writes a drawn frame as the camera would.
fn write(path: &Path, frame: &Frame, camera: &Camera, utc: Utc, shutter: (u32, u32)) {
    let jpeg = header::encoded(frame, 96);
    let read = utc.plus_s(camera.error_s);
    let civil = jiff::tz::TimeZone::UTC.to_datetime(read.timestamp());
    let hundredths = civil.subsec_nanosecond() / 10_000_000;
    let fields = vec![
        header::text(Tag::Make, "Test"),
        header::text(Tag::Model, camera.model),
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
        header::short(Tag::PhotographicSensitivity, 100),
        header::ratios(Tag::FocalLength, &[(600, 1)]),
    ];
    let block = header::block(&fields, true);
    std::fs::write(path, header::with_exif(&jpeg, &block)).unwrap();
}
