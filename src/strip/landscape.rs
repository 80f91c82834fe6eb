//! A wide view behind the path.

use super::draw::Open;
use super::layout::View;
use super::recipe::{Arrangement, Recipe};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Exposure, Notice};
use crate::raster::{LinearRgb, Placing, resampled};

/// Width of the 35 mm frame in millimetres, to which equivalent focal lengths refer.
const FRAME_35MM: f64 = 36.0;

/// A wide view at the canvas's size.
pub(super) struct Landscape {
    /// How it looks at the land.
    pub(super) view: View,
    /// Its light.
    pub(super) light: LinearRgb,
}

/// The wide view the recipe asks for behind a path; without one that can be used the path stands on the background.
pub(super) fn landscape(
    catalogue: &Catalogue,
    recipe: &Recipe,
    open: &Open<'_>,
    notices: &mut Vec<Notice>,
) -> Option<Landscape> {
    let name = recipe.landscape.as_ref()?;
    let mut lost = |why: &str| {
        notices.push(Notice::look(format!("not used as the landscape: {why}")).about(name))
    };
    if recipe.arrangement != Arrangement::Path {
        lost("a landscape goes with layout \"path\" only");
        return None;
    }
    let Some(record) = catalogue.shot(name) else {
        lost("it is not in the catalogue");
        return None;
    };
    match opened(record, recipe, open) {
        Ok(land) => Some(land),
        Err(why) => {
            lost(&why);
            None
        }
    }
}

fn opened(record: &ShotRecord, recipe: &Recipe, open: &Open<'_>) -> Result<Landscape, String> {
    let frame = open(record)?;
    let (width, height) = (frame.frame().width(), frame.frame().height());
    let width_deg = recipe
        .landscape_width_deg
        .or_else(|| width_deg(&record.shot.exposure, width >= height))
        .ok_or("its focal length is not known; set landscape_width_deg in strip.toml")?;
    let width_px = recipe.width_px as usize;
    let scale = width as f64 / width_px as f64;
    let height_px = ((height as f64 / scale).round() as usize).max(1);
    let middle = |n: usize| (n as f64 - 1.0) / 2.0;
    let placing = Placing {
        source_px: (middle(width), middle(height)),
        result_px: (middle(width_px), middle(height_px)),
        scale,
        mirrored: false,
        clockwise_deg: 0.0,
    };
    Ok(Landscape {
        view: View {
            width_px,
            height_px,
            width_deg,
            az_deg: recipe.landscape_az_deg,
            horizon_px: recipe.landscape_horizon * (height_px as f64 - 1.0),
        },
        light: resampled(&frame.light(), &placing, width_px, height_px),
    })
}

/// Angle from side to side of a straight lens, from its focal length (its real one is taken to be on a 35 mm frame).
fn width_deg(exposure: &Exposure, level: bool) -> Option<f64> {
    let focal_mm = exposure.focal_35mm.or(exposure.focal_mm)?;
    let side_mm = if level { FRAME_35MM } else { FRAME_35MM / 1.5 };
    let angle = 2.0 * (side_mm / 2.0 / focal_mm).atan().to_degrees();
    (focal_mm > 0.0 && angle.is_finite()).then_some(angle)
}
