//! What stands beside the discs and what the files say.

use super::caption::{Words, words};
use super::layout::{Layout, caption_lines};
use super::piece::{Piece, Source};
use super::recipe::{Captions, Recipe};
use super::zone::local_time;
use crate::catalogue::Catalogue;
use crate::domain::{ContactEvent, SiteSource};
use crate::raster::PictureInfo;

/// The captions, drawn.
pub(super) fn captions(
    catalogue: &Catalogue,
    recipe: &Recipe,
    pieces: &[Piece<'_>],
    laid: &Layout,
) -> Vec<Words> {
    let mut all = Vec::new();
    let line_px = laid.caption_line_px;
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
    // To the nearest minute: half a minute more, then cut off.
    let time = piece
        .time
        .map(|utc| local_time(catalogue, utc.plus_s(30.0), "%H:%M"));
    let covered = piece.sky.map(|sky| percent(sky.obscuration));
    let lines = match captions {
        Captions::None => [None, None],
        Captions::Time => [time, None],
        Captions::Obscuration => [covered, None],
        Captions::Both => [time, covered],
        Captions::Contact => [from_contact(catalogue, piece), None],
    };
    lines.into_iter().flatten().collect()
}

/// One sigma of a piece's time in seconds: the photograph's own; of a corona the widest of the clocks.
fn time_sigma_s(catalogue: &Catalogue, piece: &Piece<'_>) -> f64 {
    let widest = || {
        let sigmas = catalogue.cameras.iter().map(|c| c.clock.sigma_s);
        sigmas.fold(0.0, f64::max)
    };
    match &piece.source {
        Source::Frame(record, _) => record.utc_sigma_s.unwrap_or_else(widest),
        Source::Corona(..) => widest(),
    }
}

/// Seconds from the nearest contact in words.
fn from_contact(catalogue: &Catalogue, piece: &Piece<'_>) -> Option<String> {
    let utc = piece.time?;
    let off_s = |event: &&ContactEvent| utc.seconds_since(event.utc);
    let there = match &piece.source {
        Source::Frame(record, _) => catalogue.contacts_of(record)?,
        Source::Corona(..) => catalogue.contacts.as_ref()?,
    };
    let nearest = there
        .events()
        .min_by(|a, b| off_s(a).abs().total_cmp(&off_s(b).abs()))?;
    let sigma_s = time_sigma_s(catalogue, piece).hypot(nearest.sigma_s);
    let seconds = seconds(off_s(&nearest), sigma_s);
    Some(format!("{} {seconds}", nearest.kind.word()))
}

/// Seconds in words, no finer than they are known: `−3.2 s`, `−3 s`, `−3 ± 2 s`.
fn seconds(value: f64, sigma_s: f64) -> String {
    let decimals = usize::from(sigma_s < 0.25);
    let mut text = format!("{value:+.decimals$}").replace('-', "\u{2212}");
    if sigma_s >= 1.0 {
        text += &format!(" \u{b1} {sigma_s:.0}");
    }
    text + " s"
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
pub(super) fn info(catalogue: &Catalogue, recipe: &Recipe, pieces: &[Piece<'_>]) -> PictureInfo {
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
            .map(|c| (c.site, catalogue.site_source.unwrap_or(SiteSource::Given)))
            .filter(|_| recipe.embed_location && catalogue.lets_tell_place()),
        dpi: recipe.dpi,
        ..PictureInfo::new(format!("{eclipse}: composite of {frames} frames"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn seconds_are_no_finer_than_they_are_known() {
        for (sigma_s, due) in [
            (0.1, "\u{2212}3.2 s"),
            (0.35, "\u{2212}3 s"),
            (2.2, "\u{2212}3 \u{b1} 2 s"),
        ] {
            assert_eq!(seconds(-3.21, sigma_s), due);
        }
    }
}
