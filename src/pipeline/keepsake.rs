//! Small pictures of frames, kept below OUT for later commands.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use image::ImageFormat;
use sha2::{Digest as _, Sha256};

use super::out::OutFolder;
use super::{PipelineError, Watch};
use crate::catalogue::{Catalogue, ShotRecord, digits, write_atomically};
use crate::disc::{DiscReport, overlay};
use crate::domain::{CardFile, DiscFit, Limb, Phase, Shot};
use crate::model::at_once::{colour_bytes, each_frame};
use crate::model::discs;
use crate::raster::{self, Frame, Reading, thumbnail};

/// Folder of the thumbnails below OUT.
const THUMBS: &str = ".cache/thumbs";

/// Longer side of a thumbnail in pixels.
const THUMB_SIDE_PX: usize = 160;

/// JPEG quality of a thumbnail.
const THUMB_QUALITY: u8 = 72;

/// A name made of a file's name, size and time of change, and of `more`: another file or another state has another.
pub(crate) fn cache_name(file: &CardFile, more: &str) -> String {
    let key = format!(
        "{}\n{}\n{:?}\n{more}",
        file.name, file.size_bytes, file.modified
    );
    let digest = Sha256::digest(key.as_bytes());
    digits(&digest[..12])
}

/// Where the thumbnail of a shot is: another part of the frame makes another file.
fn thumb_path(out: &Path, catalogue: &Catalogue, record: &ShotRecord) -> PathBuf {
    let part = thumb_part(catalogue, record)
        .map(|part| format!("{part:?}"))
        .unwrap_or_default();
    out.join(THUMBS)
        .join(cache_name(&record.shot.file, &part) + ".jpg")
}

/// Solar radii to either side of a filtered disc.
const DISC_REACH: f64 = 1.35;

/// The same where there may be a corona (our choice: its bright part, and the disc still large).
const CORONA_REACH: f64 = 2.6;

/// What a thumbnail shows where there is a disc: its centre and how far around it, in pixels. Frames of a burst, and those about
/// totality, are at one scale; one of a burst without a disc is cut as its neighbours are.
fn thumb_part(catalogue: &Catalogue, record: &ShotRecord) -> Option<[f64; 3]> {
    let fit = record.disc.or_else(|| disc_beside(catalogue, record))?;
    let (circle, reach) = match fit.limb {
        Limb::Sun => (fit.sun?, DISC_REACH),
        Limb::Moon => (fit.moon?, CORONA_REACH),
    };
    let about_totality = matches!(
        record.phase,
        Phase::SecondContact | Phase::Totality | Phase::ThirdContact
    );
    let reach = match about_totality || record.burst.is_some() {
        true => CORONA_REACH,
        false => reach,
    };
    Some([circle.x_px, circle.y_px, reach * circle.radius_px])
}

/// The disc of the frame of the same burst that stands nearest in it.
fn disc_beside(catalogue: &Catalogue, record: &ShotRecord) -> Option<DiscFit> {
    let own = record.burst?;
    let size = |r: &ShotRecord| (r.shot.width_px, r.shot.height_px);
    let near = catalogue.shots.iter().filter_map(|other| {
        let place = other.burst.filter(|place| place.id == own.id)?;
        let fit = other.disc.filter(|_| size(other) == size(record))?;
        Some((place.index.abs_diff(own.index), fit))
    });
    near.min_by_key(|(off, _)| *off).map(|(_, fit)| fit)
}

/// Makes the thumbnails that are missing, of the frames that are there, each of the disc and what is around it or of the
/// whole.
///
/// # Errors
/// [`PipelineError::Interrupted`].
pub(crate) fn keep_thumbs(
    out: &Path,
    catalogue: &Catalogue,
    watch: &dyn Watch,
) -> Result<(), PipelineError> {
    let missing: Vec<usize> = (0..catalogue.shots.len())
        .filter(|&index| {
            let record = &catalogue.shots[index];
            let readable = record.phase != Phase::Unreadable && discs::has_pixels(&record.shot);
            readable && !thumb_path(out, catalogue, record).is_file()
        })
        .collect();
    watch.begin("making thumbnails", missing.len() as u64);
    let bytes = |index: usize| colour_bytes(&catalogue.shots[index].shot);
    each_frame(&missing, bytes, watch, |index| {
        let record = &catalogue.shots[index];
        if let Ok(frame) = raster::glimpse(&record.shot.file, record.shot.orientation) {
            keep_thumb(out, catalogue, record, &frame);
        }
    })?;
    watch.end();
    Ok(())
}

fn keep_thumb(out: &Path, catalogue: &Catalogue, record: &ShotRecord, frame: &Frame) {
    let part = thumb_part(catalogue, record).and_then(|[x, y, reach]| frame.clip(x, y, reach));
    let part = part.unwrap_or(frame.full());
    // A thumbnail that cannot be made or kept is missing from the page and nothing else.
    if let Ok(bytes) = thumbnail(frame, part, THUMB_SIDE_PX, THUMB_QUALITY) {
        let path = thumb_path(out, catalogue, record);
        let _ = write_atomically(&path, |f| f.write_all(&bytes));
    }
}

/// Folder of the overlays below OUT.
const OVERLAYS: &str = "overlays";

/// Keeps a small picture of a frame with the fitted circles drawn on it, at the frame's own place below the folder.
pub(crate) fn keep_overlay(out: &OutFolder, shot: &Shot, report: &DiscReport) {
    let Ok(frame) = raster::photograph(&shot.file, shot.orientation, Reading::Quick) else {
        return;
    };
    let picture = overlay(&frame, report.fit.as_ref().ok());
    let name = format!("{OVERLAYS}/{}.png", shot.file.name);
    // As with thumbnails: one that cannot be kept is missing and nothing else.
    let _ = out.write(&name, |f| {
        picture
            .write_to(&mut std::io::BufWriter::new(f), ImageFormat::Png)
            .map_err(std::io::Error::other)
    });
}

/// The thumbnail of a shot, made and kept where there is none yet.
pub(crate) fn thumb_or_made(
    out: &Path,
    catalogue: &Catalogue,
    record: &ShotRecord,
) -> Option<Vec<u8>> {
    if let Some(kept) = thumb(out, catalogue, record) {
        return Some(kept);
    }
    if record.phase == Phase::Unreadable || !discs::has_pixels(&record.shot) {
        return None;
    }
    let shot = &record.shot;
    let frame = raster::photograph(&shot.file, shot.orientation, Reading::Quick).ok()?;
    keep_thumb(out, catalogue, record, &frame);
    thumb(out, catalogue, record)
}

/// The thumbnail kept of a shot.
pub(crate) fn thumb(out: &Path, catalogue: &Catalogue, record: &ShotRecord) -> Option<Vec<u8>> {
    std::fs::read(thumb_path(out, catalogue, record)).ok()
}

/// Bytes of the thumbnail kept of a shot; 0 where there is none.
pub(crate) fn thumb_bytes(out: &Path, catalogue: &Catalogue, record: &ShotRecord) -> u64 {
    let path = thumb_path(out, catalogue, record);
    std::fs::metadata(path).map_or(0, |meta| meta.len())
}

/// Where the thumbnail kept of a shot lies below OUT, with `/` separators.
pub(crate) fn thumb_beside(
    out: &Path,
    catalogue: &Catalogue,
    record: &ShotRecord,
) -> Option<String> {
    let path = thumb_path(out, catalogue, record);
    let name = path.file_name().filter(|_| path.is_file())?;
    Some(format!("{THUMBS}/{}", name.to_str()?))
}
