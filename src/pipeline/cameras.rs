//! The corona of several cameras: those beside the main one, merged each by itself and added to its map.

use super::change::Changes;
use super::imprint::Imprint;
use super::layers::{Layers, exposure_layer};
use super::light::{self, Lit};
use super::low_sun::{clear_air, flattened};
use super::out::OutFolder;
use super::{PipelineError, Watch};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::{Notice, Phase, Utc};
use crate::merge::cameras::{self, Added, Laid, NotLaid};
use crate::merge::{self, ExposureLayer, MergeInput, MergeOptions, Merged};
use crate::model::discs::{ScaleKey, scale_key};
use crate::model::watch::counted;
use crate::strip::{Flatten, Recipe};

/// Fewest frames of a camera that add anything to a corona: fewer cover no range of brightness (our choice).
const FEWEST: usize = 3;

/// Frames from which on more of them say little of which camera shows the corona best: a usual bracket.
const BRACKET: usize = 9;

/// Most pixels of a map that is added: it lies in memory beside the main one.
const MAX_PIXELS: usize = 30_000_000;

/// Frames of totality by camera and scale, the main camera's first.
///
/// The main one of a card is that with most frames. Of several cards joined it is the one that shows the Sun largest among those with
/// most frames, a bracket being as good as ten: its canvas holds the finest detail. Beside it stand other bodies with enough frames.
pub(super) fn by_camera(catalogue: &Catalogue, all: Vec<ShotRecord>) -> Vec<Vec<ShotRecord>> {
    let mut groups: Vec<(ScaleKey, Vec<ShotRecord>)> = Vec::new();
    for record in all {
        let key = scale_key(&record.shot);
        match groups.iter_mut().find(|(known, _)| *known == key) {
            Some((_, group)) => group.push(record),
            None => groups.push((key, vec![record])),
        }
    }
    groups.sort_by(|a, b| a.0.cmp(&b.0));
    let rank = |group: &[ShotRecord]| match catalogue.is_joined() {
        true => (group.len().min(BRACKET), sun_radius_px(group)),
        false => (group.len(), 0.0),
    };
    let best = groups.iter().enumerate().max_by(|(_, a), (_, b)| {
        let (a, b) = (rank(&a.1), rank(&b.1));
        a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
    });
    let Some(best) = best.map(|(n, _)| n) else {
        return Vec::new();
    };
    let (_, main) = groups.remove(best);
    let body = main[0].shot.camera.clone();
    // On a card by itself the main camera alone is merged, until two bodies of one card are measured.
    let timed = catalogue.is_joined() && main[0].phase == Phase::Totality;
    let beside = groups.into_iter().map(|(_, group)| group);
    let beside = beside.filter(|g| timed && g.len() >= FEWEST && g[0].shot.camera != body);
    std::iter::once(main).chain(beside).collect()
}

fn sun_radius_px(group: &[ShotRecord]) -> f64 {
    let suns = group.iter().filter_map(|r| r.disc?.sun);
    suns.map(|sun| sun.radius_px).fold(0.0, f64::max)
}

/// What was added to a corona.
#[derive(Default)]
pub(super) struct Others {
    /// Names of the frames.
    pub(super) frames: Vec<String>,
    /// Begin and length in seconds of each exposure.
    pub(super) exposures: Vec<(Utc, f64)>,
}

/// Merges each group by itself and adds its map to the main one; a camera that does not fit is told and left out.
///
/// # Errors
/// [`PipelineError::Interrupted`].
pub(super) fn with_others(
    catalogue: &Catalogue,
    main: (&mut Merged, &[Lit]),
    groups: Vec<Vec<ShotRecord>>,
    (recipe, out): (&Recipe, &OutFolder),
    (watch, notices): (&dyn Watch, &mut Vec<Notice>),
) -> Result<Others, PipelineError> {
    let mut others = Others::default();
    let (main, main_frames) = main;
    let mut changes = Changes::new(catalogue, recipe, out, main, main_frames);
    for group in groups {
        let label = catalogue.camera_label(&group[0].shot).to_owned();
        let Some(camera) = Camera::merged(catalogue, group, recipe, (watch, notices))? else {
            continue;
        };
        match cameras::lay(main, &camera.map) {
            Ok(laid) => {
                let Camera { frames, used, map } = camera;
                let apart = changes.are_due(&frames);
                if apart {
                    changes.picture(main, &map, &laid, &frames)?;
                }
                // Three maps at a time are what memory is meant for.
                drop(map);
                let added = cameras::add(main, &laid, apart);
                changes.difference(&added, &frames, notices)?;
                notices.push(told(&label, used.len(), &laid, &added));
                let lit = frames
                    .iter()
                    .filter(|lit| used.iter().any(|n| n == lit.record.name()));
                let times =
                    lit.filter_map(|l| Some((l.record.utc?, l.record.shot.exposure.shutter_s?)));
                others.exposures.extend(times);
                others.frames.extend(used);
            }
            Err(why) => notices.push(not_added(&label, why)),
        }
    }
    changes.end();
    Ok(others)
}

/// A camera's frames and the map they were merged into.
struct Camera {
    frames: Vec<Lit>,
    map: Merged,
    /// Names of the frames merged.
    used: Vec<String>,
}

impl Camera {
    fn merged(
        catalogue: &Catalogue,
        group: Vec<ShotRecord>,
        recipe: &Recipe,
        (watch, notices): (&dyn Watch, &mut Vec<Notice>),
    ) -> Result<Option<Self>, PipelineError> {
        let label = catalogue.camera_label(&group[0].shot).to_owned();
        let frames = light::of(group, notices);
        let own = |lit: &Lit| input(lit, recipe.flatten);
        let inputs: Vec<MergeInput> = frames.iter().filter_map(own).collect();
        let options = MergeOptions {
            max_pixels: MAX_PIXELS,
            ..MergeOptions::default()
        };
        let mut map = match merged((&frames, &inputs), &options, None, watch)? {
            Ok(map) => map,
            Err(error) => {
                notices.push(Notice::look(format!(
                    "{label} adds nothing to the corona: {error}"
                )));
                return Ok(None);
            }
        };
        notices.append(&mut map.notices);
        let instant = &inputs[map.instant].name;
        if let Some(lit) = frames.iter().find(|lit| lit.record.name() == instant) {
            clear_air(catalogue, &mut map, &lit.record, notices);
        }
        let used = map.frames.iter().filter(|f| f.left_out.is_none());
        let used = used.map(|f| f.name.clone()).collect();
        Ok(Some(Self { frames, map, used }))
    }
}

/// What a camera gave: how many frames, and how well its corona lies on the others'.
fn told(label: &str, frames: usize, laid: &Laid, added: &Added) -> Notice {
    let by = match laid.place.refined {
        Some(([x, y], turn_deg, factor)) => format!(
            "moved by {:.1} px, turned by {turn_deg:.2}°, sized by {:+.2} % on the corona itself",
            x.hypot(y),
            100.0 * (factor - 1.0)
        ),
        None => "placed by its Sun and its north alone".to_owned(),
    };
    let most = added
        .rings
        .iter()
        .map(|ring| ring.weight)
        .fold(0.0, f64::max);
    Notice::note(format!(
        "{frames} frames of {label} are in the corona too, {by}; they agree to {:.0} % and weigh up to {:.0} % by their noise",
        (100.0 * laid.departure).ceil(),
        100.0 * most
    ))
}

fn not_added(label: &str, why: NotLaid) -> Notice {
    Notice::look(match why {
        NotLaid::Apart => format!(
            "{label} adds nothing to the corona: it shares too little of it with the others"
        ),
        NotLaid::Unlike { departure } => format!(
            "{label} adds nothing to the corona: it departs by {:.0} % from that of the others (cloud, files edited one by one, or a wrong north)",
            100.0 * departure
        ),
    })
}

/// What a merge is told of a frame; `None` where its discs are not known.
pub(super) fn input(frame: &Lit, flatten: Flatten) -> Option<MergeInput> {
    let record = &frame.record;
    let fit = record.disc?;
    Some(MergeInput {
        name: record.name().to_owned(),
        exposure: record.shot.exposure,
        moon: frame.circle(fit.moon?),
        sun: frame.circle(fit.sun?),
        sun_sigma_px: frame.sigma_px(fit.sigma_px),
        moon_sigma_px: frame.sigma_px(fit.moon_sigma_px.unwrap_or(fit.sigma_px)),
        north_deg: record.north_deg,
        mirrored: record.mirrored.unwrap_or(false),
        flattened: match flatten {
            Flatten::Undone => flattened(record),
            Flatten::Kept => None,
        },
    })
}

/// Merges frames of one camera, with the layers of their exposures where those are wanted; what cannot be merged is the inner error.
///
/// # Errors
/// [`PipelineError`] when interrupted, or when a layer cannot be written.
pub(super) fn merged(
    (frames, inputs): (&[Lit], &[MergeInput]),
    options: &MergeOptions,
    layers: Option<(&Layers<'_>, &Imprint)>,
    watch: &dyn Watch,
) -> Result<Result<Merged, merge::MergeError>, PipelineError> {
    let open = |index: usize| {
        if watch.interrupted() {
            return Err("interrupted".to_owned());
        }
        frames[index].open()
    };
    let progress = counted(watch, "merging the corona");
    let mut trouble = None;
    let result = match layers {
        Some((layers, imprint)) => {
            let mut write = |layer: ExposureLayer| {
                if trouble.is_none() && !watch.interrupted() {
                    trouble = exposure_layer((layers, imprint), &layer, frames).err();
                }
            };
            merge::merge(inputs, &open, options, Some(&mut write), &progress)
        }
        None => merge::merge(inputs, &open, options, None, &progress),
    };
    watch.end();
    if watch.interrupted() {
        return Err(PipelineError::Interrupted);
    }
    trouble.map_or(Ok(result), Err)
}
