//! Where a camera points, and where the sky falls in its picture.

use super::body::Body;
use super::sky::SkyInstant;
use crate::domain::Circle;

/// The direction of a picture's centre and the turn of the camera about it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Aim {
    /// Altitude of the picture's centre in degrees.
    pub alt_deg: f64,
    /// Azimuth of the picture's centre in degrees from north through east.
    pub az_deg: f64,
    /// Angle of the zenith at the picture's centre, anticlockwise from picture up, in degrees.
    pub roll_deg: f64,
}

/// The frame a picture is projected on: scale and size of the upright picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct View {
    /// Pixels across, upright.
    pub width_px: usize,
    /// Pixels down, upright.
    pub height_px: usize,
    /// Pixels per radian at the centre: focal length over pixel pitch.
    pub px_per_rad: f64,
    /// Where it points.
    pub aim: Aim,
}

impl View {
    /// The view of a body; `portrait` swaps the sides.
    pub fn new(body: &Body, aim: Aim, portrait: bool) -> Self {
        let (long, short) = (body.width_px as usize, body.height_px as usize);
        Self {
            width_px: if portrait { short } else { long },
            height_px: if portrait { long } else { short },
            px_per_rad: body.focal_mm / body.sensor_width_mm * long as f64,
            aim,
        }
    }

    /// The picture's centre in pixel axes.
    pub fn centre(&self) -> (f64, f64) {
        (
            (self.width_px as f64 - 1.0) / 2.0,
            (self.height_px as f64 - 1.0) / 2.0,
        )
    }

    /// Pixel of a direction (degrees) by central projection; far off or behind the camera it lands far outside.
    pub fn pixel(&self, alt_deg: f64, az_deg: f64) -> (f64, f64) {
        let (sin_a, cos_a) = alt_deg.to_radians().sin_cos();
        let (sin_0, cos_0) = self.aim.alt_deg.to_radians().sin_cos();
        let (sin_z, cos_z) = (az_deg - self.aim.az_deg).to_radians().sin_cos();
        let depth = (sin_a * sin_0 + cos_a * cos_0 * cos_z).max(1e-3);
        let right = cos_a * sin_z / depth;
        let up = (sin_a * cos_0 - cos_a * sin_0 * cos_z) / depth;
        let (sin_r, cos_r) = self.aim.roll_deg.to_radians().sin_cos();
        let (cx, cy) = self.centre();
        (
            cx + self.px_per_rad * (right * cos_r - up * sin_r),
            cy - self.px_per_rad * (right * sin_r + up * cos_r),
        )
    }

    /// Direction (altitude, azimuth in degrees) of a pixel: the inverse of [`View::pixel`].
    pub fn direction(&self, x: f64, y: f64) -> (f64, f64) {
        let (cx, cy) = self.centre();
        let (a, b) = ((x - cx) / self.px_per_rad, (cy - y) / self.px_per_rad);
        let (sin_r, cos_r) = self.aim.roll_deg.to_radians().sin_cos();
        let (right, up) = (a * cos_r + b * sin_r, b * cos_r - a * sin_r);
        let (sin_0, cos_0) = self.aim.alt_deg.to_radians().sin_cos();
        let forward = cos_0 - up * sin_0;
        let height = sin_0 + up * cos_0;
        let alt = height.atan2(right.hypot(forward)).to_degrees();
        (alt, self.aim.az_deg + right.atan2(forward).to_degrees())
    }

    /// Moves the aim so that the Sun falls on a pixel.
    pub fn with_sun_at(mut self, sky: &SkyInstant, x: f64, y: f64) -> Self {
        (self.aim.alt_deg, self.aim.az_deg) = (sky.alt_refracted_deg, sky.az_deg);
        // The projection is nearly linear over a frame: a few rounds bring the miss below a thousandth of a pixel.
        for _ in 0..8 {
            let (alt_there, az_there) = self.direction(x, y);
            self.aim.alt_deg += sky.alt_refracted_deg - alt_there;
            self.aim.az_deg += sky.az_deg - az_there;
        }
        self
    }

    /// Where the discs fall.
    pub fn place(&self, sky: &SkyInstant) -> Placement {
        let (x_px, y_px) = self.pixel(sky.alt_refracted_deg, sky.az_deg);
        let (zx, zy) = self.pixel(sky.alt_refracted_deg + 0.01, sky.az_deg);
        let zenith_deg = (x_px - zx).atan2(y_px - zy).to_degrees();
        let radius = |arcsec: f64| self.px_per_rad * (arcsec / 3600.0).to_radians();
        let mut placement = Placement {
            sun: Circle {
                x_px,
                y_px,
                radius_px: radius(sky.sun_radius_arcsec),
            },
            moon: Circle {
                x_px,
                y_px,
                radius_px: radius(sky.moon_radius_arcsec),
            },
            // The zenith stands at position angle q, anticlockwise of north by q.
            north_deg: (zenith_deg - sky.parallactic_deg + 180.0).rem_euclid(360.0) - 180.0,
            zenith_deg,
            squeeze: sky.squeeze,
        };
        let (east, north) = (
            sky.moon_east_arcsec / sky.sun_radius_arcsec,
            sky.moon_north_arcsec / sky.sun_radius_arcsec,
        );
        let (dx, dy) = placement.offset_px(east, north);
        placement.moon.x_px += dx;
        placement.moon.y_px += dy;
        placement
    }
}

/// Where Sun and Moon fall in an upright picture. Pixel axes: x right, y down, (0, 0) the centre of the top-left pixel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placement {
    /// The Sun; the radius is the airless one, which low Suns keep only sideways.
    pub sun: Circle,
    /// The Moon, likewise, moved by the refracted offset.
    pub moon: Circle,
    /// Angle of celestial north, anticlockwise from picture up, in degrees, -180 to 180.
    pub north_deg: f64,
    /// Angle of the zenith at the Sun, anticlockwise from picture up, in degrees.
    pub zenith_deg: f64,
    /// Height of the refracted disc over its width, along the zenith direction, about the Sun's centre.
    pub squeeze: f64,
}

impl Placement {
    /// Pixels (right, down) from the Sun's centre for a place in solar radii east and north of it.
    pub fn offset_px(&self, east: f64, north: f64) -> (f64, f64) {
        let (sin_n, cos_n) = self.north_deg.to_radians().sin_cos();
        let (right, up) = (-sin_n * north - cos_n * east, cos_n * north - sin_n * east);
        let (right, up) = self.stretched(right, up, self.squeeze);
        (right * self.sun.radius_px, -up * self.sun.radius_px)
    }

    /// Solar radii (east, north) of the Sun's centre for a pixel: the inverse of [`Placement::offset_px`].
    pub fn sky_place(&self, x_px: f64, y_px: f64) -> (f64, f64) {
        let right = (x_px - self.sun.x_px) / self.sun.radius_px;
        let up = (self.sun.y_px - y_px) / self.sun.radius_px;
        let (right, up) = self.stretched(right, up, 1.0 / self.squeeze);
        let (sin_n, cos_n) = self.north_deg.to_radians().sin_cos();
        (-cos_n * right - sin_n * up, -sin_n * right + cos_n * up)
    }

    /// Stretches a vector (right, up) along the zenith direction.
    fn stretched(&self, right: f64, up: f64, factor: f64) -> (f64, f64) {
        let (sin_z, cos_z) = self.zenith_deg.to_radians().sin_cos();
        let more = (factor - 1.0) * (cos_z * up - sin_z * right);
        (right - sin_z * more, up + cos_z * more)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::Utc;

    fn view() -> View {
        View {
            width_px: 1600,
            height_px: 1000,
            px_per_rad: 40_000.0,
            aim: Aim {
                alt_deg: 13.0,
                az_deg: 306.0,
                roll_deg: 1.3,
            },
        }
    }

    fn sky() -> SkyInstant {
        SkyInstant {
            utc: Utc::new("2019-07-02T20:39:48Z".parse().unwrap()),
            moon_east_arcsec: -300.0,
            moon_north_arcsec: 100.0,
            sun_radius_arcsec: 943.8,
            moon_radius_arcsec: 979.4,
            alt_deg: 12.9,
            alt_refracted_deg: 13.0,
            az_deg: 306.2,
            parallactic_deg: 131.0,
            squeeze: 0.98,
        }
    }

    #[test]
    fn directions_and_pixels_undo_each_other() {
        let (alt, az) = view().direction(1312.5, 87.25);
        let (x, y) = view().pixel(alt, az);
        assert!(
            (x - 1312.5).abs() < 1e-6 && (y - 87.25).abs() < 1e-6,
            "{x} {y}"
        );
    }

    #[test]
    fn the_sun_lands_where_it_is_put() {
        let placed = view().with_sun_at(&sky(), 1500.0, 40.0).place(&sky());
        assert!((placed.sun.x_px - 1500.0).abs() < 1e-3);
        assert!((placed.sun.y_px - 40.0).abs() < 1e-3);
    }

    #[test]
    fn offsets_in_picture_and_sky_undo_each_other() {
        let placed = view().place(&sky());
        let (dx, dy) = placed.offset_px(0.7, -1.9);
        let (east, north) = placed.sky_place(placed.sun.x_px + dx, placed.sun.y_px + dy);
        assert!((east - 0.7).abs() < 1e-9 && (north + 1.9).abs() < 1e-9);
    }

    #[test]
    fn the_zenith_stands_at_the_parallactic_angle() {
        // A point at position angle q is straight up in a level picture.
        let mut level = view();
        level.aim.roll_deg = 0.0;
        level.aim.az_deg = sky().az_deg;
        let placed = level.place(&sky());
        let q = sky().parallactic_deg.to_radians();
        let (dx, dy) = placed.offset_px(q.sin(), q.cos());
        assert!(dx.abs() < 1e-6 && dy < 0.0, "{dx} {dy}");
    }
}
