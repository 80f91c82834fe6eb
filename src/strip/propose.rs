//! Chooses the frames of a strip: evenly spaced in time or in obscuration, either side of the middle.

mod beads;
mod due;

use super::pose::{Light, light_of_shot};
use super::recipe::{Centre, Recipe};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Circle, Flag, LocalKind, Notice, Phase, Role, Utc};
use due::{Candidate, Side};

/// Most frames either side when the person does not say: more make discs too small for a print a yard wide.
const MOST_EACH_SIDE: usize = 16;

/// Frames closer together than this are one moment: a bracket, or a burst of tries.
const MOMENT_S: f64 = 30.0;

/// What frames are evenly spaced in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum By {
    /// Time.
    #[default]
    Time,
    /// Covered fraction of the Sun's area.
    Obscuration,
}

/// What the person asks of a proposal.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Wish {
    /// Frames either side of the middle; `None` takes all that fit.
    pub each_side: Option<usize>,
    /// What they are evenly spaced in.
    pub by: By,
}

impl Recipe {
    /// Proposes a strip for a card, with a notice for every substitution and every wide gap.
    ///
    /// Frames are taken either side of totality at equal steps of time, the best near each time; totality stands in
    /// the middle, or the annulus, or the greatest phase. Flagged frames are passed over. A card with no frame to place
    /// gives an empty recipe and says so.
    pub fn propose(catalogue: &Catalogue) -> (Self, Vec<Notice>) {
        Self::propose_for(catalogue, &Wish::default())
    }

    /// The same with the number of frames and their spacing chosen.
    pub fn propose_for(catalogue: &Catalogue, wish: &Wish) -> (Self, Vec<Notice>) {
        let mut notices = Vec::new();
        let candidates = candidates(catalogue);
        let (centre, split) = centre(catalogue, &candidates, &mut notices);
        let kept = |c: &&Candidate| !matches!(&centre, Centre::Frame(name) if *name == c.name);
        let list: Vec<&Candidate> = candidates.iter().filter(kept).collect();
        let (before, after): (Vec<_>, Vec<_>) =
            list.into_iter().partition(|c| c.utc < split.before);
        let after: Vec<&Candidate> = after.into_iter().filter(|c| c.utc > split.after).collect();
        let sides = [
            Side::before(&before, split.before),
            Side::after(&after, split.after),
        ];
        let [before, after] = due::chosen(catalogue, &sides, wish, &mut notices);
        let recipe = Self {
            centre,
            before,
            after,
            ..Self::default()
        };
        if recipe.before.is_empty() && recipe.after.is_empty() {
            return untimed(catalogue, recipe, notices);
        }
        (recipe, notices)
    }
}

/// A row in the order of names, for a card that has discs but no times.
fn untimed(
    catalogue: &Catalogue,
    recipe: Recipe,
    mut notices: Vec<Notice>,
) -> (Recipe, Vec<Notice>) {
    let mut names: Vec<String> = catalogue
        .shots
        .iter()
        .filter(|s| s.utc.is_none() && s.role != Some(Role::Wide) && sun(s).is_some())
        .map(|s| s.name().to_owned())
        .collect();
    if names.is_empty() {
        notices.push(nothing_to_place(catalogue));
        return (recipe, notices);
    }
    let dropped = names.len().saturating_sub(2 * MOST_EACH_SIDE);
    names.truncate(2 * MOST_EACH_SIDE);
    let mut text =
        "the frames have no times; the strip has them in the order of their names".to_owned();
    if dropped > 0 {
        text.push_str(&format!(", the last {dropped} left out"));
    }
    notices.push(Notice::look(format!(
        "{text}; put them in order in strip.toml"
    )));
    let after = names.split_off(names.len().div_ceil(2));
    let before = names;
    (
        Recipe {
            before,
            after,
            ..recipe
        },
        notices,
    )
}

fn nothing_to_place(catalogue: &Catalogue) -> Notice {
    let partials = catalogue.shots.iter().filter(|s| s.disc.is_some()).count();
    Notice::look(format!(
        "no frame for the strip: {partials} of {} frames have a fitted disc, none of them an unflagged partial phase \
         with a time; name frames in strip.toml to place them all the same",
        catalogue.shots.len()
    ))
}

/// The times that part the two sides.
#[derive(Clone, Copy)]
struct Split {
    before: Utc,
    after: Utc,
}

/// Frames that could stand either side, in time order: long lens, filter on, a time.
fn candidates(catalogue: &Catalogue) -> Vec<Candidate> {
    let mut all: Vec<Candidate> = catalogue
        .shots
        .iter()
        .filter(|s| s.role != Some(Role::Wide) && could_stand(catalogue, s))
        .filter_map(|s| Candidate::of(catalogue, s))
        .collect();
    all.sort_by(|a, b| a.utc.cmp(&b.utc).then_with(|| a.name.cmp(&b.name)));
    all
}

fn could_stand(catalogue: &Catalogue, record: &ShotRecord) -> bool {
    let partial = matches!(
        record.phase,
        Phase::Before | Phase::Ingress | Phase::Egress | Phase::After
    );
    let annular = is(catalogue, LocalKind::Annular)
        && matches!(
            record.phase,
            Phase::SecondContact | Phase::Annularity | Phase::ThirdContact
        );
    partial || annular
}

fn is(catalogue: &Catalogue, kind: LocalKind) -> bool {
    catalogue.contacts.as_ref().is_some_and(|c| c.kind == kind)
}

/// What stands in the middle, and the times either side of it.
fn centre(
    catalogue: &Catalogue,
    candidates: &[Candidate],
    notices: &mut Vec<Notice>,
) -> (Centre, Split) {
    let at = |utc| Split {
        before: utc,
        after: utc,
    };
    let Some(contacts) = &catalogue.contacts else {
        let half = candidates
            .get(candidates.len() / 2)
            .map_or_else(|| Utc::from_unix_s(0.0), |c| c.utc);
        return (Centre::None, at(half.plus_s(-1e-3)));
    };
    let central = Split {
        before: contacts.c2.map_or(contacts.maximum.utc, |c| c.utc),
        after: contacts.c3.map_or(contacts.maximum.utc, |c| c.utc),
    };
    if contacts.kind == LocalKind::Total {
        if best_single(catalogue).is_some() {
            return (Centre::Corona, central);
        }
        notices.push(Notice::look(
            "no frame of totality with a fitted disc; the middle stays empty",
        ));
        return (Centre::None, central);
    }
    match nearest_good(candidates, contacts.maximum.utc) {
        Some(best) => {
            let off_s = best.utc.seconds_since(contacts.maximum.utc);
            let inside = contacts.kind == LocalKind::Annular
                && best.utc >= central.before
                && best.utc <= central.after;
            if contacts.kind == LocalKind::Annular && !inside {
                let text = format!(
                    "no good frame of annularity; the one {:.0} s from maximum stands in the middle",
                    off_s
                );
                notices.push(Notice::look(text).about(&best.name));
            }
            let split = if inside { central } else { at(best.utc) };
            (Centre::Frame(best.name.clone()), split)
        }
        None => (Centre::None, at(contacts.maximum.utc)),
    }
}

/// The best of the good frames within a moment of the nearest one.
fn nearest_good(candidates: &[Candidate], utc: Utc) -> Option<&Candidate> {
    let off_s = |c: &Candidate| c.utc.seconds_since(utc).abs();
    let good = || candidates.iter().filter(|c| c.trouble.is_none());
    let nearest_s = good().map(off_s).min_by(f64::total_cmp)?;
    good()
        .filter(|c| off_s(c) <= nearest_s + MOMENT_S)
        .max_by(|a, b| {
            let order = a.quality.total_cmp(&b.quality);
            order
                .then_with(|| off_s(b).total_cmp(&off_s(a)))
                .then_with(|| b.name.cmp(&a.name))
        })
}

/// The best single frame of totality: bare, its disc fitted, unflagged where there is one, of the best quality; of
/// equals the one in the middle of the exposures.
pub(super) fn best_single(catalogue: &Catalogue) -> Option<&ShotRecord> {
    let bare: Vec<&ShotRecord> = catalogue
        .shots
        .iter()
        .filter(|s| s.phase == Phase::Totality && s.role != Some(Role::Wide))
        .filter(|s| light_of_shot(catalogue, s) == Light::Bare && sun(s).is_some())
        .collect();
    let mut stops: Vec<f64> = bare
        .iter()
        .filter_map(|s| s.shot.exposure.stops())
        .collect();
    stops.sort_by(f64::total_cmp);
    let usual = stops.get(stops.len() / 2).copied();
    let off = |s: &ShotRecord| match (s.shot.exposure.stops(), usual) {
        (Some(stops), Some(usual)) => (stops - usual).abs(),
        _ => 0.0,
    };
    bare.into_iter().min_by(|a, b| {
        let flagged = trouble(a).is_some().cmp(&trouble(b).is_some());
        let quality = b
            .quality
            .unwrap_or(0.0)
            .total_cmp(&a.quality.unwrap_or(0.0));
        flagged
            .then(quality)
            .then_with(|| off(a).total_cmp(&off(b)))
            .then_with(|| a.name().cmp(b.name()))
    })
}

fn sun(record: &ShotRecord) -> Option<Circle> {
    record.disc.as_ref()?.sun
}

/// Quality from which a frame that is only a little soft or shaken may fill a place that would stay empty.
const PASSABLE: f64 = 0.3;

/// Whether a troubled frame may fill a place that would stay empty.
fn passable(record: &ShotRecord) -> bool {
    let mild = |flag: Flag| {
        matches!(
            flag,
            Flag::Soft
                | Flag::Shaken
                | Flag::Clipped
                | Flag::IncompleteBurst
                | Flag::Flare
                | Flag::Approximate
        )
    };
    record.flags.iter().all(mild)
        && sun(record).is_some()
        && record.quality.is_some_and(|q| q >= PASSABLE)
}

/// Why a frame should not be taken, in words; `None` for a good one.
fn trouble(record: &ShotRecord) -> Option<String> {
    let bars = |flag: &Flag| {
        !matches!(
            flag,
            Flag::IncompleteBurst | Flag::FilterOn | Flag::Flare | Flag::Approximate
        )
    };
    let flags: Vec<&str> = record.flags.iter().filter(bars).map(Flag::word).collect();
    if !flags.is_empty() {
        return Some(format!("is {}", flags.join(" and ")));
    }
    sun(record)
        .is_none()
        .then(|| "has no fitted disc".to_owned())
}
