//! Which pixels take part in a fit: spread evenly over the bands along the limbs, and the same ones wherever a fit starts from.
//!
//! A pixel takes part by its own place, not by its place about the circle a fit starts from: two starts a part of a pixel apart
//! then differ only in pixels at the far sides of the bands, which say little, and end in the same place.

use super::flat::Flat;
use crate::domain::Circle;
use crate::raster::Frame;

/// Places, as (row, column), in the order they are found.
pub(super) type Places = Vec<(u32, u32)>;

/// A band along a limb.
#[derive(Clone, Copy, Debug)]
pub(super) struct Band {
    /// The limb.
    pub circle: Circle,
    /// Its flattening.
    pub flat: Flat,
    /// How far it reaches inside and outside the limb, pixels.
    pub reach: (f64, f64),
    /// About how many pixels of it take part.
    pub count: f64,
}

/// Directions in which a limb is tried for being wanted.
const TRIED: usize = 240;

/// A part of a limb smaller than this share is given no more pixels than this share would have.
const LEAST_SHARE: f64 = 0.02;

/// Additive recurrence of two dimensions that covers a plane evenly (M. Roberts 2018, "The unreasonable effectiveness of
/// quasirandom sequences": powers of the plastic number's inverse).
const STRIDE: (f64, f64) = (0.754_877_666_246_692_8, 0.569_840_290_998_053_3);

/// Place of a pixel in the order in which pixels are taken, 0 to 1: the first ones are spread evenly over any area.
fn order(x: u32, y: u32) -> f64 {
    (f64::from(x) * STRIDE.0 + f64::from(y) * STRIDE.1).fract()
}

/// The share of pixels that makes about `count` of an area, as a power of two, so that a start a little off asks for the same.
fn share(count: f64, area_px: f64) -> f64 {
    (count / area_px.max(1.0)).log2().round().exp2().min(1.0)
}

impl Band {
    /// Adds the pixels of the band that are wanted.
    pub(super) fn add(
        &self,
        places: &mut Places,
        frame: &Frame,
        wanted: impl Fn(f64, f64) -> bool,
    ) {
        let c = self.circle;
        let (inside, outside) = self.reach;
        let (low, high) = ((c.radius_px - inside).max(0.0), c.radius_px + outside);
        let length_px = std::f64::consts::TAU * c.radius_px * self.wanted_share(&wanted);
        let share = share(self.count, length_px * (inside + outside));
        let hollow = low * self.flat.least_reach();
        let rows = whole(c.y_px - high, c.y_px + high, frame.height());
        for y in rows {
            let dy = f64::from(y) - c.y_px;
            let half = (high * high - dy * dy).max(0.0).sqrt();
            let hole = (hollow * hollow - dy * dy).max(0.0).sqrt();
            let row = whole(c.x_px - half, c.x_px - hole, frame.width()).chain(whole(
                (c.x_px + hole).floor() + 1.0,
                c.x_px + half,
                frame.width(),
            ));
            for x in row.filter(|&x| order(x, y) < share) {
                let (dx, dy) = self.flat.rounded((f64::from(x) - c.x_px, dy));
                let r = (dx * dx + dy * dy).sqrt();
                if (low..high).contains(&r) && wanted(f64::from(x), f64::from(y)) {
                    places.push((y, x));
                }
            }
        }
    }

    /// Share of the limb's points that are wanted.
    fn wanted_share(&self, wanted: &impl Fn(f64, f64) -> bool) -> f64 {
        let c = self.circle;
        let on = (0..TRIED)
            .filter(|&i| {
                let (sin, cos) = (std::f64::consts::TAU * i as f64 / TRIED as f64).sin_cos();
                let (x, y) = self.flat.flattened((c.radius_px * cos, c.radius_px * sin));
                wanted(c.x_px + x, c.y_px + y)
            })
            .count();
        (on as f64 / TRIED as f64).max(LEAST_SHARE)
    }
}

/// Adds a grid of pixels over a disc, about `across` to a radius.
pub(super) fn add_grid(places: &mut Places, frame: &Frame, disc: Circle, across: f64) {
    // Odd, so that the grid does not fall on the same place of every block of a JPEG.
    let step = (2.0 * (0.5 * disc.radius_px / across).round() + 1.0).max(1.0);
    let r = disc.radius_px;
    let multiples = |from: f64, to: f64, limit: usize| {
        whole(
            (from / step).ceil(),
            to / step,
            limit.div_ceil(step as usize),
        )
        .map(move |n| n * step as u32)
        .filter(move |&v| (v as usize) < limit)
    };
    for y in multiples(disc.y_px - r, disc.y_px + r, frame.height()) {
        let dy = f64::from(y) - disc.y_px;
        let half = (r * r - dy * dy).max(0.0).sqrt();
        for x in multiples(disc.x_px - half, disc.x_px + half, frame.width()) {
            places.push((y, x));
        }
    }
}

/// Whole numbers from one place to another, inside a side of the frame.
fn whole(from: f64, to: f64, side: usize) -> std::ops::Range<u32> {
    let last = (side as f64 - 1.0).max(-1.0);
    let (from, to) = (from.ceil().max(0.0), to.floor().min(last));
    match from <= to {
        true => from as u32..to as u32 + 1,
        false => 0..0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::raster::{Samples, Transfer};

    fn band(circle: Circle) -> Places {
        let frame = Frame::new(400, 300, 1, Samples::U8(vec![0; 120_000]), Transfer::Srgb);
        let mut places = Places::new();
        let band = Band {
            circle,
            flat: Flat::default(),
            reach: (8.0, 6.0),
            count: 900.0,
        };
        band.add(&mut places, &frame, |_, _| true);
        places
    }

    #[test]
    fn a_band_is_covered_evenly_and_no_pixel_twice() {
        let circle = Circle {
            x_px: 201.3,
            y_px: 148.8,
            radius_px: 100.0,
        };
        let mut places = band(circle);
        assert!((600..1300).contains(&places.len()), "{}", places.len());
        let mut sectors = [0_usize; 12];
        for (y, x) in &places {
            let (dx, dy) = (f64::from(*x) - circle.x_px, f64::from(*y) - circle.y_px);
            assert!((92.0..106.0).contains(&dx.hypot(dy)), "{x} {y}");
            sectors[((dy.atan2(dx) / std::f64::consts::TAU).rem_euclid(1.0) * 12.0) as usize] += 1;
        }
        let mean = places.len() / 12;
        assert!(
            sectors.iter().all(|n| n.abs_diff(mean) * 4 < mean),
            "{sectors:?}"
        );
        let count = places.len();
        places.sort_unstable();
        places.dedup();
        assert_eq!(places.len(), count);
    }

    #[test]
    fn a_start_a_little_off_takes_the_same_pixels_near_the_limb() {
        let at = |x_px: f64| {
            let circle = Circle {
                x_px,
                y_px: 148.8,
                radius_px: 100.0,
            };
            let near = |&(y, x): &(u32, u32)| {
                let r = (f64::from(x) - 201.3).hypot(f64::from(y) - 148.8);
                (95.0..103.0).contains(&r)
            };
            band(circle).into_iter().filter(near).collect::<Places>()
        };
        assert_eq!(at(201.3), at(202.0));
        assert!(at(201.3).len() > 300);
    }

    #[test]
    fn bands_beyond_the_frame_are_cut() {
        let out = band(Circle {
            x_px: -40.0,
            y_px: 290.0,
            radius_px: 100.0,
        });
        assert!(!out.is_empty());
        assert!(out.iter().all(|(y, x)| *y < 300 && *x < 400));
        assert!(
            band(Circle {
                x_px: -400.0,
                y_px: 0.0,
                radius_px: 50.0
            })
            .is_empty()
        );
    }
}
