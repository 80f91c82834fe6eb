//! Draws a recipe: frames in, sheet out.

use rayon::prelude::*;

use super::develop::{Disc, TILE_REACH, Target, developed, placed_corona};
use super::error::StripError;
use super::foreground::{Foreground, foreground};
use super::label::{captions, info};
use super::layout::{Layout, LayoutError, PieceGeometry, Place, crowded, layout, layout_over};
use super::level::{Level, Measured, TOO_CLIPPED, hue, levels, matched};
use super::notice;
use super::piece::{CentrePiece, Piece, Source, USUAL_REACH, pieces};
use super::pose::{Light, pose};
use super::recipe::{Align, Arrangement, Recipe, Up};
use super::sheet::{Layer, Sheet, light_of};
use super::tile::{Open, Tile};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Circle, Notice};
use crate::raster::{PictureInfo, Placing};

/// Frames decoded at a time, at most: memory stays flat whatever the number of cores.
const AT_ONCE: usize = 4;

/// Where and how a frame was placed.
#[derive(Clone, Debug, PartialEq)]
pub struct Placed {
    /// The frame's name, or `corona`.
    pub name: String,
    /// The Sun on the sheet.
    pub sun: Circle,
    /// How far the frame was turned clockwise, in degrees.
    pub clockwise_deg: f64,
    /// Light the frame's disc would have at its centre before matching, red green blue; `None` for bare frames and
    /// where it could not be measured.
    pub level: Option<[f32; 3]>,
}

/// A drawn strip.
#[derive(Clone, Debug)]
pub struct Drawn {
    /// The sheet, to be written by the picture writers.
    pub sheet: Sheet,
    /// What the files should say about it.
    pub info: PictureInfo,
    /// Where each frame went, in order.
    pub placed: Vec<Placed>,
    /// What a person should know.
    pub notices: Vec<Notice>,
}

/// Draws the strip.
///
/// `open` is asked for each frame once, a few at a time. `centre` stands in the middle where the recipe asks for the
/// corona. A frame that cannot be opened, or whose Sun was not found, is left out with a notice and the rest closes up.
/// The same catalogue, recipe and frames give the same sheet.
///
/// # Errors
/// [`StripError`] when the recipe names a frame that is not in the catalogue, or its places do not work out.
pub fn draw(
    catalogue: &Catalogue,
    recipe: &Recipe,
    open: &Open<'_>,
    centre: Option<CentrePiece<'_>>,
) -> Result<Drawn, StripError> {
    let mut notices = Vec::new();
    let land = foreground(catalogue, recipe, open, &mut notices);
    let pieces = pieces(catalogue, recipe, centre, &mut notices)?;
    let mut pieces = match recipe.arrangement {
        Arrangement::Path => uncrowded(recipe, land.as_ref(), pieces, &mut notices),
        _ => pieces,
    };
    let (laid, mut discs) = loop {
        let geometry: Vec<PieceGeometry> = pieces.iter().map(|p| p.geometry).collect();
        let laid = laid_out(recipe, land.as_ref(), &geometry)?;
        let discs = develop_all(recipe, &pieces, &laid, open);
        let lost: Vec<&String> = discs.iter().filter_map(|d| d.as_ref().err()).collect();
        if lost.is_empty() {
            let discs: Vec<Disc> = discs.into_iter().flatten().collect();
            break (laid, discs);
        }
        pieces = without_lost(pieces, discs, &mut notices);
    };
    let found = match_levels(catalogue, recipe, &pieces, &mut discs, &mut notices);
    if land.is_some() {
        notices.extend(off_the_land(&pieces, &laid));
    }
    let placed = placed(recipe, &pieces, &laid, &found);
    let info = info(catalogue, recipe, &pieces);
    let sheet = Sheet {
        width: laid.width_px,
        height: laid.height_px,
        background: light_of(recipe.background),
        backdrop: land.map(|l| l.light),
        words: captions(catalogue, recipe, &pieces, &laid),
        layers: layers(&pieces, discs),
    };
    let notices = notice::joined(notices);
    Ok(Drawn {
        sheet,
        info,
        placed,
        notices,
    })
}

/// Over the wide view where there is one, else on the recipe's canvas.
fn laid_out(
    recipe: &Recipe,
    land: Option<&Foreground>,
    geometry: &[PieceGeometry],
) -> Result<Layout, LayoutError> {
    match land {
        Some(land) => layout_over(&land.view, recipe.disc_px, recipe.captions, geometry),
        None => layout(recipe, geometry),
    }
}

/// The pieces of a path without those that would stand in the corona or on another disc.
fn uncrowded<'a>(
    recipe: &Recipe,
    land: Option<&Foreground>,
    pieces: Vec<Piece<'a>>,
    notices: &mut Vec<Notice>,
) -> Vec<Piece<'a>> {
    if recipe.orientation != Up::Zenith {
        notices.push(Notice::note(
            "the path is as it stood over the land, its discs are not; orientation = \"zenith\" in strip.toml turns them",
        ));
    }
    let geometry: Vec<PieceGeometry> = pieces.iter().map(|p| p.geometry).collect();
    let crowded = crowded(&geometry, land.map_or(1.0, |l| l.scale(recipe, &geometry)));
    for &(i, other) in &crowded {
        let why = if pieces[other].geometry.middle {
            "it stood within the reach of the picture in the middle; a smaller `extent_radii` in strip.toml makes room".to_owned()
        } else {
            format!("its disc would cover that of {}", pieces[other].name)
        };
        notices.push(Notice::note(format!("left out of the path: {why}")).about(&pieces[i].name));
    }
    let stands = |i: &usize| !crowded.iter().any(|(out, _)| out == i);
    let numbered = pieces.into_iter().enumerate();
    numbered
        .filter(|(i, _)| stands(i))
        .map(|(_, p)| p)
        .collect()
}

/// A notice for each piece whose disc is not wholly on the canvas.
fn off_the_land(pieces: &[Piece<'_>], laid: &Layout) -> Vec<Notice> {
    let outside = |place: &Place| {
        let off =
            |v: f64, side: usize| v < laid.disc_radius_px || v > side as f64 - laid.disc_radius_px;
        off(place.x_px, laid.width_px) || off(place.y_px, laid.height_px)
    };
    let lost = pieces
        .iter()
        .zip(&laid.places)
        .filter(|(_, place)| outside(place));
    lost.map(|(piece, _)| {
        Notice::look("stood outside the foreground, or at its edge").about(&piece.name)
    })
    .collect()
}

/// The tile of a frame that a strip needs, for keeping beside the catalogue; `None` when the Sun is not in the frame.
pub fn tile_for(catalogue: &Catalogue, record: &ShotRecord, frame: Tile) -> Option<Tile> {
    let pose = pose(catalogue, record, Up::AsShot, Align::Sun)?;
    let reach = match pose.light {
        Light::Filtered => TILE_REACH,
        Light::Bare => USUAL_REACH * 1.25,
    };
    frame.cut(&pose.still, reach * pose.still.radius_px)
}

/// Develops every piece, a few at a time, in order.
fn develop_all(
    recipe: &Recipe,
    pieces: &[Piece<'_>],
    laid: &Layout,
    open: &Open<'_>,
) -> Vec<Result<Disc, String>> {
    let numbered: Vec<usize> = (0..pieces.len()).collect();
    let mut discs = Vec::with_capacity(pieces.len());
    for some in numbered.chunks(AT_ONCE.min(rayon::current_num_threads()).max(1)) {
        let developed: Vec<Result<Disc, String>> = some
            .par_iter()
            .map(|&i| develop(&pieces[i], &target(recipe, &pieces[i], laid, i), open))
            .collect();
        discs.extend(developed);
    }
    discs
}

/// Radius of a piece's disc.
fn radius_px(recipe: &Recipe, piece: &Piece<'_>, laid: &Layout) -> f64 {
    let size = if piece.geometry.middle {
        recipe.centre_size
    } else {
        1.0
    };
    size * laid.disc_radius_px
}

fn target(recipe: &Recipe, piece: &Piece<'_>, laid: &Layout, i: usize) -> Target {
    let place = &laid.places[i];
    Target {
        centre: (place.x_px, place.y_px),
        radius_px: radius_px(recipe, piece, laid),
        reach_px: place.reach_px,
    }
}

fn develop(piece: &Piece<'_>, target: &Target, open: &Open<'_>) -> Result<Disc, String> {
    match &piece.source {
        Source::Corona(corona, clockwise_deg) => {
            let placing = Placing {
                source_px: (corona.sun.x_px, corona.sun.y_px),
                result_px: (0.0, 0.0),
                scale: corona.sun.radius_px / target.radius_px,
                mirrored: corona.mirrored,
                clockwise_deg: *clockwise_deg,
            };
            Ok(placed_corona(corona.light, placing, target))
        }
        Source::Frame(record, pose) => {
            let reach = match pose.light {
                Light::Filtered => TILE_REACH,
                Light::Bare => target.reach_px / target.radius_px,
            };
            let whole = open(record)?;
            let tile = whole
                .cut(&pose.still, reach * pose.still.radius_px)
                .ok_or("its Sun lies off the picture")?;
            drop(whole);
            Ok(developed(&tile, pose, target))
        }
    }
}

/// The pieces that could be opened; the others are told.
fn without_lost<'a>(
    pieces: Vec<Piece<'a>>,
    discs: Vec<Result<Disc, String>>,
    notices: &mut Vec<Notice>,
) -> Vec<Piece<'a>> {
    let mut kept = Vec::new();
    for (piece, disc) in pieces.into_iter().zip(discs) {
        match disc {
            Ok(_) => kept.push(piece),
            Err(why) => {
                let text = format!("left out of the strip: it {why}");
                notices.push(Notice::look(text).about(piece.name));
            }
        }
    }
    kept
}

/// Matches the filtered discs and scales the bare ones into range; gives the levels found.
fn match_levels(
    catalogue: &Catalogue,
    recipe: &Recipe,
    pieces: &[Piece<'_>],
    discs: &mut [Disc],
    notices: &mut Vec<Notice>,
) -> Vec<Option<Level>> {
    let mut found: Vec<Option<Level>> = vec![None; discs.len()];
    for body in bodies(catalogue, pieces, discs) {
        let measured = |&i: &usize| Measured {
            rings: discs[i].rings.as_ref(),
            stops: stops(&pieces[i]),
        };
        let of_body: Vec<Measured<'_>> = body.iter().map(measured).collect();
        for (&i, level) in body.iter().zip(levels(&of_body)) {
            found[i] = level;
        }
    }
    if !recipe.matched {
        return found;
    }
    let all: Vec<Level> = found.iter().flatten().copied().collect();
    let hue = hue(recipe, &all);
    for (i, disc) in discs.iter_mut().enumerate() {
        if disc.kind == Light::Bare {
            continue;
        }
        match &found[i] {
            Some(level) => matched(&mut disc.light, level, hue, recipe),
            None => notices.push(
                Notice::look("too little of the Sun to match its brightness; placed as shot")
                    .about(&pieces[i].name),
            ),
        }
        if disc.clipped > TOO_CLIPPED {
            let text =
                "much of its disc is saturated; its brightness and colour cannot be matched well";
            notices.push(Notice::look(text).about(&pieces[i].name));
        }
    }
    found
}

/// How much light a piece's exposure let in, in stops.
fn stops(piece: &Piece<'_>) -> Option<f64> {
    match &piece.source {
        Source::Frame(record, _) => record.shot.exposure.stops(),
        Source::Corona(..) => None,
    }
}

/// Filtered discs grouped by body, bodies in order of their first disc.
fn bodies(catalogue: &Catalogue, pieces: &[Piece<'_>], discs: &[Disc]) -> Vec<Vec<usize>> {
    let mut groups: Vec<(&str, Vec<usize>)> = Vec::new();
    for (i, piece) in pieces.iter().enumerate() {
        let Source::Frame(record, _) = &piece.source else {
            continue;
        };
        if discs[i].kind == Light::Bare {
            continue;
        }
        let label = catalogue.camera_label(&record.shot);
        match groups.iter_mut().find(|(l, _)| *l == label) {
            Some((_, group)) => group.push(i),
            None => groups.push((label, vec![i])),
        }
    }
    groups.into_iter().map(|(_, group)| group).collect()
}

fn placed(
    recipe: &Recipe,
    pieces: &[Piece<'_>],
    laid: &Layout,
    found: &[Option<Level>],
) -> Vec<Placed> {
    let one = |((piece, place), level): ((&Piece<'_>, _), &Option<Level>)| {
        let place: &Place = place;
        Placed {
            name: piece.name.clone(),
            sun: Circle {
                x_px: place.x_px,
                y_px: place.y_px,
                radius_px: radius_px(recipe, piece, laid),
            },
            clockwise_deg: match &piece.source {
                Source::Frame(_, pose) => pose.clockwise_deg,
                Source::Corona(_, clockwise_deg) => *clockwise_deg,
            },
            level: level.map(|l| l.rgb),
        }
    };
    pieces
        .iter()
        .zip(&laid.places)
        .zip(found)
        .map(one)
        .collect()
}

fn layers(pieces: &[Piece<'_>], discs: Vec<Disc>) -> Vec<Layer> {
    let layer = |(piece, disc): (&Piece<'_>, Disc)| Layer {
        name: piece.name.clone(),
        corner: disc.corner,
        light: disc.light,
    };
    pieces.iter().zip(discs).map(layer).collect()
}
