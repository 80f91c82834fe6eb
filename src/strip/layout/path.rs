//! The Sun's true path across the sky, in disc radii.

use super::{LayoutError, PieceGeometry, SkyPlace, Spot, extent};

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
    let way = beside(&spots);
    for spot in &mut spots {
        spot.caption_way = way;
    }
    Ok(spots)
}

/// Which pieces stand within the reach of one nearer the middle, or on its disc, each with the piece in its way.
///
/// Counted from the middle outwards, or from the first piece where there is no middle. `scale` is the drawn radius of
/// a disc over its true one. Nothing is crowded where a place in the sky is not known.
pub(in crate::strip) fn crowded(pieces: &[PieceGeometry], scale: f64) -> Vec<(usize, usize)> {
    let Ok(skies) = skies(pieces) else {
        return Vec::new();
    };
    let Some(start) = pieces.iter().position(|p| p.middle).or(Some(0)) else {
        return Vec::new();
    };
    let unit = (mean_radius_deg(&skies) * scale).to_radians();
    let clear = |a: usize, b: usize| {
        extent(&pieces[a]) + extent(&pieces[b]) + CLEARANCE <= apart(&skies[a], &skies[b]) / unit
    };
    let mut crowded = Vec::new();
    let mut walk = |order: &mut dyn Iterator<Item = usize>| {
        let mut last = start;
        for i in order {
            // The corona may reach past the piece next to it.
            match [last, start].into_iter().find(|&other| !clear(other, i)) {
                Some(other) => crowded.push((i, other)),
                None => last = i,
            }
        }
    };
    walk(&mut (0..start).rev());
    walk(&mut (start + 1..pieces.len()));
    crowded
}

/// The angle between two places, in radians.
fn apart(a: &SkyPlace, b: &SkyPlace) -> f64 {
    // By haversines, which small angles do not upset.
    let half_sine = |degrees: f64| (degrees.to_radians() / 2.0).sin();
    let (up, round) = (
        half_sine(a.alt_deg - b.alt_deg),
        half_sine(a.az_deg - b.az_deg),
    );
    let level = a.alt_deg.to_radians().cos() * b.alt_deg.to_radians().cos();
    let h = up * up + level * round * round;
    2.0 * h.sqrt().min(1.0).asin()
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

/// The way from disc to caption that keeps clear of the path: down where it runs level, else to the side it leans away
/// from.
pub(super) fn beside(spots: &[Spot]) -> (f64, f64) {
    let (Some(first), Some(last)) = (spots.first(), spots.last()) else {
        return (0.0, 1.0);
    };
    let (right, down) = (last.x - first.x, last.y - first.y);
    if right.abs() > 2.0 * down.abs() {
        (0.0, 1.0)
    } else if right * down >= 0.0 {
        (-1.0, 0.0)
    } else {
        (1.0, 0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pieces so many solar radii apart along a path that is not level, the middle one reaching `reach`.
    fn pieces(places: &[f64], middle: usize, reach: f64) -> Vec<PieceGeometry> {
        let radius_deg = 0.265;
        let piece = |(i, at): (usize, &f64)| PieceGeometry {
            middle: i == middle,
            reach: if i == middle { reach } else { 1.3 },
            sky: Some(SkyPlace {
                az_deg: 120.0 + 0.6 * at * radius_deg / 50_f64.to_radians().cos(),
                alt_deg: 50.0 + 0.8 * at * radius_deg,
                radius_deg,
            }),
        };
        places.iter().enumerate().map(piece).collect()
    }

    #[test]
    fn what_stands_in_the_corona_or_on_another_disc_is_crowded() {
        let places = [-9.0, -6.0, -5.0, -3.0, 0.0, 3.0, 6.0];
        assert_eq!(
            crowded(&pieces(&places, 4, 2.5), 1.0),
            [(3, 4), (1, 2), (5, 4)]
        );
        assert_eq!(crowded(&pieces(&places, 4, 1.5), 1.0), [(2, 3)]);
        // Discs drawn smaller have room.
        assert_eq!(crowded(&pieces(&places, 4, 2.5), 0.4), []);
        let mut lost = pieces(&places, 4, 2.5);
        lost[0].sky = None;
        assert_eq!(crowded(&lost, 1.0), []);
    }
}
