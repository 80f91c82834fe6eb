//! How large a strip of few frames is made: no larger than its discs are worth.

use super::super::recipe::{Centre, Recipe};
use super::candidate::{best_single, sun};
use crate::catalogue::Catalogue;
use crate::domain::upper_median;

/// Size of the discs over that on the photographs, at most: larger they only look soft (our choice).
const ENLARGED: f64 = 1.5;

/// Diameters across that the middle with its light takes up, and that the margins do, at the usual spacing.
const MIDDLE: f64 = 5.0;
const MARGINS: f64 = 1.2;

/// Least width proposed, in pixels: a picture for a screen.
const LEAST_WIDTH_PX: u32 = 1_200;

/// The recipe with a width at which its discs are no larger than their photographs bear.
pub(super) fn sized(catalogue: &Catalogue, recipe: Recipe) -> Recipe {
    let radius = |name: &str| Some(sun(catalogue.shot(name)?)?.radius_px);
    let mut radii: Vec<f64> = recipe.frames().filter_map(radius).collect();
    if recipe.centre == Centre::Corona {
        let single = best_single(catalogue).and_then(sun);
        radii.extend(single.map(|sun| sun.radius_px));
    }
    let Some(usual_px) = upper_median(&mut radii) else {
        return recipe;
    };
    let beside = recipe.before.len() + recipe.after.len();
    let middle = if recipe.centre == Centre::Corona {
        MIDDLE
    } else {
        1.0
    };
    let diameters = beside as f64 * (1.0 + recipe.spacing) + middle + MARGINS;
    let width_px = (2.0 * ENLARGED * usual_px * diameters) as u32;
    Recipe {
        width_px: width_px.clamp(LEAST_WIDTH_PX, recipe.width_px),
        ..recipe
    }
}
