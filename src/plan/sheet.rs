//! The sheet itself: everything on it as numbers, before it is set in type.

use serde::Serialize;

use super::bracket::{BracketChoice, Brackets, LATITUDE_STOPS, brackets};
use super::course::{self, Crossing, HorizonReport, PathPoint, Sight};
use super::diamond::{self, LimbLightLine};
use super::exposure::{FEATURES, exposure_s, filtered_q, practice_s};
use super::gear::{Framing, Gear, framing};
use super::horizon;
use super::input::PlanInput;
use super::planets::{PlanetPlace, planets_framed};
use super::practice::Rehearsed;
use super::stars::{StarPlace, stars_framed};
use super::times::{
    Countdown, FIST_DEG, FilterCourse, PartialLine, Rounding, calendar_date, clock_time,
    compass_point, countdowns, hazy_sun_stops, low_sun_stops, partial_moments,
};
use crate::domain::{
    ContactEvent, ContactKind, Contacts, EclipseKind, LocalKind, NearPath, Site, Utc, dial_mark,
    safety_words,
};

/// A contact as it stands on the sheet.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ContactLine {
    /// Which one.
    pub contact: ContactKind,
    /// When.
    pub utc: Utc,
    /// When, in local time.
    pub local: String,
    /// One sigma in seconds.
    pub sigma_s: f64,
    /// Altitude of the Sun in degrees, refraction included.
    pub sun_alt_deg: f64,
    /// The same in fists at arm's length.
    pub fists: f64,
    /// Azimuth of the Sun in degrees from north through east.
    pub sun_az_deg: f64,
    /// Compass point of the azimuth.
    pub compass: &'static str,
    /// Whether the Sun is above a flat horizon.
    pub sun_up: bool,
    /// Degrees of the Sun's centre above the measured horizon, where one is given.
    pub clearance_deg: Option<f64>,
    /// How the Sun stands to that.
    pub sight: Option<Sight>,
    /// Where on the limb, in degrees from the zenith, anticlockwise.
    pub vertex_angle_deg: f64,
}

/// When the lens is uncovered. Only a total eclipse with the Sun up has such moments.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct FilterMoments {
    /// Off, never before second contact.
    pub off_utc: Utc,
    /// The same in local time, rounded up.
    pub off_local: String,
    /// On again, never after third contact.
    pub on_utc: Utc,
    /// The same in local time, rounded down.
    pub on_local: String,
    /// Length of totality in seconds.
    pub totality_s: f64,
    /// Frames of beads and ring that the seconds outside totality add, at the camera's pace; 0 where the lens is uncovered inside
    /// totality alone.
    pub ring_frames: u32,
}

/// What is done about an annular maximum. The filter stays on.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RingPlan {
    /// Shutter for the ring in clear air, through the filter.
    pub shutter: String,
    /// Longest shutter worth trying: the limb is darker than the disc's middle.
    pub longest_shutter: String,
    /// What is done when, in order.
    pub steps: Vec<TotalityStep>,
}

/// The exposure for one feature.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Setting {
    /// Short name for scripts.
    pub key: &'static str,
    /// Name for people.
    pub feature: &'static str,
    /// Brightness exponent, the filter's stops taken off.
    pub q: f64,
    /// Whether the filter is on.
    pub filter: bool,
    /// Exposure in seconds by the formula, for a high Sun in clear air.
    pub exposure_s: f64,
    /// Stops more for the air at maximum, or at `settings_at` where the Sun is down then: clear, and hazy.
    pub air_stops: [f64; 2],
    /// Nearest mark of the shutter dial in clear air.
    pub shutter: String,
    /// The same in hazy air.
    pub hazy_shutter: String,
    /// Drift during the exposure in pixels, on a mount that does not follow.
    pub drift_px: f64,
}

/// A stretch of totality and what is done in it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TotalityStep {
    /// Seconds from second contact.
    pub from_c2_s: f64,
    /// Its start in local time; empty where the contacts are too uncertain for one.
    pub local: String,
    /// What is done.
    pub action: String,
    /// Whether the measured horizon hides the Sun then, wholly or in part.
    pub behind_horizon: bool,
}

/// How totality is spent.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct TotalityPlan {
    /// Whole brackets that fit besides the minute to look.
    pub brackets: u32,
    /// Seconds left free to look up.
    pub look_s: f64,
    /// The stretches in order.
    pub steps: Vec<TotalityStep>,
}

/// What the day takes of card and battery.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CardNeed {
    /// Frames.
    pub frames: u32,
    /// Space in gigabytes, raw beside JPEG.
    pub gigabytes: f64,
    /// Hours from ten minutes before the first contact to the last.
    pub hours: f64,
    /// Batteries to bring.
    pub batteries: u32,
}

/// The sheet to shoot by.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Sheet {
    /// Date of greatest eclipse on Earth: the eclipse's name.
    pub eclipse_date: String,
    /// Date at the place at maximum.
    pub local_date: String,
    /// What it is along its track.
    pub eclipse_kind: EclipseKind,
    /// What it is here.
    pub kind: LocalKind,
    /// Whether totality is to be seen: total here and the Sun up.
    pub totality_seen: bool,
    /// The place.
    pub site: Site,
    /// Zone of the local times.
    pub zone: String,
    /// Fraction of the diameter covered at maximum.
    pub magnitude: f64,
    /// Fraction of the area covered at maximum.
    pub obscuration: f64,
    /// The most that is covered of the area while the Sun is up; `None` where it is down throughout.
    pub most_covered: Option<f64>,
    /// Sunrises and sunsets between first and last contact.
    pub crossings: Vec<Crossing>,
    /// Seconds of totality or annularity.
    pub central_duration_s: Option<f64>,
    /// Where the path lies, for a place outside it.
    pub near_path: Option<NearPath>,
    /// Cautions.
    pub safety: Vec<&'static str>,
    /// What makes this place's times doubtful, or spoils what is to be seen.
    pub warnings: Vec<String>,
    /// Whether it lies so near the limit of the path that times and places on the limb are uncertain.
    pub near_limit: bool,
    /// What the person brings.
    pub gear: Gear,
    /// Practice frames and what of them went into the gear.
    pub rehearsed: Option<Rehearsed>,
    /// What is said of them.
    pub practice_words: Vec<String>,
    /// The contacts.
    pub contacts: Vec<ContactLine>,
    /// What a hill or a house may hide.
    pub horizon: Vec<String>,
    /// The Sun's path from a quarter of an hour before first contact to as long after the last, while it is up.
    pub sun_path: Vec<PathPoint>,
    /// The horizon measured from the spot, where one is given, and what it hides.
    pub horizon_file: Option<HorizonReport>,
    /// Where the diamond stands at second and third contact, or the ring closes and breaks; on the real limb and with the Sun up.
    pub limb_lights: Vec<LimbLightLine>,
    /// Countdowns.
    pub countdowns: Vec<Countdown>,
    /// Five-minute partials.
    pub partials: Vec<PartialLine>,
    /// Filter off and on; `None` where it stays on, or where `filter_withheld`.
    pub filter: Option<FilterMoments>,
    /// Whether totality is predicted, but with contacts so uncertain that no time to uncover the lens is given.
    pub filter_withheld: bool,
    /// The moment whose height of the Sun they are for.
    pub settings_at: ContactKind,
    /// Exposures by feature.
    pub settings: Vec<Setting>,
    /// Brackets; only with totality.
    pub brackets: Option<Brackets>,
    /// How totality is spent.
    pub totality: Option<TotalityPlan>,
    /// How an annular maximum is spent.
    pub ring: Option<RingPlan>,
    /// The Sun in the frame.
    pub framing: Framing,
    /// Bright planets at maximum, brightest first; only with totality.
    pub planets: Vec<PlanetPlace>,
    /// Bright stars of the frame at maximum, brightest first; only with totality.
    pub stars: Vec<StarPlace>,
    /// Card and battery.
    pub card: CardNeed,
    /// What is to be known besides.
    pub notes: Vec<String>,
    /// Where the numbers come from.
    pub sources: Vec<&'static str>,
}

/// Seconds at either end of totality for beads, ring and chromosphere (common practice).
const RING_S: f64 = 5.0;

/// Seconds to look up, where totality has them to spare.
const LOOK_S: f64 = 60.0;

/// Frames of each five-minute partial: one as set and one a stop either side (common practice).
const FRAMES_PER_PARTIAL: u32 = 3;

/// Most frames of the burst at a contact: what a camera holds before it slows (common practice).
const BURST_FRAMES: f64 = 60.0;

/// Megabytes of a raw beside its JPEG for each megapixel (common practice).
const MB_PER_MEGAPIXEL: f64 = 1.7;

/// Hours one battery lasts with the screen on, taken low (common practice).
const BATTERY_HOURS: f64 = 1.5;

/// Where the numbers come from; those of totality only where it is seen.
fn sources(totality_seen: bool) -> Vec<&'static str> {
    let sky = [
        "Stars: Hipparcos catalogue, ESA 1997, SP-1200, to magnitude 4, as in XHIP (E. Anderson & C. Francis 2012)",
        "Planets: E. M. Standish, Keplerian Elements for Approximate Positions of the Major Planets, JPL, Table 1; about 0.2 degrees",
        "Sky of totality: G. P. Können & C. Hinz 2008, Applied Optics 47, H14",
    ];
    let mut all = vec![
        "Exposures: F. Espenak & J. Anderson 1995, Total Solar Eclipse of 1997 March 9, NASA RP 1369, Table 16: t = N^2 / (ISO 2^Q)",
    ];
    all.extend(sky.into_iter().filter(|_| totality_seen));
    all.extend([
        "Low Sun: F. Kasten & A. T. Young 1989, Applied Optics 28, 4735; 0.2 magnitudes a thickness of air, 0.5 in haze",
        "Five-minute partials, brackets, card, battery, fists: common practice",
        "Eye protection: ISO 12312-2",
    ]);
    all
}

/// Sets up the sheet; the input has been checked.
pub(super) fn build(input: &PlanInput<'_>) -> Sheet {
    let contacts = input.contacts;
    let seen = totality_seen(contacts);
    let doubt = seen.then(|| Doubt::about(contacts)).flatten();
    let withheld = doubt.as_ref().is_some_and(|d| d.withholds());
    let horizon_report = course::report(input);
    let crossings = course::crossings(input);
    let framing = framing(&input.gear, &contacts.site, &contacts.maximum.sky);
    let air_moment = air_moment(contacts);
    let air_stops = air_stops_at(air_moment);
    let partials = partials(input);
    let brackets = seen.then(|| brackets(&input.gear, air_stops[0]));
    let filter = (seen && !withheld).then(|| filter_moments(input)).flatten();
    let totality = brackets
        .as_ref()
        .zip(contacts.central_duration_s())
        .map(|(b, length_s)| totality_plan(input, filter.as_ref(), length_s, &b.chosen));
    let card = card_need(input, partials.len(), totality.as_ref(), brackets.as_ref());
    Sheet {
        eclipse_date: contacts.eclipse_date.to_string(),
        local_date: calendar_date(contacts.maximum.utc, &input.zone),
        eclipse_kind: contacts.eclipse_kind,
        kind: contacts.kind,
        totality_seen: seen,
        site: contacts.site,
        zone: zone_name(input),
        magnitude: contacts.magnitude,
        obscuration: contacts.obscuration,
        central_duration_s: contacts.central_duration_s(),
        safety: safety_words(Some(if seen {
            LocalKind::Total
        } else {
            LocalKind::Partial
        })),
        warnings: doubt
            .iter()
            .map(Doubt::words)
            .chain(all_but_total(contacts))
            .chain(horizon::warning(input))
            .collect(),
        near_limit: doubt.is_some(),
        near_path: input.near_path,
        gear: input.gear,
        rehearsed: input.rehearsed.clone(),
        practice_words: input
            .rehearsed
            .as_ref()
            .map_or_else(Vec::new, |r| r.words(&input.gear, &framing)),
        contacts: contacts.events().map(|e| contact_line(e, input)).collect(),
        horizon: horizon::words(input, horizon_report.as_ref(), &crossings),
        most_covered: course::most_covered(input, &crossings),
        crossings,
        sun_path: course::path(input),
        horizon_file: horizon_report,
        limb_lights: diamond::lines(input),
        countdowns: countdowns(
            contacts,
            filter_course(input, seen, withheld),
            &partials,
            &input.zone,
        ),
        settings: settings(&input.gear, &framing, air_stops, seen),
        planets: if seen {
            planets_framed(&contacts.site, &contacts.maximum.sky, &framing)
        } else {
            Vec::new()
        },
        stars: if seen {
            stars_framed(&contacts.site, &contacts.maximum.sky, &framing)
        } else {
            Vec::new()
        },
        settings_at: air_moment.kind,
        notes: notes(input, &framing, brackets.as_ref(), air_moment),
        sources: sources(seen),
        ring: ring_plan(input, air_stops[0]),
        filter_withheld: withheld,
        partials,
        filter,
        brackets,
        totality,
        framing,
        card,
    }
}

/// The moment whose air the shutters take: maximum, or where the Sun is down then the contact at which it is highest.
fn air_moment(contacts: &Contacts) -> &ContactEvent {
    let alt = |event: &ContactEvent| event.sky.sun_alt_refracted_deg;
    let central = [contacts.c2.as_ref(), contacts.c3.as_ref()]
        .into_iter()
        .flatten();
    let seen = |event: &&ContactEvent| event.sun_up;
    if contacts.maximum.sun_up {
        return &contacts.maximum;
    }
    let highest = |a: &&ContactEvent, b: &&ContactEvent| alt(a).total_cmp(&alt(b));
    central
        .filter(seen)
        .max_by(highest)
        .or_else(|| contacts.events().filter(seen).max_by(highest))
        .unwrap_or(&contacts.maximum)
}

/// Stops the air takes at such a moment beyond what it takes of a high Sun: clear, and hazy.
fn air_stops_at(event: &ContactEvent) -> [f64; 2] {
    let alt_deg = event.sky.sun_alt_refracted_deg;
    [low_sun_stops(alt_deg), hazy_sun_stops(alt_deg)]
}

fn filter_course(input: &PlanInput<'_>, seen: bool, withheld: bool) -> FilterCourse {
    match (seen, withheld, input.gear.filter_off_s) {
        (false, ..) => FilterCourse::StaysOn,
        (true, true, _) => FilterCourse::Doubted,
        (true, false, early_s) if early_s > 0.0 => FilterCourse::Early(early_s),
        (true, false, _) => FilterCourse::AtContacts,
    }
}

/// Totality so short, or contacts so uncertain, that its times need a word.
struct Doubt {
    duration_s: f64,
    sigma_s: f64,
}

/// Sigmas within which a contact is taken to lie (our choice: 99.7 % of normal errors).
const SURE_SIGMAS: f64 = 3.0;

/// Uncertainty over duration from which it is told (our choice: a quarter of totality may be missing at either end).
const WORTH_TELLING: f64 = 0.25;

impl Doubt {
    /// `None` where the contacts are sure against the length of totality.
    fn about(contacts: &Contacts) -> Option<Self> {
        let doubt = Self {
            duration_s: contacts.central_duration_s()?,
            sigma_s: contacts.c2?.sigma_s.max(contacts.c3?.sigma_s),
        };
        (SURE_SIGMAS * doubt.sigma_s > WORTH_TELLING * doubt.duration_s).then_some(doubt)
    }

    /// Whether either contact may be off by as much as totality lasts: then no time to uncover the lens is given.
    fn withholds(&self) -> bool {
        SURE_SIGMAS * self.sigma_s >= self.duration_s
    }

    fn words(&self) -> String {
        let told = format!(
            "Near the limit of the path: totality is predicted to last {:.1} s here, with either contact uncertain by {:.1} s (one sigma).",
            self.duration_s, self.sigma_s
        );
        if self.withholds() {
            told + " It may be shorter, or not total at all: sunlight may shine through the Moon's valleys throughout. No times for the \
                    filter are given. Move nearer to the central line if you can; if you stay, keep filters on until the last bead is \
                    plainly gone, and put them back at the first light."
        } else {
            told + " Go by the beads, not by the clock."
        }
    }
}

/// Nearer than this to a central phase by the real limb, in seconds of arc, a partial eclipse is one of beads (our choice: as deep as
/// the Moon's valleys).
const BEADS_ALL_ALONG_ARCSEC: f64 = 1.0;

/// The warning where only the Moon's valleys keep the eclipse from being total, or its mountains from being annular.
fn all_but_total(contacts: &Contacts) -> Option<String> {
    let margin = contacts.limb_margin?;
    let close = margin.covered_arcsec > -BEADS_ALL_ALONG_ARCSEC || margin.is_doubtful();
    if contacts.kind != LocalKind::Partial || !close {
        return None;
    }
    let told = if contacts.maximum.sky.ratio() > 1.0 {
        "At the very edge of the path: the Moon all but covers the Sun, and sunlight shines through its valleys throughout"
    } else {
        "At the very edge of the path: the ring all but closes, and the Moon's mountains break it throughout"
    };
    let doubt = if margin.is_doubtful() {
        ", unless the edge lies a little nearer than predicted"
    } else {
        ""
    };
    Some(format!(
        "{told}{doubt}. Maps drawn for a smooth Moon may call it central here. Every filter stays on."
    ))
}

/// Whether the Sun is up for some of a total eclipse here.
fn totality_seen(contacts: &Contacts) -> bool {
    let up = |event: Option<ContactEvent>| event.is_some_and(|e| e.sun_up);
    contacts.kind == LocalKind::Total && (up(contacts.c2) || up(contacts.c3))
}

fn zone_name(input: &PlanInput<'_>) -> String {
    let offset = input.zone.to_offset(input.contacts.maximum.utc.timestamp());
    match input.zone.iana_name() {
        Some(name) => format!("{name} (UTC{offset})"),
        None => format!("UTC{offset}"),
    }
}

fn contact_line(event: &ContactEvent, input: &PlanInput<'_>) -> ContactLine {
    let sky = &event.sky;
    let skyline = input.skyline.as_ref();
    ContactLine {
        contact: event.kind,
        utc: event.utc,
        local: clock_time(event.utc, &input.zone, Rounding::Nearest),
        sigma_s: event.sigma_s,
        sun_alt_deg: sky.sun_alt_refracted_deg,
        fists: sky.sun_alt_refracted_deg / FIST_DEG,
        sun_az_deg: sky.sun_az_deg,
        compass: compass_point(sky.sun_az_deg),
        sun_up: event.sun_up,
        clearance_deg: skyline.map(|line| course::clearance_deg(line, sky)),
        sight: skyline.map(|line| course::sight(line, sky)),
        vertex_angle_deg: event.vertex_angle_deg,
    }
}

fn partials(input: &PlanInput<'_>) -> Vec<PartialLine> {
    let gear = &input.gear;
    let high_sun_s = exposure_s(gear.f_number, gear.iso, filtered_q(gear.filter_stops));
    partial_moments(input.contacts, input.sky)
        .into_iter()
        .map(|sky| {
            let low_sun = low_sun_stops(sky.sun_alt_refracted_deg);
            let haze = hazy_sun_stops(sky.sun_alt_refracted_deg);
            let time_s = high_sun_s * low_sun.exp2();
            PartialLine {
                utc: sky.utc,
                local: clock_time(sky.utc, &input.zone, Rounding::Nearest),
                sun_alt_deg: sky.sun_alt_refracted_deg,
                sun_az_deg: sky.sun_az_deg,
                compass: compass_point(sky.sun_az_deg),
                obscuration: sky.obscuration,
                low_sun_stops: low_sun,
                hazy_stops: haze,
                shutter: through_air_mark(time_s),
                hazy_shutter: through_air_mark(high_sun_s * haze.exp2()),
                behind_horizon: false,
                crescent_shutter: (sky.obscuration > CRESCENT_OBSCURATION)
                    .then(|| dial_mark(time_s * CRESCENT_STOPS.exp2())),
            }
        })
        .collect()
}

/// Filter off and on with the Sun up: inside totality, or as many seconds outside it as the person has chosen. `None` where whole
/// seconds leave nothing between them.
fn filter_moments(input: &PlanInput<'_>) -> Option<FilterMoments> {
    let (c2, c3) = (input.contacts.c2?, input.contacts.c3?);
    let outside_s = input.gear.filter_off_s;
    let (off_utc, on_utc) = (c2.utc.plus_s(-outside_s), c3.utc.plus_s(outside_s));
    let off_local = clock_time(off_utc, &input.zone, Rounding::Up);
    let on_local = clock_time(on_utc, &input.zone, Rounding::Down);
    (off_local != on_local).then_some(FilterMoments {
        off_utc,
        off_local,
        on_utc,
        on_local,
        totality_s: c3.utc.seconds_since(c2.utc),
        ring_frames: (2.0 * outside_s * input.gear.frames_per_s).min(2.0 * BURST_FRAMES) as u32,
    })
}

/// The exposure of a feature: its exponent, and what takes light on the way.
fn setting(
    gear: &Gear,
    framing: &Framing,
    feature: (&'static str, &'static str, f64),
    filter: bool,
    air_stops: [f64; 2],
) -> Setting {
    let (key, name, q) = feature;
    let time_s = exposure_s(gear.f_number, gear.iso, q);
    let [clear_s, hazy_s] = air_stops.map(|stops| time_s * stops.exp2());
    Setting {
        key,
        feature: name,
        q,
        filter,
        exposure_s: time_s,
        air_stops,
        shutter: through_air_mark(clear_s),
        hazy_shutter: through_air_mark(hazy_s),
        drift_px: if gear.tracked {
            0.0
        } else {
            clear_s / framing.one_px_blur_s
        },
    }
}

/// Longest exposure told in seconds (our choice: beyond two minutes totality is over and a partial has moved on).
const LONGEST_TOLD_S: f64 = 120.0;

/// The mark of the shutter dial, or that the air lets too little through for any.
fn through_air_mark(time_s: f64) -> String {
    if time_s > LONGEST_TOLD_S {
        "too dim".to_owned()
    } else {
        dial_mark(time_s)
    }
}

/// Partials behind the filter, then the features of totality where there is one, all as the air at maximum asks.
fn settings(gear: &Gear, framing: &Framing, air_stops: [f64; 2], totality: bool) -> Vec<Setting> {
    let setting =
        |key, feature, q, filter| setting(gear, framing, (key, feature, q), filter, air_stops);
    let partial_q = filtered_q(gear.filter_stops);
    let mut all = vec![
        setting(
            "partial",
            "Partial phases, through the filter",
            partial_q,
            true,
        ),
        setting(
            "crescent",
            "Thin crescent, through the filter",
            partial_q - CRESCENT_STOPS,
            true,
        ),
    ];
    if totality {
        all.extend(FEATURES.iter().map(|f| setting(f.key, f.name, f.q, false)));
    }
    all
}

/// Stops more for a narrow crescent, for the darker limb.
/// Source: Espenak & Anderson 1995 as in [`FEATURES`], Eclipse Photography.
const CRESCENT_STOPS: f64 = 2.0;

/// Covered area from which a crescent counts as narrow (common practice).
const CRESCENT_OBSCURATION: f64 = 0.9;

/// Ring, brackets, a free minute, brackets, ring. A totality too short for all of it keeps the looking. Local times are given where
/// the filter's are.
fn totality_plan(
    input: &PlanInput<'_>,
    filter: Option<&FilterMoments>,
    length_s: f64,
    chosen: &BracketChoice,
) -> TotalityPlan {
    let ring_s = RING_S.min(length_s / 4.0);
    let look_s = LOOK_S.min(length_s / 2.0);
    let room_s = (length_s - 2.0 * ring_s - look_s).max(0.0);
    let fitting = (room_s / chosen.takes_s).floor().clamp(0.0, 1000.0) as u32;
    let before = fitting.div_ceil(2);
    let spent_s = f64::from(before) * chosen.takes_s;
    let mut plan = vec![(0.0, first_step(input, filter).to_owned())];
    if before > 0 {
        plan.push((ring_s, runs_words(before)));
    }
    plan.push((
        ring_s + spent_s,
        format!("Hands off: {look_s:.0} s to look up; planets, horizon, people"),
    ));
    if fitting > before {
        plan.push((ring_s + spent_s + look_s, runs_words(fitting - before)));
    }
    plan.push((
        length_s - ring_s,
        "Shortest shutter, for beads and ring; hand at the filter".to_owned(),
    ));
    plan.push((length_s, last_step(input).to_owned()));
    TotalityPlan {
        brackets: fitting,
        look_s,
        steps: steps(plan, filter.and(input.contacts.c2), length_s, &input.zone),
    }
}

fn first_step(input: &PlanInput<'_>, filter: Option<&FilterMoments>) -> &'static str {
    match filter {
        None => "When the last bead is gone, and only then: filter off; shortest exposures",
        Some(_) if input.gear.filter_off_s > 0.0 => {
            "Viewers off; beads and ring, shortest exposures"
        }
        Some(_) => "Filter off; beads and ring, shortest exposures",
    }
}

fn last_step(input: &PlanInput<'_>) -> &'static str {
    if input.gear.filter_off_s > 0.0 {
        "Viewers on; ring, then the filter as you chose"
    } else {
        "Filter on"
    }
}

fn runs_words(n: u32) -> String {
    if n == 1 {
        "The whole bracket once".to_owned()
    } else {
        format!("The whole bracket {n} times, or as often as the camera's memory takes")
    }
}

/// Stretches with their local times counted from second contact, which round into the phase at both ends and never cross.
fn steps(
    plan: Vec<(f64, String)>,
    c2: Option<ContactEvent>,
    length_s: f64,
    zone: &jiff::tz::TimeZone,
) -> Vec<TotalityStep> {
    let mut latest = String::new();
    plan.into_iter()
        .map(|(from_c2_s, action)| {
            let rounding = if from_c2_s < length_s / 2.0 {
                Rounding::Up
            } else {
                Rounding::Down
            };
            let local = c2.map_or_else(String::new, |c2| {
                clock_time(c2.utc.plus_s(from_c2_s), zone, rounding)
            });
            // Within one phase, midnight apart, text order is time order.
            let crossed = local < latest && latest.as_bytes()[0] != b'2';
            let local = if crossed { latest.clone() } else { local };
            latest.clone_from(&local);
            TotalityStep {
                from_c2_s,
                local,
                action,
                behind_horizon: false,
            }
        })
        .collect()
}

/// Seconds either side of an annular contact in which beads show (our choice, as wide as the window of the phase: more frames against
/// more of them without beads).
const ANNULAR_BEADS_S: f64 = 15.0;

/// Beads at either edge and the ring at maximum, all through the filter; only for an annular eclipse with the Sun up.
fn ring_plan(input: &PlanInput<'_>, air_stops: f64) -> Option<RingPlan> {
    let contacts = input.contacts;
    let (c2, c3) = (contacts.c2?, contacts.c3?);
    if contacts.kind != LocalKind::Annular || !(c2.sun_up || c3.sun_up) {
        return None;
    }
    let gear = &input.gear;
    let time_s =
        exposure_s(gear.f_number, gear.iso, filtered_q(gear.filter_stops)) * air_stops.exp2();
    let length_s = c3.utc.seconds_since(c2.utc);
    let beads_s = ANNULAR_BEADS_S.min(length_s / 2.0);
    let middle_s = contacts.maximum.utc.seconds_since(c2.utc);
    let plan = vec![
        (
            -ANNULAR_BEADS_S,
            "Burst: cusps close, beads along the edge where the ring joins".to_owned(),
        ),
        (beads_s, "Burst ends: the ring is whole".to_owned()),
        (
            middle_s,
            "Maximum: the ring at its most even; one frame as set, one a stop either side"
                .to_owned(),
        ),
        (
            length_s - beads_s,
            "Burst: beads along the edge where the ring breaks".to_owned(),
        ),
        (length_s + ANNULAR_BEADS_S, "Burst ends".to_owned()),
    ];
    Some(RingPlan {
        shutter: dial_mark(time_s),
        longest_shutter: dial_mark(time_s * CRESCENT_STOPS.exp2()),
        steps: steps(plan, Some(c2), length_s, &input.zone),
    })
}

fn card_need(
    input: &PlanInput<'_>,
    partials: usize,
    totality: Option<&TotalityPlan>,
    brackets: Option<&Brackets>,
) -> CardNeed {
    let gear = &input.gear;
    let partial_frames = u32::try_from(partials)
        .unwrap_or(u32::MAX)
        .saturating_mul(FRAMES_PER_PARTIAL);
    let bracket_frames = totality.zip(brackets).map_or(0, |(plan, b)| {
        plan.brackets * b.chosen.exposures_s.len() as u32
    });
    let central = input.contacts.c2.is_some();
    let burst = (gear.frames_per_s * 2.0 * RING_S).min(BURST_FRAMES).ceil() as u32;
    let frames = partial_frames
        .saturating_add(bracket_frames)
        .saturating_add(if central { 2 * burst } else { 0 });
    let hours = (input.contacts.c4.utc.seconds_since(input.contacts.c1.utc) + 600.0) / 3600.0;
    CardNeed {
        frames,
        gigabytes: f64::from(frames) * gear.sensor.megapixels() * MB_PER_MEGAPIXEL / 1000.0,
        hours,
        batteries: (hours / BATTERY_HOURS).ceil().max(1.0) as u32,
    }
}

fn notes(
    input: &PlanInput<'_>,
    framing: &Framing,
    brackets: Option<&Brackets>,
    air_moment: &ContactEvent,
) -> Vec<String> {
    let [clear, hazy] = air_stops_at(air_moment);
    let moment = air_moment.kind.word();
    let gear = &input.gear;
    let tried = input
        .rehearsed
        .as_ref()
        .is_some_and(Rehearsed::filter_taken);
    let try_filter = if tried {
        ""
    } else {
        " Try the filter on the plain Sun before the day and shift every filtered time by what you find."
    };
    let bracket_air = brackets.map_or_else(String::new, |_| {
        format!(
            " Brackets are set for clear air: in haze move the whole bracket by {:.1} stops.",
            hazy - clear
        )
    });
    let mut notes = vec![
        format!(
            "Exposures are at f/{} and ISO {}, lengthened for the air the Sun is seen through: at {moment} by {clear:.1} stops in clear \
                 air, {hazy:.1} in haze.{bracket_air}{try_filter}",
            gear.f_number, gear.iso
        ),
        practice_words(gear),
        "Focus by hand on the limb, then leave it alone; autofocus hunts on the Sun.".to_owned(),
    ];
    if framing.disc_share > 1.0 {
        notes.push(
            "The Sun does not fit the frame: take a shorter lens or a larger sensor.".to_owned(),
        );
    } else if brackets.is_some() && framing.radii_to_edge < OUTER_CORONA_RADII {
        notes.push(format!(
            "The frame ends {:.1} solar radii from the centre; the corona reaches beyond. A shorter lens \
                 holds it.",
            framing.radii_to_edge
        ));
    }
    notes.extend(brackets.and_then(|b| too_fast_words(gear, b)));
    if let Some(longest_s) = brackets
        .and_then(|b| longest(&b.chosen))
        .filter(|_| !gear.tracked)
    {
        let smear_px = longest_s / framing.one_px_blur_s;
        if smear_px > 2.0 {
            notes.push(format!(
                "Without a mount that follows, the longest exposure of the bracket ({}) smears the corona \
                     by {smear_px:.0} pixels; a higher ISO shortens all of them alike.",
                dial_mark(longest_s)
            ));
        }
    }
    notes
}

/// What to do where the beads want a faster shutter than the camera has.
fn too_fast_words(gear: &Gear, brackets: &Brackets) -> Option<String> {
    let stops = brackets.beyond_fastest_stops;
    (stops > 0.3).then(|| {
        format!(
            "The beads want {stops:.1} stops less light than {} gives at f/{} and ISO {}: lower the ISO or close the aperture by as much, or \
             take them a little over-exposed.",
            dial_mark(gear.limits.fastest_s),
            gear.f_number,
            gear.iso
        )
    })
}

/// How the published exposure of the filtered Sun stands beside the usual one.
fn practice_words(gear: &Gear) -> String {
    let table_s = exposure_s(gear.f_number, gear.iso, filtered_q(gear.filter_stops));
    let usual_s = practice_s(gear.f_number, gear.iso, gear.filter_stops);
    let stops = (table_s / usual_s).log2();
    format!(
        "The filtered shutters follow the published table: {} with this gear. Common practice, f/8 and 1/800 s \
             through 16 stops at ISO 100, comes to {}, {:.1} stops {}. The frames a stop either side of each \
             partial hold both.",
        dial_mark(table_s),
        dial_mark(usual_s),
        stops.abs(),
        if stops < 0.0 { "longer" } else { "shorter" }
    )
}

/// Solar radii the corona of the bracket's faintest feature reaches from the centre: 4 above the limb.
const OUTER_CORONA_RADII: f64 = 4.0 + LATITUDE_STOPS;

fn longest(choice: &BracketChoice) -> Option<f64> {
    choice.exposures_s.iter().copied().reduce(f64::max)
}
