//! The card as the page knows it: every frame by its number, with its time, body, burst, phase and discs.

use serde::Serialize;
use serde_json::{Value, json};

use super::pictures::disc;
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Circle, Flag, LocalKind, Phase, Role, Zone, safety_words};
use crate::pipeline::course;
use crate::raster::reads_pixels;
use jiff::tz::TimeZone;

/// One frame, in few bytes: cards have thousands.
#[derive(Serialize)]
struct FrameRow<'a> {
    /// Name on the card.
    name: &'a str,
    /// Seconds since 1970 of the start of the exposure, corrected.
    #[serde(skip_serializing_if = "Option::is_none")]
    t: Option<f64>,
    /// Local time of day.
    #[serde(skip_serializing_if = "String::is_empty")]
    at: String,
    /// Place in the list of phases.
    phase: u8,
    /// Place in the list of bodies; -1 where none is named.
    body: i32,
    #[serde(skip_serializing_if = "Option::is_none")]
    burst: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    quality: Option<f64>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    flags: Vec<&'static str>,
    /// Exposure in a few words.
    exposure: String,
    /// Covered part of the Sun, 0 to 1.
    #[serde(skip_serializing_if = "Option::is_none")]
    covered: Option<f64>,
    /// Width and height in pixels.
    #[serde(skip_serializing_if = "Option::is_none")]
    size: Option<(u32, u32)>,
    /// The fitted discs: centre and radius in pixels.
    #[serde(skip_serializing_if = "Option::is_none")]
    sun: Option<[f64; 3]>,
    #[serde(skip_serializing_if = "Option::is_none")]
    moon: Option<[f64; 3]>,
    /// Whether it can be shown.
    seen: bool,
    wide: bool,
}

/// The card as JSON.
pub(super) fn json(catalogue: &Catalogue, revision: u64) -> Value {
    let zone = Zone::rules_of(catalogue.zone.as_deref());
    let rows: Vec<FrameRow<'_>> = catalogue
        .shots
        .iter()
        .map(|record| row(catalogue, record, &zone))
        .collect();
    let bodies: Vec<&str> = catalogue.cameras.iter().map(|c| c.label.as_str()).collect();
    let phases: Vec<&str> = Phase::ALL.iter().map(|phase| phase.word()).collect();
    let flags: Vec<&str> = flags(catalogue);
    let curve: Vec<(f64, f64)> = course(catalogue)
        .iter()
        .map(|sky| (sky.utc.unix_s(), thousandths(sky.obscuration)))
        .collect();
    let kind = catalogue.contacts.as_ref().map(|c| c.kind);
    json!({
        "revision": revision,
        "title": title(catalogue),
        "zone": catalogue.zone.as_deref().unwrap_or("UTC"),
        "contacts": contacts(catalogue, &zone),
        "central": match kind {
            Some(LocalKind::Annular) => "annularity",
            _ => "totality",
        },
        "curve": curve,
        "corona": catalogue.corona.is_some(),
        "merged": merged(catalogue),
        "bodies": bodies,
        "phases": phases,
        "flags": flags,
        "frames": rows,
        "safety": safety_words(kind),
    })
}

fn flags(catalogue: &Catalogue) -> Vec<&'static str> {
    let all: std::collections::BTreeSet<Flag> = catalogue
        .shots
        .iter()
        .flat_map(|s| s.flags.iter())
        .collect();
    all.into_iter().map(Flag::word).collect()
}

/// Numbers of the frames the corona was merged from.
fn merged(catalogue: &Catalogue) -> Vec<usize> {
    let names = catalogue.corona.iter().flat_map(|c| &c.frames);
    let names: std::collections::BTreeSet<&str> = names.map(String::as_str).collect();
    let shots = catalogue.shots.iter().enumerate();
    let used = shots.filter(|(_, shot)| names.contains(shot.name()));
    used.map(|(n, _)| n).collect()
}

fn title(catalogue: &Catalogue) -> String {
    match &catalogue.contacts {
        Some(contacts) => format!("Solar eclipse of {}", contacts.eclipse_date),
        None => "A card of photographs".to_owned(),
    }
}

fn contacts(catalogue: &Catalogue, zone: &TimeZone) -> Vec<Value> {
    let events = catalogue.contacts.iter().flat_map(|c| c.events());
    events
        .map(|event| {
            json!({
                "name": event.kind.word(),
                "t": event.utc.unix_s(),
                "at": time_of_day(event.utc, zone),
            })
        })
        .collect()
}

fn time_of_day(utc: crate::domain::Utc, zone: &TimeZone) -> String {
    let local = zone.to_datetime(utc.nearest_second().timestamp());
    local.strftime("%H:%M:%S").to_string()
}

fn row<'a>(catalogue: &'a Catalogue, record: &'a ShotRecord, zone: &TimeZone) -> FrameRow<'a> {
    let shot = &record.shot;
    let body = catalogue
        .cameras
        .iter()
        .position(|c| shot.camera.as_ref() == Some(&c.id));
    // A phase is given by its place among all.
    let phase = Phase::ALL.iter().position(|phase| *phase == record.phase);
    let fit = record.disc;
    let shown = |circle: Option<Circle>| circle.map(|c| [c.x_px, c.y_px, c.radius_px].map(tenths));
    FrameRow {
        name: record.name(),
        t: record.utc.map(|utc| thousandths(utc.unix_s())),
        at: record
            .utc
            .map_or_else(String::new, |utc| time_of_day(utc, zone)),
        phase: phase.unwrap_or(Phase::ALL.len()) as u8,
        body: body.map_or(-1, |body| body as i32),
        burst: record.burst.map(|place| place.id),
        quality: record.quality.filter(|q| q.is_finite()).map(thousandths),
        flags: record.flags.iter().map(Flag::word).collect(),
        exposure: exposure(record),
        covered: record.predicted.map(|sky| thousandths(sky.obscuration)),
        size: shot.width_px.zip(shot.height_px),
        sun: shown(disc(record).and(fit).and_then(|fit| fit.sun)),
        moon: shown(disc(record).and(fit).and_then(|fit| fit.moon)),
        seen: reads_pixels(shot.file.format) && record.phase != Phase::Unreadable,
        wide: record.role == Some(Role::Wide),
    }
}

fn thousandths(v: f64) -> f64 {
    (v * 1e3).round() / 1e3
}

fn tenths(v: f64) -> f64 {
    (v * 10.0).round() / 10.0
}

/// "1/800 s, f/8, ISO 100".
fn exposure(record: &ShotRecord) -> String {
    let exposure = &record.shot.exposure;
    let sound = |v: Option<f64>| v.filter(|v| v.is_finite() && *v > 0.0);
    let shutter = sound(exposure.shutter_s).map(|s| match s < 0.3 {
        true => format!("1/{:.0} s", 1.0 / s),
        false => format!("{} s", tenths(s)),
    });
    let stop = sound(exposure.f_number).map(|f| format!("f/{}", tenths(f)));
    let iso = sound(exposure.iso).map(|iso| format!("ISO {iso:.0}"));
    let words: Vec<String> = [shutter, stop, iso].into_iter().flatten().collect();
    words.join(", ")
}
