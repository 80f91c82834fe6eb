//! The points of a rehearsal, each from the frames of one body in time order.

use std::collections::BTreeMap;

use super::axis::{Stand, Telling, telling};
use super::point::{Point, Verdict};
use super::sun::{SOLAR_RATE_ARCSEC_S, Sun, sun_on};
use crate::catalogue::ShotRecord;
use crate::domain::{Circle, Flag, Phase, dial_mark, dial_mark_within};
use crate::report::markup::{counted, minutes};

/// Blur of the limb, as a Gaussian sigma in pixels, up to which focus is good whatever the scale (common practice).
const GOOD_BLUR_PX: f64 = 1.5;

/// Blur the daytime air makes by itself, full width at half maximum in seconds of arc (common practice: 2 to 4).
const SEEING_ARCSEC: f64 = 3.0;

/// Full width at half maximum of a Gaussian over its sigma: `2 sqrt(2 ln 2)`.
const FWHM_PER_SIGMA: f64 = 2.354_820_045;

/// Growth of the blur over the shots from which focus counts as creeping (common practice).
const FOCUS_CREEP: f64 = 0.3;

/// Share of the good blur below which a change of it does not matter (our choice).
const CREEP_FROM: f64 = 0.8;

/// Level of the disc wanted, and the range that will do, as fractions of saturation in linear light (common practice).
const LEVEL: (f64, f64, f64) = (0.2, 0.45, 0.75);

/// Share of the disc's pixels at saturation from which it counts as clipped (common practice).
const CLIPPED_SHARE: f64 = 0.01;

/// Disc radius in pixels from which centres and clock are as exact as they are built to be.
const FINE_RADIUS_PX: f64 = 150.0;

/// Zones differ by quarters of an hour.
const QUARTER_S: f64 = 900.0;

/// Error of a clock in seconds worth setting it for (common practice).
const CLOCK_S: f64 = 1.0;

/// Drift, as a share of that of a fixed frame, from which to which the mount counts as standing still.
const FIXED: std::ops::Range<f64> = 0.8..1.2;

/// Seconds a mount that follows must hold the Sun in the frame (common practice: an hour between two looks).
const HOLD_S: f64 = 3600.0;

/// Fewest frames a trend or a rate is told from.
const FEWEST: usize = 3;

/// Seconds from frame to frame that tell a rate: closer, whole seconds say little; farther, the aim has surely changed.
const STEP_S: (f64, f64) = (4.0, 900.0);

/// Steps that are looked at: each is held against all others.
const MOST_STEPS: usize = 500;

/// Sway of a mount as a share of the disc's radius, and of the way the Sun went (our choice).
const SWAY: f64 = 0.02;

/// Share of the steps that must agree on a rate (our choice: aimed anew after every second frame, half of them do).
const LEAST_AGREE: f64 = 0.4;

fn point(name: &'static str, verdict: Verdict, found: String, advice: &str) -> Point {
    Point {
        name,
        verdict,
        found,
        advice: advice.to_owned(),
    }
}

/// All points in their order.
pub(super) fn all(frames: &[&ShotRecord]) -> Vec<Point> {
    let sun = frames
        .iter()
        .find_map(|s| s.shot.stamp)
        .map(|s| sun_on(s.time));
    vec![
        focus(frames, sun),
        exposure(frames),
        drift(frames, sun),
        disc(frames, sun),
        clock(frames),
        readable(frames),
    ]
}

/// Median of the finite ones among some values; `None` of none.
pub(super) fn median(mut values: Vec<f64>) -> Option<f64> {
    values.retain(|v| v.is_finite());
    crate::domain::median(&mut values)
}

fn sun_circle(shot: &ShotRecord) -> Option<Circle> {
    shot.disc
        .and_then(|fit| fit.sun)
        .filter(|c| c.radius_px.is_finite() && c.radius_px > 0.0)
}

pub(super) fn radius_px(frames: &[&ShotRecord]) -> Option<f64> {
    median(
        frames
            .iter()
            .filter_map(|s| sun_circle(s))
            .map(|c| c.radius_px)
            .collect(),
    )
}

/// Blur at the limb as a Gaussian sigma in pixels: as fitted, else from the steepest slope of the limb, which for a
/// Gaussian blur is `1 / (sigma sqrt(2 pi))` of the disc's level a pixel.
fn blur_px(shot: &ShotRecord) -> Option<f64> {
    let fitted = shot.disc.and_then(|fit| fit.blur_px);
    let from_slope = || {
        let slope = shot.look?.limb_sharpness?;
        (slope > 0.0).then(|| 1.0 / (slope * (2.0 * std::f64::consts::PI).sqrt()))
    };
    fitted
        .or_else(from_slope)
        .filter(|b| b.is_finite() && *b >= 0.0)
}

/// Sharpness of the limb, and whether it changes from the first frames to the last.
fn focus(frames: &[&ShotRecord], sun: Option<Sun>) -> Point {
    let blurs: Vec<(f64, &str)> = frames
        .iter()
        .filter_map(|s| Some((blur_px(s)?, s.name())))
        .collect();
    let Some(typical) = median(blurs.iter().map(|(b, _)| *b).collect()) else {
        let advice = "shoot the whole disc through the filter, sharp limb inside the frame";
        return point(
            "focus",
            Verdict::NotKnown,
            "no limb could be measured".to_owned(),
            advice,
        );
    };
    let scale = sun
        .zip(radius_px(frames))
        .map(|(sun, r)| sun.radius_arcsec / r);
    let air_px = scale.map_or(0.0, |s| SEEING_ARCSEC / FWHM_PER_SIGMA / s);
    let good_px = GOOD_BLUR_PX.max(air_px);
    let mut found =
        format!("limb blurred by {typical:.1} px (sigma), {good_px:.1} px or less is good");
    if let Some(best) = sharpest(frames) {
        found += &format!("; sharpest {best}");
    }
    if let Some(growth) = creep(&blurs, CREEP_FROM * good_px).filter(|g| g.abs() > FOCUS_CREEP) {
        let way = if growth > 0.0 { "grows" } else { "shrinks" };
        let found = format!(
            "{found}; the blur {way} by {:.0} % from first to last",
            growth.abs() * 100.0
        );
        let advice = "the focus creeps: let the lens cool in the open, tape the ring, focus again shortly \
             before C2";
        return point("focus", Verdict::Mend, found, advice);
    }
    let advice = "focus by hand on the limb or a spot at full magnification";
    if typical > good_px {
        return point("focus", Verdict::Mend, found, advice);
    }
    let least_px = SOFTER * typical.max(good_px);
    let soft: Vec<&str> = frames
        .iter()
        .filter(|s| s.flags.has(Flag::Soft) || blur_px(s).is_some_and(|blur| blur > least_px))
        .map(|s| s.name())
        .collect();
    if soft.is_empty() {
        return point("focus", Verdict::Good, found, "");
    }
    found += &format!("; {} soft: {}", counted(soft.len(), "frame"), named(&soft));
    point(
        "focus",
        Verdict::Mend,
        found,
        "look at these: focus by hand, and lock the ring",
    )
}

/// Blur over what is usual or good from which a single frame is told (our choice: a factor that is seen in a print).
const SOFTER: f64 = 1.6;

/// The frame with the narrowest limb, of those that show one: saturation makes any limb look narrow.
fn sharpest<'a>(frames: &[&'a ShotRecord]) -> Option<&'a str> {
    let shows_limb = |s: &&&ShotRecord| !is_clipped(s) && !s.flags.has(Flag::Cut);
    let blurs = frames
        .iter()
        .filter(shows_limb)
        .filter_map(|s| Some((blur_px(s)?, s.name())));
    let best = blurs.min_by(|a, b| a.0.total_cmp(&b.0));
    best.map(|(_, name)| name)
}

/// Names listed in one point before the rest is counted.
const NAMED: usize = 3;

/// "a, b, c and 4 more".
fn named(names: &[&str]) -> String {
    let shown = names[..names.len().min(NAMED)].join(", ");
    match names.len().saturating_sub(NAMED) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

/// Change of the blur from the first third of the frames to the last, as a share of the first; `None` of too few frames, or
/// where neither end is more blurred than `least_px`.
fn creep(blurs: &[(f64, &str)], least_px: f64) -> Option<f64> {
    let third = blurs.len() / 3;
    let part = |part: &[(f64, &str)]| median(part.iter().map(|(b, _)| *b).collect());
    if third < FEWEST {
        return None;
    }
    let (first, last) = (part(&blurs[..third])?, part(&blurs[blurs.len() - third..])?);
    (first > 0.0 && first.max(last) > least_px).then(|| last / first - 1.0)
}

/// Level of the disc, and the shutter that would bring it where it is wanted.
fn exposure(frames: &[&ShotRecord]) -> Point {
    let levels = frames.iter().filter_map(|s| s.look?.disc_level);
    let Some(typical) = median(levels.collect()) else {
        let advice = "shoot the whole disc through the filter";
        return point(
            "exposure",
            Verdict::NotKnown,
            "no disc to measure".to_owned(),
            advice,
        );
    };
    let clipped: Vec<&str> = frames
        .iter()
        .filter(|s| is_clipped(s))
        .map(|s| s.name())
        .collect();
    let (low, _, high) = LEVEL;
    let mut found = format!(
        "disc at {:.0} % of saturation, {} clipped",
        typical * 100.0,
        counted(clipped.len(), "frame")
    );
    if !clipped.is_empty() {
        found += &format!(": {}", named(&clipped));
    }
    let better = median(good_shutters_s(frames).map(|(_, s)| s).collect());
    if clipped.len() * 2 <= frames.len() && (low..=high).contains(&typical) {
        return match clipped.is_empty() {
            true => point("exposure", Verdict::Good, found, ""),
            false => point(
                "exposure",
                Verdict::Mend,
                found,
                "keep to the exposure of the others",
            ),
        };
    }
    let advice = match (better, typical < low) {
        (Some(s), _) => format!("try {} at the same aperture and ISO", dial_mark(s)),
        (None, true) => "open by two stops and shoot again".to_owned(),
        (None, false) => "close by two stops and shoot again".to_owned(),
    };
    Point {
        name: "exposure",
        verdict: Verdict::Mend,
        found,
        advice,
    }
}

/// Levels of the disc that tell how much light there is: well off both ends.
const TELLING: std::ops::Range<f64> = 0.02..0.9;

/// The frames that tell how much light there is, each with the shutter in seconds that brings the disc where it is wanted.
pub(super) fn good_shutters_s<'a>(
    frames: &[&'a ShotRecord],
) -> impl Iterator<Item = (&'a ShotRecord, f64)> {
    let (_, wanted, _) = LEVEL;
    frames.iter().filter_map(move |&s| {
        let level = s.look?.disc_level.filter(|level| TELLING.contains(level))?;
        let shutter_s = s.shot.exposure.shutter_s.filter(|t| *t > 0.0)?;
        Some((s, shutter_s * wanted / level))
    })
}

/// Whether a disc's pixels saturate.
fn is_clipped(shot: &ShotRecord) -> bool {
    let area = || {
        let (w, h) = (
            f64::from(shot.shot.width_px?),
            f64::from(shot.shot.height_px?),
        );
        let disc = std::f64::consts::PI * sun_circle(shot)?.radius_px.powi(2);
        Some((disc / (w * h)).min(1.0))
    };
    let share = || Some(shot.look?.clipped / area()?);
    shot.flags.has(Flag::Clipped) || share().is_some_and(|s| s > CLIPPED_SHARE)
}

/// How far the Sun moved from one frame to a later one.
struct Step {
    seconds: f64,
    moved_px: (f64, f64),
    /// How far the seconds may be off: clocks that write whole seconds cut them off.
    unsure_s: f64,
}

impl Step {
    fn rate_px_s(&self) -> (f64, f64) {
        (
            self.moved_px.0 / self.seconds,
            self.moved_px.1 / self.seconds,
        )
    }

    /// Whether the Sun moved as it does at this rate, give or take a sway of the mount and the clock's last second.
    fn goes_at(&self, (x, y): (f64, f64), radius: f64) -> bool {
        let off = (self.moved_px.0 - x * self.seconds).hypot(self.moved_px.1 - y * self.seconds);
        let unsure_px = x.hypot(y) * (self.unsure_s + SWAY * self.seconds);
        off <= (SWAY * radius).max(1.0) + unsure_px
    }
}

/// From each timed disc to the next that is far enough in time to tell a rate, and near enough that the aim may be the same.
fn steps(frames: &[&ShotRecord]) -> Vec<Step> {
    let placed: Vec<_> = frames
        .iter()
        .filter_map(|s| Some((s.shot.stamp?, sun_circle(s)?)))
        .collect();
    let step = |n: usize| {
        let (start, a) = &placed[n];
        let later = placed[n + 1..].iter().find_map(|(stamp, b)| {
            let seconds = stamp.time.seconds_since(start.time);
            (seconds >= STEP_S.0).then_some((seconds, stamp, b))
        });
        let (seconds, stamp, b) = later.filter(|(seconds, ..)| *seconds <= STEP_S.1)?;
        let exact = start.has_subsec && stamp.has_subsec;
        Some(Step {
            seconds,
            moved_px: (b.x_px - a.x_px, b.y_px - a.y_px),
            unsure_s: if exact { 0.1 } else { 1.0 },
        })
    };
    (0..placed.len())
        .filter_map(step)
        .take(MOST_STEPS)
        .collect()
}

/// The rates of the steps that go as most steps go, in pixels a second; none without steps.
fn agreeing_px_s(steps: &[Step], radius: f64) -> Vec<(f64, f64)> {
    let agreeing = |rate: (f64, f64)| steps.iter().filter(move |s| s.goes_at(rate, radius));
    let rates = steps.iter().map(Step::rate_px_s).rev();
    rates
        .max_by_key(|rate| agreeing(*rate).count())
        .map_or_else(Vec::new, |best| {
            agreeing(best).map(Step::rate_px_s).collect()
        })
}

/// Drift in pixels a second, x right and y down: what most steps agree on, so that aiming anew between some of them does no
/// harm. `None` where too few agree, as when each frame was aimed anew.
pub(super) fn drift_px_s(frames: &[&ShotRecord], radius: f64) -> Option<(f64, f64)> {
    let steps = steps(frames);
    let rates = agreeing_px_s(&steps, radius);
    if rates.len() < FEWEST || (rates.len() as f64) < LEAST_AGREE * steps.len() as f64 {
        return None;
    }
    let middle = |pick: fn(&(f64, f64)) -> f64| median(rates.iter().map(pick).collect());
    Some((middle(|r| r.0)?, middle(|r| r.1)?))
}

fn drift(frames: &[&ShotRecord], sun: Option<Sun>) -> Point {
    let known = radius_px(frames)
        .zip(sun)
        .and_then(|(radius, sun)| Some((drift_px_s(frames, radius)?, radius, sun)));
    let Some(((x, y), radius, sun)) = known else {
        let found = match steps(frames).len() < FEWEST {
            true => "too few timed discs in a row",
            false => "no steady motion from frame to frame: aimed anew between them?",
        };
        let advice =
            "shoot a frame every half minute or so for ten minutes without touching the mount";
        return point("drift", Verdict::NotKnown, found.to_owned(), advice);
    };
    let px_s = x.hypot(y);
    let arcsec_s = px_s * sun.radius_arcsec / radius;
    let still = sky_rate_arcsec_s(sun);
    let share = arcsec_s / still;
    let found = format!("{arcsec_s:.2} seconds of arc a second, {px_s:.2} px a second");
    let room = room_px(frames, radius);
    if FIXED.contains(&share) {
        return fixed(found, px_s, room);
    }
    if share >= FIXED.end {
        let found = format!("{found}: faster than the sky turns");
        return point(
            "drift",
            Verdict::Mend,
            found,
            "something moves: lock the head, hang a weight on the tripod",
        );
    }
    let scale = sun.radius_arcsec / radius;
    let told = west_px_s(frames, radius, still / scale)
        .map(|west| telling((x * scale, y * scale), west, stand(frames)));
    followed(found, arcsec_s, px_s, room, told)
}

/// How fast the Sun runs through a frame that stands still, seconds of arc a second.
pub(super) fn sky_rate_arcsec_s(sun: Sun) -> f64 {
    SOLAR_RATE_ARCSEC_S * sun.declination_deg.to_radians().cos()
}

/// Whether a mount follows by the share of the sky's rate that the Sun drifts at; `None` where it drifts faster than the sky turns.
pub(super) fn follows(share: f64) -> Option<bool> {
    (share < FIXED.end).then_some(share < FIXED.start)
}

/// How the Sun runs in the picture when the motor is off: the steps at the sky's own rate, where at least two agree.
fn west_px_s(frames: &[&ShotRecord], radius: f64, still_px_s: f64) -> Option<(f64, f64)> {
    let mut steps = steps(frames);
    steps.retain(|s| {
        let (x, y) = s.rate_px_s();
        FIXED.contains(&(x.hypot(y) / still_px_s))
    });
    let rates = agreeing_px_s(&steps, radius);
    let middle = |pick: fn(&(f64, f64)) -> f64| median(rates.iter().map(pick).collect());
    (rates.len() >= 2).then_some((middle(|r| r.0)?, middle(|r| r.1)?))
}

/// Place and middle of the frames' times, where GPS gives both.
fn stand(frames: &[&ShotRecord]) -> Option<Stand> {
    let fixes = || {
        frames
            .iter()
            .filter_map(|s| s.shot.gps.filter(|f| f.utc.is_some()))
    };
    let (first, last) = (fixes().next()?, fixes().next_back()?);
    let (start, end) = (first.utc?, last.utc?);
    Some(Stand {
        lat_deg: first.lat_deg,
        lon_deg: first.lon_deg,
        utc: start.plus_s(end.seconds_since(start) / 2.0),
    })
}

/// Pixels from the limb to the nearer edge of the frame with the disc in its middle.
fn room_px(frames: &[&ShotRecord], radius: f64) -> Option<f64> {
    let shorts = frames
        .iter()
        .filter_map(|s| Some(f64::from(s.shot.width_px?.min(s.shot.height_px?))))
        .collect();
    Some(median(shorts)? / 2.0 - radius).filter(|room| *room > 0.0)
}

/// A mount that stands still drifts as it must: say what it means.
fn fixed(found: String, px_s: f64, room: Option<f64>) -> Point {
    let aim = room.map_or_else(String::new, |room| {
        format!("aim again every {}; ", minutes(room / px_s / 2.0))
    });
    let found = format!("{found}: the mount stands still");
    let advice = format!(
        "{aim}keep shutters to {} or shorter for one pixel of drift",
        dial_mark_within(1.0 / px_s)
    );
    Point {
        name: "drift",
        verdict: Verdict::Good,
        found,
        advice,
    }
}

/// A mount that follows: how well, and how far its axis may be off.
///
/// An axis off by an angle `e` drifts by at most the sky's rate times `e` (in radians); the sidereal rate alone lags
/// the Sun by 0.04 seconds of arc a second.
fn followed(
    found: String,
    arcsec_s: f64,
    px_s: f64,
    room: Option<f64>,
    told: Option<Telling>,
) -> Point {
    let off_deg = (arcsec_s / SOLAR_RATE_ARCSEC_S).to_degrees();
    let held_s = room.map(|room| room / px_s.max(1e-9));
    let mut found = format!(
        "{found}: the mount follows; its axis is off by {off_deg:.1} degrees or more, if it runs at the \
             solar rate"
    );
    let unknown = "which way it is off shows when three frames half a minute apart follow with the motor off: the Sun then \
                   runs west";
    let direction = match told {
        Some(told) => {
            found = format!("{found}; {}", told.found);
            told.advice
        }
        None => unknown.to_owned(),
    };
    match held_s {
        Some(s) if s < HOLD_S => {
            let mut advice = format!(
                "the Sun leaves the frame within {}: align the polar axis better, and set the solar rate",
                minutes(s)
            );
            if !direction.is_empty() {
                advice = format!("{advice}; {direction}");
            }
            Point {
                name: "drift",
                verdict: Verdict::Mend,
                found,
                advice,
            }
        }
        _ => point("drift", Verdict::Good, found, ""),
    }
}

/// Size of the disc in the frame, and whether it stays the same.
fn disc(frames: &[&ShotRecord], sun: Option<Sun>) -> Point {
    let Some(radius) = radius_px(frames) else {
        return point(
            "disc",
            Verdict::NotKnown,
            "no disc found".to_owned(),
            "shoot the whole disc through the filter",
        );
    };
    let share = room_px(frames, radius).map(|room| radius / (room + radius));
    let spread = median(
        frames
            .iter()
            .filter_map(|s| sun_circle(s))
            .map(|c| (c.radius_px / radius - 1.0).abs())
            .collect(),
    );
    let mut found = format!("{:.0} px across", 2.0 * radius);
    if let Some(share) = share {
        found += &format!(", {:.0} % of the short side", share * 100.0);
    }
    if let Some(arcsec) = sun.map(|s| s.radius_arcsec / radius) {
        found += &format!(", {arcsec:.2} seconds of arc a pixel");
    }
    found += &header_focal(frames, sun, radius);
    if spread.is_some_and(|s| s > 0.005) {
        let advice = "the size changes from frame to frame: lock the zoom, and check the limb is not cut or \
             flared";
        return point("disc", Verdict::Mend, found, advice);
    }
    match share {
        None => point(
            "disc",
            Verdict::Mend,
            found,
            "the disc does not fit the frame: take a shorter lens",
        ),
        Some(s) if s > 0.5 => point(
            "disc",
            Verdict::Mend,
            found,
            "the corona will not fit: take a shorter lens",
        ),
        _ if radius < FINE_RADIUS_PX => {
            let advice = format!(
                "small: a longer lens gives more; centres and clock are at their best from {:.0} px across",
                2.0 * FINE_RADIUS_PX
            );
            Point {
                name: "disc",
                verdict: Verdict::Good,
                found,
                advice,
            }
        }
        _ => point("disc", Verdict::Good, found, ""),
    }
}

/// Says so where the disc and the focal length in the header do not go together.
fn header_focal(frames: &[&ShotRecord], sun: Option<Sun>, radius: f64) -> String {
    let long = median(
        frames
            .iter()
            .filter_map(|s| Some(f64::from(s.shot.width_px?.max(s.shot.height_px?))))
            .collect(),
    );
    let header = median(
        frames
            .iter()
            .filter_map(|s| s.shot.exposure.focal_35mm)
            .filter(|f| *f > 0.0)
            .collect(),
    );
    let (Some(sun), Some(long), Some(header)) = (sun, long, header) else {
        return String::new();
    };
    let image_mm = 2.0 * radius / long * 36.0;
    let seen = image_mm / (2.0 * (sun.radius_arcsec / 3600.0).to_radians());
    match (seen / header - 1.0).abs() > 0.05 {
        true => format!(
            "; as of a {seen:.0} mm lens on 36 mm, the header says {header:.0} mm (a converter or a crop?)"
        ),
        false => String::new(),
    }
}

/// Errors of the clock against the satellites' time in the same header, seconds, camera minus true; without a zone to a quarter of an
/// hour.
pub(super) fn clock_errors_s(frames: &[&ShotRecord]) -> Vec<f64> {
    frames
        .iter()
        .filter_map(|s| {
            let (stamp, fix) = (s.shot.stamp?, s.shot.gps?.utc?);
            let cut_s = if stamp.has_subsec { 0.0 } else { 0.5 };
            let apart = stamp.time.read_as_utc().seconds_since(fix) + cut_s;
            match stamp.offset_s {
                Some(zone_s) => Some(apart - f64::from(zone_s)),
                None => Some((apart + QUARTER_S / 2.0).rem_euclid(QUARTER_S) - QUARTER_S / 2.0),
            }
        })
        .collect()
}

/// The clock against the satellites' time in the same header.
fn clock(frames: &[&ShotRecord]) -> Point {
    let errors = clock_errors_s(frames);
    let n = errors.len();
    let Some(error_s) = median(errors) else {
        let advice = "photograph a clock set by GPS or the network with this camera, or note its error: \
             --clock takes it";
        return point(
            "clock",
            Verdict::NotKnown,
            "no GPS time in the headers".to_owned(),
            advice,
        );
    };
    let way = if error_s > 0.0 { "fast" } else { "slow" };
    let found = format!(
        "{:.1} s {way} by GPS in {}{}; a fix may be some seconds old",
        error_s.abs(),
        counted(n, "frame"),
        zone_words(frames)
    );
    match error_s.abs() <= CLOCK_S {
        true => point("clock", Verdict::Good, found, ""),
        false => point(
            "clock",
            Verdict::Mend,
            found,
            "set the camera's clock on the morning of the day",
        ),
    }
}

/// ", set to UTC+02:00", from the satellites' time, so that an hour of summer time is noticed; empty where the header names
/// the zone or the frames differ.
fn zone_words(frames: &[&ShotRecord]) -> String {
    let mut quarters = frames.iter().filter_map(|s| {
        let stamp = s.shot.stamp.filter(|stamp| stamp.offset_s.is_none())?;
        let apart_s = stamp.time.read_as_utc().seconds_since(s.shot.gps?.utc?);
        Some((apart_s / QUARTER_S).round() as i64)
    });
    match quarters.next() {
        Some(first) if quarters.all(|q| q == first) => {
            let sign = if first < 0 { '-' } else { '+' };
            let n = first.abs();
            format!(", set to UTC{sign}{:02}:{:02}", n / 4, n % 4 * 15)
        }
        _ => String::new(),
    }
}

/// Frames that could not be read or show no disc, by reason.
fn readable(frames: &[&ShotRecord]) -> Point {
    let mut troubles: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
    for shot in frames {
        let trouble = match shot {
            s if s.phase == Phase::Unreadable => "not readable",
            s if s.flags.has(Flag::Cut) => "disc cut by the frame",
            s if s.flags.has(Flag::OutOfFrame) => "no Sun in the frame",
            s if s.flags.has(Flag::Shaken) => "shaken",
            s if s.flags.has(Flag::Clouded) => "clouded",
            s if s.flags.has(Flag::Flare) => "flare",
            s if s.disc.is_none() => "no disc found",
            _ => continue,
        };
        troubles.entry(trouble).or_default().push(shot.name());
    }
    let bad: usize = troubles.values().map(Vec::len).sum();
    let weather = |what: &&str| *what == "clouded" || *what == "flare";
    let to_mend = troubles.keys().any(|what| !weather(what));
    let list: Vec<String> = troubles
        .iter()
        .map(|(what, names)| format!("{} {what} ({})", names.len(), named(names)))
        .collect();
    let found = match bad {
        0 => format!("all {} show the disc", frames.len()),
        _ => format!("{} of {}: {}", bad, frames.len(), list.join(", ")),
    };
    // Cloud and ghosts in a frame or two are nobody's fault.
    match to_mend || bad * 10 > frames.len() {
        true => point(
            "frames",
            Verdict::Mend,
            found,
            "look at these frames, fix the cause and rehearse again",
        ),
        false => point("frames", Verdict::Good, found, ""),
    }
}
