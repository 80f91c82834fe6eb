//! What an earlier run left: its folder, its record, its recipe.

use super::out::{Folder, OutFolder};
use super::recipes::RecipeName;
use super::{PipelineError, Target, whereabouts};
use crate::catalogue::Catalogue;
use crate::domain::Notice;
use crate::strip::Recipe;

/// The folder of an earlier run, its record, and what there is to tell of its card.
pub(crate) struct Opened {
    pub(crate) folder: OutFolder,
    pub(crate) catalogue: Catalogue,
    /// What to tell where pictures are not in their places.
    pub(crate) away: Option<Notice>,
}

/// Opens the folder of an earlier run and finds the card of its record; where it lies elsewhere now, the record learns of it.
pub(crate) fn open(target: &Target) -> Result<Opened, PipelineError> {
    let mut catalogue = Catalogue::load(&target.out)?;
    let folder = if target.dry_run {
        OutFolder::untouched(&target.out)
    } else {
        OutFolder::open(&target.out, Folder::Earlier)?
    };
    let found = whereabouts::settle(&mut catalogue, &target.out, &target.cards)?;
    if found.moved && !target.dry_run {
        folder.save(&catalogue)?;
    }
    Ok(Opened {
        folder,
        catalogue,
        away: found.notice(),
    })
}

/// The first recipe in OUT, where there is one.
pub(crate) fn recipe_there(
    catalogue: &Catalogue,
    out: &OutFolder,
) -> Result<Option<Recipe>, PipelineError> {
    recipe_named(catalogue, out, &RecipeName::default())
}

/// The recipe of a name in OUT, where there is one.
pub(crate) fn recipe_named(
    catalogue: &Catalogue,
    out: &OutFolder,
    name: &RecipeName,
) -> Result<Option<Recipe>, PipelineError> {
    let path = out.path.join(name.file());
    match std::fs::read_to_string(&path) {
        Ok(text) => match Recipe::parse(&text, catalogue) {
            Ok(recipe) => Ok(Some(recipe)),
            Err(error) => Err(PipelineError::Recipe { path, error }),
        },
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => Ok(None),
        Err(cause) => Err(PipelineError::Unreadable { path, cause }),
    }
}
