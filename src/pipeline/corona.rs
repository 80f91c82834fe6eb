//! Merges the totality brackets of a card into the corona.

use std::io;
use std::path::Path;

use super::discs::scale_key;
use super::layers::{CoronaParts, LAYERS, corona_layers};
use super::light::{self, Lit};
use super::watch::counted;
use super::{Made, PROGRAM, PipelineError, Watch};
use crate::catalogue::{Catalogue, CoronaRecord, ShotRecord, write_atomically};
use crate::domain::{Flag, Limb, LocalKind, Notice, Phase, Role};
use crate::merge::{self, MergeInput, MergeOptions, Merged, ViewOptions};
use crate::raster::{self, Depth, ExrNotes, Picture, PictureInfo};

/// Name of the linear picture below OUT.
pub const CORONA_EXR: &str = "corona.exr";
/// Name of the 16-bit picture below OUT.
pub const CORONA_TIFF: &str = "corona.tif";
/// Name of the picture to share below OUT.
pub const CORONA_PNG: &str = "corona.png";

/// Merges the brackets of totality and writes the corona, with its layers where they are wanted; the record learns where
/// the Sun stands in it.
///
/// A card without totality is no error: nothing is written and a notice says why.
///
/// # Errors
/// [`PipelineError`] when the record cannot be read or a file cannot be written.
pub(crate) fn merge_into(
    catalogue: &mut Catalogue,
    out: &Path,
    layers: bool,
    dry_run: bool,
    watch: &dyn Watch,
) -> Result<Made, PipelineError> {
    let records = frames_of_totality(catalogue);
    if records.is_empty() {
        return Ok(Made::told(nothing_to_merge(catalogue)));
    }
    let files = [CORONA_EXR, CORONA_TIFF, CORONA_PNG].map(|name| out.join(name));
    let mut made_files = files.to_vec();
    if dry_run {
        made_files.extend(layers.then(|| out.join(LAYERS)));
        return Ok(Made {
            files: made_files,
            ..Made::default()
        });
    }
    let mut notices = Vec::new();
    let frames = light::of(records, &mut notices);
    let inputs: Vec<MergeInput> = frames.iter().filter_map(input).collect();
    let mut merged = match merged(&frames, &inputs, watch)? {
        Ok(merged) => merged,
        Err(error) => return Ok(Made::told(Notice::look(format!("no corona: {error}")))),
    };
    write(&merged, &frames, &files, watch)?;
    let used = merged.frames.iter().filter(|f| f.left_out.is_none());
    catalogue.corona = Some(CoronaRecord {
        sun: merged.sun,
        moon: merged.moon,
        north_deg: merged.north_deg,
        mirrored: merged.mirrored,
        frames: used.map(|f| f.name.clone()).collect(),
    });
    catalogue.save(out)?;
    if layers {
        let mut told = std::mem::take(&mut merged.notices);
        let parts = CoronaParts {
            catalogue,
            merged: &merged,
            frames: &frames,
            input,
        };
        made_files.push(corona_layers(&parts, out, watch, &mut told)?);
        merged.notices = told;
    }
    Ok(Made {
        files: made_files,
        notices: [notices, merged.notices].concat(),
        ..Made::default()
    })
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

/// Unfiltered telephoto frames of totality with a fitted Moon, of the scale that has most of them.
fn frames_of_totality(catalogue: &Catalogue) -> Vec<ShotRecord> {
    let fits = |r: &&ShotRecord| {
        let moon = r
            .disc
            .is_some_and(|d| d.limb == Limb::Moon && d.sun.is_some());
        let usable = !r.flags.has(Flag::FilterOn) && !r.flags.has(Flag::Capped);
        r.phase == Phase::Totality && r.role != Some(Role::Wide) && moon && usable
    };
    let all: Vec<&ShotRecord> = catalogue.shots.iter().filter(fits).collect();
    let mut counts = std::collections::BTreeMap::new();
    for record in &all {
        *counts.entry(scale_key(&record.shot)).or_insert(0_usize) += 1;
    }
    let Some((key, _)) = counts.into_iter().max_by_key(|(_, count)| *count) else {
        return Vec::new();
    };
    all.into_iter()
        .filter(|r| scale_key(&r.shot) == key)
        .cloned()
        .collect()
}

fn input(frame: &Lit) -> Option<MergeInput> {
    let record = &frame.record;
    let fit = record.disc?;
    Some(MergeInput {
        name: record.name().to_owned(),
        exposure: record.shot.exposure,
        moon: frame.circle(fit.moon?),
        sun: frame.circle(fit.sun?),
        sun_sigma_px: frame.sigma_px(fit.sigma_px),
        north_deg: record.north_deg,
        mirrored: record.mirrored.unwrap_or(false),
    })
}

fn merged(
    frames: &[Lit],
    inputs: &[MergeInput],
    watch: &dyn Watch,
) -> Result<Result<Merged, merge::MergeError>, PipelineError> {
    let open = |index: usize| {
        if watch.interrupted() {
            return Err("interrupted".to_owned());
        }
        frames[index].open()
    };
    let progress = counted(watch, "merging the corona");
    let result = merge::merge(inputs, &open, &MergeOptions::default(), &progress);
    watch.end();
    if watch.interrupted() {
        return Err(PipelineError::Interrupted);
    }
    Ok(result)
}

fn write(
    merged: &Merged,
    frames: &[Lit],
    files: &[std::path::PathBuf; 3],
    watch: &dyn Watch,
) -> Result<(), PipelineError> {
    watch.begin("writing the corona", 3);
    let info = info(merged, frames);
    let notes = ExrNotes {
        comments: info.description.clone(),
        software: PROGRAM.to_owned(),
        ..ExrNotes::default()
    };
    write_atomically(&files[0], |file| {
        raster::write_exr(&merged.radiance, &notes, io::BufWriter::new(file))
            .map_err(io::Error::other)
    })?;
    watch.advance(1);
    let view = Picture::from_linear(&merge::view(merged, &ViewOptions::default()));
    write_atomically(&files[1], |mut file| {
        raster::write_tiff16(&view, &info, &mut file)
    })?;
    watch.advance(1);
    write_atomically(&files[2], |file| {
        raster::write_png(&view, &info, Depth::Eight, file)
    })?;
    watch.end();
    Ok(())
}

fn info(merged: &Merged, frames: &[Lit]) -> PictureInfo {
    let used = merged
        .frames
        .iter()
        .filter(|f| f.left_out.is_none())
        .count();
    let times = frames.iter().filter_map(|f| f.record.utc);
    PictureInfo {
        captured: times.clone().min().zip(times.max()),
        ..PictureInfo::new(format!(
            "Solar corona in totality, composite of {used} frames"
        ))
    }
}
