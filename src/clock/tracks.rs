//! How the discs move through the frame: whether the camera stood still, followed the Sun or was held by hand, and between
//! which frames it did not move.
//!
//! A camera left standing shows the Sun crossing the frame at a known speed towards celestial west; one that follows it keeps it in
//! place; one held by hand or aimed anew moves it anywhere. No eclipse is needed for that, and no clock: only how much time lies between
//! two frames.

use std::collections::BTreeMap;

use nalgebra::{Vector2, Vector3};

use super::ClockFrame;
use super::course::{Course, horizontal_frame};
use super::measured::{Radii, place_in, reading};
use super::mount::{Axis, Hold, axis_in_picture};
use crate::domain::{Circle, Limb, median};

/// One disc in one frame.
#[derive(Clone, Copy, Debug)]
pub(super) struct Sight {
    /// The frame's index.
    pub(super) frame: usize,
    group: usize,
    /// Middle of the exposure on the camera's clock, read as UTC, in seconds after the course's origin.
    pub(super) reading_s: f64,
    reading_sigma_s: f64,
    /// Where the centre falls, as [`super::mount`] counts places.
    pub(super) place: Vector2<f64>,
    /// One sigma of it per axis, of what the camera itself trembles included.
    sigma: f64,
    /// Whether it is the Moon's centre rather than the Sun's.
    pub(super) moon: bool,
    /// Half the picture's shorter side, as a tangent; `None` where the size and so the place is not known.
    half_side: Option<f64>,
}

/// What the discs' way through the frame says of the mount.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Motion {
    /// It stands still between one aim and the next.
    Fixed,
    /// It follows the sky.
    Driven,
    /// By hand, aimed anew each time, or not to be told.
    Unknown,
}

/// All discs of a body in time order, parted where the camera was moved.
#[derive(Debug)]
pub(super) struct Tracks {
    pub(super) stretches: Vec<Vec<Sight>>,
    pub(super) motion: Motion,
}

/// Trembling of a camera on its mount, in pixels: shutter, wind, seeing (our choice).
const TREMBLE_PX: f64 = 0.3;

/// How far the way through the frame may be off its computed length, as a share: the plate scale, refraction near the
/// horizon, the Moon's own way of one part in thirty.
const LENGTH_SHARE: f64 = 0.02;

/// A mount that follows may drift by this share of the sky's way: an axis set up by eye, two degrees off the pole.
const FOLLOWS_SHARE: f64 = 0.035;

/// Shares of pairs of frames between which the camera was not touched that are tried, the best counting: some aim anew before
/// each picture.
const UNTOUCHED: [f64; 4] = [0.05, 0.3, 0.6, 0.9];

/// By how much, as a log likelihood, one motion must lead: odds of 3,000 to one (our choice).
const LEAD: f64 = 8.0;

/// Frames farther apart than this, in seconds, are not held against each other: nobody's tripod sees the Sun that long.
const LONGEST_GAP_S: f64 = 1800.0;

/// The discs of all frames with a time.
pub(super) fn tracks(frames: &[ClockFrame], radii: &Radii, course: &Course) -> Tracks {
    let sights = sights(frames, radii, course);
    let motion = motion(&sights, course);
    let mut stretches: Vec<Vec<Sight>> = Vec::new();
    for sight in sights {
        match stretches.last_mut() {
            Some(last) if joins(last, &sight, motion, course) => last.push(sight),
            _ => stretches.push(vec![sight]),
        }
    }
    Tracks { stretches, motion }
}

fn sights(frames: &[ClockFrame], radii: &Radii, course: &Course) -> Vec<Sight> {
    let mut sights: Vec<Sight> = frames
        .iter()
        .enumerate()
        .filter_map(|(n, frame)| sight(n, frame, frames, radii, course))
        .collect();
    sights.sort_by(|a, b| {
        let order = a.reading_s.total_cmp(&b.reading_s);
        order.then(a.frame.cmp(&b.frame))
    });
    sights
}

fn sight(
    index: usize,
    frame: &ClockFrame,
    frames: &[ClockFrame],
    radii: &Radii,
    course: &Course,
) -> Option<Sight> {
    let fit = frame.fit?;
    let moon = fit.limb == Limb::Moon;
    let disc = if moon { fit.moon? } else { fit.sun? };
    let radius_px = match radii.get(&frame.scale_group) {
        Some(shared) => shared.radius_px,
        None => moon_radius_px(frames, frame.scale_group)? / course.ratio(),
    };
    let px_per_rad = radius_px / course.sun_radius_rad();
    let (reading_s, reading_sigma_s) = reading(&frame.stamp?, frame.shutter_s, course);
    let half_side = frame
        .size_px
        .map(|(width, height)| 0.5 * f64::from(width.min(height)) / px_per_rad);
    let sight = Sight {
        frame: index,
        group: frame.scale_group,
        reading_s,
        reading_sigma_s,
        place: place_in(frame, &disc, px_per_rad).unwrap_or_default(),
        sigma: fit.sigma_px.hypot(TREMBLE_PX) / px_per_rad,
        moon,
        half_side,
    };
    let all = [sight.place.x, sight.place.y, sight.sigma, reading_s];
    all.iter().all(|v| v.is_finite()).then_some(sight)
}

/// Middle radius of the Moons of a scale group that shows no Sun.
fn moon_radius_px(frames: &[ClockFrame], group: usize) -> Option<f64> {
    let moon = |frame: &ClockFrame| -> Option<Circle> {
        let fit = frame.fit.filter(|_| frame.scale_group == group)?;
        fit.moon.filter(|_| fit.limb == Limb::Moon)
    };
    let mut radii: Vec<f64> = frames
        .iter()
        .filter_map(moon)
        .map(|c| c.radius_px)
        .collect();
    median(&mut radii).filter(|radius| *radius > 1.0)
}

/// Two successive frames: how far the disc moved, and how far the sky did.
struct Pair {
    moved: f64,
    sky: f64,
    /// One sigma of the difference, the sky's way aside.
    noise: f64,
    half_side: f64,
}

impl Pair {
    fn of(a: &Sight, b: &Sight, course: &Course) -> Option<Self> {
        let apart_s = b.reading_s - a.reading_s;
        let (half_side, _) = a.half_side.zip(b.half_side)?;
        let speed = course.sun_speed();
        // Between the Sun's centre and the Moon's lie some thousandths of a radian at most.
        let other_disc = if a.moon == b.moon {
            0.0
        } else {
            0.07 * course.sun_radius_rad()
        };
        let cut = speed * a.reading_sigma_s.hypot(b.reading_sigma_s);
        (a.group == b.group && apart_s <= LONGEST_GAP_S).then(|| Self {
            moved: (b.place - a.place).norm(),
            sky: speed * apart_s.max(0.0),
            noise: a.sigma.hypot(b.sigma).hypot(other_disc).hypot(cut),
            half_side,
        })
    }

    fn sigma_of_length(&self) -> f64 {
        let moons_way = 0.5 * LENGTH_SHARE * self.sky;
        self.noise.hypot(LENGTH_SHARE * self.sky).hypot(moons_way)
    }

    /// Density of the move on a camera left standing whose roll is not known: a ring.
    fn standing(&self) -> f64 {
        let sigma = self.sigma_of_length();
        let around = 2.0 * std::f64::consts::PI * self.sky.max(sigma);
        normal(self.moved - self.sky, sigma) / around
    }

    /// Density of the move on a mount that follows.
    fn following(&self) -> f64 {
        around_nothing(self.moved, self.noise.hypot(FOLLOWS_SHARE * self.sky))
    }

    /// Density of the move when the camera was moved too.
    fn aimed_anew(&self) -> f64 {
        around_nothing(self.moved, 0.5 * self.half_side.max(self.noise))
    }
}

fn normal(off: f64, sigma: f64) -> f64 {
    (-0.5 * (off / sigma).powi(2)).exp() / (sigma * (2.0 * std::f64::consts::PI).sqrt())
}

fn around_nothing(length: f64, sigma: f64) -> f64 {
    (-0.5 * (length / sigma).powi(2)).exp() / (2.0 * std::f64::consts::PI * sigma * sigma)
}

/// Tells standing, following and neither by the likelihood of all moves.
fn motion(sights: &[Sight], course: &Course) -> Motion {
    let pairs: Vec<Pair> = sights
        .windows(2)
        .filter_map(|two| Pair::of(&two[0], &two[1], course))
        .collect();
    let over = |density: &dyn Fn(&Pair) -> f64| {
        let with = |share: f64| -> f64 {
            let part = |p: &Pair| {
                let anew = p.aimed_anew();
                ((share * density(p) + (1.0 - share) * anew) / anew.max(1e-300)).max(1e-300)
            };
            pairs.iter().map(|p| part(p).ln()).sum()
        };
        UNTOUCHED.iter().map(|s| with(*s)).fold(0.0, f64::max)
    };
    let (standing, following) = (over(&Pair::standing), over(&Pair::following));
    if standing > following + LEAD {
        Motion::Fixed
    } else if following > standing + LEAD {
        Motion::Driven
    } else {
        Motion::Unknown
    }
}

/// A move is part of a camera's rest when it is within this many sigmas of what the sky does.
const AT_REST_SIGMAS: f64 = 3.0;

/// Successive moves on a camera at rest turn by less than this, in radians.
const STRAIGHT: f64 = 0.06;

/// Whether the camera was not touched between the frames so far and the next.
fn joins(stretch: &[Sight], next: &Sight, motion: Motion, course: &Course) -> bool {
    let last = &stretch[stretch.len() - 1];
    let Some(pair) = Pair::of(last, next, course) else {
        return false;
    };
    let stands = || {
        (pair.moved - pair.sky).abs() <= AT_REST_SIGMAS * pair.sigma_of_length()
            && straight(stretch, next, &pair)
    };
    let follows = || pair.moved <= AT_REST_SIGMAS * pair.noise.hypot(FOLLOWS_SHARE * pair.sky);
    match motion {
        Motion::Fixed => stands(),
        // Pictures cut out around the Sun look as if they followed it: each may then have a roll of its own.
        Motion::Driven => false,
        // Within a burst nobody aims anew.
        Motion::Unknown => pair.sky < 3.0 * pair.noise && (stands() || follows()),
    }
}

/// Whether a move goes on the way the stretch has gone, as far as both ways tell their direction.
fn straight(stretch: &[Sight], next: &Sight, pair: &Pair) -> bool {
    let last = &stretch[stretch.len() - 1];
    let way = last.place - stretch[0].place;
    let step = next.place - last.place;
    let (long, short) = (way.norm(), step.norm());
    if long < 3.0 * pair.noise || short < 3.0 * pair.noise {
        return true;
    }
    let cross = (way.x * step.y - way.y * step.x) / (long * short);
    let loose = STRAIGHT + AT_REST_SIGMAS * pair.noise * (1.0 / long + 1.0 / short);
    way.dot(&step) > 0.0 && cross.abs() <= loose
}

/// Direction of a stretch's way through the frame as measured, against the sky.
pub(super) struct Drift {
    /// Angle of the mount's axis in the picture as the way shows it, less that of a roll of nothing, in radians.
    pub(super) off: f64,
    /// One sigma of it.
    pub(super) sigma: f64,
}

/// Most discs of a stretch that are held against the sky, spread evenly.
const MOST_SIGHTS: usize = 12;

/// A camera creeps after it was aimed, by this share of the sky's way: one sigma of the way's direction in radians, 0.06 degrees
/// (our choice).
const CREEP: f64 = 0.001;

/// A way's direction less sure than this, in radians, is not used.
const VAGUE: f64 = 0.2;

/// Weight of the stated errors of places, in frames, against their scatter about the way.
const STATED_FRAMES: f64 = 4.0;

impl Tracks {
    /// The stretch of each frame, by the frame's index.
    pub(super) fn stretch_of(&self) -> BTreeMap<usize, usize> {
        let numbered = self.stretches.iter().enumerate();
        numbered
            .flat_map(|(k, sights)| sights.iter().map(move |s| (s.frame, k)))
            .collect()
    }

    /// How far the way of a stretch through the frame lies off the way the sky makes there for a camera of this roll; `None` where the
    /// camera was not left standing or the way is too short.
    pub(super) fn drift(&self, stretch: usize, setup: &Setup<'_>, roll: f64) -> Option<Drift> {
        let sights = self.stretches.get(stretch)?;
        if self.motion != Motion::Fixed || sights.len() < 2 {
            return None;
        }
        let step = sights.len().div_ceil(MOST_SIGHTS);
        let some: Vec<&Sight> = sights.iter().step_by(step).collect();
        let way = Way::of(&some, setup)?;
        let expected = way.expected(setup, roll);
        let off = way.turn - expected;
        Some(Drift {
            off: (off + std::f64::consts::PI).rem_euclid(2.0 * std::f64::consts::PI)
                - std::f64::consts::PI,
            sigma: way.sigma,
        })
        .filter(|drift| drift.sigma < VAGUE)
    }
}

/// What a way is held against.
pub(super) struct Setup<'a> {
    pub(super) course: &'a Course,
    pub(super) hold: Hold,
    /// Direction of the mount's first axis.
    pub(super) axis: Vector3<f64>,
    /// Camera reading as UTC, minus UTC, in seconds.
    pub(super) tau_s: f64,
}

/// A way through the frame fitted to the sky's.
struct Way {
    /// Mean direction in the camera's frame (right, up, ahead) and on the ground.
    seen: Vector3<f64>,
    sky: Vector3<f64>,
    /// Angle by which the sky's directions (anticlockwise from the vertical) appear turned in the picture.
    turn: f64,
    sigma: f64,
}

impl Way {
    fn of(sights: &[&Sight], setup: &Setup<'_>) -> Option<Self> {
        let seen: Vec<Vector3<f64>> = sights
            .iter()
            .map(|s| Vector3::new(s.place.x, s.place.y, 1.0).normalize())
            .collect();
        let sky: Vec<Vector3<f64>> = sights
            .iter()
            .map(|s| setup.course.towards(s.reading_s - setup.tau_s, s.moon))
            .collect();
        let (seen_mid, sky_mid) = (mean(&seen), mean(&sky));
        let (right, up) = camera_frame(&seen_mid);
        let shown = about_mean(&seen, &right, &up);
        let (right, up) = horizontal_frame(&sky_mid);
        let mut true_way = about_mean(&sky, &right, &up);
        for v in &mut true_way {
            v.y *= setup.hold.hand();
        }
        let (mut dot, mut cross, mut length2) = (0.0, 0.0, 0.0);
        for (a, b) in true_way.iter().zip(&shown) {
            dot += a.dot(b);
            cross += a.x * b.y - a.y * b.x;
            length2 += a.norm_squared();
        }
        let scatter2 = scatter2(sights, &true_way, &shown, cross.atan2(dot));
        (length2 > 0.0).then(|| Self {
            seen: seen_mid,
            sky: sky_mid,
            turn: cross.atan2(dot),
            sigma: (scatter2 / length2).sqrt().hypot(CREEP),
        })
    }

    /// The turn a camera of this roll would show.
    fn expected(&self, setup: &Setup<'_>, roll: f64) -> f64 {
        let place = self.seen.xy() / self.seen.z;
        let axis = axis_in_picture(roll, &place, setup.axis.dot(&self.sky));
        let (right, up) = camera_frame(&self.seen);
        let shown = (-axis.dot(&right)).atan2(axis.dot(&up));
        let (right, up) = horizontal_frame(&self.sky);
        let clockwise = setup.axis.dot(&right).atan2(setup.axis.dot(&up));
        shown + setup.hold.hand() * clockwise
    }
}

/// Square of the error of a place across the way: as stated, and as the places scatter.
fn scatter2(sights: &[&Sight], sky: &[Vector2<f64>], shown: &[Vector2<f64>], turn: f64) -> f64 {
    let (sin, cos) = turn.sin_cos();
    let along = (sky[sky.len() - 1] - sky[0]).normalize();
    let across2: f64 = sky
        .iter()
        .zip(shown)
        .map(|(a, b)| {
            // Turned back on to the sky: what lies along the way is error of the time stamps.
            let back = Vector2::new(b.x * cos + b.y * sin, b.y * cos - b.x * sin) - a;
            (along.x * back.y - along.y * back.x).powi(2)
        })
        .sum();
    let stated2 = sights.iter().map(|s| s.sigma * s.sigma).sum::<f64>() / sights.len() as f64;
    let free = sights.len() as f64 - 2.0;
    (STATED_FRAMES * stated2 + across2) / (STATED_FRAMES + free)
}

fn mean(directions: &[Vector3<f64>]) -> Vector3<f64> {
    directions.iter().sum::<Vector3<f64>>().normalize()
}

/// Unit vectors square to a direction in the camera's frame: right and up as far as they can be.
fn camera_frame(direction: &Vector3<f64>) -> (Vector3<f64>, Vector3<f64>) {
    let right = (Vector3::x() - direction * direction.x).normalize();
    let up = Vector3::y() - direction * direction.y;
    (right, (up - right * right.dot(&up)).normalize())
}

/// Directions about their mean, as (up, leftwards): angles in that order run anticlockwise from up.
fn about_mean(
    directions: &[Vector3<f64>],
    right: &Vector3<f64>,
    up: &Vector3<f64>,
) -> Vec<Vector2<f64>> {
    let flat: Vec<Vector2<f64>> = directions
        .iter()
        .map(|d| Vector2::new(d.dot(up), -d.dot(right)))
        .collect();
    let middle = flat.iter().sum::<Vector2<f64>>() / flat.len() as f64;
    flat.into_iter().map(|v| v - middle).collect()
}

/// How much the discs' way speaks against a hold, in units of minus twice a log likelihood (our choice): equatorial heads are seldom left
/// standing, and what follows the sky is mostly equatorial.
pub(super) fn against(motion: Motion, hold: Hold) -> f64 {
    match (motion, hold.axis) {
        (Motion::Fixed, Axis::Pole) => 6.0,
        (Motion::Driven, Axis::Zenith) => 4.0,
        _ => 0.0,
    }
}
