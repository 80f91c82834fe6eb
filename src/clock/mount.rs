//! How a mount with two axes holds a camera, and where north lies in its pictures.
//!
//! A head or mount that turns about a first axis fixed to the ground (towards the zenith on a tripod, towards the pole on an
//! equatorial mount) and a second one square to it keeps the angle between picture up and the direction to the first axis, as
//! seen at the picture's centre: the roll. That holds while it stands still, while it tracks and when it is aimed anew. Where the Sun
//! falls in the frame then fixes the whole attitude, and with it north at the Sun: on a camera left standing north turns as
//! the Sun crosses the frame, by 15.04" a second times the sine of the declination, and not at the rate of the parallactic angle.
//!
//! Places in a picture are tangents: pixels from the picture's centre over the focal length in pixels, x right and y up in the
//! stored picture. Directions on the ground are unit vectors towards east, north and up.

use nalgebra::{Vector2, Vector3};

use super::course::{Stand, horizontal_frame};

/// What a mount's first axis points to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Axis {
    /// The zenith: tripods, altazimuth mounts.
    Zenith,
    /// The celestial pole: equatorial mounts.
    Pole,
}

/// How the camera was held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Hold {
    pub(super) axis: Axis,
    /// Whether the stored picture is mirrored.
    pub(super) mirrored: bool,
}

impl Hold {
    /// All ways.
    pub(super) const ALL: [Self; 4] = [
        Self::new(Axis::Pole, false),
        Self::new(Axis::Zenith, false),
        Self::new(Axis::Pole, true),
        Self::new(Axis::Zenith, true),
    ];

    pub(super) const fn new(axis: Axis, mirrored: bool) -> Self {
        Self { axis, mirrored }
    }

    /// 1, or -1 for mirror images.
    pub(super) fn hand(self) -> f64 {
        if self.mirrored { -1.0 } else { 1.0 }
    }

    /// Direction of the first axis, leaning by two small angles in radians: towards east, and square to that. `pole` is the
    /// celestial north pole, which serves the southern sky as well.
    pub(super) fn axis(self, pole: &Vector3<f64>, lean: (f64, f64)) -> Vector3<f64> {
        let (along, across) = match self.axis {
            Axis::Zenith => (Vector3::z(), Vector3::y()),
            Axis::Pole => (*pole, Vector3::new(0.0, -pole.z, pole.y)),
        };
        (along + Vector3::x() * lean.0 + across * lean.1).normalize()
    }
}

/// The first axis in a picture's own frame (right, up, ahead), for a direction known to fall on `place` and to lie at an angle
/// from the axis whose cosine is given. `roll` is the angle of the axis at the picture's centre, anticlockwise from up, in radians.
pub(super) fn axis_in_picture(roll: f64, place: &Vector2<f64>, cos_apart: f64) -> Vector3<f64> {
    let (sin, cos) = roll.sin_cos();
    // With the axis at an angle psi from the centre, (place, 1) . axis = a sin psi + cos psi.
    let a = place.y * cos - place.x * sin;
    let length = (1.0 + place.norm_squared()).sqrt();
    let cosine = length * cos_apart / (1.0 + a * a).sqrt();
    let psi = a.atan() + cosine.clamp(-1.0, 1.0).acos();
    let (sin_psi, cos_psi) = psi.sin_cos();
    Vector3::new(-sin * sin_psi, cos * sin_psi, cos_psi)
}

/// Direction in which a point lies as seen from a place in the picture, anticlockwise from up, in radians.
fn seen_from(place: &Vector2<f64>, point: &Vector3<f64>) -> f64 {
    (place.x * point.z - point.x).atan2(point.y - place.y * point.z)
}

/// Angle of celestial north at the Sun, anticlockwise from picture up, in radians.
///
/// `axis` is the direction of the mount's first axis, `roll` its angle at the picture's centre, `place` where the Sun falls.
pub(super) fn north(
    axis: &Vector3<f64>,
    roll: f64,
    place: &Vector2<f64>,
    stand: &Stand,
    hand: f64,
) -> f64 {
    let shown = axis_in_picture(roll, place, axis.dot(&stand.sun));
    // The zenith stands at position angle q; what lies clockwise of it has a smaller one.
    let (right, up) = horizontal_frame(&stand.sun);
    let clockwise = axis.dot(&right).atan2(axis.dot(&up));
    seen_from(place, &shown) - hand * (stand.q_rad() - clockwise)
}

#[cfg(test)]
mod tests {
    use super::*;

    const LATITUDE: f64 = 31.0 * std::f64::consts::PI / 180.0;

    fn pole() -> Vector3<f64> {
        Vector3::new(0.0, LATITUDE.cos(), LATITUDE.sin())
    }

    /// The Sun at an hour angle and declination in degrees.
    fn stand(hour_deg: f64, declination_deg: f64) -> Stand {
        let (sin_h, cos_h) = hour_deg.to_radians().sin_cos();
        let (sin_d, cos_d) = declination_deg.to_radians().sin_cos();
        let south = Vector3::new(0.0, -LATITUDE.sin(), LATITUDE.cos());
        let sun = pole() * sin_d + (south * cos_h - Vector3::x() * sin_h) * cos_d;
        let north = (pole() - sun * sun.dot(&pole())).normalize();
        let east = pole().cross(&sun).normalize();
        let up = (Vector3::z() - sun * sun.z).normalize();
        Stand {
            sin_q: up.dot(&east),
            cos_q: up.dot(&north),
            sun,
            ..Stand::default()
        }
    }

    /// A camera that looks along `ahead` with the zenith turned by `roll` from picture up.
    fn place(sun: &Vector3<f64>, ahead: &Vector3<f64>, roll: f64) -> Vector2<f64> {
        let (right, up) = horizontal_frame(ahead);
        let flat = Vector2::new(sun.dot(&right), sun.dot(&up)) / sun.dot(ahead);
        let (sin, cos) = roll.sin_cos();
        Vector2::new(flat.x * cos - flat.y * sin, flat.x * sin + flat.y * cos)
    }

    #[test]
    fn on_a_camera_left_standing_north_turns_by_the_sine_of_the_declination() {
        let hold = Hold::new(Axis::Zenith, false);
        let axis = hold.axis(&pole(), (0.0, 0.0));
        for (declination, roll) in [(17.7, 0.1), (-23.2, -0.3), (0.0, 1.5)] {
            let ahead = stand(-4.0, declination).sun;
            let at = |seconds: f64| {
                let stand = stand(-4.0 + seconds * 15.04 / 3600.0, declination);
                let place = place(&stand.sun, &ahead, roll);
                north(&axis, roll, &place, &stand, 1.0).to_degrees()
            };
            let turned = at(120.0) - at(0.0);
            let expected = 120.0 * 15.04 / 3600.0 * declination.to_radians().sin();
            assert!((turned - expected).abs() < 2e-3, "{turned} {expected}");
        }
    }

    #[test]
    fn an_equatorial_mount_keeps_north() {
        let hold = Hold::new(Axis::Pole, false);
        let axis = hold.axis(&pole(), (0.0, 0.0));
        let at = |hour| north(&axis, 0.2, &Vector2::zeros(), &stand(hour, 17.0), 1.0);
        assert!((at(-30.0) - at(20.0)).abs() < 1e-9);
        assert!((at(0.0) - 0.2).abs() < 1e-9);
    }

    #[test]
    fn a_mirror_turns_the_sense_of_angles() {
        let hold = Hold::new(Axis::Zenith, false);
        let axis = hold.axis(&pole(), (0.0, 0.0));
        let stand = stand(25.0, 10.0);
        let (x, y, roll) = (0.01, -0.02, 0.3);
        let plain = north(&axis, roll, &Vector2::new(x, y), &stand, 1.0);
        let turned = north(&axis, -roll, &Vector2::new(-x, y), &stand, -1.0);
        assert!((plain + turned).abs() < 1e-9);
    }
}
