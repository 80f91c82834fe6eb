//! The Moon's course past the Sun as seen from the place, in a table quick enough to search with.

use nalgebra::Vector3;

use crate::domain::{Contacts, SunMoon, Utc};

/// Where the Moon stands at an instant, on the sky.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Stand {
    /// Moon's centre from the Sun's towards celestial east, in solar radii.
    pub(super) east: f64,
    /// The same towards celestial north.
    pub(super) north: f64,
    /// Sine of the position angle of the zenith.
    pub(super) sin_q: f64,
    /// Cosine of it.
    pub(super) cos_q: f64,
    /// Height of the refracted disc over its width, less one.
    pub(super) squeeze: f64,
    /// Free fraction of the Sun's area.
    pub(super) free: f64,
    /// Where the air shows the Sun: unit vector towards east, north and up.
    pub(super) sun: Vector3<f64>,
}

/// Seconds between rows of the table. Between rows the course is straight to 0.001" (relative acceleration under
/// 0.0001"/s^2).
const STEP_S: f64 = 8.0;

/// The table runs this long before C1 and after C4, in seconds.
const MARGIN_S: f64 = 1800.0;

/// How fast the sky turns, in radians a second: once in a sidereal day, less the Sun's own way of some 1/366 of it.
const SKY_TURN: f64 = 2.0 * std::f64::consts::PI / 86_400.0;

/// Longest course tabulated, in seconds: no eclipse lasts six hours at one place.
const LONGEST_S: f64 = 8.0 * 3600.0;

/// The Moon's course from half an hour before C1 to half an hour after C4.
pub(super) struct Course {
    /// Instant of the first row.
    first: Utc,
    rows: Vec<Stand>,
    /// Direction of the celestial north pole: towards east, north and up.
    pole: Vector3<f64>,
    /// The Sun's radius at maximum in radians.
    sun_radius_rad: f64,
    /// The Moon's radius over the Sun's at maximum.
    ratio: f64,
}

impl Course {
    pub(super) fn new(contacts: &Contacts, sky: &(dyn Fn(Utc) -> SunMoon + Sync)) -> Self {
        let first = contacts.c1.utc.plus_s(-MARGIN_S);
        let length_s = contacts.c4.utc.seconds_since(contacts.c1.utc) + 2.0 * MARGIN_S;
        let count = (length_s.clamp(0.0, LONGEST_S) / STEP_S).ceil() as usize + 2;
        let rows = (0..count)
            .map(|n| stand(&sky(first.plus_s(n as f64 * STEP_S))))
            .collect();
        let (sin_lat, cos_lat) = contacts.site.lat_deg.to_radians().sin_cos();
        let maximum = &contacts.maximum.sky;
        Self {
            first,
            rows,
            pole: Vector3::new(0.0, cos_lat, sin_lat),
            sun_radius_rad: (maximum.sun_radius_arcsec / 3600.0).to_radians(),
            ratio: maximum.ratio(),
        }
    }

    /// Direction of the celestial north pole: unit vector towards east, north and up.
    pub(super) fn pole(&self) -> &Vector3<f64> {
        &self.pole
    }

    /// The Sun's radius at maximum in radians.
    pub(super) fn sun_radius_rad(&self) -> f64 {
        self.sun_radius_rad
    }

    /// The Moon's radius over the Sun's at maximum.
    pub(super) fn ratio(&self) -> f64 {
        self.ratio
    }

    /// How fast the Sun crosses the sky, in radians a second.
    pub(super) fn sun_speed(&self) -> f64 {
        let sin_declination = self.rows[self.rows.len() / 2].sun.dot(&self.pole);
        SKY_TURN * (1.0 - sin_declination * sin_declination).max(0.0).sqrt()
    }

    /// Direction of the Moon, or of the Sun, `t_s` seconds after the origin, as the air shows it.
    pub(super) fn towards(&self, t_s: f64, moon: bool) -> Vector3<f64> {
        let stand = self.at(t_s);
        if !moon {
            return stand.sun.normalize();
        }
        let (right, up) = horizontal_frame(&stand.sun);
        // North stands clockwise from the zenith by q, east a quarter turn anticlockwise from north.
        let north = up * stand.cos_q + right * stand.sin_q;
        let east = up * stand.sin_q - right * stand.cos_q;
        let away = (east * stand.east + north * stand.north) * self.sun_radius_rad;
        (stand.sun + away).normalize()
    }

    /// Seconds since 1970 of the first row, the origin of [`Course::at`].
    pub(super) fn origin(&self) -> Utc {
        self.first
    }

    /// Length of the table in seconds.
    pub(super) fn length_s(&self) -> f64 {
        (self.rows.len() - 1) as f64 * STEP_S
    }

    /// On which side of maximum an instant lies: -1 while the Moon approaches, 1 while it leaves.
    pub(super) fn side(&self, t_s: f64) -> f64 {
        let leaving = self.at(t_s + STEP_S).length() - self.at(t_s - STEP_S).length();
        if leaving < 0.0 { -1.0 } else { 1.0 }
    }

    /// The stand `t_s` seconds after the origin; outside the table that of its end.
    pub(super) fn at(&self, t_s: f64) -> Stand {
        let last = self.rows.len() - 1;
        let place = (t_s / STEP_S).clamp(0.0, last as f64);
        let n = (place as usize).min(last - 1);
        let part = place - n as f64;
        between(&self.rows[n], &self.rows[n + 1], part)
    }
}

/// Unit vectors square to a direction: towards greater azimuth (right, as seen from inside the sky) and towards the zenith.
pub(super) fn horizontal_frame(direction: &Vector3<f64>) -> (Vector3<f64>, Vector3<f64>) {
    let flat = direction.x.hypot(direction.y).max(1e-9);
    let right = Vector3::new(direction.y / flat, -direction.x / flat, 0.0);
    let up = (Vector3::z() - direction * direction.z) / flat;
    (right, up)
}

fn between(a: &Stand, b: &Stand, part: f64) -> Stand {
    let mix = |x: f64, y: f64| x + (y - x) * part;
    Stand {
        east: mix(a.east, b.east),
        north: mix(a.north, b.north),
        sin_q: mix(a.sin_q, b.sin_q),
        cos_q: mix(a.cos_q, b.cos_q),
        squeeze: mix(a.squeeze, b.squeeze),
        free: mix(a.free, b.free),
        sun: a.sun.lerp(&b.sun, part),
    }
}

fn stand(sky: &SunMoon) -> Stand {
    let (sin_q, cos_q) = sky.parallactic_deg.to_radians().sin_cos();
    let (sin_az, cos_az) = sky.sun_az_deg.to_radians().sin_cos();
    let (sin_alt, cos_alt) = sky.sun_alt_refracted_deg.to_radians().sin_cos();
    Stand {
        east: sky.moon_east_arcsec / sky.sun_radius_arcsec,
        north: sky.moon_north_arcsec / sky.sun_radius_arcsec,
        sin_q,
        cos_q,
        squeeze: sky.vertical_squeeze - 1.0,
        free: (1.0 - sky.obscuration).clamp(0.0, 1.0),
        sun: Vector3::new(cos_alt * sin_az, cos_alt * cos_az, sin_alt),
    }
}

impl Stand {
    /// Distance of the centres in solar radii.
    pub(super) fn length(&self) -> f64 {
        // Neither is large or tiny: quicker than `hypot`.
        (self.east * self.east + self.north * self.north).sqrt()
    }

    /// Position angle of the zenith in radians.
    pub(super) fn q_rad(&self) -> f64 {
        self.sin_q.atan2(self.cos_q)
    }

    /// The stand as `air` times the usual refraction shows it, in radii of the circle fitted to the squeezed disc.
    pub(super) fn through_air(&self, air: f64) -> (f64, f64) {
        let squeeze = air * self.squeeze;
        let up = self.east * self.sin_q + self.north * self.cos_q;
        let shrunk = 1.0 + squeeze / 2.0;
        (
            (self.east + squeeze * up * self.sin_q) / shrunk,
            (self.north + squeeze * up * self.cos_q) / shrunk,
        )
    }
}
