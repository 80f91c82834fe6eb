//! The strip at screen size while its recipe changes: drawn as the large one, from reduced pieces that are held in memory.

use std::collections::VecDeque;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::SystemTime;

use super::PipelineError;
use super::corona::CORONA_TIFF;
use super::making::{tile, tile_name, whole_tile};

use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Notice, Orientation};
use crate::raster::{self, LinearRgb, Rows as _};
use crate::strip::{self, Centre, CentrePiece, Placed, Recipe, Tile};

/// Radius the Sun of a reduced piece has at least, in pixels (our choice: a strip of five discs on a large screen is still sharp).
const SUN_PX: f64 = 80.0;

/// Side a reduced wide view has at least, in pixels.
const VIEW_PX: usize = 1_600;

/// Most memory of all reduced pieces together, in bytes.
const MOST_BYTES: usize = 128 << 20;

/// Quality of the picture, 1 to 100.
const QUALITY: u8 = 88;

/// A strip at screen size.
#[derive(Clone, Debug)]
pub struct SmallDrawn {
    /// The picture, JPEG.
    pub jpeg: Vec<u8>,
    /// Its width in pixels.
    pub width_px: usize,
    /// Its height in pixels.
    pub height_px: usize,
    /// Where each frame went, in order.
    pub placed: Vec<Placed>,
    /// What a person should know.
    pub notices: Vec<Notice>,
}

/// Draws small strips of one card.
#[derive(Debug)]
pub struct SmallStrip {
    out: PathBuf,
    tiles: Mutex<VecDeque<(String, Arc<Tile>)>>,
    corona: Mutex<Option<Corona>>,
}

/// The merged corona, reduced, and the file it was read from.
#[derive(Clone, Debug)]
struct Corona {
    modified: Option<SystemTime>,
    tile: Tile,
    light: Arc<LinearRgb>,
}

impl SmallStrip {
    /// For the results in a folder.
    pub fn new(out: &Path) -> Self {
        Self {
            out: out.to_owned(),
            tiles: Mutex::default(),
            corona: Mutex::default(),
        }
    }

    /// Draws a recipe `width_px` wide; paper keeps its shape.
    ///
    /// # Errors
    /// [`PipelineError`] when the strip cannot be drawn, as the large one could not.
    pub fn draw(
        &self,
        catalogue: &Catalogue,
        recipe: &Recipe,
        width_px: u32,
    ) -> Result<SmallDrawn, PipelineError> {
        let mut notices = Vec::new();
        let corona = self.corona(catalogue, recipe, &mut notices);
        let centre = corona.as_ref().and_then(|corona| {
            let record = catalogue.corona.as_ref()?;
            Some(CentrePiece {
                light: &corona.light,
                sun: corona.tile.circle(&record.sun),
                north_deg: record.north_deg.unwrap_or(0.0),
                mirrored: record.mirrored,
                frames: record.frames.len(),
            })
        });
        let small = reduced(recipe, width_px);
        let drawn = strip::draw(
            catalogue,
            &small,
            &|record| self.tile(catalogue, &small, record),
            centre,
        )?;
        notices.extend(drawn.notices);
        let mut jpeg = Vec::new();
        raster::write_jpeg(&drawn.sheet, &drawn.info, QUALITY, &mut jpeg).map_err(|cause| {
            PipelineError::Unreadable {
                path: self.out.clone(),
                cause,
            }
        })?;
        Ok(SmallDrawn {
            jpeg,
            width_px: drawn.sheet.width(),
            height_px: drawn.sheet.height(),
            placed: drawn.placed,
            notices,
        })
    }

    /// The reduced piece of a frame.
    fn tile(
        &self,
        catalogue: &Catalogue,
        recipe: &Recipe,
        record: &ShotRecord,
    ) -> Result<Tile, String> {
        let whole = recipe.foreground.as_deref() == Some(record.name());
        let key = format!("{whole} {}", tile_name(record));
        if let Some((_, tile)) = held(&self.tiles).iter().find(|(k, _)| *k == key) {
            return Ok(tile.as_ref().clone());
        }
        let small = if whole {
            let tile = whole_tile(&self.out, record)?;
            let side = tile.frame().width().max(tile.frame().height());
            tile.reduced(side / VIEW_PX)
        } else {
            let sun = record.disc.and_then(|fit| fit.sun);
            let step = sun.map_or(1.0, |sun| sun.radius_px / SUN_PX);
            tile(catalogue, &self.out, record)?.reduced(step as usize)
        };
        self.hold(key, &small);
        Ok(small)
    }

    fn hold(&self, key: String, tile: &Tile) {
        let mut tiles = held(&self.tiles);
        tiles.push_back((key, Arc::new(tile.clone())));
        let bytes = |tiles: &VecDeque<(String, Arc<Tile>)>| -> usize {
            tiles.iter().map(|(_, t)| t.frame().memory_bytes()).sum()
        };
        while tiles.len() > 1 && bytes(&tiles) > MOST_BYTES {
            tiles.pop_front();
        }
    }

    /// The reduced corona, where the recipe asks for it and there is one.
    fn corona(
        &self,
        catalogue: &Catalogue,
        recipe: &Recipe,
        notices: &mut Vec<Notice>,
    ) -> Option<Corona> {
        let record = catalogue.corona.as_ref();
        let record = record.filter(|_| recipe.centre == Centre::Corona)?;
        let path = self.out.join(CORONA_TIFF);
        let modified = std::fs::metadata(&path)
            .and_then(|meta| meta.modified())
            .ok();
        let mut kept = held(&self.corona);
        if let Some(corona) = kept.as_ref().filter(|c| c.modified == modified) {
            return Some(corona.clone());
        }
        match raster::decode(&path, Orientation::UPRIGHT) {
            Ok(frame) => {
                let tile = Tile::whole(frame).reduced((record.sun.radius_px / SUN_PX) as usize);
                let light = Arc::new(tile.light());
                *kept = Some(Corona {
                    modified,
                    tile,
                    light,
                });
                kept.clone()
            }
            Err(error) => {
                notices.push(Notice::look(error.to_string()).about(CORONA_TIFF));
                None
            }
        }
    }
}

fn held<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The recipe for a picture so wide, everything else to scale.
fn reduced(recipe: &Recipe, width_px: u32) -> Recipe {
    let whole_px = match recipe.paper {
        Some(paper) => (paper.inches().0 + 2.0 * recipe.bleed_in) * recipe.dpi,
        None => f64::from(recipe.width_px),
    };
    let scale = (f64::from(width_px) / whole_px.max(1.0)).min(1.0);
    Recipe {
        width_px: ((f64::from(recipe.width_px) * scale).round() as u32).max(1),
        dpi: recipe.dpi * scale,
        disc_px: recipe.disc_px.map(|px| px * scale),
        ..recipe.clone()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::strip::Paper;

    #[test]
    fn a_small_sheet_is_the_large_one_to_scale() {
        let recipe = Recipe {
            paper: Some(Paper {
                width: 18.0,
                height: 12.0,
                in_cm: false,
            }),
            bleed_in: 0.125,
            disc_px: Some(300.0),
            ..Recipe::default()
        };
        let small = reduced(&recipe, 1_095);
        assert!((small.dpi - 60.0).abs() < 1e-9);
        assert!((small.disc_px.unwrap() - 60.0).abs() < 1e-9);
        // What is smaller already is not blown up.
        let tiny = Recipe {
            width_px: 300,
            ..Recipe::default()
        };
        assert_eq!(reduced(&tiny, 1_200), tiny);
    }
}
