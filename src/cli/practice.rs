//! Practice frames for the sheet: from folders of them, results, or a rehearsal's JSON.

use std::path::{Path, PathBuf};

use anyhow::{Context as _, Result, bail};
use contactstrip::catalogue::{CATALOGUE_FILE, Catalogue};
use contactstrip::domain::{Phase, Practice, Shown};
use contactstrip::{pipeline, report};

use super::progress::Bars;

/// What the practice frames measure of the body with the largest Sun in its frames; `None` without any. What one session does not
/// tell comes from another with the same body, the latest first.
pub(super) fn read(paths: &[PathBuf], quiet: bool) -> Result<Option<Practice>> {
    let mut all = Vec::new();
    for path in paths {
        let found = of(path, quiet)?;
        if found.is_empty() {
            bail!("no practice frames in {}", Shown(path));
        }
        all.extend(found);
    }
    all.sort_by_key(|p: &Practice| std::cmp::Reverse(p.day));
    let radius = |p: &&Practice| p.sun_radius_px.unwrap_or(0.0);
    let longest = all.iter().max_by(|a, b| radius(a).total_cmp(&radius(b)));
    let Some(body) = longest.map(|p| p.body.clone()) else {
        return Ok(None);
    };
    let sessions = all.into_iter().filter(|p| p.body == body);
    Ok(sessions.reduce(|latest, earlier| latest.or(&earlier)))
}

fn of(path: &Path, quiet: bool) -> Result<Vec<Practice>> {
    if path.is_file() {
        let text = std::fs::read_to_string(path)
            .with_context(|| format!("cannot read the rehearsal in {}", Shown(path)))?;
        return report::kept_practice(&text)
            .with_context(|| format!("{} holds no rehearsal", Shown(path)));
    }
    let rehearsal = if path.join(CATALOGUE_FILE).is_file() {
        let mut shots = Catalogue::load(path)?.shots;
        // Through the filter only: totality tells nothing of it.
        shots.retain(|s| {
            !matches!(
                s.phase,
                Phase::Totality | Phase::SecondContact | Phase::ThirdContact
            )
        });
        report::rehearsal(&shots)
    } else {
        pipeline::rehearse(path, &Bars::new(quiet))?.rehearsal
    };
    Ok(rehearsal.bodies.into_iter().map(|b| b.measured).collect())
}
