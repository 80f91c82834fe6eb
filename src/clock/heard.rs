//! One body's evidence taken in, and the clocks of a card settled from it.

use super::chance::{Sky, Totality};
use super::combine::{DOUBT_OF_ONE, Evidence, Joint, heard};
use super::copies;
use super::course::Course;
use super::gps::GpsBound;
use super::heights::Heights;
use super::kind::{self, Shows, Witness};
use super::partials::{Beside, Partials};
use super::posterior::{self, Peak, Posterior};
use super::tracks::{self, Tracks};
use super::{ClockBody, ClockFrame, changed, darkening, measured, north, partials, sides};
use crate::domain::{ClockCorrection, ClockEvidence, Contacts, MoonLimb, SunMoon, Utc};

/// One sigma, in seconds of arc, of how far the middle of the limb that is seen stands along the Moon's way from where it is
/// computed, the same in all frames: mountains, and a centre of figure that is not the centre of mass. Bulletins shift the
/// Moon by 0.50 in longitude for it (F. Espenak, J. Anderson, NASA eclipse bulletins; value from memory, the sigma is our choice).
const LIMB_SIGMA_ARCSEC: f64 = 0.4;

/// The same where the mountains are known: what a map four times finer moves contacts by (the `limb` room). The Sun's radius lengthens
/// or shortens the vectors of both sides alike.
const LEVELLED_SIGMA_ARCSEC: f64 = 0.05;

/// Pictures that name no camera are taken for those of a named one when that is likelier than not by this factor.
const TIED: f64 = 10.0;

/// One body's evidence, ready to be weighed.
pub struct Heard {
    pub(super) name: Option<String>,
    pub(super) prior: ClockCorrection,
    /// Its frames as if all had been stamped in the prior's zone.
    pub(super) frames: Vec<ClockFrame>,
    pub(super) course: Course,
    heights: Heights,
    totality: Option<Totality>,
    ratio: f64,
    pub(super) evidence: Evidence,
    pub(super) partials: Partials,
    /// How the discs wander through the frames.
    pub(super) tracks: Tracks,
    /// Whether the stored pictures are mirrored, where that was given.
    pub(super) mirrored: Option<bool>,
    /// What every frame shows.
    pub(super) all: Vec<Witness>,
    /// What the joint evidence is called.
    joint_name: Option<ClockEvidence>,
    /// One sigma in seconds of what the Moon's limb adds to any solution.
    pub(super) limb_sigma_s: f64,
    /// Frames that show totality, at a place that has none.
    pub(super) impossible: Vec<usize>,
    /// What those say of the place.
    pub(super) elsewhere: Elsewhere,
}

/// What frames of totality say of a place that has none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Elsewhere {
    /// Nothing: there are none, or they may be mistaken.
    No,
    /// They were taken near by, within the path of totality: times differ by a minute or so.
    Near,
    /// They were taken far off, or of another eclipse: nothing of this one tells their time.
    Far,
}

/// Logs of the chance that all frames of totality were mistaken: below the first they are believed where no partials fit this
/// eclipse at this place, below the second in any case (our choice: one well seen corona, and two).
const BELIEVED: (f64, f64) = (-8.0, -20.0);

/// Least part of the Sun's diameter covered at maximum at places beside a path of totality whose contacts are as good as those
/// within it, to a minute: some 50 km (worked out beside the path of 2024 in Ohio: it falls by 0.008 on 33 km).
const BESIDE_THE_PATH: f64 = 0.985;

impl Elsewhere {
    fn of(impossible: &[Witness], partials_fit: bool, contacts: &Contacts) -> Self {
        let mistaken: f64 = impossible.iter().map(|w| w.doubt.ln()).sum();
        let believed = if partials_fit { BELIEVED.1 } else { BELIEVED.0 };
        if mistaken > believed {
            Self::No
        } else if contacts.maximum.sky.magnitude > BESIDE_THE_PATH {
            Self::Near
        } else {
            Self::Far
        }
    }
}

/// What is known of one body's clock.
pub(super) struct Known {
    pub(super) posterior: Option<Posterior>,
    /// What it rests on but for the frames' own kinds.
    pub(super) tied_to: Option<ClockEvidence>,
}

impl Heard {
    pub(super) fn sky(&self) -> Sky<'_> {
        Sky {
            course: &self.course,
            totality: self.totality,
            ratio: self.ratio,
            heights: &self.heights,
        }
    }

    /// What the evidence is called at a solution.
    pub(super) fn named(&self, against: &[usize]) -> Vec<ClockEvidence> {
        let mut named = self.evidence.named(against, self.joint_name.clone());
        if named.is_empty() {
            let frames = self.evidence.witnesses.len() as u32;
            named.push(ClockEvidence::Daylight { frames });
        }
        named
    }
}

/// Takes in one body's evidence: fits its partials, and reads what every other frame shows.
///
/// `sky` gives Sun and Moon at the site of `contacts` for any instant within an hour of C1 to C4, and the Sun's height to a
/// degree within a day.
pub fn hear(
    body: &ClockBody<'_>,
    contacts: &Contacts,
    sky: &(dyn Fn(Utc) -> SunMoon + Sync),
) -> Heard {
    let course = Course::new(contacts, sky);
    let frames = super::in_one_zone(body);
    let copied = copies::once(&frames);
    let once = changed::without(copied.clone());
    let radii = measured::shared_radii(&once);
    let tracks = tracks::tracks(&once, &radii, &course);
    let vectors = measured::vectors(&once, &radii, &tracks.stretch_of(), &course);
    let edges = sides::side_sigma(&once, &vectors, &radii);
    let vectors = measured::Vectors {
        side_sigma: vectors.side_sigma.hypot(edges),
        ..vectors
    };
    let mirrored = body.mirrored.map(|given| given != north::flips(&frames));
    let all = kind::witnesses(&copied, &vectors, &course);
    let totality = Totality::of(contacts, &course);
    let of_totality = |s: &Shows| matches!(s, Shows::Corona | Shows::Ring | Shows::MoonsLimb);
    let (possible, impossible): (Vec<_>, Vec<_>) =
        (all.iter().copied()).partition(|w| totality.is_some() || !of_totality(&w.shows));
    let possible = (possible.into_iter())
        .filter(|w| !changed::is_changed(&frames[w.frame]))
        .collect();
    let heights = Heights::new(contacts, sky, &course);
    let mut evidence = Evidence {
        witnesses: heard(possible),
        gps: GpsBound::of(&once),
        joint: None,
        zone_s: body.prior.zone_offset_s,
        eclipse_s: (
            contacts.c1.utc.seconds_since(course.origin()),
            contacts.c4.utc.seconds_since(course.origin()),
        ),
    };
    let seen = Sky {
        course: &course,
        totality,
        ratio: contacts.maximum.sky.ratio(),
        heights: &heights,
    };
    let fitted = Fitted {
        vectors: &vectors,
        tracks: &tracks,
        mirrored,
    };
    let partials = with_partials(body.prior, &evidence, &fitted, &seen);
    let joint_name = join(&mut evidence, &partials, &once, &seen);
    let elsewhere = Elsewhere::of(&impossible, partials.solved.is_some(), contacts);
    Heard {
        name: body.name.clone(),
        prior: body.prior.clone(),
        totality,
        ratio: seen.ratio,
        evidence,
        partials,
        tracks,
        mirrored,
        all,
        joint_name,
        limb_sigma_s: limb_sigma_arcsec(contacts, &vectors) / speed(contacts, sky),
        elsewhere,
        impossible: impossible.iter().map(|w| w.frame).collect(),
        frames,
        heights,
        course,
    }
}

/// Lets what many frames say together stand for them; gives its name.
fn join(
    evidence: &mut Evidence,
    partials: &Partials,
    frames: &[ClockFrame],
    sky: &Sky<'_>,
) -> Option<ClockEvidence> {
    if let Some(solved) = &partials.solved {
        let shoot: Vec<usize> = partials.shoot.iter().map(|m| m.frame).collect();
        let used = solved.used_count() as u32;
        evidence.joint = Some(Joint {
            tau_s: solved.tau_s(),
            sigma_s: solved.tau_sigma_s,
            doubt_log: DOUBT_OF_ONE * f64::from(used),
        });
        evidence.witnesses.retain(|w| !shoot.contains(&w.frame));
        return Some(ClockEvidence::Partials { frames: used });
    }
    if evidence.tells() {
        return None;
    }
    let found = darkening::solve(frames, sky.course, evidence.zone_s)?;
    evidence.joint = Some(Joint {
        tau_s: found.tau_s,
        sigma_s: found.sigma_s,
        doubt_log: 2.0 * DOUBT_OF_ONE,
    });
    Some(ClockEvidence::Sky {
        frames: found.frames,
    })
}

/// What the partials' fit works on.
struct Fitted<'a> {
    vectors: &'a measured::Vectors,
    tracks: &'a Tracks,
    /// Whether the stored pictures are mirrored, where that was given.
    mirrored: Option<bool>,
}

/// The partials' fit, held against all other evidence.
fn with_partials(
    prior: &ClockCorrection,
    evidence: &Evidence,
    fitted: &Fitted<'_>,
    sky: &Sky<'_>,
) -> Partials {
    let others = Evidence {
        witnesses: (evidence.witnesses.iter().copied())
            .filter(|w| !matches!(w.shows, Shows::Crescent { .. }))
            .collect(),
        ..*evidence
    };
    let cost = |tau_s: f64, sigma_s: f64| others.cost(tau_s, sigma_s, sky);
    let beside = Beside {
        word_s: f64::from(prior.zone_offset_s) + prior.error_s,
        cost: &cost,
        mirrored: fitted.mirrored,
    };
    partials::solve(fitted.vectors, fitted.tracks, sky.course, &beside)
}

/// What the Moon's limb may shift any solution by, one sigma in seconds of arc. A body without partial phases is held against
/// the contacts alone, which have a sigma of their own.
fn limb_sigma_arcsec(contacts: &Contacts, vectors: &measured::Vectors) -> f64 {
    let known = vectors.levelled || vectors.measured.is_empty();
    match contacts.limb {
        MoonLimb::Real if known => LEVELLED_SIGMA_ARCSEC,
        _ => LIMB_SIGMA_ARCSEC,
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

/// What is known of every body's clock: of each by itself, and of pictures that name no camera together with the named body
/// they may well be of.
pub(super) fn known(bodies: &[Heard]) -> Vec<Known> {
    let mut all: Vec<Known> = bodies
        .iter()
        .map(|body| Known {
            posterior: body.evidence.posterior(&body.sky()),
            tied_to: None,
        })
        .collect();
    for (n, body) in bodies
        .iter()
        .enumerate()
        .filter(|(_, body)| body.name.is_none())
    {
        if let Some((other, joint)) = tied(n, body, bodies, &all) {
            for (one, to) in [(n, other), (other, n)] {
                all[one] = Known {
                    posterior: Some(joint.clone()),
                    tied_to: Some(ClockEvidence::OtherBody {
                        camera: bodies[to].name.clone(),
                    }),
                };
            }
        }
    }
    all
}

/// The named body whose clock these pictures were most likely stamped by, and what both say together.
fn tied(n: usize, body: &Heard, bodies: &[Heard], all: &[Known]) -> Option<(usize, Posterior)> {
    let named = bodies.iter().filter(|other| other.name.is_some()).count() as f64;
    let own = all[n]
        .posterior
        .as_ref()
        .filter(|_| body.evidence.tells())?;
    let mut found: Vec<(f64, usize, Posterior)> = Vec::new();
    for (m, other) in bodies.iter().enumerate() {
        let Some(its) = &all[m].posterior else {
            continue;
        };
        if other.name.is_none() || !other.evidence.tells() {
            continue;
        }
        let Some(joint) = together(body, other) else {
            continue;
        };
        // As likely beforehand as not, whichever body it is.
        let odds = joint.log_whole - own.log_whole - its.log_whole - named.ln();
        found.push((odds, m, joint));
    }
    let best = found.into_iter().max_by(|a, b| a.0.total_cmp(&b.0))?;
    (best.0 > TIED.ln()).then_some((best.1, best.2))
}

fn together(a: &Heard, b: &Heard) -> Option<Posterior> {
    let (sky_a, sky_b) = (a.sky(), b.sky());
    let mut spans = a.evidence.spans();
    spans.extend(b.evidence.spans());
    let sharp_s = a.evidence.sharp_s().min(b.evidence.sharp_s());
    let log = |tau_s: f64, step_s: f64| {
        a.evidence.log(tau_s, step_s, &sky_a) + b.evidence.log_of_pictures(tau_s, step_s, &sky_b)
    };
    let witnesses = a.evidence.most_of_witnesses() + b.evidence.most_of_witnesses();
    let most = |tau_s: f64, step_s: f64| {
        let own = a.evidence.log_beside_witnesses(tau_s, step_s);
        own + b.evidence.log_of_many(tau_s, step_s) + witnesses
    };
    posterior::of(&spans, sharp_s, &log, &most)
}

/// Whether the camera's word is as likely as anything else by frames that only say when the eclipse was not.
pub(super) fn word_stands(heard: &Heard, peaks: &[Peak]) -> bool {
    /// A word less likely than the best by this, as a log, is refuted (our choice).
    const REFUTED: f64 = 5.0;
    let sky = heard.sky();
    let at = |tau_s: f64| heard.evidence.log_of_pictures(tau_s, 10.0, &sky);
    let word_s = f64::from(heard.prior.zone_offset_s) + heard.prior.error_s;
    let near = (-6..=6).map(|k| at(word_s + 20.0 * f64::from(k)));
    let word = near.fold(f64::NEG_INFINITY, f64::max);
    let best = peaks.iter().map(|peak| at(peak.tau_s)).fold(word, f64::max);
    word > best - REFUTED
}
