//! Chooses the frames of a strip: evenly spaced in time or in obscuration, either side of the middle.

mod beads;
mod candidate;
mod choose;
mod size;
mod tell;
mod wish;

use super::pose::{Light, light_of_shot};
use super::recipe::{Centre, Recipe};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Contacts, LocalKind, Notice, Utc};
use candidate::{Candidate, candidates, sun};
pub(super) use candidate::{best_single, untimed};
use choose::Side;
use wish::MOST_EACH_SIDE;
pub use wish::{By, Wish};

impl Recipe {
    /// Proposes a strip for a card, with one notice for each thing a person should know of the choice.
    ///
    /// Frames are taken either side of totality at equal steps of time, the best of each step whatever its flags; totality
    /// stands in the middle, or the annulus, or the greatest phase. Frames without a time are not among them. A card with no
    /// frame to place gives an empty recipe and says so.
    pub fn propose(catalogue: &Catalogue) -> (Self, Vec<Notice>) {
        Self::propose_for(catalogue, &Wish::default())
    }

    /// The same with the number of frames and their spacing chosen.
    pub fn propose_for(catalogue: &Catalogue, wish: &Wish) -> (Self, Vec<Notice>) {
        // Of several places: each frame at the time at which the eclipse looked so at the record's own.
        let catalogue = &*catalogue.in_sequence();
        let mut notices = Vec::new();
        let candidates = candidates(catalogue);
        let (centre, split) = centre(catalogue, &candidates, &mut notices);
        let timed = |s: &ShotRecord| s.utc.is_some() && sun(s).is_some();
        if !catalogue.shots.iter().any(timed) {
            return timeless(catalogue);
        }
        if candidates.is_empty() && centre == Centre::None {
            notices.push(nothing_to_place(catalogue));
        }
        let beside = |c: &&Candidate| !matches!(&centre, Centre::Frame(name) if *name == c.name);
        let list: Vec<&Candidate> = candidates
            .iter()
            .filter(beside)
            .filter(|c| c.utc < split.before || c.utc > split.after)
            .collect();
        let (before, after): (Vec<_>, Vec<_>) = list.iter().partition(|c| c.utc < split.before);
        let sides = [
            Side::new(&before, split.before),
            Side::new(&after, split.after),
        ];
        let chosen = choose::chosen(&sides, wish);
        notices.extend(tell::told(catalogue, &list, &chosen, wish));
        let [mut before, after] = chosen.picks.map(|picks| {
            picks
                .iter()
                .map(|p| p.frame.name.clone())
                .collect::<Vec<_>>()
        });
        before.reverse();
        let recipe = Self {
            centre,
            before,
            after,
            ..Self::default()
        };
        (size::sized(catalogue, recipe), notices)
    }
}

/// A row in the order of names, for a card that has discs but no times; what shows totality stands in the middle.
fn timeless(catalogue: &Catalogue) -> (Recipe, Vec<Notice>) {
    let total = catalogue
        .contacts
        .as_ref()
        .is_some_and(|c| c.kind == LocalKind::Total);
    let middle = best_single(catalogue).filter(|_| total);
    let beside =
        |s: &&&ShotRecord| middle.is_none() || light_of_shot(catalogue, s) == Light::Filtered;
    let row: Vec<&ShotRecord> = untimed(catalogue).collect();
    let mut names: Vec<String> = row
        .iter()
        .filter(beside)
        .map(|s| s.name().to_owned())
        .collect();
    if names.is_empty() && middle.is_none() {
        return (Recipe::default(), vec![nothing_to_place(catalogue)]);
    }
    let dropped = names.len().saturating_sub(2 * MOST_EACH_SIDE);
    names.truncate(2 * MOST_EACH_SIDE);
    let notice = (!names.is_empty()).then(|| in_order_of_names(dropped));
    let at = middle.and_then(|middle| row.iter().position(|s| s.name() == middle.name()));
    let half = match at {
        Some(at) => row[..at].iter().filter(beside).count().min(names.len()),
        None => names.len().div_ceil(2),
    };
    let after = names.split_off(half);
    let recipe = Recipe {
        centre: middle.map_or(Centre::None, |_| Centre::Corona),
        before: names,
        after,
        ..Recipe::default()
    };
    (size::sized(catalogue, recipe), notice.into_iter().collect())
}

fn in_order_of_names(dropped: usize) -> Notice {
    let left_out = match dropped {
        0 => String::new(),
        n => format!(", the last {n} left out"),
    };
    Notice::look(format!(
        "the frames have no times; the strip has them in the order of their names{left_out}; put them in order in strip.toml"
    ))
}

fn nothing_to_place(catalogue: &Catalogue) -> Notice {
    let fitted = catalogue.shots.iter().filter(|s| s.disc.is_some()).count();
    Notice::look(format!(
        "no frame for the strip: {fitted} of {} frames have a fitted disc, none of them a Sun of the eclipse; name frames in \
         strip.toml to place them all the same",
        catalogue.shots.len()
    ))
}

/// The times that part the two sides.
#[derive(Clone, Copy)]
struct Split {
    before: Utc,
    after: Utc,
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
    match greatest(contacts, candidates) {
        Some(best) => {
            let off_s = best.utc.seconds_since(contacts.maximum.utc);
            let annular = contacts.kind == LocalKind::Annular;
            let inside = annular && is_within(best, &central);
            if annular && !inside {
                let text = format!(
                    "no frame of annularity; the one {} from maximum stands in the middle",
                    tell::span(off_s.abs())
                );
                notices.push(Notice::look(text).about(&best.name));
            }
            if !best.flaws.is_empty() {
                let flaws: Vec<&str> = best.flaws.iter().map(|flag| flag.word()).collect();
                let text = format!(
                    "in the middle though {}, the best near maximum",
                    flaws.join(" and ")
                );
                notices.push(Notice::look(text).about(&best.name));
            }
            let split = if inside { central } else { at(best.utc) };
            (Centre::Frame(best.name.clone()), split)
        }
        None => (Centre::None, at(contacts.maximum.utc)),
    }
}

fn is_within(candidate: &Candidate, split: &Split) -> bool {
    (split.before..=split.after).contains(&candidate.utc)
}

/// Seconds off maximum that speak as much against a frame as its flaws can (our choice: the phase changes little within them).
const OFF_MAXIMUM_S: f64 = 300.0;

/// The frame of the greatest phase: near maximum with little against it, of annularity where there is one.
fn greatest<'a>(contacts: &Contacts, candidates: &'a [Candidate]) -> Option<&'a Candidate> {
    let central = contacts.c2.zip(contacts.c3).map(|(c2, c3)| Split {
        before: c2.utc,
        after: c3.utc,
    });
    let off_s = |c: &Candidate| c.utc.seconds_since(contacts.maximum.utc).abs();
    let against = |c: &Candidate| {
        let outside = central.as_ref().is_some_and(|split| !is_within(c, split));
        (outside, (off_s(c) / OFF_MAXIMUM_S).powi(2) + c.cost)
    };
    candidates.iter().min_by(|a, b| {
        let (a_out, a_cost) = against(a);
        let (b_out, b_cost) = against(b);
        a_out
            .cmp(&b_out)
            .then_with(|| a_cost.total_cmp(&b_cost))
            .then_with(|| a.name.cmp(&b.name))
    })
}
