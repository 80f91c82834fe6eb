//! What the mountains of the Moon's limb do to a circle fitted to the stretch of it that bites into the Sun.

use std::sync::OnceLock;

use rayon::prelude::*;

use crate::domain::{Contacts, SunMoon, Utc};
use crate::ephemeris::{EARTH_RADIUS_KM, EclipseView, Radii};
use crate::limb::{CircleShift, LimbAll, LimbCourse, LimbPoint, circle_shift};

/// The limb is worked out this long before C1 and after C4, in seconds.
const MARGIN_S: f64 = 300.0;

/// Weight with which the fit of a partial phase holds the ratio of the radii, as a share of the weight of the limb seen. Fitted
/// radii do not follow the mountains (measured on the drawn card, `benches/MEASUREMENTS.md`): from 0.1 on all shares do alike,
/// below, short arcs are sent far off.
const HELD: f64 = 1.0;

/// Linear limb darkening, about (H. Neckel, D. Labs 1994, Solar Phys. 153, 91, in green light; from memory): limb counts by the
/// light beside it.
const DARKENING: f64 = 0.65;

/// Least of the Moon's limb before the Sun, in degrees, that is corrected.
const LEAST_ARC_DEG: f64 = 15.0;

/// The Moon's limb over the eclipse at a place, worked out when first asked for.
#[derive(Debug, Default)]
pub(crate) struct Mountains(OnceLock<LimbCourse>);

impl Mountains {
    /// How a circle fitted to the limb before the Sun is off the mean limb, in seconds of arc, with Sun and Moon at `sky`; `None`
    /// where too little of it stands before the Sun.
    pub(crate) fn shift_arcsec(
        &self,
        contacts: &Contacts,
        view: &EclipseView,
        sky: &SunMoon,
    ) -> Option<CircleShift> {
        let mut all = self.points(contacts, view, sky);
        for point in &mut all {
            point.weight = light(sky, point.position_deg).powi(2);
        }
        let step_deg = 360.0 / all.len() as f64;
        let seen: Vec<LimbPoint> = all.into_iter().filter(|point| point.weight > 0.0).collect();
        let arc_deg = seen.len() as f64 * step_deg;
        circle_shift(&seen, HELD).filter(|_| arc_deg >= LEAST_ARC_DEG)
    }

    /// The same of all the limb, as it stands before the corona.
    pub(crate) fn whole_shift_arcsec(
        &self,
        contacts: &Contacts,
        view: &EclipseView,
        sky: &SunMoon,
    ) -> CircleShift {
        circle_shift(&self.points(contacts, view, sky), HELD).unwrap_or_default()
    }

    /// The limb over the mean one in seconds of arc, all of one weight.
    fn points(&self, contacts: &Contacts, view: &EclipseView, sky: &SunMoon) -> Vec<LimbPoint> {
        let mean_km = Radii::K_IAU * EARTH_RADIUS_KM;
        let heights = self.course(contacts, view).heights(sky.utc, mean_km);
        let point = |(position_deg, height): (f64, f64)| LimbPoint {
            position_deg,
            height: height * sky.moon_radius_arcsec,
            weight: 1.0,
        };
        heights.map(point).collect()
    }

    fn course(&self, contacts: &Contacts, view: &EclipseView) -> &LimbCourse {
        self.0.get_or_init(|| {
            let first = contacts.c1.utc.plus_s(-MARGIN_S);
            let length_s = contacts.c4.utc.seconds_since(first) + MARGIN_S;
            let limb = |utc: Utc| LimbAll::of(&view.moon_aspect(utc));
            let epochs = LimbCourse::epochs(first, length_s);
            LimbCourse::of(first, epochs.into_par_iter().map(limb).collect())
        })
    }
}

/// Light of the Sun beside the Moon's mean limb at a position angle about the Moon, 1 at the disc's centre, 0 off it.
fn light(sky: &SunMoon, position_deg: f64) -> f64 {
    let (sin, cos) = position_deg.to_radians().sin_cos();
    let east = sky.moon_east_arcsec + sky.moon_radius_arcsec * sin;
    let north = sky.moon_north_arcsec + sky.moon_radius_arcsec * cos;
    let off2 = (east * east + north * north) / sky.sun_radius_arcsec.powi(2);
    if off2 >= 1.0 {
        return 0.0;
    }
    1.0 - DARKENING * (1.0 - (1.0 - off2).sqrt())
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;

    use super::*;
    use crate::contacts::{self, ContactsOptions};
    use crate::domain::Site;

    /// Worked out with numpy from `src/demo/limb.bin`, which is made without the program, by weighted least squares.
    #[test]
    fn circles_are_shifted_as_by_the_stored_profile() {
        let site = Site::new(-30.03, -70.71, 600.0).unwrap();
        let view = contacts::view(&site, date(2019, 7, 2), &ContactsOptions::real()).unwrap();
        let all = contacts::of_view(&view).unwrap();
        let mountains = Mountains::default();
        let sky = |time: &str| view.at(Utc::new(format!("2019-07-02T{time}Z").parse().unwrap()));
        for (time, east, north) in [
            ("19:45:00", 0.466, 0.131),
            ("20:25:00", 0.393, -0.328),
            ("21:10:00", 0.853, -0.392),
            ("21:35:00", 0.920, -0.665),
        ] {
            let shift = mountains.shift_arcsec(&all, &view, &sky(time)).unwrap();
            assert!((shift.east - east).abs() < 0.03, "{time} {shift:?}");
            assert!((shift.north - north).abs() < 0.03, "{time} {shift:?}");
        }
        // Best circle of the reference profile of 2019: 0.65" east, 0.45" south.
        let whole = mountains.whole_shift_arcsec(&all, &view, &sky("20:39:30"));
        assert!((whole.east - 0.643).abs() < 0.01 && (whole.north + 0.447).abs() < 0.01);
        assert!(
            mountains
                .shift_arcsec(&all, &view, &sky("18:50:00"))
                .is_none()
        );
    }
}
