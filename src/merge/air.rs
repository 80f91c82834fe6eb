//! What the air takes from the light of a low Sun's surroundings: more the lower they stand.

use super::layer::sky_level;
use super::{LimbLight, Merged};
use crate::ephemeris::air_mass;
use crate::raster::LinearRgb;

/// How the air lies over a merged map.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air {
    /// Altitude of the Sun's centre as refracted, in degrees.
    pub sun_alt_deg: f64,
    /// Direction of the zenith on the map, anticlockwise from up, in degrees.
    pub zenith_deg: f64,
    /// Angle that a pixel spans on the sky, in degrees.
    pub pixel_deg: f64,
    /// Light lost per air mass in red, green and blue, as natural logarithms.
    pub dimming: [f64; 3],
}

/// Most that a place is brightened or dimmed, as a natural logarithm: below that the land begins, or haze no law holds for.
const MOST: f64 = 1.0;

impl Air {
    /// Natural logarithm of what a place lost beyond what the Sun's centre did, `right` and `down` of it in pixels.
    fn lost(&self, right: f64, down: f64) -> [f64; 3] {
        let (sin, cos) = self.zenith_deg.to_radians().sin_cos();
        let up_deg = (-sin * right - cos * down) * self.pixel_deg;
        let more = air_mass(self.sun_alt_deg + up_deg) - air_mass(self.sun_alt_deg);
        self.dimming.map(|k| (k * more).clamp(-MOST, MOST))
    }

    /// Part by which green light differs between two places so many solar radii above and below the Sun's centre.
    pub fn tilt(&self, radii: f64, radius_px: f64) -> f64 {
        let (sin, cos) = self.zenith_deg.to_radians().sin_cos();
        let at = |r: f64| self.lost(-sin * r * radius_px, -cos * r * radius_px)[1];
        (at(-radii) - at(radii)).exp_m1()
    }
}

/// Brings the light of every place to what it would be at the Sun's height. Light of the sky, which is the air's own, is
/// left as it is.
///
/// Each air mass dims by the same part (Bouguer's law); the Sun's own loss stays in the map's unit.
pub fn without_air(merged: &mut Merged, air: &Air) {
    let sky = sky_level(merged);
    let sun = [merged.sun.x_px, merged.sun.y_px];
    let clear = |light: &mut LinearRgb, corner: [usize; 2]| {
        let width = light.width();
        for (i, rgb) in light.data_mut().chunks_exact_mut(3).enumerate() {
            let (x, y) = (i % width + corner[0], i / width + corner[1]);
            let lost = air.lost(x as f64 - sun[0], y as f64 - sun[1]);
            for ((v, lost), sky) in rgb.iter_mut().zip(lost).zip(sky) {
                *v += (*v - sky).max(0.0) * lost.exp_m1() as f32;
            }
        }
    };
    clear(&mut merged.radiance, [0, 0]);
    for part in [&mut merged.limb, &mut merged.moon_light] {
        let LimbLight {
            light,
            left_px,
            top_px,
        } = part;
        clear(light, [*left_px, *top_px]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LOW: Air = Air {
        sun_alt_deg: 5.0,
        zenith_deg: 90.0,
        pixel_deg: 0.266 / 100.0,
        dimming: [0.1, 0.2, 0.3],
    };

    #[test]
    fn what_stands_lower_lost_more() {
        // The zenith lies to the left. Air masses at 4 and 5 degrees by the law of Kasten and Young (1989), worked by hand:
        // 12.30 and 10.31.
        let px = 1.0 / LOW.pixel_deg;
        let [red, green, blue] = LOW.lost(px, 0.0);
        assert!((green - 0.2 * 2.0).abs() < 0.005, "{green}");
        assert!((red - 0.5 * green).abs() < 1e-9 && (blue - 1.5 * green).abs() < 1e-9);
        assert!(LOW.lost(-px, 0.0)[1] < -0.2);
        assert!(LOW.lost(0.0, 50.0)[1].abs() < 1e-9);
        assert!(LOW.tilt(1.0, 100.0) > 0.1);
        let high = Air {
            sun_alt_deg: 60.0,
            ..LOW
        };
        assert!(high.tilt(4.0, 100.0) < 0.01);
    }
}
