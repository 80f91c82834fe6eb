//! Where the diamond will stand, or the ring close and break, as the camera sees it.

use serde::Serialize;

use super::input::PlanInput;
use crate::domain::{ContactKind, LimbLight, LocalKind, clock_face};

/// Which celestial pole is up at a place.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Pole {
    /// The northern one.
    North,
    /// The southern one.
    South,
}

impl Pole {
    /// The pole above the horizon.
    pub(super) fn of_latitude(lat_deg: f64) -> Self {
        if lat_deg < 0.0 {
            Self::South
        } else {
            Self::North
        }
    }

    /// "north", "south".
    pub fn word(self) -> &'static str {
        match self {
            Self::North => "north",
            Self::South => "south",
        }
    }

    /// Angle of celestial north anticlockwise from picture up, where this pole is up.
    pub(super) fn north_deg(self) -> f64 {
        match self {
            Self::North => 0.0,
            Self::South => 180.0,
        }
    }
}

/// A place on the limb, as told and drawn.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LimbLightLine {
    /// Where it is on the sky.
    #[serde(flatten)]
    pub light: LimbLight,
    /// Whether it is a diamond: not where the eclipse is annular.
    pub diamond: bool,
    /// Where on a clock face, zenith up, as on a level tripod.
    pub zenith_up: String,
    /// Which celestial pole is up in the other view.
    pub pole: Pole,
    /// Where on a clock face, that pole up, as on a mount that turns about the pole with the camera square to it.
    pub pole_up: String,
}

/// The places with the Sun up there, in time order.
pub(super) fn lines(input: &PlanInput<'_>) -> Vec<LimbLightLine> {
    let contacts = input.contacts;
    let pole = Pole::of_latitude(contacts.site.lat_deg);
    let seen = |light: &&LimbLight| {
        let event = match light.contact {
            ContactKind::C2 => contacts.c2,
            ContactKind::C3 => contacts.c3,
            _ => None,
        };
        event.is_some_and(|e| e.sun_up)
    };
    let lights = input.limb_lights.iter().filter(seen);
    lights
        .map(|light| LimbLightLine {
            light: light.clone(),
            diamond: contacts.kind == LocalKind::Total,
            zenith_up: clock_face(light.vertex_angle_deg),
            pole,
            pole_up: clock_face(light.position_angle_deg + pole.north_deg()),
        })
        .collect()
}

impl LimbLightLine {
    /// "C2: at 2 o'clock with the zenith up (V 298), at half past 4 with celestial north up (P 224)".
    pub fn words(&self) -> String {
        format!(
            "{}: about {} with the zenith up (V {:.0}), about {} with celestial {} up (P {:.0}).",
            self.light.contact.word(),
            self.zenith_up,
            whole_turn(self.light.vertex_angle_deg),
            self.pole_up,
            self.pole.word(),
            whole_turn(self.light.position_angle_deg)
        )
    }
}

/// The angle in whole degrees, 0 to 359.
fn whole_turn(deg: f64) -> f64 {
    deg.round().rem_euclid(360.0)
}
