//! Random cards of partial phases with a known clock error, drawn and sorted: how far off the solved clock is, in its own
//! sigmas. Places of Sun and Moon come from the ephemeris (held against JPL DE421 elsewhere), the pictures from drawings
//! that share nothing with the fitter.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use contactstrip::catalogue::Catalogue;
use contactstrip::contacts::{self, ContactsOptions};
use contactstrip::demo::LimbTable;
use contactstrip::domain::{MoonLimb, Site, SunMoon, Utc};
use contactstrip::ephemeris::EclipseView;
use contactstrip::pipeline::{Settings, Unwatched, sort};
use contactstrip::raster::{Frame, Samples, Transfer};
use exif::{Tag, Value};
use jiff::civil::Date;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64Mcg;

use super::header;
use super::mounts::tripod_north_deg;
use super::sun::{Mountains, Scene, Tone, seen_alt_deg};

/// Eclipses and places with the Sun well up: total, annular and partial; the Moon's limb there, made outside the program.
#[rustfmt::skip]
const PLACES: [(&str, f64, f64, f64, &[u8]); 8] = [
    ("2017-08-21", 44.63, -121.13, 700.0, include_bytes!("../../fixtures/limb/2017-oregon.bin")),
    ("2017-08-21", 39.77, -94.85, 250.0, include_bytes!("../../fixtures/limb/2017-missouri.bin")),
    ("2024-04-08", 25.54, -103.41, 1120.0, include_bytes!("../../fixtures/limb/2024-durango.bin")),
    ("2024-04-08", 40.71, -74.01, 10.0, include_bytes!("../../fixtures/limb/2024-new-york.bin")),
    ("2023-10-14", 35.08, -106.65, 1600.0, include_bytes!("../../fixtures/limb/2023-albuquerque.bin")),
    ("2027-08-02", 25.69, 32.64, 90.0, include_bytes!("../../fixtures/limb/2027-luxor.bin")),
    ("2020-06-21", 30.45, 79.20, 900.0, include_bytes!("../../fixtures/limb/2020-uttarakhand.bin")),
    ("1999-08-11", 43.85, 18.36, 520.0, include_bytes!("../../fixtures/limb/1999-bosnia.bin")),
];

/// The Moon's limb from Majorca on 12 August 2026.
const MAJORCA: &[u8] = include_bytes!("../../fixtures/limb/2026-majorca.bin");

/// The Sun is at least this high in every frame, in degrees: lower, it is no circle any more.
const LEAST_ALT_DEG: f64 = 35.0;

/// What came of one card.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Outcome {
    pub(crate) frames: usize,
    /// Solved less true clock error, in seconds.
    pub(crate) off_s: f64,
    pub(crate) sigma_s: f64,
    /// Whether the pictures told, so that the sigma is the solver's own.
    pub(crate) solved: bool,
}

/// How the camera of a card is held.
struct Held {
    tripod: bool,
    mirrored: bool,
    roll_deg: f64,
}

impl Held {
    /// Where north lies with the Sun on a place: tangents right and up of the picture's middle.
    fn north_deg(&self, view: &EclipseView, utc: Utc, place: (f64, f64)) -> f64 {
        if self.tripod {
            tripod_north_deg(view, utc, place, self.roll_deg, self.mirrored)
        } else {
            self.roll_deg
        }
    }
}

/// What is seen of an eclipse from a place.
struct Sight {
    view: EclipseView,
    limb: LimbTable,
}

impl Sight {
    fn of(site: &Site, date: Date, limb: &[u8]) -> Self {
        Self {
            view: contacts::view(site, date, &ContactsOptions::real()).unwrap(),
            limb: LimbTable::parse(limb).unwrap(),
        }
    }

    fn from_place(n: usize) -> Self {
        let (site, date) = place(n);
        Self::of(&site, date, PLACES[n].4)
    }

    /// The Moon's mountains in a picture.
    fn mountains(
        &self,
        sky: &SunMoon,
        (north_deg, mirrored): (f64, bool),
        radius_px: f64,
    ) -> Mountains {
        Mountains {
            limb: self.limb.at(sky.utc),
            px_per_arcsec: radius_px / sky.sun_radius_arcsec,
            north_deg,
            mirrored,
        }
    }
}

/// A place and its eclipse.
fn place(n: usize) -> (Site, Date) {
    let (date, lat_deg, lon_deg, elev_m, _) = PLACES[n];
    let site = Site {
        lat_deg,
        lon_deg,
        elev_m,
    };
    (site, date.parse().unwrap())
}

/// Sorts a drawn card whose cameras were set to UTC.
fn sorted(card: PathBuf, out: PathBuf, site: Site, date: Date) -> Catalogue {
    let settings = Settings {
        cards: vec![card],
        out,
        site: Some(site),
        date: Some(date),
        zone: Some("+00:00".parse().unwrap()),
        ..Settings::default()
    };
    sort(&settings, &Unwatched).unwrap().catalogue.unwrap()
}

/// A card of partial phases to be drawn.
struct Planned {
    place: usize,
    times: Vec<Utc>,
    held: Held,
    error_s: f64,
    subsec: bool,
    scene: Scene,
    /// Strength of the unsharp mask the camera lays on its values.
    sharpening: f64,
    /// By how much at most the blur differs from frame to frame, as a share.
    uneven_blur: f64,
}

/// Draws card number `seed` with a Sun of this radius and sorts it.
pub(crate) fn outcome(seed: u64, radius_px: f64) -> Outcome {
    let mut rng = Pcg64Mcg::seed_from_u64(0xC10C ^ seed.wrapping_mul(0x9E37_79B9));
    let place = rng.random_range(0..PLACES.len());
    let sight = Sight::from_place(place);
    let error_s = rng.random_range(-150.0..150.0);
    let times = std::iter::repeat_with(|| times(&sight.view, &mut rng))
        .find(|times| times.len() >= 3)
        .unwrap();
    let held = Held {
        tripod: rng.random_bool(0.5),
        mirrored: rng.random_bool(0.1),
        roll_deg: rng.random_range(-20.0..20.0),
    };
    let planned = Planned {
        place,
        times,
        held,
        error_s,
        scene: any_scene(radius_px, &mut rng),
        subsec: rng.random_bool(0.5),
        sharpening: 0.0,
        uneven_blur: 0.0,
    };
    planned.outcome(seed, &mut rng)
}

/// The same of 20 partial phases evenly over an eclipse seen from place number `place` (of 8), by a clock that writes hundredths.
pub(crate) fn of_twenty(place: usize, tripod: bool, radius_px: f64) -> Outcome {
    let seed = 2 * place as u64 + u64::from(tripod);
    let mut rng = Pcg64Mcg::seed_from_u64(0x20 + seed);
    let sight = Sight::from_place(place);
    let held = Held {
        tripod,
        mirrored: false,
        roll_deg: rng.random_range(-20.0..20.0),
    };
    let planned = Planned {
        place,
        times: twenty(&sight),
        held,
        error_s: rng.random_range(-150.0..150.0),
        scene: any_scene(radius_px, &mut rng),
        subsec: true,
        sharpening: 0.0,
        uneven_blur: 0.0,
    };
    planned.outcome(seed, &mut rng)
}

/// The same by cameras of other habits: softer or sharper, steeper curves, glare, halo, noise, coarser JPEG, another limb darkening
/// and a blur that changes from frame to frame.
pub(crate) fn of_twenty_otherwise(seed: u64, radius_px: f64) -> Outcome {
    let mut rng = Pcg64Mcg::seed_from_u64(0x0DD ^ seed.wrapping_mul(0x9E37_79B9));
    let place = seed as usize % PLACES.len();
    let sight = Sight::from_place(place);
    let scene = other_scene(radius_px, &mut rng);
    let planned = Planned {
        place,
        times: twenty(&sight),
        held: Held {
            tripod: rng.random_bool(0.5),
            mirrored: false,
            roll_deg: rng.random_range(-20.0..20.0),
        },
        error_s: rng.random_range(-150.0..150.0),
        sharpening: if rng.random_bool(0.5) {
            rng.random_range(0.2..1.2)
        } else {
            0.0
        },
        uneven_blur: 0.15,
        scene,
        subsec: true,
    };
    planned.outcome(seed, &mut rng)
}

fn other_scene(radius_px: f64, rng: &mut Pcg64Mcg) -> Scene {
    let tones = [
        Tone::Plain,
        Tone::Curved(0.3),
        Tone::Shoulder,
        Tone::Curved(0.7),
    ];
    Scene {
        blur: rng.random_range(0.7..3.0),
        level: rng.random_range(0.15..0.8),
        tone: tones[rng.random_range(0..4)],
        glare: rng.random_range(0.0..0.02),
        halo: rng.random_range(0.0..0.004),
        noise: rng.random_range(0.005..0.03),
        jpeg: Some(rng.random_range(80..97)),
        limb: (rng.random_range(0.3..0.65), rng.random_range(0.1..0.3)),
        ..any_scene(radius_px, rng)
    }
}

/// Twenty instants evenly over the partial phases.
fn twenty(sight: &Sight) -> Vec<Utc> {
    let all = contacts::of_view(&sight.view).unwrap();
    let length_s = all.c4.utc.seconds_since(all.c1.utc);
    (0..20)
        .map(|n| all.c1.utc.plus_s(length_s * (f64::from(n) + 0.5) / 20.0))
        .filter(|utc| utc.seconds_since(all.maximum.utc).abs() > 150.0)
        .collect()
}

fn any_scene(radius_px: f64, rng: &mut Pcg64Mcg) -> Scene {
    Scene {
        width: (3.4 * radius_px) as usize,
        height: (2.8 * radius_px) as usize,
        blur: rng.random_range(0.8..1.6),
        level: rng.random_range(0.35..0.7),
        tone: [Tone::Plain, Tone::Curved(0.3), Tone::Shoulder][rng.random_range(0..3)],
        sun: (0.0, 0.0, radius_px),
        ..Scene::default()
    }
}

impl Planned {
    fn uneven(&self, rng: &mut Pcg64Mcg) -> f64 {
        match self.uneven_blur {
            most if most > 0.0 => 1.0 + rng.random_range(-most..most),
            _ => 1.0,
        }
    }

    /// Draws and sorts it.
    fn outcome(&self, seed: u64, rng: &mut Pcg64Mcg) -> Outcome {
        let ((site, date), sight) = (place(self.place), Sight::from_place(self.place));
        let folder = tempfile::tempdir().unwrap();
        let card = folder.path().join("card");
        std::fs::create_dir(&card).unwrap();
        for (n, utc) in self.times.iter().enumerate() {
            let frame = placed(&self.scene, &sight, *utc, &self.held, rng);
            let path = card.join(format!("CLK_{n:04}.JPG"));
            let scene = Scene {
                seed: seed * 1000 + n as u64,
                blur: frame.blur * self.uneven(rng),
                ..frame
            };
            let read = utc.plus_s(self.error_s);
            let frame = sharpened(scene.frame(), self.sharpening);
            write_frame(&path, &frame, read, self.subsec);
        }
        let mut catalogue = sorted(card, folder.path().join("out"), site, date);
        let clock = catalogue.cameras.remove(0).clock;
        Outcome {
            frames: self.times.len(),
            off_s: clock.error_s - self.error_s,
            sigma_s: clock.sigma_s,
            solved: clock.error_s.abs() > 0.0,
        }
    }
}

/// A card whose Sun is not of one size, sorted, with where each frame's Sun was drawn (x, y, radius).
pub(crate) struct Zoomed {
    pub(crate) catalogue: Catalogue,
    pub(crate) suns: BTreeMap<String, (f64, f64, f64)>,
}

/// Draws and sorts `count` frames of the partial phases of a total eclipse, from first to fourth contact, the Sun of frame `n`
/// having the radius `radius_px(n)`, the header saying nothing of it.
pub(crate) fn zoomed(count: usize, radius_px: impl Fn(usize) -> f64) -> Zoomed {
    let ((site, date), sight) = (place(2), Sight::from_place(2));
    let all = contacts::of_view(&sight.view).unwrap();
    let length_s = all.c4.utc.seconds_since(all.c1.utc);
    let folder = tempfile::tempdir().unwrap();
    let card = folder.path().join("card");
    std::fs::create_dir(&card).unwrap();
    let held = Held {
        tripod: true,
        mirrored: false,
        roll_deg: 3.0,
    };
    let mut rng = Pcg64Mcg::seed_from_u64(0x5_11B);
    let mut suns = BTreeMap::new();
    let most_px = (0..count).map(&radius_px).fold(0.0, f64::max);
    let scene = Scene {
        width: (3.4 * most_px) as usize,
        height: (2.8 * most_px) as usize,
        ..Scene::default()
    };
    for n in 0..count {
        let utc = all
            .c1
            .utc
            .plus_s(length_s * (n as f64 + 0.5) / count as f64);
        let covered = all.c2.zip(all.c3).is_some_and(|(c2, c3)| {
            utc.seconds_since(c2.utc) > -20.0 && utc.seconds_since(c3.utc) < 20.0
        });
        if covered {
            continue;
        }
        let sized = Scene {
            sun: (0.0, 0.0, radius_px(n)),
            ..scene.clone()
        };
        let frame = placed(&sized, &sight, utc, &held, &mut rng);
        let name = format!("ZOOM{n:04}.JPG");
        suns.insert(name.clone(), frame.sun);
        let seed = n as u64 + 1;
        write(&card.join(&name), &Scene { seed, ..frame }, utc, false);
    }
    let catalogue = sorted(card, folder.path().join("out"), site, date);
    Zoomed { catalogue, suns }
}

/// A card of a low Sun, sorted, with what was drawn in each frame.
pub(crate) struct LowCard {
    pub(crate) catalogue: Catalogue,
    pub(crate) truths: BTreeMap<String, LowTruth>,
}

/// What a frame of a low Sun shows.
#[derive(Clone, Copy, Debug)]
pub(crate) struct LowTruth {
    /// Altitude as seen, degrees.
    pub(crate) alt_deg: f64,
    /// Sun: x, y, radius.
    pub(crate) sun: (f64, f64, f64),
    /// Moon: x, y, radius.
    pub(crate) moon: (f64, f64, f64),
    /// Whether the corona is drawn.
    pub(crate) total: bool,
}

/// Draws and sorts the eclipse of 12 August 2026 as seen from this place in Spain, down to 2 degrees of altitude: a partial every
/// three minutes and totality every eight seconds, on a level tripod whose clock is right.
pub(crate) fn low_in_spain(lat_deg: f64, lon_deg: f64, radius_px: f64) -> LowCard {
    let site = Site {
        lat_deg,
        lon_deg,
        elev_m: 50.0,
    };
    let date: Date = "2026-08-12".parse().unwrap();
    let sight = Sight::of(&site, date, MAJORCA);
    let all = contacts::of_view_with(&sight.view, MoonLimb::Real).unwrap();
    let (c2, c3) = (all.c2.unwrap().utc, all.c3.unwrap().utc);
    let partials = (0..60).map(|n| all.c1.utc.plus_s(60.0 + 180.0 * f64::from(n)));
    let partials = partials.filter(|utc| {
        utc.seconds_since(c2) < -30.0
            || (utc.seconds_since(c3) > 30.0 && utc.seconds_since(all.c4.utc) < 0.0)
    });
    let length_s = c3.seconds_since(c2);
    let totals = (0..60)
        .map(|n| c2.plus_s(6.0 + 8.0 * f64::from(n)))
        .filter(|utc| utc.seconds_since(c2) < length_s - 6.0);
    let mut times: Vec<(Utc, bool)> = partials
        .map(|t| (t, false))
        .chain(totals.map(|t| (t, true)))
        .collect();
    times.sort_by(|a, b| a.0.seconds_since(b.0).total_cmp(&0.0));
    let folder = tempfile::tempdir().unwrap();
    let card = folder.path().join("card");
    std::fs::create_dir(&card).unwrap();
    let mut rng = Pcg64Mcg::seed_from_u64(0x10);
    let mut truths = BTreeMap::new();
    for (n, (utc, total)) in times.into_iter().enumerate() {
        let sky = sight.view.at(utc);
        let alt_deg = seen_alt_deg(sky.sun_alt_deg);
        if alt_deg < 2.0 {
            continue;
        }
        let north_deg = ZENITH_DEG - sky.parallactic_deg;
        let scene = Scene {
            mountains: Some(sight.mountains(&sky, (north_deg, false), radius_px)),
            ..low_scene(&sky, alt_deg, radius_px, total, &mut rng)
        };
        let name = format!("LOW_{n:04}.JPG");
        let truth = LowTruth {
            alt_deg,
            sun: scene.sun,
            moon: scene.moon.unwrap(),
            total,
        };
        truths.insert(name.clone(), truth);
        let seed = n as u64 + 1;
        write(&card.join(&name), &Scene { seed, ..scene }, utc, false);
    }
    let catalogue = sorted(card, folder.path().join("out"), site, date);
    LowCard { catalogue, truths }
}

/// Where the zenith stands in the pictures of the low Sun, in degrees to the left of up.
const ZENITH_DEG: f64 = 3.0;

/// The discs as the air shows them in a level camera.
fn low_scene(
    sky: &SunMoon,
    alt_deg: f64,
    radius_px: f64,
    total: bool,
    rng: &mut Pcg64Mcg,
) -> Scene {
    let (sin_q, cos_q) = sky.parallactic_deg.to_radians().sin_cos();
    let (east, north) = (sky.moon_east_arcsec, sky.moon_north_arcsec);
    let airless_up_deg = (east * sin_q + north * cos_q) / 3600.0;
    let up_deg = seen_alt_deg(sky.sun_alt_deg + airless_up_deg) - alt_deg;
    // East is to the left where north is up.
    let across_deg = -(east * cos_q - north * sin_q) / 3600.0;
    let per_deg = 3600.0 * radius_px / sky.sun_radius_arcsec;
    let (sin, cos) = ZENITH_DEG.to_radians().sin_cos();
    let (up, across) = (up_deg * per_deg, across_deg * per_deg);
    let mut near = |middle: f64| middle + rng.random_range(-9.0..9.0);
    let (width, height) = ((4.4 * radius_px) as usize, (4.0 * radius_px) as usize);
    let (x, y) = (near(2.2 * radius_px), near(2.0 * radius_px));
    Scene {
        width,
        height,
        sun: (x, y, radius_px),
        moon: Some((
            x - sin * up + cos * across,
            y - cos * up - sin * across,
            sky.ratio() * radius_px,
        )),
        level: if total { 0.0 } else { 0.4 },
        corona: if total { 0.4 } else { 0.0 },
        glare: 0.01,
        low: Some((alt_deg, ZENITH_DEG)),
        ..Scene::default()
    }
}

/// What a frame of an annular card shows.
pub(crate) struct RingTruth {
    pub(crate) name: String,
    pub(crate) utc: Utc,
    pub(crate) sun: (f64, f64, f64),
}

/// Seconds by which the clock of the annular card is fast.
pub(crate) const RING_CLOCK_S: f64 = 47.0;

/// Which place the annular card is taken at.
const ANNULAR: usize = 4;

/// Where and when the annular card is taken.
pub(crate) fn annular_place() -> (Site, Date) {
    place(ANNULAR)
}

/// Draws an annular eclipse into `card`: a partial every five minutes from before first contact to after fourth, and the ring
/// every twenty seconds, on a tripod that is aimed anew.
pub(crate) fn annular(card: &Path) -> Vec<RingTruth> {
    let sight = Sight::from_place(ANNULAR);
    let all = contacts::of_view(&sight.view).unwrap();
    let (c2, c3) = (all.c2.unwrap().utc, all.c3.unwrap().utc);
    let spaced = |from: Utc, to: Utc, step_s: f64| {
        let count = (to.seconds_since(from) / step_s) as usize;
        (0..=count).map(move |n| from.plus_s(step_s * n as f64))
    };
    let mut times: Vec<Utc> = spaced(all.c1.utc.plus_s(-400.0), all.c4.utc.plus_s(400.0), 300.0)
        .filter(|utc| utc.seconds_since(c2) < -60.0 || utc.seconds_since(c3) > 60.0)
        .chain(spaced(c2.plus_s(10.0), c3.plus_s(-10.0), 20.0))
        .collect();
    times.sort_by(|a, b| a.seconds_since(*b).total_cmp(&0.0));
    let held = Held {
        tripod: true,
        mirrored: false,
        roll_deg: -4.0,
    };
    let scene = Scene {
        width: 560,
        height: 420,
        blur: 1.2,
        sun: (0.0, 0.0, 120.0),
        ..Scene::default()
    };
    let mut rng = Pcg64Mcg::seed_from_u64(0xA11);
    std::fs::create_dir_all(card).unwrap();
    let frames = times.into_iter().enumerate().map(|(n, utc)| {
        let frame = placed(&scene, &sight, utc, &held, &mut rng);
        let name = format!("RING{n:04}.JPG");
        let seed = n as u64 + 1;
        let read = utc.plus_s(RING_CLOCK_S);
        let sun = frame.sun;
        write(&card.join(&name), &Scene { seed, ..frame }, read, true);
        RingTruth { name, utc, sun }
    });
    frames.collect()
}

/// Moments of the partial phases with a high Sun, 4 to 24 of them, on one side of maximum or on both.
fn times(view: &EclipseView, rng: &mut Pcg64Mcg) -> Vec<Utc> {
    let all = contacts::of_view(view).unwrap();
    let (from, to) = (all.c1.utc.plus_s(120.0), all.c4.utc.plus_s(-120.0));
    let middle = all.maximum.utc;
    let (from, to) = match rng.random_range(0..4) {
        0 => (from, middle.plus_s(-150.0)),
        1 => (middle.plus_s(150.0), to),
        _ => (from, to),
    };
    let count = rng.random_range(4..25);
    let length_s = to.seconds_since(from);
    (0..count)
        .map(|n| {
            let part = (f64::from(n) + rng.random_range(0.2..0.8)) / f64::from(count);
            from.plus_s(part * length_s)
        })
        .filter(|utc| utc.seconds_since(middle).abs() > 150.0)
        .filter(|utc| view.at(*utc).sun_alt_deg > LEAST_ALT_DEG)
        .collect()
}

/// The discs where the sky has them, the Sun, as large as in the scene, anywhere in the frame.
fn placed(scene: &Scene, sight: &Sight, utc: Utc, held: &Held, rng: &mut Pcg64Mcg) -> Scene {
    let radius_px = scene.sun.2;
    let sky = sight.view.at(utc);
    let jitter_deg = Normal::new(0.0, 0.03).unwrap().sample(rng);
    let anywhere = |side: usize, rng: &mut Pcg64Mcg| {
        let middle = 0.5 * side as f64;
        let room = middle - 1.15 * radius_px;
        middle + rng.random_range(-room..room)
    };
    let (x, y) = (anywhere(scene.width, rng), anywhere(scene.height, rng));
    let px_per_rad = radius_px / (sky.sun_radius_arcsec / 3600.0).to_radians();
    let place = (
        (x - 0.5 * (scene.width as f64 - 1.0)) / px_per_rad,
        (0.5 * (scene.height as f64 - 1.0) - y) / px_per_rad,
    );
    let north_deg = held.north_deg(&sight.view, utc, place) + jitter_deg;
    let (right, down) = sky.moon_offset_in_picture(north_deg, held.mirrored);
    Scene {
        sun: (x, y, radius_px),
        moon: Some((
            x + right * radius_px,
            y + down * radius_px,
            sky.ratio() * radius_px,
        )),
        mountains: Some(sight.mountains(&sky, (north_deg, held.mirrored), radius_px)),
        ..scene.clone()
    }
}

/// A frame under an unsharp mask: what its values exceed those smoothed over five pixels by, added once more so many times.
fn sharpened(frame: Frame, strength: f64) -> Frame {
    let Samples::U8(values) = frame.samples() else {
        panic!("drawn frames have 8 bits");
    };
    if strength == 0.0 {
        return frame;
    }
    let (width, height) = (frame.width(), frame.height());
    let at = |x: i64, y: i64, c: usize| {
        let (x, y) = (x.clamp(0, width as i64 - 1), y.clamp(0, height as i64 - 1));
        f64::from(values[(y as usize * width + x as usize) * 3 + c])
    };
    let sharp = (0..values.len()).map(|n| {
        let (x, y, c) = ((n / 3 % width) as i64, (n / 3 / width) as i64, n % 3);
        let smooth: f64 = (-2..=2)
            .flat_map(|j| (-2..=2).map(move |i| (i, j)))
            .map(|(i, j)| BELL[(i + 2) as usize] * BELL[(j + 2) as usize] * at(x + i, y + j, c))
            .sum();
        let value = f64::from(values[n]);
        (value + strength * (value - smooth))
            .round()
            .clamp(0.0, 255.0) as u8
    });
    let sharp = Samples::U8(sharp.collect());
    Frame::new(width, height, 3, sharp, Transfer::Srgb)
}

/// A Gaussian of one pixel, in pixels.
const BELL: [f64; 5] = [0.0545, 0.2442, 0.4026, 0.2442, 0.0545];

/// Writes a drawn frame as a camera would.
fn write(path: &Path, scene: &Scene, read: Utc, subsec: bool) {
    write_frame(path, &scene.frame(), read, subsec);
}

fn write_frame(path: &Path, frame: &Frame, read: Utc, subsec: bool) {
    let jpeg = header::encoded(frame, 95);
    let civil = jiff::tz::TimeZone::UTC.to_datetime(read.timestamp());
    let clock = civil.strftime("%Y:%m:%d %H:%M:%S").to_string();
    let mut fields = vec![
        header::text(Tag::Make, "Test"),
        header::text(Tag::Model, "Long"),
        header::text(Tag::DateTimeOriginal, &clock),
        header::ratios(Tag::ExposureTime, &[(1, 500)]),
        header::ratios(Tag::FNumber, &[(8, 1)]),
        header::short(Tag::PhotographicSensitivity, 100),
        header::ratios(Tag::FocalLength, &[(600, 1)]),
    ];
    if subsec {
        let hundredths = civil.subsec_nanosecond() / 10_000_000;
        fields.push(header::field(
            Tag::SubSecTimeOriginal,
            Value::Ascii(vec![format!("{hundredths:02}").into_bytes()]),
        ));
    }
    let block = header::block(&fields, true);
    std::fs::write(path, header::with_exif(&jpeg, &block)).unwrap();
}
