//! A stretch of limb, sampled.

/// Part of the circle of position angles, from `from_deg` on towards east by `length_deg` (0 to 360).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Arc {
    /// Where it begins, degrees.
    pub from_deg: f64,
    /// How far it goes, degrees.
    pub length_deg: f64,
}

impl Arc {
    /// The whole circle.
    pub const WHOLE: Self = Self {
        from_deg: 0.0,
        length_deg: 360.0,
    };

    /// An arc about a middle, `half_deg` either side of it (at most 180).
    pub fn about(middle_deg: f64, half_deg: f64) -> Self {
        let half_deg = half_deg.clamp(0.0, 180.0);
        Self {
            from_deg: (middle_deg - half_deg).rem_euclid(360.0),
            length_deg: 2.0 * half_deg,
        }
    }
}

/// Angular distance of the limb from the Moon's centre along an arc.
#[derive(Clone, Debug, PartialEq)]
pub struct LimbProfile {
    arc: Arc,
    step_deg: f64,
    radii_arcsec: Vec<f64>,
}

impl LimbProfile {
    /// Asks a limb for its radius in seconds of arc every `step_deg` degrees of position angle or a little closer, so that both
    /// ends of the arc are among them (the end of a whole circle is its beginning and is left out).
    pub fn sampled(arc: Arc, step_deg: f64, radius_arcsec: impl Fn(f64) -> f64) -> Self {
        let steps = (arc.length_deg / step_deg - 1e-9).ceil().max(1.0);
        let step_deg = arc.length_deg / steps;
        let points = steps as usize + usize::from(arc.length_deg < 360.0);
        let radius = |n: usize| radius_arcsec(arc.from_deg + n as f64 * step_deg);
        Self {
            arc,
            step_deg,
            radii_arcsec: (0..points).map(radius).collect(),
        }
    }

    /// The arc.
    pub fn arc(&self) -> Arc {
        self.arc
    }

    /// Degrees of position angle between neighbouring points.
    pub fn step_deg(&self) -> f64 {
        self.step_deg
    }

    /// Position angle in degrees, 0 to 360, and radius in seconds of arc of each point.
    pub fn points(&self) -> impl ExactSizeIterator<Item = (f64, f64)> {
        let each = self.radii_arcsec.iter().enumerate();
        each.map(|(n, radius)| (self.position_deg(n), *radius))
    }

    /// Position angle of the `n`-th point in degrees, 0 to 360.
    pub fn position_deg(&self, n: usize) -> f64 {
        (self.arc.from_deg + n as f64 * self.step_deg).rem_euclid(360.0)
    }

    /// Radius in seconds of arc at a position angle, straight between the points; nothing off the arc.
    pub fn radius_arcsec(&self, position_deg: f64) -> Option<f64> {
        let along = (position_deg - self.arc.from_deg).rem_euclid(360.0) / self.step_deg;
        let left = along as usize;
        let whole = self.arc.length_deg >= 360.0;
        let right = if whole && left + 1 == self.radii_arcsec.len() {
            0
        } else {
            left + 1
        };
        let a = *self.radii_arcsec.get(left)?;
        let part = along - left as f64;
        let b = if part == 0.0 {
            a
        } else {
            *self.radii_arcsec.get(right)?
        };
        Some(a + (b - a) * part)
    }
}
