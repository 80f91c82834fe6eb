//! The Sun's path over a wide view of the land.

use super::path::{beside, mean_direction, mean_radius_deg, projected, shorten, skies};
use super::{
    CAPTION_LINE_RADII, HIGHEST_LINE_RADII, LINES_A_PATH, Layout, LayoutError, PieceGeometry,
    Place, Spot, caption_lines, half,
};
use crate::strip::recipe::Captions;

/// How a wide view looks at the land: a straight lens, held level from side to side.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct View {
    /// Pixels across on the canvas.
    pub width_px: usize,
    /// Pixels down on the canvas.
    pub height_px: usize,
    /// Angle from side to side in degrees, below 180.
    pub width_deg: f64,
    /// Azimuth at the middle in degrees; `None` points it at the middle of the path.
    pub az_deg: Option<f64>,
    /// Row of the flat horizon.
    pub horizon_px: f64,
}

impl View {
    /// Distance of the flat picture from the eye, in pixels.
    fn away_px(&self) -> f64 {
        self.width_px as f64 / 2.0 / (self.width_deg.to_radians() / 2.0).tan()
    }

    /// Radius that the Sun has in the picture, from its apparent one in degrees.
    pub(in crate::strip) fn true_radius_px(&self, radius_deg: f64) -> f64 {
        radius_deg.to_radians().tan() * self.away_px()
    }

    fn centre_px(&self) -> (f64, f64) {
        let middle = |n: usize| (n as f64 - 1.0) / 2.0;
        (middle(self.width_px), middle(self.height_px))
    }

    /// How far up the lens looked, in degrees.
    fn alt_deg(&self) -> f64 {
        let below_px = self.horizon_px - self.centre_px().1;
        (below_px / self.away_px()).atan().to_degrees()
    }

    /// The same view pointed so that a body at `az_deg`, `alt_deg` stands at a pixel.
    ///
    /// The lens is level from side to side, so the two coordinates of the pixel give its azimuth and its tilt. A body
    /// too high to be seen there at any tilt is taken as high as it could be.
    pub fn pointed(self, (x_px, y_px): (f64, f64), az_deg: f64, alt_deg: f64) -> Self {
        let (cx, cy) = self.centre_px();
        let right = (x_px - cx) / self.away_px();
        let up = (cy - y_px) / self.away_px();
        // sin(alt) = (sin tilt + up cos tilt) / |direction|, and the sum of the two is one sine.
        let length = (1.0 + right * right + up * up).sqrt();
        let sine = alt_deg.to_radians().sin() * length / (1.0 + up * up).sqrt();
        let tilt = sine.clamp(-1.0, 1.0).asin() - up.atan();
        let ahead = tilt.cos() - up * tilt.sin();
        Self {
            az_deg: Some(az_deg - right.atan2(ahead).to_degrees()),
            horizon_px: cy + tilt.tan() * self.away_px(),
            ..self
        }
    }
}

/// Places the pieces where they stood over a wide view, to its scale; their discs have their true size there unless
/// `disc_px` gives another diameter. Pieces outside the view keep their place outside the canvas. Captions stand below
/// the discs of a level path and beside those of a steep one.
///
/// # Errors
/// [`LayoutError`] when a piece has no place in the sky or stands too far from the view's axis.
pub fn layout_over(
    view: &View,
    disc_px: Option<f64>,
    captions: Captions,
    pieces: &[PieceGeometry],
) -> Result<Layout, LayoutError> {
    if pieces.is_empty() {
        return Err(LayoutError::Empty);
    }
    let skies = skies(pieces)?;
    let (centre, away_px) = (view.centre_px(), view.away_px());
    let axis = (
        view.az_deg.unwrap_or_else(|| mean_direction(&skies).0),
        view.alt_deg(),
    );
    let radius_px = disc_px.map_or(view.true_radius_px(mean_radius_deg(&skies)), |d| d / 2.0);
    let mut spots = Vec::with_capacity(pieces.len());
    for (piece, sky) in pieces.iter().zip(&skies) {
        let (right, up) = projected(sky, axis)?;
        let (x, y) = (centre.0 + right * away_px, centre.1 - up * away_px);
        spots.push(Spot::new(x / radius_px, y / radius_px, piece.reach));
    }
    shorten(&mut spots);
    let line_radii = (view.height_px as f64 / LINES_A_PATH / radius_px)
        .clamp(CAPTION_LINE_RADII, HIGHEST_LINE_RADII);
    let lines = caption_lines(captions);
    let way = beside(&spots);
    let place = |(piece, spot): (&PieceGeometry, &Spot)| {
        let captioned = Spot {
            caption_way: way,
            ..*spot
        };
        let caption = captioned.caption_box(half(piece, spot), lines, line_radii);
        let (x, y) = caption.centre();
        Place {
            x_px: spot.x * radius_px,
            y_px: spot.y * radius_px,
            reach_px: spot.reach * radius_px,
            caption_px: (lines > 0).then_some((x * radius_px, y * radius_px)),
        }
    };
    Ok(Layout {
        width_px: view.width_px,
        height_px: view.height_px,
        disc_radius_px: radius_px,
        caption_line_px: line_radii * radius_px,
        places: pieces.iter().zip(&spots).map(place).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::super::SkyPlace;
    use super::*;

    #[test]
    fn a_pointed_view_shows_the_body_where_it_was_seen() {
        let view = View {
            width_px: 3_000,
            height_px: 2_000,
            width_deg: 70.0,
            az_deg: None,
            horizon_px: 0.0,
        };
        for (x, y, az, alt) in [(1_600.0, 400.0, 310.0, 14.0), (300.0, 1_200.0, 20.0, 35.0)] {
            let view = view.pointed((x, y), az, alt);
            let piece = PieceGeometry {
                middle: false,
                reach: 1.3,
                sky: Some(SkyPlace {
                    az_deg: az,
                    alt_deg: alt,
                    radius_deg: 0.265,
                }),
            };
            let place = layout_over(&view, None, Captions::None, &[piece])
                .unwrap()
                .places[0];
            assert!(
                (place.x_px - x).abs() < 1e-6 && (place.y_px - y).abs() < 1e-6,
                "{place:?}"
            );
        }
    }

    #[test]
    fn the_sun_on_the_horizon_stands_on_the_horizon() {
        let piece = |az_deg, alt_deg| PieceGeometry {
            middle: false,
            reach: 1.3,
            sky: Some(SkyPlace {
                az_deg,
                alt_deg,
                radius_deg: 0.265,
            }),
        };
        let view = View {
            width_px: 3_000,
            height_px: 2_000,
            width_deg: 60.0,
            az_deg: Some(300.0),
            horizon_px: 1_700.0,
        };
        let pieces = [piece(300.0, 0.0), piece(330.0, 0.0), piece(300.0, 10.0)];
        let laid = layout_over(&view, None, Captions::None, &pieces).unwrap();
        let [middle, side, high] = [laid.places[0], laid.places[1], laid.places[2]];
        assert!((middle.y_px - 1_700.0).abs() < 1e-6 && (middle.x_px - 1_499.5).abs() < 1e-6);
        assert!(
            (side.y_px - 1_700.0).abs() < 1e-6,
            "the horizon is a straight line"
        );
        assert!(side.x_px > middle.x_px && high.y_px < middle.y_px);
        // A right angle at the eye: 30 degrees from the axis of a level lens is its edge.
        let level = View {
            horizon_px: 999.5,
            ..view
        };
        let laid = layout_over(&level, None, Captions::None, &pieces).unwrap();
        assert!((laid.places[1].x_px - 2_999.5).abs() < 1e-6);
        assert!(
            (laid.disc_radius_px
                - 0.265_f64.to_radians().tan() * 1_500.0 / 30.0_f64.to_radians().tan())
            .abs()
                < 1e-6
        );
    }

    #[test]
    fn captions_over_the_land_keep_clear_of_discs_and_of_each_other() {
        let view = View {
            width_px: 6_000,
            height_px: 4_000,
            width_deg: 60.0,
            az_deg: None,
            horizon_px: 3_400.0,
        };
        for (step_az, step_alt) in [(1.2, 0.1), (0.9, -0.9), (-0.9, -0.9), (0.1, -1.25)] {
            let piece = |i: usize| PieceGeometry {
                middle: i == 6,
                reach: if i == 6 { 3.0 } else { 1.3 },
                sky: Some(SkyPlace {
                    az_deg: 300.0 + step_az * i as f64,
                    alt_deg: 25.0 + step_alt * i as f64,
                    radius_deg: 0.265,
                }),
            };
            let pieces: Vec<PieceGeometry> = (0..13).map(piece).collect();
            let laid = layout_over(&view, None, Captions::Both, &pieces).unwrap();
            let w = CAPTION_WIDTH / 2.0 * laid.caption_line_px;
            let h = laid.caption_line_px;
            for (i, place) in laid.places.iter().enumerate() {
                let (x, y) = place.caption_px.unwrap();
                for (j, other) in laid.places.iter().enumerate() {
                    let beyond = |v: f64, half: f64| (v.abs() - half).max(0.0);
                    let apart = beyond(other.x_px - x, w).hypot(beyond(other.y_px - y, h));
                    assert!(apart > laid.disc_radius_px, "caption {i} on disc {j}");
                    let (ox, oy) = other.caption_px.unwrap();
                    let clear = (ox - x).abs() > 2.0 * w || (oy - y).abs() > 2.0 * h;
                    assert!(i == j || clear, "captions {i} and {j}");
                }
            }
        }
    }

    /// Width of `12:34` in heights of its line.
    const CAPTION_WIDTH: f64 = 2.9;
}
