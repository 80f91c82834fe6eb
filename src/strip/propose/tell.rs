//! What a person should know of a choice of frames: one line a reason.

use std::collections::{BTreeMap, BTreeSet};

use super::super::zone::local_time;
use super::candidate::{Candidate, trials, untimed, without_sun};
use super::choose::{Chosen, Outward, due_obscuration, steps_of_obscuration};
use super::wish::{By, Wish};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Flag, Notice};

/// A gap this many times the usual step is told.
const WIDE: f64 = 1.6;

/// Names told in one line before the rest is counted.
const NAMED: usize = 3;

/// Sides in words, in the order of the lists.
const SIDES: [&str; 2] = ["before", "after"];

/// All of it, for the choice from `candidates`.
pub(super) fn told(
    catalogue: &Catalogue,
    candidates: &[&Candidate],
    chosen: &Chosen<'_>,
    wish: &Wish,
) -> Vec<Notice> {
    let mut notices = Vec::new();
    let taken: Vec<&Candidate> = chosen.picks.iter().flatten().map(|p| p.frame).collect();
    notices.extend(short_sides(chosen, wish));
    notices.extend(taken_though(&taken));
    notices.extend(left_out(candidates, &taken));
    notices.extend(sunless(catalogue));
    notices.extend(trial_frames(catalogue));
    match wish.by {
        By::Time => notices.extend(wide_gaps(catalogue, chosen)),
        By::Obscuration => notices.extend(empty_steps(chosen, wish)),
    }
    notices.extend(apart(catalogue));
    notices
}

/// "a, b, c and 4 more".
pub(super) fn names<'a>(all: impl Iterator<Item = &'a str>) -> String {
    let all: Vec<&str> = all.collect();
    let shown = all[..all.len().min(NAMED)].join(", ");
    match all.len().saturating_sub(NAMED) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

fn frames(count: usize) -> String {
    match count {
        1 => "1 frame".to_owned(),
        n => format!("{n} frames"),
    }
}

/// Flaws in words: "cut and clouded".
fn words(flaws: &[Flag]) -> String {
    let all: Vec<&str> = flaws.iter().map(|flag| flag.word()).collect();
    all.join(" and ")
}

/// Frames by what is the matter with them, the most frequent first.
fn by_flaws<'a>(all: impl Iterator<Item = &'a Candidate>) -> Vec<(String, Vec<&'a str>)> {
    let mut groups: BTreeMap<String, Vec<&str>> = BTreeMap::new();
    for frame in all.filter(|c| !c.flaws.is_empty()) {
        let group = groups.entry(words(&frame.flaws)).or_default();
        group.push(&frame.name);
    }
    let mut groups: Vec<_> = groups.into_iter().collect();
    groups.sort_by_key(|(_, names)| std::cmp::Reverse(names.len()));
    groups
}

/// Sides that hold fewer frames than were asked for.
fn short_sides(chosen: &Chosen<'_>, wish: &Wish) -> Vec<Notice> {
    let Some(asked) = wish.each_side else {
        return Vec::new();
    };
    let short = |(side, picks): (&str, &Vec<Outward<'_>>)| {
        (picks.len() < asked).then(|| {
            Notice::look(format!(
                "the card has {} for the strip {side} the middle, {asked} were asked for",
                frames(picks.len())
            ))
        })
    };
    SIDES
        .into_iter()
        .zip(&chosen.picks)
        .filter_map(short)
        .collect()
}

/// Frames taken because their moment has no better one.
fn taken_though(taken: &[&Candidate]) -> Vec<Notice> {
    by_flaws(taken.iter().copied())
        .into_iter()
        .map(|(flaws, all)| {
            Notice::look(format!(
                "in the strip though {flaws}, the best there is of its time: {}",
                names(all.into_iter())
            ))
        })
        .collect()
}

/// Frames passed over: the flawed ones by their flaws, the others in one line.
fn left_out(candidates: &[&Candidate], taken: &[&Candidate]) -> Vec<Notice> {
    let in_strip: BTreeSet<&str> = taken.iter().map(|c| c.name.as_str()).collect();
    let out = || {
        candidates
            .iter()
            .copied()
            .filter(|c| !in_strip.contains(c.name.as_str()))
    };
    let mut notices: Vec<Notice> = by_flaws(out())
        .into_iter()
        .map(|(flaws, all)| {
            Notice::note(format!(
                "{} left out of the strip as {flaws}, another is near: {}",
                frames(all.len()),
                names(all.into_iter())
            ))
        })
        .collect();
    let sound = out().filter(|c| c.flaws.is_empty()).count();
    if sound > 0 {
        notices.push(Notice::note(format!(
            "{} of the partial phases left out of the strip for an even step; --each-side N takes more or fewer",
            frames(sound)
        )));
    }
    notices
}

/// Frames in which no Sun was found.
fn sunless(catalogue: &Catalogue) -> Option<Notice> {
    let all: Vec<&str> = without_sun(catalogue).map(ShotRecord::name).collect();
    (!all.is_empty()).then(|| {
        Notice::note(format!(
            "{} of the partial phases without a disc, which cannot stand in the strip: {}",
            frames(all.len()),
            names(all.into_iter())
        ))
    })
}

/// Whole Suns that are no step of the sequence.
fn trial_frames(catalogue: &Catalogue) -> Option<Notice> {
    let all: Vec<&str> = trials(catalogue).map(ShotRecord::name).collect();
    (!all.is_empty()).then(|| {
        Notice::note(format!(
            "{} of the whole Sun left out of the strip, taken long before first contact or after last, or cut: {}; strip.toml \
             takes them all the same",
            frames(all.len()),
            names(all.into_iter())
        ))
    })
}

/// Gaps on either side, in time order.
fn wide_gaps(catalogue: &Catalogue, chosen: &Chosen<'_>) -> Vec<Notice> {
    let mut notices = Vec::new();
    for (picks, back) in chosen.picks.iter().zip([true, false]) {
        let wide = |pair: &&[Outward<'_>]| pair[1].out_s - pair[0].out_s > WIDE * chosen.step_s;
        let mut of_side: Vec<Notice> = picks
            .windows(2)
            .filter(wide)
            .map(|pair| {
                let ends = if back {
                    [pair[1], pair[0]]
                } else {
                    [pair[0], pair[1]]
                };
                wide_gap(catalogue, ends.map(|end| end.frame), chosen.step_s)
            })
            .collect();
        if back {
            of_side.reverse();
        }
        notices.extend(of_side);
    }
    notices
}

fn wide_gap(catalogue: &Catalogue, [first, last]: [&Candidate; 2], step_s: f64) -> Notice {
    let between = |s: &&ShotRecord| s.utc.is_some_and(|utc| utc > first.utc && utc < last.utc);
    let sunless = without_sun(catalogue).filter(between).count();
    let why = match sunless {
        0 => "the card has no frame of that time".to_owned(),
        n => format!("{} of that time show no disc", frames(n)),
    };
    Notice::look(format!(
        "a gap of {} in the strip, {} to {}: {why}; the usual step is {}",
        span(last.utc.seconds_since(first.utc)),
        local_time(catalogue, first.utc, "%H:%M:%S"),
        local_time(catalogue, last.utc, "%H:%M:%S"),
        span(step_s)
    ))
}

/// Steps of obscuration that no frame is near.
fn empty_steps(chosen: &Chosen<'_>, wish: &Wish) -> Vec<Notice> {
    let count = steps_of_obscuration(wish);
    let half = 0.5 / count as f64;
    let mut notices = Vec::new();
    for (side, picks) in SIDES.into_iter().zip(&chosen.picks) {
        let near = |due: f64| {
            let covered = picks.iter().filter_map(|p| p.frame.obscuration);
            covered.into_iter().any(|c| (c - due).abs() <= half)
        };
        let empty: Vec<String> = (0..count)
            .map(|step| due_obscuration(step, count))
            .filter(|due| !near(*due))
            .map(|due| format!("{:.0}", 100.0 * due))
            .collect();
        if !empty.is_empty() {
            notices.push(Notice::look(format!(
                "no frame {side} the middle is near an obscuration of {} %",
                empty.join(", ")
            )));
        }
    }
    notices
}

/// Frames of the Sun that have no time.
fn apart(catalogue: &Catalogue) -> Option<Notice> {
    let all: Vec<&str> = untimed(catalogue).map(ShotRecord::name).collect();
    (!all.is_empty()).then(|| {
        Notice::look(format!(
            "{} of the Sun without a usable time, not in the strip: {}; strip.toml lists them at its end, to be put where \
             they belong",
            frames(all.len()),
            names(all.into_iter())
        ))
    })
}

/// A length of time in words.
pub(super) fn span(s: f64) -> String {
    if s < 100.0 {
        format!("{s:.0} s")
    } else {
        format!("{:.1} min", s / 60.0)
    }
}
