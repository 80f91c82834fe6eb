//! Plain measures of a whole frame.

use super::find::Overview;
use crate::domain::FrameLook;
use crate::raster::{Frame, Samples};

/// About this many pixels are counted for peak and saturation.
const COUNTED: usize = 400_000;

/// Fraction of pixels that may lie above the peak.
const ABOVE_PEAK: f64 = 1e-4;

/// Stored values from here on, of 255, are at saturation.
const SATURATED: usize = 254;

/// Mean, sky, peak and clipped fraction, on the brightest channel; the disc's own measures are left open.
///
/// Mean and sky come from the reduced frame, peak and clipped from about 400,000 pixels spread over it.
pub(super) fn look(frame: &Frame, view: &Overview) -> FrameLook {
    let counts = histogram(frame);
    let all: usize = counts.iter().sum();
    let light = view.light.data();
    let mean = light.iter().map(|&v| f64::from(v)).sum::<f64>() / light.len().max(1) as f64;
    FrameLook {
        mean,
        sky: f64::from(view.sky),
        peak: peak(frame, &counts, all),
        clipped: counts[SATURATED..].iter().sum::<usize>() as f64 / all.max(1) as f64,
        disc_level: None,
        limb_sharpness: None,
    }
}

/// Counts of the brightest channel's stored value, cut to 8 bits.
fn histogram(frame: &Frame) -> [usize; 256] {
    let step = ((frame.width() * frame.height()) as f64 / COUNTED as f64)
        .sqrt()
        .ceil()
        .max(1.0) as usize;
    let c = frame.channels();
    let mut counts = [0; 256];
    for y in (step / 2..frame.height()).step_by(step) {
        let line = y * frame.width() * c..(y + 1) * frame.width() * c;
        match frame.samples() {
            Samples::U8(v) => {
                for pixel in v[line].chunks_exact(c).skip(step / 2).step_by(step) {
                    counts[usize::from(pixel.iter().copied().max().unwrap_or(0))] += 1;
                }
            }
            Samples::U16(v) => {
                for pixel in v[line].chunks_exact(c).skip(step / 2).step_by(step) {
                    counts[usize::from(pixel.iter().copied().max().unwrap_or(0) >> 8)] += 1;
                }
            }
        }
    }
    counts
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
