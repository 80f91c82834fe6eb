//! The demo: draws a card, runs everything on it, and holds the findings against the truth.

use std::fmt::Write as _;
use std::path::Path;

use super::making::{MakingWish, all};
use super::{Made, PipelineError, Settings, Watch};
use crate::catalogue::Catalogue;
use crate::demo::{self, CARD_FOLDER, DemoOptions, DemoTruth};
use crate::domain::{Circle, Limb, Role, Shown};
use crate::model::watch::counted;

/// Folder of the results below the demo's folder.
pub const OUT_FOLDER: &str = "out";

/// How the findings stand against the truth.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Score {
    /// Frames with a truth that were compared.
    pub frames: usize,
    /// Frames whose phase is the true one.
    pub phases_right: usize,
    /// Frames with the right burst and place in it, or rightly in none.
    pub bursts_right: usize,
    /// Telephoto frames whose Sun is in the picture.
    pub suns_due: usize,
    /// Of those, frames where a disc was found.
    pub suns_found: usize,
    /// Root mean square distance of the Sun's centre from the truth over frames of the Sun's limb, in pixels.
    pub partial_rms_px: f64,
    /// The same over frames of the Moon's limb.
    pub totality_rms_px: f64,
    /// Largest error of a solved clock in seconds.
    pub worst_clock_s: f64,
}

/// Draws the demo's card into `dir/card` with its truth in `dir/truth`, and runs everything on it into `dir/out`.
///
/// # Errors
/// [`PipelineError`] when the card cannot be drawn or the run cannot be done.
pub fn demo(dir: &Path, dry_run: bool, watch: &dyn Watch) -> Result<Made, PipelineError> {
    if dry_run {
        return Ok(Made {
            text: format!(
                "would draw a card into {dir}/{CARD_FOLDER}, its truth beside it, and run everything on it into {dir}/{OUT_FOLDER}\n",
                dir = Shown(dir)
            ),
            ..Made::default()
        });
    }
    let progress = counted(watch, "drawing the card");
    let truth = demo::draw_card(dir, &DemoOptions::default(), &progress)?;
    watch.end();
    let settings = Settings {
        cards: vec![dir.join(CARD_FOLDER)],
        out: dir.join(OUT_FOLDER),
        drawn: true,
        ..Settings::default()
    };
    let mut made = all(&settings, &MakingWish::default(), watch)?;
    if let Some(catalogue) = &made.catalogue {
        made.text = words(&score(catalogue, &truth), &truth);
    }
    Ok(made)
}

/// Compares a record with the truth of its card.
pub fn score(catalogue: &Catalogue, truth: &DemoTruth) -> Score {
    let mut score = Score::default();
    let (mut partial, mut totality) = (Vec::new(), Vec::new());
    for frame in &truth.frames {
        let Some(found) = catalogue.shot(&frame.file) else {
            continue;
        };
        score.frames += 1;
        score.phases_right += usize::from(found.phase == frame.phase);
        let place = found.burst.map(|b| (b.id, b.index));
        score.bursts_right += usize::from(place == frame.burst.zip(frame.burst_index));
        let (Some(sun), Role::Tele) = (frame.sun, frame.role) else {
            continue;
        };
        score.suns_due += 1;
        if let Some((limb, centre)) = found.disc.and_then(|d| Some((d.limb, d.sun?))) {
            score.suns_found += 1;
            let off = apart(sun, centre);
            match limb {
                Limb::Sun => partial.push(off),
                Limb::Moon => totality.push(off),
            }
        }
    }
    score.partial_rms_px = rms(&partial);
    score.totality_rms_px = rms(&totality);
    score.worst_clock_s = worst_clock_s(catalogue, truth);
    score
}

fn worst_clock_s(catalogue: &Catalogue, truth: &DemoTruth) -> f64 {
    let errors = truth.cameras.iter().filter_map(|camera| {
        let found = catalogue
            .cameras
            .iter()
            .find(|c| c.id.make_model() == camera.camera || c.label == camera.camera)?;
        let whole = |zone_s: i32, error_s: f64| f64::from(zone_s) + error_s;
        Some(
            (whole(found.clock.zone_offset_s, found.clock.error_s)
                - whole(camera.zone_offset_s, camera.clock_error_s))
            .abs(),
        )
    });
    errors.fold(0.0, f64::max)
}

fn apart(a: Circle, b: Circle) -> f64 {
    (a.x_px - b.x_px).hypot(a.y_px - b.y_px)
}

fn rms(values: &[f64]) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    (values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64).sqrt()
}

fn words(score: &Score, truth: &DemoTruth) -> String {
    let mut text = String::new();
    let mut line = |label: &str, words: String| {
        writeln!(text, "{label:<12}{words}").expect("writing to a string cannot fail");
    };
    line(
        "Truth",
        format!(
            "phases right {} of {}, bursts right {} of {}, Suns found {} of {}",
            score.phases_right,
            score.frames,
            score.bursts_right,
            score.frames,
            score.suns_found,
            score.suns_due
        ),
    );
    line(
        "",
        format!(
            "Sun's centre off by {:.2} px rms in partial phases, {:.2} px in totality; clocks off by {:.2} s at most",
            score.partial_rms_px, score.totality_rms_px, score.worst_clock_s
        ),
    );
    line("", format!("scenario: {}", truth.scenario));
    text
}
