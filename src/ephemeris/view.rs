//! One eclipse from one place.

use super::air::{self, Air};
use super::delta_t::DeltaTStatus;
use super::earth::{EARTH_TURN_DEG_PER_S, dot, geocentric, position_angle};
use super::eclipse::Eclipse;
use super::elements::polynomial;
use super::overlap::{covered_area, covered_diameter};
use super::radii::Radii;
use super::{ARCSEC_PER_RAD, EARTH_RADIUS_KM, SPEED_OF_LIGHT_KM_S};
use crate::domain::{Site, SunMoon, Utc};

/// One eclipse from one place, ready to be asked for any instant.
///
/// Cheap to ask (well under a microsecond for [`EclipseView::discs`], about one for [`EclipseView::at`]), to copy and to
/// share between threads. Sound within the hours the penumbra touches the Earth and some minutes either side; farther
/// off the polynomials drift: by less than 1" within three hours more.
#[derive(Clone, Copy, Debug)]
pub struct EclipseView {
    eclipse: Eclipse,
    site: Site,
    radii: Radii,
    delta_t_s: f64,
    delta_t_given: bool,
    origin: Utc,
    sun_earth_radii: f64,
    rho_cos: f64,
    rho_sin: f64,
    meridian_deg: f64,
    sin_lat: f64,
    cos_lat: f64,
    air: Air,
}

/// Sizes and distance of the discs at an instant, seconds of arc.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Discs {
    /// Distance of the centres.
    pub separation_arcsec: f64,
    /// Radius of the Sun.
    pub sun_radius_arcsec: f64,
    /// Radius of the Moon for C1, C4, magnitude and obscuration.
    pub moon_radius_arcsec: f64,
    /// Radius of the Moon for C2 and C3.
    pub moon_inner_radius_arcsec: f64,
}

/// Observer to Moon `(u, v, w)` and to Sun `(u, v, w + g)` in the fundamental frame, Earth radii.
struct Shadow {
    u: f64,
    v: f64,
    w: f64,
    g: f64,
    sin_d: f64,
    cos_d: f64,
    sin_h: f64,
    cos_h: f64,
}

impl Shadow {
    /// A point `w` along the axis, in the equatorial frame whose first axis lies in the hour circle of the shadow's axis.
    fn equatorial(&self, w: f64) -> [f64; 3] {
        [
            w * self.cos_d - self.v * self.sin_d,
            self.u,
            w * self.sin_d + self.v * self.cos_d,
        ]
    }
}

impl EclipseView {
    /// The eclipse from a place, with TT minus UT1 from the table, or as given.
    pub fn new(eclipse: Eclipse, site: Site, radii: Radii, delta_t_s: Option<f64>) -> Self {
        let delta_t_given = delta_t_s.is_some();
        let delta_t_s = delta_t_s.unwrap_or(eclipse.delta_t_s());
        let (sin_lat, cos_lat) = site.lat_deg.to_radians().sin_cos();
        let (rho_cos, rho_sin) = geocentric(&site);
        Self {
            eclipse,
            site,
            radii,
            delta_t_s,
            delta_t_given,
            origin: eclipse.origin(),
            sun_earth_radii: radii.sun_earth_radii(),
            rho_cos,
            rho_sin,
            meridian_deg: site.lon_deg - EARTH_TURN_DEG_PER_S * delta_t_s,
            sin_lat,
            cos_lat,
            air: Air::at(&site),
        }
    }

    /// The eclipse.
    pub fn eclipse(&self) -> Eclipse {
        self.eclipse
    }

    /// The place.
    pub fn site(&self) -> Site {
        self.site
    }

    /// The radii in use.
    pub fn radii(&self) -> Radii {
        self.radii
    }

    /// TT minus UT1 in use, in seconds.
    pub fn delta_t_s(&self) -> f64 {
        self.delta_t_s
    }

    /// Where TT minus UT1 came from.
    pub fn delta_t_status(&self) -> DeltaTStatus {
        if self.delta_t_given {
            DeltaTStatus::Given
        } else {
            self.eclipse.delta_t_status()
        }
    }

    /// One sigma of TT minus UT1 in seconds; a value given by hand is taken as meant, to a hundredth.
    pub fn delta_t_sigma_s(&self) -> f64 {
        if self.delta_t_given {
            0.01
        } else {
            self.eclipse.delta_t_sigma_s()
        }
    }

    /// The air that flattens the disc here: standard air thinned to the elevation of the place.
    pub fn air(&self) -> Air {
        self.air
    }

    /// The instant `t_s` of [`EclipseView::discs`] is counted from.
    pub fn origin(&self) -> Utc {
        self.origin
    }

    /// When the penumbra first and last touches the Earth, as `t_s`.
    pub fn span_s(&self) -> (f64, f64) {
        let elements = self.eclipse.elements;
        (elements.begin_h * 3600.0, elements.end_h * 3600.0)
    }

    /// The discs `t_s` seconds after [`EclipseView::origin`]: what solving for contacts needs and no more.
    pub fn discs(&self, t_s: f64) -> Discs {
        self.discs_of(&self.shadow(t_s))
    }

    /// Sun and Moon at an instant.
    pub fn at(&self, utc: Utc) -> SunMoon {
        let shadow = self.shadow(utc.seconds_since(self.origin));
        let discs = self.discs_of(&shadow);
        let sky = self.directions(&shadow);
        let position = sky.moon_position_rad;
        let (sep, sun, moon) = (
            discs.separation_arcsec,
            discs.sun_radius_arcsec,
            discs.moon_radius_arcsec,
        );
        SunMoon {
            utc,
            sun_radius_arcsec: sun,
            moon_radius_arcsec: moon,
            moon_east_arcsec: sep * position.sin(),
            moon_north_arcsec: sep * position.cos(),
            obscuration: covered_area(sep, sun, moon),
            magnitude: covered_diameter(sep, sun, moon),
            sun_alt_deg: sky.alt_deg,
            sun_alt_refracted_deg: Air::STANDARD.lifted_deg(sky.alt_deg),
            sun_az_deg: sky.az_deg,
            parallactic_deg: sky.parallactic_deg,
            vertical_squeeze: air::sun_squeeze(&self.air, sky.alt_deg, sun),
        }
    }

    /// Altitude of the Sun's centre in degrees, airless, `t_s` seconds after the origin.
    pub fn sun_alt_deg(&self, t_s: f64) -> f64 {
        self.directions(&self.shadow(t_s)).alt_deg
    }

    /// From the place to Moon and Sun in Earth radii, axes of the true equator and equinox of date; `sidereal_deg` is that of
    /// Greenwich were UT1 equal to TT.
    pub(super) fn of_date(&self, utc: Utc, sidereal_deg: f64) -> ([f64; 3], [f64; 3]) {
        let t_s = utc.seconds_since(self.origin);
        let s = self.shadow(t_s);
        let mu_deg = polynomial(&self.eclipse.elements.mu, t_s / 3600.0);
        let (sin_a, cos_a) = (sidereal_deg - mu_deg).to_radians().sin_cos();
        let turned = |[x, y, z]: [f64; 3]| [x * cos_a - y * sin_a, x * sin_a + y * cos_a, z];
        (turned(s.equatorial(s.w)), turned(s.equatorial(s.w + s.g)))
    }

    fn shadow(&self, t_s: f64) -> Shadow {
        let e = self.eclipse.elements;
        let t_h = t_s / 3600.0;
        let (sin_d, cos_d) = polynomial(&e.d, t_h).to_radians().sin_cos();
        let hour_angle = (polynomial(&e.mu, t_h) + self.meridian_deg).to_radians();
        let (sin_h, cos_h) = hour_angle.sin_cos();
        let xi = self.rho_cos * sin_h;
        let eta = self.rho_sin * cos_d - self.rho_cos * sin_d * cos_h;
        let zeta = self.rho_sin * sin_d + self.rho_cos * cos_d * cos_h;
        // Light reaches a place nearer to the Moon sooner: it shows a later Moon.
        let lit_h = t_h + zeta * EARTH_RADIUS_KM / SPEED_OF_LIGHT_KM_S / 3600.0;
        Shadow {
            u: polynomial(&e.x, lit_h) - xi,
            v: polynomial(&e.y, lit_h) - eta,
            w: polynomial(&e.z, lit_h) - zeta,
            g: polynomial(&e.g, lit_h),
            sin_d,
            cos_d,
            sin_h,
            cos_h,
        }
    }

    fn discs_of(&self, s: &Shadow) -> Discs {
        let m2 = s.u * s.u + s.v * s.v;
        let sun_w = s.w + s.g;
        let separation = (m2.sqrt() * s.g).atan2(m2 + s.w * sun_w);
        let to_moon = (m2 + s.w * s.w).sqrt();
        let to_sun = (m2 + sun_w * sun_w).sqrt();
        Discs {
            separation_arcsec: separation * ARCSEC_PER_RAD,
            sun_radius_arcsec: (self.sun_earth_radii / to_sun).asin() * ARCSEC_PER_RAD,
            moon_radius_arcsec: (self.radii.moon_k / to_moon).asin() * ARCSEC_PER_RAD,
            moon_inner_radius_arcsec: (self.radii.moon_k_inner / to_moon).asin() * ARCSEC_PER_RAD,
        }
    }

    /// Directions in the equatorial frame whose first axis lies in the hour circle of the shadow's axis.
    fn directions(&self, s: &Shadow) -> Directions {
        let (moon, sun) = (s.equatorial(s.w), s.equatorial(s.w + s.g));
        let zenith = [self.cos_lat * s.cos_h, self.cos_lat * s.sin_h, self.sin_lat];
        let north = [
            -self.sin_lat * s.cos_h,
            -self.sin_lat * s.sin_h,
            self.cos_lat,
        ];
        let east = [-s.sin_h, s.cos_h, 0.0];
        let (up, ahead, right) = (dot(sun, zenith), dot(sun, north), dot(sun, east));
        Directions {
            moon_position_rad: position_angle(sun, moon),
            alt_deg: up.atan2(ahead.hypot(right)).to_degrees(),
            az_deg: right.atan2(ahead).to_degrees().rem_euclid(360.0),
            parallactic_deg: position_angle(sun, zenith).to_degrees(),
        }
    }
}

struct Directions {
    moon_position_rad: f64,
    alt_deg: f64,
    az_deg: f64,
    parallactic_deg: f64,
}
