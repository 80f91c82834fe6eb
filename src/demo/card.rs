//! Draws the frames of a scenario and writes the card.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicUsize, Ordering};

use image::codecs::jpeg::JpegEncoder;
use image::{ExtendedColorType, RgbImage, imageops};
use rayon::prelude::*;

use super::DemoError;
use super::aim::{Placement, View};
use super::glare;
use super::grain::{Grain, rise};
use super::header;
use super::scenario::{Fault, PlannedShot, Scenario, Subject};
use super::sensor;
use super::sky::SkyInstant;
use super::tele::{self, Canvas, Heavens};
use super::truth::{self, DemoTruth, FrameTruth};
use super::wide::{self, Valley};
use crate::catalogue::write_atomically;
use crate::raster::{LinearImage, LinearRgb};

/// Folder of the card below the demo's folder.
pub const CARD_FOLDER: &str = "card";
/// Folder of the truth below the demo's folder.
pub const TRUTH_FOLDER: &str = "truth";
/// The list of drawn files, below the truth's folder: what a later drawing may replace.
const LIST_FILE: &str = "drawn-files.txt";

/// Draws a scenario into `dir/card` and its truth into `dir/truth`; `progress` hears frames done and frames in all.
///
/// A card drawn there before is replaced; files that were not drawn are never touched.
///
/// # Errors
/// [`DemoError::Foreign`] when `dir/card` holds a file no drawing made; [`DemoError`] when a frame cannot be encoded or
/// written.
pub fn draw_scenario(
    dir: &Path,
    scenario: &Scenario,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<DemoTruth, DemoError> {
    let names = file_names(scenario);
    claim(dir, scenario, &names)?;
    let heavens = Heavens::new(scenario.seed, &scenario.flames_deg, scenario.limb.clone());
    let done = AtomicUsize::new(0);
    progress(0, scenario.shots.len());
    let work = || -> Result<Vec<_>, DemoError> {
        (0..scenario.shots.len())
            .into_par_iter()
            .map(|n| {
                let shot = &scenario.shots[n];
                let noise_seed = scenario.seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ n as u64;
                let drawn = draw_frame(scenario, &heavens, shot, &names[n], noise_seed)?;
                let truth = drawn.truth.clone();
                write_frame(dir, scenario, shot, drawn)?;
                progress(
                    done.fetch_add(1, Ordering::Relaxed) + 1,
                    scenario.shots.len(),
                );
                Ok(truth)
            })
            .collect()
    };
    let frames = work()?;
    for (name, bytes) in &scenario.strays {
        write_bytes(&dir.join(CARD_FOLDER).join(name), bytes)?;
    }
    let truth = DemoTruth {
        scenario: scenario.name.clone(),
        site: scenario.site,
        contacts: *scenario.sky.contacts(),
        cameras: scenario.bodies.iter().map(truth::camera_truth).collect(),
        frames,
        strays: scenario
            .strays
            .iter()
            .map(|(name, _)| name.clone())
            .collect(),
    };
    write_truth(dir, &truth)?;
    Ok(truth)
}

/// Names below the card, DCF style: folder number and letters, file number, on to the next folder after 9999.
fn file_names(scenario: &Scenario) -> Vec<String> {
    let mut taken = vec![0_u32; scenario.bodies.len()];
    let name = |shot: &PlannedShot| {
        let body = &scenario.bodies[shot.body];
        let count = body.first_file - 1 + taken[shot.body];
        taken[shot.body] += 1;
        let (folder, letters) = body.folder;
        format!(
            "DCIM/{}{letters}/IMG_{:04}.JPG",
            folder + count / 9999,
            count % 9999 + 1
        )
    };
    scenario.shots.iter().map(name).collect()
}

/// Refuses a card folder with files of somebody else's, clears an older drawing, and notes what will be drawn.
fn claim(dir: &Path, scenario: &Scenario, names: &[String]) -> Result<(), DemoError> {
    let card = dir.join(CARD_FOLDER);
    let list = dir.join(TRUTH_FOLDER).join(LIST_FILE);
    let older: BTreeSet<String> = match std::fs::read_to_string(&list) {
        Ok(text) => text.lines().map(str::to_owned).collect(),
        Err(_) => BTreeSet::new(),
    };
    let found = files_below(&card)?;
    let foreign = |folder: PathBuf, file: &String| DemoError::Foreign {
        folder,
        file: file.clone(),
    };
    if let Some(file) = found.iter().find(|name| !older.contains(*name)) {
        return Err(foreign(card, file));
    }
    let truth = dir.join(TRUTH_FOLDER);
    if let Some(file) = files_below(&truth)?.first().filter(|_| older.is_empty()) {
        return Err(foreign(truth, file));
    }
    let drawn: BTreeSet<&str> = names
        .iter()
        .map(String::as_str)
        .chain(scenario.strays.iter().map(|(name, _)| name.as_str()))
        .collect();
    for stale in found.iter().filter(|name| !drawn.contains(name.as_str())) {
        let path = card.join(stale);
        std::fs::remove_file(&path).map_err(|cause| DemoError::Read { path, cause })?;
    }
    let text: String = drawn.iter().map(|name| format!("{name}\n")).collect();
    write_bytes(&list, text.as_bytes())
}

/// Every file below a folder, as paths with `/`; none when there is no folder.
fn files_below(folder: &Path) -> Result<Vec<String>, DemoError> {
    if !folder.exists() {
        return Ok(Vec::new());
    }
    let mut names = Vec::new();
    for entry in walkdir::WalkDir::new(folder).sort_by_file_name() {
        let entry = entry.map_err(|e| DemoError::Read {
            path: e.path().map_or_else(|| folder.to_owned(), Path::to_owned),
            cause: e.into(),
        })?;
        if entry.file_type().is_dir() {
            continue;
        }
        let inside: PathBuf = entry
            .path()
            .strip_prefix(folder)
            .unwrap_or(entry.path())
            .to_owned();
        let parts: Vec<_> = inside.iter().map(|p| p.to_string_lossy()).collect();
        names.push(parts.join("/"));
    }
    Ok(names)
}

/// A drawn frame.
#[derive(Clone, Debug)]
pub struct DrawnFrame {
    /// Pixels across, upright.
    pub width_px: usize,
    /// Pixels down, upright.
    pub height_px: usize,
    /// 8-bit sRGB, row-major, upright.
    pub pixels: Vec<u8>,
    /// What it really shows; `file` is the name given.
    pub truth: FrameTruth,
}

/// Paints and exposes one frame of a scenario, in memory.
///
/// `heavens` is what shines and covers; `noise_seed` seeds the sensor's noise.
///
/// # Errors
/// [`DemoError::NoSky`] when the frame lies outside the scenario's sky table.
pub fn draw_frame(
    scenario: &Scenario,
    heavens: &Heavens,
    shot: &PlannedShot,
    name: &str,
    noise_seed: u64,
) -> Result<DrawnFrame, DemoError> {
    let body = &scenario.bodies[shot.body];
    let view = View::new(body, shot.aim, shot.orientation.swaps_sides());
    let placed = match shot.subject {
        Subject::Ordinary(_) => None,
        _ => Some(view.place(&sky_of(scenario, shot)?)),
    };
    let light = match (shot.subject, &placed) {
        (Subject::Sun, Some(placed)) => sun_light(scenario, heavens, shot, &view, placed)?,
        (Subject::Landscape, _) => valley_light(scenario, heavens, shot, &view)?,
        (Subject::Ordinary(which), _) => {
            wide::ordinary(Valley::elsewhere(scenario.seed, which), &view, body.blur_px)
        }
        _ => LinearRgb::new(view.width_px, view.height_px),
    };
    Ok(DrawnFrame {
        width_px: view.width_px,
        height_px: view.height_px,
        pixels: sensor::expose(
            &light,
            truth::gain(scenario, shot),
            f64::from(shot.dials.iso),
            body,
            noise_seed,
        ),
        truth: truth::frame_truth(scenario, shot, name, placed.as_ref()),
    })
}

/// Sun and Moon in the middle of an exposure.
fn sky_of(scenario: &Scenario, shot: &PlannedShot) -> Result<SkyInstant, DemoError> {
    let middle = truth::middle(shot);
    scenario.sky.at(middle).ok_or(DemoError::NoSky(middle))
}

/// The long lens's picture.
fn sun_light(
    scenario: &Scenario,
    heavens: &Heavens,
    shot: &PlannedShot,
    view: &View,
    placed: &Placement,
) -> Result<LinearRgb, DemoError> {
    let sky = sky_of(scenario, shot)?;
    let body = &scenario.bodies[shot.body];
    let canvas = Canvas {
        width_px: view.width_px,
        height_px: view.height_px,
        blur_px: if shot.fault == Fault::Soft {
            6.0
        } else {
            body.blur_px
        },
        trail_px: trail_px(scenario, shot, view),
    };
    if shot.filter_stops <= 0.0 {
        return Ok(tele::bare_sun(heavens, &sky, placed, &canvas));
    }
    let mut light = tele::filtered_sun(heavens, &sky, placed, &canvas);
    if shot.fault == Fault::Cloud {
        cloud_over(&mut light, scenario.seed);
    }
    Ok(light)
}

/// How far the sky moves through a fixed frame during the exposure.
fn trail_px(scenario: &Scenario, shot: &PlannedShot, view: &View) -> (f64, f64) {
    let end = shot.start.plus_s(shot.dials.true_exposure().shutter_s);
    match (scenario.sky.at(shot.start), scenario.sky.at(end)) {
        (Some(a), Some(b)) => {
            let (xa, ya) = view.pixel(a.alt_refracted_deg, a.az_deg);
            let (xb, yb) = view.pixel(b.alt_refracted_deg, b.az_deg);
            (xb - xa, yb - ya)
        }
        _ => (0.0, 0.0),
    }
}

/// Thin cloud: uneven loss, and the lost light as a glow about the disc.
fn cloud_over(light: &mut LinearRgb, seed: u64) {
    let grain = Grain::new(seed, 51);
    let (width, height) = (light.width(), light.height());
    let luma: Vec<f32> = light.data().chunks_exact(3).map(|p| p[1]).collect();
    let glow = glare::halo(&LinearImage::from_data(width, height, luma), 0.35, 1.9);
    for y in 0..height {
        for x in 0..width {
            let (u, v) = (x as f32 / width as f32, y as f32 / width as f32);
            let wisps = grain.planes(u * 5.0 + v * 2.0, v * 9.0, 5, 0.55);
            let through = 0.42 + 0.26 * wisps;
            let veil = glow.at(x, y) * (0.75 + 0.5 * rise(-0.4, 0.5, wisps));
            let [r, g, b] = light.at(x, y);
            light.set(
                x,
                y,
                [r * through + veil, g * through + veil, b * through + veil],
            );
        }
    }
}

/// The wide camera's picture.
fn valley_light(
    scenario: &Scenario,
    heavens: &Heavens,
    shot: &PlannedShot,
    view: &View,
) -> Result<LinearRgb, DemoError> {
    let (mid, sky) = (truth::middle(shot), sky_of(scenario, shot)?);
    let contacts = scenario.sky.contacts();
    let swing = match (contacts.c2, contacts.c3) {
        (Some(c2), Some(c3)) => 2.0 * mid.seconds_since(c2) / c3.seconds_since(c2) - 1.0,
        _ => 0.0,
    };
    let scene = wide::Scene {
        heavens,
        valley: Valley::new(scenario.seed),
        lights: &scenario.lights,
        through: scenario.air.transmission(sky.alt_refracted_deg),
        swing,
    };
    Ok(wide::landscape(
        &scene,
        &sky,
        view,
        scenario.bodies[shot.body].blur_px,
    ))
}

/// Share of a truncated file that reached the card.
const TRUNCATED_SHARE: f64 = 0.38;

/// Turns a frame as its camera stores it, encodes it, sets the header before it.
fn write_frame(
    dir: &Path,
    scenario: &Scenario,
    shot: &PlannedShot,
    drawn: DrawnFrame,
) -> Result<(), DemoError> {
    let name = drawn.truth.file.as_str();
    let (width, height) = (drawn.width_px as u32, drawn.height_px as u32);
    let upright = RgbImage::from_raw(width, height, drawn.pixels).expect("three values a pixel");
    let stored = match shot.orientation.exif() {
        6 => imageops::rotate270(&upright),
        8 => imageops::rotate90(&upright),
        3 => imageops::rotate180(&upright),
        _ => upright,
    };
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, scenario.jpeg_quality)
        .encode(
            &stored,
            stored.width(),
            stored.height(),
            ExtendedColorType::Rgb8,
        )
        .map_err(|cause| DemoError::Encode {
            file: name.to_owned(),
            cause,
        })?;
    let body = &scenario.bodies[shot.body];
    let app1 = header::app1(body, shot, &scenario.site, stored.dimensions()).map_err(|cause| {
        DemoError::Header {
            file: name.to_owned(),
            cause,
        }
    })?;
    // Start-of-image marker, header, the rest.
    let mut bytes = jpeg[..2].to_vec();
    bytes.extend_from_slice(&app1);
    bytes.extend_from_slice(&jpeg[2..]);
    if shot.fault == Fault::Truncated {
        bytes.truncate((bytes.len() as f64 * TRUNCATED_SHARE) as usize);
    }
    write_bytes(&dir.join(CARD_FOLDER).join(name), &bytes)
}

fn write_truth(dir: &Path, truth: &DemoTruth) -> Result<(), DemoError> {
    let folder = dir.join(TRUTH_FOLDER);
    write_atomically(&folder.join("truth.csv"), |file| truth.write_table(file))?;
    write_atomically(&folder.join("truth.json"), |file| {
        serde_json::to_writer_pretty(&mut *file, truth)?;
        std::io::Write::write_all(file, b"\n")
    })?;
    Ok(())
}

fn write_bytes(path: &Path, bytes: &[u8]) -> Result<(), DemoError> {
    write_atomically(path, |file| std::io::Write::write_all(file, bytes))?;
    Ok(())
}
