//! What a card shows: the place, the sky, the cameras, and every frame in turn.

use super::aim::{Aim, View};
use super::exposure::Dials;
use super::film;
use super::limb::LimbTable;
use super::schedule;
use super::sensor::Air;
use super::sky::{Light, SkyTable, parse_lights};
use super::{DemoError, DemoOptions};
use crate::domain::{BurstPlace, CameraId, Flags, Orientation, Role, Site, Utc};

/// A camera body with its lens and its clock.
#[derive(Clone, Debug)]
pub struct Body {
    /// Make, model, serial.
    pub id: CameraId,
    /// Long lens or wide view.
    pub role: Role,
    /// Folder number on the card (100 to 999) and its five letters.
    pub folder: (u32, &'static str),
    /// Number of the first file, 1 to 9999; after 9999 comes 1 in the next folder.
    pub first_file: u32,
    /// Pixels along the long side.
    pub width_px: u32,
    /// Pixels along the short side.
    pub height_px: u32,
    /// Width of the sensor in millimetres.
    pub sensor_width_mm: f64,
    /// Focal length in millimetres.
    pub focal_mm: f64,
    /// What the camera takes for its zone: local minus UTC, in seconds.
    pub zone_offset_s: i32,
    /// Camera minus true local time, in seconds.
    pub clock_error_s: f64,
    /// Whether the clock writes hundredths of a second; otherwise readings are cut off to whole seconds.
    pub subsec: bool,
    /// Electrons at saturation, ISO 100, per pixel of the (reduced) picture.
    pub full_well_e: f64,
    /// Read noise in electrons, likewise.
    pub read_noise_e: f64,
    /// Blur of lens and air: sigma of a Gaussian, in pixels.
    pub blur_px: f64,
}

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
    /// The total eclipse of 2019-07-02 seen from near Vicuna, Chile: a long lens and a wide view, some 120 frames.
    ///
    /// # Errors
    /// [`DemoError::Sky`] and [`DemoError::Limb`] should a built-in table be broken.
    pub fn vicuna_2019(options: &DemoOptions) -> Result<Self, DemoError> {
        let mut scenario = Self {
            name: "2019-07-02 near Vicuna, Chile".to_owned(),
            site: Site {
                lat_deg: -30.03,
                lon_deg: -70.71,
                elev_m: 600.0,
            },
            sky: SkyTable::parse(include_str!("sky.csv"))?,
            limb: LimbTable::parse(include_bytes!("limb.bin"))?,
            lights: parse_lights(include_str!("lights.csv")),
            air: Air {
                extinction_mag: [0.10, 0.15, 0.23],
                white_at_alt_deg: 14.0,
            },
            flames_deg: vec![105.0, 278.0],
            filter_colour: [1.36, 0.94, 0.46],
            bodies: vec![long_body(options), wide_body(options)],
            shots: Vec::new(),
            strays: vec![note()],
            seed: options.seed,
            jpeg_quality: options.jpeg_quality,
        };
        scenario.shots = schedule::vicuna_2019(&scenario)?;
        let wide = scenario.bodies.len() - 1;
        let film = film::film(wide, &scenario.bodies[wide], &scenario.shots);
        scenario.strays.extend(film);
        Ok(scenario)
    }

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

/// Chile's winter time, UTC-4.
const ZONE_OFFSET_S: i32 = -4 * 3600;

fn long_body(options: &DemoOptions) -> Body {
    Body {
        id: CameraId {
            make: "Demo".to_owned(),
            model: "Long 600".to_owned(),
            serial: Some("L6-00117".to_owned()),
        },
        role: Role::Tele,
        folder: (100, "LONGB"),
        first_file: 9951,
        width_px: options.width_px,
        height_px: options.width_px * 2 / 3,
        sensor_width_mm: 23.5,
        focal_mm: 600.0,
        zone_offset_s: ZONE_OFFSET_S,
        clock_error_s: 37.4,
        subsec: true,
        full_well_e: 150_000.0,
        read_noise_e: 12.0,
        blur_px: 0.85,
    }
}

fn wide_body(options: &DemoOptions) -> Body {
    Body {
        id: CameraId {
            make: "Demo".to_owned(),
            model: "Wide 24".to_owned(),
            serial: Some("W2-00408".to_owned()),
        },
        role: Role::Wide,
        folder: (102, "WIDEB"),
        first_file: 18,
        width_px: options.width_px,
        height_px: options.width_px * 2 / 3,
        sensor_width_mm: 36.0,
        focal_mm: 24.0,
        zone_offset_s: ZONE_OFFSET_S,
        clock_error_s: -72.0,
        subsec: false,
        full_well_e: 180_000.0,
        read_noise_e: 10.0,
        blur_px: 0.7,
    }
}

/// A note.
fn note() -> (String, Vec<u8>) {
    let note = "Valley road, gate at km 14. Filter OFF at C2 -20 s, back ON at C3 +20 s.\n";
    ("notes.txt".to_owned(), note.as_bytes().to_vec())
}
