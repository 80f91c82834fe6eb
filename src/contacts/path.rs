//! Where the path of totality or annularity lies, seen from a place beside it.
//!
//! How deep a place lies in the path is told by the gap of the limbs at its own maximum, `|Rs - Rm| - separation`: positive inside, 0
//! on the limit, and close to linear in the distance from it. The nearest place with a gap of 0 is found by walking down the
//! gap's slope and then by turning the bearing; from the limit the walk goes on to where the centres meet.

use super::{of_view, of_view_with, solve};
use crate::domain::{Contacts, LocalKind, MoonLimb, NearPath, Site, Utc};
use crate::ephemeris::EclipseView;

/// Mean radius of the Earth in kilometres (IUGG, from memory): bearings and distances are those of a sphere, good to half a percent.
const EARTH_KM: f64 = 6_371.0;

/// Farther than this no path is told, in kilometres (our choice: beyond a day's travel).
const FARTHEST_KM: f64 = 3_000.0;

/// Longest step of the walk in kilometres: the gap is far from linear over more.
const LONGEST_STEP_KM: f64 = 200.0;

/// Base of the differences that stand for slopes, in kilometres.
const BASE_KM: f64 = 1.0;

/// Most steps of a walk; it takes five where the path is near.
const MOST_STEPS: usize = 60;

/// Nearer than this to the axis of the shadow, in seconds of arc, a place is on the central line: some 2 kilometres.
const ON_THE_LINE_ARCSEC: f64 = 1.0;

/// Bearings tried either side of the walk's end, in degrees, and how far apart.
const TURNED_DEG: (i32, f64) = (20, 3.0);

/// The path seen from the place of a view outside it; `None` inside it, where the eclipse has none, or where it is farther than 3,000 km.
///
/// `contacts` are those of the view; where they are of the real limb the edge of a path nearer than 30 km is that of the real limb too.
pub fn near_path(view: &EclipseView, contacts: &Contacts) -> Option<NearPath> {
    if contacts.kind != LocalKind::Partial {
        return None;
    }
    let here = view.site();
    let path = if depth_arcsec(view, here) >= 0.0 {
        towards_line(view, here, contacts.maximum.utc)?
    } else {
        outside(view, here)?
    };
    match contacts.limb {
        MoonLimb::Real if path.limit_km < REAL_EDGE_KM => on_real_limb(view, path),
        _ => Some(path),
    }
}

/// Nearer than this the edge is sought on the real limb, in kilometres: the two edges lie a few kilometres apart.
const REAL_EDGE_KM: f64 = 30.0;

/// The path of the mean limb from outside it.
fn outside(view: &EclipseView, here: Site) -> Option<NearPath> {
    let edge = walked(here, |site| depth_arcsec(view, site))?;
    let (_, towards_deg) = apart(here, edge);
    let (limit_km, limit_bearing_deg) = nearest(view, here, towards_deg, apart(here, edge).0)?;
    let limit = moved(here, limit_km, limit_bearing_deg);
    // Just inside the limit the kind of the path is known.
    let inside = moved(here, limit_km + BASE_KM, limit_bearing_deg);
    let kind = of_view(&at(view, inside)).ok()?.kind;
    Some(NearPath {
        kind,
        limit_km,
        limit_bearing_deg,
        limit_limb: MoonLimb::Mean,
        ..to_line(view, here, limit)
    })
    .filter(|path| matches!(path.kind, LocalKind::Total | LocalKind::Annular))
}

/// The path from a place that the mean limb puts inside it and the real one outside: its edge is sought straight towards the line.
fn towards_line(view: &EclipseView, here: Site, maximum: Utc) -> Option<NearPath> {
    let sky = view.at(maximum);
    let path = to_line(view, here, here);
    Some(NearPath {
        kind: if sky.ratio() > 1.0 {
            LocalKind::Total
        } else {
            LocalKind::Annular
        },
        limit_km: 0.0,
        limit_bearing_deg: path.line_bearing_deg?,
        ..path
    })
}

/// Where the central line lies from `here`, walked to from `from`; the edge is left open.
fn to_line(view: &EclipseView, here: Site, from: Site) -> NearPath {
    let line = walked(from, |site| -separation_arcsec(view, site));
    let central = line.and_then(|site| of_view(&at(view, site)).ok());
    NearPath {
        kind: LocalKind::None,
        limit_km: 0.0,
        limit_bearing_deg: 0.0,
        limit_limb: MoonLimb::Mean,
        line_km: line.map(|site| apart(here, site).0),
        line_bearing_deg: line.map(|site| apart(here, site).1),
        line_duration_s: central.as_ref().and_then(|c| c.central_duration_s()),
        line_sun_up: central.is_some_and(|c| c.maximum.sun_up),
    }
}

/// Kilometres beyond the mean limb's edge within which the real one is sought (our choice: twice what the Moon's relief moves it).
const RELIEF_KM: f64 = 12.0;

/// How near the edge of the real limb is found, in kilometres: it is uncertain by about as much.
const REAL_STEP_KM: f64 = 0.1;

/// The same path with its edge on the real limb, along the same bearing; as it was where it is not found within the relief.
fn on_real_limb(view: &EclipseView, path: NearPath) -> Option<NearPath> {
    let here = view.site();
    let inside = |km: f64| {
        let there = at(view, moved(here, km, path.limit_bearing_deg));
        of_view_with(&there, MoonLimb::Real).is_ok_and(|c| c.kind == path.kind)
    };
    let (mut near_km, mut far_km) = (0.0, path.limit_km + RELIEF_KM);
    if !inside(far_km) {
        return Some(path);
    }
    while far_km - near_km > REAL_STEP_KM {
        let middle_km = 0.5 * (near_km + far_km);
        if inside(middle_km) {
            far_km = middle_km;
        } else {
            near_km = middle_km;
        }
    }
    Some(NearPath {
        limit_km: far_km,
        limit_limb: MoonLimb::Real,
        ..path
    })
}

fn at(view: &EclipseView, site: Site) -> EclipseView {
    EclipseView::new(view.eclipse(), site, view.radii(), Some(view.delta_t_s()))
}

fn separation_arcsec(view: &EclipseView, site: Site) -> f64 {
    let there = at(view, site);
    there.discs(solve::maximum(&there)).separation_arcsec
}

/// How far inside the path a place lies, in seconds of arc; negative outside.
fn depth_arcsec(view: &EclipseView, site: Site) -> f64 {
    let there = at(view, site);
    let discs = there.discs(solve::maximum(&there));
    (discs.sun_radius_arcsec - discs.moon_inner_radius_arcsec).abs() - discs.separation_arcsec
}

/// Walks up the slope of `height` to where it reaches 0, or nearly so.
fn walked(from: Site, height: impl Fn(Site) -> f64) -> Option<Site> {
    let mut site = from;
    for _ in 0..MOST_STEPS {
        let here = height(site);
        if here > -ON_THE_LINE_ARCSEC {
            return Some(site);
        }
        let slope = |bearing_deg: f64| (height(moved(site, BASE_KM, bearing_deg)) - here) / BASE_KM;
        let (north, east) = (slope(0.0), slope(90.0));
        let steepness = north.hypot(east);
        if steepness < 1e-6 || apart(from, site).0 > FARTHEST_KM {
            return None;
        }
        let step_km = (-here / steepness).min(LONGEST_STEP_KM);
        site = moved(site, step_km, east.atan2(north).to_degrees());
    }
    None
}

/// Distance and bearing of the nearest place on the limit, sought about a bearing that leads to it.
fn nearest(view: &EclipseView, here: Site, towards_deg: f64, about_km: f64) -> Option<(f64, f64)> {
    let (count, step_deg) = TURNED_DEG;
    (-count..=count)
        .filter_map(|n| {
            let bearing_deg = towards_deg + f64::from(n) * step_deg;
            let inside = |km: f64| depth_arcsec(view, moved(here, km, bearing_deg)) >= 0.0;
            let mut far_km = 1.2 * about_km + 5.0;
            if !inside(far_km) {
                return None;
            }
            let mut near_km = 0.0;
            for _ in 0..24 {
                let middle_km = 0.5 * (near_km + far_km);
                if inside(middle_km) {
                    far_km = middle_km;
                } else {
                    near_km = middle_km;
                }
            }
            Some((far_km, bearing_deg.rem_euclid(360.0)))
        })
        .min_by(|a, b| a.0.total_cmp(&b.0))
}

/// The place so many kilometres along a bearing, degrees from north through east, at the same elevation (great circle, direct
/// problem on the sphere).
fn moved(from: Site, km: f64, bearing_deg: f64) -> Site {
    let (sin_lat, cos_lat) = from.lat_deg.to_radians().sin_cos();
    let (sin_d, cos_d) = (km / EARTH_KM).sin_cos();
    let (sin_b, cos_b) = bearing_deg.to_radians().sin_cos();
    let sin_to = (sin_lat * cos_d + cos_lat * sin_d * cos_b).clamp(-1.0, 1.0);
    let east = (sin_b * sin_d * cos_lat).atan2(cos_d - sin_lat * sin_to);
    Site {
        lat_deg: sin_to.asin().to_degrees(),
        lon_deg: (from.lon_deg + east.to_degrees() + 180.0).rem_euclid(360.0) - 180.0,
        ..from
    }
}

/// Distance in kilometres and bearing in degrees from one place to another (great circle, haversine formula).
fn apart(from: Site, to: Site) -> (f64, f64) {
    let (a, b) = (from.lat_deg.to_radians(), to.lat_deg.to_radians());
    let turn = (to.lon_deg - from.lon_deg).to_radians();
    let half = ((b - a) / 2.0).sin().powi(2) + a.cos() * b.cos() * (turn / 2.0).sin().powi(2);
    let km = 2.0 * EARTH_KM * half.sqrt().min(1.0).asin();
    let east = turn.sin() * b.cos();
    let north = a.cos() * b.sin() - a.sin() * b.cos() * turn.cos();
    (km, east.atan2(north).to_degrees().rem_euclid(360.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_and_back_again() {
        let from = Site::new(40.4, -3.7, 650.0).unwrap();
        for (km, bearing) in [(1.0, 0.0), (250.0, 33.0), (2_000.0, 300.0)] {
            let (back_km, back) = apart(from, moved(from, km, bearing));
            assert!((back_km - km).abs() < 1e-6 && (back - bearing).abs() < 1e-6);
        }
    }
}
