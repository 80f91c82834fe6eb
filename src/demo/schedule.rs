//! The photographer's afternoon: which frame when, and where the cameras pointed.

use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

use super::DemoError;
use super::aim::Aim;
use super::exposure::Dials;
use super::scenario::{FILTER_STOPS, Fault, PlannedShot, Scenario, Subject};
use crate::domain::{BurstPlace, Flag, Flags, Orientation, Utc};

/// The long lens is the first body, the wide view the second.
const LONG: usize = 0;
const WIDE: usize = 1;
/// Lean of the tripod: angle of the zenith, anticlockwise from picture up, in degrees.
const LONG_ROLL_DEG: f64 = 1.3;
/// Time from the end of one exposure of a burst to the start of the next, in seconds: some nine frames a second.
const BURST_GAP_S: f64 = 0.11;
/// Frames of a bracket (common practice).
const BRACKET: u32 = 9;

/// All frames of the built-in scenario, in true time order.
pub(super) fn vicuna_2019(scenario: &Scenario) -> Result<Vec<PlannedShot>, DemoError> {
    let mut shots = partials(scenario)?;
    shots.extend(totality(scenario)?);
    shots.extend(landscapes(scenario)?);
    shots.extend(another_day());
    shots.sort_by(|a, b| a.start.cmp(&b.start).then(a.body.cmp(&b.body)));
    Ok(shots)
}

/// A filtered or bare frame of the long lens with nothing special about it.
fn long_shot(start: Utc, dials: Dials, filter_stops: f64, aim: Aim) -> PlannedShot {
    PlannedShot {
        body: LONG,
        start,
        dials,
        filter_stops,
        aim,
        subject: Subject::Sun,
        fault: Fault::None,
        burst: None,
        bias_stops: 0,
        orientation: Orientation::UPRIGHT,
        gps_lag_s: None,
        flags: Flags::default(),
    }
}

/// The long lens's aim that puts the Sun at a pixel (from the centre: right, down) at an instant.
fn aimed(scenario: &Scenario, utc: Utc, right: f64, down: f64) -> Result<Aim, DemoError> {
    scenario.aimed(LONG, utc, LONG_ROLL_DEG, (right, down))
}

/// Seconds between partials (common practice).
const PARTIAL_STEP_S: f64 = 300.0;
/// The first partial, in seconds from first contact.
const FIRST_PARTIAL_S: f64 = -320.0;

/// Filtered frames from before first to after fourth contact, re-aimed before each, with their mishaps.
fn partials(scenario: &Scenario) -> Result<Vec<PlannedShot>, DemoError> {
    let contacts = *scenario.sky.contacts();
    let (c2, c3) = (
        contacts.c2.unwrap_or(contacts.maximum),
        contacts.c3.unwrap_or(contacts.maximum),
    );
    let mut rng = Pcg64::seed_from_u64(scenario.seed ^ 0x9A27);
    let mut times = Vec::new();
    let mut t = contacts.c1.plus_s(FIRST_PARTIAL_S);
    while t < contacts.c4.plus_s(200.0) {
        let jitter = rng.random_range(-9.0..9.0);
        let at = t.plus_s(jitter);
        // The minutes about totality belong to the brackets.
        times.push(if at > c2.plus_s(-60.0) && at < contacts.maximum {
            c2.plus_s(-75.0)
        } else if at >= contacts.maximum && at < c3.plus_s(60.0) {
            c3.plus_s(95.0)
        } else {
            at
        });
        t = t.plus_s(PARTIAL_STEP_S);
    }
    let mut shots = Vec::new();
    for (n, &start) in times.iter().enumerate() {
        shots.extend(partial(scenario, n, start, &mut rng)?);
    }
    Ok(shots)
}

/// The frame or frames about one partial.
fn partial(
    scenario: &Scenario,
    n: usize,
    start: Utc,
    rng: &mut Pcg64,
) -> Result<Vec<PlannedShot>, DemoError> {
    let (half_x, half_y) = half_frame(scenario);
    let re_aimed = start.plus_s(-rng.random_range(8.0..75.0));
    let (mut right, mut down) = (
        half_x * rng.random_range(-0.22..0.30),
        half_y * rng.random_range(-0.28..0.28),
    );
    let mut aim_time = re_aimed;
    // Some Suns are found near the edge, one is cut by it.
    match n {
        4 => (aim_time, right, down) = (start, 0.70 * half_x, -0.45 * half_y),
        7 => (aim_time, right, down) = (start, -0.18 * half_x, 0.80 * half_y),
        22 => (aim_time, right, down) = (start, -0.66 * half_x, 0.52 * half_y),
        _ => {}
    }
    let aim = aimed(scenario, aim_time, right, down)?;
    let mut shot = long_shot(start, filtered_dials(scenario, start)?, FILTER_STOPS, aim);
    match n {
        7 => shot.flags.set(Flag::Cut),
        10 => (shot.fault, shot.flags) = (Fault::Cloud, [Flag::Clouded].into_iter().collect()),
        12 => (shot.fault, shot.flags) = (Fault::Soft, [Flag::Soft].into_iter().collect()),
        _ => {}
    }
    let mut shots = vec![shot.clone()];
    if n == 5 {
        shot.start = start.plus_s(-31.0);
        shot.subject = Subject::Cover;
        shot.flags = [Flag::Capped].into_iter().collect();
        shots.insert(0, shot);
    } else if n == 9 {
        shot.start = start.plus_s(14.0);
        shot.fault = Fault::Truncated;
        shots.push(shot);
    }
    Ok(shots)
}

fn half_frame(scenario: &Scenario) -> (f64, f64) {
    let body = &scenario.bodies[LONG];
    (
        f64::from(body.width_px) / 2.0,
        f64::from(body.height_px) / 2.0,
    )
}

/// Settings that keep the red of the disc's centre below saturation: f/8 and 1/800 s high in the sky, longer low down.
fn filtered_dials(scenario: &Scenario, utc: Utc) -> Result<Dials, DemoError> {
    let sky = scenario.sky.at(utc).ok_or(DemoError::NoSky(utc))?;
    let through = scenario.air.transmission(sky.alt_refracted_deg);
    // The disc's centre is about a fifth brighter than its mean.
    let brightest = (0..3)
        .map(|c| 1.25 * through[c] * scenario.filter_colour[c])
        .fold(0.0, f64::max);
    let dials = Dials {
        shutter_thirds: 0,
        aperture_thirds: Dials::F8,
        iso: 100,
    };
    let slowest = 15;
    Ok(dials.metered(brightest * 2_f64.powf(-FILTER_STOPS), 0.80, slowest))
}

/// One bracket, shortest exposure first; `skip` leaves out a frame (1-based) that the camera dropped.
struct Bracket {
    id: u32,
    start: Utc,
    fastest_thirds: u32,
    aperture_thirds: u32,
    iso: u32,
    aim: Aim,
    skip: Option<u32>,
}

impl Bracket {
    /// The frames, and when the camera is ready again.
    fn frames(&self) -> (Vec<PlannedShot>, Utc) {
        let (mut shots, mut t) = (Vec::new(), self.start);
        for n in 1..=BRACKET {
            let dials = Dials {
                shutter_thirds: self.fastest_thirds - 3 * (n - 1),
                aperture_thirds: self.aperture_thirds,
                iso: self.iso,
            };
            let mut shot = long_shot(t, dials, 0.0, self.aim);
            t = t.plus_s(dials.true_exposure().shutter_s + BURST_GAP_S);
            if self.skip == Some(n) {
                continue;
            }
            let index = shots.len() as u32 + 1;
            shot.burst = Some(BurstPlace { id: self.id, index });
            shot.bias_stops = n as i32 - (BRACKET as i32 + 1) / 2;
            if self.skip.is_some() {
                shot.flags.set(Flag::IncompleteBurst);
            }
            shots.push(shot);
        }
        (shots, t)
    }
}

/// 1/2000 s and 1/500 s in thirds of a stop below 1 s.
const T2000: u32 = 33;
const T500: u32 = 27;

/// Beads and ring at both contacts, brackets for the corona between, and a few singles.
fn totality(scenario: &Scenario) -> Result<Vec<PlannedShot>, DemoError> {
    let contacts = scenario.sky.contacts();
    let (Some(c2), Some(c3)) = (contacts.c2, contacts.c3) else {
        return Ok(Vec::new());
    };
    let aims = [
        aimed(scenario, c2.plus_s(-4.0), -22.0, 17.0)?,
        aimed(scenario, c2.plus_s(34.0), 14.0, -12.0)?,
        aimed(scenario, c2.plus_s(95.0), 6.0, 9.0)?,
        aimed(scenario, c3.plus_s(0.5), -10.0, -21.0)?,
    ];
    let bracket = |id, start, aim: usize| Bracket {
        id,
        start,
        fastest_thirds: T2000,
        aperture_thirds: Dials::F11,
        iso: 100,
        aim: aims[aim],
        skip: None,
    };
    let corona = |id, start, aim, skip| Bracket {
        fastest_thirds: T500,
        aperture_thirds: Dials::F8,
        iso: 200,
        skip,
        ..bracket(id, start, aim)
    };
    let mut shots = Vec::new();
    let mut add = |bracket: Bracket| {
        let (frames, ready) = bracket.frames();
        shots.extend(frames);
        ready
    };
    add(bracket(1, c2.plus_s(-9.2), 0));
    let ready = add(bracket(2, c2.plus_s(-2.3), 0));
    add(bracket(3, ready, 0));
    add(corona(4, c2.plus_s(17.0), 1, None));
    add(corona(5, c2.plus_s(51.0), 1, Some(6)));
    add(corona(6, c2.plus_s(94.0), 2, None));
    let ready = add(bracket(7, c3.plus_s(-0.9), 3));
    add(bracket(8, ready, 3));
    shots.extend(singles(scenario, c2, aims[0], aims[2])?);
    Ok(shots)
}

/// A frame with the filter put back by habit, and a single long exposure for the earthshine.
fn singles(
    scenario: &Scenario,
    c2: Utc,
    early: Aim,
    late: Aim,
) -> Result<Vec<PlannedShot>, DemoError> {
    let habit = c2.plus_s(8.6);
    let before = filtered_dials(scenario, c2.plus_s(-120.0))?;
    let mut filtered = long_shot(habit, before, FILTER_STOPS, early);
    filtered.flags.set(Flag::FilterOn);
    let earthshine = Dials {
        shutter_thirds: 3,
        aperture_thirds: Dials::F8,
        iso: 400,
    };
    let lit = long_shot(c2.plus_s(78.0), earthshine, 0.0, late);
    Ok(vec![filtered, lit])
}

/// Where the wide camera stood all afternoon.
const WIDE_AIM: Aim = Aim {
    alt_deg: 11.5,
    az_deg: 305.0,
    roll_deg: -0.4,
};

/// A frame of the wide camera: seconds from C2, orientation, lag of its position fix.
const WIDE_SHOTS: [(f64, u32, Option<f64>); 13] = [
    (-5520.0, 6, Some(2.0)),
    (-4140.0, 1, None),
    (-2700.0, 1, None),
    (-1500.0, 1, None),
    (-620.0, 1, Some(1.0)),
    (-150.0, 1, None),
    (-33.0, 1, None),
    (31.0, 1, None),
    (70.0, 1, None),
    (113.0, 1, None),
    (192.0, 1, None),
    (1630.0, 8, Some(4.0)),
    (3270.0, 1, None),
];

/// The wide camera's afternoon.
fn landscapes(scenario: &Scenario) -> Result<Vec<PlannedShot>, DemoError> {
    let contacts = scenario.sky.contacts();
    let zero = contacts.c2.unwrap_or(contacts.maximum);
    let plan = |&(offset_s, orientation, gps_lag_s): &(f64, u32, Option<f64>)| {
        let start = zero.plus_s(offset_s);
        let aim = match orientation {
            1 => WIDE_AIM,
            _ => Aim {
                alt_deg: 20.0,
                roll_deg: 2.1,
                ..WIDE_AIM
            },
        };
        Ok(PlannedShot {
            body: WIDE,
            dials: landscape_dials(scenario, start)?,
            orientation: Orientation::from_exif(orientation).unwrap_or(Orientation::UPRIGHT),
            gps_lag_s,
            ..long_shot(
                start,
                Dials {
                    shutter_thirds: 0,
                    aperture_thirds: 0,
                    iso: 100,
                },
                0.0,
                aim,
            )
        })
    };
    WIDE_SHOTS
        .iter()
        .map(plan)
        .map(|shot| {
            shot.map(|s| PlannedShot {
                subject: Subject::Landscape,
                ..s
            })
        })
        .collect()
}

/// Aperture priority, as the light goes: f/8, then f/4, then ISO 800.
fn landscape_dials(scenario: &Scenario, utc: Utc) -> Result<Dials, DemoError> {
    let sky = scenario.sky.at(utc).ok_or(DemoError::NoSky(utc))?;
    let light = 3e-6
        * (1.0 - sky.obscuration())
        * scenario.air.transmission(sky.alt_refracted_deg)[1].sqrt()
        + 5.0e-9;
    let (bright, level) = ((Dials::F8, 100), 0.30);
    for (aperture_thirds, iso, slowest) in [(bright.0, bright.1, 21), (0, 100, 18), (0, 800, 3)] {
        let dials = Dials {
            shutter_thirds: 0,
            aperture_thirds,
            iso,
        }
        .metered(light, level, slowest);
        if dials.shutter_thirds > slowest || iso == 800 {
            return Ok(dials);
        }
    }
    Ok(Dials {
        shutter_thirds: 3,
        aperture_thirds: 0,
        iso: 800,
    })
}

/// Three ordinary pictures of three days earlier.
fn another_day() -> Vec<PlannedShot> {
    let first: jiff::Timestamp = "2019-06-29T15:02:40Z".parse().expect("a fixed, valid time");
    let dials = Dials {
        shutter_thirds: 24,
        aperture_thirds: Dials::F8,
        iso: 100,
    };
    (0..3_u32)
        .map(|n| {
            let aim = Aim {
                alt_deg: 4.0,
                az_deg: 130.0 + 55.0 * f64::from(n),
                roll_deg: 0.3,
            };
            let start = Utc::new(first).plus_s(f64::from(n) * 437.0);
            PlannedShot {
                body: WIDE,
                subject: Subject::Ordinary(n),
                ..long_shot(start, dials, 0.0, aim)
            }
        })
        .collect()
}
