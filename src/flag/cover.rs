//! Covers and filters left on in totality.
//!
//! Both leave nothing but dark. A frame too short for the corona to show is dark by itself, unless others of its exposure show something.
//! All frames from the start of totality, to its end, or throughout: the filter came off late, went on early, or stayed on, also
//! for those among them that are too short to tell. A single frame in a bracket was covered; one taken by itself with the
//! dials of the partial phases had the filter put back on.

use std::collections::BTreeSet;

use crate::catalogue::ShotRecord;
use crate::domain::{Flag, Limb, Phase, upper_median};

/// Corona close to the limb, of saturation, from which on a frame that shows none was covered.
const DUE: f64 = 0.02;

/// A frame with less than this part of the brightest light that frames of the Moon's limb show for its exposure was covered, that light
/// being this much of saturation at least: prominences come and go within a factor of two.
const LESS: f64 = 0.25;
const SHOWN: f64 = 0.008;

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
    let shown = shown_stops(shots, &totality);
    let due = |i: &usize| {
        let stops = shots[*i].shot.exposure.stops();
        stops.is_none_or(|stops| (stops + corona).exp2() > DUE) || lacks(&shots[*i], shown)
    };
    let runs = filtered_runs(&totality, dark, due);
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
            (i, (due(&i) || runs.contains(&i)).then_some(mark))
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

/// The dark frames from the start of totality to the first that is not, and from the last that is not to its end; those too short to tell
/// neither make nor end a run, and belong to it where they lie in it.
fn filtered_runs(
    totality: &[usize],
    dark: impl Fn(&usize) -> bool,
    due: impl Fn(&usize) -> bool,
) -> BTreeSet<usize> {
    let run = |frames: &mut dyn Iterator<Item = usize>| {
        let run: Vec<usize> = frames.take_while(|i| dark(i)).collect();
        // What comes after the last that tells may have been free again.
        let tells = run.iter().rposition(&due);
        run[..tells.map_or(0, |last| last + 1)].to_vec()
    };
    let ahead = run(&mut totality.iter().copied());
    let behind = run(&mut totality.iter().rev().copied());
    ahead.into_iter().chain(behind).collect()
}

/// The least light that frames with the Moon's limb show at their brightest, at no exposure, in stops.
fn shown_stops(shots: &[ShotRecord], totality: &[usize]) -> Option<f64> {
    let light = |record: &ShotRecord| {
        let look = record
            .look
            .filter(|look| record.disc.is_some() && look.clipped == 0.0 && look.peak > SHOWN)?;
        Some(look.peak.log2() - record.shot.exposure.stops()?)
    };
    let lights = totality.iter().filter_map(|&i| light(&shots[i]));
    lights.min_by(f64::total_cmp)
}

/// Whether a frame is far darker than those of the Moon's limb are for its exposure.
fn lacks(record: &ShotRecord, shown: Option<f64>) -> bool {
    let known = shown.zip(record.shot.exposure.stops()).zip(record.look);
    known.is_some_and(|((shown, stops), look)| {
        let light = (shown + stops).exp2();
        light > SHOWN && look.peak < LESS * light
    })
}

/// The usual exposure of the filtered Suns of a lens, in stops.
fn partial_stops(shots: &[ShotRecord], group: &[usize]) -> Option<f64> {
    let filtered = |i: &&usize| {
        let record = &shots[**i];
        let partial = record.phase.is_filtered();
        partial && record.disc.is_some_and(|fit| fit.limb == Limb::Sun)
    };
    let stops = group
        .iter()
        .filter(filtered)
        .filter_map(|&i| shots[i].shot.exposure.stops());
    upper_median(&mut stops.collect::<Vec<f64>>())
}

fn alone_like_partials(record: &ShotRecord, usual: Option<f64>) -> bool {
    let stops = record.shot.exposure.stops();
    let like = stops
        .zip(usual)
        .is_some_and(|(stops, usual)| (stops - usual).abs() <= LIKE_PARTIALS);
    like && record.burst.is_none()
}
