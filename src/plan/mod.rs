//! The sheet to shoot a coming eclipse by.
//!
//! [`sheet()`] turns the eclipse at a place and the gear in the bag into numbers; [`Sheet::text`], [`Sheet::html`] and
//! [`Sheet::json`] set them in type. [`coverage()`] compares a card with what was due.
//! A sheet for a place where the eclipse is not total never speaks of taking filters off.

mod behind;
mod bracket;
mod celestial;
mod chart;
mod course;
mod coverage;
mod diamond;
mod exposure;
mod frame_picture;
mod gear;
mod horizon;
mod html;
mod input;
mod limb_picture;
mod planets;
mod practice;
mod sheet;
mod skyline;
mod stars;
mod text;
mod times;

pub use crate::domain::dial_mark;
pub use bracket::{BracketChoice, Brackets, LATITUDE_STOPS};
pub use course::{Crossing, HorizonReport, PathPoint, Sight, Span};
pub use coverage::coverage;
pub use diamond::{LimbLightLine, Pole};
pub use exposure::{
    BRIGHTEST_Q, FAINTEST_Q, FEATURES, Feature, STOPS_PER_DENSITY, exposure_s, filter_stops_of,
    filtered_q, practice_s,
};
pub use gear::{
    CameraLimits, DEFAULT_MEGAPIXELS, Framing, Gear, SUN_RATE_ARCSEC_S, Sensor, SensorError,
    framing,
};
pub use input::PlanInput;
pub use planets::{PlanetPlace, TOTALITY_LIMIT_MAG, planets_up};
pub use practice::{Rehearsed, Typed};
pub use sheet::{
    CardNeed, ContactLine, FilterMoments, RingPlan, Setting, Sheet, TotalityPlan, TotalityStep,
};
pub use skyline::{Skyline, SkylineError, SkylinePoint};
pub use stars::{StarPlace, stars_up};
pub use times::{
    Countdown, CountdownLine, FIST_DEG, PARTIAL_EVERY_S, PartialLine, Rounding, SUN_UP_DEG,
    calendar_date, clock_time, compass_point, hazy_sun_stops, low_sun_stops,
};

use crate::domain::LocalKind;

/// No sheet can be made.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// The Moon misses the Sun there.
    #[error("no eclipse is to be seen at this place on {0}; try another place or date")]
    NoEclipse(jiff::civil::Date),
    /// A number of the gear is out of range.
    #[error("{what} {value} is outside {least} to {most}")]
    OutOfRange {
        /// Which number.
        what: &'static str,
        /// What was given.
        value: f64,
        /// Least legal value.
        least: f64,
        /// Greatest legal value.
        most: f64,
    },
}

/// Makes the sheet.
///
/// # Errors
/// [`PlanError`] when there is no eclipse at the place or a number of the gear is out of its range.
pub fn sheet(input: &PlanInput<'_>) -> Result<Sheet, PlanError> {
    check(&input.gear)?;
    if input.contacts.kind == LocalKind::None {
        return Err(PlanError::NoEclipse(input.contacts.eclipse_date));
    }
    let mut sheet = sheet::build(input);
    behind::mark(&mut sheet, input);
    Ok(sheet)
}

/// Checks the gear against the ranges its fields document.
fn check(gear: &Gear) -> Result<(), PlanError> {
    let frames = gear.bracket_frames.map_or(3.0, f64::from);
    let step = gear.bracket_step_stops.unwrap_or(1.0);
    let limits = [
        ("focal length in mm", gear.focal_mm, 1.0, 20_000.0),
        ("aperture f/", gear.f_number, 0.5, 128.0),
        ("ISO", gear.iso, 1.0, 1e6),
        ("filter stops", gear.filter_stops, 0.0, 40.0),
        ("bracket frames", frames, 1.0, 15.0),
        ("bracket step in stops", step, 0.3, 5.0),
        ("frames a second", gear.frames_per_s, 0.1, 200.0),
        ("seconds with the filter off", gear.filter_off_s, 0.0, 30.0),
        ("fastest shutter in s", gear.limits.fastest_s, 1e-5, 1e-2),
        ("slowest shutter in s", gear.limits.slowest_s, 0.1, 900.0),
        (
            "most frames of a bracket",
            f64::from(gear.limits.most_frames),
            1.0,
            15.0,
        ),
        (
            "widest step in stops",
            gear.limits.widest_step_stops,
            0.3,
            5.0,
        ),
    ];
    for (what, value, least, most) in limits {
        if !(least..=most).contains(&value) {
            return Err(PlanError::OutOfRange {
                what,
                value,
                least,
                most,
            });
        }
    }
    Ok(())
}
