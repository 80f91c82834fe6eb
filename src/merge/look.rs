//! What of a whole map decides how each of its pixels is shown: sky, veil, balance, and how light falls outwards.

use super::Merged;
use super::layer::sky_unrest;
use super::light::luminance;
use super::profile::Profile;
use super::veil::Veil;
use crate::domain::Circle;

/// The stretch stays even up to this many times the spread of the sky's light: what is lost in noise is not lifted.
const KNEE_UNRESTS: f32 = 6.0;

/// Part of the knee below which means of rings are not believed: what is so faint is black in the picture.
const LEAST_OF_KNEE: f32 = 0.05;

pub(super) struct Look {
    pub(super) sun: Circle,
    pub(super) moon: Circle,
    pub(super) veil: Veil,
    balance: [f32; 3],
    profile: Profile,
    /// Mean light just outside the limb.
    pub(super) limb: f32,
    /// Spread of the sky's light from place to place, as a sigma: noise, cloud, rounding.
    pub(super) unrest: f32,
    /// Light, as a fraction of that at the limb, below which the stretch turns from logarithmic to even.
    pub(super) knee: f32,
    /// Radiance from which the shortest exposure is clipped.
    pub(super) clipped: f32,
}

impl Look {
    /// `sky_part` of the sky's light is taken off; `knee` is the least the knee may be.
    pub(super) fn new(merged: &Merged, sky_part: f32, knee: f32) -> Self {
        let found = Veil::of(merged);
        let veil = Veil {
            sky: found.sky.map(|v| v * sky_part),
            ..found
        };
        let unrest = sky_unrest(merged).max(merged.rounding.sigma(0.0));
        let clipped = 0.8 * merged.response.light(0.9);
        let mut look = Self {
            sun: merged.sun,
            moon: merged.moon,
            balance: balance(merged, &veil, [10.0 * unrest, clipped]),
            veil,
            profile: Profile::level(1.0),
            limb: 1.0,
            unrest,
            knee: 0.5,
            clipped,
        };
        let light = |x: usize, y: usize| luminance(look.light(merged.radiance.at(x, y), x, y));
        let size = [merged.radiance.width(), merged.radiance.height()];
        look.profile = Profile::of_medians(size, &merged.sun, &merged.moon, light);
        let innermost = look.profile.at(look.profile.innermost());
        look.limb = innermost.max(f32::MIN_POSITIVE);
        look.knee = knee.max(KNEE_UNRESTS * unrest / look.limb).min(0.5);
        look
    }

    /// Balanced light of a pixel without sky and veil.
    pub(super) fn light(&self, rgb: [f32; 3], x: usize, y: usize) -> [f32; 3] {
        let veil = self.veil.at(self.radius(x, y) / self.sun.radius_px as f32);
        std::array::from_fn(|c| (rgb[c] - veil[c]) * self.balance[c])
    }

    /// Mean light at a distance from the Sun in pixels.
    pub(super) fn mean(&self, r_px: f32) -> f32 {
        self.profile
            .at(r_px)
            .max(LEAST_OF_KNEE * self.knee * self.limb)
    }

    /// Distance of a pixel from the Sun's centre, in pixels.
    pub(super) fn radius(&self, x: usize, y: usize) -> f32 {
        (x as f64 - self.sun.x_px).hypot(y as f64 - self.sun.y_px) as f32
    }

    /// Distance of a pixel from the Moon's limb, in pixels, negative on the disc.
    pub(super) fn off_moon(&self, x: usize, y: usize) -> f32 {
        let r = (x as f64 - self.moon.x_px).hypot(y as f64 - self.moon.y_px);
        (r - self.moon.radius_px) as f32
    }
}

/// Channel factors that make the corona between 1.2 and 2 radii neutral, held between a third and three. Only light
/// between two levels counts: the colour of noise is any, that of clipped light none.
fn balance(merged: &Merged, veil: &Veil, [least, most]: [f32; 2]) -> [f32; 3] {
    let mut sum = [0.0_f64; 3];
    let (sun, moon) = (merged.sun, merged.moon);
    for y in (0..merged.radiance.height()).step_by(2) {
        for x in (0..merged.radiance.width()).step_by(2) {
            let r = (x as f64 - sun.x_px).hypot(y as f64 - sun.y_px) / sun.radius_px;
            let off = (x as f64 - moon.x_px).hypot(y as f64 - moon.y_px) / moon.radius_px;
            if !(1.2..2.0).contains(&r) || off < 1.05 {
                continue;
            }
            let veil = veil.at(r as f32);
            let own = merged.radiance.at(x, y);
            let rgb: [f32; 3] = std::array::from_fn(|c| own[c] - veil[c]);
            let light = luminance(rgb);
            if light > least && own.iter().all(|v| *v < most) {
                for (sum, v) in sum.iter_mut().zip(rgb) {
                    *sum += f64::from(v / light);
                }
            }
        }
    }
    let grey = 0.2126 * sum[0] + 0.7152 * sum[1] + 0.0722 * sum[2];
    sum.map(|s| {
        if s > 0.0 && grey > 0.0 {
            (grey / s).clamp(1.0 / 3.0, 3.0) as f32
        } else {
            1.0
        }
    })
}
