//! How refraction flattens the discs of a low Sun, and the way from a picture to a plane where they are round, and back.

use super::edges::Edge;
use super::hint::DiscHint;
use crate::domain::Circle;

/// Flattening of the discs in a picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Squeeze {
    /// Width over height, minus 1.
    pub stretch: f64,
    /// Unit vector along the vertical, in picture axes.
    pub up: (f64, f64),
}

/// A disc lower than half its width is none (our choice: refraction at the horizon leaves 0.83).
const LEAST_HEIGHT: f64 = 0.5;

/// A disc this near to round is round: a hundredth of a pixel at 150 pixels' radius.
const ROUND: f64 = 0.9999;

/// Curvature of refraction over the disc: [`Squeeze::bow`] is `BOW.0 * stretch^1.5 / (1 + BOW.1 * stretch)`. Fitted to second
/// differences of G. G. Bennett 1982, "The calculation of astronomical refraction in marine navigation", J. Inst. Navigation
/// 35, 255, from 1 to 20 degrees of altitude, within 3 %.
const BOW: (f64, f64) = (0.256, 2.4);

impl Squeeze {
    /// How much less than by the stretch alone the limb nearest to the zenith is lifted in the round plane, and how much lower
    /// the opposite limb lies, over the radius: the lower limb is flattened more than the upper one.
    pub(super) fn bow(self) -> f64 {
        BOW.0 * self.stretch.powf(1.5) / (1.0 + BOW.1 * self.stretch)
    }

    /// The flattening that is known of a frame; `None` for discs that are as good as round.
    pub(super) fn known(hint: &DiscHint) -> Option<Self> {
        let (height_over_width, zenith_deg) = hint.squeeze?;
        let (sin, cos) = zenith_deg.to_radians().sin_cos();
        (height_over_width > LEAST_HEIGHT && height_over_width < ROUND).then_some(Self {
            stretch: 1.0 / height_over_width - 1.0,
            up: (-sin, -cos),
        })
    }

    /// A vector with its part along the vertical scaled.
    fn scaled(self, (x, y): (f64, f64), scale: f64) -> (f64, f64) {
        let more = (scale - 1.0) * (x * self.up.0 + y * self.up.1);
        (x + more * self.up.0, y + more * self.up.1)
    }
}

/// A picture whose discs may be flattened.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Flat(pub(super) Option<Squeeze>);

impl Flat {
    /// What is known of a frame.
    pub(super) fn known(hint: &DiscHint) -> Self {
        Self(Squeeze::known(hint))
    }

    /// A vector of the picture, in the plane where discs are round: as wide as in the picture, and as high as wide.
    pub(super) fn rounded(self, v: (f64, f64)) -> (f64, f64) {
        self.0.map_or(v, |q| q.scaled(v, 1.0 + q.stretch))
    }

    /// The way back from there.
    pub(super) fn flattened(self, v: (f64, f64)) -> (f64, f64) {
        self.0.map_or(v, |q| q.scaled(v, 1.0 / (1.0 + q.stretch)))
    }

    /// A disc of the picture in the round plane, which shares its origin; the radius is half its width in both.
    pub(super) fn rounded_circle(self, circle: Circle) -> Circle {
        let (x_px, y_px) = self.rounded((circle.x_px, circle.y_px));
        Circle {
            x_px,
            y_px,
            ..circle
        }
    }

    /// The way back from there.
    pub(super) fn flattened_circle(self, circle: Circle) -> Circle {
        let (x_px, y_px) = self.flattened((circle.x_px, circle.y_px));
        Circle {
            x_px,
            y_px,
            ..circle
        }
    }

    /// An edge point in the round plane. Its direction is that of a gradient, which turns the other way than vectors do.
    pub(super) fn rounded_edge(self, edge: Edge) -> Edge {
        let Some(q) = self.0 else { return edge };
        let (x, y) = self.rounded((edge.x, edge.y));
        let normal = q.scaled(edge.to_bright, 1.0 / (1.0 + q.stretch));
        let length = normal.0.hypot(normal.1).max(1e-12);
        Edge {
            x,
            y,
            to_bright: (normal.0 / length, normal.1 / length),
            ..edge
        }
    }

    /// How far the limb of a flattened disc lies from its centre in a direction of the picture, over its radius.
    pub(super) fn reach(self, cos: f64, sin: f64) -> f64 {
        let (x, y) = self.rounded((cos, sin));
        1.0 / x.hypot(y)
    }

    /// The least of it in any direction.
    pub(super) fn least_reach(self) -> f64 {
        self.0.map_or(1.0, |q| 1.0 / (1.0 + q.stretch))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn low() -> Flat {
        Flat::known(&DiscHint {
            squeeze: Some((0.9, 30.0)),
            ..DiscHint::default()
        })
    }

    #[test]
    fn an_oval_is_a_circle_in_the_round_plane() {
        let flat = low();
        for turn_deg in [0.0_f64, 40.0, 120.0, 250.0] {
            let (sin, cos) = turn_deg.to_radians().sin_cos();
            let r = 100.0 * flat.reach(cos, sin);
            let (x, y) = flat.rounded((r * cos, r * sin));
            assert!((x.hypot(y) - 100.0).abs() < 1e-9, "{turn_deg}");
            let back = flat.flattened((x, y));
            assert!((back.0 - r * cos).hypot(back.1 - r * sin) < 1e-9);
        }
        // Along the vertical, which leans 30 degrees to the left of up, the disc is 0.9 of its width.
        let (sin, cos) = 30.0_f64.to_radians().sin_cos();
        assert!((flat.reach(-sin, -cos) - 0.9).abs() < 1e-12);
        assert!((flat.least_reach() - 0.9).abs() < 1e-12);
    }

    #[test]
    fn the_bow_is_that_of_refraction() {
        // Bennett's formula, in degrees, at 2, 5 and 10 degrees as seen.
        let lift = |h: f64| 1.0 / (h + 7.31 / (h + 4.4)).to_radians().tan() / 60.0;
        for h in [2.0, 5.0, 10.0] {
            let (d, radius_deg) = (0.05, 0.2666);
            let stretch = (lift(h - d) - lift(h + d)) / (2.0 * d);
            let curve = (lift(h + d) - 2.0 * lift(h) + lift(h - d)) / (d * d);
            let squeeze = Squeeze {
                stretch,
                up: (0.0, -1.0),
            };
            let bow = 0.5 * curve * radius_deg;
            assert!((squeeze.bow() / bow - 1.0).abs() < 0.04, "{h}: {bow}");
        }
    }

    #[test]
    fn edges_of_an_oval_point_to_its_centre_in_the_round_plane() {
        let flat = low();
        for turn_deg in [10.0_f64, 100.0, 200.0, 300.0] {
            let (sin, cos) = turn_deg.to_radians().sin_cos();
            let (x, y) = flat.flattened((cos, sin));
            // The gradient of the squared distance in the round plane, by differences.
            let square = |x: f64, y: f64| {
                let (x, y) = flat.rounded((x, y));
                x * x + y * y
            };
            let h = 1e-6;
            let (gx, gy) = (
                square(x - h, y) - square(x + h, y),
                square(x, y - h) - square(x, y + h),
            );
            let length = gx.hypot(gy);
            let edge = flat.rounded_edge(Edge {
                x,
                y,
                to_bright: (gx / length, gy / length),
                strength: 1.0,
            });
            let off = (edge.to_bright.0 + cos).hypot(edge.to_bright.1 + sin);
            assert!(off < 1e-6, "{turn_deg}: {edge:?}");
        }
    }
}
