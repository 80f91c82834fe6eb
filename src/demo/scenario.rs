//! What a card shows: the place, the sky, the cameras, and every frame in turn.

use super::DemoError;
use super::aim::{Aim, View};
use super::body::Body;
use super::exposure::Dials;
use super::limb::LimbTable;
use super::sensor::Air;
use super::sky::{Light, SkyTable};
use crate::domain::{BurstPlace, Flags, Orientation, Site, Utc};

/// What stands before the lens.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Subject {
    /// The Sun through the long lens.
    Sun,
    /// The cover is on.
    Cover,
    /// The landscape under the eclipse.
    Landscape,
    /// An ordinary scene of another day; the number picks which.
    Ordinary(u32),
}

/// What went wrong with a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// Nothing.
    None,
    /// Out of focus.
    Soft,
    /// Thin cloud.
    Cloud,
    /// The file breaks off.
    Truncated,
}

/// One frame to be drawn.
#[derive(Clone, Debug)]
pub struct PlannedShot {
    /// Which body of the scenario.
    pub body: usize,
    /// True time of the start of the exposure.
    pub start: Utc,
    /// Settings.
    pub dials: Dials,
    /// Stops of the filter before the lens; 0 without one.
    pub filter_stops: f64,
    /// Where the camera points.
    pub aim: Aim,
    /// What it sees.
    pub subject: Subject,
    /// What went wrong.
    pub fault: Fault,
    /// Place in its burst, where it is in one.
    pub burst: Option<BurstPlace>,
    /// Stops over the middle of its bracket, where it is in one.
    pub bias_stops: i32,
    /// How the stored pixels lie.
    pub orientation: Orientation,
    /// Seconds by which the position fix lags, where the camera wrote one.
    pub gps_lag_s: Option<f64>,
    /// What a careful person would flag.
    pub flags: Flags,
}

/// All that is needed to draw a card.
#[derive(Clone, Debug)]
pub struct Scenario {
    /// A word for the truth file.
    pub name: String,
    /// Where the cameras stand.
    pub site: Site,
    /// Sun and Moon there.
    pub sky: SkyTable,
    /// The Moon's limb there.
    pub limb: LimbTable,
    /// Planets and stars in totality.
    pub lights: Vec<Light>,
    /// The air.
    pub air: Air,
    /// Position angles (degrees) of the largest prominences.
    pub flames_deg: Vec<f32>,
    /// Colour of the filter: transmission of red, green and blue over its mean.
    pub filter_colour: [f64; 3],
    /// The cameras.
    pub bodies: Vec<Body>,
    /// The frames, in true time order.
    pub shots: Vec<PlannedShot>,
    /// Files that are not pictures, films among them: path below the card and contents.
    pub strays: Vec<(String, Vec<u8>)>,
    /// Seed of every random choice.
    pub seed: u64,
    /// JPEG quality, 1 to 100.
    pub jpeg_quality: u8,
}

/// Stops of a full-aperture solar filter (common practice).
pub const FILTER_STOPS: f64 = 16.0;

impl Scenario {
    /// The aim of a body that puts the Sun at a pixel, counted right and down from the picture's centre, at an instant.
    /// `roll_deg` is the angle of the zenith, anticlockwise from picture up.
    ///
    /// # Errors
    /// [`DemoError::NoSky`] outside the sky table.
    pub fn aimed(
        &self,
        body: usize,
        utc: Utc,
        roll_deg: f64,
        (right_px, down_px): (f64, f64),
    ) -> Result<Aim, DemoError> {
        let sky = self.sky.at(utc).ok_or(DemoError::NoSky(utc))?;
        let level = Aim {
            alt_deg: 0.0,
            az_deg: 0.0,
            roll_deg,
        };
        let view = View::new(&self.bodies[body], level, false);
        let (cx, cy) = view.centre();
        Ok(view.with_sun_at(&sky, cx + right_px, cy + down_px).aim)
    }
}
