//! How a frame must be turned and scaled to stand in the strip.

use super::recipe::{Align, Up};
use super::steady::steady_moon;
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Circle, Flag, LocalKind, Notice, Phase};

/// Whether the Sun was photographed through a filter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Light {
    /// Through a filter: partial phases and annularity.
    Filtered,
    /// Bare: totality, beads, diamond ring.
    Bare,
}

/// The discs of a frame in its own pixels, and its turn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Pose {
    /// The disc that stands still: the Sun, or the Moon where the recipe says so and it is known.
    pub(super) still: Circle,
    /// The Sun, where it is known.
    pub(super) sun: Option<Circle>,
    /// The Moon, where it is known.
    pub(super) moon: Option<Circle>,
    /// How far the frame is turned clockwise.
    pub(super) clockwise_deg: f64,
    /// Whether it is mirrored back first.
    pub(super) mirrored: bool,
    /// How it was taken.
    pub(super) light: Light,
}

/// The pose of a shot; `None` when the disc to align on was not fitted.
pub(super) fn pose(
    catalogue: &Catalogue,
    record: &ShotRecord,
    up: Up,
    align: Align,
) -> Option<Pose> {
    let fit = record.disc.as_ref();
    let sun = fit.and_then(|f| f.sun).filter(usable);
    let moon = fit
        .and_then(|f| f.moon)
        .filter(usable)
        .or_else(|| computed_moon(record, &sun?));
    let still = match align {
        Align::Sun => sun?,
        Align::Moon => steady_moon(catalogue, record).or(moon).or(sun)?,
    };
    let turn = turn(catalogue, record, up);
    Some(Pose {
        still,
        sun,
        moon,
        clockwise_deg: turn.map_or(0.0, |t| t.clockwise_deg),
        mirrored: turn.is_some_and(|t| t.mirrored),
        light: light_of_shot(catalogue, record),
    })
}

fn usable(circle: &Circle) -> bool {
    let finite = circle.x_px.is_finite() && circle.y_px.is_finite();
    finite && circle.radius_px.is_finite() && circle.radius_px > 1.0
}

/// Around totality filters are off, unless the frame shows otherwise; near an annularity they stay on.
pub(super) fn light_of_shot(catalogue: &Catalogue, record: &ShotRecord) -> Light {
    let total = catalogue
        .contacts_of(record)
        .is_none_or(|c| c.kind == LocalKind::Total);
    let near = matches!(
        record.phase,
        Phase::SecondContact | Phase::Totality | Phase::ThirdContact
    );
    let timeless = record.phase == Phase::Untimed && record.shows_totality();
    if (near || timeless) && total && !record.flags.has(Flag::FilterOn) {
        Light::Bare
    } else {
        Light::Filtered
    }
}

/// The Moon where it must stand by computation, when the frame's north is known.
fn computed_moon(record: &ShotRecord, sun: &Circle) -> Option<Circle> {
    let sky = record.predicted?;
    let (x, y) = sky.moon_offset_in_picture(record.north_deg?, record.mirrored.unwrap_or(false));
    let ratio = sky.ratio();
    let moon = Circle {
        x_px: sun.x_px + x * sun.radius_px,
        y_px: sun.y_px + y * sun.radius_px,
        radius_px: ratio * sun.radius_px,
    };
    usable(&moon).then_some(moon)
}

/// A turn into the strip's orientation.
#[derive(Clone, Copy, Debug)]
struct Turn {
    clockwise_deg: f64,
    mirrored: bool,
}

/// The turn that brings `up` up; `None` when it cannot be known.
///
/// North stands `north_deg` anticlockwise of picture up. Mirroring back turns that into clockwise. The zenith stands
/// at position angle q, and in a picture that is not mirrored position angles run anticlockwise.
fn turn(catalogue: &Catalogue, record: &ShotRecord, up: Up) -> Option<Turn> {
    if up == Up::AsShot {
        return Some(Turn {
            clockwise_deg: 0.0,
            mirrored: false,
        });
    }
    let mirrored = record.mirrored.unwrap_or(false);
    let north_deg = record
        .north_deg
        .or_else(|| usual_north_deg(catalogue, record))?;
    let north_deg = if mirrored { -north_deg } else { north_deg };
    let clockwise_deg = match up {
        Up::Zenith => north_deg + record.predicted?.parallactic_deg,
        _ => north_deg,
    };
    clockwise_deg.is_finite().then_some(Turn {
        clockwise_deg,
        mirrored,
    })
}

/// The north of the nearest frame in time by the same camera, for a frame that has none of its own.
fn usual_north_deg(catalogue: &Catalogue, record: &ShotRecord) -> Option<f64> {
    let utc = record.utc?;
    catalogue
        .shots
        .iter()
        .filter(|s| s.shot.camera == record.shot.camera && s.mirrored == record.mirrored)
        .filter_map(|s| Some((s.utc?.seconds_since(utc).abs(), s.north_deg?)))
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, north)| north)
}

/// What a person should know about a frame's turn.
pub(super) fn turn_notice(catalogue: &Catalogue, record: &ShotRecord, up: Up) -> Option<Notice> {
    let name = record.name();
    if turn(catalogue, record, up).is_none() {
        let text = "its orientation on the sky is not known; placed as shot";
        return Some(Notice::look(text).about(name));
    }
    let borrowed = up != Up::AsShot && record.north_deg.is_none();
    let text =
        "its own north is not known; turned like the frame nearest in time by the same camera";
    borrowed.then(|| Notice::note(text).about(name))
}
