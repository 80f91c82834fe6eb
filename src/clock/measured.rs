//! What the fitted discs say: the vector from the Sun's centre to the Moon's, frame by frame.

use std::collections::BTreeMap;

use nalgebra::Vector2;

use super::ClockFrame;
use super::course::Course;
use crate::domain::{
    CameraStamp, Circle, Limb, Orientation, SIGMAS_PER_MAD, TRUNCATION_SIGMA_S, median,
};

/// Error of a fitted centre that its own sigma does not tell, per axis in pixels: blur and limb darkening move both
/// limbs alike, seeing does not (our choice).
const UNTOLD_PX: f64 = 0.03;

/// One sigma of the growth of bright shapes by glare or their loss by tone curves, in pixels (our choice, after drawn
/// frames of several curves).
const EDGE_PX: f64 = 0.2;

/// One sigma of the mean height of the Moon's leading or following limb, in seconds of arc: single heights run to two
/// seconds of arc, the mean of half a limb to a fraction of it (from memory, after the charts of C. B. Watts 1963).
const SIDE_ARCSEC: f64 = 0.3;

/// The same where the mountains are known: heights of the map, and what a fit of pixels makes of them (measured on drawn cards,
/// `benches/MEASUREMENTS.md`).
const LEVELLED_SIDE_ARCSEC: f64 = 0.05;

/// Share of the frames without mountains from which on the body counts as one without (our choice: slivers show too little limb).
const MOST_LEVELLED: f64 = 0.7;

/// Radius of the Sun at 1 au in seconds of arc (IAU 1976 value as used for eclipses).
const SUN_RADIUS_ARCSEC: f64 = 959.63;

/// Least arc of limb, in degrees, for a Sun to have a say in the shared radius.
const WELL_SEEN_DEG: f64 = 90.0;

/// One partial frame's vector.
#[derive(Clone, Copy, Debug)]
pub(super) struct Measured {
    /// The frame's index.
    pub(super) frame: usize,
    /// Middle of the exposure on the camera's clock, read as UTC, in seconds after the course's origin.
    pub(super) reading_s: f64,
    /// One sigma of that in seconds: of the cut to whole seconds.
    pub(super) reading_sigma_s: f64,
    /// Moon from Sun in stored picture axes (before the header's orientation), x right, in solar radii.
    pub(super) right: f64,
    /// The same, up.
    pub(super) up: f64,
    /// One sigma per axis, in solar radii.
    pub(super) sigma: f64,
    /// Where the Sun falls in the stored picture, as [`super::mount`] counts places.
    pub(super) place: Vector2<f64>,
    /// The stretch of [`super::tracks::Tracks`] it belongs to.
    pub(super) stretch: usize,
}

/// The vectors of a body.
pub(super) struct Vectors {
    pub(super) measured: Vec<Measured>,
    /// One sigma of the scale, as a fraction.
    pub(super) scale_sigma: f64,
    /// How far all limbs may be off along the line of centres, one sigma in solar radii: tone curves and glare make
    /// bright shapes shrink or swell.
    pub(super) edge_sigma: f64,
    /// How far the limbs of one side of the eclipse may be off besides, one sigma in solar radii.
    pub(super) side_sigma: f64,
    /// Whether the mountains of the Moon's limb are taken off nearly all of them.
    pub(super) levelled: bool,
}

impl Vectors {
    /// Those of a body that shows no partial phase.
    pub(super) fn none() -> Self {
        Self {
            measured: Vec::new(),
            scale_sigma: 3e-4,
            edge_sigma: 1e-3,
            side_sigma: 1e-3,
            levelled: false,
        }
    }
}

/// Middle of an exposure on the camera's clock read as UTC, in seconds after the course's origin, and its one sigma.
pub(super) fn reading(stamp: &CameraStamp, shutter_s: f64, course: &Course) -> (f64, f64) {
    let start_s = stamp.time.read_as_utc().seconds_since(course.origin());
    let (cut_s, sigma_s) = if stamp.has_subsec {
        (0.0, 0.0)
    } else {
        (0.5, TRUNCATION_SIGMA_S)
    };
    (start_s + cut_s + shutter_s / 2.0, sigma_s)
}

/// The vectors of all frames that show both limbs; their side bias is that of the Moon's limb alone.
///
/// `stretch_of` tells the stretch of [`super::tracks::Tracks`] each frame belongs to.
pub(super) fn vectors(
    frames: &[ClockFrame],
    radii: &Radii,
    stretch_of: &BTreeMap<usize, usize>,
    course: &Course,
) -> Vectors {
    let mut measured: Vec<Measured> = frames
        .iter()
        .enumerate()
        .filter_map(|(n, frame)| {
            let m = measure(n, frame, radii.get(&frame.scale_group)?, course)?;
            Some(Measured {
                stretch: *stretch_of.get(&n)?,
                ..m
            })
        })
        .collect();
    let smallest_px = radii.values().map(|r| r.radius_px).fold(f64::MAX, f64::min);
    let scatter = radii.values().map(|r| r.sigma).fold(0.0, f64::max);
    let tenth_px = 0.1 / smallest_px;
    let is_levelled = |m: &Measured| frames[m.frame].levelled.is_some();
    let count = measured.iter().filter(|m| is_levelled(m)).count() as f64;
    let levelled = count > 0.0 && count >= MOST_LEVELLED * measured.len() as f64;
    let side_arcsec = match levelled {
        true => LEVELLED_SIDE_ARCSEC,
        false => SIDE_ARCSEC,
    };
    // Among levelled frames the few others bring their mountains each for itself.
    for m in measured.iter_mut().filter(|m| levelled && !is_levelled(m)) {
        m.sigma = m.sigma.hypot(SIDE_ARCSEC / SUN_RADIUS_ARCSEC);
    }
    Vectors {
        measured,
        scale_sigma: scatter.hypot(tenth_px).hypot(3e-4),
        edge_sigma: EDGE_PX / smallest_px,
        side_sigma: side_arcsec / SUN_RADIUS_ARCSEC,
        levelled,
    }
}

fn measure(
    index: usize,
    frame: &ClockFrame,
    shared: &SharedRadius,
    course: &Course,
) -> Option<Measured> {
    let fit = frame
        .levelled
        .or(frame.fit)
        .filter(|fit| fit.limb == Limb::Sun)?;
    let (sun, moon) = (fit.sun?, fit.moon?);
    let sigma_px = fit.sigma_px.hypot(fit.moon_sigma_px?).hypot(UNTOLD_PX);
    let (reading_s, reading_sigma_s) = reading(&frame.stamp?, frame.shutter_s, course);
    // The course speaks in radii of a plain circle fitted to the squeezed disc.
    let plain_radius_px = shared.radius_px * (1.0 + (frame.squeeze.unwrap_or(1.0) - 1.0) / 2.0);
    let x = (moon.x_px - sun.x_px) / plain_radius_px;
    let y = (moon.y_px - sun.y_px) / plain_radius_px;
    let (right, down) = stored(frame.orientation, x, y);
    let all = [right, down, sigma_px, reading_s];
    all.iter().all(|v| v.is_finite()).then_some(Measured {
        frame: index,
        reading_s,
        reading_sigma_s,
        right,
        up: -down,
        sigma: sigma_px / shared.radius_px,
        stretch: 0,
        place: place_in(frame, &sun, shared.radius_px / course.sun_radius_rad())
            .unwrap_or_default(),
    })
}

/// Where the centre of a disc falls in the stored picture, as [`super::mount`] counts places; `None` where the picture's size
/// is not known.
pub(super) fn place_in(frame: &ClockFrame, disc: &Circle, px_per_rad: f64) -> Option<Vector2<f64>> {
    let (width, height) = frame.size_px?;
    let x = disc.x_px - 0.5 * (f64::from(width) - 1.0);
    let y = disc.y_px - 0.5 * (f64::from(height) - 1.0);
    let (right, down) = stored(frame.orientation, x, y);
    Some(Vector2::new(right, -down) / px_per_rad)
}

/// The Sun's radius in the frames of each scale group.
pub(super) type Radii = BTreeMap<usize, SharedRadius>;

/// The Sun's radius of a scale group.
pub(super) struct SharedRadius {
    pub(super) radius_px: f64,
    /// One sigma as a fraction.
    sigma: f64,
}

/// The Sun's radius by the Suns of each scale group.
pub(super) fn shared_radii(frames: &[ClockFrame]) -> Radii {
    let mut groups: BTreeMap<usize, Vec<(f64, f64)>> = BTreeMap::new();
    for frame in frames {
        let sun = frame.fit.filter(|fit| fit.limb == Limb::Sun);
        if let Some((fit, sun)) = sun.and_then(|fit| Some((fit, fit.sun?)))
            && sun.radius_px.is_finite()
            && sun.radius_px > 1.0
        {
            let seen = groups.entry(frame.scale_group).or_default();
            seen.push((fit.limb_arc_deg, sun.radius_px));
        }
    }
    groups
        .into_iter()
        .filter_map(|(group, seen)| Some((group, shared_radius(&seen)?)))
        .collect()
}

/// Middle radius of the well-seen Suns, of all where none is.
fn shared_radius(seen: &[(f64, f64)]) -> Option<SharedRadius> {
    let well = seen.iter().filter(|(arc, _)| *arc >= WELL_SEEN_DEG);
    let mut radii: Vec<f64> = well.map(|(_, r)| *r).collect();
    if radii.is_empty() {
        radii = seen.iter().map(|(_, r)| *r).collect();
    }
    let radius_px = median(&mut radii)?;
    let mut apart: Vec<f64> = radii.iter().map(|r| (r - radius_px).abs()).collect();
    let spread_px = SIGMAS_PER_MAD * median(&mut apart)?;
    Some(SharedRadius {
        radius_px,
        sigma: 1.25 * spread_px / (radii.len() as f64).sqrt() / radius_px,
    })
}

/// A vector of the upright picture (x right, y down) as it lies in the stored one (EXIF 2.32, tag 0x0112).
pub(super) fn stored(orientation: Orientation, x: f64, y: f64) -> (f64, f64) {
    match orientation.exif() {
        2 => (-x, y),
        3 => (-x, -y),
        4 => (x, -y),
        5 => (y, x),
        6 => (y, -x),
        7 => (-y, -x),
        8 => (-y, x),
        _ => (x, y),
    }
}

/// A vector of the stored picture as it lies in the upright one.
pub(super) fn upright(orientation: Orientation, x: f64, y: f64) -> (f64, f64) {
    match orientation.exif() {
        6 => (-y, x),
        8 => (y, -x),
        _ => stored(orientation, x, y),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn orientations_go_there_and_back() {
        for exif in 1..=8 {
            let turn = Orientation::from_exif(exif).unwrap();
            let (x, y) = stored(turn, 3.0, 5.0);
            assert_eq!(upright(turn, x, y), (3.0, 5.0), "orientation {exif}");
        }
    }

    #[test]
    fn orientation_six_turns_the_stored_top_to_the_right() {
        let turn = Orientation::from_exif(6).unwrap();
        assert_eq!(upright(turn, 0.0, -1.0), (1.0, 0.0));
    }
}
