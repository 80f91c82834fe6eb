//! Solves each body's clock from its own pictures.
//!
//! The vector from the Sun's centre to the Moon's is a clock hand some two hours long: it moves by about half a second of
//! arc in a second. The fitted vectors of a body's partial frames, in solar radii, are held against the ephemeris:
//! 1. `search` tries every clock error that puts the frames into the eclipse, by the distance of the centres alone, which
//!    does not depend on how the camera was turned; wrong zones, dates and years come out here;
//! 2. `fit` refines the likely ones on the whole vectors, with the roll as an equatorial mount, a tripod or a hand
//!    keeps it (`mount`, `tracks`), mirrored or not, and keeps the likeliest;
//! 3. `covered` adds what frames around second and third contact say: covered or not;
//! 4. a body that saw no disc is read off the darkening of its sky (`darkening`).
//!
//! Too little evidence leaves the camera at its word, and says so. Stamps without sub-seconds are cut, not rounded: they
//! stand for the middle of their second with a uniform error.

mod combine;
mod course;
mod covered;
mod darkening;
mod fit;
mod measured;
mod mistake;
mod mount;
mod north;
mod partials;
mod plot;
mod search;
mod table;
mod tracks;
mod words;

pub use mistake::Mistake;
pub use north::Turn;
pub use plot::residual_plot;
pub use table::table;

use combine::Instant;
use course::Course;
use partials::Partials;

use crate::catalogue::ClockPoint;
use crate::domain::{
    CameraStamp, ClockCorrection, ClockEvidence, Contacts, DiscFit, FrameLook, Notice, Orientation,
    SunMoon, Utc, ZoneSource,
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
    /// How the header turns the stored picture upright.
    pub orientation: Orientation,
    /// Frames of one group share a scale: same body, focal length and size.
    pub scale_group: usize,
    /// Width and height of the upright picture in pixels, where known: the middle is taken for the lens's axis.
    pub size_px: Option<(u32, u32)>,
    /// The discs, where found, in upright axes.
    pub fit: Option<DiscFit>,
    /// Height of the disc over its width that the fit took into account, so that the fitted radius is the airless one;
    /// `None` for plain circles, whose radius lies between the two.
    pub squeeze: Option<f64>,
    /// Plain measures, where the frame was decoded.
    pub look: Option<FrameLook>,
}

/// One body's frames and what its clock is believed to be before looking.
#[derive(Clone, Copy, Debug)]
pub struct ClockBody<'a> {
    /// Name for notices.
    pub name: &'a str,
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
    /// One sentence for the terminal, without the body's name.
    pub summary: String,
    /// The whole error of the clock taken apart: of the solved clock against the zone it was first read in.
    pub mistake: Mistake,
    /// Evidence frame by frame, in time order.
    pub points: Vec<ClockPoint>,
    /// How each frame is turned, in the order of [`ClockBody::frames`]; `None` where that is not known.
    pub turns: Vec<Option<Turn>>,
    /// What a person should know.
    pub notices: Vec<Notice>,
}

/// Fewest partial frames a clock is solved from.
pub const FEWEST_PARTIALS: usize = 3;

/// Least one sigma of a solved clock in seconds: what the prediction itself may be off by.
const LEAST_SIGMA_S: f64 = 0.05;

/// One sigma, in seconds of arc, of how far the middle of the limb that is seen stands along the Moon's way from where it is
/// computed, the same in all frames: mountains, and a centre of figure that is not the centre of mass. Bulletins shift the
/// Moon by 0.50 in longitude for it (F. Espenak, J. Anderson, NASA eclipse bulletins; value from memory, the sigma is our choice).
const LIMB_SIGMA_ARCSEC: f64 = 0.4;

/// One sigma in seconds of a clock that could not be solved although its pictures should have told (our choice).
const DOUBTED_SIGMA_S: f64 = 60.0;

/// Solves one body's clock.
///
/// `sky` gives Sun and Moon at the site of `contacts` for any instant within an hour of C1 to C4. Where the prior was
/// given by the person it is kept, and only checked; the turns are solved all the same. Never fails: without evidence the
/// prior comes back, with a notice.
pub fn solve(
    body: &ClockBody<'_>,
    contacts: &Contacts,
    sky: &(dyn Fn(Utc) -> SunMoon + Sync),
) -> ClockSolution {
    let course = Course::new(contacts, sky);
    let frames = in_one_zone(body);
    let radii = measured::shared_radii(&frames);
    let tracks = tracks::tracks(&frames, &radii, &course);
    let vectors = measured::vectors(&frames, &radii, &tracks.stretch_of(), &course);
    let covered = covered::likelihood(&frames, contacts, &course);
    let zone_s = body.prior.zone_offset_s;
    let cost = |tau_s: f64, sigma_s: f64| {
        let dark = covered.as_ref().map_or(0.0, |l| l.cost(tau_s, sigma_s));
        mistake::belief_cost(tau_s - f64::from(zone_s), zone_s) + dark
    };
    let beside = partials::Beside {
        word_s: f64::from(zone_s) + body.prior.error_s,
        cost: &cost,
        mirrored: body.mirrored.map(|given| given != north::flips(&frames)),
    };
    let partials = partials::solve(&vectors, &tracks, &course, &beside);
    let mut notices = partials.notices(body.name, &frames);
    let instant = combine::instant(
        &partials,
        covered.as_ref(),
        body.prior,
        &mut notices,
        body.name,
    )
    .or_else(|| combine::by_the_sky(&frames, &course, body.prior));
    let instant = instant.map(|found| Instant {
        sigma_s: found
            .sigma_s
            .hypot(LIMB_SIGMA_ARCSEC / speed(contacts, sky)),
        ..found
    });
    let whole = judged(body, instant.as_ref(), &partials, &mut notices);
    let turns = if partials.solved.is_some() {
        north::turns(&frames, &partials, &tracks, &course)
    } else {
        let clock = &whole.clock;
        let tau_s = f64::from(clock.zone_offset_s) + clock.error_s;
        let mirrored = beside.mirrored.unwrap_or(false);
        north::turns_by_drift(&frames, &tracks, &course, (tau_s, clock.sigma_s), mirrored)
    };
    ClockSolution {
        points: points(&frames, &partials, &course, &whole),
        summary: words::summary(&whole),
        mistake: whole.mistake,
        clock: whole.clock,
        turns,
        notices,
    }
}

/// How fast the Moon moves across the Sun at maximum, in seconds of arc per second.
fn speed(contacts: &Contacts, sky: &dyn Fn(Utc) -> SunMoon) -> f64 {
    const APART_S: f64 = 60.0;
    let at = |away_s: f64| {
        let sky = sky(contacts.maximum.utc.plus_s(away_s));
        (sky.moon_east_arcsec, sky.moon_north_arcsec)
    };
    let (before, after) = (at(-0.5 * APART_S), at(0.5 * APART_S));
    let moved = (after.0 - before.0).hypot(after.1 - before.1);
    (moved / APART_S).max(0.05)
}

/// The clock that came out, taken apart.
struct Judged {
    clock: ClockCorrection,
    mistake: Mistake,
    solved: bool,
}

/// Turns a solved instant into a correction, or keeps the prior and says why.
fn judged(
    body: &ClockBody<'_>,
    instant: Option<&Instant>,
    partials: &Partials,
    notices: &mut Vec<Notice>,
) -> Judged {
    let prior = body.prior;
    let given = prior.evidence.contains(&ClockEvidence::Given);
    let Some(instant) = instant else {
        let mut clock = prior.clone();
        if partials.contradict() && !given {
            clock.sigma_s = clock.sigma_s.max(DOUBTED_SIGMA_S);
        }
        if !given {
            notices.push(words::not_solved(body.name, partials, &clock));
        }
        return Judged {
            mistake: Mistake {
                seconds: clock.error_s,
                ..Mistake::default()
            },
            clock,
            solved: false,
        };
    };
    let error_s = instant.tau_s - f64::from(prior.zone_offset_s);
    let mistake = Mistake::of(error_s, prior.zone_offset_s);
    if given {
        notices.extend(words::against_given(
            body.name,
            prior,
            error_s,
            instant.sigma_s,
        ));
        return Judged {
            clock: prior.clone(),
            mistake: Mistake {
                seconds: prior.error_s,
                ..Mistake::default()
            },
            solved: false,
        };
    }
    if mistake.is_gross() {
        notices.push(words::gross(body.name, &mistake, prior));
    }
    let zone_source = if mistake.zone_s == 0 {
        prior.zone_source
    } else {
        ZoneSource::Pictures
    };
    let zone_offset_s = prior.zone_offset_s + mistake.zone_s;
    Judged {
        clock: ClockCorrection {
            zone_offset_s,
            zone_source,
            error_s: instant.tau_s - f64::from(zone_offset_s),
            sigma_s: instant.sigma_s.max(LEAST_SIGMA_S),
            evidence: instant.evidence.clone(),
        },
        mistake,
        solved: true,
    }
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

/// The partial frames' points, about the clock that is used.
fn points(
    frames: &[ClockFrame],
    partials: &Partials,
    course: &Course,
    judged: &Judged,
) -> Vec<ClockPoint> {
    let Some(solved) = &partials.solved else {
        return Vec::new();
    };
    let clock = &judged.clock;
    let used_tau_s = f64::from(clock.zone_offset_s) + clock.error_s;
    partials
        .shoot
        .iter()
        .zip(&solved.used)
        .map(|(m, used)| {
            let (residual_s, sigma_s) = solved.residual_s(m, course);
            ClockPoint {
                file: frames[m.frame].file.clone(),
                utc: course.origin().plus_s(m.reading_s - used_tau_s),
                residual_s: residual_s + solved.tau_s() - used_tau_s,
                sigma_s,
                outlier: !used,
            }
        })
        .collect()
}
