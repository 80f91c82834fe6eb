//! What a person should know of frames as a group: one line for many.

use std::collections::BTreeMap;

use crate::catalogue::ShotRecord;
use crate::domain::{Flag, Notice, Phase, Role};

/// Names told in one line before the rest is counted.
const NAMED: usize = 3;

/// From how many frames on the same trouble is told once for all of them.
const MANY: usize = 4;

/// Cloud in totality, Suns without a time, and frames without a disc though one was due.
pub fn notices(shots: &[ShotRecord]) -> Vec<Notice> {
    let mut notices = without_disc(shots);
    notices.extend(clouded_totality(shots));
    notices.extend(untimed(shots));
    notices
}

fn clouded_totality(shots: &[ShotRecord]) -> Option<Notice> {
    let long = |s: &&ShotRecord| s.phase == Phase::Totality && s.role != Some(Role::Wide);
    let all = shots.iter().filter(long).count();
    let clouded: Vec<&str> = shots
        .iter()
        .filter(long)
        .filter(|s| s.flags.has(Flag::Clouded))
        .map(ShotRecord::name)
        .collect();
    (!clouded.is_empty()).then(|| {
        Notice::look(format!(
            "cloud in totality: in {} of {all} frames the corona is short of its light: {}",
            clouded.len(),
            named(&clouded)
        ))
    })
}

fn untimed(shots: &[ShotRecord]) -> Option<Notice> {
    let all: Vec<&str> = shots
        .iter()
        .filter(|s| s.phase == Phase::Untimed && s.disc.is_some())
        .map(ShotRecord::name)
        .collect();
    (!all.is_empty()).then(|| {
        Notice::note(format!(
            "{} show the Sun but have no usable time, they are put apart as untimed: {}",
            frames(all.len()),
            named(&all)
        ))
    })
}

/// Frames of the long lens without a disc, by reason; a few are told one by one.
fn without_disc(shots: &[ShotRecord]) -> Vec<Notice> {
    let mut groups: BTreeMap<&str, Vec<(&str, &str)>> = BTreeMap::new();
    for record in shots {
        let due = record.role == Some(Role::Tele)
            && !matches!(record.phase, Phase::Unrelated | Phase::Unreadable);
        if let Some(reason) = record.no_disc.as_deref().filter(|_| due) {
            let group = groups.entry(without_numbers(reason)).or_default();
            group.push((record.name(), reason));
        }
    }
    let mut notices = Vec::new();
    for (reason, group) in groups {
        if group.len() < MANY {
            notices.extend(group.into_iter().map(|(name, reason)| {
                Notice::look(format!("no disc found ({reason}); kept, not centred")).about(name)
            }));
        } else {
            let names: Vec<&str> = group.iter().map(|(name, _)| *name).collect();
            notices.push(Notice::look(format!(
                "no disc found in {} ({reason}), they are kept, not centred: {}",
                frames(names.len()),
                named(&names)
            )));
        }
    }
    notices
}

/// A reason up to what differs from frame to frame.
fn without_numbers(reason: &str) -> &str {
    let head = reason.split(" (").next().unwrap_or(reason);
    head.split(':').next().unwrap_or(head).trim()
}

fn frames(count: usize) -> String {
    match count {
        1 => "1 frame".to_owned(),
        n => format!("{n} frames"),
    }
}

/// "a, b, c and 4 more".
fn named(names: &[&str]) -> String {
    let shown = names[..names.len().min(NAMED)].join(", ");
    match names.len().saturating_sub(NAMED) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}
