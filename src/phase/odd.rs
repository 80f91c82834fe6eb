//! Zone tags that cannot be: one file of a body says another zone than its neighbours, and its clock did not jump.

use std::collections::BTreeMap;

use crate::domain::{Shot, Utc};

/// Shots this near together by the clock's reading, in seconds, are of one shoot: nobody crosses a zone for one picture.
const SAME_SHOOT_S: f64 = 3.0 * 3600.0;

/// The shots of one body, as places in `shots`, whose zone tag is not to be believed. `shots` are in shooting order, as far as
/// names tell.
///
/// A telephone that crosses a zone moves its clock and says so from there on; a tag that stands alone, or against the order of
/// the shots about it while the clock's reading does not, is somebody else's mistake. The usual zone of the body is never
/// doubted.
pub fn odd(shots: &[&Shot]) -> Vec<usize> {
    let tagged: Vec<(usize, Utc, i32)> = shots
        .iter()
        .enumerate()
        .filter_map(|(n, shot)| {
            let stamp = shot.stamp.as_ref()?;
            Some((n, stamp.time.read_as_utc(), stamp.offset_s?))
        })
        .collect();
    let Some(usual_s) = usual(&tagged) else {
        return Vec::new();
    };
    let is_odd = |place: &usize| {
        let (_, read, offset_s) = tagged[*place];
        let before = tagged[..*place].iter().rev().find(|t| t.2 == usual_s);
        let after = tagged[place + 1..].iter().find(|t| t.2 == usual_s);
        let alone = |step: isize| {
            let beside = place.checked_add_signed(step).and_then(|p| tagged.get(p));
            beside.is_none_or(|t| t.2 != offset_s)
        };
        let in_order = |own_s: f64, other: &dyn Fn(&(usize, Utc, i32)) -> f64| {
            before.is_none_or(|t| other(t) <= own_s) && after.is_none_or(|t| own_s <= other(t))
        };
        let by_clock = in_order(read.unix_s(), &|t| t.1.unix_s());
        let by_tag = in_order(read.unix_s() - f64::from(offset_s), &|t| {
            t.1.unix_s() - f64::from(t.2)
        });
        let near = [before, after].into_iter().flatten();
        let same_shoot = near
            .into_iter()
            .any(|t| t.1.seconds_since(read).abs() <= SAME_SHOOT_S);
        let lonely = alone(-1) && alone(1) && same_shoot;
        offset_s != usual_s && (lonely || by_clock && !by_tag)
    };
    (0..tagged.len())
        .filter(is_odd)
        .map(|p| tagged[p].0)
        .collect()
}

/// The offset most tags have, where that is more than all others together.
fn usual(tagged: &[(usize, Utc, i32)]) -> Option<i32> {
    let mut votes: BTreeMap<i32, usize> = BTreeMap::new();
    for (_, _, offset_s) in tagged {
        *votes.entry(*offset_s).or_default() += 1;
    }
    let (offset_s, count) = votes.into_iter().max_by_key(|(_, count)| *count)?;
    (2 * count > tagged.len()).then_some(offset_s)
}
