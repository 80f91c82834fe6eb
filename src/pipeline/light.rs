//! Which file the light of each merged frame comes from: the raw one, where rows have one.

use std::path::Path;
use std::sync::Arc;

use crate::catalogue::ShotRecord;
use crate::domain::{CardFile, Circle, FileFormat, Notice, Orientation};
use crate::exif;
use crate::raster::{self, Frame, Reading, WhiteBalance};

/// One sigma, in pixels, of where a raw file puts what was measured in the JPEG beside it: cameras correct their lenses
/// in JPEGs. Registration on the corona takes it from there.
const BETWEEN_FILES_PX: f64 = 1.0;

/// Scales nearer to 1 than this are a crop of a few pixels, not another size of picture.
const SAME_SCALE: f64 = 0.03;

/// A frame to merge and the file its light is taken from.
pub(crate) struct Lit {
    pub(crate) record: ShotRecord,
    file: CardFile,
    orientation: Orientation,
    balance: Option<WhiteBalance>,
    /// From the row's pixels to the file's, where they are two files.
    between: Option<Between>,
}

impl Lit {
    /// The frame of the row's own file.
    fn own(record: ShotRecord) -> Self {
        Self {
            file: record.shot.file.clone(),
            orientation: record.shot.orientation,
            balance: None,
            between: None,
            record,
        }
    }

    /// A circle of the row in the pixels of the file.
    pub(crate) fn circle(&self, circle: Circle) -> Circle {
        self.between
            .map_or(circle, |between| between.circle(circle))
    }

    /// A sigma of the row's circles, in pixels of the file.
    pub(crate) fn sigma_px(&self, sigma_px: f64) -> f64 {
        self.between.map_or(sigma_px, |between| {
            (sigma_px * between.scale).hypot(BETWEEN_FILES_PX)
        })
    }

    /// Opens the file for its light.
    pub(crate) fn open(&self) -> Result<Arc<Frame>, String> {
        let reading = Reading::Light(self.balance);
        raster::photograph(&self.file, self.orientation, reading)
            .map(Arc::new)
            .map_err(|e| e.to_string())
    }
}

/// The files to merge. Where at least half of the frames have a raw file all light is taken from raw files, developed
/// with one white balance, and frames without one are left out with a notice: a camera's tone curve and sensor values
/// do not mix. Otherwise every frame is its row's file.
pub(crate) fn of(records: Vec<ShotRecord>, notices: &mut Vec<Notice>) -> Vec<Lit> {
    let raws: Vec<Option<Raw>> = records.iter().map(raw_of).collect();
    let balances: Vec<WhiteBalance> = raws.iter().flatten().filter_map(|r| r.balance).collect();
    // Of the middle frame: one for all, so that an automatic balance leaves no seams.
    let balance = balances.get(balances.len() / 2).copied();
    let found = raws.iter().flatten().count();
    if found == 0 || 2 * found < records.len() {
        let lone_jpegs = |r: &ShotRecord| r.shot.file.format != FileFormat::Raw;
        return records
            .into_iter()
            .filter(lone_jpegs)
            .map(Lit::own)
            .collect();
    }
    let mut lit = Vec::new();
    for (record, raw) in records.into_iter().zip(raws) {
        let Some(raw) = raw else {
            notices.push(
                Notice::note("left out of the corona: it has no raw file, and the others do")
                    .about(record.name()),
            );
            continue;
        };
        lit.push(Lit {
            record,
            file: raw.file,
            orientation: raw.orientation,
            balance,
            between: raw.between,
        });
    }
    lit
}

/// A raw file that can be merged.
struct Raw {
    file: CardFile,
    orientation: Orientation,
    balance: Option<WhiteBalance>,
    between: Option<Between>,
}

/// The raw file of a row: itself, or the one beside it.
fn raw_of(record: &ShotRecord) -> Option<Raw> {
    let shot = &record.shot;
    if shot.file.format == FileFormat::Raw {
        return raster::reads_pixels(FileFormat::Raw).then(|| Raw {
            file: shot.file.clone(),
            orientation: shot.orientation,
            balance: raster::raw_header(&shot.file.path).and_then(|h| h.balance),
            between: None,
        });
    }
    let file = beside(&shot.file.path, record.sibling.as_deref()?)?;
    let header = raster::raw_header(&file.path)?;
    let raw = exif::read(&file).ok()?.shot;
    let between = Between::new(
        shot.width_px.zip(shot.height_px)?,
        raw.width_px.zip(raw.height_px)?,
    );
    Some(Raw {
        file,
        orientation: raw.orientation,
        balance: header.balance,
        between: Some(between),
    })
}

/// The file of a sibling's name, in the folder of the row's file.
fn beside(path: &Path, sibling: &str) -> Option<CardFile> {
    let name = sibling.rsplit('/').next()?;
    let path = path.with_file_name(name);
    let meta = std::fs::metadata(&path).ok().filter(|m| m.is_file())?;
    Some(CardFile {
        name: sibling.to_owned(),
        path,
        format: FileFormat::Raw,
        size_bytes: meta.len(),
        modified: None,
    })
}

/// How pixels of one picture lie on another of the same exposure. Both have one middle; the smaller view fills the
/// larger one across or down (common practice of cameras that write smaller or narrower JPEGs).
#[derive(Clone, Copy, Debug, PartialEq)]
struct Between {
    scale: f64,
    from_middle_px: [f64; 2],
    to_middle_px: [f64; 2],
}

impl Between {
    fn new(from_px: (u32, u32), to_px: (u32, u32)) -> Self {
        let ratio = |from: u32, to: u32| f64::from(to) / f64::from(from.max(1));
        let scale = ratio(from_px.0, to_px.0).min(ratio(from_px.1, to_px.1));
        let middle = |(w, h): (u32, u32)| [w, h].map(|side| 0.5 * (f64::from(side) - 1.0));
        Self {
            scale: match (scale - 1.0).abs() < SAME_SCALE {
                true => 1.0,
                false => scale,
            },
            from_middle_px: middle(from_px),
            to_middle_px: middle(to_px),
        }
    }

    fn circle(&self, circle: Circle) -> Circle {
        let along =
            |k: usize, at: f64| (at - self.from_middle_px[k]) * self.scale + self.to_middle_px[k];
        Circle {
            x_px: along(0, circle.x_px),
            y_px: along(1, circle.y_px),
            radius_px: circle.radius_px * self.scale,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moved(from: (u32, u32), to: (u32, u32), x_px: f64, y_px: f64) -> Circle {
        Between::new(from, to).circle(Circle {
            x_px,
            y_px,
            radius_px: 100.0,
        })
    }

    #[test]
    fn half_size_pictures_double() {
        let on = moved((3000, 2000), (6000, 4000), 0.0, 1999.0);
        assert!((on.x_px - 0.5).abs() < 1e-9 && (on.y_px - 3998.5).abs() < 1e-9);
        assert!((on.radius_px - 200.0).abs() < 1e-9);
    }

    #[test]
    fn a_few_more_pixels_around_are_a_crop() {
        let on = moved((6000, 4000), (6016, 4016), 100.0, 200.0);
        assert!((on.x_px - 108.0).abs() < 1e-9 && (on.y_px - 208.0).abs() < 1e-9);
        assert!((on.radius_px - 100.0).abs() < 1e-9);
    }

    #[test]
    fn a_wide_jpeg_is_cut_from_the_middle() {
        let on = moved((3000, 1688), (6000, 4000), 1499.5, 843.5);
        assert!((on.x_px - 2999.5).abs() < 1e-9 && (on.y_px - 1999.5).abs() < 1e-9);
    }
}
