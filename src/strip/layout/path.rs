//! The Sun's true path across the sky, in disc radii.

use super::{LayoutError, PieceGeometry, SkyPlace, Spot};

/// Farthest a piece may stand from the middle of the picture, in degrees: beyond, a flat picture stretches too much.
const MAX_OFF_AXIS_DEG: f64 = 60.0;

/// Space kept between a corona and its neighbours' limbs, in disc radii.
const CLEARANCE: f64 = 0.08;

/// Places as a straight lens would show them, the zenith up, about the middle of the path.
///
/// Gnomonic projection (J. Snyder 1987, Map Projections: A Working Manual, USGS Professional Paper 1395, p. 165).
/// Where neighbours stand closer than a piece's light reaches, the reach is cut short of them.
pub(super) fn path(pieces: &[PieceGeometry]) -> Result<Vec<Spot>, LayoutError> {
    let skies = skies(pieces)?;
    let axis = mean_direction(&skies);
    let unit = mean_radius_deg(&skies).to_radians().tan();
    let mut spots = Vec::with_capacity(pieces.len());
    for (piece, sky) in pieces.iter().zip(&skies) {
        let (x, y) = projected(sky, axis)?;
        spots.push(Spot::new(x / unit, -y / unit, piece.reach));
    }
    shorten(&mut spots);
    Ok(spots)
}

/// The places of all pieces in the sky.
pub(super) fn skies(pieces: &[PieceGeometry]) -> Result<Vec<SkyPlace>, LayoutError> {
    let place = |(i, piece): (usize, &PieceGeometry)| piece.sky.ok_or(LayoutError::NoSky(i + 1));
    pieces.iter().enumerate().map(place).collect()
}

pub(super) fn mean_radius_deg(skies: &[SkyPlace]) -> f64 {
    skies.iter().map(|s| s.radius_deg).sum::<f64>() / skies.len() as f64
}

/// Azimuth and altitude, in degrees, of the sum of the directions.
pub(super) fn mean_direction(skies: &[SkyPlace]) -> (f64, f64) {
    let mut sum = [0.0; 3];
    for sky in skies {
        let (sin_az, cos_az) = sky.az_deg.to_radians().sin_cos();
        let (sin_alt, cos_alt) = sky.alt_deg.to_radians().sin_cos();
        sum[0] += cos_alt * sin_az;
        sum[1] += cos_alt * cos_az;
        sum[2] += sin_alt;
    }
    let az = sum[0].atan2(sum[1]).to_degrees();
    let alt = sum[2].atan2(sum[0].hypot(sum[1])).to_degrees();
    (az, alt)
}

/// Right and up on the tangent plane, in units of its distance.
pub(super) fn projected(
    sky: &SkyPlace,
    (az_deg, alt_deg): (f64, f64),
) -> Result<(f64, f64), LayoutError> {
    let (sin_turn, cos_turn) = (sky.az_deg - az_deg).to_radians().sin_cos();
    let (sin_alt, cos_alt) = sky.alt_deg.to_radians().sin_cos();
    let (sin_axis, cos_axis) = alt_deg.to_radians().sin_cos();
    let forward = sin_axis * sin_alt + cos_axis * cos_alt * cos_turn;
    let off_axis_deg = forward.clamp(-1.0, 1.0).acos().to_degrees();
    if off_axis_deg.is_nan() || off_axis_deg > MAX_OFF_AXIS_DEG {
        return Err(LayoutError::TooWide(2.0 * off_axis_deg));
    }
    let right = cos_alt * sin_turn / forward;
    let up = (cos_axis * sin_alt - sin_axis * cos_alt * cos_turn) / forward;
    Ok((right, up))
}

pub(super) fn shorten(spots: &mut [Spot]) {
    let places: Vec<(f64, f64)> = spots.iter().map(|s| (s.x, s.y)).collect();
    for (i, spot) in spots.iter_mut().enumerate() {
        let nearest = places
            .iter()
            .enumerate()
            .filter(|(j, _)| *j != i)
            .map(|(_, (x, y))| (spot.x - x).hypot(spot.y - y))
            .fold(f64::INFINITY, f64::min);
        spot.reach = spot.reach.min((nearest - 1.0 - CLEARANCE).max(1.0));
    }
}
