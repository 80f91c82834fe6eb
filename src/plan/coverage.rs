//! The card against the plan: partials due, features exposed for.

use super::bracket::LATITUDE_STOPS;
use super::exposure::FEATURES;
use super::times::partial_moments;
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{
    Contacts, Coverage, FeatureDue, Flag, Limb, LocalKind, PartialDue, Phase, Role, SunMoon, Utc,
};

/// Seconds a partial may be early or late and still count: half way to the next (common practice: a minute does no harm).
const PARTIAL_REACH_S: f64 = 150.0;

/// Flags of frames that count for a partial only where there is no better one.
const SPOILT: [Flag; 4] = [Flag::Cut, Flag::Clouded, Flag::Shaken, Flag::Soft];

/// Stops by which a filtered frame may be shorter than the shortest partial of its body.
const SHORTER_STOPS: f64 = 0.5;

/// Compares a card with what was due at its eclipse. Wide views and frames with nothing to see do not count.
///
/// Nothing is due without [`Catalogue::contacts`]: the answer is then empty.
pub fn coverage(catalogue: &Catalogue, sky: &dyn Fn(Utc) -> SunMoon) -> Coverage {
    let Some(contacts) = &catalogue.contacts else {
        return Coverage::default();
    };
    let useful: Vec<&ShotRecord> = catalogue
        .shots
        .iter()
        .filter(|s| shows_the_sun(s))
        .collect();
    Coverage {
        partials: partials_due(contacts, sky, &useful),
        features: if contacts.kind == LocalKind::Total {
            features_due(&useful)
        } else {
            Vec::new()
        },
    }
}

fn shows_the_sun(shot: &ShotRecord) -> bool {
    let spoilt = [Flag::Capped, Flag::OutOfFrame]
        .iter()
        .any(|f| shot.flags.has(*f));
    let lost = matches!(
        shot.phase,
        Phase::Untimed | Phase::Unrelated | Phase::Unreadable
    );
    !spoilt && !lost && shot.role != Some(Role::Wide)
}

/// Whether a frame's picture is not what was wanted.
fn spoilt(shot: &ShotRecord) -> bool {
    SPOILT.iter().any(|flag| shot.flags.has(*flag))
}

fn partials_due(
    contacts: &Contacts,
    sky: &dyn Fn(Utc) -> SunMoon,
    shots: &[&ShotRecord],
) -> Vec<PartialDue> {
    partial_moments(contacts, sky)
        .into_iter()
        .map(|moment| {
            let away_s = |shot: &ShotRecord| shot.utc.map(|t| t.seconds_since(moment.utc).abs());
            // A sound frame a little farther off is worth more than a spoilt one.
            let best = shots
                .iter()
                .filter_map(|shot| Some((spoilt(shot), away_s(shot)?, shot)))
                .filter(|(_, s, _)| *s <= PARTIAL_REACH_S)
                .min_by(|(a, s, _), (b, t, _)| a.cmp(b).then(s.total_cmp(t)));
            let file = best.map(|(.., shot)| shot.name().to_owned());
            PartialDue {
                utc: moment.utc,
                file,
            }
        })
        .collect()
}

fn features_due(shots: &[&ShotRecord]) -> Vec<FeatureDue> {
    let exponents: Vec<f64> = shots
        .iter()
        .filter(|shot| !still_filtered(shot, shots))
        .filter_map(|shot| bare_exponent(shot))
        .collect();
    FEATURES
        .iter()
        .map(|feature| {
            // More light than the feature wants means a smaller exponent, so the sign turns.
            let off = |q: &f64| feature.q - q;
            let near = exponents
                .iter()
                .filter(|q| off(q).abs() <= LATITUDE_STOPS)
                .count();
            FeatureDue {
                feature: feature.name.to_owned(),
                frames: u32::try_from(near).unwrap_or(u32::MAX),
                nearest_off_stops: exponents
                    .iter()
                    .map(off)
                    .min_by(|a, b| a.abs().total_cmp(&b.abs())),
                seen_in: None,
            }
        })
        .collect()
}

/// Whether a frame next to totality shows a clean crescent with settings of the partials: the filter was not off yet, or on
/// again.
fn still_filtered(shot: &ShotRecord, shots: &[&ShotRecord]) -> bool {
    let beside = matches!(shot.phase, Phase::SecondContact | Phase::ThirdContact);
    let crescent = shot.disc.is_some_and(|fit| fit.limb == Limb::Sun);
    let glare = shot.flags.has(Flag::Clipped) || shot.flags.has(Flag::Flare);
    if !beside || !crescent || glare {
        return false;
    }
    let partials = shots.iter().filter(|other| {
        matches!(other.phase, Phase::Ingress | Phase::Egress)
            && other.shot.camera == shot.shot.camera
    });
    let shortest = partials
        .filter_map(|other| exponent(other))
        .max_by(f64::total_cmp);
    exponent(shot)
        .zip(shortest)
        .is_some_and(|(q, partial)| q <= partial + SHORTER_STOPS)
}

/// Exponent a frame of the unfiltered Sun is exposed for; `None` for other phases, a filter left on, or a header without all
/// three settings.
fn bare_exponent(shot: &ShotRecord) -> Option<f64> {
    let bare = matches!(
        shot.phase,
        Phase::Totality | Phase::SecondContact | Phase::ThirdContact
    );
    exponent(shot).filter(|_| bare && !shot.flags.has(Flag::FilterOn))
}

/// `log2(N^2 / (ISO t))`; `None` of a header without all three settings.
fn exponent(shot: &ShotRecord) -> Option<f64> {
    let exposure = &shot.shot.exposure;
    let (t, n, iso) = (exposure.shutter_s?, exposure.f_number?, exposure.iso?);
    Some((n * n / (iso * t)).log2()).filter(|q| q.is_finite())
}
