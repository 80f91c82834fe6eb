//! The recipes of a folder of results: their files, the changes made to them, and the way back.
//!
//! Every text a recipe had is kept beside it, in a file of its own that is replaced whole. It is written before the recipe itself, so
//! that a program killed between the two is found out by the recipe's text and nothing is lost. A text a person wrote by hand
//! counts as one more step. Both files are ours to change under a lock that is held for the moment only: a strip may be drawn meanwhile.

use std::fmt;
use std::fs::{self, File};
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::PipelineError;
use crate::catalogue::{Catalogue, WriteError, write_atomically};
use crate::strip::{RECIPE_FILE, Recipe, RecipeEdit, edited};

/// Most texts kept of a recipe (our choice: an evening's work; some 10 kB each).
const MOST_TEXTS: usize = 200;

/// Most letters of a recipe's name.
const MOST_LETTERS: usize = 40;

/// File below OUT whose lock is held while a recipe changes.
const LOCK: &str = ".cache/recipe.lock";

/// Which recipe of a card: the first, `strip.toml`, or one with a name, `strip-NAME.toml`.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct RecipeName(Option<String>);

/// A name no recipe may have.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error(
    "{0:?} is no name for a recipe: it begins with a letter and has letters, digits, - and _, {MOST_LETTERS} at most"
)]
pub struct RecipeNameError(String);

impl FromStr for RecipeName {
    type Err = RecipeNameError;

    /// Reads a name: letters a to z in either case, digits, `-` and `_`. It begins with a letter, as numbers are added to the names of
    /// files that are kept from being replaced.
    fn from_str(text: &str) -> Result<Self, RecipeNameError> {
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
        let begins = text.starts_with(|c: char| c.is_ascii_alphabetic());
        if begins && text.len() <= MOST_LETTERS && text.chars().all(plain) {
            Ok(Self(Some(text.to_owned())))
        } else {
            Err(RecipeNameError(text.to_owned()))
        }
    }
}

impl fmt::Display for RecipeName {
    /// The name, empty for the first recipe.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.0.as_deref().unwrap_or_default())
    }
}

impl RecipeName {
    /// Whether it is `strip.toml`.
    pub fn is_first(&self) -> bool {
        self.0.is_none()
    }

    /// The name of its file below OUT.
    pub fn file(&self) -> String {
        format!("{}.toml", self.stem())
    }

    /// How the names of its pictures begin: `strip`, or `strip-NAME`.
    pub fn stem(&self) -> String {
        match &self.0 {
            None => "strip".to_owned(),
            Some(name) => format!("strip-{name}"),
        }
    }

    fn history(&self) -> String {
        format!(".contactstrip-undo-{}.json", self.stem())
    }
}

/// The recipes there are below a folder, the first before those with names.
pub fn recipes(out: &Path) -> Vec<RecipeName> {
    let entries = fs::read_dir(out).into_iter().flatten().flatten();
    let named = entries.filter_map(|entry| {
        let name = entry.file_name().into_string().ok()?;
        name.strip_prefix("strip-")?
            .strip_suffix(".toml")?
            .parse()
            .ok()
    });
    let mut all: Vec<RecipeName> = named.collect();
    all.sort();
    all.insert(0, RecipeName::default());
    all
}

/// A recipe as it is now.
#[derive(Clone, Debug)]
pub struct RecipeNow {
    /// The text of its file.
    pub text: String,
    /// What the text says.
    pub recipe: Recipe,
    /// Steps that can be taken back.
    pub undo: usize,
    /// Steps taken back that can be taken again.
    pub redo: usize,
}

/// What to do with a recipe.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum RecipeStep {
    /// Nothing: only read it.
    Read,
    /// Change it; all of it or nothing.
    Edit(Vec<RecipeEdit>),
    /// Take back the latest change.
    Undo,
    /// Take the change last taken back again.
    Redo,
}

/// Takes a step with a recipe below a folder of results. Where there is none of that name it is made first: the first one proposed, one with a
/// name a copy of the first.
///
/// # Errors
/// [`PipelineError`] when the recipe cannot be followed, changed or written. A text that cannot be followed can be taken back all the same.
pub fn recipe_step(
    catalogue: &Catalogue,
    out: &Path,
    name: &RecipeName,
    step: &RecipeStep,
) -> Result<RecipeNow, PipelineError> {
    let _lock = locked(out)?;
    let path = out.join(name.file());
    let text = match read(&path)? {
        Some(text) => text,
        None => begun(catalogue, out, name)?,
    };
    let mut history = History::of(out, name);
    history.settle(&text);
    let next = match step {
        RecipeStep::Read => None,
        RecipeStep::Edit(edits) => Some(history.push(edited(&text, catalogue, edits)?)),
        RecipeStep::Undo => history.back(),
        RecipeStep::Redo => history.forth(),
    };
    if let Some(next) = &next {
        write(&out.join(name.history()), &history.text())?;
        write(&path, next)?;
    }
    let text = next.unwrap_or(text);
    let recipe =
        Recipe::parse(&text, catalogue).map_err(|error| PipelineError::Recipe { path, error })?;
    let (undo, redo) = history.steps();
    Ok(RecipeNow {
        text,
        recipe,
        undo,
        redo,
    })
}

/// The text a recipe would have after some changes; nothing is written.
///
/// # Errors
/// As [`recipe_step`].
pub(crate) fn recipe_after(
    catalogue: &Catalogue,
    out: &Path,
    name: &RecipeName,
    edits: &[RecipeEdit],
) -> Result<Recipe, PipelineError> {
    let path = out.join(name.file());
    let text = match read(&path)? {
        Some(text) => text,
        None => first_text(catalogue, out, name)?,
    };
    let text = edited(&text, catalogue, edits)?;
    Recipe::parse(&text, catalogue).map_err(|error| PipelineError::Recipe { path, error })
}

/// Writes a recipe that is not there yet, and gives its text.
fn begun(catalogue: &Catalogue, out: &Path, name: &RecipeName) -> Result<String, PipelineError> {
    let text = first_text(catalogue, out, name)?;
    write(&out.join(name.file()), &text)?;
    Ok(text)
}

fn first_text(
    catalogue: &Catalogue,
    out: &Path,
    name: &RecipeName,
) -> Result<String, PipelineError> {
    let copied = match name.is_first() {
        true => None,
        false => read(&out.join(RECIPE_FILE))?,
    };
    Ok(copied.unwrap_or_else(|| Recipe::propose(catalogue).0.to_toml(catalogue)))
}

/// Holds other programs off the recipes until it is dropped.
fn locked(out: &Path) -> Result<File, PipelineError> {
    let path = out.join(LOCK);
    let open = || {
        fs::create_dir_all(path.parent().unwrap_or(out))?;
        let file = File::options()
            .create(true)
            .truncate(false)
            .write(true)
            .open(&path)?;
        file.lock()?;
        Ok(file)
    };
    open().map_err(|cause: io::Error| {
        WriteError {
            path: path.clone(),
            cause,
        }
        .into()
    })
}

fn read(path: &Path) -> Result<Option<String>, PipelineError> {
    match fs::read_to_string(path) {
        Ok(text) => Ok(Some(text)),
        Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(None),
        Err(cause) => Err(PipelineError::Unreadable {
            path: path.to_owned(),
            cause,
        }),
    }
}

/// Writes a small file whole and down to the disk. It goes where the name leads, should the person have made it a link.
fn write(path: &Path, text: &str) -> Result<(), WriteError> {
    let target: PathBuf = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    write_atomically(&target, |file| {
        file.write_all(text.as_bytes())?;
        file.sync_all()
    })
}

/// Every text of a recipe, the one it has now among them.
#[derive(Debug, Default, Serialize, Deserialize)]
struct History {
    /// Place of the text it has now.
    at: usize,
    texts: Vec<String>,
}

impl History {
    /// As it was kept; empty where there is none that can be read.
    fn of(out: &Path, name: &RecipeName) -> Self {
        let kept = fs::read(out.join(name.history())).unwrap_or_default();
        let history: Self = serde_json::from_slice(&kept).unwrap_or_default();
        if history.at < history.texts.len() {
            history
        } else {
            Self::default()
        }
    }

    fn text(&self) -> String {
        serde_json::to_string(self).expect("texts can be written as JSON")
    }

    /// Finds the recipe's own text: where it was, one step beside that when a run was killed before it wrote the recipe, else it is
    /// somebody's and a step by itself.
    fn settle(&mut self, text: &str) {
        let is = |at: Option<usize>| {
            at.and_then(|at| self.texts.get(at))
                .is_some_and(|t| t == text)
        };
        let beside = [
            Some(self.at),
            self.at.checked_sub(1),
            self.at.checked_add(1),
        ];
        match beside.into_iter().find(|at| is(*at)).flatten() {
            Some(at) => self.at = at,
            None => drop(self.push(text.to_owned())),
        }
    }

    /// Adds a text after the one it has, in place of those taken back, and gives it.
    fn push(&mut self, text: String) -> String {
        let same = self.texts.get(self.at) == Some(&text);
        if !same {
            self.texts.truncate(self.at + 1);
            self.texts.push(text.clone());
            let over = self.texts.len().saturating_sub(MOST_TEXTS);
            self.texts.drain(..over);
            self.at = self.texts.len() - 1;
        }
        text
    }

    fn back(&mut self) -> Option<String> {
        self.at = self.at.checked_sub(1)?;
        self.texts.get(self.at).cloned()
    }

    fn forth(&mut self) -> Option<String> {
        let next = self.texts.get(self.at + 1)?.clone();
        self.at += 1;
        Some(next)
    }

    /// Steps back and forth that can be taken.
    fn steps(&self) -> (usize, usize) {
        (self.at, self.texts.len().saturating_sub(self.at + 1))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn history(texts: &[&str]) -> History {
        let mut history = History::default();
        for text in texts {
            history.settle(text);
        }
        history
    }

    #[test]
    fn steps_go_back_and_forth_and_a_new_one_ends_those_taken_back() {
        let mut h = history(&["a", "b", "c"]);
        assert_eq!(h.steps(), (2, 0));
        assert_eq!(h.back().as_deref(), Some("b"));
        assert_eq!(h.back().as_deref(), Some("a"));
        assert_eq!(h.back(), None);
        assert_eq!(h.forth().as_deref(), Some("b"));
        h.push("d".into());
        assert_eq!((h.steps(), h.forth()), ((2, 0), None));
    }

    #[test]
    fn a_run_killed_between_its_two_files_is_found_out() {
        // The next text was kept, the recipe itself still has the one before.
        let mut h = history(&["a", "b"]);
        h.settle("a");
        assert_eq!(h.steps(), (0, 1));
        // The same on the way back.
        h.settle("b");
        assert_eq!(h.steps(), (1, 0));
    }

    #[test]
    fn what_a_person_wrote_is_a_step_and_no_more_are_kept_than_told() {
        let mut h = history(&["a", "b"]);
        h.back();
        h.settle("by hand");
        assert_eq!((h.steps(), h.back().as_deref()), ((1, 0), Some("a")));
        let many: Vec<String> = (0..500).map(|n| n.to_string()).collect();
        let h = history(&many.iter().map(String::as_str).collect::<Vec<_>>());
        assert_eq!(h.texts.len(), MOST_TEXTS);
        assert_eq!(h.texts.last().map(String::as_str), Some("499"));
    }

    #[test]
    fn names_of_recipes_are_plain() {
        for good in ["ring", "Print_12x18", "a-1"] {
            assert_eq!(good.parse::<RecipeName>().unwrap().to_string(), good);
        }
        for bad in [
            "",
            "1",
            "-a",
            "a/b",
            "..",
            "a.b",
            "é",
            "a b",
            &"a".repeat(41),
        ] {
            assert!(bad.parse::<RecipeName>().is_err(), "{bad}");
        }
        let name: RecipeName = "ring".parse().unwrap();
        assert_eq!(
            (name.file(), name.stem()),
            ("strip-ring.toml".into(), "strip-ring".into())
        );
    }
}
