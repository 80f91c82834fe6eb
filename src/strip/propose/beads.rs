//! Strips of their own for the seconds around second and third contact.

use super::super::pose::{Light, light_of_shot, pose};
use super::super::recipe::{Align, Captions, Recipe, Up};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{ContactKind, Flag, Phase, Role};

/// Most frames of a sequence of beads.
const MOST: usize = 9;

/// Size of the discs over that on the photographs: large enough to show each bead, small enough to be sharp.
const ENLARGED: f64 = 1.5;

/// Disc diameters that a disc with its glow takes up.
const DISCS_A_PIECE: f64 = 1.8;

/// Seconds either side of a contact in which beads are what is to be seen; farther out the ring is (common practice).
const BEADS_S: f64 = 3.5;

/// Stops of light over the shortest frame that a ring may have: about from beads to the innermost corona (Espenak & Anderson
/// 1995, NASA Reference Publication 1369, Table 16: seven stops from beads to the diamond ring), less what glare costs.
const RING_STOPS: f64 = 6.0;

impl Recipe {
    /// Proposes a strip of the beads and the ring at second or third contact: bare frames evenly over the seconds, short
    /// exposures where beads are due and long ones for the ring, aligned on the Moon, captioned with the seconds from the
    /// contact.
    ///
    /// `None` for other contacts, and where no frame will do; one alone, of the diamond ring, makes a picture by itself.
    pub fn propose_beads(catalogue: &Catalogue, contact: ContactKind) -> Option<Self> {
        let phase = match contact {
            ContactKind::C2 => Phase::SecondContact,
            ContactKind::C3 => Phase::ThirdContact,
            _ => return None,
        };
        let frames: Vec<&ShotRecord> = catalogue
            .shots
            .iter()
            .filter(|s| s.phase == phase && could_stand(catalogue, s))
            .filter(|s| from_contact_s(catalogue, s, contact).is_some())
            .collect();
        let into = |s: &ShotRecord| from_contact_s(catalogue, s, contact);
        let series = evenly(&frames, &into);
        let shows = match series[..] {
            [] => false,
            [alone] => on_the_sun_s_side(into(alone)?, contact),
            _ => true,
        };
        shows.then(|| Self {
            before: series.iter().map(|s| s.name().to_owned()).collect(),
            align: Align::Moon,
            captions: Captions::Contact,
            spacing: 0.0,
            margin: Some(0.1),
            width_px: width_px(&series),
            ..Self::default()
        })
    }
}

/// Seconds into totality in which the last bead still shows in frames whose clock is sure to a second.
const LINGERS_S: f64 = 1.0;

/// Seconds of a shot from a contact at its own place.
fn from_contact_s(catalogue: &Catalogue, record: &ShotRecord, contact: ContactKind) -> Option<f64> {
    let own = catalogue.contacts_of(record)?;
    let event = match contact {
        ContactKind::C2 => own.c2.as_ref()?,
        _ => own.c3.as_ref()?,
    };
    Some(record.utc?.seconds_since(event.utc))
}

/// Whether a frame was taken while some of the Sun was bare, by its seconds from the contact.
fn on_the_sun_s_side(from_contact_s: f64, contact: ContactKind) -> bool {
    let into_s = match contact {
        ContactKind::C2 => from_contact_s,
        _ => -from_contact_s,
    };
    into_s <= LINGERS_S
}

/// A canvas on which the discs are somewhat larger than on the photographs, within what a strip usually has.
fn width_px(series: &[&ShotRecord]) -> u32 {
    let radius_px = |s: &&ShotRecord| Some(s.disc.as_ref()?.moon?.radius_px);
    let mut radii: Vec<f64> = series.iter().filter_map(radius_px).collect();
    radii.sort_by(f64::total_cmp);
    let usual_px = radii.get(radii.len() / 2).copied().unwrap_or(0.0);
    let across = 2.0 * ENLARGED * DISCS_A_PIECE * usual_px * series.len().min(MOST) as f64;
    let most = Recipe::default().width_px;
    (across as u32).clamp(most / 5, most)
}

/// Flags about sharpness and light are no bar: beads look like cloud, blur and clipping to a measure of limbs.
fn could_stand(catalogue: &Catalogue, record: &ShotRecord) -> bool {
    let spoilt = [Flag::Cut, Flag::OutOfFrame, Flag::Capped];
    record.role != Some(Role::Wide)
        && record.utc.is_some()
        && light_of_shot(catalogue, record) == Light::Bare
        && !spoilt.iter().any(|flag| record.flags.has(*flag))
        && pose(catalogue, record, Up::AsShot, Align::Moon).is_some()
}

/// At most [`MOST`] of the frames, one for each of even steps of time: in each step the frame that suits what is due there,
/// the nearest in time of those that suit alike.
fn evenly<'a>(
    frames: &[&'a ShotRecord],
    from_contact_s: &dyn Fn(&ShotRecord) -> Option<f64>,
) -> Vec<&'a ShotRecord> {
    let off_s = |s: &ShotRecord| from_contact_s(s).unwrap_or(0.0);
    let stops = |s: &ShotRecord| s.shot.exposure.stops().unwrap_or(0.0);
    let mut series: Vec<&ShotRecord> = frames.to_vec();
    series.sort_by(|a, b| {
        off_s(a)
            .total_cmp(&off_s(b))
            .then_with(|| a.name().cmp(b.name()))
    });
    let (Some(first), Some(last)) = (series.first(), series.last()) else {
        return Vec::new();
    };
    let (start, end) = (off_s(first), off_s(last));
    let shortest = series
        .iter()
        .map(|s| stops(s))
        .fold(f64::INFINITY, f64::min);
    let count = series.len().min(MOST);
    let step = (end - start) / count as f64;
    let step_of = |s: &ShotRecord| {
        let at = (off_s(s) - start) / step.max(f64::MIN_POSITIVE);
        (at as usize).min(count - 1)
    };
    // Stops off what is due: the shortest for beads, the longest that is no glare for the ring.
    let unfit = |s: &ShotRecord| {
        let over = stops(s) - shortest;
        match off_s(s).abs() <= BEADS_S {
            true => over,
            false => (RING_STOPS - over).abs(),
        }
    };
    let middle = |k: usize| start + step * (k as f64 + 0.5);
    let best = |k: usize| {
        let there = series.iter().filter(|s| step_of(s) == k);
        there.min_by(|a, b| {
            let away = |s: &ShotRecord| (off_s(s) - middle(k)).abs();
            unfit(a)
                .total_cmp(&unfit(b))
                .then(away(a).total_cmp(&away(b)))
        })
    };
    (0..count).filter_map(best).copied().collect()
}
