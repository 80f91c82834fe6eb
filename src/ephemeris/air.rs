//! What the air does to the low Sun: refraction lifts it and flattens the disc.

use crate::domain::{Site, SunMoon};

/// Altitude below which [`Air::lifted_deg`] leaves the Sun alone, in degrees; [`Air::seen_deg`] holds the refraction there.
const LOWEST_DEG: f64 = -1.0;
/// Altitude above which refraction is taken as nothing, in degrees (0.1" left out).
const HIGHEST_DEG: f64 = 89.9;

/// The air at the place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air {
    /// Pressure at the place in millibar (hectopascal).
    pub pressure_mbar: f64,
    /// Temperature in degrees Celsius.
    pub temperature_c: f64,
}

impl Air {
    /// The air the refracted altitudes of all outputs are given for: 1010 mbar, 10 C (Bennett's own standard).
    pub const STANDARD: Self = Self {
        pressure_mbar: 1010.0,
        temperature_c: 10.0,
    };

    /// The standard air thinned to the elevation of a place.
    ///
    /// Pressure `1010 (1 - 2.25577e-5 h)^5.25588` (US Standard Atmosphere 1976, troposphere); the temperature is left
    /// at 10 C, as the weather moves it more than the height of most roads does.
    pub fn at(site: &Site) -> Self {
        let thinned = (1.0 - 2.255_77e-5 * site.elev_m).max(0.0).powf(5.255_88);
        Self {
            pressure_mbar: Self::STANDARD.pressure_mbar * thinned,
            ..Self::STANDARD
        }
    }

    /// Refraction in degrees at the apparent altitude `apparent_deg`; held below -1 degree.
    ///
    /// Source: G. G. Bennett 1982, "The calculation of astronomical refraction in marine navigation", Journal of
    /// Navigation 35, 255, first formula: `cot(h + 7.31/(h + 4.4))` minutes of arc, good to 0.07' above the horizon;
    /// scaled by `0.28 P / (T + 273)` (J. Meeus 1998, Astronomical Algorithms, ch. 16, to rounding).
    pub fn refraction_deg(&self, apparent_deg: f64) -> f64 {
        if apparent_deg > HIGHEST_DEG {
            return 0.0;
        }
        let h = apparent_deg.max(LOWEST_DEG);
        let scale = 0.28 * self.pressure_mbar / (self.temperature_c + 273.0);
        0.016_667 / (h + 7.31 / (h + 4.4)).to_radians().tan() * scale
    }

    /// Altitude at which the air shows a body whose airless altitude is `airless_deg`, in degrees.
    ///
    /// More than 1 degree below the horizon the altitude comes back unchanged: there is nothing to see.
    pub fn lifted_deg(&self, airless_deg: f64) -> f64 {
        if airless_deg < LOWEST_DEG {
            airless_deg
        } else {
            self.seen_deg(airless_deg)
        }
    }

    /// The same without the step at -1 degree, for the shape of a disc that straddles it.
    pub fn seen_deg(&self, airless_deg: f64) -> f64 {
        let mut seen = airless_deg;
        // The steps shrink fivefold at the horizon, a hundredfold at 10 degrees.
        for _ in 0..40 {
            let next = airless_deg + self.refraction_deg(seen);
            let step = (next - seen).abs();
            seen = next;
            if step < 1e-10 {
                break;
            }
        }
        seen
    }

    /// Height over width of a disc of `radius_deg` whose centre is at the airless altitude `airless_deg`.
    pub fn squeeze(&self, airless_deg: f64, radius_deg: f64) -> f64 {
        let top = self.seen_deg(airless_deg + radius_deg);
        let foot = self.seen_deg(airless_deg - radius_deg);
        let width = self.narrowing(airless_deg, self.seen_deg(airless_deg));
        (top - foot) / (2.0 * radius_deg) / width
    }

    /// How much a horizontal arc shrinks when lifted: the verticals close towards the zenith.
    fn narrowing(&self, airless_deg: f64, seen_deg: f64) -> f64 {
        let airless = airless_deg.to_radians().cos();
        // Within 0.06 degrees of the zenith nothing is lifted, and below the horizon nothing is seen.
        if airless < 1e-3 || airless_deg < 2.0 * LOWEST_DEG {
            1.0
        } else {
            seen_deg.to_radians().cos() / airless
        }
    }

    /// Carries an airless offset from the Sun's centre into the refracted sky.
    ///
    /// `east_arcsec`, `north_arcsec` and the result are seconds of arc towards celestial east and north at the Sun, within
    /// some degrees of it; the result is from the refracted centre. A limb point, a cusp or the Moon's centre goes
    /// the same way; a circle around the Sun comes out as an oval, `vertical_squeeze` high for 1 wide.
    pub fn bent_offset(&self, sky: &SunMoon, east_arcsec: f64, north_arcsec: f64) -> (f64, f64) {
        let (sin, cos) = sky.parallactic_deg.to_radians().sin_cos();
        let up_deg = (north_arcsec * cos + east_arcsec * sin) / 3600.0;
        let along = east_arcsec * cos - north_arcsec * sin;
        let centre = self.seen_deg(sky.sun_alt_deg);
        let up = (self.seen_deg(sky.sun_alt_deg + up_deg) - centre) * 3600.0;
        let along = along * self.narrowing(sky.sun_alt_deg, centre);
        (up * sin + along * cos, up * cos - along * sin)
    }

    /// The Moon's centre from the Sun's as seen through this air: position angle in degrees and separation in seconds of arc.
    pub fn bent_moon(&self, sky: &SunMoon) -> (f64, f64) {
        let (east, north) = self.bent_offset(sky, sky.moon_east_arcsec, sky.moon_north_arcsec);
        (
            east.atan2(north).to_degrees().rem_euclid(360.0),
            east.hypot(north),
        )
    }
}

/// Height over width of the Sun at an airless altitude, through the air of a place.
pub(super) fn sun_squeeze(air: &Air, airless_deg: f64, sun_radius_arcsec: f64) -> f64 {
    air.squeeze(airless_deg, sun_radius_arcsec / 3600.0)
}

/// Air that light comes through, 1 at the zenith, at a refracted altitude in degrees; altitudes beyond 0 to 90 count as these.
///
/// Source: F. Kasten, A. T. Young 1989, "Revised optical air mass tables and approximation formula", Appl. Opt. 28, 4735
/// (formula from memory).
pub fn air_mass(alt_deg: f64) -> f64 {
    let h = alt_deg.clamp(0.0, 90.0);
    1.0 / (h.to_radians().sin() + 0.505_72 * (h + 6.079_95).powf(-1.636_4))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_horizon_is_lifted_by_half_a_degree() {
        // cot(h + 7.31/(h + 4.4)) by hand: 34.5', 5.4' and 1.0'.
        let air = Air::STANDARD;
        for (h, minutes) in [(0.0, 34.48), (10.0, 5.39), (45.0, 0.99)] {
            assert!((air.refraction_deg(h) * 60.0 - minutes).abs() < 0.05, "{h}");
        }
        assert!((air.lifted_deg(-1.5) + 1.5).abs() < 1e-12);
    }

    #[test]
    fn the_setting_sun_is_flat_and_the_noon_sun_round() {
        let air = Air::STANDARD;
        assert!((0.78..0.88).contains(&air.squeeze(0.0, 0.266)));
        assert!((0.985..0.995).contains(&air.squeeze(8.0, 0.266)));
        assert!((air.squeeze(60.0, 0.266) - 1.0).abs() < 1e-3);
    }
}
