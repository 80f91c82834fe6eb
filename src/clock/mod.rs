//! Solves each body's clock from its own pictures.
//!
//! The vector from the Sun's centre to the Moon's is a clock hand some two hours long: it moves by about half a second of
//! arc in a second. The fitted vectors of a body's partial frames, in solar radii, are held against the ephemeris:
//! 1. `search` tries every clock error that puts the frames into the eclipse, by the distance of the centres alone, which
//!    does not depend on how the camera was turned; wrong zones, dates and years come out here;
//! 2. `fit` refines the likely ones on the whole vectors, with the roll as an equatorial mount, a tripod or a hand
//!    keeps it (`mount`, `tracks`), mirrored or not, and keeps the likeliest;
//! 3. `kind` says what every other frame shows (corona, ring, a crescent alone, the whole Sun, daylight), `chance` how
//!    likely that look is at any time, `gps` what GPS times bound, `belief` what is believed of clocks beforehand;
//! 4. `combine` and `posterior` multiply all that over every error that is possible. Where two peaks are left both are told;
//! 5. a body that saw no disc is read off the darkening of its sky (`darkening`).
//!
//! Too little evidence leaves the camera at its word, and says so. Stamps without sub-seconds are cut, not rounded: they
//! stand for the middle of their second with a uniform error.

mod belief;
mod chance;
mod changed;
mod combine;
mod copies;
mod course;
mod curve;
mod darkening;
mod fit;
mod gps;
mod heard;
mod heights;
mod judge;
mod kind;
mod measured;
mod mount;
mod north;
mod outcome;
mod partials;
mod plot;
mod posterior;
mod search;
mod sides;
mod table;
mod tracks;
mod words;

pub use heard::{Heard, hear};
pub use judge::settle;
pub use north::Turn;
pub use plot::residual_plot;
pub use table::table;

use crate::catalogue::{ClockCurve, ClockPoint};
use crate::domain::{
    CameraStamp, ClockCorrection, ClockMistake, ClockOutcome, Contacts, DiscFit, FrameLook, Notice,
    Orientation, SunMoon, Utc, ZoneSource,
};

/// One frame's evidence.
#[derive(Clone, Debug, PartialEq)]
pub struct ClockFrame {
    /// Name of the file, for notices and points.
    pub file: String,
    /// The camera's stamp.
    pub stamp: Option<CameraStamp>,
    /// Exposure time in seconds, 0 when not known.
    pub shutter_s: f64,
    /// [`crate::domain::Exposure::stops`] of the frame.
    pub exposure_stops: Option<f64>,
    /// The same where the header has shutter, aperture and ISO, so that it tells how bright the scene was.
    pub scene_stops: Option<f64>,
    /// Time of the GPS fix in the header.
    pub gps_utc: Option<Utc>,
    /// How the header turns the stored picture upright.
    pub orientation: Orientation,
    /// Frames of one group share a scale: same body, focal length and size.
    pub scale_group: usize,
    /// Width and height of the upright picture in pixels, where known: the middle is taken for the lens's axis.
    pub size_px: Option<(u32, u32)>,
    /// The discs, where found, in upright axes.
    pub fit: Option<DiscFit>,
    /// The same with the mountains of the Moon's limb taken off the Moon's circle, where they are known.
    pub levelled: Option<DiscFit>,
    /// Height of the disc over its width that the fit took into account, so that the fitted radius is the airless one;
    /// `None` for plain circles, whose radius lies between the two.
    pub squeeze: Option<f64>,
    /// Plain measures, where the frame was decoded.
    pub look: Option<FrameLook>,
}

/// One body's frames and what its clock is believed to be before looking.
#[derive(Clone, Debug)]
pub struct ClockBody<'a> {
    /// Make and model; pictures that name no camera may be of a named one.
    pub name: Option<String>,
    /// All its frames, in any order.
    pub frames: &'a [ClockFrame],
    /// Zone as decided, error 0 or as given, and how far that is trusted (one sigma).
    pub prior: &'a ClockCorrection,
    /// Whether its upright pictures are mirror images, where that is given; `None` lets the pictures tell.
    pub mirrored: Option<bool>,
}

/// A body's clock and turn.
#[derive(Clone, Debug, PartialEq)]
pub struct ClockSolution {
    /// How the body's stamps become true time.
    pub clock: ClockCorrection,
    /// How it came about: its words are the line for the terminal.
    pub outcome: ClockOutcome,
    /// The whole error of the clock taken apart: of the solved clock against the zone it was first read in.
    pub mistake: ClockMistake,
    /// Evidence frame by frame, in time order.
    pub points: Vec<ClockPoint>,
    /// How each frame is turned, in the order of [`ClockBody::frames`]; `None` where that is not known.
    pub turns: Vec<Option<Turn>>,
    /// What is known of the whole error, for drawing; empty where nothing told.
    pub curve: ClockCurve,
    /// Frames, as in [`ClockBody::frames`], whose look contradicts the clock: their stamps are not to be believed.
    pub contradicted: Vec<usize>,
    /// What a person should know.
    pub notices: Vec<Notice>,
}

/// Fewest partial frames a clock is solved from.
pub const FEWEST_PARTIALS: usize = 3;

/// Solves one body's clock by itself: [`hear`] and [`settle`] in one.
///
/// Where the prior was given by the person it is kept, and only checked; the turns are solved all the same. Never fails:
/// without evidence the prior comes back, with a notice.
pub fn solve(
    body: &ClockBody<'_>,
    contacts: &Contacts,
    sky: &(dyn Fn(Utc) -> SunMoon + Sync),
) -> ClockSolution {
    settle(&[hear(body, contacts, sky)]).remove(0)
}

/// The frames with stamps as if all had been written in the prior's zone: where the zone comes from headers each stamp's
/// own counts.
fn in_one_zone(body: &ClockBody<'_>) -> Vec<ClockFrame> {
    let prior = body.prior;
    let by_header = prior.zone_source == ZoneSource::Header;
    let moved = |stamp: &CameraStamp| {
        let own = stamp.offset_s.filter(|_| by_header)?;
        let shift_s = i64::from(prior.zone_offset_s) - i64::from(own);
        let shift = jiff::SignedDuration::from_secs(shift_s);
        let time = stamp.time.civil().checked_add(shift).ok()?;
        Some(CameraStamp {
            time: crate::domain::CameraTime::new(time),
            ..*stamp
        })
    };
    let mut frames = body.frames.to_vec();
    for frame in &mut frames {
        if let Some(stamp) = frame.stamp.as_ref().and_then(moved) {
            frame.stamp = Some(stamp);
        }
        if !frame.shutter_s.is_finite() || frame.shutter_s < 0.0 {
            frame.shutter_s = 0.0;
        }
    }
    frames
}
