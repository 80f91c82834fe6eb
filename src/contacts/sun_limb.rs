//! The Sun's limb as it stands from the Moon's centre.

use crate::ephemeris::EclipseView;

/// The Sun as it stands from the Moon's centre, seconds of arc towards east and north.
#[derive(Clone, Copy, Debug)]
pub(super) struct SunFromMoon {
    east: f64,
    north: f64,
    radius: f64,
}

impl SunFromMoon {
    /// At an instant, `t_s` seconds from the view's origin.
    pub(super) fn at(view: &EclipseView, t_s: f64) -> Self {
        let sky = view.at(view.origin().plus_s(t_s));
        Self {
            east: -sky.moon_east_arcsec,
            north: -sky.moon_north_arcsec,
            radius: sky.sun_radius_arcsec,
        }
    }

    /// Distance of the Sun's far limb from the Moon's centre towards a unit vector east and north, seconds of arc.
    pub(super) fn limb_arcsec(&self, (east, north): (f64, f64)) -> f64 {
        let along = self.east * east + self.north * north;
        let across2 = self.east * self.east + self.north * self.north - along * along;
        along + (self.radius * self.radius - across2).max(0.0).sqrt()
    }
}
