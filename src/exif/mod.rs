//! Turns one file's header into a [`Shot`]. Absent fields are `None`, never a guess.
//!
//! Read through kamadak-exif: JPEG, PNG (chunk `eXIf`), TIFF, HEIF, and the raw formats built on TIFF, on a JPEG
//! preview or on blocks of TIFF (CR2, CR3, NEF, ARW, DNG, PEF, RW2, ORF, RAF, MRW, GPR and their like). Only the header
//! is read, not the pixels, save for TIFF files that keep their tags at the end.
//!
//! Tag meanings: CIPA DC-008 (Exif 2.32). Values that cannot be (not a number, zero or beyond [what a camera can
//! do](exposure_limits)) are taken as absent.

mod container;
mod exposure;
mod gps;
mod heap;
mod stamp;
mod tags;

use std::collections::BTreeMap;

pub use exposure::limits as exposure_limits;

use crate::domain::{
    CameraId, CardFile, FileFormat, MetadataDamage, Notice, NoticeKind, Orientation, Shot,
};
use crate::raster::{contained, raw_header};
use container::Header;
use tags::{Tags, tag};

/// What a header says, and what a person should know about it.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    /// The file with what its header says.
    pub shot: Shot,
    /// Damage, and times that come from a second-best tag.
    pub notices: Vec<Notice>,
}

/// A header could not be read at all.
#[derive(Debug, thiserror::Error)]
pub enum ExifError {
    /// The file cannot be opened or read; it may have gone since the card was listed.
    #[error("{name}: cannot be read: {cause}; check the card and run again")]
    Read {
        /// The file, as [`CardFile::name`].
        name: String,
        /// Why.
        #[source]
        cause: std::io::Error,
    },
}

/// Reads one file's header.
///
/// A file without metadata, or with damaged metadata, is not an error: what can be told is told, the rest is absent and
/// a notice says what is wrong. No notice is given merely because there is none (a frame from a video, a drawing).
///
/// # Errors
/// [`ExifError`] when the file cannot be read.
pub fn read(file: &CardFile) -> Result<Reading, ExifError> {
    let outcome = contained(|| container::header(file))
        .unwrap_or_else(|| Ok(Header::damaged(MetadataDamage::ParserBrokeDown)));
    let header = outcome.map_err(|cause| ExifError::Read {
        name: file.name.clone(),
        cause,
    })?;
    let mut notices = Vec::new();
    let shot = shot(file, &header, &mut notices);
    if let Some(damage) = &header.damage {
        let damage = damage.clone();
        let what = NoticeKind::MetadataDamaged { damage };
        // Damage that left the capture time whole is worth knowing, no more.
        let notice = match shot.stamp {
            Some(_) => Notice::note(what),
            None => Notice::look(what),
        };
        notices.push(notice.about(&file.name));
    }
    if header.unknown {
        notices.push(Notice::look(NoticeKind::HeaderNotRead).about(&file.name));
    }
    Ok(Reading { shot, notices })
}

fn shot(file: &CardFile, header: &Header, notices: &mut Vec<Notice>) -> Shot {
    let tags = &header.tags;
    let orientation = tags
        .whole_number(tag::ORIENTATION)
        .and_then(Orientation::from_exif)
        .unwrap_or(Orientation::UPRIGHT);
    let (width_px, height_px) = match size(file, header) {
        Some((width, height)) if orientation.swaps_sides() => (Some(height), Some(width)),
        Some((width, height)) => (Some(width), Some(height)),
        None => (None, None),
    };
    let stamp = stamp::read(tags, &file.name, notices);
    Shot {
        file: file.clone(),
        camera: camera(tags),
        stamp,
        gps: gps::read(tags, stamp.as_ref(), &file.name, notices),
        exposure: exposure::read(tags),
        orientation,
        width_px,
        height_px,
    }
}

fn camera(tags: &Tags) -> Option<CameraId> {
    let make = tags.text(tag::MAKE).unwrap_or_default();
    let model = tags.text(tag::MODEL).unwrap_or_default();
    let serial = tags
        .text(tag::BODY_SERIAL_NUMBER)
        .or_else(|| tags.text(tag::DNG_SERIAL_NUMBER))
        .filter(|serial| serial.chars().any(|c| c.is_alphanumeric() && c != '0'));
    let named = !make.is_empty() || !model.is_empty();
    named.then_some(CameraId {
        make,
        model,
        serial,
    })
}

/// Width and height as stored, in pixels: of the picture a raw file develops to, else from the picture's own header,
/// else from the tags.
fn size(file: &CardFile, header: &Header) -> Option<(u32, u32)> {
    if file.format == FileFormat::Raw
        && let Some(raw) = raw_header(&file.path)
    {
        return Some((raw.width_px, raw.height_px));
    }
    let tags = &header.tags;
    let pair = |width, height| {
        let (width, height) = (tags.whole_number(width)?, tags.whole_number(height)?);
        (width > 0 && height > 0).then_some((width, height))
    };
    let reduced = tags
        .whole_number(tag::NEW_SUBFILE_TYPE)
        .is_some_and(|t| t & 1 == 1);
    let first = if reduced {
        None
    } else {
        pair(tag::IMAGE_WIDTH, tag::IMAGE_LENGTH)
    };
    let described = || pair(tag::PIXEL_X_DIMENSION, tag::PIXEL_Y_DIMENSION);
    if header.of_preview {
        return None;
    }
    match file.format {
        // The first picture of a raw is often a preview.
        FileFormat::Raw | FileFormat::Heif => described().or(first),
        FileFormat::Tiff => first,
        _ => header.size_px,
    }
}

/// How many shots of one body must agree before an unused sub-second field is recognised.
const UNUSED_SUBSEC_SHOTS: usize = 5;

/// Takes back [`crate::domain::CameraStamp::has_subsec`] for bodies that write the sub-second field but leave it at zero.
///
/// Some bodies fill the field with zeros though their clock is cut off to whole seconds (common practice). When five
/// or more shots of a body all have zero sub-seconds (by chance once in 10^5 for a clock of tenths, once in 10^10 for
/// one of hundredths), their times count as cut off. Shots of other bodies are not touched.
pub fn settle_subsec(shots: &mut [Shot]) {
    let mut bodies: BTreeMap<CameraId, Vec<usize>> = BTreeMap::new();
    for (index, shot) in shots.iter().enumerate() {
        if let (Some(camera), Some(true)) = (&shot.camera, shot.stamp.map(|s| s.has_subsec)) {
            bodies.entry(camera.clone()).or_default().push(index);
        }
    }
    for members in bodies.into_values() {
        let whole = |index: &usize| {
            shots[*index]
                .stamp
                .is_some_and(|s| s.time.civil().subsec_nanosecond() == 0)
        };
        if members.len() >= UNUSED_SUBSEC_SHOTS && members.iter().all(whole) {
            for index in members {
                if let Some(stamp) = &mut shots[index].stamp {
                    stamp.has_subsec = false;
                }
            }
        }
    }
}
