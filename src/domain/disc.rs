//! What was found in a frame: the discs and the look of it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A circle in a picture.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Circle {
    /// Centre, x right.
    pub x_px: f64,
    /// Centre, y down.
    pub y_px: f64,
    /// Radius.
    pub radius_px: f64,
}

impl Circle {
    /// The same circle in a picture of a part of this one: its top left pixel's corner lies at `left` and `top` whole pixels
    /// here, and each of its pixels is `step` of these wide.
    pub fn in_part(self, (left, top): (usize, usize), step: f64) -> Self {
        Self {
            x_px: (self.x_px - left as f64 + 0.5) / step - 0.5,
            y_px: (self.y_px - top as f64 + 0.5) / step - 0.5,
            radius_px: self.radius_px / step,
        }
    }
}

/// Which limb a fit rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Limb {
    /// The Sun's bright limb: partial phases, annularity.
    Sun,
    /// The Moon's dark limb against the corona: totality.
    Moon,
}

/// The discs of one frame. A fit on the Moon's limb alone has no Sun until the computed offset is applied.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DiscFit {
    /// Which limb was fitted.
    pub limb: Limb,
    /// The Sun.
    pub sun: Option<Circle>,
    /// The Moon, where it could be fitted or computed.
    pub moon: Option<Circle>,
    /// One sigma of the Sun's centre (of the Moon's where the fit is on the Moon's limb), per axis, in pixels.
    pub sigma_px: f64,
    /// One sigma of the Moon's centre in pixels, where the Moon was fitted.
    pub moon_sigma_px: Option<f64>,
    /// How much of the fitted limb was seen, in degrees, 0 to 360.
    pub limb_arc_deg: f64,
    /// Root mean square of the limb residuals in pixels.
    pub residual_px: f64,
    /// Width of the blur at the limb as a Gaussian sigma in pixels, where it was fitted.
    pub blur_px: Option<f64>,
}

/// Plain measures of a frame, all on linear light with 1 at saturation.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FrameLook {
    /// Mean of the frame.
    pub mean: f64,
    /// Median of the frame: the sky, mostly.
    pub sky: f64,
    /// Level that all but 1 pixel in 10,000 stay below.
    pub peak: f64,
    /// Fraction of pixels at saturation.
    pub clipped: f64,
    /// Median level on the visible part of the solar disc, where there is one.
    pub disc_level: Option<f64>,
    /// Sharpness of the limb: gradient there over the disc's level, per pixel; higher is sharper.
    pub limb_sharpness: Option<f64>,
    /// How much one place of the Moon's limb outshines the rest, where that limb was fitted: light just inside the Moon at the
    /// brightest twenty-fourth of the limb, less its median around, over the median light just outside. Near nothing in
    /// totality; sunlight at one place floods over the limb.
    #[serde(default)]
    pub limb_glare: Option<f64>,
    /// Light on and around the fitted disc, where there is one.
    #[serde(default)]
    pub disc: Option<DiscLook>,
}

/// Light on and around a fitted disc: of the bare Sun where the fit is on the Sun's limb, of the corona close to the Moon where it is on
/// the Moon's.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct DiscLook {
    /// Median light of the lit part, 1 at saturation.
    pub level: f64,
    /// Share of the lit part at saturation, 0 to 1.
    pub saturated: f64,
    /// Share of the disc that is lit, of the ring about the Moon that is in the frame; 0 to 1.
    pub lit: f64,
    /// Root mean square of the light's unevenness over its level, limb darkening and a slope taken off; of the corona that of its
    /// logarithm around the limb. `None` where too little is seen.
    pub uneven: Option<f64>,
    /// Root mean square of the slope across the disc, over the level.
    pub tilt: Option<f64>,
    /// Light just off the limb over the level; of the corona the light of the sky.
    pub halo: f64,
    /// Scatter of that light around the limb, over the level.
    pub halo_uneven: f64,
    /// Sharpness of the limb.
    pub edge: Option<EdgeLook>,
}

/// How sharp a limb's edge is around the disc; widths are Gaussian sigmas.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct EdgeLook {
    /// Directions in which it stands free.
    pub directions: u32,
    /// Lower quartile of its width in pixels.
    pub quartile_px: f64,
    /// Median of its width in pixels.
    pub median_px: f64,
    /// Amplitude of its wave of two around the disc, as variance in square pixels: half of what a shake adds along its way.
    pub wave_px2: f64,
    /// One sigma of that amplitude.
    pub wave_sigma_px2: f64,
}
