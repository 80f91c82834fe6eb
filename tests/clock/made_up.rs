//! Cards without pixels: frames whose discs are made up where the sky has them, with the errors fits have, to ask the clock
//! room about hundreds of cards. Places of Sun and Moon come from the ephemeris (held against JPL DE421 elsewhere); nothing
//! of the clock room takes part in making them.

use contactstrip::clock::{ClockBody, ClockFrame, ClockSolution, hear, settle};
use contactstrip::contacts::{self, ContactsOptions};
use contactstrip::domain::{
    CameraId, CameraStamp, CameraTime, CardFile, Circle, ClockCorrection, Contacts, DiscFit,
    Exposure, FileFormat, FrameLook, Limb, Orientation, Phase, Shot, Site, Utc, ZoneSource,
};
use contactstrip::ephemeris::EclipseView;
use contactstrip::phase::{self, PhaseWindows};
use jiff::tz::TimeZone;
use rand::{Rng, RngExt};
use rand_distr::{Distribution, Normal};

/// Total eclipses and places with the Sun well up, and the zone of each in seconds.
const PLACES: [(&str, f64, f64, f64, i32); 5] = [
    ("2017-08-21", 44.63, -121.13, 700.0, -25_200),
    ("2024-04-08", 40.549, -84.437, 265.0, -14_400),
    ("2024-04-08", 25.54, -103.41, 1120.0, -21_600),
    ("2027-08-02", 25.69, 32.64, 90.0, 10_800),
    ("1999-08-11", 48.14, 11.58, 520.0, 7_200),
];

/// Radius of the Sun in the made-up pictures, in pixels.
const RADIUS_PX: f64 = 110.0;

/// What a made-up frame shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    Full,
    Crescent,
    Ring,
    Corona,
    Nothing,
}

/// A place, its eclipse and its zone.
pub(crate) struct Stage {
    pub(crate) contacts: Contacts,
    pub(crate) view: EclipseView,
    pub(crate) zone_s: i32,
}

impl Stage {
    pub(crate) fn new(n: usize) -> Self {
        let (date, lat_deg, lon_deg, elev_m, zone_s) = PLACES[n % PLACES.len()];
        let site = Site {
            lat_deg,
            lon_deg,
            elev_m,
        };
        Self::at(date, site, zone_s)
    }

    pub(crate) fn at(date: &str, site: Site, zone_s: i32) -> Self {
        let view =
            contacts::view(&site, date.parse().unwrap(), &ContactsOptions::default()).unwrap();
        Self {
            contacts: contacts::of_view(&view).unwrap(),
            view,
            zone_s,
        }
    }

    pub(crate) fn c2(&self) -> Utc {
        self.contacts.c2.unwrap().utc
    }

    pub(crate) fn c3(&self) -> Utc {
        self.contacts.c3.unwrap().utc
    }
}

/// One made-up exposure.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Taken {
    pub(crate) utc: Utc,
    pub(crate) kind: Kind,
}

/// How a body's stamps and pictures come about.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Habit {
    /// Stamp read as UTC, minus UTC, in seconds: zone and error.
    pub(crate) tau_s: f64,
    pub(crate) subsec: bool,
    /// Share of frames with the Moon's limb whose glare was not measured.
    pub(crate) blind: f64,
    pub(crate) roll_deg: f64,
}

impl Habit {
    pub(crate) fn of(tau_s: f64) -> Self {
        Self {
            tau_s,
            subsec: true,
            blind: 0.0,
            roll_deg: 7.0,
        }
    }
}

/// A person's usual evening: partials every five minutes, beads, ring and corona.
pub(crate) fn schedule(stage: &Stage) -> Vec<Taken> {
    let (c1, c4) = (stage.contacts.c1.utc, stage.contacts.c4.utc);
    let (c2, c3) = (stage.c2(), stage.c3());
    let mut all = Vec::new();
    let mut add = |utc: Utc, kind: Kind| all.push(Taken { utc, kind });
    for n in 0..=45 {
        let utc = c1.plus_s(300.0 * f64::from(n) - 1_200.0);
        let to_c1 = utc.seconds_since(c1);
        let past_c4 = utc.seconds_since(c4);
        if past_c4 > 1_500.0 {
            continue;
        }
        if to_c1 < 0.0 || past_c4 > 0.0 {
            add(utc, Kind::Full);
        } else if to_c1 > 150.0
            && past_c4 < -150.0
            && (utc.seconds_since(c2) < -45.0 || utc.seconds_since(c3) > 45.0)
        {
            add(utc, Kind::Crescent);
        }
    }
    for after_s in [-20.0, -9.0, -2.0] {
        add(c2.plus_s(after_s), Kind::Ring);
        add(c3.plus_s(-after_s), Kind::Ring);
    }
    let length_s = c3.seconds_since(c2);
    for part in [0.06, 0.2, 0.4, 0.5, 0.6, 0.8, 0.94] {
        add(c2.plus_s(part * length_s), Kind::Corona);
    }
    all.sort_by_key(|taken| taken.utc);
    all
}

/// The stamp of an instant.
fn stamp(utc: Utc, habit: &Habit) -> CameraStamp {
    let read = utc.plus_s(habit.tau_s);
    let civil = TimeZone::UTC.to_datetime(read.timestamp());
    let civil = if habit.subsec {
        civil
    } else {
        civil.with().subsec_nanosecond(0).build().unwrap()
    };
    CameraStamp {
        time: CameraTime::new(civil),
        has_subsec: habit.subsec,
        offset_s: None,
        of_change: false,
    }
}

/// A frame as the disc room would report it.
pub(crate) fn frame(stage: &Stage, taken: &Taken, habit: &Habit, rng: &mut impl Rng) -> ClockFrame {
    let fit = fit(stage, taken, habit, rng);
    let moons = matches!(taken.kind, Kind::Ring | Kind::Corona);
    let glare = match taken.kind {
        Kind::Ring => rng.random_range(0.4..1.2),
        _ => rng.random_range(0.0..0.1),
    };
    let seen = moons && !rng.random_bool(habit.blind);
    ClockFrame {
        file: format!("MADE_{}.JPG", taken.utc),
        stamp: Some(stamp(taken.utc, habit)),
        shutter_s: 0.002,
        exposure_stops: None,
        scene_stops: None,
        gps_utc: None,
        orientation: Orientation::UPRIGHT,
        scale_group: 0,
        size_px: None,
        fit,
        levelled: None,
        squeeze: None,
        look: Some(FrameLook {
            mean: 0.02,
            sky: 0.001,
            peak: 0.9,
            limb_glare: seen.then_some(glare),
            ..FrameLook::default()
        }),
    }
}

fn fit(stage: &Stage, taken: &Taken, habit: &Habit, rng: &mut impl Rng) -> Option<DiscFit> {
    let sky = stage.view.at(taken.utc);
    let zenith_deg = sky.zenith_in_picture_deg(0.0, false);
    let (right, down) = sky.moon_offset_in_picture(habit.roll_deg - zenith_deg, false);
    let (sun_sigma, moon_sigma) = (rng.random_range(0.08..0.3), rng.random_range(0.15..0.5));
    let off = |sigma: f64, rng: &mut _| Normal::new(0.0, sigma).unwrap().sample(rng);
    let sun = Circle {
        x_px: 400.0 + off(sun_sigma, rng),
        y_px: 300.0 + off(sun_sigma, rng),
        radius_px: RADIUS_PX + off(0.1, rng),
    };
    let moon = Circle {
        x_px: 400.0 + right * RADIUS_PX + off(moon_sigma, rng),
        y_px: 300.0 + down * RADIUS_PX + off(moon_sigma, rng),
        radius_px: sky.ratio() * RADIUS_PX + off(0.1, rng),
    };
    let plain = DiscFit {
        limb: Limb::Sun,
        sun: Some(sun),
        moon: Some(moon),
        sigma_px: sun_sigma,
        moon_sigma_px: Some(moon_sigma),
        limb_arc_deg: 200.0,
        residual_px: 0.2,
        blur_px: Some(1.1),
    };
    let of_moon = |arc_deg: f64| DiscFit {
        limb: Limb::Moon,
        sun: None,
        limb_arc_deg: arc_deg,
        ..plain
    };
    match taken.kind {
        Kind::Crescent => Some(plain),
        Kind::Full => Some(DiscFit {
            moon: None,
            moon_sigma_px: None,
            limb_arc_deg: 360.0,
            ..plain
        }),
        Kind::Corona => Some(of_moon(360.0)),
        Kind::Ring => Some(of_moon(300.0)),
        Kind::Nothing => None,
    }
}

/// What a camera is believed to be set to before looking.
pub(crate) fn word(zone_s: i32) -> ClockCorrection {
    ClockCorrection::trusting(zone_s, ZoneSource::Place, 90.0)
}

/// Solves some bodies of one card: their frames, whether headers name them, and the zone their stamps are read in.
pub(crate) fn solved(stage: &Stage, bodies: &[(&[ClockFrame], bool, i32)]) -> Vec<ClockSolution> {
    let heard: Vec<_> = bodies
        .iter()
        .enumerate()
        .map(|(n, (frames, named, zone_s))| {
            let body = ClockBody {
                name: named.then(|| format!("Body {n}")),
                frames,
                prior: &word(*zone_s),
                mirrored: None,
            };
            hear(&body, &stage.contacts, &|utc| stage.view.at(utc))
        })
        .collect();
    settle(&heard)
}

/// What came of one body: solved less true error, one sigma, and mistakes of phases.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Outcome {
    pub(crate) off_s: f64,
    pub(crate) sigma_s: f64,
    /// Phases other than true with no contact named in doubt, of frames farther from a contact than 3 sigmas.
    pub(crate) silent: usize,
    /// Phases other than true with no contact named in doubt.
    pub(crate) unsaid: usize,
    /// Frames with a contact named in doubt.
    pub(crate) doubted: usize,
}

/// The outcome of a body's frames under a solution.
pub(crate) fn outcome(
    stage: &Stage,
    taken: &[Taken],
    habit: &Habit,
    solution: &ClockSolution,
) -> Outcome {
    let clock = &solution.clock;
    let tau_s = f64::from(clock.zone_offset_s) + clock.error_s;
    let shots: Vec<Shot> = taken.iter().map(|t| shot(stamp(t.utc, habit))).collect();
    let clocks = [(Some(CameraId::default()), clock.clone())].into();
    let tagged = phase::tag(&shots, &clocks, &stage.contacts, &PhaseWindows::default());
    let mut out = Outcome {
        off_s: tau_s - habit.tau_s,
        sigma_s: clock.sigma_s,
        silent: 0,
        unsaid: 0,
        doubted: 0,
    };
    for ((n, taken), tagged) in taken.iter().enumerate().zip(&tagged) {
        if solution.contradicted.contains(&n) {
            continue;
        }
        let right = phase::at(taken.utc, &stage.contacts, &PhaseWindows::default());
        let wrong = tagged.phase != right && tagged.phase != Phase::Unrelated;
        let away_s = stage
            .contacts
            .events()
            .map(|event| taken.utc.seconds_since(event.utc).abs())
            .fold(f64::INFINITY, f64::min);
        let unsaid = wrong && tagged.near_contact.is_none();
        out.unsaid += usize::from(unsaid);
        out.silent += usize::from(unsaid && away_s > 3.0 * clock.sigma_s);
        out.doubted += usize::from(tagged.near_contact.is_some());
    }
    out
}

fn shot(stamp: CameraStamp) -> Shot {
    Shot {
        file: CardFile {
            name: String::new(),
            path: "made-up.jpg".into(),
            format: FileFormat::Jpeg,
            size_bytes: 0,
            modified: None,
        },
        camera: Some(CameraId::default()),
        stamp: Some(stamp),
        gps: None,
        exposure: Exposure::default(),
        orientation: Orientation::UPRIGHT,
        width_px: None,
        height_px: None,
    }
}
