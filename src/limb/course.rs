//! The limb all round over a stretch of time, for those who ask about many instants.

use super::SPHERE_KM;
use super::profile::{Arc, LimbProfile};
use super::sightline::Sightline;
use crate::domain::{MoonAspect, Utc};

/// Seconds between epochs. Straight between them a height is good to 0.003 seconds of arc rms, 0.04 at most
/// (`fixtures/scripts/make_demo_limb.py` prints it for this step).
const EPOCH_S: f64 = 1200.0;
/// Degrees of position angle between points: enough for the mean of a stretch of a hundred degrees to 0.03 seconds of arc (our
/// choice; the time it takes grows with the number).
const POINT_DEG: f64 = 0.5;

/// The limb all round from one instant to another.
#[derive(Clone, Debug)]
pub struct LimbCourse {
    first: Utc,
    /// One row an epoch: distance of the limb from the Moon's centre over that of a sphere of [`SPHERE_KM`], minus one.
    rows: Vec<Vec<f64>>,
}

impl LimbCourse {
    /// The instants whose limbs make the course from `first` on for `length_s` seconds.
    pub fn epochs(first: Utc, length_s: f64) -> Vec<Utc> {
        let count = (length_s.max(0.0) / EPOCH_S).ceil() as usize + 1;
        (0..count)
            .map(|n| first.plus_s(n as f64 * EPOCH_S))
            .collect()
    }

    /// The course from its limbs at [`LimbCourse::epochs`], one at least.
    pub fn of(first: Utc, limbs: Vec<LimbAll>) -> Self {
        Self {
            first,
            rows: limbs.into_iter().map(|limb| limb.0).collect(),
        }
    }

    /// Position angle in degrees and height of each point of the limb at an instant, as a share of the radius of a sphere of
    /// `radius_km`; outside the stretch those of its end.
    pub fn heights(&self, utc: Utc, radius_km: f64) -> impl Iterator<Item = (f64, f64)> {
        let last = self.rows.len() - 1;
        let place = (utc.seconds_since(self.first) / EPOCH_S).clamp(0.0, last as f64);
        let n = (place as usize).min(last.saturating_sub(1));
        let part = place - n as f64;
        let (a, b) = (&self.rows[n], &self.rows[(n + 1).min(last)]);
        let scale = SPHERE_KM / radius_km;
        let step_deg = 360.0 / a.len() as f64;
        a.iter().zip(b).enumerate().map(move |(k, (a, b))| {
            let over_sphere = a + (b - a) * part;
            (k as f64 * step_deg, (1.0 + over_sphere) * scale - 1.0)
        })
    }
}

/// The limb all round at one instant.
#[derive(Clone, Debug)]
pub struct LimbAll(Vec<f64>);

impl LimbAll {
    /// Where the Moon stands so.
    pub fn of(aspect: &MoonAspect) -> Self {
        let line = Sightline::new(aspect);
        let sphere = line.sphere_arcsec();
        let profile: LimbProfile = line.profile(Arc::WHOLE, POINT_DEG);
        Self(profile.points().map(|(_, r)| r / sphere - 1.0).collect())
    }
}
