//! The Moon's real limb: how far from its centre the sky begins, in every direction.
//!
//! Heights come from NASA's laser altimeter (the band about the limb of LDEM_16, embedded in `heights.bin` and unpacked once,
//! on first use), the Moon's orientation from the formulae of the IAU, and the direction of the place from the ephemeris. For each
//! position angle the limb is the greatest angle from the Moon's centre at which ground is seen (see [`Sightline`]).
//!
//! Accuracy: against a profile worked out from DE421's own orientation and the whole map 0.005" rms; against a map four times
//! finer the map itself is off by some 0.03" (fixtures of `tests/limb.rs`). Centre of figure and centre of mass are not mixed:
//! heights and ephemeris both count from the centre of mass.
//!
//! Sound at solar eclipses: libration within 6.9 degrees in longitude and 0.7 in latitude. Beyond, peaks behind the limb are
//! missing from the band and the limb comes out low.

mod circle;
mod course;
mod heights;
mod orientation;
mod profile;
mod sightline;

pub use circle::{CircleShift, LimbPoint, circle_shift};
pub use course::{LimbAll, LimbCourse};
pub use profile::{Arc, LimbProfile};
pub use sightline::Sightline;

/// Radius of the sphere heights are counted from, in kilometres (IAU mean radius; D. Smith et al. 2010, Geophys. Res. Lett. 37,
/// L18204).
pub const SPHERE_KM: f64 = 1_737.4;

/// One sigma of a limb height in seconds of arc: LDEM_16 against a map four times finer, over the stretches that make contacts
/// (median difference of contact times 0.04 s, the gap closing by 0.4" a second), doubled for what both share.
pub const HEIGHT_SIGMA_ARCSEC: f64 = 0.04;
