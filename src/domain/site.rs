//! The place of observation.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Where the pictures were taken: geodetic, on WGS 84.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Site {
    /// Latitude in degrees, north positive, -90 to 90.
    pub lat_deg: f64,
    /// Longitude in degrees, east positive, -180 to 180.
    pub lon_deg: f64,
    /// Height above the ellipsoid in metres, -500 to 9,000.
    pub elev_m: f64,
}

/// Where a [`Site`] came from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum SiteSource {
    /// The person gave it.
    Given,
    /// GPS positions in the pictures' headers.
    Gps,
}

/// A place that is not on the Earth as we take it.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum SiteError {
    /// The text is not two or three numbers.
    #[error(
        "cannot read the site '{0}': it is LAT,LON or LAT,LON,ELEV_M in degrees and metres, such as -30.03,-70.71,600, or with letters, \
         such as 42.34N 3.70W or 42°20'24\"N 3°42'W"
    )]
    NotNumbers(String),
    /// Latitude out of range.
    #[error("latitude {0} is outside -90 to 90; the order is latitude, longitude{hint}", hint = .1)]
    Latitude(f64, String),
    /// Longitude out of range.
    #[error("longitude {0} is outside -180 to 180 (east is positive){hint}", hint = wrapped(*.0))]
    Longitude(f64),
    /// Elevation out of range.
    #[error("elevation {0} m is outside {min} to {max} m", min = Site::ELEV_MIN_M, max = Site::ELEV_MAX_M)]
    Elevation(f64),
}

/// The same meridian counted from -180, for one counted from 0 to 360.
fn wrapped(lon_deg: f64) -> String {
    if lon_deg > 180.0 && lon_deg <= 360.0 {
        let same = ((lon_deg - 360.0) * 1e9).round() / 1e9;
        format!("; did you mean {same}?")
    } else {
        String::new()
    }
}

impl Site {
    /// Distance along the ground in kilometres, on a sphere of the Earth's mean radius (right to 0.6 %).
    pub fn distance_km(&self, other: &Self) -> f64 {
        /// Mean radius (IUGG, R1; H. Moritz 2000, "Geodetic Reference System 1980", J. Geod. 74, 128).
        const RADIUS_KM: f64 = 6_371.009;
        let (a, b) = (self.lat_deg.to_radians(), other.lat_deg.to_radians());
        let half = |from: f64, to: f64| (0.5 * (to - from)).sin().powi(2);
        // By haversines, which small distances do not upset.
        let across = half(self.lon_deg.to_radians(), other.lon_deg.to_radians());
        let chord = half(a, b) + a.cos() * b.cos() * across;
        2.0 * RADIUS_KM * chord.clamp(0.0, 1.0).sqrt().asin()
    }

    /// Lowest elevation taken, in metres: somewhat below the shore of the Dead Sea.
    pub const ELEV_MIN_M: f64 = -500.0;
    /// Highest elevation taken, in metres: somewhat above the highest summit.
    pub const ELEV_MAX_M: f64 = 9_000.0;

    /// Checks the three numbers and makes a site of them.
    ///
    /// # Errors
    /// [`SiteError`] when a number is not finite or out of range; a latitude that would do as a longitude gets a hint.
    pub fn new(lat_deg: f64, lon_deg: f64, elev_m: f64) -> Result<Self, SiteError> {
        if !(-90.0..=90.0).contains(&lat_deg) {
            let swapped = (-90.0..=90.0).contains(&lon_deg) && (-180.0..=180.0).contains(&lat_deg);
            let hint = if swapped {
                format!("; did you mean {lon_deg},{lat_deg}?")
            } else {
                String::new()
            };
            return Err(SiteError::Latitude(lat_deg, hint));
        }
        if !(-180.0..=180.0).contains(&lon_deg) {
            return Err(SiteError::Longitude(lon_deg));
        }
        if !(Self::ELEV_MIN_M..=Self::ELEV_MAX_M).contains(&elev_m) {
            return Err(SiteError::Elevation(elev_m));
        }
        Ok(Self {
            lat_deg,
            lon_deg,
            elev_m,
        })
    }
}

impl std::str::FromStr for Site {
    type Err = SiteError;

    /// Reads a place as people write it: `42.34,-3.70`, `42.34,-3.70,860`, `42.34N 3.70W`, `42.3400 N, 3.7000 W, 860 m`,
    /// `42°20'24"N 3°42'W`, `42 20.4 N, 3 42 W`. Without an elevation the site is taken at 0 m.
    fn from_str(text: &str) -> Result<Self, SiteError> {
        let fail = || SiteError::NotNumbers(text.to_owned());
        if let Some(numbers) = plain_numbers(text) {
            return match numbers.as_slice() {
                [lat, lon] => Self::new(*lat, *lon, 0.0),
                [lat, lon, elev] => Self::new(*lat, *lon, *elev),
                _ => Err(fail()),
            };
        }
        let (lat, rest) = with_side(text, ['N', 'S']).ok_or_else(fail)?;
        let (lon, rest) = with_side(rest, ['E', 'W']).ok_or_else(fail)?;
        let rest = rest.trim_matches(|c: char| c.is_whitespace() || matches!(c, ',' | ';'));
        let metres = rest.strip_suffix(['m', 'M']).unwrap_or(rest).trim();
        let elev = match metres {
            "" => 0.0,
            _ => metres.parse().map_err(|_| fail())?,
        };
        Self::new(lat, lon, elev)
    }
}

/// Numbers with commas between them and nothing else.
fn plain_numbers(text: &str) -> Option<Vec<f64>> {
    text.split(',')
        .map(|part| part.trim().parse().ok())
        .collect()
}

/// An angle of degrees, minutes and seconds up to the letter of its side, signed by it (`sides`: plus, minus), and what follows.
fn with_side(text: &str, sides: [char; 2]) -> Option<(f64, &str)> {
    let at = text.find(|c: char| sides.contains(&c.to_ascii_uppercase()))?;
    let (angle, rest) = (&text[..at], &text[at + 1..]);
    let mark = |c: char| {
        c.is_whitespace()
            || matches!(
                c,
                ',' | ';' | '°' | '\'' | '"' | '′' | '″' | 'º' | '’' | '”'
            )
    };
    let parts: Option<Vec<f64>> = angle
        .split(mark)
        .filter(|part| !part.is_empty())
        .map(|part| part.parse().ok())
        .collect();
    let parts = parts.filter(|p| (1..=3).contains(&p.len()))?;
    let sound = parts[0] >= 0.0 && parts[1..].iter().all(|p| (0.0..60.0).contains(p));
    let degrees = parts.iter().rev().fold(0.0, |sum, part| sum / 60.0 + part);
    let minus = text[at..].starts_with(|c: char| c.to_ascii_uppercase() == sides[1]);
    sound.then_some((if minus { -degrees } else { degrees }, rest))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_two_or_three_numbers() {
        let site: Site = "-30.03, -70.71,600".parse().unwrap();
        assert!((site.elev_m - 600.0).abs() < 1e-12);
        assert!("-30.03".parse::<Site>().is_err());
        assert!("nan,0".parse::<Site>().is_err());
    }

    #[test]
    fn places_are_read_as_people_write_them() {
        for text in [
            "42.34N 3.70W",
            "42.3400 N, 3.7000 W, 0 m",
            "42°20'24\"N 3°42'W",
            "42 20.4 n, 3 42 w",
            "42.34N,3.7W",
        ] {
            let site: Site = text.parse().unwrap_or_else(|e| panic!("{text}: {e}"));
            let off = (site.lat_deg - 42.34).hypot(site.lon_deg + 3.7);
            assert!(off < 1e-9 && site.elev_m.abs() < 1e-9, "{text}: {site:?}");
        }
        let high: Site = "30.0300 S, 70.7100 W, 620 m".parse().unwrap();
        assert!((high.lat_deg + 30.03).abs() < 1e-9 && (high.elev_m - 620.0).abs() < 1e-9);
        for wrong in [
            "42.34N",
            "42N 99 99E",
            "-42N 3W",
            "N W",
            "42N 3W high",
            "42 61 N 3 W",
        ] {
            assert!(wrong.parse::<Site>().is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_swapped_pair_is_named() {
        let error = "-120.7,38.4".parse::<Site>().unwrap_err().to_string();
        assert!(error.contains("did you mean 38.4,-120.7?"), "{error}");
    }
}
