//! Where on the limb sunlight ends and begins around the central phase.

use serde::Serialize;

use super::{ContactKind, SunMoon};

/// The last sunlight of second contact or the first of third; for an annular eclipse the place where the ring closes or breaks.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct LimbLight {
    /// C2 or C3.
    pub contact: ContactKind,
    /// Position angle in degrees from north through east, 0 to 360: of the diamond where there is one.
    pub position_angle_deg: f64,
    /// The same from the zenith, degrees, 0 to 360.
    pub vertex_angle_deg: f64,
    /// Stretches of the Moon's limb past which the Sun shines a second from the contact: first and last position angle about the
    /// Moon's centre in degrees, going on through east. Empty for an annular eclipse.
    pub lit_deg: Vec<(f64, f64)>,
    /// Sun and Moon at the contact.
    pub sky: SunMoon,
}

/// Where on a clock face an angle points that is counted anticlockwise from the top, in degrees: "2 o'clock", "half past 12".
pub fn clock_face(anticlockwise_deg: f64) -> String {
    let halves = (24.0 - (anticlockwise_deg / 15.0).round()).rem_euclid(24.0) as u32;
    let hour = if halves / 2 == 0 { 12 } else { halves / 2 };
    if halves.is_multiple_of(2) {
        format!("{hour} o'clock")
    } else {
        format!("half past {hour}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_clock_face_runs_against_the_vertex_angle() {
        for (deg, words) in [
            (0.0, "12 o'clock"),
            (90.0, "9 o'clock"),
            (270.0, "3 o'clock"),
            (345.0, "half past 12"),
            (15.0, "half past 11"),
        ] {
            assert_eq!(clock_face(deg), words);
        }
    }
}
