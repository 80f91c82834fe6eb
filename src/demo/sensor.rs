//! From radiance to the numbers of a picture file.

use std::sync::LazyLock;

use rand::{Rng, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_pcg::Pcg64;

use super::body::Body;
use crate::raster::{LinearRgb, linear_to_srgb};

/// Fraction of saturation for radiance 1 (the mean solar disc) in 1 s at f/1 and ISO 100.
///
/// Set so that the mean disc through 16 stops at f/8, 1/800 s, ISO 100 reaches 0.45 of saturation (exposure: common
/// practice; it agrees with Espenak's guide `t = N^2 / (ISO 2^Q)` on the corona within half a stop).
pub const SATURATION_GAIN: f64 = 0.45 * 800.0 * 64.0 * 65_536.0;

/// How light is let in, in true values (a shutter marked 1/125 is open for 1/128 s).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrueExposure {
    /// Open time in seconds.
    pub shutter_s: f64,
    /// Focal ratio.
    pub f_number: f64,
    /// ISO speed.
    pub iso: f64,
}

impl TrueExposure {
    /// Fraction of saturation for radiance 1.
    pub fn gain(&self) -> f64 {
        SATURATION_GAIN * self.shutter_s * self.iso / 100.0 / self.f_number.powi(2)
    }
}

/// Normal deviates to draw noise from.
static NORMALS: LazyLock<Vec<f32>> = LazyLock::new(|| {
    let mut rng = Pcg64::seed_from_u64(0x4E01_5E00);
    (0..1 << 16)
        .map(|_| {
            let value: f64 = StandardNormal.sample(&mut rng);
            value as f32
        })
        .collect()
});

/// sRGB values for light in steps of 1/65,535.
static SRGB: LazyLock<Vec<u8>> = LazyLock::new(|| {
    (0..=u16::MAX)
        .map(|v| (linear_to_srgb(f32::from(v) / 65_535.0) * 255.0).round() as u8)
        .collect()
});

/// Exposes a sensor: gain per colour, photon and read noise, saturation, the sRGB curve. Row-major 8-bit RGB.
///
/// `light` is in units of the mean solar disc. The noise is seeded.
pub fn expose(light: &LinearRgb, gain: [f64; 3], iso: f64, body: &Body, seed: u64) -> Vec<u8> {
    let gain = gain.map(|g| g as f32);
    let well = (body.full_well_e * 100.0 / iso) as f32;
    let read = (body.read_noise_e / f64::from(well)) as f32;
    let mut rng = Pcg64::seed_from_u64(seed);
    let mut out = Vec::with_capacity(light.data().len());
    for pixel in light.data().chunks_exact(3) {
        let bits = rng.next_u64();
        for c in 0..3 {
            let signal = (pixel[c] * gain[c]).clamp(0.0, 4.0);
            let sigma = (signal / well + read * read).sqrt();
            let noise = sigma * NORMALS[(bits >> (16 * c)) as usize & 0xFFFF];
            let value = ((signal + noise) * 65_535.0).clamp(0.0, 65_535.0);
            out.push(SRGB[value as usize]);
        }
    }
    out
}

/// The air between the Sun and the camera.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Air {
    /// Magnitudes lost per air mass in red, green and blue.
    pub extinction_mag: [f64; 3],
    /// Altitude in degrees at which the cameras' white balance makes the Sun white.
    pub white_at_alt_deg: f64,
}

impl Air {
    /// What is left of the light at a refracted altitude, white balance included, as factors per colour.
    ///
    /// Air mass after Kasten & Young 1989, Applied Optics 28, 4735.
    pub fn transmission(&self, alt_deg: f64) -> [f64; 3] {
        let through = |alt: f64| {
            let mass = air_mass(alt);
            self.extinction_mag.map(|k| 10_f64.powf(-0.4 * k * mass))
        };
        let (here, white) = (through(alt_deg), through(self.white_at_alt_deg));
        std::array::from_fn(|c| here[c] * white[1] / white[c])
    }
}

fn air_mass(alt_deg: f64) -> f64 {
    let h = alt_deg.max(0.0);
    1.0 / (h.to_radians().sin() + 0.505_72 * (h + 6.079_95).powf(-1.636_4))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn air_mass_is_one_overhead_and_38_at_the_horizon() {
        assert!((air_mass(90.0) - 1.0).abs() < 1e-3);
        assert!((air_mass(0.0) - 38.0).abs() < 0.5);
    }
}
