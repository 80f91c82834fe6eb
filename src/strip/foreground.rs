//! A wide view behind the path.

use super::layout::{PieceGeometry, View};
use super::recipe::{Arrangement, Recipe};
use super::tile::Open;
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Circle, Exposure, Notice};
use crate::raster::{LinearRgb, Placing, resampled};

/// Width of the 35 mm frame in millimetres, to which equivalent focal lengths refer.
const FRAME_35MM: f64 = 36.0;

/// A corona, or the glare of a bare Sun, is smaller than the view's width divided by this.
const SPOT_SHARE: usize = 12;

/// Parts of the brightest light from which on what shines counts as the Sun, each tried in turn: the glare about a bare Sun is nearly
/// as bright over a good part of the sky.
const SPOT_LIGHT: [f32; 2] = [0.7, 0.97];

/// Where the flat horizon of a view may come out, as parts of its height from the top: elsewhere what shone was not the Sun.
const HORIZON: std::ops::RangeInclusive<f64> = -1.0..=2.0;

/// A wide view at the canvas's size.
pub(super) struct Foreground {
    /// How it looks at the land.
    pub(super) view: View,
    /// Its light.
    pub(super) light: LinearRgb,
    /// Height of the whole photograph at the canvas's scale, in pixels.
    whole_height_px: f64,
    /// Part of the photograph's width or height that is shown, the lesser of the two.
    shown: f64,
}

impl Foreground {
    /// Row of the canvas at a part of the photograph's height, 0 its top and 1 its bottom.
    fn row_px(&self, part: f64) -> f64 {
        let cut_px = (self.whole_height_px - self.view.height_px as f64) / 2.0;
        part * (self.whole_height_px - 1.0) - cut_px
    }

    /// Drawn radius of the discs over their true one.
    pub(super) fn scale(&self, recipe: &Recipe, pieces: &[PieceGeometry]) -> f64 {
        let radii = pieces.iter().filter_map(|p| p.sky).map(|s| s.radius_deg);
        let (sum, count) = radii.fold((0.0, 0.0), |(sum, n), r| (sum + r, n + 1.0));
        match recipe.disc_px {
            Some(disc_px) if count > 0.0 => disc_px / 2.0 / self.view.true_radius_px(sum / count),
            _ => 1.0,
        }
    }
}

/// Part of a foreground that may be cut off by the paper without a word.
const CUT_UNSAID: f64 = 0.03;

/// The wide view the recipe asks for behind a path; without one that can be used the path stands on the background.
pub(super) fn foreground(
    catalogue: &Catalogue,
    recipe: &Recipe,
    open: &Open<'_>,
    notices: &mut Vec<Notice>,
) -> Option<Foreground> {
    let name = recipe.foreground.as_ref()?;
    let mut lost = |why: &str| {
        notices.push(Notice::look(format!("not used as the foreground: {why}")).about(name))
    };
    if recipe.arrangement != Arrangement::Path {
        lost("a foreground goes with layout \"path\" only");
        return None;
    }
    let Some(record) = catalogue.shot(name) else {
        lost("it is not in the catalogue");
        return None;
    };
    match opened(record, recipe, open) {
        Ok(land) => {
            if land.shown < 1.0 - CUT_UNSAID {
                notices.push(
                    Notice::note(format!(
                        "the foreground fills the paper and loses {:.0} % of its width or height; a paper of its shape \
                         shows all of it",
                        100.0 * (1.0 - land.shown)
                    ))
                    .about(name),
                );
            }
            Some(land)
        }
        Err(why) => {
            lost(&why);
            None
        }
    }
}

fn opened(record: &ShotRecord, recipe: &Recipe, open: &Open<'_>) -> Result<Foreground, String> {
    let frame = open(record)?;
    let (width, height) = (frame.frame().width(), frame.frame().height());
    let width_deg = recipe
        .foreground_width_deg
        .or_else(|| width_deg(&record.shot.exposure, width >= height))
        .ok_or("its focal length is not known; set foreground_width_deg in strip.toml")?;
    let (width_px, height_px) = canvas(recipe, (width, height));
    // The view covers the canvas; what reaches beyond is cut off evenly.
    let scale = (width as f64 / width_px as f64).min(height as f64 / height_px as f64);
    let middle = |n: usize| (n as f64 - 1.0) / 2.0;
    let placing = Placing {
        source_px: (middle(width), middle(height)),
        result_px: (middle(width_px), middle(height_px)),
        scale,
        mirrored: false,
        clockwise_deg: 0.0,
    };
    let light = resampled(&frame.light(), &placing, width_px, height_px);
    let shown = width_px as f64 * scale / width as f64;
    let land = Foreground {
        view: View {
            width_px,
            height_px,
            width_deg: 2.0
                * (shown * (width_deg.to_radians() / 2.0).tan())
                    .atan()
                    .to_degrees(),
            az_deg: None,
            horizon_px: 0.0,
        },
        light,
        whole_height_px: height as f64 / scale,
        shown: shown.min(height_px as f64 * scale / height as f64),
    };
    let there = |circle: Circle| {
        let circle = frame.circle(&circle);
        let shift = |from: f64, source: usize, canvas: usize| {
            (from - middle(source)) / scale + middle(canvas)
        };
        (
            shift(circle.x_px, width, width_px),
            shift(circle.y_px, height, height_px),
        )
    };
    let view = pointed(&land, record, recipe, there)?;
    Ok(Foreground { view, ..land })
}

/// Canvas in pixels: the paper with its bleed, else as wide as the recipe says and of the view's shape.
fn canvas(recipe: &Recipe, (width, height): (usize, usize)) -> (usize, usize) {
    let whole = |px: f64| (px.round() as usize).max(1);
    match recipe.paper {
        Some(paper) => {
            let (w, h) = paper.inches();
            let bleed = (2.0 * recipe.bleed_in * recipe.dpi).round();
            let side = |inches: f64| whole((inches * recipe.dpi).round() + bleed);
            (side(w), side(h))
        }
        None => {
            let across = f64::from(recipe.width_px);
            (whole(across), whole(across * height as f64 / width as f64))
        }
    }
}

/// The view pointed as the recipe says, and where that is silent by the Sun in it: its fitted disc, else the one small bright thing.
/// `there` gives the place on the canvas of a circle in the photograph.
///
/// Where neither tells the view is refused: a path in a wrong place is worse than none.
fn pointed(
    land: &Foreground,
    record: &ShotRecord,
    recipe: &Recipe,
    there: impl Fn(Circle) -> (f64, f64),
) -> Result<View, String> {
    let horizon_px = recipe.foreground_horizon.map(|part| land.row_px(part));
    if let (Some(az_deg), Some(horizon_px)) = (recipe.foreground_az_deg, horizon_px) {
        return Ok(View {
            az_deg: Some(az_deg),
            horizon_px,
            ..land.view
        });
    }
    let by_hand = "; set foreground_az_deg and foreground_horizon in strip.toml";
    let sky = record
        .predicted
        .ok_or_else(|| format!("it has no usable time, which says where its Sun stood{by_hand}"))?;
    let fitted = record.disc.and_then(|fit| fit.sun).map(there);
    let place = fitted.or_else(|| bright_spot(&land.light)).ok_or_else(|| {
        format!("its Sun, which would tell where it looks, cannot be made out in it{by_hand}")
    })?;
    let aimed = land
        .view
        .pointed(place, sky.sun_az_deg, sky.sun_alt_refracted_deg);
    let part = aimed.horizon_px / land.view.height_px as f64;
    if !HORIZON.contains(&part) {
        return Err(format!(
            "what shines in it cannot be the Sun, by whose height the horizon would lie far outside{by_hand}"
        ));
    }
    Ok(View {
        az_deg: recipe.foreground_az_deg.or(aimed.az_deg),
        horizon_px: horizon_px.unwrap_or(aimed.horizon_px),
        ..aimed
    })
}

/// The place of the one small bright thing in a picture: the centre of the light near its brightest, when that is small and nothing
/// else far from it is as bright.
fn bright_spot(light: &LinearRgb) -> Option<(f64, f64)> {
    let green = |x: usize, y: usize| light.at(x, y)[1];
    let places = || (0..light.height()).flat_map(|y| (0..light.width()).map(move |x| (x, y)));
    let most = places().map(|(x, y)| green(x, y)).fold(0.0, f32::max);
    let small = light.width() / SPOT_SHARE;
    SPOT_LIGHT.into_iter().find_map(|part| {
        let (mut sx, mut sy, mut n) = (0.0, 0.0, 0.0);
        let (mut left, mut right, mut top, mut bottom) = (usize::MAX, 0, usize::MAX, 0);
        for (x, y) in places().filter(|&(x, y)| green(x, y) > part * most) {
            sx += x as f64;
            sy += y as f64;
            n += 1.0;
            (left, right) = (left.min(x), right.max(x));
            (top, bottom) = (top.min(y), bottom.max(y));
        }
        let found = n > 0.0 && most > 0.1 && right - left <= small && bottom - top <= small;
        found.then(|| (sx / n, sy / n))
    })
}

/// Angle from side to side of a straight lens, from its focal length (its real one is taken to be on a 35 mm frame).
fn width_deg(exposure: &Exposure, level: bool) -> Option<f64> {
    let focal_mm = exposure.focal_35mm.or(exposure.focal_mm)?;
    let side_mm = if level { FRAME_35MM } else { FRAME_35MM / 1.5 };
    let angle = 2.0 * (side_mm / 2.0 / focal_mm).atan().to_degrees();
    (focal_mm > 0.0 && angle.is_finite()).then_some(angle)
}
