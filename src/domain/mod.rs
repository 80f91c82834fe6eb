//! The words of the trade: shots, exposures, contacts, phases, bursts, discs, places, times and notices.
//!
//! Every other room speaks in these nouns. Units stand in the names (`_s` seconds, `_px` full-resolution pixels,
//! `_deg` degrees, `_arcsec` seconds of arc, `_m` metres, `_mm` millimetres). Three kinds of time never mix:
//! [`CameraTime`] is what a camera's clock showed, [`Utc`] is true time, [`Tt`] is the even time of the ephemerides.
//!
//! Pixel axes everywhere: after applying the EXIF orientation, x right, y down, (0, 0) the centre of the top-left
//! pixel, full-resolution pixels. Angles on the sky: position angle from celestial north through east.

mod aspect;
mod clock;
mod clock_outcome;
mod clock_words;
mod contact;
mod coverage;
mod dial;
mod disc;
mod estimate;
mod film;
mod least_squares;
mod limb_light;
mod mistake;
mod no_disc;
mod notice;
mod notice_kind;
mod notice_words;
mod outside;
mod practice;
mod safety;
pub(crate) mod saturation;
mod severity;
mod shot;
mod site;
mod statistics;
mod tag;
mod time;
mod trouble;
mod true_exposure;
mod zone;

pub use aspect::{MoonAspect, MoonLimb};
pub use clock::{ClockCorrection, ClockEvidence, TRUNCATION_SIGMA_S, ZoneSource};
pub use clock_outcome::{ClockOutcome, ClockSilence};
pub use clock_words::{
    error_text, evidence_text, offset_text, sigma_text, whole_error_text, zone_text,
};
pub use contact::{
    ContactEvent, ContactKind, Contacts, EclipseKind, LimbMargin, LocalKind, NearPath, SunMoon,
};
pub use coverage::{Coverage, FeatureDue, PartialDue};
pub use dial::{dial_mark, dial_mark_within};
pub use disc::{Circle, DiscFit, DiscLook, EdgeLook, FrameLook, Limb};
pub use estimate::Estimate;
pub use film::{Film, FilmContainer, FilmEvidence, FilmFile, FilmLack, FilmTime};
pub(crate) use least_squares::NormalEquations;
pub use limb_light::{LimbLight, clock_face};
pub use mistake::ClockMistake;
pub(crate) use mistake::{DAY_S, HALF_HOUR_ZONES_S, HOUR_S, QUARTER_HOUR_ZONES_S, ZONES_S};
pub use no_disc::NoDisc;
pub use notice::Notice;
pub use notice_kind::{FrameShows, NamedOffset, NoticeKind, SizedFrame, ZoneReading};
pub use notice_words::counted;
pub(crate) use outside::header_text;
pub use outside::{Shown, in_cell, in_line, in_lines, in_markup};
pub use practice::Practice;
pub use safety::safety_words;
pub use severity::Severity;
pub use shot::{
    CameraId, CameraStamp, CardFile, Exposure, FileFormat, GpsFix, Orientation, Role, Shot,
    path_text,
};
pub use site::{Site, SiteError, SiteSource};
pub(crate) use statistics::SIGMAS_PER_MAD;
pub use statistics::{Ranked, median, quantile, upper_median};
pub use tag::{APPROXIMATE_PX, Burst, BurstPlace, Flag, Flags, Phase, TaggedShot};
pub use time::{CameraTime, Tt, Utc};
pub use trouble::{IoCause, MetadataDamage, RawFault, RawUnknown, StrayKind, Unreadable};
pub use true_exposure::{true_shutter_s, true_stops};
pub use zone::{Zone, ZoneError};
