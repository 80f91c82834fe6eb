//! The making half: each stage works from the record of an earlier run.

use std::path::{Path, PathBuf};

use rayon::prelude::*;

use super::corona::CoronaWish;
use super::corona::{self, CORONA_TIFF};
use super::earlier::{Opened, open, recipe_named, recipe_there};
use super::imprint::Imprint;
use super::lapse::{self, TIME_LAPSE};
use super::layers::{LAYERS, Layers};
use super::out::OutFolder;
use super::page;
use super::recipes::{RecipeName, RecipeStep, recipe_after, recipe_step};
use super::standing::{self, Stage};
use super::{Made, PipelineError, Settings, Target, Watch, keepsake, sort};
use crate::catalogue::{Catalogue, ShotRecord, write_atomically};
use crate::clock;
use crate::domain::{ContactKind, Notice, Orientation};
use crate::export::{self, ExportOptions, ExportPlan, SidecarNames};
use crate::raster::{self, Depth, LinearRgb, Packing, Reading};
use crate::strip::{
    self, Centre, CentrePiece, Drawn, Output, Recipe, RecipeEdit, Tile, Wish, frame_meant,
};

/// Quality of JPEGs, 1 to 100 (common practice for pictures to share and print).
const JPEG_QUALITY: u8 = 95;

/// Folder below OUT for the pieces the strip is drawn from, so that it can be drawn again with the card away.
const TILES: &str = ".cache/tiles";

/// Everything, in order.
///
/// # Errors
/// [`PipelineError`] from the first stage that cannot run; what earlier stages wrote stays.
pub fn all(
    settings: &Settings,
    wish: &MakingWish,
    watch: &dyn Watch,
) -> Result<Made, PipelineError> {
    let dry_run = settings.dry_run;
    let out = sort::open(settings)?;
    let earlier = out.record();
    // A recipe that cannot be followed is told before the record it belongs to is replaced.
    let fits = |catalogue: &Catalogue| recipe_there(catalogue, &out).map(drop);
    let mut made = sort::sort_into(settings, &out, watch, &fits)?;
    let Some(mut catalogue) = made.catalogue.take() else {
        return Ok(made);
    };
    let rest = all_from(&mut catalogue, &out, wish, dry_run, watch);
    if let Err(error) = &rest
        && !matches!(error, PipelineError::Interrupted)
        && !dry_run
    {
        out.put_back(&earlier)?;
    }
    made.join(rest?);
    made.catalogue = Some(catalogue);
    Ok(made)
}

/// Everything that is made from the record, in order.
fn all_from(
    catalogue: &mut Catalogue,
    out: &OutFolder,
    wish: &MakingWish,
    dry_run: bool,
    watch: &dyn Watch,
) -> Result<Made, PipelineError> {
    let mut made = pictures_from(catalogue, out, wish, dry_run, watch)?;
    let mut exported = export_into(catalogue, &out.path, &wish.export, dry_run, watch)?;
    // The folders themselves show what was copied; the closing summary stays short.
    exported.text.clear();
    if !dry_run {
        exported.lines.clear();
    }
    made.join(exported);
    made.join(page_from(catalogue, out, dry_run, watch)?);
    Ok(made)
}

/// What is made of several cards joined: pictures and page. Copies of everybody's files are made where they are asked for.
pub(super) fn pictures_and_page(
    catalogue: &mut Catalogue,
    out: &OutFolder,
    wish: &MakingWish,
    dry_run: bool,
    watch: &dyn Watch,
) -> Result<Made, PipelineError> {
    let mut made = pictures_from(catalogue, out, wish, dry_run, watch)?;
    made.join(page_from(catalogue, out, dry_run, watch)?);
    Ok(made)
}

/// The page.
fn page_from(
    catalogue: &mut Catalogue,
    out: &OutFolder,
    dry_run: bool,
    watch: &dyn Watch,
) -> Result<Made, PipelineError> {
    let asked = page::asked(catalogue, out);
    let page = (!dry_run).then(|| Stage::of(out, "report", catalogue, &asked, &page::SHOWN));
    let mut made = standing::run(page, catalogue, |catalogue| {
        page::report_into(catalogue, out, dry_run, watch)
    })?;
    made.notices.extend(out.told());
    Ok(made)
}

/// Corona and strip.
fn pictures_from(
    catalogue: &mut Catalogue,
    out: &OutFolder,
    wish: &MakingWish,
    dry_run: bool,
    watch: &dyn Watch,
) -> Result<Made, PipelineError> {
    let mut made = Made::default();
    let corona = CoronaWish {
        credit: wish.credit.clone(),
        ..wish.corona.clone()
    };
    let stage = |name, catalogue: &Catalogue, asked: String, from: &[&str]| {
        (!dry_run).then(|| Stage::of(out, name, catalogue, &asked, from))
    };
    let merging = stage(
        "merge",
        catalogue,
        corona::asked(catalogue, out, &corona),
        &[],
    );
    made.join(standing::run(merging, catalogue, |catalogue| {
        corona::merge_into(catalogue, out, &corona, dry_run, watch)
    })?);
    let strip = StripWish {
        credit: wish.credit.clone(),
        ..StripWish::default()
    };
    let (recipe, notices, files) = recipe(catalogue, out, &strip, dry_run)?;
    made.notices.extend(notices);
    made.files.extend(files);
    let from = [CORONA_TIFF, &*strip.recipe.file()];
    let drawing = stage("strip", catalogue, String::new(), &from);
    made.join(standing::run(drawing, catalogue, |catalogue| {
        strip_by(&recipe, catalogue, (out, &strip), dry_run, watch)
    })?);
    made.notices.extend(out.told());
    Ok(made)
}

/// Merges the brackets of totality.
///
/// # Errors
/// [`PipelineError`] when the record cannot be read or a file cannot be written.
pub fn merge(target: &Target, wish: &CoronaWish, watch: &dyn Watch) -> Result<Made, PipelineError> {
    let Opened {
        folder,
        mut catalogue,
        away,
    } = open(target)?;
    let mut made = corona::merge_into(&mut catalogue, &folder, wish, target.dry_run, watch)?;
    made.notices.extend(folder.told());
    let stale = page::stale(&folder.path);
    Ok(made.and_told(away).and_told(stale))
}

/// What is asked of the strip beyond its recipe.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct StripWish {
    /// The recipe to follow.
    pub recipe: RecipeName,
    /// Changes to make to it first. Their frames may be given as a person would, see [`frame_meant`].
    pub edits: Vec<RecipeEdit>,
    /// The credit line of a recipe that is proposed.
    pub credit: Option<String>,
    /// Make the steady time-lapse too, as the recipe's own wish for it does.
    pub time_lapse: bool,
    /// Choose the frames anew, in this way, and keep the rest of the recipe.
    pub choose: Option<Wish>,
}

/// Draws the strip from the record and its recipe; the recipe is proposed where there is none.
///
/// # Errors
/// [`PipelineError`] when the record or the recipe cannot be read or a file cannot be written.
pub fn strip(target: &Target, wish: &StripWish, watch: &dyn Watch) -> Result<Made, PipelineError> {
    let opened = open(target)?;
    let made = strip_into(
        &opened.catalogue,
        &opened.folder,
        wish,
        target.dry_run,
        watch,
    )?;
    let stale = page::stale(&opened.folder.path);
    Ok(made.and_told(opened.away).and_told(stale))
}

fn strip_into(
    catalogue: &Catalogue,
    folder: &OutFolder,
    wish: &StripWish,
    dry_run: bool,
    watch: &dyn Watch,
) -> Result<Made, PipelineError> {
    let (recipe, notices, files) = recipe(catalogue, folder, wish, dry_run)?;
    let mut made = Made {
        notices,
        files,
        ..Made::default()
    };
    made.join(strip_by(
        &recipe,
        catalogue,
        (folder, wish),
        dry_run,
        watch,
    )?);
    made.notices.extend(folder.told());
    Ok(made)
}

/// Draws the strip of a recipe, with what is made beside it.
fn strip_by(
    recipe: &Recipe,
    catalogue: &Catalogue,
    (folder, wish): (&OutFolder, &StripWish),
    dry_run: bool,
    watch: &dyn Watch,
) -> Result<Made, PipelineError> {
    let out = folder.path.as_path();
    let (mut notices, mut files) = (Vec::new(), Vec::new());
    let first = wish.recipe.is_first();
    let stem = wish.recipe.stem();
    if recipe.frames().next().is_none() && recipe.centre == Centre::None {
        notices.push(Notice::look("no strip: no frame with a disc to place"));
        return Ok(Made {
            notices,
            ..Made::default()
        });
    }
    let outputs: Vec<(Output, PathBuf)> = recipe
        .outputs
        .iter()
        .map(|output| (*output, out.join(strip_name(&stem, *output))))
        .collect();
    files.extend(outputs.iter().map(|(_, path)| path.clone()));
    // Beads and time-lapse are the card's, whatever the recipe: they are made with the first one.
    let time_lapse = first && (wish.time_lapse || recipe.time_lapse);
    if dry_run {
        files.extend(recipe.layers.then(|| out.join(LAYERS)));
        let due = |(contact, _): &(ContactKind, &str)| {
            first && Recipe::propose_beads(catalogue, *contact).is_some()
        };
        let due = BEADS.into_iter().filter(due);
        files.extend(due.map(|(_, name)| out.join(name)));
        files.extend(time_lapse.then(|| out.join(TIME_LAPSE)));
        return Ok(Made {
            files,
            notices,
            ..Made::default()
        });
    }
    let corona = corona_light(catalogue, out, recipe, &mut notices);
    let centre = corona.as_ref().and_then(|light| {
        let record = catalogue.corona.as_ref()?;
        Some(CentrePiece {
            light,
            sun: record.sun,
            north_deg: record.north_deg.unwrap_or(0.0),
            mirrored: record.mirrored,
            frames: record.frames.len(),
        })
    });
    watch.begin("drawing the strip", recipe.frames().count() as u64);
    let drawn = strip::draw(
        catalogue,
        recipe,
        &|record| {
            let tile = if recipe.foreground.as_deref() == Some(record.name()) {
                whole_tile(out, record)
            } else {
                tile(catalogue, out, record)
            };
            watch.advance(1);
            tile
        },
        centre,
    )?;
    watch.end();
    if watch.interrupted() {
        return Err(PipelineError::Interrupted);
    }
    let imprint = Imprint::of(catalogue, Some(recipe));
    let mut drawn = drawn;
    drawn.info = imprint.on(drawn.info);
    // PNG and JPEG are coded on one core each: all kinds, and the beads, are written side by side.
    let strips = || {
        outputs.par_iter().try_for_each(|(output, _)| {
            write_strip(&drawn, *output, &strip_name(&stem, *output), folder)
        })
    };
    let few = || match first {
        true => all_beads(catalogue, folder),
        false => Ok(Made::default()),
    };
    let (strips, few) = rayon::join(strips, few);
    strips?;
    let few = few?;
    if recipe.layers {
        files.push(write_layers(&drawn, &stem, folder)?);
    }
    notices.extend(drawn.notices);
    notices.extend(few.notices);
    files.extend(few.files);
    clear_stale(folder, &wish.recipe);
    if time_lapse {
        let open = |record: &ShotRecord| tile(catalogue, out, record);
        files.extend(lapse::time_lapses(
            catalogue,
            recipe,
            folder,
            &open,
            watch,
            &mut notices,
        )?);
    }
    Ok(Made {
        files,
        notices,
        ..Made::default()
    })
}

/// Removes strips in formats no longer wished for, beads and layers no longer made; those of other recipes stay.
fn clear_stale(folder: &OutFolder, recipe: &RecipeName) {
    let (start, file) = (format!("{}.", recipe.stem()), recipe.file());
    folder.clear(&|name| {
        name.starts_with(&start) && name != file || recipe.is_first() && name.starts_with("beads-")
    });
    // The first recipe's layers go on with their number, those of others with their name.
    let numbered = format!("{LAYERS}/{}-", recipe.stem());
    folder.clear(&|name| {
        let rest = name.strip_prefix(&numbered);
        rest.is_some_and(|rest| rest.starts_with(|c: char| c.is_ascii_digit()))
    });
}

/// Each placed disc by itself on the strip's canvas, as 16-bit TIFF, numbered in the strip's order.
fn write_layers(drawn: &Drawn, stem: &str, out: &OutFolder) -> Result<PathBuf, PipelineError> {
    let layers = Layers::begin(out, stem);
    for (n, (name, rows)) in drawn.sheet.layers().enumerate() {
        layers.write(&format!("{:02}-{name}", n + 1), |mut file| {
            raster::write_tiff16(&rows, &drawn.info, Packing::Deflate, &mut file)
        })?;
    }
    Ok(layers.end())
}

/// Contacts whose beads are a strip of their own, and the names of those.
const BEADS: [(ContactKind, &str); 2] = [
    (ContactKind::C2, page::BEADS_PICTURES[0]),
    (ContactKind::C3, page::BEADS_PICTURES[1]),
];

/// The strips of beads that the card has frames for.
fn all_beads(catalogue: &Catalogue, out: &OutFolder) -> Result<Made, PipelineError> {
    let mut made = Made::default();
    for (contact, name) in BEADS {
        let files = beads(catalogue, out, contact, name, &mut made.notices)?;
        made.files.extend(files);
    }
    Ok(made)
}

/// The beads and the ring at one contact as a strip of their own, or the one frame there is of them, where the card has some.
fn beads(
    catalogue: &Catalogue,
    out: &OutFolder,
    contact: ContactKind,
    name: &str,
    notices: &mut Vec<Notice>,
) -> Result<Vec<PathBuf>, PipelineError> {
    let Some(recipe) = Recipe::propose_beads(catalogue, contact) else {
        return Ok(Vec::new());
    };
    let open = |record: &ShotRecord| tile(catalogue, &out.path, record);
    // The strip itself is written by now: frames lost since cost this picture and nothing else.
    let drawn = match strip::draw(catalogue, &recipe, &open, None) {
        Ok(drawn) => drawn,
        Err(error) => {
            notices.push(Notice::look(format!("not drawn: {error}")).about(name));
            return Ok(Vec::new());
        }
    };
    write_strip(&drawn, Output::Png, name, out)?;
    notices.extend(drawn.notices);
    Ok(vec![out.path.join(name)])
}

/// The recipe as it stands in OUT; where there is none it is proposed and written. `choose` has its frames chosen anew.
fn recipe(
    catalogue: &Catalogue,
    out: &OutFolder,
    wish: &StripWish,
    dry_run: bool,
) -> Result<(Recipe, Vec<Notice>, Vec<PathBuf>), PipelineError> {
    let path = out.path.join(wish.recipe.file());
    if !wish.edits.is_empty() || !wish.recipe.is_first() && wish.choose.is_none() {
        let recipe = changed(catalogue, out, wish, dry_run)?;
        return Ok((recipe, Vec::new(), vec![path]));
    }
    let there = recipe_named(catalogue, out, &wish.recipe)?;
    let (kept, choice) = match (there, wish.choose) {
        (Some(recipe), None) => return Ok((recipe, Vec::new(), Vec::new())),
        (there, choice) => (there, choice.unwrap_or_default()),
    };
    let (proposed, notices) = Recipe::propose_for(catalogue, &choice);
    let recipe = match kept {
        // What a person set stays; only the frames are chosen anew.
        Some(kept) => Recipe {
            before: proposed.before,
            centre: proposed.centre,
            after: proposed.after,
            ..kept
        },
        None => Recipe {
            credit: wish.credit.clone(),
            ..proposed
        },
    };
    if !dry_run {
        out.write(&wish.recipe.file(), |file| {
            std::io::Write::write_all(file, recipe.to_toml(catalogue).as_bytes())
        })?;
    }
    Ok((recipe, notices, vec![path]))
}

/// The recipe with the changes asked for made to it, comments kept; undone and done again as those made on the page.
fn changed(
    catalogue: &Catalogue,
    out: &OutFolder,
    wish: &StripWish,
    dry_run: bool,
) -> Result<Recipe, PipelineError> {
    let meant = |edit: &RecipeEdit| edit.clone().with_frame(|said| frame_meant(catalogue, said));
    let edits = wish
        .edits
        .iter()
        .map(meant)
        .collect::<Result<Vec<_>, _>>()?;
    if dry_run {
        return recipe_after(catalogue, &out.path, &wish.recipe, &edits);
    }
    let step = match edits.is_empty() {
        true => RecipeStep::Read,
        false => RecipeStep::Edit(edits),
    };
    Ok(recipe_step(catalogue, &out.path, &wish.recipe, &step)?.recipe)
}

fn strip_name(stem: &str, output: Output) -> String {
    let ending = match output {
        Output::Tiff => "tif",
        Output::Png => "png",
        Output::Jpeg => "jpg",
    };
    format!("{stem}.{ending}")
}

fn write_strip(
    drawn: &Drawn,
    output: Output,
    name: &str,
    out: &OutFolder,
) -> Result<(), PipelineError> {
    out.write(name, |mut file| match output {
        Output::Tiff => raster::write_tiff16(&drawn.sheet, &drawn.info, Packing::Lzw, &mut file),
        Output::Png => raster::write_png(&drawn.sheet, &drawn.info, Depth::Eight, file),
        Output::Jpeg => raster::write_jpeg(&drawn.sheet, &drawn.info, JPEG_QUALITY, file),
    })?;
    Ok(())
}

/// The merged corona's light, where the recipe asks for it and it is there.
fn corona_light(
    catalogue: &Catalogue,
    out: &Path,
    recipe: &Recipe,
    notices: &mut Vec<Notice>,
) -> Option<LinearRgb> {
    if recipe.centre != Centre::Corona || catalogue.corona.is_none() {
        return None;
    }
    match raster::decode(&out.join(CORONA_TIFF), Orientation::UPRIGHT) {
        Ok(frame) => Some(frame.linear_rgb(frame.full())),
        Err(error) => {
            notices.push(
                Notice::look(format!(
                    "{error}; the strip has no corona, run `contactstrip merge` first"
                ))
                .about(CORONA_TIFF),
            );
            None
        }
    }
}

/// The part of a frame the strip needs: kept from an earlier run, else from the card and kept for the next.
pub(super) fn tile(catalogue: &Catalogue, out: &Path, record: &ShotRecord) -> Result<Tile, String> {
    let kept = out.join(TILES).join(tile_name(record));
    if let Some(tile) = kept_tile(&kept) {
        return Ok(tile);
    }
    let whole = opened(record)?;
    match strip::tile_for(catalogue, record, whole.clone()) {
        Some(tile) => {
            keep_tile(&kept, &tile);
            Ok(tile)
        }
        None => Ok(whole),
    }
}

/// The whole of a frame, kept as the parts are: the foreground behind a path.
pub(super) fn whole_tile(out: &Path, record: &ShotRecord) -> Result<Tile, String> {
    let name = keepsake::cache_name(&record.shot.file, "whole") + ".tile";
    let kept = out.join(TILES).join(name);
    if let Some(tile) = kept_tile(&kept) {
        return Ok(tile);
    }
    let whole = opened(record)?;
    keep_tile(&kept, &whole);
    Ok(whole)
}

fn opened(record: &ShotRecord) -> Result<Tile, String> {
    let shot = &record.shot;
    let reading = Reading::Light(None);
    let frame =
        raster::photograph(&shot.file, shot.orientation, reading).map_err(|e| e.to_string())?;
    Ok(Tile::whole(frame))
}

fn kept_tile(path: &Path) -> Option<Tile> {
    Tile::read(&std::fs::read(path).ok()?).ok()
}

/// A tile that cannot be kept costs time at the next run and nothing else.
fn keep_tile(path: &Path, tile: &Tile) {
    let _ = write_atomically(path, |file| {
        let mut buffered = std::io::BufWriter::new(file);
        tile.write(&mut buffered)?;
        std::io::Write::flush(&mut buffered)
    });
}

/// A name for a frame's tile that changes when the frame or its fit does.
pub(super) fn tile_name(record: &ShotRecord) -> String {
    let fit = record
        .disc
        .map(|fit| format!("{fit:?}"))
        .unwrap_or_default();
    keepsake::cache_name(&record.shot.file, &fit) + ".tile"
}

/// What `all` makes besides what it always makes, and how.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct MakingWish {
    /// The credit line of a recipe that is proposed.
    pub credit: Option<String>,
    /// The phase folders.
    pub export: ExportWish,
    /// The corona.
    pub corona: CoronaWish,
}

/// How to make the phase folders.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct ExportWish {
    /// Hard links instead of copies.
    pub link: bool,
    /// XMP sidecars beside the files.
    pub xmp: bool,
}

impl ExportWish {
    fn options(self) -> ExportOptions {
        ExportOptions {
            link: self.link,
            sidecars: self.xmp.then_some(SidecarNames::Both),
        }
    }
}

/// Makes the phase folders.
///
/// # Errors
/// [`PipelineError`] when the record cannot be read or OUT cannot be written to at all.
pub fn export(
    target: &Target,
    wish: &ExportWish,
    watch: &dyn Watch,
) -> Result<Made, PipelineError> {
    let opened = open(target)?;
    let made = export_into(
        &opened.catalogue,
        &opened.folder.path,
        wish,
        target.dry_run,
        watch,
    )?;
    Ok(made.and_told(opened.away))
}

/// Folder of the chosen frames below the phase folders.
const CHOSEN: &str = "chosen";

/// Copies some frames of the card, or links them, into one folder beside the phase folders; `export --undo` takes them back with the
/// rest. Frames are given by their names on the card.
///
/// # Errors
/// As [`export()`].
pub fn export_chosen(
    target: &Target,
    names: &[String],
    wish: &ExportWish,
    watch: &dyn Watch,
) -> Result<Made, PipelineError> {
    let opened = open(target)?;
    let out = opened.folder.path.as_path();
    let plan = export::plan_chosen(&opened.catalogue, out, &wish.options(), names, CHOSEN);
    let folder = out.join(export::PHASES_FOLDER).join(CHOSEN);
    let made = exported(&plan, folder, target.dry_run, watch)?;
    Ok(made.and_told(opened.away))
}

fn export_into(
    catalogue: &Catalogue,
    out: &Path,
    wish: &ExportWish,
    dry_run: bool,
    watch: &dyn Watch,
) -> Result<Made, PipelineError> {
    let plan = export::plan(catalogue, out, &wish.options());
    exported(&plan, out.join(export::PHASES_FOLDER), dry_run, watch)
}

fn exported(
    plan: &ExportPlan,
    folder: PathBuf,
    dry_run: bool,
    watch: &dyn Watch,
) -> Result<Made, PipelineError> {
    let lines = plan.lines(dry_run);
    if dry_run {
        return Ok(Made {
            files: vec![folder],
            text: plan.sum(),
            lines,
            ..Made::default()
        });
    }
    watch.begin("copying into folders", plan.steps.len() as u64);
    let outcome = export::carry_out(plan, &mut |_| watch.advance(1))?;
    watch.end();
    Ok(Made {
        files: vec![folder],
        text: outcome.sum(),
        notices: outcome.notices,
        lines,
        ..Made::default()
    })
}

/// Takes back what exports made, but for files that may be the last copies of a picture.
///
/// # Errors
/// [`PipelineError`] when nothing was exported or the list of it cannot be read.
pub fn undo_export(target: &Target) -> Result<Made, PipelineError> {
    let opened = open(target)?;
    let outcome = export::undo(&opened.catalogue, &opened.folder.path, target.dry_run)?;
    Ok(Made {
        notices: outcome.notices(),
        text: outcome.text(target.dry_run),
        ..Made::default()
    })
}

/// Name of the residual plot below OUT.
pub const CLOCK_PLOT: &str = "clock.svg";

/// Tells the camera clocks and draws how well each frame agrees.
///
/// # Errors
/// [`PipelineError`] when the record cannot be read or the plot cannot be written.
pub fn clock(target: &Target, _watch: &dyn Watch) -> Result<Made, PipelineError> {
    let Opened {
        folder, catalogue, ..
    } = open(target)?;
    if !target.dry_run {
        // The contacts of one place are none of the other places' cameras.
        let here = catalogue
            .contacts
            .as_ref()
            .filter(|_| !catalogue.is_joined());
        let plot = clock::residual_plot(&catalogue.cameras, here);
        folder.write(CLOCK_PLOT, |file| {
            std::io::Write::write_all(file, plot.as_bytes())
        })?;
    }
    Ok(Made {
        files: vec![folder.path.join(CLOCK_PLOT)],
        notices: folder.told(),
        text: clock::table(&catalogue.cameras),
        ..Made::default()
    })
}
