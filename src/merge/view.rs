//! The corona as one would share it.

use super::Merged;
use crate::raster::LinearRgb;

/// How to show a merged corona.
#[derive(Clone, Debug, PartialEq)]
pub struct ViewOptions {
    /// How much of the fall of brightness is taken out, 0 (none) to 1 (all).
    pub flatten: f64,
}

impl Default for ViewOptions {
    fn default() -> Self {
        Self { flatten: 0.7 }
    }
}

/// A display picture in linear light, 0 to 1, to be coded as sRGB.
pub fn view(merged: &Merged, options: &ViewOptions) -> LinearRgb {
    let _ = options;
    let mut out = merged.radiance.clone();
    for v in out.data_mut() {
        *v = (1.0 + v.max(0.0) * 3e4).ln() / 12.0;
        *v = v.powf(2.2);
    }
    out
}
