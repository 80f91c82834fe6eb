//! Where the bright planets stand, to a few minutes of arc: enough to know where to look in totality.

use serde::Serialize;

use super::celestial::{
    CENTURY_DAYS, angle_deg, days_from_j2000, horizontal, in_frame_deg, length,
};
use super::gear::Framing;
use super::times::AIR_MAG;
use crate::domain::{Site, SunMoon, Utc};
use crate::ephemeris::air_mass;

/// Mean Keplerian elements and their rates per Julian century, ecliptic and equinox of J2000.
struct Orbit {
    name: &'static str,
    /// Semi-major axis in astronomical units.
    a_au: (f64, f64),
    /// Eccentricity.
    e: (f64, f64),
    /// Inclination in degrees.
    incl_deg: (f64, f64),
    /// Mean longitude in degrees.
    mean_long_deg: (f64, f64),
    /// Longitude of perihelion in degrees.
    perihelion_deg: (f64, f64),
    /// Longitude of the ascending node in degrees.
    node_deg: (f64, f64),
    /// Magnitude at 1 au from Sun and Earth, and its change with the phase angle: coefficients of i, i^2, i^3 (degrees).
    magnitude: [f64; 4],
}

/// The Earth-Moon barycentre, taken for the Earth: it is at most 4,700 km off, 0.02 degrees at 0.1 au.
const EARTH: Orbit = Orbit {
    name: "Earth",
    a_au: (1.000_002_61, 0.000_005_62),
    e: (0.016_711_23, -0.000_043_92),
    incl_deg: (-0.000_015_31, -0.012_946_68),
    mean_long_deg: (100.464_571_66, 35_999.372_449_81),
    perihelion_deg: (102.937_681_93, 0.323_273_64),
    node_deg: (0.0, 0.0),
    magnitude: [0.0; 4],
};

/// The planets one may see in totality.
///
/// Source of the elements: E. M. Standish, Keplerian Elements for Approximate Positions of the Major Planets (JPL Solar
/// System Dynamics), Table 1, valid 1800 to 2050; a few years beyond are no worse to see by. Its stated errors reach 40
/// seconds of arc for the inner planets and 10 minutes for Saturn.
/// Source of the magnitudes: J. Meeus 1998, Astronomical Algorithms, 2nd ed., chapter 41 (Astronomical Almanac 1984),
/// from memory; Saturn without its rings.
const PLANETS: [Orbit; 5] = [
    Orbit {
        name: "Mercury",
        a_au: (0.387_099_27, 0.000_000_37),
        e: (0.205_635_93, 0.000_019_06),
        incl_deg: (7.004_979_02, -0.005_947_49),
        mean_long_deg: (252.250_323_50, 149_472.674_111_75),
        perihelion_deg: (77.457_796_28, 0.160_476_89),
        node_deg: (48.330_765_93, -0.125_340_81),
        magnitude: [-0.42, 0.0380, -0.000_273, 0.000_002],
    },
    Orbit {
        name: "Venus",
        a_au: (0.723_335_66, 0.000_003_90),
        e: (0.006_776_72, -0.000_041_07),
        incl_deg: (3.394_676_05, -0.000_788_90),
        mean_long_deg: (181.979_099_50, 58_517.815_387_29),
        perihelion_deg: (131.602_467_18, 0.002_683_29),
        node_deg: (76.679_842_55, -0.277_694_18),
        magnitude: [-4.40, 0.0009, 0.000_239, -0.000_000_65],
    },
    Orbit {
        name: "Mars",
        a_au: (1.523_710_34, 0.000_018_47),
        e: (0.093_394_10, 0.000_078_82),
        incl_deg: (1.849_691_42, -0.008_131_31),
        mean_long_deg: (-4.553_432_05, 19_140.302_684_99),
        perihelion_deg: (-23.943_629_59, 0.444_410_88),
        node_deg: (49.559_538_91, -0.292_573_43),
        magnitude: [-1.52, 0.016, 0.0, 0.0],
    },
    Orbit {
        name: "Jupiter",
        a_au: (5.202_887_00, -0.000_116_07),
        e: (0.048_386_24, -0.000_132_53),
        incl_deg: (1.304_396_95, -0.001_837_14),
        mean_long_deg: (34.396_440_51, 3_034.746_127_75),
        perihelion_deg: (14.728_479_83, 0.212_526_68),
        node_deg: (100.473_909_09, 0.204_691_06),
        magnitude: [-9.40, 0.005, 0.0, 0.0],
    },
    Orbit {
        name: "Saturn",
        a_au: (9.536_675_94, -0.001_250_60),
        e: (0.053_861_79, -0.000_509_91),
        incl_deg: (2.485_991_87, 0.001_936_09),
        mean_long_deg: (49.954_244_23, 1_222.493_622_01),
        perihelion_deg: (92.598_878_31, -0.418_972_16),
        node_deg: (113.662_424_48, -0.288_677_94),
        magnitude: [-8.88, 0.0, 0.0, 0.0],
    },
];

/// A planet in the sky of one place.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct PlanetPlace {
    /// Its name.
    pub name: &'static str,
    /// Altitude in degrees, without air.
    pub alt_deg: f64,
    /// Azimuth in degrees from north through east.
    pub az_deg: f64,
    /// Angle from the Sun in degrees.
    pub from_sun_deg: f64,
    /// Visual magnitude outside the air, to some tenths.
    pub magnitude: f64,
    /// Whether an eye finds it in the sky of totality, the air being clear.
    pub by_eye: bool,
    /// Degrees to the right of the Sun and above it in a level frame with the Sun in the middle, where it stands in the frame.
    pub in_frame_deg: Option<(f64, f64)>,
}

/// Faintest magnitude an eye finds in the sky of totality.
///
/// Source: G. P. Können & C. Hinz 2008, Visibility of stars, halos, and rainbows during solar eclipses, Applied Optics 47, H14 (3.5, as
/// cited by others); a sky like that 30 to 40 minutes after sunset: F. Espenak & J. Anderson, Sky at Totality, in the NASA eclipse bulletins.
pub const TOTALITY_LIMIT_MAG: f64 = 3.5;

/// Lower than this, in degrees, nothing is told: haze takes it.
pub(super) const LOWEST_DEG: f64 = 1.0;

/// The planets of totality with their places in a level frame with the Sun in the middle, as wide and high as `framing` says.
pub(super) fn planets_framed(site: &Site, sky: &SunMoon, framing: &Framing) -> Vec<PlanetPlace> {
    let mut up = planets_up(site, sky.utc);
    for planet in &mut up {
        planet.in_frame_deg = in_frame_deg((planet.alt_deg, planet.az_deg), sky, framing);
    }
    up
}

/// The planets as seen from `site` at `utc`, brightest first, those less than a degree above the horizon left out; no frame is known.
///
/// Good to about 0.2 degrees: no aberration, light time, nutation or parallax.
pub fn planets_up(site: &Site, utc: Utc) -> Vec<PlanetPlace> {
    let days = days_from_j2000(utc);
    let earth = heliocentric(&EARTH, days / CENTURY_DAYS);
    let sun = earth.map(|v| -v);
    let mut up: Vec<_> = PLANETS
        .iter()
        .map(|orbit| place(orbit, site, days, earth, sun))
        .filter(|p| p.alt_deg > LOWEST_DEG)
        .collect();
    up.sort_by(|a, b| a.magnitude.total_cmp(&b.magnitude));
    up
}

fn place(orbit: &Orbit, site: &Site, days: f64, earth: [f64; 3], sun: [f64; 3]) -> PlanetPlace {
    let from_sun = heliocentric(orbit, days / CENTURY_DAYS);
    let seen = [0, 1, 2].map(|k| from_sun[k] - earth[k]);
    let (alt_deg, az_deg) = horizontal(seen, site, days);
    let magnitude = magnitude(orbit, from_sun, seen);
    PlanetPlace {
        name: orbit.name,
        alt_deg,
        az_deg,
        from_sun_deg: angle_deg(seen, sun),
        magnitude,
        by_eye: magnitude + AIR_MAG * air_mass(alt_deg) <= TOTALITY_LIMIT_MAG,
        in_frame_deg: None,
    }
}

/// Position in au, ecliptic and equinox of J2000. Source: Standish as above, section 2 (formulae).
fn heliocentric(orbit: &Orbit, centuries: f64) -> [f64; 3] {
    let at = |(start, rate): (f64, f64)| start + rate * centuries;
    let (a, e) = (at(orbit.a_au), at(orbit.e));
    let perihelion = at(orbit.perihelion_deg);
    let node = at(orbit.node_deg).to_radians();
    let argument = perihelion.to_radians() - node;
    let mean = (at(orbit.mean_long_deg) - perihelion).to_radians();
    let eccentric = eccentric_anomaly(mean.rem_euclid(std::f64::consts::TAU), e);
    let (x, y) = (
        a * (eccentric.cos() - e),
        a * (1.0 - e * e).sqrt() * eccentric.sin(),
    );
    let (sin_w, cos_w) = argument.sin_cos();
    let (sin_n, cos_n) = node.sin_cos();
    let (sin_i, cos_i) = at(orbit.incl_deg).to_radians().sin_cos();
    [
        (cos_w * cos_n - sin_w * sin_n * cos_i) * x + (-sin_w * cos_n - cos_w * sin_n * cos_i) * y,
        (cos_w * sin_n + sin_w * cos_n * cos_i) * x + (-sin_w * sin_n + cos_w * cos_n * cos_i) * y,
        sin_w * sin_i * x + cos_w * sin_i * y,
    ]
}

/// Solves `M = E - e sin E` by Newton's method; all in radians. Ten rounds reach full precision below e = 0.3.
fn eccentric_anomaly(mean: f64, e: f64) -> f64 {
    (0..10).fold(mean + e * mean.sin(), |eccentric, _| {
        eccentric - (eccentric - e * eccentric.sin() - mean) / (1.0 - e * eccentric.cos())
    })
}

/// Visual magnitude: `V(1,0) + 5 log10(r d)` and the phase terms.
fn magnitude(orbit: &Orbit, from_sun: [f64; 3], seen: [f64; 3]) -> f64 {
    let [v, c1, c2, c3] = orbit.magnitude;
    let phase = angle_deg(from_sun, seen);
    v + 5.0 * (length(from_sun) * length(seen)).log10() + phase * (c1 + phase * (c2 + phase * c3))
}
