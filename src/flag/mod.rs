//! The flags that only the whole card can tell: cloud by the light it takes, covers and filters left on, Suns cut by something in front,
//! and which flags mean anything on a wide view.
//!
//! What one frame tells by itself is set where it is measured. Here a frame is held against the others of its body: against the light
//! they have for their exposure, against what the sky should show at its time. Where the card says too little a frame keeps the
//! flags it has.

mod cloud;
mod cover;
mod obstacle;
mod sky;
mod words;

use std::collections::BTreeMap;

use crate::catalogue::ShotRecord;
use crate::domain::{CameraId, Flag, Role};
pub use words::notices;

/// Flags that mean something on a wide view, which has neither a limb nor a disc to judge by.
const OF_WIDE: [Flag; 3] = [Flag::Capped, Flag::NoTime, Flag::IncompleteBurst];

/// Sets and takes away the flags that follow from the card as a whole. The order of `shots` does not matter.
pub fn across_card(shots: &mut [ShotRecord]) {
    for record in shots.iter_mut().filter(|s| s.role == Some(Role::Wide)) {
        record.flags = record
            .flags
            .iter()
            .filter(|flag| OF_WIDE.contains(flag))
            .collect();
    }
    for group in by_lens(shots).into_values() {
        let corona = cloud::in_totality(shots, &group);
        cover::told(shots, &group, corona);
        cloud::in_partials(shots, &group);
        obstacle::told(shots, &group);
    }
}

/// A body and its focal length in tenths of a millimetre: frames whose light compares.
type Lens = (Option<CameraId>, Option<i64>);

/// Indices of the frames of each long lens, in time order; those without a time are left out.
fn by_lens(shots: &[ShotRecord]) -> BTreeMap<Lens, Vec<usize>> {
    let mut groups: BTreeMap<Lens, Vec<usize>> = BTreeMap::new();
    for (i, record) in shots.iter().enumerate() {
        if record.role != Some(Role::Wide) && record.utc.is_some() {
            let focal = record.shot.exposure.focal_mm;
            let focal = focal.map(|mm| (10.0 * mm).round() as i64);
            let lens = (record.shot.camera.clone(), focal);
            groups.entry(lens).or_default().push(i);
        }
    }
    for group in groups.values_mut() {
        group.sort_by(|a, b| {
            let (a, b) = (&shots[*a], &shots[*b]);
            a.utc.cmp(&b.utc).then_with(|| a.name().cmp(b.name()))
        });
    }
    groups
}
