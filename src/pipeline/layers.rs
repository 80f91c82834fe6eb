//! Layers below OUT: the pictures behind the strip and the corona one by one, for those who blend by hand.

use std::fs::File;
use std::io;
use std::path::PathBuf;

use super::imprint::Imprint;
use super::light::{self, Lit};
use super::out::OutFolder;
use super::{PipelineError, Watch};
use crate::catalogue::{Catalogue, ShotRecord, WriteError};
use crate::domain::{ContactKind, Exposure, Flag, Limb, Notice, Role, Utc};
use crate::merge::{self, ExposureLayer, Fine, LimbLight, MergeInput, Merged, NotCarried};
use crate::raster::{self, LinearRgb, PictureInfo, Rows};

/// Folder of the layers below OUT.
pub const LAYERS: &str = "layers";

/// How long after second and before third contact frames show the low prominences of that side, in seconds (common
/// practice: the Moon covers a prominence of average height in about half a minute). Half of a shorter totality.
const CHROMOSPHERE_S: f64 = 30.0;

/// The layers of one kind as they are written.
pub(crate) struct Layers<'a> {
    out: &'a OutFolder,
    kind: &'a str,
}

impl<'a> Layers<'a> {
    /// Layers whose names begin with `kind`.
    pub(crate) fn begin(out: &'a OutFolder, kind: &'a str) -> Self {
        Self { out, kind }
    }

    /// Writes the layer with this name after its kind; `name` may have any letters.
    ///
    /// # Errors
    /// [`WriteError`] of the file.
    pub(crate) fn write(
        &self,
        name: &str,
        fill: impl FnOnce(&mut File) -> io::Result<()>,
    ) -> Result<(), WriteError> {
        let plain: String = name
            .chars()
            .map(|c| {
                if c.is_alphanumeric() || c == '_' {
                    c
                } else {
                    '-'
                }
            })
            .collect();
        self.out
            .write(&format!("{LAYERS}/{}-{plain}.tif", self.kind), fill)?;
        Ok(())
    }

    /// Clears layers of the kind that an earlier run left, where nobody changed them, and gives the folder.
    pub(crate) fn end(self) -> PathBuf {
        clear_layers(self.out, self.kind);
        self.out.path.join(LAYERS)
    }
}

/// Clears layers of a kind that this run did not write and nobody changed.
pub(crate) fn clear_layers(out: &OutFolder, kind: &str) {
    let start = format!("{LAYERS}/{kind}-");
    out.clear(&|name| name.starts_with(&start));
}

/// Which layers of the corona are written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum CoronaLayers {
    /// None.
    None,
    /// One for each exposure, its frames averaged; and the Moon's face, the chromosphere and the fine structure.
    #[default]
    Exposures,
    /// One for each frame; and the same others.
    Frames,
}

/// Layers of fine structure: how, the name, and words for the file.
const FINE: [(Fine, &str, &str); 2] = [
    (
        Fine::Radial,
        "fine-radial",
        "normalised in rings about the Sun (NRGF)",
    ),
    (
        Fine::MultiScale,
        "fine-multi-scale",
        "normalised at several scales (MGN)",
    ),
];

/// What the corona's layers are made from.
pub(crate) struct CoronaParts<'a> {
    pub(crate) catalogue: &'a Catalogue,
    pub(crate) merged: &'a Merged,
    /// The frames that were merged, in the merge's order.
    pub(crate) frames: &'a [Lit],
    /// What every layer says of itself.
    pub(crate) imprint: &'a Imprint,
    /// Gives the input of a frame.
    pub(crate) input: &'a dyn Fn(&Lit) -> Option<MergeInput>,
}

/// Values of sixteen bits that layers from files of eight are rounded to: a sixteenth of a step of theirs, finer than any
/// mean of some frames is sure of, and half the size on disc (measured: `benches/MEASUREMENTS.md`, layers).
const EIGHT_BIT_STEP: u16 = 16;

/// The same for files of more bits: fourteen are kept.
const FINE_STEP: u16 = 4;

/// A layer's rows with the lowest bits rounded off.
struct Rounded<'a> {
    light: &'a LinearRgb,
    step: u16,
}

impl Rows for Rounded<'_> {
    fn width(&self) -> usize {
        self.light.width()
    }

    fn height(&self) -> usize {
        self.light.height()
    }

    fn fill(&self, y: usize, out: &mut [u16]) {
        Rows::fill(self.light, y, out);
        for v in out {
            let up = v.saturating_add(self.step / 2);
            *v = if up == u16::MAX {
                up
            } else {
                up / self.step * self.step
            };
        }
    }
}

/// Writes the layer of one exposure: its frames averaged in register with the corona.
///
/// # Errors
/// [`PipelineError`] when the file cannot be written.
pub(crate) fn exposure_layer(
    (layers, imprint): (&Layers<'_>, &Imprint),
    layer: &ExposureLayer,
    frames: &[Lit],
) -> Result<(), PipelineError> {
    let times = layer.frames.iter().filter_map(|&i| frames[i].record.utc);
    let name = format!(
        "{:02}-{}",
        layer.rank,
        exposure_name(&layer.exposure, frames)
    );
    let info = PictureInfo {
        captured: times.clone().min().zip(times.max()),
        ..PictureInfo::new(format!(
            "Mean of {} in register with the corona, brightness untouched",
            match layer.frames.as_slice() {
                [one] => format!("frame {}", frames[*one].record.name()),
                many => format!("{} frames of one exposure", many.len()),
            }
        ))
    };
    let info = imprint.on(info);
    let step = if layer.steps > 256 {
        FINE_STEP
    } else {
        EIGHT_BIT_STEP
    };
    write_layer(
        layers,
        &name,
        &Rounded {
            light: &layer.light,
            step,
        },
        &info,
    )
}

/// `1-500s`, and speed and aperture where frames differ in those.
fn exposure_name(exposure: &Exposure, frames: &[Lit]) -> String {
    let mut name = exposure
        .shutter_s
        .and_then(shutter_name)
        .unwrap_or_else(|| "unknown-s".to_owned());
    let differ = |of: fn(&Exposure) -> Option<f64>| {
        let own = of(exposure).map(f64::to_bits);
        frames
            .iter()
            .any(|f| of(&f.record.shot.exposure).map(f64::to_bits) != own)
    };
    if let (Some(iso), true) = (exposure.iso, differ(|e| e.iso)) {
        name += &format!("-iso{iso:.0}");
    }
    if let (Some(f), true) = (exposure.f_number, differ(|e| e.f_number)) {
        name += &format!("-f{f:.1}");
    }
    name
}

/// Writes the layers that are made after the merge: each frame in register, where that is asked for; the Moon's face, the
/// chromosphere at either contact and the fine structure, where the frames carry them. Each is a 16-bit TIFF on the
/// corona's canvas. One frame is in memory at a time.
///
/// # Errors
/// [`PipelineError`] when a file cannot be written or the person stopped the run.
pub(crate) fn corona_layers(
    parts: &CoronaParts<'_>,
    which: CoronaLayers,
    layers: &Layers<'_>,
    watch: &dyn Watch,
    notices: &mut Vec<Notice>,
) -> Result<(), PipelineError> {
    let merged = parts.merged;
    let used: Vec<usize> = (0..merged.frames.len())
        .filter(|&i| which == CoronaLayers::Frames && merged.frames[i].left_out.is_none())
        .collect();
    watch.begin("writing the corona's layers", used.len() as u64 + 5);
    for (n, &i) in used.iter().enumerate() {
        if watch.interrupted() {
            return Err(PipelineError::Interrupted);
        }
        frame_layer(parts, [n, i], layers, notices)?;
        watch.advance(1);
    }
    told("earthshine", moon_layer(layers, parts)?, notices);
    watch.advance(1);
    for (kind, word) in [(ContactKind::C2, "C2"), (ContactKind::C3, "C3")] {
        let made = chromosphere_layer(layers, parts, kind)?;
        told(&format!("chromosphere at {word}"), made, notices);
        watch.advance(1);
    }
    for (how, name, what) in FINE {
        let made = fine_layer(layers, parts, (how, name, what))?;
        told(name, made, notices);
        watch.advance(1);
    }
    watch.end();
    Ok(())
}

/// What kept a layer from being made.
type NotMade = Option<NotCarried>;

fn told(layer: &str, not_made: NotMade, notices: &mut Vec<Notice>) {
    if let Some(why) = not_made {
        notices.push(Notice::note(format!("no layer of the {layer}: {why}")));
    }
}

fn frame_layer(
    parts: &CoronaParts<'_>,
    [n, i]: [usize; 2],
    layers: &Layers<'_>,
    notices: &mut Vec<Notice>,
) -> Result<(), PipelineError> {
    let record = &parts.frames[i].record;
    let frame = match parts.frames[i].open() {
        Ok(frame) => frame,
        Err(why) => {
            notices.push(Notice::look(format!("no layer of it: {why}")).about(record.name()));
            return Ok(());
        }
    };
    let Some(light) = merge::layer(parts.merged, i, &frame) else {
        return Ok(());
    };
    drop(frame);
    let name = format!("{:02}-{}", n + 1, frame_name(record));
    let what = format!(
        "Frame {} in register with the corona, brightness untouched",
        record.name()
    );
    let info = parts.imprint.on(about(what, record.utc));
    write_layer(layers, &name, &light, &info)
}

fn fine_layer(
    layers: &Layers<'_>,
    parts: &CoronaParts<'_>,
    (how, name, what): (Fine, &str, &str),
) -> Result<NotMade, PipelineError> {
    let info = PictureInfo::new(format!("Fine structure of the corona, {what}"));
    let info = parts.imprint.on(info);
    Ok(match merge::fine(parts.merged, how) {
        Ok(shown) => {
            write_layer(layers, name, &shown, &info)?;
            None
        }
        Err(why) => Some(why),
    })
}

/// A frame's own name and its exposure: `DSC_0412-1-500s`.
fn frame_name(record: &ShotRecord) -> String {
    let own = record.name().rsplit('/').next().unwrap_or_default();
    let stem = own.rsplit_once('.').map_or(own, |(stem, _)| stem);
    match record.shot.exposure.shutter_s.and_then(shutter_name) {
        Some(shutter) => format!("{stem}-{shutter}"),
        None => stem.to_owned(),
    }
}

/// A shutter time as file names have it: `1-500s`, `1.6s`.
fn shutter_name(shutter_s: f64) -> Option<String> {
    match shutter_s {
        s if s > 0.0 && s < 0.4 => Some(format!("1-{:.0}s", 1.0 / s)),
        s if s > 0.0 => Some(format!("{s:.1}s")),
        _ => None,
    }
}

fn about(what: String, utc: Option<Utc>) -> PictureInfo {
    PictureInfo {
        captured: utc.zip(utc),
        ..PictureInfo::new(what)
    }
}

fn write_layer(
    layers: &Layers<'_>,
    name: &str,
    rows: &dyn Rows,
    info: &PictureInfo,
) -> Result<(), PipelineError> {
    layers.write(name, |mut file| {
        raster::write_tiff16(rows, info, raster::Packing::Deflate, &mut file)
    })?;
    Ok(())
}

/// The Moon's face as the Earth lights it, laid on the Moon from all frames.
fn moon_layer(layers: &Layers<'_>, parts: &CoronaParts<'_>) -> Result<NotMade, PipelineError> {
    let face = match merge::earthshine(parts.merged) {
        Ok(face) => face,
        Err(why) => return Ok(Some(why)),
    };
    let info = about(
        "The Moon's face in earthshine, all frames laid on the Moon, brought up to be seen"
            .to_owned(),
        None,
    );
    let info = parts.imprint.on(info);
    let shown = on_canvas(parts.merged, &face);
    write_layer(layers, "moon-earthshine", &shown, &info)?;
    Ok(None)
}

/// The chromosphere and prominences near one contact.
fn chromosphere_layer(
    layers: &Layers<'_>,
    parts: &CoronaParts<'_>,
    kind: ContactKind,
) -> Result<NotMade, PipelineError> {
    let records = near_contact(parts, kind);
    // What has no raw file among raw ones was told of by the merge.
    let frames = light::of(records, &mut Vec::new());
    let inputs: Vec<MergeInput> = frames.iter().filter_map(parts.input).collect();
    let open = |i: usize| frames[i].open();
    let found = match merge::limb_light(parts.merged, &inputs, &open) {
        Ok(found) => found,
        Err(why) => return Ok(Some(why)),
    };
    let Some(top) = bright(&found) else {
        return Ok(Some(NotCarried::Nothing));
    };
    let word = match kind {
        ContactKind::C2 => "second",
        _ => "third",
    };
    let times = frames.iter().filter_map(|f| f.record.utc);
    let info = PictureInfo {
        captured: times.clone().min().zip(times.max()),
        ..PictureInfo::new(format!(
            "Chromosphere and prominences near {word} contact, composite of {} frames",
            inputs.len()
        ))
    };
    let info = parts.imprint.on(info);
    let mut shown = on_canvas(parts.merged, &found);
    for v in shown.data_mut() {
        *v /= top;
    }
    let name = format!("chromosphere-{}", format!("{kind:?}").to_lowercase());
    write_layer(layers, &name, &shown, &info)?;
    Ok(None)
}

/// Unfiltered frames that show the Moon's limb within seconds of a contact, on totality's side of it.
fn near_contact(parts: &CoronaParts<'_>, kind: ContactKind) -> Vec<ShotRecord> {
    let contacts = parts.catalogue.contacts.as_ref();
    let instant = contacts.and_then(|c| match kind {
        ContactKind::C2 => c.c2.as_ref(),
        _ => c.c3.as_ref(),
    });
    let (Some(instant), Some(first)) = (instant, parts.frames.first()) else {
        return Vec::new();
    };
    let length_s = contacts.and_then(|c| Some(c.c3?.utc.seconds_since(c.c2?.utc)));
    let most_s = length_s.map_or(CHROMOSPHERE_S, |s| CHROMOSPHERE_S.min(s / 2.0));
    let scale = crate::model::discs::scale_key(&first.record.shot);
    let near = |r: &&ShotRecord| {
        let inside_s = r.utc.map(|utc| {
            let after_s = utc.seconds_since(instant.utc);
            if kind == ContactKind::C2 {
                after_s
            } else {
                -after_s
            }
        });
        let moon = r
            .disc
            .is_some_and(|d| d.limb == Limb::Moon && d.sun.is_some() && d.moon.is_some());
        let bare = !r.flags.has(Flag::FilterOn)
            && !r.flags.has(Flag::Capped)
            && !r.flags.has(Flag::Clouded);
        let inside = inside_s.is_some_and(|s| (0.0..=most_s).contains(&s));
        inside
            && moon
            && bare
            && r.role != Some(Role::Wide)
            && crate::model::discs::scale_key(&r.shot) == scale
    };
    let mut found: Vec<&ShotRecord> = parts.catalogue.shots.iter().filter(near).collect();
    // As the merge does: from the longest exposure to the shortest is quickest, and the order is always the same.
    let stops = |r: &ShotRecord| r.shot.exposure.stops().unwrap_or(0.0);
    found.sort_by(|a, b| {
        stops(b)
            .total_cmp(&stops(a))
            .then_with(|| a.name().cmp(b.name()))
    });
    found.into_iter().cloned().collect()
}

/// Light of the brightest thousandth of what is lit.
fn bright(found: &LimbLight) -> Option<f32> {
    let mut lit: Vec<f32> = found
        .light
        .data()
        .iter()
        .copied()
        .filter(|v| v.is_finite() && *v > 0.0)
        .collect();
    lit.sort_unstable_by(f32::total_cmp);
    let top = lit.get((lit.len().checked_sub(1)? as f64 * 0.999) as usize)?;
    Some(*top)
}

/// A part of the canvas on the whole of it.
fn on_canvas(merged: &Merged, part: &LimbLight) -> LinearRgb {
    let mut whole = LinearRgb::new(merged.radiance.width(), merged.radiance.height());
    for y in 0..part.light.height() {
        let row = whole.row_mut(part.top_px + y);
        let from = part.left_px * 3;
        row[from..from + part.light.width() * 3].copy_from_slice(part.light.row(y));
    }
    whole
}
