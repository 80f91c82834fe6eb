//! Long lens or wide view, decided from focal length and from the size of the disc found.

use std::collections::BTreeMap;

use super::discs::{ScaleKey, Seen, scale_key};
use crate::domain::{CameraId, Role, Shot, upper_median};

/// From this focal length on, as on 36 by 24 mm, a lens is long: it shows the Sun at 1/19 of the picture's height or more (common
/// practice calls 200 mm the least for the Sun; half of it keeps doubtful lenses in).
const LONG_FROM_MM: f64 = 100.0;

/// Up to this focal length, as on 36 by 24 mm, a lens is wide, whatever was found in its frames (common practice).
const WIDE_UP_TO_MM: f64 = 70.0;

/// A disc of this radius over the picture's longer side makes a lens long: the Sun through some 150 mm on 36 by 24 mm.
const LONG_FROM_SIDE_FRACTION: f64 = 0.02;

/// The role of each shot; `None` where neither header nor picture tells.
///
/// One scale (body, focal length, picture size) has one role. A focal length beyond doubt decides; else the middle size of the discs
/// found; else the focal length, however doubtful; else, as for a panorama joined in a phone, which has no focal length, the one
/// role that all other frames of its camera have.
pub(crate) fn decide(shots: &[Shot], seen: &[Seen]) -> Vec<Option<Role>> {
    let mut found: BTreeMap<ScaleKey, Vec<f64>> = BTreeMap::new();
    for (shot, seen) in shots.iter().zip(seen) {
        let sizes = found.entry(scale_key(shot)).or_default();
        if let Some(size) = disc_size(shot, seen) {
            sizes.push(size);
        }
    }
    let by_disc: BTreeMap<ScaleKey, Option<Role>> = found
        .into_iter()
        .map(|(key, sizes)| (key, role_of_discs(sizes)))
        .collect();
    let roles: Vec<Option<Role>> = shots
        .iter()
        .map(|shot| role_of(shot, by_disc.get(&scale_key(shot)).copied().flatten()))
        .collect();
    let by_camera = of_cameras(shots, &roles);
    shots
        .iter()
        .zip(roles)
        .map(|(shot, role)| {
            role.or_else(|| by_camera.get(shot.camera.as_ref()?).copied().flatten())
        })
        .collect()
}

/// The role of each camera whose frames all have the same one, as far as they have any.
fn of_cameras<'a>(
    shots: &'a [Shot],
    roles: &[Option<Role>],
) -> BTreeMap<&'a CameraId, Option<Role>> {
    let mut known: BTreeMap<&CameraId, Option<Role>> = BTreeMap::new();
    for (shot, role) in shots.iter().zip(roles) {
        if let (Some(camera), Some(role)) = (&shot.camera, role) {
            known
                .entry(camera)
                .and_modify(|of_camera| *of_camera = of_camera.filter(|other| other == role))
                .or_insert(Some(*role));
        }
    }
    known
}

fn role_of(shot: &Shot, by_disc: Option<Role>) -> Option<Role> {
    let known = |mm: Option<f64>| mm.filter(|mm| *mm > 0.0);
    let as_35mm = known(shot.exposure.focal_35mm);
    let focal_mm = as_35mm.or(known(shot.exposure.focal_mm));
    let by_focal = focal_mm.map(|mm| {
        if mm >= LONG_FROM_MM {
            Role::Tele
        } else {
            Role::Wide
        }
    });
    // Without the equivalent a short focal length may sit before a small sensor and be long all the same.
    let beyond_doubt = focal_mm
        .filter(|mm| *mm >= 2.0 * LONG_FROM_MM || (as_35mm.is_some() && *mm <= WIDE_UP_TO_MM));
    if beyond_doubt.is_some() {
        by_focal
    } else {
        by_disc.or(by_focal)
    }
}

fn role_of_discs(mut sizes: Vec<f64>) -> Option<Role> {
    let middle = upper_median(&mut sizes)?;
    Some(if middle >= LONG_FROM_SIDE_FRACTION {
        Role::Tele
    } else {
        Role::Wide
    })
}

/// Radius of the disc found over the picture's longer side.
fn disc_size(shot: &Shot, seen: &Seen) -> Option<f64> {
    let fit = seen.fit()?;
    let circle = fit.sun.or(fit.moon)?;
    let side = shot.width_px?.max(shot.height_px?);
    Some(circle.radius_px / f64::from(side.max(1)))
}
