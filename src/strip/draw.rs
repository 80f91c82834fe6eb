//! Draws a recipe: frames in, sheet out.

use rayon::prelude::*;

use super::caption::{Words, words};
use super::develop::{Disc, FADE_TO, TILE_REACH, Target, developed, placed_corona};
use super::layout::{
    CAPTION_LINE_RADII, Layout, LayoutError, PieceGeometry, SkyPlace, caption_lines, layout,
};
use super::level::{Level, TOO_CLIPPED, hue, levels, matched};
use super::pose::{Light, Pose, pose, turn_notice};
use super::propose::best_single;
use super::recipe::{Captions, Centre, Recipe, Up};
use super::sheet::{Layer, Sheet, light_of};
use super::tile::Tile;
use super::zone::local_time;
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Circle, Notice, SunMoon, Utc};
use crate::raster::{LinearRgb, PictureInfo, Placing};

/// Frames decoded at a time, at most: memory stays flat whatever the number of cores.
const AT_ONCE: usize = 4;

/// Farthest a bare picture reaches when the recipe does not say, in solar radii.
const USUAL_REACH: f64 = 5.0;

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

/// A strip that cannot be drawn.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum StripError {
    /// A frame of the recipe is not in the catalogue.
    #[error(
        "no frame {0} in the catalogue; correct strip.toml or delete it to have it proposed anew"
    )]
    NoFrame(String),
    /// The places do not work out.
    #[error(transparent)]
    Layout(#[from] LayoutError),
}

/// Opens a frame of the catalogue: whole, or the tile kept of it.
pub type Open<'a> = dyn Fn(&ShotRecord) -> Result<Tile, String> + Sync + 'a;

/// One piece of the strip before it is drawn.
struct Piece<'a> {
    name: String,
    source: Source<'a>,
    geometry: PieceGeometry,
    time: Option<Utc>,
    sky: Option<SunMoon>,
}

enum Source<'a> {
    Frame(&'a ShotRecord, Pose),
    Corona(CentrePiece<'a>, f64),
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
    let mut pieces = pieces(catalogue, recipe, centre, &mut notices)?;
    let (laid, mut discs) = loop {
        let geometry: Vec<PieceGeometry> = pieces.iter().map(|p| p.geometry).collect();
        let laid = layout(recipe, &geometry)?;
        let discs = develop_all(&pieces, &laid, open);
        let lost: Vec<&String> = discs.iter().filter_map(|d| d.as_ref().err()).collect();
        if lost.is_empty() {
            let discs: Vec<Disc> = discs.into_iter().flatten().collect();
            break (laid, discs);
        }
        pieces = without_lost(pieces, discs, &mut notices);
    };
    let found = match_levels(catalogue, recipe, &pieces, &mut discs, &mut notices);
    let placed = placed(&pieces, &laid, &found);
    let info = info(catalogue, recipe, &pieces);
    let sheet = Sheet {
        width: laid.width_px,
        height: laid.height_px,
        background: light_of(recipe.background),
        backdrop: None,
        words: captions(catalogue, recipe, &pieces, &laid),
        layers: layers(&pieces, discs),
    };
    Ok(Drawn {
        sheet,
        info,
        placed,
        notices,
    })
}

/// The tile of a frame that a strip needs, for keeping beside the catalogue; `None` when the Sun is not in the frame.
pub fn tile_for(catalogue: &Catalogue, record: &ShotRecord, frame: Tile) -> Option<Tile> {
    let pose = pose(catalogue, record, Up::AsShot)?;
    let reach = match pose.light {
        Light::Filtered => TILE_REACH,
        Light::Bare => USUAL_REACH * 1.25,
    };
    frame.cut(&pose.sun, reach * pose.sun.radius_px)
}

fn pieces<'a>(
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
    let Some(pose) = pose(catalogue, record, recipe.up) else {
        let why = record.no_disc.as_deref().unwrap_or("no disc was fitted");
        notices.push(Notice::look(format!("left out of the strip: {why}")).about(name));
        return Ok(None);
    };
    notices.extend(turn_notice(catalogue, record, recipe.up));
    let reach = match pose.light {
        Light::Filtered => FADE_TO,
        Light::Bare => bare_reach(record, &pose, recipe.reach.filter(|_| middle)),
    };
    Ok(Some(Piece {
        name: name.to_owned(),
        geometry: PieceGeometry {
            middle,
            reach,
            sky: record.predicted.as_ref().map(sky_place),
        },
        source: Source::Frame(record, pose),
        time: record.utc,
        sky: record.predicted,
    }))
}

/// How far a bare frame shows anything about the Sun, in solar radii.
fn bare_reach(record: &ShotRecord, pose: &Pose, asked: Option<f64>) -> f64 {
    let side = |px: Option<u32>| px.map_or(f64::INFINITY, f64::from);
    let sun = &pose.sun;
    let inside = sun
        .x_px
        .min(sun.y_px)
        .min(side(record.shot.width_px) - sun.x_px)
        .min(side(record.shot.height_px) - sun.y_px);
    let seen = inside / sun.radius_px;
    asked.unwrap_or_else(|| seen.clamp(1.2, USUAL_REACH))
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
    let clockwise_deg = match recipe.up {
        Up::North => north,
        Up::Zenith => north + q,
        Up::AsShot => 0.0,
    };
    Piece {
        name: "corona".to_owned(),
        geometry: PieceGeometry {
            middle: true,
            reach: recipe.reach.unwrap_or_else(|| corona_reach(&corona)),
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

/// Develops every piece, a few at a time, in order.
fn develop_all(pieces: &[Piece<'_>], laid: &Layout, open: &Open<'_>) -> Vec<Result<Disc, String>> {
    let numbered: Vec<usize> = (0..pieces.len()).collect();
    let mut discs = Vec::with_capacity(pieces.len());
    for some in numbered.chunks(AT_ONCE.min(rayon::current_num_threads()).max(1)) {
        let developed: Vec<Result<Disc, String>> = some
            .par_iter()
            .map(|&i| develop(&pieces[i], &target(laid, i), open))
            .collect();
        discs.extend(developed);
    }
    discs
}

fn target(laid: &Layout, i: usize) -> Target {
    let place = &laid.places[i];
    Target {
        centre: (place.x_px, place.y_px),
        radius_px: laid.disc_radius_px,
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
                .cut(&pose.sun, reach * pose.sun.radius_px)
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
        let of_body: Vec<&Disc> = body.iter().map(|&i| &discs[i]).collect();
        for (&i, level) in body.iter().zip(levels(&of_body)) {
            found[i] = level;
        }
    }
    let all: Vec<Level> = found.iter().flatten().copied().collect();
    let hue = hue(recipe, &all);
    for (i, disc) in discs.iter_mut().enumerate() {
        if disc.kind == Light::Bare {
            continue;
        }
        match &found[i] {
            Some(level) => matched(disc, level, hue, recipe),
            None => notices.push(
                Notice::look("too little of the Sun to match its brightness; placed as shot")
                    .about(&pieces[i].name),
            ),
        }
        if disc.clipped > TOO_CLIPPED {
            let text = format!(
                "{:.0} % of its disc is saturated; its brightness and colour cannot be matched well",
                disc.clipped * 100.0
            );
            notices.push(Notice::look(text).about(&pieces[i].name));
        }
    }
    found
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

fn placed(pieces: &[Piece<'_>], laid: &Layout, found: &[Option<Level>]) -> Vec<Placed> {
    let one = |((piece, place), level): ((&Piece<'_>, _), &Option<Level>)| {
        let place: &super::layout::Place = place;
        Placed {
            name: piece.name.clone(),
            sun: Circle {
                x_px: place.x_px,
                y_px: place.y_px,
                radius_px: laid.disc_radius_px,
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

fn captions(
    catalogue: &Catalogue,
    recipe: &Recipe,
    pieces: &[Piece<'_>],
    laid: &Layout,
) -> Vec<Words> {
    let mut all = Vec::new();
    let line_px = CAPTION_LINE_RADII * laid.disc_radius_px;
    let half_px = caption_lines(recipe.captions) as f64 * line_px / 2.0;
    for (piece, place) in pieces.iter().zip(&laid.places) {
        let Some((x, y)) = place.caption_px else {
            continue;
        };
        for (n, text) in caption(catalogue, recipe.captions, piece)
            .iter()
            .enumerate()
        {
            let top = y - half_px + n as f64 * line_px;
            all.extend(words(text, x, top, line_px * 0.94));
        }
    }
    all
}

fn caption(catalogue: &Catalogue, captions: Captions, piece: &Piece<'_>) -> Vec<String> {
    let time = piece.time.map(|utc| local_time(catalogue, utc, "%H:%M"));
    let covered = piece.sky.map(|sky| percent(sky.obscuration));
    let lines = match captions {
        Captions::None => [None, None],
        Captions::Time => [time, None],
        Captions::Obscuration => [covered, None],
        Captions::Both => [time, covered],
    };
    lines.into_iter().flatten().collect()
}

/// A covered fraction in words; a trace is not rounded to nothing, nor a sliver of Sun to totality.
fn percent(obscuration: f64) -> String {
    let rounded = (obscuration * 100.0).round();
    if obscuration > 0.0 && rounded < 1.0 {
        "<1 %".to_owned()
    } else if obscuration < 1.0 - 1e-9 && rounded > 99.0 {
        ">99 %".to_owned()
    } else {
        format!("{rounded:.0} %")
    }
}

/// What the files say: an honest label, the range of capture times, place and credit as the recipe allows.
fn info(catalogue: &Catalogue, recipe: &Recipe, pieces: &[Piece<'_>]) -> PictureInfo {
    let mut frames = 0;
    let mut times = Vec::new();
    for piece in pieces {
        match &piece.source {
            Source::Frame(record, _) => {
                frames += 1;
                times.extend(record.utc);
            }
            Source::Corona(corona, _) => frames += corona.frames.max(1),
        }
    }
    times.sort();
    let eclipse = catalogue.contacts.as_ref().map_or_else(
        || "Solar eclipse".to_owned(),
        |c| format!("Solar eclipse of {}", c.eclipse_date),
    );
    PictureInfo {
        credit: recipe.credit.clone(),
        captured: times.first().copied().zip(times.last().copied()),
        place: catalogue
            .contacts
            .as_ref()
            .map(|c| c.site)
            .filter(|_| recipe.tell_place),
        dpi: recipe.dpi,
        ..PictureInfo::new(format!("{eclipse}: composite of {frames} frames"))
    }
}
