//! Marked and true shutter times and apertures, in thirds of a stop.

use super::sensor::TrueExposure;

/// Marked shutter times from 1 s down, a third of a stop apart: numerator and denominator (common practice; EXIF readers
/// see these). The true times are exact powers of two of a third of a stop.
const SHUTTERS: [(u32, u32); 40] = [
    (1, 1),
    (8, 10),
    (6, 10),
    (1, 2),
    (4, 10),
    (3, 10),
    (1, 4),
    (1, 5),
    (1, 6),
    (1, 8),
    (1, 10),
    (1, 13),
    (1, 15),
    (1, 20),
    (1, 25),
    (1, 30),
    (1, 40),
    (1, 50),
    (1, 60),
    (1, 80),
    (1, 100),
    (1, 125),
    (1, 160),
    (1, 200),
    (1, 250),
    (1, 320),
    (1, 400),
    (1, 500),
    (1, 640),
    (1, 800),
    (1, 1000),
    (1, 1250),
    (1, 1600),
    (1, 2000),
    (1, 2500),
    (1, 3200),
    (1, 4000),
    (1, 5000),
    (1, 6400),
    (1, 8000),
];

/// Marked apertures, a third of a stop apart from f/4 (common practice), in tenths.
const APERTURES: [u32; 13] = [40, 45, 50, 56, 63, 71, 80, 90, 100, 110, 130, 140, 160];

/// A setting of the camera's dials.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dials {
    /// Shutter: thirds of a stop faster than 1 s, 0 to 39 (1/8000 s).
    pub shutter_thirds: u32,
    /// Aperture: thirds of a stop smaller than f/4, 0 to 12 (f/16).
    pub aperture_thirds: u32,
    /// ISO speed.
    pub iso: u32,
}

impl Dials {
    /// f/8.
    pub const F8: u32 = 6;
    /// f/11.
    pub const F11: u32 = 9;

    /// Marked shutter time as numerator and denominator.
    pub fn marked_shutter(&self) -> (u32, u32) {
        SHUTTERS[(self.shutter_thirds as usize).min(SHUTTERS.len() - 1)]
    }

    /// Marked aperture in tenths.
    pub fn marked_aperture_tenths(&self) -> u32 {
        APERTURES[(self.aperture_thirds as usize).min(APERTURES.len() - 1)]
    }

    /// What the shutter and the diaphragm really do.
    pub fn true_exposure(&self) -> TrueExposure {
        TrueExposure {
            shutter_s: 2_f64.powf(-f64::from(self.shutter_thirds) / 3.0),
            f_number: 4.0 * 2_f64.powf(f64::from(self.aperture_thirds) / 6.0),
            iso: f64::from(self.iso),
        }
    }

    /// The longest shutter of these dials that brings a radiance to at most `level` of saturation, not longer than
    /// `slowest_thirds`.
    pub fn metered(mut self, radiance: f64, level: f64, slowest_thirds: u32) -> Self {
        self.shutter_thirds = slowest_thirds;
        while self.true_exposure().gain() * radiance > level
            && (self.shutter_thirds as usize) < SHUTTERS.len() - 1
        {
            self.shutter_thirds += 1;
        }
        self
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn marked_and_true_shutters_agree_within_a_tenth_of_a_stop() {
        for thirds in 0..SHUTTERS.len() as u32 {
            let dials = Dials {
                shutter_thirds: thirds,
                aperture_thirds: 0,
                iso: 100,
            };
            let (num, den) = dials.marked_shutter();
            let marked = f64::from(num) / f64::from(den);
            let off = (marked / dials.true_exposure().shutter_s).log2();
            assert!(off.abs() < 0.1, "{num}/{den} is {off} stops off");
        }
    }
}
