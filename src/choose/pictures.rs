//! Pictures of the card's frames, by their numbers.

use std::sync::Arc;

use serde::Deserialize;

use super::cache::Cache;
use super::cut::{Part, jpeg};
use crate::catalogue::ShotRecord;
use crate::domain::Circle;
use crate::raster::{self, Frame, Reading};

/// Most memory of decoded frames, in bytes: three or four of 24 megapixels, to walk about in one and to hold its neighbours beside it.
const FRAMES_BYTES: usize = 320 << 20;

/// Most memory of finished pictures, in bytes.
const PICTURES_BYTES: usize = 96 << 20;

/// Longest side of a picture, in pixels.
const MOST_SIDE: usize = 2_400;

/// Shortest side that makes sense.
const LEAST_SIDE: usize = 16;

/// What is asked of a frame: all of it, or with `half` a square about its disc.
#[derive(Clone, Copy, Debug, Default, PartialEq, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub(super) struct Ask {
    /// Longest side in pixels.
    side: usize,
    /// Half the square's side, in radii of the disc.
    half: Option<f64>,
    /// How far the square's middle lies right of the disc's, in radii.
    dx: f64,
    /// How far it lies below.
    dy: f64,
}

/// Pictures of one card.
pub(super) struct Pictures {
    frames: Cache<usize, Arc<Frame>>,
    made: Cache<(usize, String), Arc<Vec<u8>>>,
}

impl Pictures {
    pub(super) fn new() -> Self {
        Self {
            frames: Cache::new(FRAMES_BYTES),
            made: Cache::new(PICTURES_BYTES),
        }
    }

    /// The picture of a frame, JPEG; `Err` says why there is none.
    pub(super) fn picture(
        &self,
        index: usize,
        record: &ShotRecord,
        ask: Ask,
    ) -> Result<Arc<Vec<u8>>, String> {
        let key = (index, format!("{ask:?}"));
        if let Some(made) = self.made.get(&key) {
            return Ok(made);
        }
        let frame = self.frame(index, record)?;
        let part = part(&frame, record, ask).ok_or("no disc was found in it")?;
        let bytes = Arc::new(jpeg(&frame, &part).map_err(|e| e.to_string())?);
        self.made.put(key, bytes.clone(), bytes.len());
        Ok(bytes)
    }

    fn frame(&self, index: usize, record: &ShotRecord) -> Result<Arc<Frame>, String> {
        if let Some(frame) = self.frames.get(&index) {
            return Ok(frame);
        }
        let shot = &record.shot;
        let frame = raster::photograph(&shot.file, shot.orientation, Reading::Quick)
            .map_err(|e| e.to_string())?;
        let (frame, bytes) = (Arc::new(frame), 0);
        let bytes = bytes.max(frame.memory_bytes());
        self.frames.put(index, frame.clone(), bytes);
        Ok(frame)
    }
}

/// The disc a frame is looked at by: the Sun's, else the Moon's.
pub(super) fn disc(record: &ShotRecord) -> Option<Circle> {
    let fit = record.disc?;
    let sound = |c: &Circle| c.radius_px.is_finite() && c.radius_px >= 1.0;
    fit.sun.or(fit.moon).filter(sound)
}

fn part(frame: &Frame, record: &ShotRecord, ask: Ask) -> Option<Part> {
    let side = ask.side.clamp(LEAST_SIDE, MOST_SIDE);
    let Some(half) = ask.half else {
        return Some(Part::whole((frame.width(), frame.height()), side));
    };
    let disc = disc(record)?;
    let within = |v: f64, most: f64| {
        if v.is_finite() {
            v.clamp(-most, most)
        } else {
            0.0
        }
    };
    let place = (
        disc.x_px + within(ask.dx, 40.0) * disc.radius_px,
        disc.y_px + within(ask.dy, 40.0) * disc.radius_px,
    );
    let half_px = within(half, 40.0).max(0.01) * disc.radius_px;
    Some(Part::about(place, half_px, side))
}
