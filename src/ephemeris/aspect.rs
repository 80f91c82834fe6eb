//! The Moon's direction and distance in the axes its orientation is known in.

use super::frames::{FrameOfDate, obliquity_deg};
use super::view::EclipseView;
use super::{EARTH_RADIUS_KM, tt_from_utc};
use crate::domain::{MoonAspect, Utc};

/// Speed of the Earth over that of light: the constant of aberration, 20.49551" (IAU 1976). The orbit is taken as a circle,
/// which leaves 0.35", 3 m on the Moon.
const EARTH_OVER_LIGHT: f64 = 9.936_5e-5;

impl EclipseView {
    /// The Moon at an instant as its limb needs it; position angles are counted from the true pole of date, as everywhere.
    pub fn moon_aspect(&self, utc: Utc) -> MoonAspect {
        let tt = tt_from_utc(utc);
        let frame = FrameOfDate::at(tt);
        let (moon, sun) = self.of_date(utc, frame.sidereal_deg);
        let moon = frame.to_icrs(moon);
        let km = length(moon) * EARTH_RADIUS_KM;
        let velocity = earth_velocity(frame.to_icrs(sun));
        let seen = moon.map(|part| part / length(moon));
        // The apparent direction leans towards where the Earth goes.
        let straight: [f64; 3] = std::array::from_fn(|n| seen[n] - velocity[n]);
        MoonAspect {
            tt,
            to_moon_km: straight.map(|part| part / length(straight) * km),
            pole: frame.to_icrs([0.0, 0.0, 1.0]),
        }
    }
}

/// Velocity of the Earth over that of light, from the direction to the Sun: a quarter turn behind it along the ecliptic.
fn earth_velocity(sun: [f64; 3]) -> [f64; 3] {
    let (sin, cos) = obliquity_deg(0.0).to_radians().sin_cos();
    let ahead = [-sin * sun[2] - cos * sun[1], cos * sun[0], sin * sun[0]];
    ahead.map(|part| -part / length(ahead) * EARTH_OVER_LIGHT)
}

fn length(v: [f64; 3]) -> f64 {
    v.iter().map(|part| part * part).sum::<f64>().sqrt()
}
