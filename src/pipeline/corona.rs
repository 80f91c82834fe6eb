//! Merges the totality brackets of a card into the corona.

use std::borrow::Cow;
use std::io;

use super::cameras::{Others, by_camera, input, merged, with_others};
use super::earlier::recipe_there;
use super::imprint::Imprint;
use super::layers::{CoronaLayers, CoronaParts, LAYERS, Layers, clear_layers, corona_layers};
use super::light::{self, Lit};
use super::low_sun::clear_air;
use super::out::OutFolder;
use super::scale::{InSolarDiscs, in_solar_discs};
use super::science;
use super::{Made, PROGRAM, PipelineError, Watch};
use crate::catalogue::{Catalogue, CoronaRecord, ShotRecord};
use crate::domain::{LocalKind, Notice, Phase};
use crate::merge::{self, MergeInput, MergeOptions, Merged, ViewOptions};
use crate::raster::{self, Depth, ExrNotes, LinearRgb, Picture, PictureInfo, Rect};
use crate::strip::Recipe;

/// Name of the linear picture below OUT.
pub const CORONA_EXR: &str = "corona.exr";
/// Name of the linear picture for other programs of astronomy below OUT; only where its scale, north and time are known.
pub const CORONA_FITS: &str = "corona.fits";
/// Name of the 16-bit picture below OUT.
pub const CORONA_TIFF: &str = "corona.tif";
/// Name of the picture to share below OUT: the part of the 16-bit picture that the corona fills.
pub const CORONA_PNG: &str = "corona.png";

/// How to merge.
#[derive(Clone, Debug, PartialEq)]
pub struct CoronaWish {
    /// The credit line where there is no recipe yet, which is to be proposed with it.
    pub credit: Option<String>,
    /// Which layers to write beside the corona.
    pub layers: CoronaLayers,
    /// Leave the sky's even light in the linear map; the pictures to look at are drawn with it taken off either way.
    pub keep_sky: bool,
    /// Optical density of the filter of the card's filtered frames (5.0 lets through a hundred-thousandth): the linear map
    /// is then written in units of the mean brightness of the solar disc.
    pub filter_density: Option<f64>,
    /// Strength of streamers and fine structure in the pictures to look at: 0 as light falls, 1 as usual, 3 at most; `None` takes the
    /// recipe's.
    pub strength: Option<f64>,
}

impl Default for CoronaWish {
    /// A layer for each exposure, the sky kept, brightness relative to the shortest exposure.
    fn default() -> Self {
        Self {
            layers: CoronaLayers::default(),
            keep_sky: true,
            filter_density: None,
            strength: None,
            credit: None,
        }
    }
}

/// Merges the brackets of totality and writes the corona, with its layers where they are wanted; the record learns where
/// the Sun stands in it.
///
/// A card without totality is no error: nothing is written and a notice says why.
///
/// # Errors
/// [`PipelineError`] when the record cannot be read or a file cannot be written.
pub(crate) fn merge_into(
    catalogue: &mut Catalogue,
    out: &OutFolder,
    wish: &CoronaWish,
    dry_run: bool,
    watch: &dyn Watch,
) -> Result<Made, PipelineError> {
    let recipe = recipe_for(catalogue, out, wish);
    let mut groups = by_camera(catalogue, frames_of_totality(catalogue));
    let without = |record: &ShotRecord| recipe.corona_without.iter().any(|n| n == record.name());
    let all: usize = groups.iter().map(Vec::len).sum();
    for group in &mut groups {
        group.retain(|record| !without(record));
    }
    groups.retain(|group| !group.is_empty());
    let left: usize = groups.iter().map(Vec::len).sum();
    let mut groups = groups.into_iter();
    let records = groups.next().unwrap_or_default();
    if records.is_empty() && all > 0 {
        let text =
            "no corona: corona_without in strip.toml names every frame it could be merged from";
        return Ok(Made::told(Notice::look(text)));
    }
    if records.is_empty() {
        return Ok(Made::told(nothing_to_merge(catalogue)));
    }
    let files = [CORONA_EXR, CORONA_TIFF, CORONA_PNG].map(|name| out.path.join(name));
    let mut made_files = files.to_vec();
    if dry_run {
        made_files.extend((wish.layers != CoronaLayers::None).then(|| out.path.join(LAYERS)));
        return Ok(Made {
            files: made_files,
            ..Made::default()
        });
    }
    let mut notices = Vec::new();
    if records.iter().all(|record| record.utc.is_none()) {
        notices.push(Notice::look(
            "no frame of totality has a time; the corona is merged from frames without one that show the Moon before it",
        ));
    }
    let records_left_out = all - left;
    let frames = light::of(records, &mut notices);
    let input = |frame: &Lit| input(frame, recipe.flatten);
    let inputs: Vec<MergeInput> = frames.iter().filter_map(input).collect();
    if records_left_out > 0 {
        let text = format!(
            "the corona is merged without {records_left_out} frames, as corona_without in strip.toml says"
        );
        notices.push(Notice::note(text));
    }
    let imprint = Imprint::of(catalogue, Some(&recipe));
    let layers = Layers::begin(out, "corona");
    let averaged = (wish.layers == CoronaLayers::Exposures).then_some((&layers, &imprint));
    let mut merged = match merged(
        (&frames, &inputs),
        &MergeOptions::default(),
        averaged,
        watch,
    )? {
        Ok(merged) => merged,
        Err(error) => {
            notices.push(Notice::look(format!("no corona: {error}")));
            return Ok(Made {
                notices,
                ..Made::default()
            });
        }
    };
    let instant = &inputs[merged.instant].name;
    let instant = frames.iter().find(|lit| lit.record.name() == instant);
    if let Some(lit) = instant {
        clear_air(catalogue, &mut merged, &lit.record, &mut notices);
    }
    let others = with_others(
        catalogue,
        (&mut merged, &frames),
        groups.collect(),
        (&recipe, out),
        (watch, &mut notices),
    )?;
    let mut unit = Unit::of(&merged, wish);
    if !wish.keep_sky {
        merged.radiance = merge::without_sky(&merged);
    }
    if let (Some(density), Some(lit)) = (wish.filter_density, frames.first()) {
        unit.discs = in_solar_discs(catalogue, &merged, &lit.record, density, &mut notices);
        notices.extend(unit.notice());
    }
    let info = imprint.on(info(&merged, &frames, &others));
    let words = format!("{}\n{}{}", info.description, unit.words(), imprint.words());
    let strength = wish.strength.unwrap_or(recipe.corona_strength);
    let pictures = Pictures::of(&merged, &unit, strength, recipe.corona_extent_radii);
    write(out, &pictures, &info, &words, watch)?;
    let height = pictures.map.height();
    let exposures = science::exposures_of(&merged, &frames, &others.exposures);
    match instant.and_then(|lit| science::header(&merged, exposures, lit, height, &words)) {
        Some(cards) => {
            let written = out.write(CORONA_FITS, |file| {
                raster::write_fits(&pictures.map, &cards, io::BufWriter::new(file))
            })?;
            made_files.push(written);
        }
        // One of an earlier merge would not be of this corona.
        None => out.clear(&|name| name == CORONA_FITS),
    }
    let used = merged.frames.iter().filter(|f| f.left_out.is_none());
    catalogue.corona = Some(CoronaRecord {
        sun: merged.sun,
        moon: merged.moon,
        north_deg: merged.north_deg,
        mirrored: merged.mirrored,
        frames: used.map(|f| f.name.clone()).chain(others.frames).collect(),
    });
    out.save(catalogue)?;
    if wish.layers != CoronaLayers::None {
        let mut told = std::mem::take(&mut merged.notices);
        let parts = CoronaParts {
            catalogue,
            merged: &merged,
            frames: &frames,
            imprint: &imprint,
            input: &input,
        };
        corona_layers(&parts, wish.layers, &layers, watch, &mut told)?;
        made_files.push(layers.end());
        merged.notices = told;
    } else {
        clear_layers(out, "corona");
    }
    Ok(Made {
        files: made_files,
        notices: [notices, merged.notices].concat(),
        ..Made::default()
    })
}

/// The recipe the corona follows: the one that is there, else what one that is proposed says of the corona.
fn recipe_for(catalogue: &Catalogue, out: &OutFolder, wish: &CoronaWish) -> Recipe {
    let there = recipe_there(catalogue, out).ok().flatten();
    there.unwrap_or_else(|| Recipe {
        credit: wish.credit.clone(),
        ..Recipe::default()
    })
}

/// All that is asked of the corona, in one text: another text asks for other pictures.
pub(crate) fn asked(catalogue: &Catalogue, out: &OutFolder, wish: &CoronaWish) -> String {
    let recipe = recipe_for(catalogue, out, wish);
    let by_recipe = (
        &recipe.credit,
        &recipe.corona_without,
        recipe.corona_strength,
        recipe.corona_extent_radii,
        recipe.flatten,
        recipe.embed_location,
    );
    format!("{by_recipe:?} {wish:?}")
}

fn nothing_to_merge(catalogue: &Catalogue) -> Notice {
    let total = catalogue
        .contacts
        .as_ref()
        .is_some_and(|c| c.kind == LocalKind::Total);
    if total {
        Notice::look(
            "no corona: no unfiltered telephoto frame of totality shows the Moon's limb; see shots.csv for phase, disc and flags of each",
        )
    } else {
        Notice::note("no corona to merge: the eclipse was not total here")
    }
}

/// Unfiltered telephoto frames of totality with a fitted Moon; where no such frame has a time, those without one that show as much.
fn frames_of_totality(catalogue: &Catalogue) -> Vec<ShotRecord> {
    let of_phase = |phase: Phase| -> Vec<&ShotRecord> {
        let fits = |r: &&ShotRecord| r.phase == phase && r.shows_totality();
        catalogue.shots.iter().filter(fits).collect()
    };
    let mut all = of_phase(Phase::Totality);
    if all.is_empty() {
        all = of_phase(Phase::Untimed);
        keep_one_size(&mut all);
    }
    all.into_iter().cloned().collect()
}

/// Radii of the Moon further apart than this, over the radius, are not of one sequence (our choice: frames of one lens agree to a
/// percent, and what was taken for a Moon by mistake is of any size).
const ONE_SIZE: f64 = 0.05;

/// Keeps the frames whose Moon is as large as the middle one's.
fn keep_one_size(frames: &mut Vec<&ShotRecord>) {
    let radius_px = |r: &ShotRecord| r.disc.and_then(|d| d.moon).map_or(0.0, |m| m.radius_px);
    let mut radii: Vec<f64> = frames.iter().map(|r| radius_px(r)).collect();
    radii.sort_by(f64::total_cmp);
    let usual_px = radii.get(radii.len() / 2).copied().unwrap_or(0.0);
    frames.retain(|r| (radius_px(r) - usual_px).abs() <= ONE_SIZE * usual_px);
}

/// What a value of 1 in the linear map stands for.
struct Unit {
    /// Light of the sky per channel in the map's own unit, and whether it is still in the map.
    sky: [f32; 3],
    sky_kept: bool,
    /// The map's own unit in solar discs, where that was asked for and found.
    discs: Option<InSolarDiscs>,
    density: Option<f64>,
}

impl Unit {
    fn of(merged: &Merged, wish: &CoronaWish) -> Self {
        Self {
            sky: merge::sky_level(merged),
            sky_kept: wish.keep_sky,
            discs: None,
            density: wish.filter_density,
        }
    }

    fn factor(&self) -> f64 {
        self.discs.map_or(1.0, |d| d.factor)
    }

    /// The map in this unit.
    fn of_map<'a>(&self, merged: &'a Merged) -> Cow<'a, LinearRgb> {
        if self.discs.is_none() {
            return Cow::Borrowed(&merged.radiance);
        }
        let factor = self.factor() as f32;
        let mut map = merged.radiance.clone();
        map.data_mut().iter_mut().for_each(|v| *v *= factor);
        Cow::Owned(map)
    }

    fn words(&self) -> String {
        let unit = match (self.discs, self.density) {
            (Some(d), Some(density)) => format!(
                "1 is the mean brightness of the solar disc (from {} filtered frames, filter density {density:.2})",
                d.frames
            ),
            _ => "1 saturates the shortest exposure used".to_owned(),
        };
        let [r, g, b] = self.sky.map(|v| f64::from(v) * self.factor());
        let kept = if self.sky_kept { "kept" } else { "taken off" };
        format!("Linear light: {unit}; sky of {r:.3e} {g:.3e} {b:.3e} (red green blue) {kept}")
    }

    /// What the unit is, in a sentence for the person.
    fn notice(&self) -> Option<Notice> {
        let discs = self.discs?;
        let [_, green, _] = self.sky.map(|v| f64::from(v) * discs.factor);
        Some(Notice::note(format!(
            "its light is in units of the mean solar disc, from {} filtered frames that agree to about {:.0} %; the sky was {green:.1e} of it",
            discs.frames,
            (100.0 * discs.spread).ceil(),
        )).about(CORONA_EXR))
    }
}

/// What is written of a corona.
struct Pictures<'a> {
    /// To look at.
    view: Picture,
    /// The part of it to share.
    part: Rect,
    /// The linear map in its unit.
    map: Cow<'a, LinearRgb>,
}

impl<'a> Pictures<'a> {
    fn of(merged: &'a Merged, unit: &Unit, strength: f64, reach_radii: Option<f64>) -> Self {
        let view = merge::view(merged, &ViewOptions::of_strength(strength));
        let reach_radii =
            reach_radii.unwrap_or_else(|| merge::shown_reach_radii(&view, &merged.sun));
        Self {
            part: merge::part_within([view.width(), view.height()], &merged.sun, reach_radii),
            view: Picture::from_linear(&view),
            map: unit.of_map(merged),
        }
    }
}

fn write(
    out: &OutFolder,
    Pictures { view, part, map }: &Pictures<'_>,
    info: &PictureInfo,
    words: &str,
    watch: &dyn Watch,
) -> Result<(), PipelineError> {
    watch.begin("writing the corona", 3);
    let notes = ExrNotes {
        comments: words.to_owned(),
        software: PROGRAM.to_owned(),
        ..ExrNotes::default()
    };
    let exr = || {
        out.write(CORONA_EXR, |file| {
            raster::write_exr(map, &notes, io::BufWriter::new(file)).map_err(io::Error::other)
        })
        .inspect(|_| watch.advance(1))
    };
    let tiff = || {
        out.write(CORONA_TIFF, |mut file| {
            raster::write_tiff16(view, info, raster::Packing::Deflate, &mut file)
        })
        .inspect(|_| watch.advance(1))
    };
    let png = || {
        out.write(CORONA_PNG, |file| {
            raster::write_png(&view.part(*part), info, Depth::Eight, file)
        })
        .inspect(|_| watch.advance(1))
    };
    // The last goes through the picture from one end to the other: the others fill the remaining cores meanwhile.
    let (png, (tiff, exr)) = rayon::join(png, || rayon::join(tiff, exr));
    let _ = (exr?, tiff?, png?);
    watch.end();
    Ok(())
}

fn info(merged: &Merged, frames: &[Lit], others: &Others) -> PictureInfo {
    let used = merged
        .frames
        .iter()
        .filter(|f| f.left_out.is_none())
        .count()
        + others.frames.len();
    let times = frames.iter().filter_map(|f| f.record.utc);
    let times = times.chain(others.exposures.iter().map(|(utc, _)| *utc));
    PictureInfo {
        captured: times.clone().min().zip(times.max()),
        ..PictureInfo::new(format!(
            "Solar corona in totality, composite of {used} frames"
        ))
    }
}
