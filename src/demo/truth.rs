//! What the drawn card really shows, for measuring; kept apart from the card.

use serde::Serialize;

use super::aim::Placement;
use super::body::Body;
use super::scenario::{Fault, PlannedShot, Scenario, Subject};
use super::sky::TrueContacts;
use crate::domain::{Circle, Flags, Phase, Role, Site, Utc};

/// The truth of a card.
#[derive(Clone, Debug, Serialize)]
pub struct DemoTruth {
    /// What was drawn.
    pub scenario: String,
    /// Where.
    pub site: Site,
    /// The contacts, from the same source as the places of the discs: C2 and C3 on the real limb that was drawn.
    pub contacts: TrueContacts,
    /// The cameras.
    pub cameras: Vec<CameraTruth>,
    /// Every picture, in true time order.
    pub frames: Vec<FrameTruth>,
    /// Files that are no pictures.
    pub strays: Vec<String>,
}

/// The truth of one body.
#[derive(Clone, Debug, Serialize)]
pub struct CameraTruth {
    /// Make and model.
    pub camera: String,
    /// Long lens or wide view.
    pub role: Role,
    /// What the clock was set to: local minus UTC, in seconds.
    pub zone_offset_s: i32,
    /// Camera minus true local time, in seconds.
    pub clock_error_s: f64,
    /// Scale at the picture's centre in seconds of arc per pixel.
    pub arcsec_per_px: f64,
}

/// The truth of one frame. Pixel axes after turning upright: x right, y down, (0, 0) the centre of the top-left pixel.
#[derive(Clone, Debug, Serialize)]
pub struct FrameTruth {
    /// Path below the card.
    pub file: String,
    /// Make and model.
    pub camera: String,
    /// Long lens or wide view.
    pub role: Role,
    /// True time of the start of the exposure.
    pub utc: Utc,
    /// True time of its middle: the discs are placed for it.
    pub utc_mid: Utc,
    /// True open time in seconds.
    pub shutter_s: f64,
    /// True focal ratio.
    pub f_number: f64,
    /// ISO speed.
    pub iso: f64,
    /// Stops of the filter, 0 without one.
    pub filter_stops: f64,
    /// The part of the eclipse at the start of the exposure.
    pub phase: Phase,
    /// Number of its burst, in time order.
    pub burst: Option<u32>,
    /// Place in its burst, from 1.
    pub burst_index: Option<u32>,
    /// The Sun, in or out of the frame; the radius is the airless one.
    pub sun: Option<Circle>,
    /// The Moon.
    pub moon: Option<Circle>,
    /// Angle of celestial north, anticlockwise from picture up, in degrees.
    pub north_deg: Option<f64>,
    /// Angle of the zenith, likewise.
    pub zenith_deg: Option<f64>,
    /// Height of the refracted disc over its width.
    pub squeeze: Option<f64>,
    /// Covered fraction of the Sun's area.
    pub obscuration: Option<f64>,
    /// Fraction of saturation for radiance 1 (the mean disc), filter and (long lens only) air included, by colour.
    pub gain: [f64; 3],
    /// What a careful person would flag.
    pub flags: Flags,
}

/// Windows about the contacts, in seconds (the program's defaults, stated anew): before and after second contact of a
/// total eclipse; mirrored at third; either side for an annular one.
const BEFORE_C2_S: f64 = 20.0;
const AFTER_C2_S: f64 = 5.0;
const ANNULAR_S: f64 = 15.0;

/// The part of the eclipse at an instant.
pub(super) fn phase_at(utc: Utc, contacts: &TrueContacts, total: bool) -> Phase {
    let since = |contact: Utc| utc.seconds_since(contact);
    if since(contacts.maximum).abs() > 86_400.0 {
        return Phase::Unrelated;
    }
    if since(contacts.c1) < 0.0 {
        return Phase::Before;
    }
    if since(contacts.c4) >= 0.0 {
        return Phase::After;
    }
    let (Some(c2), Some(c3)) = (contacts.c2, contacts.c3) else {
        return if since(contacts.maximum) < 0.0 {
            Phase::Ingress
        } else {
            Phase::Egress
        };
    };
    let (outside, inside) = if total {
        (BEFORE_C2_S, AFTER_C2_S)
    } else {
        (ANNULAR_S, ANNULAR_S)
    };
    match (since(c2), since(c3)) {
        (t, _) if t < -outside => Phase::Ingress,
        (t, _) if t < inside => Phase::SecondContact,
        (_, t) if t < -inside => {
            if total {
                Phase::Totality
            } else {
                Phase::Annularity
            }
        }
        (_, t) if t < outside => Phase::ThirdContact,
        _ => Phase::Egress,
    }
}

/// The truth of a planned frame.
pub(super) fn frame_truth(
    scenario: &Scenario,
    shot: &PlannedShot,
    file: &str,
    placed: Option<&Placement>,
) -> FrameTruth {
    let body = &scenario.bodies[shot.body];
    let exposure = shot.dials.true_exposure();
    let utc_mid = middle(shot);
    let sky = placed.and_then(|_| scenario.sky.at(utc_mid));
    let total = scenario
        .sky
        .at(scenario.sky.contacts().maximum)
        .is_some_and(|s| s.ratio() > 1.0);
    let phase = match (shot.fault, shot.subject) {
        (Fault::Truncated, _) => Phase::Unreadable,
        (_, Subject::Ordinary(_)) => Phase::Unrelated,
        _ => phase_at(shot.start, scenario.sky.contacts(), total),
    };
    FrameTruth {
        file: file.to_owned(),
        camera: body.id.make_model(),
        role: body.role,
        utc: shot.start,
        utc_mid,
        shutter_s: exposure.shutter_s,
        f_number: exposure.f_number,
        iso: exposure.iso,
        filter_stops: shot.filter_stops,
        phase,
        burst: shot.burst.map(|b| b.id),
        burst_index: shot.burst.map(|b| b.index),
        sun: placed.map(|p| p.sun),
        moon: placed.map(|p| p.moon),
        north_deg: placed.map(|p| p.north_deg),
        zenith_deg: placed.map(|p| p.zenith_deg),
        squeeze: placed.map(|p| p.squeeze),
        obscuration: sky.map(|s| s.obscuration()),
        gain: gain(scenario, shot),
        flags: shot.flags.clone(),
    }
}

/// True time of the middle of the exposure.
pub(super) fn middle(shot: &PlannedShot) -> Utc {
    shot.start
        .plus_s(shot.dials.true_exposure().shutter_s / 2.0)
}

/// Fraction of saturation for radiance 1, by colour: exposure, filter and air. In a landscape the air is part of the
/// painting and left out here.
pub(super) fn gain(scenario: &Scenario, shot: &PlannedShot) -> [f64; 3] {
    if matches!(shot.subject, Subject::Landscape | Subject::Ordinary(_)) {
        return [shot.dials.true_exposure().gain(); 3];
    }
    let through = match scenario.sky.at(middle(shot)) {
        Some(sky) => scenario.air.transmission(sky.alt_refracted_deg),
        None => [1.0; 3],
    };
    let gain = shot.dials.true_exposure().gain() * 2_f64.powf(-shot.filter_stops);
    let filtered = shot.filter_stops > 0.0;
    std::array::from_fn(|c| {
        gain * through[c]
            * if filtered {
                scenario.filter_colour[c]
            } else {
                1.0
            }
    })
}

/// The truth of a body.
pub(super) fn camera_truth(body: &Body) -> CameraTruth {
    let px_per_rad = body.focal_mm / body.sensor_width_mm * f64::from(body.width_px);
    CameraTruth {
        camera: body.id.make_model(),
        role: body.role,
        zone_offset_s: body.zone_offset_s,
        clock_error_s: body.clock_error_s,
        arcsec_per_px: (1.0 / px_per_rad).to_degrees() * 3600.0,
    }
}

/// Column names of `truth.csv`.
const COLUMNS: [&str; 25] = [
    "file",
    "camera",
    "role",
    "utc",
    "utc_mid",
    "shutter_s",
    "f_number",
    "iso",
    "filter_stops",
    "phase",
    "burst",
    "burst_index",
    "sun_x_px",
    "sun_y_px",
    "sun_radius_px",
    "moon_x_px",
    "moon_y_px",
    "moon_radius_px",
    "north_deg",
    "squeeze",
    "obscuration",
    "gain_red",
    "gain_green",
    "gain_blue",
    "flags",
];

impl DemoTruth {
    /// The frames as a table; what does not apply stays blank.
    ///
    /// # Errors
    /// Those of `out`.
    pub fn write_table(&self, out: &mut dyn std::io::Write) -> std::io::Result<()> {
        let mut table = csv::Writer::from_writer(out);
        table.write_record(COLUMNS)?;
        for frame in &self.frames {
            table.write_record(frame.cells())?;
        }
        table.flush()
    }

    /// The truth of a file, by its path below the card.
    pub fn frame(&self, file: &str) -> Option<&FrameTruth> {
        self.frames.iter().find(|f| f.file == file)
    }
}

impl FrameTruth {
    fn cells(&self) -> [String; COLUMNS.len()] {
        let number = |value: Option<f64>| value.map_or_else(String::new, |v| format!("{v:.5}"));
        let whole = |value: Option<u32>| value.map_or_else(String::new, |v| v.to_string());
        let circle = |c: Option<Circle>| {
            [c.map(|c| c.x_px), c.map(|c| c.y_px), c.map(|c| c.radius_px)].map(number)
        };
        let [sx, sy, sr] = circle(self.sun);
        let [mx, my, mr] = circle(self.moon);
        let [red, green, blue] = self.gain.map(|g| format!("{g:.6e}"));
        [
            self.file.clone(),
            self.camera.clone(),
            self.role.word().to_owned(),
            self.utc.to_string(),
            self.utc_mid.to_string(),
            format!("{:.7}", self.shutter_s),
            format!("{:.4}", self.f_number),
            self.iso.to_string(),
            self.filter_stops.to_string(),
            self.phase.word().to_owned(),
            whole(self.burst),
            whole(self.burst_index),
            sx,
            sy,
            sr,
            mx,
            my,
            mr,
            number(self.north_deg),
            number(self.squeeze),
            number(self.obscuration),
            red,
            green,
            blue,
            self.flags.to_string(),
        ]
    }
}
