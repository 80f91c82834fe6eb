//! The colour profile written into every picture.

use std::io;
use std::sync::OnceLock;

use moxcms::{LocalizableString, ProfileText, ToneReprCurve};

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
    kept(&PROFILE, moxcms::ColorProfile::new_srgb)
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
        let words = ["en", "US", "Linear light, sRGB primaries"].map(str::to_owned);
        let [language, country, name] = words;
        let mut profile = moxcms::ColorProfile::new_srgb();
        profile.red_trc = straight();
        profile.green_trc = straight();
        profile.blue_trc = straight();
        profile.cicp = None;
        profile.description = Some(ProfileText::Localizable(vec![LocalizableString::new(
            language, country, name,
        )]));
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
