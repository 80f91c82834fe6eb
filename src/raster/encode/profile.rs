//! The colour profile written into every picture.

use std::io;
use std::sync::OnceLock;

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
    if let Some(profile) = PROFILE.get() {
        return Ok(profile);
    }
    let mut bytes = moxcms::ColorProfile::new_srgb()
        .encode()
        .map_err(|e| io::Error::other(format!("sRGB profile: {e:?}")))?;
    if let Some(date) = bytes.get_mut(DATE_BYTES) {
        date.copy_from_slice(&FIXED_DATE);
    }
    Ok(PROFILE.get_or_init(|| bytes))
}
