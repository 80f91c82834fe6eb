//! Changes to the text of a recipe that leave its comments and its order alone.

use std::str::FromStr as _;

use toml_edit::{Array, DocumentMut, Value};

use super::entries::{Entries, Entry};
use super::keys::{KEYS, quoted};
use super::recipe::{Centre, Recipe};
use super::recipe_file::{LISTS, RecipeError, beside, nearest_name};
use crate::catalogue::{Catalogue, ShotRecord};
use crate::domain::Utc;

/// Either list of the strip's frames.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ListOf {
    /// Before the middle.
    Before,
    /// After it.
    After,
}

impl ListOf {
    fn key(self) -> &'static str {
        match self {
            Self::Before => LISTS[0],
            Self::After => LISTS[1],
        }
    }
}

/// One change to a recipe. Frames are given by their names on the card.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum RecipeEdit {
    /// Takes a frame into the strip, among the others by its time; one without a time goes to the end.
    Take(String),
    /// Takes a frame out of the strip, the middle included.
    Drop(String),
    /// Moves a frame of the strip to a place of a list, from 0.
    Move {
        /// The frame.
        frame: String,
        /// The list it goes to.
        list: ListOf,
        /// Its place there; beyond the end means the end.
        at: usize,
    },
    /// Sets a frame aside, on the person's own list, whether it is in the strip or not.
    SetAside(String),
    /// Takes a frame off that list.
    BringBack(String),
    /// Has the corona merged without a frame of totality.
    KeepFromCorona(String),
    /// Has it merged with that frame again.
    GiveToCorona(String),
    /// Gives a key a value, written as in TOML; what is not TOML counts as text.
    Set {
        /// The key.
        key: String,
        /// The value.
        value: String,
    },
}

impl RecipeEdit {
    /// The same about the frame that `meant` makes of the one it names.
    ///
    /// # Errors
    /// Those of `meant`.
    pub fn with_frame<E>(self, meant: impl Fn(&str) -> Result<String, E>) -> Result<Self, E> {
        Ok(match self {
            Self::Take(frame) => Self::Take(meant(&frame)?),
            Self::Drop(frame) => Self::Drop(meant(&frame)?),
            Self::Move { frame, list, at } => Self::Move {
                frame: meant(&frame)?,
                list,
                at,
            },
            Self::SetAside(frame) => Self::SetAside(meant(&frame)?),
            Self::BringBack(frame) => Self::BringBack(meant(&frame)?),
            Self::KeepFromCorona(frame) => Self::KeepFromCorona(meant(&frame)?),
            Self::GiveToCorona(frame) => Self::GiveToCorona(meant(&frame)?),
            set @ Self::Set { .. } => set,
        })
    }
}

/// A change that cannot be made.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum EditError {
    /// No frame of that name.
    #[error("no frame {name} on the card{hint}", hint = .near.as_ref().map_or_else(String::new, |near| format!("; did you mean {near}?")))]
    NoFrame {
        /// As given.
        name: String,
        /// The nearest name.
        near: Option<String>,
    },
    /// Several frames of that name.
    #[error("{name} is the name of several frames: {}; give the whole name of one", .all.join(", "))]
    Several {
        /// As given.
        name: String,
        /// The whole names.
        all: Vec<String>,
    },
    /// The frame is where it should go.
    #[error("{0} is in the strip already")]
    There(String),
    /// The frame is not where it should be taken from.
    #[error("{0} is not in the strip")]
    NotThere(String),
    /// What it would give cannot stand.
    #[error(transparent)]
    Recipe(#[from] RecipeError),
}

/// The frame a person means: by its whole name, else by its file's name or the stem of that, in any case, where only one has it.
///
/// # Errors
/// [`EditError::NoFrame`] with the nearest name, [`EditError::Several`] with all.
pub fn frame_meant(catalogue: &Catalogue, said: &str) -> Result<String, EditError> {
    if let Some(record) = catalogue.shot(said) {
        return Ok(record.name().to_owned());
    }
    let wanted = said.to_lowercase();
    let own = |name: &str| name.rsplit('/').next().unwrap_or(name).to_lowercase();
    let stem = |name: &str| own(name).rsplit_once('.').map(|(stem, _)| stem.to_owned());
    let whole = |name: &str| own(name) == wanted;
    let begun = |name: &str| stem(name).as_deref() == Some(wanted.as_str());
    for fits in [&whole as &dyn Fn(&str) -> bool, &begun] {
        let names = catalogue.shots.iter().map(ShotRecord::name);
        let all: Vec<String> = names.filter(|n| fits(n)).map(str::to_owned).collect();
        match all.as_slice() {
            [] => {}
            [one] => return Ok(one.clone()),
            _ => {
                let name = said.to_owned();
                return Err(EditError::Several { name, all });
            }
        }
    }
    Err(EditError::NoFrame {
        name: said.to_owned(),
        near: nearest_name(said, catalogue).map(str::to_owned),
    })
}

/// The text of a recipe with some changes made to it; comments, order and spacing of the rest stay as they were.
///
/// # Errors
/// [`EditError`] from the first change that cannot be made, or when the text, before or after, is no recipe.
pub fn edited(
    text: &str,
    catalogue: &Catalogue,
    edits: &[RecipeEdit],
) -> Result<String, EditError> {
    let mut text = text.to_owned();
    for edit in edits {
        let recipe = Recipe::parse(&text, catalogue)?;
        let mut document = DocumentMut::from_str(&text)
            .map_err(|e| EditError::Recipe(RecipeError::at(&text, e.span(), e.message())))?;
        apply(&mut document, &recipe, catalogue, edit)?;
        text = document.to_string();
        Recipe::parse(&text, catalogue)?;
    }
    Ok(text)
}

fn apply(
    document: &mut DocumentMut,
    recipe: &Recipe,
    catalogue: &Catalogue,
    edit: &RecipeEdit,
) -> Result<(), EditError> {
    match edit {
        RecipeEdit::Take(name) => take(document, recipe, known(catalogue, name)?, catalogue),
        RecipeEdit::Drop(name) => drop_frame(document, recipe, name),
        RecipeEdit::Move { frame, list, at } => {
            let entry = lifted(document, frame)?;
            with_list(document, list.key(), |entries| entries.put(entry, *at));
            Ok(())
        }
        RecipeEdit::SetAside(name) => {
            let listed = recipe.aside.contains(name);
            add(document, LISTS[2], listed, catalogue, name)
        }
        RecipeEdit::KeepFromCorona(name) => {
            let listed = recipe.corona_without.contains(name);
            add(document, LISTS[3], listed, catalogue, name)
        }
        RecipeEdit::BringBack(name) => {
            with_list(document, LISTS[2], |list| list.lift(name));
            Ok(())
        }
        RecipeEdit::GiveToCorona(name) => {
            with_list(document, LISTS[3], |list| list.lift(name));
            Ok(())
        }
        RecipeEdit::Set { key, value } => set(document, key, value),
    }
}

/// Adds a frame to the end of a list, unless it is listed.
fn add(
    document: &mut DocumentMut,
    list: &str,
    listed: bool,
    catalogue: &Catalogue,
    name: &str,
) -> Result<(), EditError> {
    let record = known(catalogue, name)?;
    if !listed {
        let entry = entry(catalogue, record);
        with_list(document, list, |entries| entries.put(entry, usize::MAX));
    }
    Ok(())
}

fn known<'a>(catalogue: &'a Catalogue, name: &str) -> Result<&'a ShotRecord, EditError> {
    catalogue.shot(name).ok_or_else(|| EditError::NoFrame {
        name: name.to_owned(),
        near: nearest_name(name, catalogue).map(str::to_owned),
    })
}

fn take(
    document: &mut DocumentMut,
    recipe: &Recipe,
    record: &ShotRecord,
    catalogue: &Catalogue,
) -> Result<(), EditError> {
    let name = record.name();
    let middle = matches!(&recipe.centre, Centre::Frame(centre) if centre == name);
    if middle || recipe.before.iter().chain(&recipe.after).any(|n| n == name) {
        return Err(EditError::There(name.to_owned()));
    }
    let (list, names) = match is_before(catalogue, recipe, record) {
        true => (ListOf::Before, &recipe.before),
        false => (ListOf::After, &recipe.after),
    };
    let time = |name: &String| catalogue.sequence_utc(catalogue.shot(name)?);
    let own = catalogue.sequence_utc(record);
    let later = |other: &String| time(other).zip(own).is_some_and(|(o, own)| o > own);
    let at = names.iter().position(later).unwrap_or(names.len());
    let entry = entry(catalogue, record);
    with_list(document, list.key(), |entries| entries.put(entry, at));
    Ok(())
}

/// Whether a frame belongs before the middle: by maximum, and where no eclipse is known by the frames that are there.
fn is_before(catalogue: &Catalogue, recipe: &Recipe, record: &ShotRecord) -> bool {
    let time = |name: &String| catalogue.sequence_utc(catalogue.shot(name)?);
    let first_after = || recipe.after.iter().find_map(time);
    let middle: Option<Utc> = match (&recipe.centre, &catalogue.contacts) {
        (Centre::Frame(name), _) => time(name),
        (_, Some(contacts)) => Some(contacts.maximum.utc),
        _ => first_after(),
    };
    catalogue
        .sequence_utc(record)
        .zip(middle)
        .is_some_and(|(own, middle)| own < middle)
}

fn drop_frame(document: &mut DocumentMut, recipe: &Recipe, name: &str) -> Result<(), EditError> {
    if matches!(&recipe.centre, Centre::Frame(centre) if centre == name) {
        return set(document, "centre", &quoted("none"));
    }
    lifted(document, name).map(drop)
}

/// Takes a frame out of whichever list of the strip it is in.
fn lifted(document: &mut DocumentMut, name: &str) -> Result<Entry, EditError> {
    let found = [ListOf::Before, ListOf::After]
        .into_iter()
        .find_map(|list| with_list(document, list.key(), |entries| entries.lift(name)));
    found.ok_or_else(|| EditError::NotThere(name.to_owned()))
}

fn entry(catalogue: &Catalogue, record: &ShotRecord) -> Entry {
    Entry::new(record.name(), &beside(catalogue, record))
}

/// Works on a list of the recipe, which is made where there is none.
fn with_list<T>(document: &mut DocumentMut, key: &str, work: impl FnOnce(&mut Entries) -> T) -> T {
    let item = document
        .entry(key)
        .or_insert_with(|| toml_edit::value(Array::new()));
    let Some(array) = item.as_array_mut() else {
        // A recipe that was parsed has lists there.
        return work(&mut Entries::of(&Array::new()));
    };
    let mut entries = Entries::of(array);
    let result = work(&mut entries);
    *array = entries.array(array);
    result
}

/// Gives a key its value in the place it has, with the comments about it.
fn set(document: &mut DocumentMut, key: &str, value: &str) -> Result<(), EditError> {
    if !KEYS.iter().any(|known| known.name == key) {
        let what = super::recipe_file::unknown_key(key);
        return Err(EditError::Recipe(RecipeError { line: 0, what }));
    }
    let mut value = Value::from_str(value).unwrap_or_else(|_| Value::from(value));
    match document.get_mut(key).and_then(|item| item.as_value_mut()) {
        Some(there) => {
            *value.decor_mut() = there.decor().clone();
            *there = value;
        }
        None => {
            document.insert(key, toml_edit::value(value));
        }
    }
    Ok(())
}
