//! The Sun's way over the horizon, and what the horizon hides of it.

use serde::Serialize;

use super::input::PlanInput;
use super::skyline::{Skyline, SkylinePoint};
use super::times::{Rounding, clock_time};
use crate::domain::{SunMoon, Utc};

/// Where the Sun stands at an instant.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct PathPoint {
    /// When.
    pub utc: Utc,
    /// Azimuth in degrees from north through east; it runs on beyond 360 or below 0 rather than jump.
    pub az_deg: f64,
    /// Altitude of the Sun's centre in degrees, refraction included.
    pub alt_deg: f64,
}

/// How the Sun stands to the measured horizon.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Sight {
    /// The whole disc is above it.
    Clear,
    /// It cuts the disc.
    Cut,
    /// The whole disc is below it.
    Hidden,
}

impl Sight {
    /// "clear", "cut", "hidden".
    pub fn word(self) -> &'static str {
        match self {
            Self::Clear => "clear",
            Self::Cut => "cut",
            Self::Hidden => "hidden",
        }
    }
}

/// A stretch of time.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Span {
    /// Its start.
    pub from_utc: Utc,
    /// The same in local time.
    pub from_local: String,
    /// Its end.
    pub to_utc: Utc,
    /// The same in local time.
    pub to_local: String,
}

/// The measured horizon and what it hides between first and last contact.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct HorizonReport {
    /// Its points.
    pub points: Vec<SkylinePoint>,
    /// When it hides the Sun, wholly or in part.
    pub hidden: Vec<Span>,
    /// Whether it says nothing somewhere below the Sun's way: taken as flat there.
    pub silent: bool,
}

/// Seconds before first and after last contact that the path is drawn, to show where the Sun comes from.
const MARGIN_S: f64 = 900.0;

/// Steps of the path.
const STEPS: u32 = 90;

/// The Sun's path about the eclipse, without what is more than a degree below a flat horizon.
pub(super) fn path(input: &PlanInput<'_>) -> Vec<PathPoint> {
    let first = input.contacts.c1.utc.plus_s(-MARGIN_S);
    let length_s = input.contacts.c4.utc.seconds_since(first) + MARGIN_S;
    let mut points: Vec<PathPoint> = Vec::new();
    for n in 0..=STEPS {
        let sky = (input.sky)(first.plus_s(length_s * f64::from(n) / f64::from(STEPS)));
        let near_deg = points.last().map_or(sky.sun_az_deg, |p| p.az_deg);
        points.push(PathPoint {
            utc: sky.utc,
            az_deg: near(sky.sun_az_deg, near_deg),
            alt_deg: sky.sun_alt_refracted_deg,
        });
    }
    points.retain(|p| p.alt_deg > -1.0);
    points
}

/// The azimuth plus or less whole turns, within half a turn of another.
pub(super) fn near(az_deg: f64, other_deg: f64) -> f64 {
    az_deg + 360.0 * ((other_deg - az_deg) / 360.0).round()
}

/// Degrees of the Sun's centre above the horizon, which is flat where nothing is known of it.
pub(super) fn clearance_deg(skyline: &Skyline, sky: &SunMoon) -> f64 {
    sky.sun_alt_refracted_deg - skyline.altitude_deg(sky.sun_az_deg).unwrap_or(0.0)
}

/// How the Sun stands to the horizon; its slope across the disc is left out.
pub(super) fn sight(skyline: &Skyline, sky: &SunMoon) -> Sight {
    let radius_deg = sky.sun_radius_arcsec / 3600.0;
    match clearance_deg(skyline, sky) {
        above if above >= radius_deg => Sight::Clear,
        above if above > -radius_deg => Sight::Cut,
        _ => Sight::Hidden,
    }
}

/// What the horizon hides; `None` where none is given.
pub(super) fn report(input: &PlanInput<'_>) -> Option<HorizonReport> {
    let skyline = input.skyline.as_ref()?;
    let clear = |utc: Utc| sight(skyline, &(input.sky)(utc)) == Sight::Clear;
    let (first, last) = (input.contacts.c1.utc, input.contacts.c4.utc);
    let steps = (last.seconds_since(first) / LOOK_S).ceil().max(1.0) as u32;
    let mut hidden: Vec<(Utc, Utc)> = Vec::new();
    let (mut before, mut was_clear) = (first, clear(first));
    let mut since = (!was_clear).then_some(first);
    for n in 1..=steps {
        let here = first.plus_s((f64::from(n) * LOOK_S).min(last.seconds_since(first)));
        let is_clear = clear(here);
        if is_clear != was_clear {
            let turn = turn(before, here, &|utc| clear(utc) == was_clear);
            match since.take() {
                Some(from) => hidden.push((from, turn)),
                None => since = Some(turn),
            }
        }
        (before, was_clear) = (here, is_clear);
    }
    hidden.extend(since.map(|from| (from, last)));
    let local = |utc| clock_time(utc, &input.zone, Rounding::Nearest);
    Some(HorizonReport {
        points: skyline.points.clone(),
        hidden: hidden
            .into_iter()
            .map(|(from_utc, to_utc)| Span {
                from_utc,
                from_local: local(from_utc),
                to_utc,
                to_local: local(to_utc),
            })
            .collect(),
        silent: path(input)
            .iter()
            .any(|p| skyline.altitude_deg(p.az_deg).is_none()),
    })
}

/// Seconds from look to look: the Sun moves a twelfth of a degree, a third of its radius.
const LOOK_S: f64 = 20.0;

/// The last instant, to a tenth of a second, up to which something holds that holds at `from` and no more at `to`.
fn turn(from: Utc, to: Utc, holds: &dyn Fn(Utc) -> bool) -> Utc {
    let (mut low, mut high) = (from, to);
    while high.seconds_since(low) > 0.1 {
        let middle = low.plus_s(high.seconds_since(low) / 2.0);
        if holds(middle) {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}
