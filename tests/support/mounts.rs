//! Cards of made-up disc fits on cameras held in every way, with known north: no pixel is drawn, so that hundreds of cards are solved
//! in seconds. Sun and Moon come from the ephemeris (held against JPL DE421 elsewhere); where they fall in the frame comes
//! from a camera of three unit vectors on the ground and a central projection, point by point, which shares nothing with the solver's
//! closed formulas.

use contactstrip::clock::{self, ClockBody, ClockFrame};
use contactstrip::contacts;
use contactstrip::domain::{
    CameraStamp, CameraTime, Circle, ClockCorrection, DiscFit, Limb, Orientation, Site, Utc,
    ZoneSource,
};
use contactstrip::ephemeris::{Air, EclipseView};
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, Normal};
use rand_pcg::Pcg64Mcg;

type V3 = [f64; 3];

fn dot(a: V3, b: V3) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

fn sum(a: V3, ka: f64, b: V3, kb: f64) -> V3 {
    std::array::from_fn(|i| ka * a[i] + kb * b[i])
}

fn unit(a: V3) -> V3 {
    let length = dot(a, a).sqrt();
    a.map(|x| x / length)
}

fn cross(a: V3, b: V3) -> V3 {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}

/// How a camera is held.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Mount {
    /// A pan and tilt head on legs whose column leans by this, in degrees: aimed anew when the Sun nears the edge.
    Tripod { lean_deg: f64 },
    /// The same, aimed anew before each burst.
    Restless { lean_deg: f64 },
    /// A ball head: another roll at each aim, by this one sigma in degrees.
    Ball { spread_deg: f64 },
    /// An equatorial mount whose axis misses the pole by this, in degrees.
    Tracker { off_deg: f64 },
    /// A hand: another roll, by this one sigma in degrees, and another aim in each frame.
    Hand { spread_deg: f64 },
}

/// A card to be made up.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Plan {
    /// Eclipse and place: date, latitude, longitude, elevation.
    pub(crate) place: (&'static str, f64, f64, f64),
    pub(crate) mount: Mount,
    pub(crate) mirrored: bool,
    /// Seconds between bursts of partials.
    pub(crate) every_s: f64,
    /// Frames of a burst.
    pub(crate) burst: usize,
    /// How much larger the errors of the centres are than stated.
    pub(crate) worse: f64,
    /// Whether the stamps have parts of seconds.
    pub(crate) subsec: bool,
    /// Part of the partial phases that is on the card, from first contact on: 1 for all.
    pub(crate) part: f64,
    pub(crate) seed: u64,
}

/// Sun at 41 degrees at maximum.
pub(crate) const OREGON: (&str, f64, f64, f64) = ("2017-08-21", 44.63, -121.13, 700.0);
/// 67 degrees.
pub(crate) const TEXAS: (&str, f64, f64, f64) = ("2024-04-08", 30.05, -99.14, 500.0);
/// 72 degrees, in the northern sky.
pub(crate) const ARGENTINA: (&str, f64, f64, f64) = ("2020-12-14", -40.58, -67.76, 250.0);
/// 82 degrees.
pub(crate) const LUXOR: (&str, f64, f64, f64) = ("2027-08-02", 25.69, 32.64, 90.0);

impl Default for Plan {
    fn default() -> Self {
        Self {
            place: OREGON,
            mount: Mount::Tripod { lean_deg: 0.0 },
            mirrored: false,
            every_s: 240.0,
            burst: 3,
            worse: 1.0,
            subsec: true,
            part: 1.0,
            seed: 1,
        }
    }
}

/// What came of it.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Outcome {
    /// Frames whose north is known.
    pub(crate) norths: usize,
    pub(crate) frames: usize,
    /// Root mean square error of north in degrees: all frames, and those of totality.
    pub(crate) north_rms_deg: f64,
    pub(crate) totality_rms_deg: f64,
    /// Share of frames whose north is within three of its sigmas.
    pub(crate) honest: f64,
    /// Middle of the stated sigmas in degrees.
    pub(crate) sigma_deg: f64,
    /// Frames called what they are not.
    pub(crate) mirror_wrong: usize,
    /// Solved less true clock error, in seconds.
    pub(crate) off_s: f64,
    pub(crate) sigma_s: f64,
    pub(crate) solved: bool,
}

/// Pixels per radian and size of the frame: a Sun of some 150 px in radius.
const PX_PER_RAD: f64 = 32_400.0;
const SIZE_PX: (u32, u32) = (2400, 1600);

/// The Sun's centre is kept this far from the edge, in pixels.
const MARGIN_PX: f64 = 195.0;

/// Seconds by which the clock is fast.
const CLOCK_S: f64 = 37.4;

/// One sigma in pixels of the centres as stated: Sun, Moon before it, Moon before the corona.
const SIGMA_PX: [f64; 3] = [0.03, 0.15, 0.1];

struct Camera {
    /// Unit vectors on the ground (east, north, up): picture right, picture up, ahead.
    right: V3,
    up: V3,
    ahead: V3,
}

struct World {
    view: EclipseView,
    pole: V3,
}

impl World {
    /// Airless direction of a point some solar radii east and north of the Sun.
    fn airless(&self, utc: Utc, east: f64, north: f64) -> V3 {
        let sky = self.view.at(utc);
        let sun = direction(sky.sun_alt_deg, sky.sun_az_deg);
        let radius = (sky.sun_radius_arcsec / 3600.0).to_radians();
        let to_north = unit(sum(self.pole, 1.0, sun, -dot(self.pole, sun)));
        let to_east = cross(to_north, sun);
        let away = sum(to_east, east, to_north, north);
        unit(sum(sun, 1.0, away, radius))
    }

    /// The same as the air shows it.
    fn seen(&self, utc: Utc, east: f64, north: f64) -> V3 {
        let d = self.airless(utc, east, north);
        let alt_deg = d[2].asin().to_degrees();
        let az_deg = d[0].atan2(d[1]).to_degrees();
        direction(Air::STANDARD.lifted_deg(alt_deg), az_deg)
    }

    /// Moon from Sun in solar radii, east and north.
    fn moon(&self, utc: Utc) -> (f64, f64) {
        let sky = self.view.at(utc);
        (
            sky.moon_east_arcsec / sky.sun_radius_arcsec,
            sky.moon_north_arcsec / sky.sun_radius_arcsec,
        )
    }
}

fn direction(alt_deg: f64, az_deg: f64) -> V3 {
    let (sin_h, cos_h) = alt_deg.to_radians().sin_cos();
    let (sin_a, cos_a) = az_deg.to_radians().sin_cos();
    [cos_h * sin_a, cos_h * cos_a, sin_h]
}

impl Camera {
    /// Looks along `ahead` with the direction to `axis` turned by `roll` anticlockwise from picture up.
    fn aimed(ahead: V3, axis: V3, roll: f64) -> Self {
        let towards = unit(sum(axis, 1.0, ahead, -dot(axis, ahead)));
        let beside = cross(ahead, towards);
        let (sin, cos) = roll.sin_cos();
        Self {
            right: sum(beside, cos, towards, -sin),
            up: sum(beside, sin, towards, cos),
            ahead,
        }
    }

    /// Looks so that `sun` falls on a place (right and up, as tangents).
    fn with(sun: V3, place: (f64, f64), axis: V3, roll: f64) -> Self {
        let mut camera = Self::aimed(sun, axis, roll);
        for _ in 0..60 {
            let (x, y) = camera.tangents(sun);
            let off = sum(camera.right, x - place.0, camera.up, y - place.1);
            camera = Self::aimed(unit(sum(camera.ahead, 1.0, off, 0.7)), axis, roll);
        }
        camera
    }

    fn tangents(&self, d: V3) -> (f64, f64) {
        let depth = dot(d, self.ahead);
        (dot(d, self.right) / depth, dot(d, self.up) / depth)
    }

    fn turned(&self, about: V3, angle: f64) -> Self {
        let turn = |v: V3| {
            let (sin, cos) = angle.sin_cos();
            let along = dot(about, v) * (1.0 - cos);
            sum(sum(v, cos, cross(about, v), sin), 1.0, about, along)
        };
        Self {
            right: turn(self.right),
            up: turn(self.up),
            ahead: turn(self.ahead),
        }
    }
}

/// Angle of celestial north, anticlockwise from picture up, in degrees, where a tripod's camera of this roll sees the Sun on a place:
/// tangents right and up of the picture's middle, as the picture shows them. The roll is that of the vertical at the middle, before
/// a mirror.
pub(crate) fn tripod_north_deg(
    view: &EclipseView,
    utc: Utc,
    place: (f64, f64),
    roll_deg: f64,
    mirrored: bool,
) -> f64 {
    let (sin, cos) = view.site().lat_deg.to_radians().sin_cos();
    let world = World {
        view: *view,
        pole: [0.0, cos, sin],
    };
    let hand = if mirrored { -1.0 } else { 1.0 };
    let sun = world.seen(utc, 0.0, 0.0);
    let place = (hand * place.0, place.1);
    let camera = Camera::with(sun, place, [0.0, 0.0, 1.0], roll_deg.to_radians());
    north_deg(&world, &camera, utc, mirrored)
}

fn north_deg(world: &World, camera: &Camera, utc: Utc, mirrored: bool) -> f64 {
    let at = |north: f64| pixel(camera.tangents(world.seen(utc, 0.0, north)), mirrored);
    let (sun, above) = (at(0.0), at(0.05));
    (sun.0 - above.0).atan2(sun.1 - above.1).to_degrees()
}

/// Pixel of the upright picture.
fn pixel((x, y): (f64, f64), mirrored: bool) -> (f64, f64) {
    let hand = if mirrored { -1.0 } else { 1.0 };
    (
        0.5 * (f64::from(SIZE_PX.0) - 1.0) + hand * PX_PER_RAD * x,
        0.5 * (f64::from(SIZE_PX.1) - 1.0) - PX_PER_RAD * y,
    )
}

/// Times of the card: bursts of partials, and totality without a pause.
fn times(view: &EclipseView, plan: &Plan) -> Vec<Utc> {
    let all = contacts::of_view(view).unwrap();
    let (c2, c3) = (all.c2.unwrap().utc, all.c3.unwrap().utc);
    let length_s = all.c4.utc.seconds_since(all.c1.utc);
    let count = (plan.part * (length_s + 600.0) / plan.every_s) as usize;
    let mut times = Vec::new();
    for n in 0..count {
        let start = all.c1.utc.plus_s(-300.0 + n as f64 * plan.every_s + 7.0);
        times.extend((0..plan.burst).map(|k| start.plus_s(3.7 * k as f64)));
    }
    times.retain(|utc| utc.seconds_since(c2) < -25.0 || utc.seconds_since(c3) > 25.0);
    if plan.part > 0.5 {
        let covered_s = c3.seconds_since(c2);
        times.extend((0..30).map(|n| c2.plus_s((f64::from(n) + 0.5) * covered_s / 30.0)));
    }
    times.sort_by(|a, b| a.seconds_since(*b).total_cmp(&0.0));
    times
}

/// How the camera stands, frame by frame.
struct Holder<'a> {
    plan: &'a Plan,
    world: &'a World,
    axis: V3,
    roll: f64,
    rng: Pcg64Mcg,
    camera: Option<(Utc, Camera)>,
}

impl Holder<'_> {
    fn normal(&mut self, sigma: f64) -> f64 {
        Normal::new(0.0, sigma).unwrap().sample(&mut self.rng)
    }

    fn camera(&mut self, utc: Utc) -> &Camera {
        let sun = self.world.seen(utc, 0.0, 0.0);
        let moved = match (self.plan.mount, self.camera.take()) {
            (Mount::Hand { .. }, _) | (_, None) => None,
            (Mount::Restless { .. }, Some((last, _))) if utc.seconds_since(last) > 30.0 => None,
            (Mount::Tracker { .. }, Some((last, camera))) => {
                // The sky turns westward about the pole.
                let angle = -2.0 * std::f64::consts::PI / 86_400.0 * utc.seconds_since(last);
                Some(camera.turned(self.axis, angle))
            }
            (_, Some((_, camera))) => Some(camera),
        };
        let kept = moved.filter(|camera| {
            let (x, y) = camera.tangents(sun);
            let (half_x, half_y) = (f64::from(SIZE_PX.0) / 2.0, f64::from(SIZE_PX.1) / 2.0);
            dot(camera.ahead, sun) > 0.9
                && (PX_PER_RAD * x).abs() < half_x - MARGIN_PX
                && (PX_PER_RAD * y).abs() < half_y - MARGIN_PX
        });
        let camera = match kept {
            Some(camera) => camera,
            None => self.anew(sun),
        };
        &self.camera.insert((utc, camera)).1
    }

    fn anew(&mut self, sun: V3) -> Camera {
        let solar = (0.2655_f64).to_radians();
        let place = (
            solar * self.rng.random_range(-3.5..3.5),
            solar * self.rng.random_range(-2.0..2.0),
        );
        let more = match self.plan.mount {
            Mount::Ball { spread_deg } | Mount::Hand { spread_deg } => self.normal(spread_deg),
            _ => 0.0,
        };
        Camera::with(sun, place, self.axis, self.roll + more.to_radians())
    }
}

fn axis_of(mount: Mount, pole: V3, rng: &mut Pcg64Mcg) -> V3 {
    let around = rng.random_range(0.0..std::f64::consts::TAU);
    let (along, lean_deg) = match mount {
        Mount::Tripod { lean_deg } | Mount::Restless { lean_deg } => ([0.0, 0.0, 1.0], lean_deg),
        Mount::Tracker { off_deg } => (pole, off_deg),
        Mount::Ball { .. } | Mount::Hand { .. } => ([0.0, 0.0, 1.0], 0.0),
    };
    let aside = cross(along, [1.0, 0.0, 0.0]);
    let aside = unit(aside);
    let other = cross(along, aside);
    let (sin, cos) = around.sin_cos();
    let away = sum(aside, cos, other, sin);
    unit(sum(along, 1.0, away, lean_deg.to_radians().tan()))
}

/// A made-up frame and what is true of it.
struct Made {
    frame: ClockFrame,
    north_deg: f64,
    covered: bool,
}

/// Makes up a card and solves it.
pub(crate) fn outcome(plan: &Plan) -> Outcome {
    let (date, lat_deg, lon_deg, elev_m) = plan.place;
    let site = Site {
        lat_deg,
        lon_deg,
        elev_m,
    };
    let date = date.parse().unwrap();
    let view = contacts::view(&site, date, &contacts::ContactsOptions::default()).unwrap();
    let all = contacts::of_view(&view).unwrap();
    let (sin, cos) = lat_deg.to_radians().sin_cos();
    let world = World {
        view,
        pole: [0.0, cos, sin],
    };
    let mut rng = Pcg64Mcg::seed_from_u64(plan.seed.wrapping_mul(0x9E37_79B9) ^ 0x6E0);
    let axis = axis_of(plan.mount, world.pole, &mut rng);
    let mut holder = Holder {
        plan,
        world: &world,
        axis,
        roll: rng.random_range(-0.35..0.35),
        rng,
        camera: None,
    };
    let made: Vec<Made> = times(&view, plan)
        .into_iter()
        .enumerate()
        .map(|(n, utc)| made(n, utc, &mut holder))
        .collect();
    let frames: Vec<ClockFrame> = made.iter().map(|m| m.frame.clone()).collect();
    let prior = ClockCorrection::trusting(0, ZoneSource::Given, 30.0);
    let body = ClockBody {
        name: Some("Test".to_owned()),
        frames: &frames,
        prior: &prior,
        mirrored: None,
    };
    let solution = clock::solve(&body, &all, &|utc| view.at(utc));
    judged(plan, &made, &solution)
}

fn judged(plan: &Plan, made: &[Made], solution: &clock::ClockSolution) -> Outcome {
    let mut errors = Vec::new();
    let (mut honest, mut mirror_wrong, mut sigmas) = (0, 0, Vec::new());
    for (m, turn) in made.iter().zip(&solution.turns) {
        let Some(turn) = turn else { continue };
        let off = (turn.north_deg - m.north_deg + 180.0).rem_euclid(360.0) - 180.0;
        errors.push((off, m.covered));
        honest += usize::from(off.abs() <= 3.0 * turn.north_sigma_deg);
        sigmas.push(turn.north_sigma_deg);
        mirror_wrong += usize::from(turn.mirrored != plan.mirrored);
    }
    let rms = |only_covered: bool| {
        let some = errors.iter().filter(|e| !only_covered || e.1);
        let (count, total) = some.fold((0, 0.0), |(n, t), e| (n + 1, t + e.0 * e.0));
        (total / f64::from(count.max(1))).sqrt()
    };
    sigmas.sort_by(f64::total_cmp);
    Outcome {
        norths: errors.len(),
        frames: made.len(),
        north_rms_deg: rms(false),
        totality_rms_deg: rms(true),
        honest: honest as f64 / errors.len().max(1) as f64,
        sigma_deg: sigmas.get(sigmas.len() / 2).copied().unwrap_or(f64::NAN),
        mirror_wrong,
        off_s: solution.clock.error_s - CLOCK_S,
        sigma_s: solution.clock.sigma_s,
        solved: solution.clock.error_s.abs() > 0.0,
    }
}

fn made(n: usize, utc: Utc, holder: &mut Holder<'_>) -> Made {
    let world = holder.world;
    let mirrored = holder.plan.mirrored;
    let sky = world.view.at(utc);
    let camera = holder.camera(utc);
    let (east, north) = world.moon(utc);
    let place = camera.tangents(world.seen(utc, 0.0, 0.0));
    let sun = pixel(place, mirrored);
    let moon = pixel(camera.tangents(world.seen(utc, east, north)), mirrored);
    let north_deg = north_deg(world, camera, utc, mirrored);
    // A small circle off the lens's axis comes out as an ellipse.
    let radius_px = PX_PER_RAD * (sky.sun_radius_arcsec / 3600.0).to_radians();
    let radius_px = radius_px * (1.0 + 0.75 * (place.0 * place.0 + place.1 * place.1));
    let apart = east.hypot(north);
    let covered = apart < sky.ratio() - 1.0;
    let shown = apart < 1.0 + sky.ratio();
    let worse = holder.plan.worse;
    let mut near = |(x, y): (f64, f64), radius_px: f64, sigma: f64| Circle {
        x_px: x + holder.normal(worse * sigma),
        y_px: y + holder.normal(worse * sigma),
        radius_px,
    };
    let sun = near(sun, radius_px, SIGMA_PX[0]);
    let moon = near(
        moon,
        radius_px * sky.ratio(),
        SIGMA_PX[if covered { 2 } else { 1 }],
    );
    let fit = DiscFit {
        limb: if covered { Limb::Moon } else { Limb::Sun },
        sun: (!covered).then_some(sun),
        moon: shown.then_some(moon),
        sigma_px: SIGMA_PX[if covered { 2 } else { 0 }],
        moon_sigma_px: (shown && !covered).then_some(SIGMA_PX[1]),
        limb_arc_deg: 200.0,
        residual_px: 0.1,
        blur_px: Some(1.0),
    };
    Made {
        frame: ClockFrame {
            file: format!("M{n:04}.JPG"),
            stamp: Some(stamp(utc.plus_s(CLOCK_S), holder.plan.subsec)),
            shutter_s: 0.0,
            exposure_stops: None,
            scene_stops: None,
            gps_utc: None,
            orientation: Orientation::from_exif(1).unwrap(),
            scale_group: 0,
            size_px: Some(SIZE_PX),
            fit: Some(fit),
            levelled: None,
            squeeze: None,
            look: None,
        },
        north_deg,
        covered,
    }
}

fn stamp(read: Utc, has_subsec: bool) -> CameraStamp {
    let civil = jiff::tz::TimeZone::UTC.to_datetime(read.timestamp());
    let civil = if has_subsec {
        civil
    } else {
        civil.with().subsec_nanosecond(0).build().unwrap()
    };
    CameraStamp {
        time: CameraTime::new(civil),
        has_subsec,
        offset_s: None,
        of_change: false,
    }
}
