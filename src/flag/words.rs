//! What a person should know of frames as a group: one line for many.

use std::collections::BTreeMap;

use crate::catalogue::ShotRecord;
use crate::domain::{Flag, NoDisc, Notice, NoticeKind, Phase, Role};

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
    let clouded = shots
        .iter()
        .filter(long)
        .filter(|s| s.flags.has(Flag::Clouded));
    let files = names(clouded);
    (!files.is_empty()).then(|| Notice::look(NoticeKind::CloudInTotality { files, frames: all }))
}

fn untimed(shots: &[ShotRecord]) -> Option<Notice> {
    let files = names(
        shots
            .iter()
            .filter(|s| s.phase == Phase::Untimed && s.disc.is_some()),
    );
    (!files.is_empty()).then(|| Notice::note(NoticeKind::SunsUntimed { files }))
}

/// Frames of the long lens without a disc, by reason; a few are told one by one.
fn without_disc(shots: &[ShotRecord]) -> Vec<Notice> {
    let mut groups: BTreeMap<&str, Vec<(&ShotRecord, NoDisc)>> = BTreeMap::new();
    for record in shots {
        let due = record.role == Some(Role::Tele)
            && !matches!(record.phase, Phase::Unrelated | Phase::Unreadable);
        if let Some(why) = record.no_disc.filter(|_| due) {
            groups.entry(why.family()).or_default().push((record, why));
        }
    }
    let mut notices = Vec::new();
    for group in groups.into_values() {
        if group.len() < MANY {
            let each = group.into_iter();
            notices.extend(each.map(|(record, why)| {
                Notice::look(NoticeKind::NoDisc { why }).about(record.name())
            }));
        } else {
            notices.push(Notice::look(NoticeKind::NoDiscs {
                why: group[0].1,
                files: names(group.iter().map(|(record, _)| *record)),
            }));
        }
    }
    notices
}

fn names<'a>(shots: impl Iterator<Item = &'a ShotRecord>) -> Vec<String> {
    shots.map(|shot| shot.name().to_owned()).collect()
}
