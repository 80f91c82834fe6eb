//! The stable JSON form of `contactstrip contacts --json`.
//!
//! Layout version 1. Fields are only added, never renamed or dropped, while `version` stays 1. Times are ISO 8601 with
//! milliseconds: `utc` with `Z`, `local` with the zone's offset. Angles in degrees, sizes in seconds of arc.
//!
//! ```json
//! { "format": "contactstrip-contacts", "version": 1,
//!   "eclipse": {"date": "2019-07-02", "kind": "total"},
//!   "site": {"lat_deg": -30.03, "lon_deg": -70.71, "elev_m": 600.0},
//!   "zone": "America/Santiago",
//!   "kind": "total",                      what the place gets: none partial annular total, horizon ignored
//!   "visible": "all",                     all part no: the Sun up at all, some or none of the events
//!   "magnitude": 1.0137, "obscuration": 1.0, "ratio": 1.0376,
//!   "central_duration_s": 152.1,          null where there is no C2 and C3
//!   "c1": {event}, "c2": {event} or null, "maximum": {event}, "c3": {event} or null, "c4": {event},
//!   "horizon": [{"event": "sunset", "utc": …, "local": …, "obscuration": …, "sun_az_deg": …}],
//!   "best_seen": {"utc": …, "local": …, "obscuration": …, "magnitude": …, "sun_alt_deg": …} or null,
//!   "limb": "real",                       real or mean: what C2 and C3 rest on
//!   "limb_margin": {"covered_arcsec": …, "sigma_arcsec": …, "position_angle_deg": …, "doubtful": false} or null, near a limit
//!   "mean_limb": {"kind": "total", "c2_utc": …, "c3_utc": …, "central_duration_s": …,
//!                 "c2_moved_s": 1.2, "c3_moved_s": -0.4, "duration_change_s": -1.6} or null with the mean limb (moved: real less mean),
//!   "beads": [{"contact": "C2", "utc": …, "diamond_position_angle_deg": …, "diamond_vertex_angle_deg": …,
//!              "beads": [{"position_angle_deg", "vertex_angle_deg", "from_s", "to_s", "height_arcsec"}],
//!              "instants": [{"seconds_from_contact", "utc", "lit": [{"pa_from_deg", "pa_to_deg", "vertex_from_deg",
//!                            "vertex_to_deg", "height_arcsec"}]}]}],   empty unless asked for with --beads
//!   "valleys": {"moon_k_inner": 0.272281, "c2_utc": …, "c3_utc": …} or null,
//!   "delta_t_s": 69.3574, "delta_t_status": "observed", "delta_t_sigma_s": 0.001, "tt_minus_utc_s": 69.184,
//!   "radii": {"moon_k": 0.2725076, "moon_k_inner": 0.2725076, "sun_arcsec": 959.63},
//!   "miss": null,                         where kind is none: {"separation_arcsec": …, "limb_gap_arcsec": …}
//!   "safety": ["…"] }
//! ```
//!
//! An event is `{"utc", "local", "sigma_s", "sun_up", "sun_alt_deg" (airless), "sun_alt_refracted_deg", "sun_az_deg",
//! "position_angle_deg" (P), "vertex_angle_deg" (V), "parallactic_deg" (q = P - V), "separation_arcsec",
//! "sun_radius_arcsec", "moon_radius_arcsec", "moon_east_arcsec", "moon_north_arcsec", "obscuration", "magnitude",
//! "vertical_squeeze"}`. P at a contact is the point of the Sun's limb that is touched; at maximum the direction of the
//! Moon's centre. Where `kind` is `none` the fields of the events, coverage and horizon are null or empty.
//!
//! A list (`--list`) is `{"format": "contactstrip-eclipses", "version": 1, "site", "zone", "from", "to", "eclipses": [...]}`
//! with documents of the first form in time order.

use serde::Serialize;

use super::bead_words::{self, BeadsDocument};
use super::circumstances::Circumstances;
use super::horizon::Visible;
use super::zone::CivilZone;
use super::{kind_word, local_word, nearest_approach};
use crate::domain::{
    ContactEvent, Contacts, LimbMargin, LocalKind, MoonLimb, Site, SunMoon, Utc, safety_words,
};
use crate::ephemeris::{EclipseView, Radii};

/// Layout version of the JSON.
pub const VERSION: u32 = 1;

#[derive(Serialize)]
struct Document {
    format: &'static str,
    version: u32,
    eclipse: EclipseName,
    site: Site,
    zone: String,
    kind: &'static str,
    visible: Visible,
    magnitude: Option<f64>,
    obscuration: Option<f64>,
    ratio: Option<f64>,
    central_duration_s: Option<f64>,
    c1: Option<Event>,
    c2: Option<Event>,
    maximum: Option<Event>,
    c3: Option<Event>,
    c4: Option<Event>,
    horizon: Vec<Horizon>,
    best_seen: Option<BestSeen>,
    limb: &'static str,
    limb_margin: Option<Margin>,
    mean_limb: Option<MeanLimb>,
    beads: Vec<BeadsDocument>,
    valleys: Option<Valleys>,
    delta_t_s: f64,
    delta_t_status: &'static str,
    delta_t_sigma_s: f64,
    tt_minus_utc_s: f64,
    radii: Radii,
    miss: Option<Miss>,
    safety: Vec<&'static str>,
}

#[derive(Serialize)]
struct EclipseName {
    date: String,
    kind: &'static str,
}

#[derive(Serialize)]
struct Event {
    utc: String,
    local: String,
    sigma_s: f64,
    sun_up: bool,
    sun_alt_deg: f64,
    sun_alt_refracted_deg: f64,
    sun_az_deg: f64,
    position_angle_deg: f64,
    vertex_angle_deg: f64,
    parallactic_deg: f64,
    separation_arcsec: f64,
    sun_radius_arcsec: f64,
    moon_radius_arcsec: f64,
    moon_east_arcsec: f64,
    moon_north_arcsec: f64,
    obscuration: f64,
    magnitude: f64,
    vertical_squeeze: f64,
}

#[derive(Serialize)]
struct Horizon {
    event: &'static str,
    utc: String,
    local: String,
    obscuration: f64,
    sun_az_deg: f64,
}

#[derive(Serialize)]
struct BestSeen {
    utc: String,
    local: String,
    obscuration: f64,
    magnitude: f64,
    sun_alt_deg: f64,
}

#[derive(Serialize)]
struct Valleys {
    moon_k_inner: f64,
    c2_utc: String,
    c3_utc: String,
}

#[derive(Serialize)]
struct Margin {
    covered_arcsec: f64,
    sigma_arcsec: f64,
    position_angle_deg: f64,
    doubtful: bool,
}

#[derive(Serialize)]
struct MeanLimb {
    kind: &'static str,
    c2_utc: Option<String>,
    c3_utc: Option<String>,
    central_duration_s: Option<f64>,
    c2_moved_s: Option<f64>,
    c3_moved_s: Option<f64>,
    duration_change_s: Option<f64>,
}

#[derive(Serialize)]
struct Miss {
    separation_arcsec: f64,
    limb_gap_arcsec: f64,
    nearest_utc: String,
}

#[derive(Serialize)]
struct List {
    format: &'static str,
    version: u32,
    site: Site,
    zone: String,
    from: i16,
    to: i16,
    eclipses: Vec<Document>,
}

/// The JSON of an eclipse at a place; ends with a line feed.
pub fn json(all: &Circumstances) -> String {
    written(&document(all))
}

/// The JSON of an eclipse the place does not get: `kind` is `none`.
pub fn json_missed(view: &EclipseView, zone: &CivilZone) -> String {
    written(&missed(view, zone))
}

/// The JSON of a list of eclipses at a place.
pub fn json_list(
    site: &Site,
    zone: &CivilZone,
    years: (i16, i16),
    all: &[Circumstances],
) -> String {
    written(&List {
        format: "contactstrip-eclipses",
        version: VERSION,
        site: *site,
        zone: zone.name.clone(),
        from: years.0,
        to: years.1,
        eclipses: all.iter().map(document).collect(),
    })
}

fn written(document: &impl Serialize) -> String {
    let mut text = serde_json::to_string_pretty(document)
        .expect("structs of numbers and strings have a JSON form");
    text.push('\n');
    text
}

fn document(all: &Circumstances) -> Document {
    let contacts = &all.contacts;
    let event = |event: &ContactEvent| event_of(event, &all.zone);
    Document {
        format: "contactstrip-contacts",
        version: VERSION,
        eclipse: name(contacts),
        site: contacts.site,
        zone: all.zone.name.clone(),
        kind: local_word(contacts.kind),
        visible: all.visible,
        magnitude: Some(rounded(contacts.magnitude, 6)),
        obscuration: Some(rounded(contacts.obscuration, 6)),
        ratio: Some(rounded(contacts.maximum.sky.ratio(), 6)),
        central_duration_s: contacts.central_duration_s().map(|s| rounded(s, 3)),
        c1: Some(event(&contacts.c1)),
        c2: contacts.c2.as_ref().map(event),
        maximum: Some(event(&contacts.maximum)),
        c3: contacts.c3.as_ref().map(event),
        c4: Some(event(&contacts.c4)),
        horizon: horizon(all),
        best_seen: all.best_seen.as_ref().map(|sky| best_seen(sky, &all.zone)),
        limb: contacts.limb.word(),
        limb_margin: contacts.limb_margin.map(margin),
        mean_limb: all.mean.as_ref().map(|mean| mean_limb(contacts, mean)),
        beads: all.beads.iter().map(bead_words::document).collect(),
        valleys: all.valleys.map(valleys),
        delta_t_s: contacts.delta_t_s,
        delta_t_status: all.delta_t_status.word(),
        delta_t_sigma_s: rounded(all.delta_t_sigma_s, 3),
        tt_minus_utc_s: all.tt_minus_utc_s,
        radii: all.radii,
        miss: None,
        safety: safety_words(Some(contacts.kind)),
    }
}

fn missed(view: &EclipseView, zone: &CivilZone) -> Document {
    let nearest = nearest_approach(view);
    let discs = view.discs(nearest.seconds_since(view.origin()));
    let reach = discs.sun_radius_arcsec + discs.moon_radius_arcsec;
    let eclipse = view.eclipse();
    Document {
        format: "contactstrip-contacts",
        version: VERSION,
        eclipse: EclipseName {
            date: eclipse.date().to_string(),
            kind: kind_word(eclipse.kind()),
        },
        site: view.site(),
        zone: zone.name.clone(),
        kind: local_word(LocalKind::None),
        visible: Visible::No,
        magnitude: None,
        obscuration: None,
        ratio: None,
        central_duration_s: None,
        c1: None,
        c2: None,
        maximum: None,
        c3: None,
        c4: None,
        horizon: Vec::new(),
        best_seen: None,
        limb: MoonLimb::Mean.word(),
        limb_margin: None,
        mean_limb: None,
        beads: Vec::new(),
        valleys: None,
        delta_t_s: view.delta_t_s(),
        delta_t_status: view.delta_t_status().word(),
        delta_t_sigma_s: rounded(view.delta_t_sigma_s(), 3),
        tt_minus_utc_s: eclipse.tt_minus_utc_s(),
        radii: view.radii(),
        miss: Some(Miss {
            separation_arcsec: rounded(discs.separation_arcsec, 2),
            limb_gap_arcsec: rounded(discs.separation_arcsec - reach, 2),
            nearest_utc: nearest.to_string(),
        }),
        safety: safety_words(Some(LocalKind::None)),
    }
}

fn name(contacts: &Contacts) -> EclipseName {
    EclipseName {
        date: contacts.eclipse_date.to_string(),
        kind: kind_word(contacts.eclipse_kind),
    }
}

fn event_of(event: &ContactEvent, zone: &CivilZone) -> Event {
    let sky = &event.sky;
    Event {
        utc: event.utc.to_string(),
        local: zone.local(event.utc, 3).iso(),
        sigma_s: rounded(event.sigma_s, 2),
        sun_up: event.sun_up,
        sun_alt_deg: rounded(sky.sun_alt_deg, 4),
        sun_alt_refracted_deg: rounded(sky.sun_alt_refracted_deg, 4),
        sun_az_deg: turn(sky.sun_az_deg),
        position_angle_deg: turn(event.position_angle_deg),
        vertex_angle_deg: turn(event.vertex_angle_deg),
        parallactic_deg: rounded(sky.parallactic_deg, 4),
        separation_arcsec: rounded(sky.separation_arcsec(), 3),
        sun_radius_arcsec: rounded(sky.sun_radius_arcsec, 3),
        moon_radius_arcsec: rounded(sky.moon_radius_arcsec, 3),
        moon_east_arcsec: rounded(sky.moon_east_arcsec, 3),
        moon_north_arcsec: rounded(sky.moon_north_arcsec, 3),
        obscuration: rounded(sky.obscuration, 6),
        magnitude: rounded(sky.magnitude, 6),
        vertical_squeeze: rounded(sky.vertical_squeeze, 5),
    }
}

fn horizon(all: &Circumstances) -> Vec<Horizon> {
    let rows = all.crossings.iter().map(|crossing| Horizon {
        event: if crossing.rising { "sunrise" } else { "sunset" },
        utc: crossing.sky.utc.to_string(),
        local: all.zone.local(crossing.sky.utc, 3).iso(),
        obscuration: rounded(crossing.sky.obscuration, 6),
        sun_az_deg: turn(crossing.sky.sun_az_deg),
    });
    rows.collect()
}

fn best_seen(sky: &SunMoon, zone: &CivilZone) -> BestSeen {
    BestSeen {
        utc: sky.utc.to_string(),
        local: zone.local(sky.utc, 3).iso(),
        obscuration: rounded(sky.obscuration, 6),
        magnitude: rounded(sky.magnitude, 6),
        sun_alt_deg: rounded(sky.sun_alt_deg, 4),
    }
}

fn valleys((c2, c3): (Utc, Utc)) -> Valleys {
    Valleys {
        moon_k_inner: Radii::K_VALLEYS,
        c2_utc: c2.to_string(),
        c3_utc: c3.to_string(),
    }
}

fn margin(margin: LimbMargin) -> Margin {
    Margin {
        covered_arcsec: rounded(margin.covered_arcsec, 3),
        sigma_arcsec: rounded(margin.sigma_arcsec, 3),
        position_angle_deg: turn(margin.position_angle_deg),
        doubtful: margin.is_doubtful(),
    }
}

fn mean_limb(real: &Contacts, mean: &Contacts) -> MeanLimb {
    let text = |event: Option<ContactEvent>| event.map(|event| event.utc.to_string());
    let moved = |real: Option<ContactEvent>, mean: Option<ContactEvent>| {
        Some(rounded(real?.utc.seconds_since(mean?.utc), 3))
    };
    let lasts = mean.central_duration_s();
    let change = real.central_duration_s().zip(lasts).map(|(a, b)| a - b);
    MeanLimb {
        kind: local_word(mean.kind),
        c2_utc: text(mean.c2),
        c3_utc: text(mean.c3),
        central_duration_s: lasts.map(|s| rounded(s, 3)),
        c2_moved_s: moved(real.c2, mean.c2),
        c3_moved_s: moved(real.c3, mean.c3),
        duration_change_s: change.map(|s| rounded(s, 3)),
    }
}

fn rounded(value: f64, decimals: i32) -> f64 {
    let unit = 10f64.powi(decimals);
    (value * unit).round() / unit
}

/// A direction in degrees, 0 to 360 with 360 left out, also after rounding.
fn turn(deg: f64) -> f64 {
    rounded(deg, 4).rem_euclid(360.0)
}
