//! Stills from a card's films, taken by the ffmpeg on the path: beads about second and third contact, the corona in totality.
//!
//! Each is written below OUT with its true time and a camera of its own in its header, so that the folder can be given to `sort` and `all`
//! beside the card: then the stills fill the strip, and what they show sets the film's clock.

use std::io::Read as _;
use std::process::{Command, Stdio};

use super::earlier::{Opened, open};
use super::out::OutFolder;
use super::{Made, PipelineError, Target, Watch};
use crate::catalogue::FilmRecord;
use crate::domain::{CameraId, Contacts, LocalKind, Notice, Orientation, Utc};
use crate::raster::{self, Picture, PictureInfo};

/// Folder below OUT for the stills, one folder a film in it.
pub const FILM_STILLS: &str = "film-stills";

/// Seconds taken before second contact and after third, where beads stand, and on the dark side of either (common practice: beads last
/// some seconds; our choice of how many to spare).
const BEADS_BRIGHT_S: f64 = 8.0;
const BEADS_DARK_S: f64 = 3.0;

/// Between stills of beads, and of totality, in seconds.
const BEADS_STEP_S: f64 = 0.1;
const TOTALITY_STEP_S: f64 = 10.0;

/// A film whose time is less sure gets the windows of beads wider by three sigmas, but by no more than this, in seconds.
const MOST_WIDER_S: f64 = 30.0;

/// Largest still taken from ffmpeg, in bytes: a picture of 8K without loss.
const MOST_BYTES: u64 = 256 << 20;

/// Quality of the stills, 1 to 100.
const QUALITY: u8 = 95;

/// Takes stills from the films of a record.
///
/// # Errors
/// [`PipelineError`] when there is no ffmpeg, the record cannot be read, or OUT cannot be written to. A film that ffmpeg cannot read is a
/// notice.
pub fn film(target: &Target, watch: &dyn Watch) -> Result<Made, PipelineError> {
    let Opened {
        folder,
        catalogue,
        away,
    } = open(target)?;
    let mut made = Made::default();
    let Some(contacts) = catalogue.contacts.as_ref() else {
        return Ok(Made::told(Notice::look(
            "no stills: the record has no eclipse",
        )));
    };
    let due: Vec<(&FilmRecord, Vec<f64>)> = catalogue
        .films
        .iter()
        .map(|film| {
            let own = catalogue.source_of(film.name());
            let there = own.map_or(contacts, |source| &source.contacts);
            (film, moments(film, there))
        })
        .filter(|(_, moments)| !moments.is_empty())
        .collect();
    if due.is_empty() {
        let text = "no stills: no film with a known time runs through second or third contact or totality; see films.csv";
        return Ok(Made::told(Notice::look(text)).and_told(away));
    }
    there_is_ffmpeg()?;
    let count: usize = due.iter().map(|(_, moments)| moments.len()).sum();
    if !target.dry_run {
        watch.begin("taking stills from films", count as u64);
        for (film, moments) in &due {
            of_film(film, moments, &folder, watch, &mut made)?;
        }
        watch.end();
    }
    made.files = vec![folder.path.join(FILM_STILLS)];
    made.text = format!(
        "{count} stills from {} films; `contactstrip all CARD {FILM_STILLS}` with -o elsewhere takes them in as a camera of its own\n",
        due.len()
    );
    made.notices.extend(folder.told());
    Ok(made.and_told(away))
}

/// Seconds into a film at which stills are due, in order, each at the beginning of one of its pictures.
fn moments(film: &FilmRecord, contacts: &Contacts) -> Vec<f64> {
    let (Some(begin), Some(length_s), Some(rate)) =
        (film.utc, film.film.duration_s, film.film.frame_rate)
    else {
        return Vec::new();
    };
    let Some((c2, c3)) = contacts.c2.zip(contacts.c3) else {
        return Vec::new();
    };
    let wider = (3.0 * film.utc_sigma_s.unwrap_or(0.0)).min(MOST_WIDER_S);
    let every = |from: Utc, from_s: f64, to: Utc, to_s: f64, step: f64| {
        let count = ((to.seconds_since(from) + to_s - from_s) / step)
            .floor()
            .max(-1.0);
        (0..=count as i64).map(move |n| from.plus_s(from_s + n as f64 * step))
    };
    let beads = every(
        c2.utc,
        -BEADS_BRIGHT_S - wider,
        c2.utc,
        BEADS_DARK_S + wider,
        BEADS_STEP_S,
    )
    .chain(every(
        c3.utc,
        -BEADS_DARK_S - wider,
        c3.utc,
        BEADS_BRIGHT_S + wider,
        BEADS_STEP_S,
    ));
    let dark = every(
        c2.utc,
        TOTALITY_STEP_S,
        c3.utc,
        -TOTALITY_STEP_S,
        TOTALITY_STEP_S,
    );
    let dark = dark.filter(|_| contacts.kind == LocalKind::Total);
    let mut pictures: Vec<i64> = beads
        .chain(dark)
        .map(|utc| utc.seconds_since(begin))
        .filter(|s| (0.0..length_s).contains(s))
        .map(|s| (s * rate).round() as i64)
        .filter(|n| (*n as f64) < length_s * rate - 0.5)
        .collect();
    pictures.sort_unstable();
    pictures.dedup();
    pictures.into_iter().map(|n| n as f64 / rate).collect()
}

fn there_is_ffmpeg() -> Result<(), PipelineError> {
    let asked = Command::new("ffmpeg")
        .arg("-version")
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status();
    match asked {
        Ok(status) if status.success() => Ok(()),
        _ => Err(PipelineError::NoFfmpeg),
    }
}

/// The stills of one film; the first that cannot be taken is told and the next film is tried.
fn of_film(
    film: &FilmRecord,
    moments: &[f64],
    out: &OutFolder,
    watch: &dyn Watch,
    made: &mut Made,
) -> Result<(), PipelineError> {
    let (stem, Some(begin)) = (plain_stem(film.name()), film.utc) else {
        return Ok(());
    };
    for (n, seconds) in moments.iter().enumerate() {
        if watch.interrupted() {
            return Err(PipelineError::Interrupted);
        }
        let picture = match still(film, *seconds) {
            Ok(picture) => picture,
            Err(why) => {
                let text =
                    format!("no still at {seconds:.2} s: {why}; the rest of it was passed over");
                made.notices.push(Notice::look(text).about(film.name()));
                return Ok(());
            }
        };
        let utc = begin.plus_s(*seconds);
        let info = PictureInfo {
            camera: Some(camera(film)),
            captured: Some((utc, utc)),
            ..PictureInfo::new(format!("Still at {seconds:.3} s of {}", film.name()))
        };
        let name = format!("{FILM_STILLS}/{stem}/{stem}-{:04}.jpg", n + 1);
        out.write(&name, |file| {
            raster::write_jpeg(&picture, &info, QUALITY, file)
        })?;
        watch.advance(1);
    }
    // Stills of an earlier run at other moments; those of a film that broke off stay.
    let own = format!("{FILM_STILLS}/{stem}/");
    out.clear(&|name| name.starts_with(&own));
    Ok(())
}

/// One picture of a film. ffmpeg gives the first that begins not before the time asked for: half a picture early is that one for sure.
fn still(film: &FilmRecord, seconds: f64) -> Result<Picture, String> {
    let half = 0.5 / film.film.frame_rate.unwrap_or(f64::INFINITY);
    let path = std::path::absolute(&film.film.file.path).map_err(|e| e.to_string())?;
    let mut input = std::ffi::OsString::from("file:");
    input.push(path);
    let mut child = Command::new("ffmpeg")
        .args([
            "-v",
            "error",
            "-nostdin",
            "-protocol_whitelist",
            "file,pipe",
        ])
        .args(["-ss", &format!("{:.6}", (seconds - half).max(0.0)), "-i"])
        .arg(input)
        .args([
            "-frames:v",
            "1",
            "-an",
            "-f",
            "image2pipe",
            "-c:v",
            "png",
            "-",
        ])
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .map_err(|e| e.to_string())?;
    let mut bytes = Vec::new();
    let read = child
        .stdout
        .take()
        .map(|pipe| pipe.take(MOST_BYTES).read_to_end(&mut bytes));
    let ended = child.wait().map_err(|e| e.to_string())?;
    if !ended.success() || bytes.is_empty() || !matches!(read, Some(Ok(_))) {
        return Err("ffmpeg cannot read it there".to_owned());
    }
    let frame =
        raster::decode_bytes(&bytes, Orientation::UPRIGHT).map_err(|error| error.to_string())?;
    Ok(Picture::from_linear(&frame.linear_rgb(frame.full())))
}

/// The camera the stills are by: that of the film, with a word behind its model, as its clock and its pictures are not those of its stills.
fn camera(film: &FilmRecord) -> CameraId {
    let id = film.clock_of.as_ref().or(film.film.camera.as_ref());
    let (make, model) = match id {
        Some(id) if !id.model.is_empty() => (id.make.clone(), id.model.clone()),
        Some(id) => (id.make.clone(), plain_stem(film.name())),
        None => (String::new(), plain_stem(film.name())),
    };
    CameraId {
        make,
        model: format!("{model} film"),
        serial: None,
    }
}

/// A film's name on the card as the name of a folder: letters, figures and dashes.
fn plain_stem(name: &str) -> String {
    name.chars()
        .map(|c| match c.is_ascii_alphanumeric() {
            true => c,
            false => '-',
        })
        .collect()
}
