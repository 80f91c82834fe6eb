//! One sequence from several cards that were sorted by themselves.

use std::path::{Path, PathBuf};

use super::earlier::recipe_there;
use super::making::{MakingWish, pictures_and_page};
use super::out::{Folder, OutFolder, keep_apart, real};
use super::recipes::RecipeName;
use super::{Made, PROGRAM, PipelineError, Watch, earlier, whereabouts};
use crate::catalogue::{CATALOGUE_FILE, Catalogue, CatalogueHead, SourceRecord, TABLE_FILE};
use crate::domain::{Notice, Shown, counted};
use crate::join::{JoinError, Joining, SortedCard, common_eclipse, names};

/// Which cards to join, and where to.
#[derive(Clone, Debug, Default)]
pub struct JoinTask {
    /// The folders of their results.
    pub outs: Vec<PathBuf>,
    /// Folder for the joined results.
    pub out: PathBuf,
    /// Where a card's pictures are now, where that is not what its record says.
    pub cards: Vec<PathBuf>,
    /// Write nothing.
    pub dry_run: bool,
}

/// Joins cards that were sorted by themselves, and makes of them what is made of one card: corona, strip, page.
///
/// The records are read one after another; no picture is opened for it.
///
/// # Errors
/// [`PipelineError`] when a folder was not sorted, when the cards are of several eclipses with none that most are of, when the folder for
/// the results is a card's, or from the first stage that cannot run.
pub fn join(task: &JoinTask, wish: &MakingWish, watch: &dyn Watch) -> Result<Made, PipelineError> {
    let outs = each_once(&task.outs)?;
    out_apart(&outs, &task.out)?;
    let heads: Vec<CatalogueHead> = outs
        .iter()
        .map(|out| CatalogueHead::load(out))
        .collect::<Result<_, _>>()?;
    let mut made = Made::default();
    let outs = of_one_eclipse(outs, &heads, &mut made.notices)?;
    if CatalogueHead::load(&task.out).is_ok_and(|head| head.sources.is_empty()) {
        return Err(JoinError::OutOfACard(task.out.clone()).into());
    }
    let folder = match task.dry_run {
        true => OutFolder::untouched(&task.out),
        false => OutFolder::open(&task.out, Folder::Given)?,
    };
    let mut catalogue = gathered(&outs, &task.out, watch, &mut made.notices)?;
    let found = whereabouts::settle(&mut catalogue, &task.out, &task.cards)?;
    made.notices.extend(found.notice());
    let cards: Vec<PathBuf> = catalogue.cards.iter().map(|c| c.path.clone()).collect();
    keep_apart(&cards, &task.out)?;
    // A recipe that cannot be followed is told before the record it belongs to is replaced.
    recipe_there(&catalogue, &folder)?;
    let before = folder.record();
    if !task.dry_run {
        folder.save(&catalogue)?;
    }
    let names = [CATALOGUE_FILE, TABLE_FILE];
    made.files = names.iter().map(|name| task.out.join(name)).collect();
    let wish = MakingWish {
        credit: credits(&catalogue.sources).or_else(|| wish.credit.clone()),
        ..wish.clone()
    };
    let rest = pictures_and_page(&mut catalogue, &folder, &wish, task.dry_run, watch);
    if let Err(error) = &rest
        && !matches!(error, PipelineError::Interrupted)
        && !task.dry_run
    {
        folder.put_back(&before)?;
    }
    made.join(rest?);
    made.notices.extend(uncredited(&catalogue, &folder));
    made.catalogue = Some(catalogue);
    Ok(made)
}

/// The folders with links and dots resolved.
fn each_once(outs: &[PathBuf]) -> Result<Vec<PathBuf>, PipelineError> {
    let mut all: Vec<PathBuf> = Vec::new();
    for out in outs {
        let whole = real(out);
        if all.contains(&whole) {
            return Err(JoinError::Twice(out.clone()).into());
        }
        all.push(whole);
    }
    Ok(all)
}

/// Refuses joined results in a card's folder of results, and around one: each is locked and swept by itself.
fn out_apart(outs: &[PathBuf], out: &Path) -> Result<(), PipelineError> {
    let ours = real(out);
    let within = |card: &&PathBuf| ours.starts_with(card) || card.starts_with(&ours);
    match outs.iter().find(within) {
        Some(card) => Err(JoinError::OutAmongCards {
            out: out.to_owned(),
            card: card.clone(),
        }
        .into()),
        None => Ok(()),
    }
}

/// The folders of the eclipse that most are of; the others are told.
fn of_one_eclipse(
    outs: Vec<PathBuf>,
    heads: &[CatalogueHead],
    notices: &mut Vec<Notice>,
) -> Result<Vec<PathBuf>, PipelineError> {
    let joined = outs.iter().zip(heads).find(|(_, h)| !h.sources.is_empty());
    if let Some((out, head)) = joined {
        return Err(JoinError::Joined {
            out: out.clone(),
            names: head.sources.clone(),
        }
        .into());
    }
    let dates: Vec<_> = heads.iter().map(|head| head.eclipse_date).collect();
    let words = |n: usize| match dates[n] {
        Some(date) => format!("{} of {date}", Shown(&outs[n])),
        None => format!("{} of none that is known", Shown(&outs[n])),
    };
    let Some(eclipse) = common_eclipse(&dates) else {
        let all = (0..outs.len()).map(words).collect();
        return Err(JoinError::SeveralEclipses(all).into());
    };
    let odd: Vec<usize> = (0..outs.len())
        .filter(|&n| dates[n] != Some(eclipse))
        .collect();
    for &n in &odd {
        let text = format!("left out: {}, the others of {eclipse}", words(n));
        notices.push(Notice::look(text));
    }
    let taken = outs
        .iter()
        .zip(&dates)
        .filter(|(_, date)| **date == Some(eclipse));
    let taken: Vec<PathBuf> = taken.map(|(out, _)| out.clone()).collect();
    match &taken[..] {
        [alone] => Err(JoinError::Alone(alone.clone()).into()),
        _ => Ok(taken),
    }
}

/// The joined record, the cards' own being read one after another.
fn gathered(
    outs: &[PathBuf],
    out: &Path,
    watch: &dyn Watch,
    notices: &mut Vec<Notice>,
) -> Result<Catalogue, PipelineError> {
    let mut joining = Joining::new(out);
    watch.begin("reading the cards' records", outs.len() as u64);
    for (own, name) in outs.iter().zip(names(outs)) {
        if watch.interrupted() {
            return Err(PipelineError::Interrupted);
        }
        let card = sorted_card(own, &name, notices)?;
        let all = card.record.shots.len();
        let added = joining.take(card);
        notices.extend(shared(&name, added, all));
        watch.advance(1);
    }
    watch.end();
    let catalogue = joining.finish(PROGRAM);
    catalogue.ok_or_else(|| JoinError::SeveralEclipses(Vec::new()).into())
}

/// What to tell of a card whose pictures others have too.
fn shared(name: &str, added: usize, all: usize) -> Option<Notice> {
    let twice = all - added;
    (twice > 0).then(|| match added {
        0 => Notice::look(format!(
            "{name}: all of its pictures are on another card too; they count once, there"
        )),
        _ => Notice::note(format!(
            "{name}: {} are on another card too; they count once, there",
            counted(twice, "picture")
        )),
    })
}

/// A card's record, with what its own recipe says of credit and place.
fn sorted_card(
    out: &Path,
    name: &str,
    notices: &mut Vec<Notice>,
) -> Result<SortedCard, PipelineError> {
    let mut record = Catalogue::load(out)?;
    // The way from its results to its pictures is of no use from ours.
    for card in &mut record.cards {
        let beside = card.beside(out).filter(|_| !card.path.is_dir());
        card.path = beside.unwrap_or_else(|| std::mem::take(&mut card.path));
    }
    let own = earlier::recipe_named(&record, &OutFolder::untouched(out), &RecipeName::default());
    let recipe = own.unwrap_or_else(|error| {
        let text = format!("{name}: its credit and its place are not told, as {error}");
        notices.push(Notice::look(text));
        None
    });
    Ok(SortedCard {
        name: name.to_owned(),
        out: out.to_owned(),
        credit: recipe.as_ref().and_then(|recipe| recipe.credit.clone()),
        embed_location: recipe.is_some_and(|recipe| recipe.embed_location),
        record,
    })
}

/// Everybody's credit line, each once, in the order of the cards.
fn credits(sources: &[SourceRecord]) -> Option<String> {
    let mut all: Vec<&str> = Vec::new();
    for credit in sources.iter().filter_map(|source| source.credit.as_deref()) {
        if !all.contains(&credit) {
            all.push(credit);
        }
    }
    (!all.is_empty()).then(|| all.join("; "))
}

/// People whose credit line is not in that of the joined recipe, which is its owner's to edit.
fn uncredited(catalogue: &Catalogue, folder: &OutFolder) -> Vec<Notice> {
    let recipe = recipe_there(catalogue, folder).ok().flatten();
    let Some(recipe) = recipe else {
        return Vec::new();
    };
    let said = recipe.credit.unwrap_or_default();
    let sources = catalogue.sources.iter();
    let lost = sources.filter_map(|source| {
        let own = source.credit.as_deref()?;
        let text = format!("its credit line does not name {own}, whose pictures are in it");
        (!said.contains(own)).then(|| Notice::look(text).about(RecipeName::default().file()))
    });
    lost.collect()
}
