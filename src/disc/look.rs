//! Plain measures of a whole frame.

use super::find::Overview;
use crate::domain::FrameLook;
use crate::domain::saturation::FULL_CODE;
use crate::raster::Frame;

/// About this many pixels are counted for peak and saturation.
const COUNTED: usize = 400_000;

/// Fraction of pixels that may lie above the peak.
const ABOVE_PEAK: f64 = 1e-4;

/// Mean, sky, peak and clipped fraction, on the brightest channel; the disc's own measures are left open.
///
/// Mean and sky come from the reduced frame, peak and clipped from about 400,000 pixels spread over it.
pub(super) fn look(frame: &Frame, view: &Overview) -> FrameLook {
    let counts = frame.counts(COUNTED);
    let all: usize = counts.iter().sum();
    let light = view.light.data();
    let mean = light.iter().map(|&v| f64::from(v)).sum::<f64>() / light.len().max(1) as f64;
    FrameLook {
        mean,
        sky: f64::from(view.sky),
        peak: peak(frame, &counts, all),
        clipped: counts[FULL_CODE..].iter().sum::<usize>() as f64 / all.max(1) as f64,
        disc_level: None,
        limb_sharpness: None,
        limb_glare: None,
        disc: None,
    }
}

fn peak(frame: &Frame, counts: &[usize; 256], all: usize) -> f64 {
    let allowed = all as f64 * ABOVE_PEAK;
    let mut above = 0;
    for code in (0..256).rev() {
        above += counts[code];
        if above as f64 > allowed {
            return f64::from(frame.transfer().light(code as f32 / 255.0));
        }
    }
    0.0
}
