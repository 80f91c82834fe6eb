//! The eclipse at one place: contacts, and where Sun and Moon stand at an instant.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::{MoonLimb, Site, Utc};

/// What an eclipse is somewhere on Earth.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum EclipseKind {
    /// Only partial anywhere.
    Partial,
    /// Annular along its track.
    Annular,
    /// Total along its track.
    Total,
    /// Annular on some of its track, total on the rest.
    Hybrid,
}

/// What an eclipse is at one place, by geometry; whether the Sun is up is another question.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum LocalKind {
    /// The Moon misses the Sun.
    None,
    /// Only partial.
    Partial,
    /// The Moon stands wholly inside the Sun.
    Annular,
    /// The Moon covers the Sun.
    Total,
}

/// The instants that have names.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
pub enum ContactKind {
    /// First contact: the partial phase begins.
    C1,
    /// Second contact: totality or annularity begins.
    C2,
    /// Maximum: least separation of the centres.
    #[serde(rename = "maximum")]
    Maximum,
    /// Third contact: totality or annularity ends.
    C3,
    /// Fourth contact: the partial phase ends.
    C4,
}

impl ContactKind {
    /// The word used in every output.
    pub fn word(self) -> &'static str {
        match self {
            Self::C1 => "C1",
            Self::C2 => "C2",
            Self::Maximum => "maximum",
            Self::C3 => "C3",
            Self::C4 => "C4",
        }
    }
}

/// Sun and Moon as seen from one place at one instant.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct SunMoon {
    /// The instant.
    pub utc: Utc,
    /// Apparent radius of the Sun in seconds of arc, airless.
    pub sun_radius_arcsec: f64,
    /// Apparent radius of the Moon (mean limb) in seconds of arc, airless.
    pub moon_radius_arcsec: f64,
    /// Moon's centre minus Sun's centre towards celestial east, in seconds of arc, airless.
    pub moon_east_arcsec: f64,
    /// Moon's centre minus Sun's centre towards celestial north, in seconds of arc, airless.
    pub moon_north_arcsec: f64,
    /// Covered fraction of the Sun's area, 0 to 1.
    pub obscuration: f64,
    /// Covered fraction of the Sun's diameter; above 1 in totality, 0 when the discs are apart.
    pub magnitude: f64,
    /// Altitude of the Sun's centre in degrees, without air.
    pub sun_alt_deg: f64,
    /// Altitude of the Sun's centre in degrees as refracted by standard air.
    pub sun_alt_refracted_deg: f64,
    /// Azimuth of the Sun in degrees from north through east.
    pub sun_az_deg: f64,
    /// Parallactic angle in degrees, -180 to 180: position angle of the zenith at the Sun, so `q = P - V`.
    pub parallactic_deg: f64,
    /// Height of the refracted disc over its width (1 high in the sky, below 1 near the horizon).
    pub vertical_squeeze: f64,
}

impl SunMoon {
    /// Distance of the centres in seconds of arc.
    pub fn separation_arcsec(&self) -> f64 {
        self.moon_east_arcsec.hypot(self.moon_north_arcsec)
    }

    /// Position angle of the Moon's centre seen from the Sun's, degrees from north through east, 0 to 360.
    pub fn position_angle_deg(&self) -> f64 {
        self.moon_east_arcsec
            .atan2(self.moon_north_arcsec)
            .to_degrees()
            .rem_euclid(360.0)
    }

    /// Moon radius over Sun radius.
    pub fn ratio(&self) -> f64 {
        self.moon_radius_arcsec / self.sun_radius_arcsec
    }

    /// Moon's centre from the Sun's towards celestial east and north as refracted air shows it, in solar radii: the part
    /// towards the zenith is shortened by [`SunMoon::vertical_squeeze`].
    pub fn refracted_moon_offset(&self) -> (f64, f64) {
        let (sin_q, cos_q) = self.parallactic_deg.to_radians().sin_cos();
        let up = self.moon_east_arcsec * sin_q + self.moon_north_arcsec * cos_q;
        let lost = up * (1.0 - self.vertical_squeeze);
        (
            (self.moon_east_arcsec - lost * sin_q) / self.sun_radius_arcsec,
            (self.moon_north_arcsec - lost * cos_q) / self.sun_radius_arcsec,
        )
    }

    /// Moon's centre from the Sun's in picture axes (x right, y down), in solar radii, refraction included.
    ///
    /// `north_deg` is the angle of celestial north, anticlockwise from picture up. In a picture that is not mirrored
    /// east lies a quarter turn anticlockwise from north; in a mirrored one, clockwise.
    pub fn moon_offset_in_picture(&self, north_deg: f64, mirrored: bool) -> (f64, f64) {
        let (sin, cos) = north_deg.to_radians().sin_cos();
        let (east, north) = self.refracted_moon_offset();
        let east = if mirrored { -east } else { east };
        // Up-axis components: north points at (-sin, cos) in (right, up); east a quarter turn further.
        let right = -sin * north - cos * east;
        let up = cos * north - sin * east;
        (right, -up)
    }

    /// Direction of the zenith in a picture, degrees anticlockwise from picture up, for a picture turned as in
    /// [`SunMoon::moon_offset_in_picture`].
    pub fn zenith_in_picture_deg(&self, north_deg: f64, mirrored: bool) -> f64 {
        let hand = if mirrored { -1.0 } else { 1.0 };
        let angle = north_deg + hand * self.parallactic_deg;
        (angle + 180.0).rem_euclid(360.0) - 180.0
    }
}

/// One named instant at one place.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct ContactEvent {
    /// Which one.
    pub kind: ContactKind,
    /// When.
    pub utc: Utc,
    /// One sigma of the time in seconds: lunar limb, rotation of the Earth, position.
    pub sigma_s: f64,
    /// Sun and Moon then.
    pub sky: SunMoon,
    /// Position angle of the contact point on the Sun's limb (of the Moon's centre at maximum), degrees from north
    /// through east, 0 to 360.
    pub position_angle_deg: f64,
    /// The same from the zenith, degrees, 0 to 360.
    pub vertex_angle_deg: f64,
    /// Whether the Sun's upper limb is above a flat horizon, refraction included.
    pub sun_up: bool,
}

/// How narrowly a place gets a central phase on the real limb, or misses it; at the deepest instant.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, schemars::JsonSchema)]
pub struct LimbMargin {
    /// What the limbs can give way before sunlight passes the Moon all along (before the ring stays broken all along), seconds of
    /// arc; negative where it does.
    pub covered_arcsec: f64,
    /// One sigma of that: height map, Sun's radius, turn of the Earth, place.
    pub sigma_arcsec: f64,
    /// Position angle of the valley (or mountain) that decides, degrees from north through east, 0 to 360.
    pub position_angle_deg: f64,
}

impl LimbMargin {
    /// Whether two sigmas the other way would change the answer.
    pub fn is_doubtful(&self) -> bool {
        self.covered_arcsec.abs() < 2.0 * self.sigma_arcsec
    }
}

/// The eclipse at one place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Contacts {
    /// Date (TT) of greatest eclipse on Earth: the eclipse's name.
    #[schemars(with = "String")]
    pub eclipse_date: jiff::civil::Date,
    /// What the eclipse is along its track.
    pub eclipse_kind: EclipseKind,
    /// The place.
    pub site: Site,
    /// What it is here.
    pub kind: LocalKind,
    /// First contact.
    pub c1: ContactEvent,
    /// Second contact, where there is one.
    pub c2: Option<ContactEvent>,
    /// Maximum.
    pub maximum: ContactEvent,
    /// Third contact, where there is one.
    pub c3: Option<ContactEvent>,
    /// Fourth contact.
    pub c4: ContactEvent,
    /// Fraction of the solar diameter covered at maximum.
    pub magnitude: f64,
    /// Fraction of the solar area covered at maximum.
    pub obscuration: f64,
    /// TT minus UT1 used, in seconds.
    pub delta_t_s: f64,
    /// Which limb C2 and C3 rest on; C1, C4, magnitude and obscuration are those of the mean one.
    #[serde(default)]
    pub limb: MoonLimb,
    /// With the real limb, where the discs overlap within 8": how narrowly.
    #[serde(default)]
    pub limb_margin: Option<LimbMargin>,
}

/// Where the path of totality or annularity lies, from a place outside it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct NearPath {
    /// What it is within the path: total or annular.
    pub kind: LocalKind,
    /// Kilometres to the nearest place of the path.
    pub limit_km: f64,
    /// Which limb that is by.
    #[serde(default)]
    pub limit_limb: MoonLimb,
    /// Bearing there in degrees from north through east.
    pub limit_bearing_deg: f64,
    /// Kilometres to the central line, straight on from there, where the line was reached.
    pub line_km: Option<f64>,
    /// Bearing there in degrees from north through east.
    pub line_bearing_deg: Option<f64>,
    /// Seconds the central phase lasts there.
    pub line_duration_s: Option<f64>,
    /// Whether the Sun is up there at maximum.
    pub line_sun_up: bool,
}

impl NearPath {
    /// One sentence: how far the path is and which way, and how long the central phase lasts on its central line.
    pub fn words(&self) -> String {
        let phase = match self.kind {
            LocalKind::Annular => "annularity",
            _ => "totality",
        };
        let far = |km: f64| match km {
            km if km < 20.0 => format!("{km:.1} km"),
            km => format!("{km:.0} km"),
        };
        let mut text = format!(
            "The edge of the path of {phase} lies {} {} of here",
            far(self.limit_km),
            compass_words(self.limit_bearing_deg)
        );
        if let (Some(km), Some(bearing)) = (self.line_km, self.line_bearing_deg) {
            text += &format!(
                "; its central line runs {} {}",
                far(km),
                compass_words(bearing)
            );
            if let Some(s) = self.line_duration_s {
                let sun = if self.line_sun_up {
                    ""
                } else {
                    ", with the Sun down"
                };
                text += &format!(
                    ", where {phase} lasts {:.0} min {:02.0} s{sun}",
                    (s / 60.0).floor(),
                    (s % 60.0).floor()
                );
            }
        }
        text + "."
    }
}

/// One of eight directions in words, for a bearing in degrees from north through east.
fn compass_words(bearing_deg: f64) -> &'static str {
    const WORDS: [&str; 8] = [
        "north",
        "north-east",
        "east",
        "south-east",
        "south",
        "south-west",
        "west",
        "north-west",
    ];
    WORDS[(bearing_deg.rem_euclid(360.0) / 45.0).round() as usize % 8]
}

impl Contacts {
    /// The events in time order, absent ones left out.
    pub fn events(&self) -> impl Iterator<Item = &ContactEvent> {
        [
            Some(&self.c1),
            self.c2.as_ref(),
            Some(&self.maximum),
            self.c3.as_ref(),
            Some(&self.c4),
        ]
        .into_iter()
        .flatten()
    }

    /// Length of totality or annularity in seconds, where there is one.
    pub fn central_duration_s(&self) -> Option<f64> {
        Some(self.c3?.utc.seconds_since(self.c2?.utc))
    }
}
