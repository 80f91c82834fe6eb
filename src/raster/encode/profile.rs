//! The colour profile written into every picture.

use std::io;
use std::sync::OnceLock;

use moxcms::{LocalizableString, Matrix3d, ProfileText, ToneReprCurve, Xyzd};

/// Bytes of an ICC header that hold the date of creation (ICC.1:2022, table 17).
const DATE_BYTES: std::ops::Range<usize> = 24..36;

/// 2000-01-01 00:00:00 as six big-endian 16-bit numbers: a fixed date, so that files do not depend on the day.
const FIXED_DATE: [u8; 12] = [0x07, 0xD0, 0, 1, 0, 1, 0, 0, 0, 0, 0, 0];

/// An ICC profile of sRGB (IEC 61966-2-1), the same bytes every time.
///
/// # Errors
/// When the profile library cannot write it.
pub fn srgb_profile() -> io::Result<&'static [u8]> {
    static PROFILE: OnceLock<Vec<u8>> = OnceLock::new();
    kept(&PROFILE, || srgb_colours("sRGB IEC61966-2.1"))
}

/// Bradford adaptation from the white of sRGB, D65, to that of the connection space, D50 (ICC.1:2022, annex E; the values of the
/// ICC's own sRGB profiles). `chad` holds it, so that the white of the screen can be told from the profile.
const D65_TO_D50: Matrix3d = Matrix3d {
    v: [
        [1.047_882, 0.022_919, -0.050_217],
        [0.029_587, 0.990_479, -0.017_059],
        [-0.009_232, 0.015_076, 0.751_678],
    ],
};

/// The white of the medium in a profile for screens is that of the connection space (ICC.1:2022, 9.2.36).
const MEDIA_WHITE: Xyzd = Xyzd {
    x: 0.9642,
    y: 1.0,
    z: 0.8249,
};

/// The colours and curves of sRGB under a name.
fn srgb_colours(name: &str) -> moxcms::ColorProfile {
    let mut profile = moxcms::ColorProfile::new_srgb();
    profile.chromatic_adaptation = Some(D65_TO_D50);
    profile.media_white_point = Some(MEDIA_WHITE);
    // The tag of coded video says nothing that colorants and curves do not.
    profile.cicp = None;
    let [language, country, name] = ["en", "US", name].map(str::to_owned);
    profile.description = Some(ProfileText::Localizable(vec![LocalizableString::new(
        language, country, name,
    )]));
    profile
}

/// An ICC profile of linear light with the primaries of sRGB, the same bytes every time.
///
/// # Errors
/// When the profile library cannot write it.
pub(super) fn linear_profile() -> io::Result<&'static [u8]> {
    static PROFILE: OnceLock<Vec<u8>> = OnceLock::new();
    kept(&PROFILE, || {
        // An empty table is the identity (ICC.1:2022, 10.6).
        let straight = || Some(ToneReprCurve::Lut(Vec::new()));
        let mut profile = srgb_colours("Linear light, sRGB primaries");
        profile.red_trc = straight();
        profile.green_trc = straight();
        profile.blue_trc = straight();
        profile
    })
}

/// The profile's bytes, written the first time they are asked for.
fn kept(
    place: &'static OnceLock<Vec<u8>>,
    profile: impl Fn() -> moxcms::ColorProfile,
) -> io::Result<&'static [u8]> {
    if let Some(bytes) = place.get() {
        return Ok(bytes);
    }
    let mut bytes = profile()
        .encode()
        .map_err(|e| io::Error::other(format!("colour profile: {e:?}")))?;
    if let Some(date) = bytes.get_mut(DATE_BYTES) {
        date.copy_from_slice(&FIXED_DATE);
    }
    let bytes =
        to_the_letter(&bytes).ok_or_else(|| io::Error::other("colour profile: cut short"))?;
    Ok(place.get_or_init(|| bytes))
}

/// Bytes of an ICC header that hold the illuminant of the connection space (ICC.1:2022, 7.2.16).
const ILLUMINANT_BYTES: std::ops::Range<usize> = 68..80;

/// That illuminant, D50, as three 16.16 fixed-point numbers: 0.9642, 1, 0.8249.
const D50: [u8; 12] = [0, 0, 0xF6, 0xD6, 0, 1, 0, 0, 0, 0, 0xD3, 0x2D];

/// Bytes of the header; the number of tags follows, then one entry of twelve bytes a tag.
const HEADER_BYTES: usize = 128;

/// The same profile with the illuminant in its header and every tag on a four-byte boundary, as ICC.1:2022 (7.2.16 and
/// 7.3.1) asks and strict readers check. `None` when the tag table reaches beyond the end.
fn to_the_letter(profile: &[u8]) -> Option<Vec<u8>> {
    let number = |at: usize| {
        let bytes = profile.get(at..at + 4)?;
        Some(u32::from_be_bytes(bytes.try_into().ok()?) as usize)
    };
    let count = number(HEADER_BYTES)?;
    let table_end = HEADER_BYTES + 4 + 12 * count;
    let mut out = profile.get(..table_end)?.to_vec();
    let mut placed: Vec<((usize, usize), usize)> = Vec::new();
    for tag in 0..count {
        let entry = HEADER_BYTES + 4 + 12 * tag;
        let source = (number(entry + 4)?, number(entry + 8)?);
        let at = match placed.iter().find(|(other, _)| *other == source) {
            Some((_, at)) => *at,
            None => {
                out.resize(out.len().next_multiple_of(4), 0);
                let at = out.len();
                out.extend_from_slice(profile.get(source.0..source.0 + source.1)?);
                placed.push((source, at));
                at
            }
        };
        out[entry + 4..entry + 8].copy_from_slice(&u32::try_from(at).ok()?.to_be_bytes());
    }
    out.resize(out.len().next_multiple_of(4), 0);
    let size = u32::try_from(out.len()).ok()?;
    out[..4].copy_from_slice(&size.to_be_bytes());
    out[ILLUMINANT_BYTES].copy_from_slice(&D50);
    Some(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn profiles_keep_to_the_letter_and_are_read_back() {
        for profile in [srgb_profile(), linear_profile()] {
            to_the_letter_and_back(profile.unwrap());
        }
        let linear = moxcms::ColorProfile::new_from_slice(linear_profile().unwrap()).unwrap();
        assert_eq!(linear.green_trc, Some(ToneReprCurve::Lut(Vec::new())));
    }

    /// What lcms 2.19 writes into its own profile of sRGB (`fixtures/scripts/read_profile_values.py`), to three in ten
    /// thousand: it takes D65 from its correlated temperature, 6504 K, where sRGB says x 0.3127, y 0.3290.
    #[test]
    fn white_and_adaptation_are_those_of_lcms() {
        let stored = include_str!("../../../fixtures/raster/lcms_srgb.csv");
        for profile in [srgb_profile().unwrap(), linear_profile().unwrap()] {
            for row in stored.lines().filter(|line| !line.starts_with('#')) {
                let mut cells = row.split(',');
                let tag = cells.next().unwrap();
                let due: Vec<f64> = cells.map(|cell| cell.parse().unwrap()).collect();
                let found = fixed_numbers(profile, tag.as_bytes());
                assert_eq!(found.len(), due.len(), "{tag}");
                for (found, due) in found.iter().zip(due) {
                    assert!((found - due).abs() < 3e-4, "{tag}: {found} for {due}");
                }
            }
        }
    }

    /// The s15Fixed16 numbers of a tag (ICC.1:2022, 4.6), behind its eight bytes of type.
    fn fixed_numbers(profile: &[u8], tag: &[u8]) -> Vec<f64> {
        let number = |at: usize| i32::from_be_bytes(profile[at..at + 4].try_into().unwrap());
        let entries = (0..number(HEADER_BYTES) as usize).map(|n| HEADER_BYTES + 4 + 12 * n);
        let entry = entries.clone().find(|at| &profile[*at..at + 4] == tag);
        let entry = entry.unwrap();
        let (start, size) = (number(entry + 4) as usize, number(entry + 8) as usize);
        (start + 8..start + size)
            .step_by(4)
            .map(|at| f64::from(number(at)) / 65_536.0)
            .collect()
    }

    fn to_the_letter_and_back(profile: &[u8]) {
        assert_eq!(profile.len() % 4, 0);
        assert_eq!(profile[..4], (profile.len() as u32).to_be_bytes());
        assert_eq!(profile[ILLUMINANT_BYTES], D50);
        let number = |at: usize| u32::from_be_bytes(profile[at..at + 4].try_into().unwrap());
        for tag in 0..number(HEADER_BYTES) as usize {
            assert_eq!(number(HEADER_BYTES + 4 + 12 * tag + 4) % 4, 0);
        }
        let read = moxcms::ColorProfile::new_from_slice(profile).unwrap();
        assert_eq!(read.color_space, moxcms::DataColorSpace::Rgb);
    }
}
