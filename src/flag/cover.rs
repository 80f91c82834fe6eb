//! Covers and filters left on in totality.
//!
//! Both leave nothing but dark. A frame too short for the corona to show is dark by itself. All frames from the start of totality, to its
//! end, or throughout: the filter came off late, went on early, or stayed on. A single frame in a bracket was covered; one
//! taken by itself with the dials of the partial phases had the filter put back on.

use std::collections::BTreeSet;

use crate::catalogue::ShotRecord;
use crate::domain::{Flag, Limb, Phase};

/// Corona close to the limb, of saturation, from which on a frame that shows none was covered.
const DUE: f64 = 0.02;

/// Exposures within this many stops are those of the partial phases.
const LIKE_PARTIALS: f64 = 0.4;

/// Tells filter and cover apart in the totality of a lens whose corona has this light at no exposure, in stops.
pub(super) fn told(shots: &mut [ShotRecord], group: &[usize], corona: f64) {
    let totality: Vec<usize> = group
        .iter()
        .copied()
        .filter(|&i| shots[i].phase == Phase::Totality)
        .collect();
    let dark = |i: &usize| {
        let record = &shots[*i];
        let flagged = record.flags.has(Flag::Capped) || record.flags.has(Flag::FilterOn);
        record.disc.is_none() && flagged
    };
    let due = |i: &usize| {
        let stops = shots[*i].shot.exposure.stops();
        stops.is_none_or(|stops| (stops + corona).exp2() > DUE)
    };
    // Frames too short to tell neither make nor end a run.
    let telling: Vec<usize> = totality
        .iter()
        .copied()
        .filter(|i| due(i) || !dark(i))
        .collect();
    let ahead = telling.iter().take_while(|i| dark(i));
    let behind = telling.iter().rev().take_while(|i| dark(i));
    let runs: BTreeSet<usize> = ahead.chain(behind).copied().collect();
    let usual = partial_stops(shots, group);
    let marks: Vec<(usize, Option<Flag>)> = totality
        .iter()
        .filter(|i| dark(i))
        .map(|&i| {
            let filtered = runs.contains(&i) || alone_like_partials(&shots[i], usual);
            let mark = if filtered {
                Flag::FilterOn
            } else {
                Flag::Capped
            };
            (i, due(&i).then_some(mark))
        })
        .collect();
    for (i, mark) in marks {
        shots[i].flags.clear(Flag::Capped);
        shots[i].flags.clear(Flag::FilterOn);
        if let Some(mark) = mark {
            shots[i].flags.set(mark);
        }
    }
}

/// The usual exposure of the filtered Suns of a lens, in stops.
fn partial_stops(shots: &[ShotRecord], group: &[usize]) -> Option<f64> {
    let filtered = |i: &&usize| {
        let record = &shots[**i];
        let partial = matches!(
            record.phase,
            Phase::Before | Phase::Ingress | Phase::Egress | Phase::After
        );
        partial && record.disc.is_some_and(|fit| fit.limb == Limb::Sun)
    };
    let stops = group
        .iter()
        .filter(filtered)
        .filter_map(|&i| shots[i].shot.exposure.stops());
    super::middle(stops.collect())
}

fn alone_like_partials(record: &ShotRecord, usual: Option<f64>) -> bool {
    let stops = record.shot.exposure.stops();
    let like = stops
        .zip(usual)
        .is_some_and(|(stops, usual)| (stops - usual).abs() <= LIKE_PARTIALS);
    like && record.burst.is_none()
}
