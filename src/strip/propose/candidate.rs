//! Frames that could stand beside the middle, and how much each has against it.

use super::super::pose::{Light, light_of_shot};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Circle, Flag, LocalKind, Phase, Role, Utc, upper_median};

/// What a flag costs a frame, where 1 is what a filled step is worth: how much of the picture it spoils (our choice, by what a person
/// with the prints in hand passes over first). None costs so much that a step stays empty for it.
const COSTS: [(Flag, f64); 7] = [
    (Flag::Cut, 0.45),
    (Flag::Soft, 0.4),
    (Flag::Shaken, 0.35),
    (Flag::Clouded, 0.25),
    (Flag::Clipped, 0.2),
    (Flag::Flare, 0.1),
    (Flag::Approximate, 0.1),
];

/// Most that flags and quality together cost.
const MOST_COST: f64 = 0.85;

/// What a quality of nothing costs beside a perfect one.
const QUALITY_COST: f64 = 0.3;

/// Flags from this cost on are told: the others no one sees in a strip.
const TOLD: f64 = 0.2;

/// A frame that could stand in the strip.
#[derive(Clone, Debug)]
pub(super) struct Candidate {
    pub(super) name: String,
    pub(super) utc: Utc,
    pub(super) obscuration: Option<f64>,
    /// What speaks against it, 0 to [`MOST_COST`].
    pub(super) cost: f64,
    pub(super) body: String,
    /// The flags that a person would see in the strip.
    pub(super) flaws: Vec<Flag>,
}

impl Candidate {
    /// `None` for a frame that cannot be placed: without a time or without a fitted Sun.
    fn of(catalogue: &Catalogue, record: &ShotRecord) -> Option<Self> {
        sun(record)?;
        Some(Self {
            name: record.name().to_owned(),
            utc: record.utc?,
            obscuration: record.predicted.map(|sky| sky.obscuration),
            cost: cost(record),
            body: catalogue.camera_label(&record.shot).to_owned(),
            flaws: flaws(record),
        })
    }
}

/// What speaks against a frame.
pub(super) fn cost(record: &ShotRecord) -> f64 {
    let quality = record.quality.filter(|q| q.is_finite()).unwrap_or(0.5);
    let flags: f64 = COSTS
        .iter()
        .filter(|(flag, _)| record.flags.has(*flag))
        .map(|(_, cost)| cost)
        .sum();
    (flags + QUALITY_COST * (1.0 - quality.clamp(0.0, 1.0))).min(MOST_COST)
}

/// The flags of a frame that a person would see in the strip.
pub(super) fn flaws(record: &ShotRecord) -> Vec<Flag> {
    let seen = |flag: &Flag| COSTS.iter().any(|(f, cost)| f == flag && *cost >= TOLD);
    record.flags.iter().filter(seen).collect()
}

/// A whole Sun taken longer than this before first contact or after last, in seconds, is a trial and no step of the sequence (our choice:
/// half of a usual partial phase).
const LONG_S: f64 = 2400.0;

/// Whether a frame is of a whole Sun and adds nothing to a strip: one taken long before or after, or one cut in a place that is not sure. A
/// whole Sun looks as any other, so that no moment is lost with it.
fn adds_nothing(catalogue: &Catalogue, record: &ShotRecord) -> bool {
    let off_s = catalogue
        .contacts
        .as_ref()
        .zip(record.utc)
        .map_or(0.0, |(contacts, utc)| match record.phase {
            Phase::Before => contacts.c1.utc.seconds_since(utc),
            Phase::After => utc.seconds_since(contacts.c4.utc),
            _ => 0.0,
        });
    let whole = matches!(record.phase, Phase::Before | Phase::After);
    let lost = record.flags.has(Flag::Cut) && record.flags.has(Flag::Approximate);
    whole && (lost || off_s > LONG_S)
}

/// Whole Suns that add nothing to the strip, in the catalogue's order.
pub(super) fn trials(catalogue: &Catalogue) -> impl Iterator<Item = &ShotRecord> {
    due(catalogue).filter(|s| sun(s).is_some() && adds_nothing(catalogue, s))
}

/// Frames that can stand either side, in time order: of the long lens, through the filter, with a time and a fitted Sun.
pub(super) fn candidates(catalogue: &Catalogue) -> Vec<Candidate> {
    let mut all: Vec<Candidate> = due(catalogue)
        .filter(|s| !adds_nothing(catalogue, s))
        .filter_map(|s| Candidate::of(catalogue, s))
        .collect();
    all.sort_by(|a, b| a.utc.cmp(&b.utc).then_with(|| a.name.cmp(&b.name)));
    all
}

/// Frames of the partial phases that cannot be placed, in the catalogue's order.
pub(super) fn without_sun(catalogue: &Catalogue) -> impl Iterator<Item = &ShotRecord> {
    due(catalogue).filter(|s| s.utc.is_some() && sun(s).is_none())
}

/// Frames of the long lens whose time says that the Sun should be there, filtered.
fn due(catalogue: &Catalogue) -> impl Iterator<Item = &ShotRecord> {
    let annular = catalogue
        .contacts
        .as_ref()
        .is_some_and(|c| c.kind == LocalKind::Annular);
    catalogue.shots.iter().filter(move |s| {
        let partial = s.phase.is_filtered();
        let central = matches!(
            s.phase,
            Phase::SecondContact | Phase::Annularity | Phase::ThirdContact
        );
        s.role != Some(Role::Wide) && (partial || annular && central)
    })
}

/// Frames of the Sun without a usable time, in the catalogue's order, which is that of their names with numbers read as numbers.
pub(in crate::strip) fn untimed(catalogue: &Catalogue) -> impl Iterator<Item = &ShotRecord> {
    catalogue
        .shots
        .iter()
        .filter(|s| s.utc.is_none() && s.role != Some(Role::Wide) && sun(s).is_some())
}

/// The best single frame of totality: bare, its disc fitted, with the least against it; of equals the one in the middle of the
/// exposures.
/// Where none has a time, one without that shows totality.
pub(in crate::strip) fn best_single(catalogue: &Catalogue) -> Option<&ShotRecord> {
    let of_phase = |phase: Phase| -> Vec<&ShotRecord> {
        catalogue
            .shots
            .iter()
            .filter(|s| s.phase == phase && s.role != Some(Role::Wide))
            .filter(|s| light_of_shot(catalogue, s) == Light::Bare && sun(s).is_some())
            .collect()
    };
    let mut bare = of_phase(Phase::Totality);
    if bare.is_empty() {
        bare = of_phase(Phase::Untimed);
    }
    let mut stops: Vec<f64> = bare
        .iter()
        .filter_map(|s| s.shot.exposure.stops())
        .collect();
    let usual = upper_median(&mut stops);
    let off = |s: &ShotRecord| match (s.shot.exposure.stops(), usual) {
        (Some(stops), Some(usual)) => (stops - usual).abs(),
        _ => 0.0,
    };
    bare.into_iter().min_by(|a, b| {
        let flawed = flaws(a).is_empty().cmp(&flaws(b).is_empty()).reverse();
        flawed
            .then_with(|| cost(a).total_cmp(&cost(b)))
            .then_with(|| off(a).total_cmp(&off(b)))
            .then_with(|| a.name().cmp(b.name()))
    })
}

/// The Sun fitted in a frame.
pub(super) fn sun(record: &ShotRecord) -> Option<Circle> {
    record.disc.as_ref()?.sun
}
