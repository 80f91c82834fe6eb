//! How large Sun and Moon are taken.

use super::{ARCSEC_PER_RAD, AU_KM, EARTH_RADIUS_KM};

/// The radii behind the contact times.
///
/// What other choices do to the times (median over the central reference sites):
///
/// | change | C1, C4 | C2, C3 |
/// |---|---|---|
/// | `moon_k_inner` 0.272281 for 0.2725076 | none | 2.1 s: totality shorter, annularity longer at each end |
/// | `sun_arcsec` 959.95 for 959.63 | 0.8 s earlier, later | 0.8 s: totality shorter, annularity longer at each end |
/// | `moon_k` 0.272488 for 0.2725076 | 0.2 s later, earlier | none |
///
/// Near the limits of the path the same changes move C2 and C3 by many times as much.
#[derive(Clone, Copy, Debug, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Radii {
    /// Radius of the Moon over the Earth's equatorial radius, for C1, C4, magnitude and obscuration.
    pub moon_k: f64,
    /// The same for C2 and C3.
    pub moon_k_inner: f64,
    /// Angular radius of the Sun at one astronomical unit, seconds of arc.
    pub sun_arcsec: f64,
}

impl Radii {
    /// Mean radius of the Moon adopted by the IAU in 1982 (F. Espenak, NASA eclipse bulletins, "Mean lunar radius").
    pub const K_IAU: f64 = 0.272_507_6;
    /// Smaller radius that lets the last valley close: used for umbral contacts in the NASA bulletins and canons
    /// (F. Espenak and J. Meeus 2006, Five Millennium Canon of Solar Eclipses, NASA/TP-2006-214141).
    pub const K_VALLEYS: f64 = 0.272_281;
    /// Angular radius of the Sun at 1 au in seconds of arc (A. Auwers 1891; used by the almanacs).
    pub const SUN_AUWERS_ARCSEC: f64 = 959.63;
    /// Angular radius of the Sun from eclipses: L. Quaglia et al. 2021, ApJS, arXiv:2107.09416 (959.95 +- 0.05).
    pub const SUN_ECLIPSE_ARCSEC: f64 = 959.95;

    /// The default: the IAU's mean Moon for all contacts and Auwers' Sun.
    pub const IAU: Self = Self {
        moon_k: Self::K_IAU,
        moon_k_inner: Self::K_IAU,
        sun_arcsec: Self::SUN_AUWERS_ARCSEC,
    };

    /// The same radii with another one for C2 and C3.
    pub fn with_inner(self, moon_k_inner: f64) -> Self {
        Self {
            moon_k_inner,
            ..self
        }
    }

    /// Whether the figures are near the true ones: k within 0.26 to 0.28, the Sun within 950 to 970 seconds of arc.
    pub fn are_sound(&self) -> bool {
        let k = 0.26..=0.28;
        k.contains(&self.moon_k)
            && k.contains(&self.moon_k_inner)
            && (950.0..=970.0).contains(&self.sun_arcsec)
    }

    /// Radius of the Sun in equatorial Earth radii.
    pub(super) fn sun_earth_radii(&self) -> f64 {
        AU_KM * (self.sun_arcsec / ARCSEC_PER_RAD).sin() / EARTH_RADIUS_KM
    }
}

impl Default for Radii {
    fn default() -> Self {
        Self::IAU
    }
}
