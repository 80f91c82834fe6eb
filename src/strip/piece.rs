//! The pieces of a strip before they are drawn.

use super::develop::FADE_TO;
use super::error::StripError;
use super::layout::{PieceGeometry, SkyPlace};
use super::pose::{Light, Pose, pose, turn_notice};
use super::propose::best_single;
use super::recipe::{Arrangement, Centre, Recipe, Up};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Circle, NoDisc, Notice, SunMoon, Utc};
use crate::raster::LinearRgb;

/// Farthest a bare picture reaches when the recipe does not say, in solar radii.
pub(super) const USUAL_REACH: f64 = 5.0;

/// How far beads and rings beside the middle reach, in solar radii: enough for the glow of a diamond.
const RING_REACH: f64 = 1.8;

/// Light below which a corona is taken to end: about 7 of 255 in an sRGB file.
const CORONA_ENDS: f32 = 0.002;

/// A merged corona to stand in the middle.
#[derive(Clone, Copy, Debug)]
pub struct CentrePiece<'a> {
    /// Light as it is to be shown, 0 to 1.
    pub light: &'a LinearRgb,
    /// The Sun in it. Its radius is brought to that of the partial discs.
    pub sun: Circle,
    /// Angle of celestial north, anticlockwise from picture up, in degrees.
    pub north_deg: f64,
    /// Whether it is mirrored.
    pub mirrored: bool,
    /// Frames merged into it.
    pub frames: usize,
}

/// One piece of the strip before it is drawn.
pub(super) struct Piece<'a> {
    pub(super) name: String,
    pub(super) source: Source<'a>,
    pub(super) geometry: PieceGeometry,
    pub(super) time: Option<Utc>,
    pub(super) sky: Option<SunMoon>,
}

/// Where its pixels come from.
pub(super) enum Source<'a> {
    /// A photograph and its pose.
    Frame(&'a ShotRecord, Pose),
    /// The merged corona and its clockwise turn in degrees.
    Corona(CentrePiece<'a>, f64),
}

/// The pieces of a recipe in order; those that cannot be placed are told.
pub(super) fn pieces<'a>(
    catalogue: &'a Catalogue,
    recipe: &Recipe,
    centre: Option<CentrePiece<'a>>,
    notices: &mut Vec<Notice>,
) -> Result<Vec<Piece<'a>>, StripError> {
    let mut pieces = Vec::new();
    for name in &recipe.before {
        pieces.extend(frame_piece(catalogue, recipe, name, false, notices)?);
    }
    match (&recipe.centre, centre) {
        (Centre::None, _) => {}
        (Centre::Frame(name), _) => {
            pieces.extend(frame_piece(catalogue, recipe, name, true, notices)?);
        }
        (Centre::Corona, Some(corona)) => pieces.push(corona_piece(catalogue, recipe, corona)),
        (Centre::Corona, None) => {
            let single = best_single(catalogue).map(|r| r.name().to_owned());
            notices.push(no_corona(single.as_deref()));
            if let Some(name) = single {
                pieces.extend(frame_piece(catalogue, recipe, &name, true, notices)?);
            }
        }
    }
    for name in &recipe.after {
        pieces.extend(frame_piece(catalogue, recipe, name, false, notices)?);
    }
    Ok(pieces)
}

fn no_corona(single: Option<&str>) -> Notice {
    match single {
        Some(name) => {
            Notice::note("no merged corona; this single frame stands in the middle").about(name)
        }
        None => Notice::look(
            "no merged corona and no single frame of totality with a fitted disc; nothing stands in the middle",
        ),
    }
}

fn frame_piece<'a>(
    catalogue: &'a Catalogue,
    recipe: &Recipe,
    name: &str,
    middle: bool,
    notices: &mut Vec<Notice>,
) -> Result<Option<Piece<'a>>, StripError> {
    let record = catalogue
        .shot(name)
        .ok_or_else(|| StripError::NoFrame(name.to_owned()))?;
    let Some(pose) = pose(catalogue, record, recipe.orientation, recipe.align) else {
        let why = record.no_disc.unwrap_or(NoDisc::Untold);
        notices.push(Notice::look(format!("left out of the strip: {why}")).about(name));
        return Ok(None);
    };
    notices.extend(turn_notice(catalogue, record, recipe.orientation));
    let reach = match pose.light {
        Light::Filtered => FADE_TO,
        Light::Bare if middle => {
            let usual = USUAL_REACH.min(balanced_reach(recipe));
            bare_reach(record, &pose, recipe.extent_radii, usual)
        }
        Light::Bare => bare_reach(record, &pose, None, RING_REACH),
    };
    let size = if middle { recipe.centre_size } else { 1.0 };
    Ok(Some(Piece {
        name: name.to_owned(),
        geometry: PieceGeometry {
            middle,
            reach: size * reach,
            sky: record.predicted.as_ref().map(sky_place),
        },
        source: Source::Frame(record, pose),
        time: record.utc,
        sky: record.predicted,
    }))
}

/// Least that the middle reaches beside few discs, in solar radii: the inner corona.
const LEAST_REACH: f64 = 2.2;

/// The reach at which the middle takes up as much room as the discs beside it: with fewer it would leave them at the edge of an
/// empty sheet (our choice). No bound where it stands alone, or on a path.
fn balanced_reach(recipe: &Recipe) -> f64 {
    match recipe.before.len() + recipe.after.len() {
        0 => f64::INFINITY,
        _ if recipe.arrangement == Arrangement::Path => f64::INFINITY,
        n => (n as f64 * (1.0 + recipe.spacing)).max(LEAST_REACH),
    }
}

/// How far a bare frame shows anything about the Sun, in solar radii.
fn bare_reach(record: &ShotRecord, pose: &Pose, asked: Option<f64>, usual: f64) -> f64 {
    let side = |px: Option<u32>| px.map_or(f64::INFINITY, f64::from);
    let sun = &pose.still;
    let inside = sun
        .x_px
        .min(sun.y_px)
        .min(side(record.shot.width_px) - sun.x_px)
        .min(side(record.shot.height_px) - sun.y_px);
    let seen = inside / sun.radius_px;
    asked.unwrap_or_else(|| seen.clamp(1.2, usual))
}

fn sky_place(sky: &SunMoon) -> SkyPlace {
    SkyPlace {
        az_deg: sky.sun_az_deg,
        alt_deg: sky.sun_alt_refracted_deg,
        radius_deg: sky.sun_radius_arcsec / 3_600.0,
    }
}

fn corona_piece<'a>(catalogue: &Catalogue, recipe: &Recipe, corona: CentrePiece<'a>) -> Piece<'a> {
    let maximum = catalogue.contacts.as_ref().map(|c| c.maximum);
    let q = maximum.map_or(0.0, |m| m.sky.parallactic_deg);
    let north = if corona.mirrored {
        -corona.north_deg
    } else {
        corona.north_deg
    };
    let clockwise_deg = match recipe.orientation {
        Up::North => north,
        Up::Zenith => north + q,
        Up::AsShot => 0.0,
    };
    Piece {
        name: "corona".to_owned(),
        geometry: PieceGeometry {
            middle: true,
            reach: recipe.centre_size
                * recipe
                    .extent_radii
                    .unwrap_or_else(|| corona_reach(&corona).min(balanced_reach(recipe))),
            sky: maximum.as_ref().map(|m| sky_place(&m.sky)),
        },
        source: Source::Corona(corona, clockwise_deg),
        time: maximum.map(|m| m.utc),
        sky: maximum.map(|m| m.sky),
    }
}

/// How far the corona can be seen, in solar radii: where its light along four spokes falls to nothing, or the picture
/// ends.
fn corona_reach(corona: &CentrePiece<'_>) -> f64 {
    let (light, sun) = (corona.light, &corona.sun);
    let right = light.width() as f64 - sun.x_px;
    let below = light.height() as f64 - sun.y_px;
    let inside = sun.x_px.min(sun.y_px).min(right).min(below) / sun.radius_px;
    let mut reach = 1.5;
    while reach < inside.min(USUAL_REACH) && ring_light(light, sun, reach) > CORONA_ENDS {
        reach += 0.1;
    }
    // The fade takes the outer part: give it some room.
    (reach * 1.1).clamp(1.5, inside.clamp(1.5, USUAL_REACH))
}

/// Mean green light around the Sun at `r` solar radii.
fn ring_light(light: &LinearRgb, sun: &Circle, r: f64) -> f32 {
    let spokes = 72;
    let mut sum = 0.0;
    for i in 0..spokes {
        let (sin, cos) = (f64::from(i) * std::f64::consts::TAU / f64::from(spokes)).sin_cos();
        let x = (sun.x_px + r * sun.radius_px * cos).round();
        let y = (sun.y_px + r * sun.radius_px * sin).round();
        let inside = x >= 0.0 && y >= 0.0 && x < light.width() as f64 && y < light.height() as f64;
        if inside {
            sum += light.at(x as usize, y as usize)[1];
        }
    }
    sum / spokes as f32
}
