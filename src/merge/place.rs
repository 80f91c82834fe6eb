//! Where a canvas pixel falls in a frame.

use crate::domain::Circle;

/// A picture that the air flattens.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Flattened {
    /// Direction of the zenith, anticlockwise from picture up, in degrees.
    pub zenith_deg: f64,
    /// Height over width of what is round, 0.3 to 1: less is not undone.
    pub squeeze: f64,
}

/// How a picture lies on the sky: the direction of celestial north and the handedness.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Sky {
    /// Celestial north, anticlockwise from picture up, in degrees.
    pub(crate) north_deg: f64,
    /// Whether east lies clockwise of north (a mirror in the light path).
    pub(crate) mirrored: bool,
}

impl Sky {
    /// Unit vectors to north and east, x right, y down.
    fn axes(self) -> [[f64; 2]; 2] {
        let (sin, cos) = self.north_deg.to_radians().sin_cos();
        let east = if self.mirrored { -1.0 } else { 1.0 };
        [[-sin, -cos], [-cos * east, sin * east]]
    }
}

/// From canvas to frame: a turn, a mirroring and a scale about a point known in both, and the flattening of a low Sun where
/// that is undone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Placement {
    matrix: [f64; 4],
    scale: f64,
    canvas: [f64; 2],
    frame: [f64; 2],
}

impl Placement {
    /// Lays `frame_centre` on `canvas_centre`; `scale` is frame pixels per canvas pixel.
    pub(crate) fn new(
        canvas_centre: [f64; 2],
        canvas_sky: Sky,
        frame_centre: [f64; 2],
        frame_sky: Sky,
        scale: f64,
    ) -> Self {
        let ([north_c, east_c], [north_f, east_f]) = (canvas_sky.axes(), frame_sky.axes());
        let element = |row: usize, col: usize| {
            scale * (north_f[row] * north_c[col] + east_f[row] * east_c[col])
        };
        Self {
            matrix: [element(0, 0), element(0, 1), element(1, 0), element(1, 1)],
            scale,
            canvas: canvas_centre,
            frame: frame_centre,
        }
    }

    /// The same placement of a frame flattened along its zenith: what is round on the canvas is an oval in the frame.
    pub(crate) fn flattened(self, air: Option<Flattened>) -> Self {
        let Some(air) = air.filter(|a| (0.3..1.0).contains(&a.squeeze) && a.zenith_deg.is_finite())
        else {
            return self;
        };
        let (sin, cos) = air.zenith_deg.to_radians().sin_cos();
        let (up, lost) = ([-sin, -cos], 1.0 - air.squeeze);
        // What the frame's own offset loses along the zenith.
        let row = |r: usize, k: usize| f64::from(u8::from(r == k)) - lost * up[r] * up[k];
        let [a, b, c, d] = self.matrix;
        Self {
            matrix: [
                row(0, 0) * a + row(0, 1) * c,
                row(0, 0) * b + row(0, 1) * d,
                row(1, 0) * a + row(1, 1) * c,
                row(1, 0) * b + row(1, 1) * d,
            ],
            ..self
        }
    }

    /// The same placement turned by a small angle about its centre and moved, both measured on the canvas: what lay
    /// at canvas offset `d` from the centre now lies at `rotate(d) + shift`.
    pub(crate) fn nudged(self, shift: [f64; 2], turn_rad: f64) -> Self {
        let (sin, cos) = turn_rad.sin_cos();
        let [a, b, c, d] = self.matrix;
        Self {
            matrix: [
                a * cos + b * sin,
                b * cos - a * sin,
                c * cos + d * sin,
                d * cos - c * sin,
            ],
            scale: self.scale,
            canvas: self.canvas,
            frame: [
                self.frame[0] + a * shift[0] + b * shift[1],
                self.frame[1] + c * shift[0] + d * shift[1],
            ],
        }
    }

    /// The same turn and scale about another pair of points.
    pub(crate) fn about(self, canvas: [f64; 2], frame: [f64; 2]) -> Self {
        Self {
            canvas,
            frame,
            ..self
        }
    }

    /// The point of the frame the placement turns about.
    pub(crate) fn frame_centre(self) -> [f64; 2] {
        self.frame
    }

    /// The frame's place of a canvas place.
    pub(crate) fn to_frame(self, x: f64, y: f64) -> [f64; 2] {
        let (dx, dy) = (x - self.canvas[0], y - self.canvas[1]);
        let [a, b, c, d] = self.matrix;
        [
            self.frame[0] + a * dx + b * dy,
            self.frame[1] + c * dx + d * dy,
        ]
    }

    /// The canvas place of a frame's place.
    pub(crate) fn to_canvas(self, x: f64, y: f64) -> [f64; 2] {
        let (dx, dy) = (x - self.frame[0], y - self.frame[1]);
        let [a, b, c, d] = self.matrix;
        let det = a * d - b * c;
        [
            self.canvas[0] + (d * dx - b * dy) / det,
            self.canvas[1] + (a * dy - c * dx) / det,
        ]
    }

    /// Frame pixels per canvas pixel across the zenith.
    pub(crate) fn scale(self) -> f64 {
        self.scale
    }

    /// Step in the frame for one canvas pixel to the right.
    pub(crate) fn step(self) -> [f64; 2] {
        [self.matrix[0], self.matrix[2]]
    }
}

/// Centre of a circle as an array.
pub(crate) fn centre(circle: &Circle) -> [f64; 2] {
    [circle.x_px, circle.y_px]
}

#[cfg(test)]
mod tests {
    use super::*;

    const UP: Sky = Sky {
        north_deg: 0.0,
        mirrored: false,
    };

    fn near(a: [f64; 2], b: [f64; 2]) -> bool {
        (a[0] - b[0]).abs() < 1e-9 && (a[1] - b[1]).abs() < 1e-9
    }

    #[test]
    fn north_turned_left_puts_the_top_on_the_left() {
        let turned = Sky {
            north_deg: 90.0,
            mirrored: false,
        };
        let place = Placement::new([0.0, 0.0], UP, [50.0, 60.0], turned, 1.0);
        assert!(near(place.to_frame(0.0, -10.0), [40.0, 60.0]));
        assert!(
            near(place.to_frame(-10.0, 0.0), [50.0, 70.0]),
            "east goes down"
        );
    }

    #[test]
    fn a_mirrored_frame_swaps_east_and_west() {
        let mirrored = Sky {
            north_deg: 0.0,
            mirrored: true,
        };
        let place = Placement::new([0.0, 0.0], UP, [0.0, 0.0], mirrored, 1.0);
        assert!(near(place.to_frame(3.0, 5.0), [-3.0, 5.0]));
    }

    #[test]
    fn there_and_back_is_nothing() {
        let odd = Sky {
            north_deg: 33.0,
            mirrored: true,
        };
        let place = Placement::new([5.0, 6.0], UP, [50.0, 60.0], odd, 1.3).nudged([1.0, 2.0], 0.01);
        let [x, y] = place.to_frame(17.0, -4.0);
        assert!(near(place.to_canvas(x, y), [17.0, -4.0]));
    }

    #[test]
    fn a_flattened_frame_is_rounded() {
        let turned = Sky {
            north_deg: 90.0,
            mirrored: false,
        };
        let air = Flattened {
            zenith_deg: 0.0,
            squeeze: 0.8,
        };
        let place = Placement::new([0.0; 2], UP, [50.0, 60.0], turned, 1.0).flattened(Some(air));
        // North goes left, where the frame is as wide as ever; east goes down, where it is flat.
        assert!(near(place.to_frame(0.0, -10.0), [40.0, 60.0]));
        assert!(near(place.to_frame(-10.0, 0.0), [50.0, 68.0]));
        let place = place.nudged([1.0, 2.0], 0.1).about([3.0, 4.0], [7.0, 9.0]);
        let [x, y] = place.to_frame(17.0, -4.0);
        assert!(near(place.to_canvas(x, y), [17.0, -4.0]));
        assert!((place.scale() - 1.0).abs() < 1e-12);
    }
}
