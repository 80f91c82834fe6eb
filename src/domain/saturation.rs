//! From which light on a pixel says no more than "at least this bright", in the places that ask.
//!
//! Light is decoded, 0 to 1 of what the file can hold. Tone curves flatten towards their end and small pictures mix full pixels with others, so that
//! the levels differ with what a mistake costs: a fit bears to lose a sound pixel more than to believe a full one, a flag that a person
//! reads should be sure. All are our choice, on raws and on pictures of cameras.

/// Stored values from here on, of 255, are counted as full: the last step is left to rounding.
pub(crate) const FULL_CODE: usize = 254;

/// A pixel of a disc with more light than this in its brightest channel is full, for what a person is told of a disc and for what is
/// measured on its face.
pub(crate) const FULL_DISC: f64 = 0.97;

/// Pixels from here on are held to be no darker than this by the fits of discs, and no more.
pub(crate) const FULL_IN_FITS: f64 = 0.94;

/// A frame whose peak is from here on is full somewhere, for whether its brightness says anything of the light.
pub(crate) const FULL_PEAK: f64 = 0.95;

/// From here on a merge takes nothing from a pixel: what is lost here other exposures have. It is the light of 0.955 of the largest coded
/// value (IEC 61966-2-1); tone curves flatten below it.
pub(crate) const FULL_IN_MERGE: f32 = 0.902;

/// Pixels with more light than this say only how bright a Sun is at least that a corona is scaled by.
pub(crate) const FULL_IN_SCALING: f32 = 0.9;

/// A pixel of the strip with more light than this, resampled, is full.
pub(crate) const FULL_IN_STRIP: f32 = 0.995;

/// With a greater share of its lit part full a disc has no brightness to judge cloud or filters by.
pub(crate) const FULL_SHARE: f64 = 0.1;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_merge_stops_where_its_coded_value_says() {
        // IEC 61966-2-1, its curve above the linear part.
        let coded = 1.055 * f64::from(FULL_IN_MERGE).powf(1.0 / 2.4) - 0.055;
        assert!((coded - 0.955).abs() < 2e-3, "{coded}");
    }
}
