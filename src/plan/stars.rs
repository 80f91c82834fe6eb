//! Bright stars in the frame of totality.

use std::sync::LazyLock;

use serde::Serialize;

use super::celestial::{days_from_j2000, ecliptic, horizontal, in_frame_deg};
use super::gear::Framing;
use super::planets::{LOWEST_DEG, TOTALITY_LIMIT_MAG};
use super::times::AIR_MAG;
use crate::domain::{Site, SunMoon, Utc};
use crate::ephemeris::air_mass;

/// Name, right ascension and declination in degrees (J2000), magnitude; the file names its source.
const TABLE: &str = include_str!("stars.csv");

/// A star of the table.
struct Star {
    name: &'static str,
    ra_deg: f64,
    dec_deg: f64,
    magnitude: f64,
}

/// A bright star in the sky of one place.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct StarPlace {
    /// Its name, or its Bayer letter and constellation.
    pub name: &'static str,
    /// Altitude in degrees, without air.
    pub alt_deg: f64,
    /// Azimuth in degrees from north through east.
    pub az_deg: f64,
    /// Visual magnitude outside the air.
    pub magnitude: f64,
    /// Degrees to the right of the Sun and above it in a level frame with the Sun in the middle.
    pub in_frame_deg: Option<(f64, f64)>,
}

/// The stars an eye finds in the sky of totality from `site` at `utc`, brightest first; those less than a degree above the horizon are
/// left out, and no frame is known.
///
/// Good to about 0.05 degrees: no proper motion, nutation or aberration.
pub fn stars_up(site: &Site, utc: Utc) -> Vec<StarPlace> {
    static STARS: LazyLock<Vec<Star>> = LazyLock::new(|| TABLE.lines().filter_map(star).collect());
    let days = days_from_j2000(utc);
    STARS
        .iter()
        .map(|star| {
            let (alt_deg, az_deg) = horizontal(ecliptic(star.ra_deg, star.dec_deg), site, days);
            StarPlace {
                name: star.name,
                alt_deg,
                az_deg,
                magnitude: star.magnitude,
                in_frame_deg: None,
            }
        })
        .filter(|p| p.alt_deg > LOWEST_DEG)
        .filter(|p| p.magnitude + AIR_MAG * air_mass(p.alt_deg) <= TOTALITY_LIMIT_MAG)
        .collect()
}

/// Those of them in a level frame with the Sun in the middle.
pub(super) fn stars_framed(site: &Site, sky: &SunMoon, framing: &Framing) -> Vec<StarPlace> {
    let place = |star: StarPlace| {
        let in_frame_deg = in_frame_deg((star.alt_deg, star.az_deg), sky, framing)?;
        Some(StarPlace {
            in_frame_deg: Some(in_frame_deg),
            ..star
        })
    };
    stars_up(site, sky.utc)
        .into_iter()
        .filter_map(place)
        .collect()
}

/// A row of the table; `None` for its head.
fn star(line: &'static str) -> Option<Star> {
    let mut fields = line.split(',');
    let name = fields.next().filter(|name| !name.starts_with('#'))?;
    let mut number = || fields.next()?.parse().ok();
    Some(Star {
        name,
        ra_deg: number()?,
        dec_deg: number()?,
        magnitude: number()?,
    })
}
