//! The same for people: plain text for a terminal.

use std::fmt::Write;

use super::circumstances::Circumstances;
use super::durations::minutes;
use super::horizon::{HorizonCrossing, Visible};
use super::zone::CivilZone;
use super::{bead_words, kind_word, limb_words, local_word};
use crate::domain::{ContactEvent, Contacts, LocalKind, MoonLimb, Site, Utc, safety_words};
use crate::ephemeris::{DeltaTStatus, Radii};

/// The circumstances in words, with the cautions; ends with a line feed.
pub fn text(all: &Circumstances) -> String {
    let mut out = String::new();
    heading(&mut out, all);
    table(&mut out, all);
    findings(&mut out, all);
    out.push_str(&bead_words::table(&all.beads, &all.zone));
    basis(&mut out, all);
    safety(&mut out, Some(all.contacts.kind));
    out
}

/// The eclipses seen from a place, a line each.
pub fn list_text(
    site: &Site,
    zone: &CivilZone,
    years: (i16, i16),
    all: &[Circumstances],
) -> String {
    let mut out = format!(
        "Eclipses seen from {}, {} to {}; times in {}\n\n",
        place(site),
        years.0,
        years.1,
        zone.name
    );
    if all.is_empty() {
        out.push_str("none\n");
        return out;
    }
    out.push_str("eclipse      on its track  here     maximum here             magnitude  obscured   alt  central   seen\n");
    for one in all {
        list_line(&mut out, one);
    }
    out.push('\n');
    safety(&mut out, None);
    out
}

fn list_line(out: &mut String, all: &Circumstances) {
    let c = &all.contacts;
    let local = all.zone.local(c.maximum.utc, 0);
    let central = c.central_duration_s().map_or(String::from("-"), minutes);
    let _ = writeln!(
        out,
        "{}   {:<12}  {:<7}  {} {:<12}  {:>9.3}  {:>6.1} %  {:>4.0}  {:>8}  {}",
        c.eclipse_date,
        kind_word(c.eclipse_kind),
        local_word(c.kind),
        local.date,
        local.time,
        c.magnitude,
        percent(c, 99.9),
        c.maximum.sky.sun_alt_refracted_deg,
        central,
        seen_words(all),
    );
}

/// Covered area in percent; what is not total never rounds to all of it, `most` being the greatest number of that many places below.
fn percent(contacts: &Contacts, most: f64) -> f64 {
    let percent = contacts.obscuration * 100.0;
    if contacts.kind == LocalKind::Total {
        percent
    } else {
        percent.min(most)
    }
}

fn seen_words(all: &Circumstances) -> String {
    match all.visible {
        Visible::All => "whole".to_owned(),
        Visible::No => "below the horizon".to_owned(),
        Visible::Part => {
            let rises = all.crossings.iter().map(|c| {
                let word = if c.rising { "sunrise" } else { "sunset" };
                format!("{word} {}", all.zone.local(c.sky.utc, 0).time)
            });
            rises.collect::<Vec<_>>().join(", ")
        }
    }
}

fn heading(out: &mut String, all: &Circumstances) {
    let c = &all.contacts;
    let _ = writeln!(
        out,
        "{} solar eclipse of {}: {} at {}",
        capital(kind_word(c.eclipse_kind)),
        c.eclipse_date,
        local_word(c.kind),
        place(&c.site)
    );
    let _ = writeln!(
        out,
        "Local times in {} ({})\n",
        all.zone.name,
        all.zone.local(c.maximum.utc, 0).offset
    );
}

/// A place as people write it.
pub(super) fn place(site: &Site) -> String {
    let side = |value: f64, plus, minus| if value < 0.0 { minus } else { plus };
    format!(
        "{:.4} {}, {:.4} {}, {:.0} m",
        site.lat_deg.abs(),
        side(site.lat_deg, 'N', 'S'),
        site.lon_deg.abs(),
        side(site.lon_deg, 'E', 'W'),
        site.elev_m
    )
}

fn table(out: &mut String, all: &Circumstances) {
    out.push_str("         local time             UTC            +-     alt  seen at      az       P       V       q  Sun\n");
    let mut lines: Vec<(Utc, String)> = all
        .contacts
        .events()
        .map(|event| (event.utc, table_line(all, event)))
        .collect();
    let crossings = all.crossings.iter();
    lines.extend(crossings.map(|crossing| (crossing.sky.utc, horizon_line(all, crossing))));
    lines.sort_by_key(|(utc, _)| *utc);
    lines.iter().for_each(|(_, line)| out.push_str(line));
    out.push('\n');
}

fn horizon_line(all: &Circumstances, crossing: &HorizonCrossing) -> String {
    let sky = &crossing.sky;
    let local = all.zone.local(sky.utc, 1);
    format!(
        "{:<8} {} {}  {}          {:>6.2}  {:>7.2}  {:>6.2}    {:.0} % of the area covered\n",
        if crossing.rising { "sunrise" } else { "sunset" },
        local.date,
        local.time,
        utc_time(sky.utc),
        sky.sun_alt_deg,
        sky.sun_alt_refracted_deg,
        sky.sun_az_deg,
        sky.obscuration * 100.0
    )
}

fn table_line(all: &Circumstances, event: &ContactEvent) -> String {
    let sky = &event.sky;
    let local = all.zone.local(event.utc, 1);
    format!(
        "{:<8} {} {}  {}  {:>4.1} s  {:>6.2}  {:>7.2}  {:>6.2}  {:>6.2}  {:>6.2}  {:>6.1}  {}\n",
        event.kind.word(),
        local.date,
        local.time,
        utc_time(event.utc),
        event.sigma_s,
        sky.sun_alt_deg,
        sky.sun_alt_refracted_deg,
        sky.sun_az_deg,
        event.position_angle_deg,
        event.vertex_angle_deg,
        sky.parallactic_deg,
        if event.sun_up { "up" } else { "down" }
    )
}

fn utc_time(utc: Utc) -> String {
    let whole = CivilZone::utc().local(utc, 1);
    format!("{}Z", whole.time)
}

fn findings(out: &mut String, all: &Circumstances) {
    let c = &all.contacts;
    if let Some(s) = c.central_duration_s() {
        let word = if c.kind == LocalKind::Total {
            "Totality"
        } else {
            "Annularity"
        };
        let _ = writeln!(out, "{word} lasts {}.", minutes(s));
    }
    let _ = writeln!(
        out,
        "Magnitude {:.4}, {:.2} % of the Sun's area covered, Moon/Sun {:.4}.",
        c.magnitude,
        percent(c, 99.99),
        c.maximum.sky.ratio()
    );
    if let Some((c2, c3)) = all.valleys {
        let time = |utc| all.zone.local(utc, 1).time;
        let _ = writeln!(
            out,
            "With the smaller Moon of the lunar valleys (k2 = {}) totality runs from {} to {}, {}.",
            Radii::K_VALLEYS,
            time(c2),
            time(c3),
            minutes(c3.seconds_since(c2))
        );
    } else if c.kind == LocalKind::Total && c.limb == MoonLimb::Mean {
        out.push_str("So near the limit that sunlight through the lunar valleys may leave no totality at all.\n");
    }
    for sentence in limb_words::sentences(all) {
        let _ = writeln!(out, "{sentence}");
    }
    if let Some(path) = &all.near_path {
        let _ = writeln!(out, "{}", path.words());
    }
    horizon_words(out, all);
    out.push('\n');
}

fn horizon_words(out: &mut String, all: &Circumstances) {
    if all.visible == Visible::No {
        out.push_str(
            "The Sun is below the horizon from C1 to C4: nothing of it is seen from here.\n",
        );
    }
    if !all.contacts.maximum.sun_up
        && let Some(best) = all.best_seen
    {
        let _ = writeln!(
            out,
            "Maximum is below the horizon; at best {:.0} % of the Sun's area is covered, at {}.",
            best.obscuration * 100.0,
            all.zone.local(best.utc, 0).time
        );
    }
}

fn basis(out: &mut String, all: &Circumstances) {
    out.push_str(
        "alt: airless; seen at: refracted (Bennett 1982, 1010 mbar, 10 C); az from north through east; P from north, V from\n\
         the zenith, both anticlockwise: the point of the Sun's limb touched, at maximum the Moon's direction. +- is one sigma.\n",
    );
    let _ = writeln!(
        out,
        "{}, Sun {}\" at 1 au; delta T {:.2} s, {}{}; flat horizon.\n",
        moon_basis(all),
        all.radii.sun_arcsec,
        all.contacts.delta_t_s,
        all.delta_t_status.word(),
        if matches!(
            all.delta_t_status,
            DeltaTStatus::Extrapolated | DeltaTStatus::Predicted
        ) {
            format!(" (+- {:.2} s)", all.delta_t_sigma_s)
        } else {
            String::new()
        }
    );
}

/// How the Moon's size is taken.
fn moon_basis(all: &Circumstances) -> String {
    let radii = &all.radii;
    match all.contacts.limb {
        MoonLimb::Mean => format!(
            "k {} (C1, C4) and {} (C2, C3)",
            radii.moon_k, radii.moon_k_inner
        ),
        MoonLimb::Real => format!(
            "C2 and C3 on the Moon's real limb (heights: NASA LOLA, LDEM_16; P about the Moon's centre), C1 and C4 with k {}",
            radii.moon_k
        ),
    }
}

fn safety(out: &mut String, kind: Option<LocalKind>) {
    out.push_str("Safety\n");
    for sentence in safety_words(kind) {
        let _ = writeln!(out, "  {sentence}");
    }
}

pub(super) fn capital(word: &str) -> String {
    let mut letters = word.chars();
    letters.next().map_or(String::new(), |first| {
        first.to_uppercase().chain(letters).collect()
    })
}
