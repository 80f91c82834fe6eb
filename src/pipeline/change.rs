//! The corona at several places, minutes apart: as each saw it, and what differs.

use super::PipelineError;
use super::imprint::Imprint;
use super::light::Lit;
use super::out::OutFolder;
use crate::catalogue::Catalogue;
use crate::domain::{Notice, Utc};
use crate::merge::cameras::{Added, Change, Laid, placed};
use crate::merge::{self, Merged, ViewOptions};
use crate::raster::{self, Depth, LinearRgb, Picture, PictureInfo, Rect};
use crate::strip::Recipe;

/// Folder below OUT for the corona at each place and what differs between them.
pub(crate) const CORONA_CHANGE: &str = "corona-change";

/// Coronas less far apart than this, in seconds, are one (our choice: a coronal feature that moves by 500 km/s crosses a pixel of two seconds
/// of arc in three seconds, yet a bracket takes as long, and two cameras of one place see the same).
const APART_S: f64 = 120.0;

/// What the pictures show, in solar radii from the Sun's centre.
const SHOWN_RADII: f64 = 4.0;

/// Pictures of the corona at each place on one canvas, as they come up.
pub(super) struct Changes<'a> {
    catalogue: &'a Catalogue,
    out: &'a OutFolder,
    imprint: Imprint,
    strength: f64,
    part: Rect,
    /// Middle of the main camera's exposures, and its label.
    main: Option<(Utc, String)>,
    is_begun: bool,
}

impl<'a> Changes<'a> {
    pub(super) fn new(
        catalogue: &'a Catalogue,
        recipe: &Recipe,
        out: &'a OutFolder,
        main: &Merged,
        frames: &[Lit],
    ) -> Self {
        let size = [main.radiance.width(), main.radiance.height()];
        Self {
            catalogue,
            out,
            imprint: Imprint::of(catalogue, Some(recipe)),
            strength: recipe.corona_strength,
            part: merge::part_within(size, &main.sun, SHOWN_RADII),
            main: middle(frames).zip(label(catalogue, frames)),
            is_begun: false,
        }
    }

    /// Whether a camera's frames are minutes from the main one's.
    pub(super) fn are_due(&self, frames: &[Lit]) -> bool {
        let here = self.main.as_ref().map(|(utc, _)| *utc);
        here.zip(middle(frames))
            .is_some_and(|(here, there)| there.seconds_since(here).abs() > APART_S)
    }

    /// Writes a camera's corona as it lies on the main one's canvas, and before the first that of the main one.
    pub(super) fn picture(
        &mut self,
        main: &Merged,
        other: &Merged,
        laid: &Laid,
        frames: &[Lit],
    ) -> Result<(), PipelineError> {
        let options = ViewOptions::of_strength(self.strength);
        if !self.is_begun {
            self.is_begun = true;
            if let Some((utc, label)) = self.main.clone() {
                self.write(&stamped(utc, &label), &merge::view(main, &options), &label)?;
            }
        }
        let own = middle(frames).zip(label(self.catalogue, frames));
        if let Some((utc, label)) = own {
            let view = placed(&merge::view(other, &options), &laid.place.placing, main);
            self.write(&stamped(utc, &label), &view, &label)?;
        }
        Ok(())
    }

    /// Writes what differs between a camera's corona and that of all before it, where that was drawn.
    pub(super) fn difference(
        &self,
        added: &Added,
        frames: &[Lit],
        notices: &mut Vec<Notice>,
    ) -> Result<(), PipelineError> {
        let own = middle(frames).zip(label(self.catalogue, frames));
        let (Some(change), Some((utc, label)), Some((here, _))) = (&added.change, own, &self.main)
        else {
            return Ok(());
        };
        let minutes = utc.seconds_since(*here) / 60.0;
        let words = format!(
            "Difference of the corona {minutes:+.0} min, {label}, over one sigma of its noise ({:.1} % of the light): grey none, white and black {:.0} sigmas. Glare, air and tone curves differ too",
            100.0 * change.noise,
            Change::FULL_SIGMAS
        );
        let name = format!("difference-{}", stamped(utc, &label));
        self.write(&name, &change.picture, &words)?;
        notices.push(
            Notice::note(format!(
                "the corona of {label} is {minutes:+.0} min from the first; half of it within three radii differs by less than {:.1} sigmas ({:.1} % of the light is one)",
                change.median_sigmas,
                100.0 * change.noise
            ))
            .about(CORONA_CHANGE),
        );
        Ok(())
    }

    /// Clears what an earlier run left and this one did not make.
    pub(super) fn end(self) {
        let below = format!("{CORONA_CHANGE}/");
        self.out.clear(&|name| name.starts_with(&below));
    }

    fn write(&self, name: &str, picture: &LinearRgb, words: &str) -> Result<(), PipelineError> {
        let info = self.imprint.on(PictureInfo::new(words.to_owned()));
        let part = Picture::from_linear(picture).part(self.part);
        self.out
            .write(&format!("{CORONA_CHANGE}/{name}.png"), |file| {
                raster::write_png(&part, &info, Depth::Eight, file)
            })?;
        Ok(())
    }
}

/// Middle of the exposures of some frames.
fn middle(frames: &[Lit]) -> Option<Utc> {
    let times: Vec<Utc> = frames.iter().filter_map(|lit| lit.record.utc).collect();
    let first = times.first()?;
    let sum: f64 = times.iter().map(|utc| utc.seconds_since(*first)).sum();
    Some(first.plus_s(sum / times.len() as f64))
}

/// What a camera is called, and whose it is.
fn label(catalogue: &Catalogue, frames: &[Lit]) -> Option<String> {
    let record = &frames.first()?.record;
    let camera = catalogue.camera_label(&record.shot);
    let source = catalogue.source_of(record.name());
    Some(match source {
        Some(source) => format!("{}, {camera}", source.name),
        None => camera.to_owned(),
    })
}

/// A name that sorts by time: `181904-anna-Test-Long`.
fn stamped(utc: Utc, label: &str) -> String {
    let plain: String = label
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { '-' })
        .collect();
    let time = utc.to_string();
    let digits: String = time
        .chars()
        .skip(11)
        .take(8)
        .filter(char::is_ascii_digit)
        .collect();
    format!("{digits}-{}", plain.replace("--", "-"))
}
