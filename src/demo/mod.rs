//! Draws a synthetic card: an afternoon at a total eclipse with two cameras, and the truth about every frame.
//!
//! The card goes to `DIR/card`, the truth (times, phases, bursts, centres, radii, north, gains) to `DIR/truth`, where
//! nothing that reads the card can see it. Truth is independent of the rest of the program: places of Sun and Moon come
//! from a table made from JPL DE421 outside of it (`fixtures/scripts/make_demo_sky.py`), the Moon's mountains from a profile made
//! from NASA's height map outside of it (`fixtures/scripts/make_demo_limb.py`), and the drawing shares no code with what fits
//! discs, predicts the limb or merges brackets.
//!
//! Light is drawn in units of the mean solar disc and exposed through marked shutters whose true times are powers of
//! two, so brackets carry real high dynamic range. Same options, same bytes.

mod aim;
mod body;
mod card;
mod corona;
mod exposure;
mod film;
mod glare;
mod grain;
mod header;
mod limb;
mod moon;
mod scenario;
mod schedule;
mod sensor;
mod sky;
mod sun;
mod tele;
mod truth;
mod vicuna;
mod wide;

use std::path::{Path, PathBuf};

pub use aim::{Aim, Placement, View};
pub use body::Body;
pub use card::{CARD_FOLDER, DrawnFrame, TRUTH_FOLDER, draw_frame, draw_scenario};
pub use corona::{Corona, baumbach};
pub use exposure::Dials;
pub use limb::{LimbNow, LimbTable, LimbTableError};
pub use moon::Moon;
pub use scenario::{FILTER_STOPS, Fault, PlannedShot, Scenario, Subject};
pub use sensor::{Air, SATURATION_GAIN, TrueExposure, expose};
pub use sky::{Light, SkyInstant, SkyTable, SkyTableError, TrueContacts, parse_lights};
pub use sun::{Chromosphere, Photosphere};
pub use tele::{CORONA_COLOUR, Canvas, Heavens, bare_sun, filtered_sun, sky_light};
pub use truth::{CameraTruth, DemoTruth, FrameTruth};

use crate::catalogue::WriteError;
use crate::domain::Utc;

/// How to draw the built-in card.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DemoOptions {
    /// Pixels along the long side of every frame, 240 to 6,000; the short side is two thirds of it. At 1,620 the Sun's
    /// radius is 189 px.
    pub width_px: u32,
    /// Seed of every random choice.
    pub seed: u64,
    /// JPEG quality, 1 to 100.
    pub jpeg_quality: u8,
}

impl Default for DemoOptions {
    fn default() -> Self {
        Self {
            width_px: 1620,
            seed: 20_190_702,
            jpeg_quality: 93,
        }
    }
}

/// A card could not be drawn.
#[derive(Debug, thiserror::Error)]
pub enum DemoError {
    /// The folder holds files that no drawing made.
    #[error("{folder} already holds {file}, which no drawing made; name another folder for the demo", folder = .folder.display())]
    Foreign {
        /// The card or truth folder.
        folder: PathBuf,
        /// The first such file, below it.
        file: String,
    },
    /// A size out of range.
    #[error("a width of {0} px is outside {min} to {max} px", min = WIDTH_MIN_PX, max = WIDTH_MAX_PX)]
    Width(u32),
    /// The sky table is broken.
    #[error(transparent)]
    Sky(#[from] SkyTableError),
    /// The limb table is broken.
    #[error(transparent)]
    Limb(#[from] LimbTableError),
    /// A frame lies outside the sky table.
    #[error("the sky table does not reach {0}")]
    NoSky(Utc),
    /// A folder or an older drawing cannot be read or cleared.
    #[error("cannot read or clear {path}: {cause}", path = .path.display())]
    Read {
        /// The path.
        path: PathBuf,
        /// Why.
        #[source]
        cause: std::io::Error,
    },
    /// A file cannot be written.
    #[error(transparent)]
    Write(#[from] WriteError),
    /// A picture cannot be encoded.
    #[error("cannot encode {file}: {cause}")]
    Encode {
        /// Its path below the card.
        file: String,
        /// Why.
        #[source]
        cause: image::ImageError,
    },
    /// A header cannot be encoded.
    #[error("cannot write the header of {file}: {cause}")]
    Header {
        /// Its path below the card.
        file: String,
        /// Why.
        #[source]
        cause: ::exif::Error,
    },
}

const WIDTH_MIN_PX: u32 = 240;
const WIDTH_MAX_PX: u32 = 6_000;

/// Draws the built-in card into `dir/card` and its truth into `dir/truth`.
///
/// `progress` hears frames done and frames in all, from several threads. A card drawn there before is replaced.
///
/// # Errors
/// [`DemoError::Width`] for a size out of range, [`DemoError::Foreign`] when `dir/card` holds files that no drawing
/// made, others when something cannot be written.
pub fn draw_card(
    dir: &Path,
    options: &DemoOptions,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<DemoTruth, DemoError> {
    if !(WIDTH_MIN_PX..=WIDTH_MAX_PX).contains(&options.width_px) {
        return Err(DemoError::Width(options.width_px));
    }
    draw_scenario(dir, &Scenario::vicuna_2019(options)?, progress)
}
