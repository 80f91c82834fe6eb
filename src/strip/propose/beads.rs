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

/// Exposures that count as one series, in stops.
const SAME_STOPS: f64 = 0.17;

impl Recipe {
    /// Proposes a strip of the beads and the ring at second or third contact: bare frames of one exposure, evenly over
    /// the seconds, aligned on the Moon, captioned with the seconds from the contact.
    ///
    /// `None` for other contacts, and when fewer than two frames will do.
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
            .collect();
        let series = longest_series(&frames);
        (series.len() >= 2).then(|| Self {
            before: evenly(&series)
                .iter()
                .map(|s| s.name().to_owned())
                .collect(),
            align: Align::Moon,
            captions: Captions::Contact,
            spacing: 0.0,
            margin: Some(0.1),
            width_px: width_px(&series),
            ..Self::default()
        })
    }
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

/// The frames of the exposure that was used most; of equals the shortest, which shows beads best.
fn longest_series<'a>(frames: &[&'a ShotRecord]) -> Vec<&'a ShotRecord> {
    let stops = |s: &ShotRecord| s.shot.exposure.stops().unwrap_or(0.0);
    let like = |at: f64| -> Vec<&'a ShotRecord> {
        let same = |s: &&&'a ShotRecord| (stops(s) - at).abs() <= SAME_STOPS;
        frames.iter().filter(same).copied().collect()
    };
    let mut starts: Vec<f64> = frames.iter().map(|s| stops(s)).collect();
    starts.sort_by(f64::total_cmp);
    let mut best: Vec<&ShotRecord> = Vec::new();
    for at in starts {
        let series = like(at);
        if series.len() > best.len() {
            best = series;
        }
    }
    best
}

/// At most [`MOST`] of the frames, the nearest to even steps of time.
fn evenly<'a>(series: &[&'a ShotRecord]) -> Vec<&'a ShotRecord> {
    let (Some(first), Some(last)) = (series.first(), series.last()) else {
        return Vec::new();
    };
    let time = |s: &ShotRecord| s.utc.map_or(0.0, |utc| utc.unix_s());
    let (start, end) = (time(first), time(last));
    let count = series.len().min(MOST);
    let mut taken: Vec<&ShotRecord> = Vec::new();
    for k in 0..count {
        let due = start + (end - start) * k as f64 / (count - 1).max(1) as f64;
        let free = series
            .iter()
            .filter(|s| !taken.iter().any(|t| t.name() == s.name()));
        let nearest = free.min_by(|a, b| (time(a) - due).abs().total_cmp(&(time(b) - due).abs()));
        taken.extend(nearest);
    }
    taken.sort_by(|a, b| {
        time(a)
            .total_cmp(&time(b))
            .then_with(|| a.name().cmp(b.name()))
    });
    taken
}
