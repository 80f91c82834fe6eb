//! Small pictures made while a frame is decoded anyway, kept below OUT for later commands.

use std::io::Write as _;
use std::path::{Path, PathBuf};

use image::ImageFormat;
use sha2::{Digest as _, Sha256};

use crate::catalogue::{ShotRecord, write_atomically};
use crate::disc::{DiscReport, overlay};
use crate::domain::{CardFile, DiscFit, Limb};
use crate::raster::{Frame, thumbnail};

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
    digest.iter().take(12).map(|b| format!("{b:02x}")).collect()
}

/// Where the thumbnail of a frame with these discs is: another part of the frame makes another file.
fn thumb_path(out: &Path, file: &CardFile, fit: Option<&DiscFit>) -> PathBuf {
    let part = fit
        .and_then(thumb_part)
        .map(|part| format!("{part:?}"))
        .unwrap_or_default();
    out.join(THUMBS).join(cache_name(file, &part) + ".jpg")
}

/// What a thumbnail shows where there is a disc: its centre and how far around it, in pixels.
fn thumb_part(fit: &DiscFit) -> Option<[f64; 3]> {
    let (circle, reach) = match fit.limb {
        Limb::Sun => (fit.sun?, 1.35),
        Limb::Moon => (fit.moon?, 2.6),
    };
    Some([circle.x_px, circle.y_px, reach * circle.radius_px])
}

/// Keeps a thumbnail of a frame: of the disc and what is around it, or of the whole.
pub(crate) fn keep_thumb(out: &Path, file: &CardFile, frame: &Frame, report: &DiscReport) {
    let fit = report.fit.as_ref().ok();
    let part = fit
        .and_then(thumb_part)
        .and_then(|[x, y, reach]| frame.clip(x, y, reach));
    let part = part.unwrap_or(frame.full());
    // A thumbnail that cannot be made or kept is missing from the page and nothing else.
    if let Ok(bytes) = thumbnail(frame, part, THUMB_SIDE_PX, THUMB_QUALITY) {
        let _ = write_atomically(&thumb_path(out, file, fit), |f| f.write_all(&bytes));
    }
}

/// Whether the thumbnail of a frame with these discs is kept.
pub(crate) fn has_thumb(out: &Path, file: &CardFile, report: &DiscReport) -> bool {
    thumb_path(out, file, report.fit.as_ref().ok()).is_file()
}

/// Folder of the overlays below OUT.
const OVERLAYS: &str = "overlays";

/// Keeps a small picture of a frame with the fitted circles drawn on it, at the frame's own place below the folder.
pub(crate) fn keep_overlay(out: &Path, file: &CardFile, frame: &Frame, report: &DiscReport) {
    let picture = overlay(frame, report.fit.as_ref().ok());
    let path = out.join(OVERLAYS).join(format!("{}.png", file.name));
    // As with thumbnails: one that cannot be kept is missing and nothing else.
    let _ = write_atomically(&path, |f| {
        picture
            .write_to(&mut std::io::BufWriter::new(f), ImageFormat::Png)
            .map_err(std::io::Error::other)
    });
}

/// The thumbnail kept of a shot.
pub(crate) fn thumb(out: &Path, record: &ShotRecord) -> Option<Vec<u8>> {
    std::fs::read(thumb_path(out, &record.shot.file, record.disc.as_ref())).ok()
}
