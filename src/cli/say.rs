//! Words for the person: the closing summary, notices, errors.

use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};

use contactstrip::catalogue::{CameraRecord, Catalogue, SourceRecord};
use contactstrip::domain::{
    ContactEvent, LocalKind, Notice, Phase, Severity, Shown, counted, in_line, in_lines,
    upper_median,
};
use contactstrip::phase::zone::Zone;
use contactstrip::pipeline::REPORT_FILE;
use jiff::tz::TimeZone;

use super::common::Common;

/// Notices printed one by one before the rest are only counted.
const NOTICES_SHOWN: usize = 40;

/// Prints results; a closed pipe is success. Nothing in them moves the cursor or colours the screen.
pub(crate) fn result(text: &str) -> io::Result<()> {
    let mut out = io::stdout().lock();
    let text = in_lines(text);
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(e) if e.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        other => other,
    }
}

/// Says something aside from the results. Where nobody listens any more the run goes on.
pub(crate) fn aside(text: &str) {
    let mut err = io::stderr().lock();
    let _ = err.write_all(in_lines(text).as_bytes());
}

/// Prints an error with its causes.
pub(crate) fn error(error: &anyhow::Error) {
    let told = error.to_string();
    aside(&format!("error: {told}\n"));
    for cause in error.chain().skip(1) {
        let cause = cause.to_string();
        if !told.contains(&cause) {
            aside(&format!("  because: {cause}\n"));
        }
    }
}

/// Prints notices, those to look at first; all of them where asked to be verbose.
pub(crate) fn notices(notices: &[Notice], common: &Common) {
    if common.quiet {
        return;
    }
    let most = if common.verbose {
        notices.len()
    } else {
        NOTICES_SHOWN
    };
    let mut ordered: Vec<&Notice> = notices.iter().collect();
    ordered.sort_by_key(|n| std::cmp::Reverse(n.severity));
    for notice in ordered.iter().take(most) {
        let mark = match notice.severity {
            Severity::Look => "warning",
            Severity::Note => "note",
        };
        aside(&format!("{mark}: {notice}\n"));
    }
    if ordered.len() > most {
        let more = ordered.len() - most;
        aside(&format!("and {more} more; --verbose tells all of them\n"));
    }
}

/// The closing summary of a card: a dozen lines.
pub(crate) fn summary(
    catalogue: &Catalogue,
    files: &[PathBuf],
    out: &Path,
    dry_run: bool,
) -> String {
    let mut text = String::new();
    if let Some(contacts) = &catalogue.contacts {
        let zone = Zone::rules_of(catalogue.zone.as_deref());
        let site = contacts.site;
        line(
            &mut text,
            "Eclipse",
            &format!(
                "{} here (magnitude {:.3}), {}, at {:.4}, {:.4}, {:.0} m",
                kind_word(contacts.kind),
                contacts.magnitude,
                contacts.eclipse_date,
                site.lat_deg,
                site.lon_deg,
                site.elev_m
            ),
        );
        let times: Vec<String> = contacts
            .events()
            .map(|event| local_time(event, &zone))
            .collect();
        line(&mut text, "Contacts", &times.join("  "));
        let shown = catalogue.zone.as_deref().unwrap_or("UTC");
        let central = contacts
            .central_duration_s()
            .map(|s| format!("; {} lasts {s:.1} s", central_word(contacts.kind)))
            .unwrap_or_default();
        line(&mut text, "", &format!("local time, {shown}{central}"));
    }
    for (n, source) in catalogue.sources.iter().enumerate() {
        let label = if n == 0 { "Cards" } else { "" };
        line(&mut text, label, &in_line(&card_words(catalogue, source)));
    }
    for (n, camera) in cameras_of_the_day(catalogue).enumerate() {
        let label = if n == 0 { "Clock" } else { "" };
        line(
            &mut text,
            label,
            &in_line(&format!("{}: {}", camera.label, camera.clock_words())),
        );
    }
    line(&mut text, "Shots", &counts_by_phase(catalogue));
    if !catalogue.films.is_empty() {
        line(&mut text, "Films", &film_words(catalogue));
    }
    line(&mut text, "Bursts", &burst_words(catalogue));
    line(&mut text, "Discs", &disc_words(catalogue));
    line(&mut text, "Warnings", &flag_words(catalogue));
    if !files.is_empty() {
        let label = if dry_run { "would write" } else { "Written" };
        line(&mut text, label, &file_words(files, out));
    }
    text
}

/// A joined card: "anna: 214 shots, total eclipse (magnitude 1.021), Anna Example".
fn card_words(catalogue: &Catalogue, source: &SourceRecord) -> String {
    let shots = catalogue.shots.iter();
    let shots = shots.filter(|s| source.has(s.name())).count();
    let credit = source.credit.iter().map(|credit| format!(", {credit}"));
    format!(
        "{}: {}, {} (magnitude {:.3}){}",
        source.name,
        counted(shots, "shot"),
        kind_word(source.contacts.kind),
        source.contacts.magnitude,
        credit.collect::<String>()
    )
}

/// The bodies that took part in the eclipse: others have a clock nobody asks for.
fn cameras_of_the_day(catalogue: &Catalogue) -> impl Iterator<Item = &CameraRecord> {
    let took_part = |camera: &&CameraRecord| {
        catalogue.shots.iter().any(|shot| {
            shot.shot.camera.as_ref() == Some(&camera.id)
                && !matches!(shot.phase, Phase::Unrelated | Phase::Unreadable)
        })
    };
    catalogue.cameras.iter().filter(took_part)
}

fn line(text: &mut String, label: &str, words: &str) {
    writeln!(text, "{label:<12}{words}").expect("writing to a string cannot fail");
}

/// What the eclipse is at the site.
fn kind_word(kind: LocalKind) -> &'static str {
    match kind {
        LocalKind::None => "no eclipse",
        LocalKind::Partial => "partial eclipse",
        LocalKind::Annular => "annular eclipse",
        LocalKind::Total => "total eclipse",
    }
}

fn central_word(kind: LocalKind) -> &'static str {
    if kind == LocalKind::Annular {
        "annularity"
    } else {
        "totality"
    }
}

fn local_time(event: &ContactEvent, zone: &TimeZone) -> String {
    let local = zone.to_datetime(event.utc.nearest_second().timestamp());
    let below = if event.sun_up { "" } else { " (Sun down)" };
    format!(
        "{} {}{below}",
        event.kind.word(),
        local.strftime("%H:%M:%S")
    )
}

/// "ingress 22 · totality 31", in the phases' order.
fn by_phase(phases: impl Iterator<Item = Phase>) -> String {
    let mut counts: BTreeMap<Phase, usize> = BTreeMap::new();
    for phase in phases {
        *counts.entry(phase).or_default() += 1;
    }
    let words: Vec<String> = counts.iter().map(|(p, n)| format!("{p} {n}")).collect();
    words.join(" · ")
}

fn counts_by_phase(catalogue: &Catalogue) -> String {
    let phases = by_phase(catalogue.shots.iter().map(|shot| shot.phase));
    let strays = match catalogue.strays.len() {
        0 => String::new(),
        n => format!("; {}", counted(n, "other file")),
    };
    let copies = catalogue.cards.iter().flat_map(|card| &card.files);
    let copies = match copies.filter(|file| file.same_as.is_some()).count() {
        0 => String::new(),
        n => format!("; {n} second copies of the same bytes"),
    };
    format!("{} in all: {phases}{copies}{strays}", catalogue.shots.len(),)
}

/// Films by the phase each goes by, and how long they last together.
fn film_words(catalogue: &Catalogue) -> String {
    let lengths = catalogue.films.iter().filter_map(|r| r.film.duration_s);
    let minutes = lengths.sum::<f64>() / 60.0;
    format!(
        "{} in all, {minutes:.1} min: {}",
        catalogue.films.len(),
        by_phase(catalogue.films.iter().map(|film| film.phase))
    )
}

fn burst_words(catalogue: &Catalogue) -> String {
    let mut sizes: BTreeMap<u32, usize> = BTreeMap::new();
    for place in catalogue.shots.iter().filter_map(|s| s.burst) {
        *sizes.entry(place.id).or_default() += 1;
    }
    let mut by_length: BTreeMap<usize, usize> = BTreeMap::new();
    for size in sizes.values() {
        *by_length.entry(*size).or_default() += 1;
    }
    if by_length.is_empty() {
        return "none".to_owned();
    }
    let words: Vec<String> = by_length
        .iter()
        .rev()
        .map(|(length, n)| format!("{n} of {length} frames"))
        .collect();
    words.join(", ")
}

fn disc_words(catalogue: &Catalogue) -> String {
    let mut sigmas: Vec<f64> = catalogue
        .shots
        .iter()
        .filter_map(|s| s.disc.map(|d| d.sigma_px))
        .collect();
    match upper_median(&mut sigmas) {
        Some(median) => format!(
            "{} centred, median sigma {median:.2} px",
            counted(sigmas.len(), "frame")
        ),
        None => "none found".to_owned(),
    }
}

fn flag_words(catalogue: &Catalogue) -> String {
    let mut counts: BTreeMap<&str, usize> = BTreeMap::new();
    for shot in &catalogue.shots {
        for flag in shot.flags.iter() {
            *counts.entry(flag.word()).or_default() += 1;
        }
    }
    if counts.is_empty() {
        return "no frame is flagged".to_owned();
    }
    let words: Vec<String> = counts.iter().map(|(w, n)| format!("{w} {n}")).collect();
    words.join(" · ")
}

fn file_words(files: &[PathBuf], out: &Path) -> String {
    let names: Vec<String> = files
        .iter()
        .map(|f| Shown(f.strip_prefix(out).unwrap_or(f)).to_string())
        .collect();
    format!("{} in {}", names.join(", "), Shown(out))
}

/// What a person would do next with results that are whole.
pub(crate) fn next(out: &Path, common: &Common) -> io::Result<()> {
    if common.quiet || common.dry_run {
        return Ok(());
    }
    let mut text = String::new();
    let page = out.join(REPORT_FILE);
    line(&mut text, "Next", &format!("open {}", Shown(&page)));
    let choose = format!("to change the strip: contactstrip choose {}", Shown(out));
    line(&mut text, "", &choose);
    result(&text)
}

/// The files a making command wrote, or would write, one a line.
pub(crate) fn files(files: &[PathBuf], dry_run: bool) -> String {
    let verb = if dry_run { "would write" } else { "wrote" };
    files
        .iter()
        .map(|f| format!("{verb} {}\n", Shown(f)))
        .collect()
}
