//! How much of a picture the corona fills.

use super::canvas::square;
use super::light::luminance;
use crate::domain::{Circle, quantile};
use crate::raster::{LinearRgb, Rect, linear_to_srgb};

/// Coded value at which the brightest fifth of a ring about the Sun no longer stands out from a black wall (our choice:
/// about 20 of 255, where prints lose shadows).
const SEEN: f32 = 0.08;

/// Part of a ring's ranking that is looked at: streamers reach farther than what lies between them.
const BRIGHT: f64 = 0.8;

/// Free room about what is seen, and least room about the Sun, in solar radii.
const ROOM_RADII: [f64; 2] = [0.5, 2.5];

/// How far a picture is worth showing, in solar radii from the Sun's centre: to the farthest ring about it whose light is
/// seen, and some room. Rings count as far as a quarter of them lies on the picture.
pub fn shown_reach_radii(shown: &LinearRgb, sun: &Circle) -> f64 {
    const STEP_RADII: f64 = 0.1;
    let rings = (1..).map(|k| 1.0 + STEP_RADII * f64::from(k));
    let levels = rings.map_while(|r| Some((r, ring_level(shown, sun, r)?)));
    let seen = levels.filter(|(_, level)| *level > SEEN);
    let farthest = seen.map(|(r, _)| r).fold(0.0, f64::max);
    (farthest + ROOM_RADII[0]).max(ROOM_RADII[1])
}

/// Coded luminance of a ring's brighter places; `None` where less than a quarter of it is on the picture.
fn ring_level(shown: &LinearRgb, sun: &Circle, radii: f64) -> Option<f32> {
    const PLACES: usize = 720;
    let place = |k: usize| {
        let (sin, cos) = (k as f64 / PLACES as f64 * std::f64::consts::TAU).sin_cos();
        let x = (sun.x_px + radii * sun.radius_px * cos).round();
        let y = (sun.y_px + radii * sun.radius_px * sin).round();
        let on = x >= 0.0 && y >= 0.0;
        let (x, y) = (x as usize, y as usize);
        let on = on && x < shown.width() && y < shown.height();
        on.then(|| linear_to_srgb(luminance(shown.at(x, y))))
    };
    let mut levels: Vec<f32> = (0..PLACES).filter_map(place).collect();
    if levels.len() < PLACES / 4 {
        return None;
    }
    quantile(&mut levels, BRIGHT)
}

/// The part of a picture of `size` within so many solar radii of the Sun's centre, to the left, right, above and below.
pub fn part_within(size: [usize; 2], sun: &Circle, radii: f64) -> Rect {
    let part = square(size, sun, radii * sun.radius_px);
    // A Sun off the picture leaves it whole.
    let whole = |from: usize, span: usize, limit: usize| match span {
        0 => (0, limit),
        _ => (from, span),
    };
    let (x, width) = whole(part.x, part.width, size[0]);
    let (y, height) = whole(part.y, part.height, size[1]);
    Rect {
        x,
        y,
        width,
        height,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SUN: Circle = Circle {
        x_px: 150.0,
        y_px: 100.0,
        radius_px: 20.0,
    };

    /// Light of 0.3 out to so many radii.
    fn glow(radii: f64) -> LinearRgb {
        let mut out = LinearRgb::new(300, 200);
        for (x, y) in (0..300 * 200).map(|i| (i % 300, i / 300)) {
            let r = (x as f64 - SUN.x_px).hypot(y as f64 - SUN.y_px) / SUN.radius_px;
            if r < radii {
                out.set(x, y, [0.3; 3]);
            }
        }
        out
    }

    #[test]
    fn the_reach_follows_the_light() {
        for (radii, due) in [(3.0, 3.4), (4.5, 4.9), (1.2, 2.5)] {
            let found = shown_reach_radii(&glow(radii), &SUN);
            assert!((found - due).abs() < 0.15, "{found} for {due}");
        }
        assert!(shown_reach_radii(&LinearRgb::new(300, 200), &SUN) < 2.51);
    }

    #[test]
    fn a_part_stays_on_the_picture() {
        let part = part_within([300, 200], &SUN, 3.0);
        assert_eq!(
            (part.x, part.y, part.width, part.height),
            (90, 40, 120, 120)
        );
        let part = part_within([300, 200], &SUN, 6.0);
        assert_eq!((part.x, part.y, part.width, part.height), (30, 0, 240, 200));
        let part = part_within([300, 200], &SUN, 40.0);
        assert_eq!((part.width, part.height), (300, 200));
    }
}
