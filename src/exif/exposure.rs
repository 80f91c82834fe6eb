//! How the light was let in.

use exif::Tag;

use super::tags::{Tags, tag};
use crate::domain::Exposure;

/// What a camera can do; values outside are taken as absent. All are generous; from memory of what is made.
pub mod limits {
    /// Exposure times in seconds.
    pub const SHUTTER_S: (f64, f64) = (1e-7, 86_400.0);
    /// f-numbers; zero is what bodies write for a lens or telescope they cannot ask.
    pub const F_NUMBER: (f64, f64) = (0.3, 1024.0);
    /// ISO speeds.
    pub const ISO: (f64, f64) = (0.5, 1e8);
    /// Exposure bias in stops, either way.
    pub const BIAS_EV: f64 = 20.0;
    /// Focal lengths in millimetres.
    pub const FOCAL_MM: (f64, f64) = (0.1, 100_000.0);
}

/// PhotographicSensitivity holds this where the speed does not fit its 16 bits (Exif 2.32, 4.6.5, tag 0x8827).
const ISO_BEYOND_16_BITS: f64 = 65_535.0;

/// The exposure settings of a header.
///
/// Shutter time and aperture come from ExposureTime and FNumber, else from the APEX values ShutterSpeedValue and
/// ApertureValue (t = 2^-Tv, N = 2^(Av/2); Exif 2.32, annex C).
pub(super) fn read(tags: &Tags) -> Exposure {
    let within = |tag, (least, greatest)| tags.number_in(tag, least..=greatest);
    let held = |value: f64, (least, greatest): (f64, f64)| {
        (least..=greatest).contains(&value).then_some(value)
    };
    Exposure {
        shutter_s: within(Tag::ExposureTime, limits::SHUTTER_S).or_else(|| {
            held(
                (-tags.number(Tag::ShutterSpeedValue)?).exp2(),
                limits::SHUTTER_S,
            )
        }),
        f_number: within(Tag::FNumber, limits::F_NUMBER).or_else(|| {
            let apex = tags.number(Tag::ApertureValue).filter(|av| *av != 0.0)?;
            held((apex / 2.0).exp2(), limits::F_NUMBER)
        }),
        iso: iso(tags),
        bias_ev: tags.number_in(Tag::ExposureBiasValue, -limits::BIAS_EV..=limits::BIAS_EV),
        auto_bracket: match tags.whole_number(Tag::ExposureMode) {
            Some(mode @ 0..=2) => Some(mode == 2),
            _ => None,
        },
        focal_mm: within(Tag::FocalLength, limits::FOCAL_MM),
        focal_35mm: within(Tag::FocalLengthIn35mmFilm, limits::FOCAL_MM),
    }
}

/// The ISO speed: PhotographicSensitivity, or where that is full or absent the tag SensitivityType names, or whichever
/// of ISOSpeed, RecommendedExposureIndex and StandardOutputSensitivity there is; Panasonic's own tag last.
fn iso(tags: &Tags) -> Option<f64> {
    let within = |tag| tags.number_in(tag, limits::ISO.0..=limits::ISO.1);
    let (standard, recommended, speed) = (
        Tag::StandardOutputSensitivity,
        Tag::RecommendedExposureIndex,
        Tag::ISOSpeed,
    );
    let short = within(Tag::PhotographicSensitivity);
    // Values of SensitivityType: Exif 2.32, tag 0x8830.
    let named = match tags.whole_number(Tag::SensitivityType) {
        Some(1 | 4) => Some(standard),
        Some(2 | 6) => Some(recommended),
        Some(3 | 5 | 7) => Some(speed),
        _ => None,
    };
    short
        .filter(|iso| *iso < ISO_BEYOND_16_BITS)
        .or_else(|| within(named?))
        .or_else(|| [speed, recommended, standard].into_iter().find_map(within))
        .or(short)
        .or_else(|| within(tag::PANASONIC_ISO))
}
