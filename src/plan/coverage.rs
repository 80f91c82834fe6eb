//! The card against the plan: partials due, features exposed for.

use super::bracket::LATITUDE_STOPS;
use super::exposure::FEATURES;
use super::times::partial_moments;
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{
    Contacts, Coverage, FeatureDue, Flag, LocalKind, PartialDue, Phase, Role, SunMoon, Utc,
};

/// Seconds a partial may be early or late and still count: half way to the next (common practice: a minute does no harm).
const PARTIAL_REACH_S: f64 = 150.0;

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
    let lost = matches!(shot.phase, Phase::Unrelated | Phase::Unreadable);
    !spoilt && !lost && shot.role != Some(Role::Wide)
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
            let nearest = shots
                .iter()
                .filter_map(|shot| Some((away_s(shot)?, shot)))
                .min_by(|(a, _), (b, _)| a.total_cmp(b));
            let file = nearest
                .filter(|(s, _)| *s <= PARTIAL_REACH_S)
                .map(|(_, shot)| shot.name().to_owned());
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
            }
        })
        .collect()
}

/// Exponent a frame of the unfiltered Sun is exposed for: `log2(N^2 / (ISO t))`. `None` for other phases, a filter left
/// on, or a header without all three settings.
fn bare_exponent(shot: &ShotRecord) -> Option<f64> {
    let bare = matches!(
        shot.phase,
        Phase::Totality | Phase::SecondContact | Phase::ThirdContact
    );
    let exposure = &shot.shot.exposure;
    let (t, n, iso) = (exposure.shutter_s?, exposure.f_number?, exposure.iso?);
    let q = (n * n / (iso * t)).log2();
    (bare && !shot.flags.has(Flag::FilterOn) && q.is_finite()).then_some(q)
}
