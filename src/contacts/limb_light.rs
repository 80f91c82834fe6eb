//! Where the diamond stands, or the ring closes and breaks.

use super::beads::{Beads, LitInstant, beads};
use crate::domain::{ContactEvent, ContactKind, Contacts, LimbLight, LocalKind, MoonLimb};
use crate::ephemeris::EclipseView;

/// Seconds from the contact at which what is lit is told: where the diamond is read off too.
const TOLD_S: f64 = 1.0;

/// The place of the last light at second contact and of the first at third, on the real limb; empty on the mean one and where there
/// is no central phase.
///
/// For a total eclipse it is where most of the bare Sun is a second from the contact, as `beads` has it; for an annular one where the
/// ring closes or breaks.
pub fn limb_lights(view: &EclipseView, contacts: &Contacts) -> Vec<LimbLight> {
    if contacts.limb == MoonLimb::Mean {
        return Vec::new();
    }
    if contacts.kind == LocalKind::Total {
        let events = [contacts.c2, contacts.c3].into_iter().flatten();
        let all = beads(view, contacts);
        return all
            .iter()
            .zip(events)
            .map(|(b, e)| diamond(b, &e))
            .collect();
    }
    let events = [contacts.c2, contacts.c3].into_iter().flatten();
    events.map(|event| ring(&event)).collect()
}

fn diamond(beads: &Beads, event: &ContactEvent) -> LimbLight {
    let outwards_s = if beads.contact == ContactKind::C2 {
        -TOLD_S
    } else {
        TOLD_S
    };
    let off_s = |instant: &LitInstant| (instant.from_contact_s - outwards_s).abs();
    let nearest = beads
        .instants
        .iter()
        .min_by(|a, b| off_s(a).total_cmp(&off_s(b)));
    LimbLight {
        contact: event.kind,
        position_angle_deg: beads.diamond_deg,
        vertex_angle_deg: (beads.diamond_deg - beads.parallactic_deg).rem_euclid(360.0),
        lit_deg: nearest.map_or_else(Vec::new, |instant| {
            instant.lit.iter().map(|s| (s.from_deg, s.to_deg)).collect()
        }),
        sky: event.sky,
    }
}

fn ring(event: &ContactEvent) -> LimbLight {
    LimbLight {
        contact: event.kind,
        position_angle_deg: event.position_angle_deg,
        vertex_angle_deg: event.vertex_angle_deg,
        lit_deg: Vec::new(),
        sky: event.sky,
    }
}
