//! The colour a filter gives the disc, for telling saturation from grey frames.

use super::arcs::median;
use crate::domain::Circle;
use crate::raster::{Frame, linear_to_srgb, srgb_to_linear};

/// Steps from the centre of the disc to its edge.
const STEPS: i32 = 12;

/// Weights of red, green and blue in luma (ITU-T T.871, "JPEG File Interchange Format", sect. 7).
const LUMA: [f32; 3] = [0.299, 0.587, 0.114];

/// How much brighter a disc is in its brightest channel than in luma, in light: 1 for a white one; `None` where nothing of it
/// is bright.
///
/// `sun` is in pixels of the frame.
pub fn tint(frame: &Frame, sun: Circle) -> Option<f64> {
    let step = 0.9 * sun.radius_px / f64::from(STEPS);
    let mut lights = Vec::new();
    for j in -STEPS..=STEPS {
        for i in -STEPS..=STEPS {
            let x = (sun.x_px + f64::from(i) * step).round();
            let y = (sun.y_px + f64::from(j) * step).round();
            let inside = x >= 0.0
                && y >= 0.0
                && x < frame.width() as f64
                && y < frame.height() as f64
                && i * i + j * j <= STEPS * STEPS;
            if inside {
                let rgb = frame.rgb(x as usize, y as usize);
                let code: f32 = rgb
                    .iter()
                    .zip(LUMA)
                    .map(|(v, w)| w * linear_to_srgb(*v))
                    .sum();
                let brightest = rgb.into_iter().fold(0.0, f32::max);
                lights.push((f64::from(brightest), f64::from(srgb_to_linear(code))));
            }
        }
    }
    let top = lights.iter().map(|l| l.0).fold(0.0, f64::max);
    let bare: Vec<f64> = lights
        .into_iter()
        .filter(|(light, luma)| *light > 0.5 * top && *luma > 0.0)
        .map(|(light, luma)| light / luma)
        .collect();
    (!bare.is_empty()).then(|| median(bare).max(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::raster::{Samples, Transfer};

    #[test]
    fn an_orange_disc_is_brighter_in_red() {
        let disc = |rgb: [u8; 3]| {
            let frame = Frame::new(9, 9, 3, Samples::U8(rgb.repeat(81)), Transfer::Srgb);
            let sun = Circle {
                x_px: 4.0,
                y_px: 4.0,
                radius_px: 4.0,
            };
            tint(&frame, sun)
        };
        assert!((disc([90, 90, 90]).unwrap() - 1.0).abs() < 1e-3);
        // 0.299 * 200 + 0.587 * 100 + 0.114 * 20 = 120.8
        let wanted = f64::from(srgb_to_linear(200.0 / 255.0) / srgb_to_linear(120.78 / 255.0));
        assert!((disc([200, 100, 20]).unwrap() / wanted - 1.0).abs() < 1e-3);
        assert_eq!(disc([0, 0, 0]), None);
    }
}
