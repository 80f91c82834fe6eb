//! Merges brackets of totality into one radiance map, and maps that for display: two separate jobs.
//!
//! [`merge`] looks at every frame once, coarsely, and works out from that what each frame's exposure truly was, what
//! the camera's tone curve adds to the file's, and how far the corona lies from where the limb fit puts it. Then it
//! opens the frames again, one after another, and stacks them on the Sun's frame, weighted by how well each pixel was
//! exposed. The Moon moves against the corona, so its disc is stacked apart, on itself, and set in place once, where
//! it stood at one chosen instant.
//!
//! Axes: x right, y down, (0, 0) the centre of the top-left pixel.

mod air;
mod blur;
pub mod cameras;
mod canvas;
mod carried;
mod compose;
mod crop;
mod edge;
mod fine;
mod fourier;
mod hot;
mod job;
mod layer;
mod light;
mod limb;
mod log_corona;
mod look;
mod mask;
mod masked;
mod normalise;
mod photometry;
mod place;
mod placing;
mod profile;
mod register;
mod relief;
mod response;
mod rings;
mod rounding;
mod run;
mod scatter;
mod second_pass;
mod stack;
mod survey;
mod tile;
mod tint;
mod veil;
mod view;

pub use air::{Air, without_air};
pub use carried::NotCarried;
pub use crop::{part_within, shown_reach_radii};
pub use fine::{Fine, fine};
pub use layer::{layer, sky_level, solar_disc_factor, without_sky};
pub use limb::{earthshine, limb_light};
pub use normalise::{MgnOptions, mgn, nrgf};
pub use place::Flattened;
pub use response::Response;
pub use run::{Layers, merge};
pub use stack::LimbLight;
pub use view::{ViewOptions, view};

use crate::domain::{Circle, Exposure, Notice};
pub use crate::domain::{true_shutter_s, true_stops};
use crate::raster::LinearRgb;

/// One frame of totality and what is known about it.
#[derive(Clone, Debug, PartialEq)]
pub struct MergeInput {
    /// Name for notices, as in `shots.csv`.
    pub name: String,
    /// How the light was let in, as the header says.
    pub exposure: Exposure,
    /// The Moon's fitted limb, in the frame's pixels.
    pub moon: Circle,
    /// The Sun: the Moon's centre plus the computed offset, in the frame's pixels.
    pub sun: Circle,
    /// One sigma of the Sun's centre per axis in pixels; half a pixel is assumed where it is not a positive number.
    pub sun_sigma_px: f64,
    /// The same of the Moon's: smaller where the Moon's limb is sure and where the Sun lies behind it is not.
    pub moon_sigma_px: f64,
    /// Celestial north, anticlockwise from picture up, in degrees. Frames without it are taken to lie as the others.
    pub north_deg: Option<f64>,
    /// Whether east lies clockwise of north.
    pub mirrored: bool,
    /// How the air flattens the picture, where that is to be undone.
    pub flattened: Option<Flattened>,
}

/// How to merge.
#[derive(Clone, Debug, PartialEq)]
pub struct MergeOptions {
    /// Input at whose instant the Moon's disc is set in place; `None` takes the one in the middle of the Moon's way.
    pub instant: Option<usize>,
    /// Whether to refine the registration on the corona's structure.
    pub register: bool,
    /// Whether to refine exposures and leave out frames whose brightness disagrees.
    pub refine_exposures: bool,
    /// Whether to recover the tone curve from the brackets.
    pub recover_response: bool,
    /// Most pixels of the result; a larger canvas is cut about the Sun.
    pub max_pixels: usize,
}

impl Default for MergeOptions {
    fn default() -> Self {
        Self {
            instant: None,
            register: true,
            refine_exposures: true,
            recover_response: true,
            max_pixels: 50_000_000,
        }
    }
}

/// What became of one input.
#[derive(Clone, Debug, PartialEq)]
pub struct FrameReport {
    /// Name of the input.
    pub name: String,
    /// Why it was left out; `None` when it was used.
    pub left_out: Option<String>,
    /// Exposure in stops by the header, with the true values behind the marks; `None` without a shutter time.
    pub header_stops: Option<f64>,
    /// Exposure in stops as used, refined on the light the frames share.
    pub stops: f64,
    /// The Sun's centre used less the one given, in the frame's pixels, x right, y down.
    pub shift_px: [f64; 2],
    /// Where registration on the corona alone puts the Sun's centre, less the one given, in the frame's pixels;
    /// `None` when the corona shows too little or registration is off.
    pub corona_shift_px: Option<[f64; 2]>,
    /// One sigma of that per axis, in pixels.
    pub corona_sigma_px: Option<f64>,
    /// One sigma of the centre used per axis, in pixels.
    pub sigma_px: f64,
    /// Turn beyond what `north_deg` says, anticlockwise on the picture, in degrees.
    pub turn_deg: f64,
    /// Where the Sun was taken to be in the frame.
    pub sun: Circle,
    /// Where the Moon was taken to be in the frame.
    pub moon: Circle,
    /// Hot pixels mended.
    pub hot_pixels: usize,
}

/// A merged corona.
#[derive(Clone, Debug, PartialEq)]
pub struct Merged {
    /// Relative radiance: 1 saturates the shortest exposure used. No light reached pixels that are 0 in all channels.
    pub radiance: LinearRgb,
    /// The Sun on it.
    pub sun: Circle,
    /// The Moon on it, at the chosen instant.
    pub moon: Circle,
    /// Celestial north, anticlockwise from picture up, in degrees, where an input told.
    pub north_deg: Option<f64>,
    /// Whether east lies clockwise of north.
    pub mirrored: bool,
    /// Input at whose instant the Moon stands.
    pub instant: usize,
    /// Stops of the exposure that a radiance of 1 saturates: `log2(t · ISO/100 / N²)`.
    pub unit_stops: f64,
    /// The recovered tone curve beyond the file's.
    pub response: Response,
    /// Black level taken off, per channel, in decoded light.
    pub black: [f32; 3],
    /// The chromosphere and prominences around the whole limb: all that any frame saw outside its own Moon, from
    /// second contact to third, without the Moon set in place.
    pub limb: LimbLight,
    /// The light of all frames laid on the Moon where it stands on the map: its face lit by the Earth, and a narrow ring
    /// around it.
    pub moon_light: LimbLight,
    /// How far two halves of the frames agree on what is to be seen on the Moon's face: 1 wholly, 0 not at all; `None` where
    /// only one shows it.
    pub face_agreement: Option<f64>,
    /// One entry per input, in the order given.
    pub frames: Vec<FrameReport>,
    /// What a person should know.
    pub notices: Vec<Notice>,
    /// Width and height of the radiance map.
    pub(crate) size: [usize; 2],
    /// From the map to each input by the Sun; `None` where an input was not used.
    pub(crate) placements: Vec<Option<place::Placement>>,
    /// Places of the map outside the Moon where every frame is clipped: the light there is a lower bound.
    pub(crate) bounds: stack::Grid,
    /// Pixels of the sensor that shine by themselves.
    pub(crate) hot: hot::HotMap,
    /// What the frames do not share: noise of the map.
    pub(crate) scatter: scatter::Scatter,
    /// How finely the frames' files hold its light.
    pub(crate) rounding: rounding::Rounding,
}

/// The frames of one exposure averaged in register with the map, for blending by hand: the same size, the same Sun, the
/// Moon where it stands on the map, decoded light from 0 to 1 as the files have it, brightness untouched. 0 where no
/// frame reaches.
#[derive(Clone, Debug, PartialEq)]
pub struct ExposureLayer {
    /// The exposure they share.
    pub exposure: Exposure,
    /// The inputs averaged, in the order of their indices.
    pub frames: Vec<usize>,
    /// Its place among the layers, 1 for the shortest exposure.
    pub rank: usize,
    /// Values that one channel of a frame's file can have: 256 or 65,536.
    pub steps: usize,
    /// Their light.
    pub light: LinearRgb,
}

/// No merge came about.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
pub enum MergeError {
    /// There is nothing to merge.
    #[error(
        "no frame of totality with a fitted Moon to merge; try: check that the filter was off, and `shots.csv` for the phase and disc of each frame"
    )]
    NoTotality,
    /// No frame could be opened.
    #[error("none of the {tried} frames of totality could be opened; the first: {first}")]
    Unreadable {
        /// Frames tried.
        tried: usize,
        /// What the first one's trouble was.
        first: String,
    },
    /// Every frame has unusable circles.
    #[error(
        "none of the {0} frames of totality has a usable Sun and Moon (finite centre, radius of at least {MIN_RADIUS_PX} pixels)"
    )]
    NoDiscs(usize),
}

/// Smallest lunar radius that is merged, in pixels.
pub const MIN_RADIUS_PX: f64 = 8.0;
