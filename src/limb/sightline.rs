//! From the place to the Moon's edge in one direction.

use std::sync::OnceLock;

use super::SPHERE_KM;
use super::heights::Heights;
use super::orientation::{axes, cross, dot};
use super::profile::{Arc, LimbProfile};
use crate::domain::{MoonAspect, Tt};

/// Speed of light in kilometres per second (SI, exact).
const LIGHT_KM_S: f64 = 299_792.458;
/// Where the search begins, in degrees from the point of the Moon under the observer. Six degrees either side of 90 hold every
/// peak: one of 9 km is hidden by level ground from 5.8 degrees on.
const FIRST_DEG: f64 = 84.0;
/// Points a degree looked at: three for each of the map's, since a way across the map meets its ridges between its points (worked out
/// with the whole map: with its own spacing limbs come out 0.011 seconds of arc low on average, with this one 0.001).
const PER_DEG: usize = 48;
/// Points looked at between two looks at the roof: half a degree.
const RUN: usize = PER_DEG / 2;
/// Runs from 84 to 96 degrees.
const RUNS: usize = 12 * PER_DEG / RUN;

/// A place's look at the Moon, ready to be asked for any position angle.
///
/// The limb at position angle P is the greatest of `atan(r sin c / (D - r cos c))` over the ground at `c` degrees from the point
/// under the observer towards P, with `r` its distance from the Moon's centre and `D` the observer's.
#[derive(Clone, Copy, Debug)]
pub struct Sightline {
    distance_km: f64,
    /// Towards the observer, and towards north and east of the sky, in the Moon's own axes.
    towards: [f64; 3],
    north: [f64; 3],
    east: [f64; 3],
}

impl Sightline {
    /// The Moon as it stands for a place.
    pub fn new(aspect: &MoonAspect) -> Self {
        let distance_km = dot(aspect.to_moon_km, aspect.to_moon_km).sqrt();
        let out = aspect.to_moon_km.map(|part| part / distance_km);
        let east = unit(cross(aspect.pole, out));
        let north = cross(out, east);
        let left_s = aspect.tt.j2000_s - distance_km / LIGHT_KM_S;
        let moon = axes(Tt::from_j2000_s(left_s));
        let own = |v: [f64; 3]| moon.map(|axis| dot(axis, v));
        Self {
            distance_km,
            towards: own(out.map(|part| -part)),
            north: own(north),
            east: own(east),
        }
    }

    /// Libration in longitude and latitude in degrees: the point of the Moon under the observer, east and north positive.
    pub fn libration_deg(&self) -> (f64, f64) {
        let [x, y, z] = self.towards;
        (y.atan2(x).to_degrees(), z.asin().to_degrees())
    }

    /// Distance of the Moon's centre in kilometres.
    pub fn distance_km(&self) -> f64 {
        self.distance_km
    }

    /// Angular radius in seconds of arc of the sphere heights are counted from.
    pub fn sphere_arcsec(&self) -> f64 {
        (SPHERE_KM / self.distance_km).asin().to_degrees() * 3600.0
    }

    /// Angular distance of the limb from the Moon's centre in seconds of arc at a position angle in degrees.
    pub fn radius_arcsec(&self, position_deg: f64) -> f64 {
        let (sin, cos) = position_deg.to_radians().sin_cos();
        let outward: [f64; 3] = std::array::from_fn(|n| self.north[n] * cos + self.east[n] * sin);
        let heights = Heights::get();
        let mut best = f64::NEG_INFINITY;
        for run in runs() {
            let roof_m = heights.roof_m(self.ground(outward, run.middle));
            if self.slope(roof_m, run.nearest) <= best {
                continue;
            }
            for &step in &steps()[run.first..=run.first + RUN] {
                if self.slope(roof_m, step) > best {
                    best = best.max(self.slope(heights.height_m(self.ground(outward, step)), step));
                }
            }
        }
        if best == f64::NEG_INFINITY {
            return self.sphere_arcsec();
        }
        best.atan().to_degrees() * 3600.0
    }

    /// The limb along an arc, a value every `step_deg` or a little closer.
    pub fn profile(&self, arc: Arc, step_deg: f64) -> LimbProfile {
        LimbProfile::sampled(arc, step_deg, |deg| self.radius_arcsec(deg))
    }

    /// The ground at a step, as a unit vector of the Moon.
    fn ground(&self, outward: [f64; 3], step: Step) -> [f64; 3] {
        std::array::from_fn(|n| self.towards[n] * step.cos + outward[n] * step.sin)
    }

    /// Tangent of the angle from the Moon's centre at which ground of a height is seen.
    fn slope(&self, height_m: Option<f64>, step: Step) -> f64 {
        height_m.map_or(f64::NEG_INFINITY, |m| {
            let r = SPHERE_KM + m / 1000.0;
            r * step.sin / (self.distance_km - r * step.cos)
        })
    }
}

/// An angle from the point under the observer.
#[derive(Clone, Copy, Debug)]
struct Step {
    sin: f64,
    cos: f64,
}

impl Step {
    fn at(deg: f64) -> Self {
        let (sin, cos) = deg.to_radians().sin_cos();
        Self { sin, cos }
    }
}

/// Half a degree of ground.
#[derive(Clone, Copy, Debug)]
struct Run {
    first: usize,
    middle: Step,
    /// Where in it ground of one height is seen farthest out: nearest to the limb of a sphere.
    nearest: Step,
}

fn steps() -> &'static [Step] {
    static STEPS: OnceLock<Vec<Step>> = OnceLock::new();
    STEPS.get_or_init(|| {
        let step = |n: usize| Step::at(FIRST_DEG + n as f64 / PER_DEG as f64);
        (0..=RUNS * RUN).map(step).collect()
    })
}

/// The runs, those nearest to the limb of a sphere first: the highest ground is soon found, and most others need no look.
fn runs() -> &'static [Run] {
    static ORDER: OnceLock<Vec<Run>> = OnceLock::new();
    ORDER.get_or_init(|| {
        // The limb of the sphere at the Moon's usual distance; a tenth of a degree either way is no matter.
        const LIMB_DEG: f64 = 89.74;
        let length = RUN as f64 / PER_DEG as f64;
        let from = |n: usize| FIRST_DEG + n as f64 * length;
        let mut order: Vec<usize> = (0..RUNS).collect();
        order.sort_by(|a, b| {
            let off = |n: usize| (from(n) + length / 2.0 - LIMB_DEG).abs();
            off(*a).total_cmp(&off(*b))
        });
        let run = |n: usize| Run {
            first: n * RUN,
            middle: Step::at(from(n) + length / 2.0),
            nearest: Step::at(LIMB_DEG.clamp(from(n), from(n) + length)),
        };
        order.into_iter().map(run).collect()
    })
}

fn unit(v: [f64; 3]) -> [f64; 3] {
    let length = dot(v, v).sqrt();
    v.map(|part| part / length)
}
