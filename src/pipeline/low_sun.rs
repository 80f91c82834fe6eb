//! What the air does to the corona of a low Sun: it dims the lower side and flattens all.

use super::scale::dimming_per_air_mass;
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::Notice;
use crate::merge::{self, Air, Flattened, Merged};

/// Sun's altitude below which the card's own filtered frames are asked for what an air mass dims: above, the field differs too
/// little for it to matter.
const ASKED_BELOW_DEG: f64 = 25.0;

/// The same where they do not tell: 0.2 magnitudes, clear air near sea level (common practice), as a natural logarithm.
const USUAL: f64 = 0.2 * 0.4 * std::f64::consts::LN_10;

/// Dimming of red and blue over that of green: between clean air, which takes twice as much of blue, and dust, which takes
/// alike of all (our choice).
const BY_COLOUR: [f64; 3] = [0.75, 1.0, 1.4];

/// Difference between two radii below the Sun and two above that is worth a word.
const WORTH_SAYING: f64 = 0.03;

/// Takes what the air dims across the field out of a merged corona; `record` is the frame whose lie the map has. Nothing is
/// done where north or the Sun's height is not known.
pub(super) fn clear_air(
    catalogue: &Catalogue,
    merged: &mut Merged,
    record: &ShotRecord,
    notices: &mut Vec<Notice>,
) {
    let (Some(sky), Some(north_deg)) = (record.predicted, merged.north_deg) else {
        return;
    };
    let low = sky.sun_alt_refracted_deg < ASKED_BELOW_DEG;
    let told = low
        .then(|| dimming_per_air_mass(catalogue, merged, record))
        .flatten();
    let green = told.map_or(USUAL, |(dimming, _)| dimming);
    let air = Air {
        sun_alt_deg: sky.sun_alt_refracted_deg,
        zenith_deg: sky.zenith_in_picture_deg(north_deg, merged.mirrored),
        pixel_deg: sky.sun_radius_arcsec / 3600.0 / merged.sun.radius_px,
        dimming: BY_COLOUR.map(|c| c * green),
    };
    let tilt = air.tilt(2.0, merged.sun.radius_px);
    merge::without_air(merged, &air);
    if tilt > WORTH_SAYING {
        let by = match told {
            Some((_, frames)) => format!("as {frames} filtered frames of the card tell"),
            None => "as clear air does, for the card's filtered frames do not tell".to_owned(),
        };
        notices.push(Notice::note(format!(
            "two radii below the Sun the air dimmed the corona by {:.0} % more than two above; taken out, {by}",
            100.0 * tilt / (1.0 + tilt),
        )));
    }
}

/// How the air flattens a frame, by where the Sun stood.
pub(super) fn flattened(record: &ShotRecord) -> Option<Flattened> {
    let sky = record.predicted?;
    Some(Flattened {
        zenith_deg: sky.zenith_in_picture_deg(record.north_deg?, record.mirrored.unwrap_or(false)),
        squeeze: sky.vertical_squeeze,
    })
}
