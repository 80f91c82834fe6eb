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
        "cannot read the site '{0}': it is LAT,LON or LAT,LON,ELEV_M in degrees and metres, such as -30.03,-70.71,600"
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

    /// Reads `LAT,LON` or `LAT,LON,ELEV_M`; without an elevation the site is taken at 0 m.
    fn from_str(text: &str) -> Result<Self, SiteError> {
        let numbers: Option<Vec<f64>> = text
            .split(',')
            .map(|part| part.trim().parse().ok())
            .collect();
        match numbers.as_deref() {
            Some([lat, lon]) => Self::new(*lat, *lon, 0.0),
            Some([lat, lon, elev]) => Self::new(*lat, *lon, *elev),
            _ => Err(SiteError::NotNumbers(text.to_owned())),
        }
    }
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
    fn a_swapped_pair_is_named() {
        let error = "-120.7,38.4".parse::<Site>().unwrap_err().to_string();
        assert!(error.contains("did you mean 38.4,-120.7?"), "{error}");
    }
}
