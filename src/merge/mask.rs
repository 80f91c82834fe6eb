//! Which light of a frame counts where on the canvas.

use super::light::smooth_step;

/// A disc on the canvas that decides which light counts.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Mask {
    /// Only light outside the disc, from `from_px` to `to_px` off its edge growing from nothing to all.
    Outside {
        /// Centre on the canvas.
        centre: [f64; 2],
        /// Radius in canvas pixels where nothing counts yet.
        from_px: f64,
        /// Radius in canvas pixels from where all counts.
        to_px: f64,
    },
    /// All light on the Moon's disc, and some of that in a ring around it.
    Disc {
        /// Centre on the canvas.
        centre: [f64; 2],
        /// The limb's radius in canvas pixels.
        limb_px: f64,
        /// Outer radius of the ring in canvas pixels.
        reach_px: f64,
        /// How much light in the ring counts.
        ring: f32,
    },
    /// All light.
    Nothing,
}

impl Mask {
    /// How much light at a canvas place counts, 0 to 1.
    pub(super) fn at(&self, x: f64, y: f64) -> f32 {
        match *self {
            Self::Outside {
                centre,
                from_px,
                to_px,
            } => {
                let r = (x - centre[0]).hypot(y - centre[1]);
                smooth_step(from_px as f32, to_px as f32, r as f32)
            }
            Self::Disc {
                centre,
                limb_px,
                reach_px,
                ring,
            } => {
                let r = (x - centre[0]).hypot(y - centre[1]);
                if r > reach_px {
                    return 0.0;
                }
                let out = smooth_step(limb_px as f32 - 3.0, limb_px as f32, r as f32);
                1.0 + (ring - 1.0) * out
            }
            Self::Nothing => 1.0,
        }
    }

    /// Whether all of a canvas rectangle gets the same answer, and which.
    pub(super) fn over(&self, x0: f64, y0: f64, x1: f64, y1: f64) -> Option<bool> {
        let (centre, none, all, inside) = match *self {
            Self::Outside {
                centre,
                from_px,
                to_px,
            } => (centre, from_px, to_px, false),
            Self::Disc {
                centre,
                limb_px,
                reach_px,
                ..
            } => (centre, reach_px, limb_px - 3.0, true),
            Self::Nothing => return Some(true),
        };
        let nearest =
            (centre[0].clamp(x0, x1) - centre[0]).hypot(centre[1].clamp(y0, y1) - centre[1]);
        let far = |c: f64, a: f64, b: f64| (c - a).abs().max((c - b).abs());
        let farthest = far(centre[0], x0, x1).hypot(far(centre[1], y0, y1));
        match inside {
            false if nearest >= all => Some(true),
            false if farthest <= none => Some(false),
            true if farthest <= all => Some(true),
            true if nearest > none => Some(false),
            _ => None,
        }
    }
}
