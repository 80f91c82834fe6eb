//! The built-in card: the total eclipse of 2019-07-02 near Vicuna, Chile.

use super::body::Body;
use super::film;
use super::limb::LimbTable;
use super::scenario::Scenario;
use super::schedule;
use super::sensor::Air;
use super::sky::{SkyTable, parse_lights};
use super::{DemoError, DemoOptions};
use crate::domain::{CameraId, Role, Site};

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
