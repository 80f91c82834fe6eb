//! The steady time-lapse below OUT: numbered pictures and an animated file of them.

use std::fs::File;
use std::io;
use std::path::PathBuf;

use super::imprint::Imprint;
use super::out::OutFolder;
use super::{PipelineError, Watch};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::Notice;
use crate::raster::{self, Animation, Depth, PictureInfo};
use crate::strip::{self, Lapse, LapseFrame, Recipe, Tile};

/// Folder of the time-lapse below OUT.
pub const TIME_LAPSE: &str = "time-lapse";

/// Gives the part of a frame that is needed.
type Open<'a> = dyn Fn(&ShotRecord) -> Result<Tile, String> + Sync + 'a;

/// Makes the time-lapse of the partial phases and that of totality, each where the card has frames for it: numbered
/// PNG files, and the same as one animated PNG.
///
/// # Errors
/// [`PipelineError`] when a file cannot be written or the person stopped the run.
pub(crate) fn time_lapses(
    catalogue: &Catalogue,
    recipe: &Recipe,
    out: &OutFolder,
    open: &Open<'_>,
    watch: &dyn Watch,
    notices: &mut Vec<Notice>,
) -> Result<Option<PathBuf>, PipelineError> {
    let imprint = Imprint::of(catalogue, Some(recipe));
    let mut made = false;
    for (lapse, stem) in [(Lapse::Partials, "partials"), (Lapse::Totality, "totality")] {
        let mut film = Film {
            out,
            stem,
            recipe,
            imprint: &imprint,
            watch,
            frames: 0,
            is_empty: false,
        };
        made |= film.make(catalogue, lapse, open, notices)?;
    }
    if !made {
        notices.push(Notice::note(
            "no time-lapse: no unflagged frame with a fitted disc and a time",
        ));
    }
    Ok(made.then(|| out.path.join(TIME_LAPSE)))
}

/// One time-lapse on its way to files.
struct Film<'a> {
    out: &'a OutFolder,
    stem: &'static str,
    recipe: &'a Recipe,
    imprint: &'a Imprint,
    watch: &'a dyn Watch,
    frames: usize,
    /// Whether there turned out to be no frame for it: no trouble, and nothing is written.
    is_empty: bool,
}

impl Film<'_> {
    /// Writes all of it; whether there was anything to write.
    fn make(
        &mut self,
        catalogue: &Catalogue,
        lapse: Lapse,
        open: &Open<'_>,
        notices: &mut Vec<Notice>,
    ) -> Result<bool, PipelineError> {
        let (out, name) = (self.out, format!("{TIME_LAPSE}/{}.apng", self.stem));
        let mut told = Vec::new();
        let written = out.write(&name, |file| {
            told = self.film(catalogue, lapse, open, file)?;
            Ok(())
        });
        if self.watch.interrupted() {
            return Err(PipelineError::Interrupted);
        }
        if self.is_empty {
            return Ok(false);
        }
        written?;
        notices.append(&mut told);
        // A longer time-lapse of an earlier run would go on behind this one.
        let frames = format!("{TIME_LAPSE}/{}-", self.stem);
        out.clear(&|name| name.starts_with(&frames));
        Ok(true)
    }

    fn film(
        &mut self,
        catalogue: &Catalogue,
        lapse: Lapse,
        open: &Open<'_>,
        file: &mut File,
    ) -> io::Result<Vec<Notice>> {
        let side_px = self.recipe.time_lapse_px as usize;
        let mut file = Some(file);
        let mut animation: Option<Animation<&mut File>> = None;
        let told = strip::time_lapse(catalogue, lapse, self.recipe, side_px, open, &mut |frame| {
            if self.watch.interrupted() {
                return Err(io::Error::other("interrupted"));
            }
            if let Some(file) = file.take() {
                animation = Some(self.begin(frame, side_px, file)?);
            }
            self.keep(frame)?;
            match &mut animation {
                Some(animation) => animation.add(&frame.sheet),
                None => Ok(()),
            }
        })?;
        self.watch.end();
        match animation {
            Some(animation) => animation.finish()?,
            None => {
                self.is_empty = true;
                return Err(io::Error::other("no frame for a time-lapse"));
            }
        }
        Ok(told)
    }

    fn begin<'f>(
        &self,
        first: &LapseFrame,
        side_px: usize,
        file: &'f mut File,
    ) -> io::Result<Animation<&'f mut File>> {
        self.watch
            .begin("drawing the time-lapse", first.count as u64);
        let info = PictureInfo {
            description: format!(
                "Time-lapse of the eclipse, {}: {} frames centred on the Sun",
                self.stem, first.count
            ),
            captured: None,
            ..first.info.clone()
        };
        let info = self.imprint.on(info);
        let count = u32::try_from(first.count).map_err(io::Error::other)?;
        let hold_ms = (1_000 / self.recipe.time_lapse_fps.clamp(1, 60)) as u16;
        Animation::begin((side_px, side_px), count, hold_ms, &info, file)
    }

    fn keep(&mut self, frame: &LapseFrame) -> io::Result<()> {
        let name = format!("{TIME_LAPSE}/{}-{:04}.png", self.stem, frame.number);
        self.out
            .write(&name, |file| {
                let info = self.imprint.on(frame.info.clone());
                raster::write_png(&frame.sheet, &info, Depth::Eight, file)
            })
            .map_err(io::Error::other)?;
        self.frames = frame.number;
        self.watch.advance(1);
        Ok(())
    }
}
