//! What a sheet is made from.

use jiff::tz::TimeZone;

use super::gear::Gear;
use super::skyline::Skyline;
use crate::domain::{Contacts, LimbLight, NearPath, SunMoon, Utc};

/// What the sheet is made from.
pub struct PlanInput<'a> {
    /// The eclipse at the place.
    pub contacts: &'a Contacts,
    /// Where Sun and Moon stand there at an instant.
    pub sky: &'a dyn Fn(Utc) -> SunMoon,
    /// Zone of the local times.
    pub zone: TimeZone,
    /// Where the path lies, for a place outside it.
    pub near_path: Option<NearPath>,
    /// Where the diamond stands at second and third contact, or the ring closes and breaks, as far as known.
    pub limb_lights: Vec<LimbLight>,
    /// The horizon measured from the spot.
    pub skyline: Option<Skyline>,
    /// What the person brings.
    pub gear: Gear,
}
