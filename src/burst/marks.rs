//! What bursts say about single shots: their places and flags.

use std::collections::BTreeMap;

use super::stream;
use crate::domain::{Burst, BurstPlace, Flag, Flags, Phase, TaggedShot};

/// The place of each shot in its burst, `None` outside. A raw beside its JPEG and a copy share the place of the picture
/// that is the member.
pub fn places(shots: &[TaggedShot], bursts: &[Burst]) -> Vec<Option<BurstPlace>> {
    let mut by_release = BTreeMap::new();
    for burst in bursts {
        for (index, &member) in (1..).zip(&burst.members) {
            let place = BurstPlace {
                id: burst.id,
                index,
            };
            by_release.insert(stream::release(&shots[member]), place);
        }
    }
    shots
        .iter()
        .map(|tagged| {
            tagged.shot.stamp?;
            by_release.get(&stream::release(tagged)).copied()
        })
        .collect()
}

/// The flags that follow from the bursts, one set per shot: `incomplete-burst` for shots of a burst with fewer frames than
/// its siblings.
///
/// Siblings are bursts of the same body that are also of the covered part (second contact to third) or also of the
/// rest; the size most of them have counts, the larger where two are as frequent.
pub fn flags(shots: &[TaggedShot], bursts: &[Burst]) -> Vec<Flags> {
    let usual = usual_sizes(shots, bursts);
    let short: Vec<bool> = bursts
        .iter()
        .map(|b| b.members.len() < usual[&family(shots, b)])
        .collect();
    let places = places(shots, bursts);
    let incomplete =
        |place: BurstPlace| short.get(place.id as usize - 1).is_some_and(|short| *short);
    places
        .into_iter()
        .map(|place| {
            let flag = place
                .is_some_and(incomplete)
                .then_some(Flag::IncompleteBurst);
            flag.into_iter().collect()
        })
        .collect()
}

/// Which bursts a burst is a sibling of.
fn family<'a>(
    shots: &'a [TaggedShot],
    burst: &Burst,
) -> (Option<&'a crate::domain::CameraId>, bool) {
    let first = &shots[burst.members[0]];
    let covered = matches!(
        first.phase,
        Phase::SecondContact | Phase::Totality | Phase::Annularity | Phase::ThirdContact
    );
    (first.shot.camera.as_ref(), covered)
}

/// The most frequent size in each family, the larger of two as frequent.
fn usual_sizes<'a>(
    shots: &'a [TaggedShot],
    bursts: &[Burst],
) -> BTreeMap<(Option<&'a crate::domain::CameraId>, bool), usize> {
    let mut counts: BTreeMap<_, BTreeMap<usize, usize>> = BTreeMap::new();
    for burst in bursts {
        *counts
            .entry(family(shots, burst))
            .or_default()
            .entry(burst.members.len())
            .or_default() += 1;
    }
    counts
        .into_iter()
        .filter_map(|(family, sizes)| {
            let (&size, _) = sizes.iter().max_by_key(|&(&size, &count)| (count, size))?;
            Some((family, size))
        })
        .collect()
}
