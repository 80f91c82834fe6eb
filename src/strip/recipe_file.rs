//! `strip.toml`: the recipe as a text a person can edit, and back.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::keys::{KEYS, like, quoted};
use super::propose::untimed;
use super::recipe::{Centre, Recipe};
use super::zone::local_time;
use crate::catalogue::{Catalogue, ShotRecord};

/// Name of the recipe below OUT.
pub const RECIPE_FILE: &str = "strip.toml";

/// Keys of the lists of frames.
pub(super) const LISTS: [&str; 4] = ["before", "after", "aside", "corona_without"];

/// Something in `strip.toml` that cannot stand.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{RECIPE_FILE} line {line}: {what}")]
pub struct RecipeError {
    /// Line, from 1.
    pub line: usize,
    /// What is wrong there, and what was probably meant.
    pub what: String,
}

impl RecipeError {
    /// Trouble at a place of a text.
    pub(super) fn at(text: &str, span: Option<Range<usize>>, what: &str) -> Self {
        Self {
            line: line_of(text, span.map_or(0, |span| span.start)),
            what: what.to_owned(),
        }
    }
}

impl Recipe {
    /// The recipe as TOML with a comment above every key and the local time beside every frame.
    ///
    /// [`Recipe::parse`] reads it back to an equal recipe. The catalogue is only asked for the comments.
    pub fn to_toml(&self, catalogue: &Catalogue) -> String {
        let mut text = String::from(
            "# The recipe of the strip. Written once; edit it and run `contactstrip strip` on this folder again.\n\
             # Delete this file to have it proposed anew.\n",
        );
        for key in KEYS {
            text.push('\n');
            for line in key.about.lines() {
                text.push_str(&format!("# {line}\n"));
            }
            text.push_str(&format!("{} = {}\n", key.name, (key.show)(self)));
        }
        for (key, about, names) in [
            (
                "before",
                "Frames before the middle, in order.",
                &self.before,
            ),
            ("after", "Frames after the middle, in order.", &self.after),
            (
                "aside",
                "Frames set aside; no picture holds them.",
                &self.aside,
            ),
        ] {
            if ["before", "after"].contains(&key) || !names.is_empty() {
                text += &list_text(catalogue, key, about, names);
            }
        }
        text + &self.apart(catalogue)
    }

    /// Frames of the Sun without a usable time that the recipe does not name, as comments to be moved into the lists.
    fn apart(&self, catalogue: &Catalogue) -> String {
        let open: Vec<&str> = untimed(catalogue)
            .map(ShotRecord::name)
            .filter(|name| !self.frames().any(|taken| taken == *name))
            .collect();
        if open.is_empty() {
            return String::new();
        }
        let mut text = String::from(
            "\n# Frames of the Sun without a usable time, not in the strip: move them into the lists above where they belong.\n",
        );
        for name in open {
            text.push_str(&format!("#   {},\n", quoted(name)));
        }
        text
    }

    /// Reads a recipe and checks every key, value and frame. Keys that are left out take their defaults.
    ///
    /// # Errors
    /// [`RecipeError`] with the line of the first thing that cannot stand, and a suggestion where one is near.
    pub fn parse(text: &str, catalogue: &Catalogue) -> Result<Self, RecipeError> {
        let at = |span: Range<usize>, what: String| RecipeError {
            line: line_of(text, span.start),
            what,
        };
        let table = DeTable::parse(text)
            .map_err(|e| at(e.span().unwrap_or(0..0), e.message().to_owned()))?;
        let mut entries: Vec<_> = table.get_ref().iter().collect();
        entries.sort_by_key(|(key, _)| key.span().start);
        let mut recipe = Self::default();
        for (key, value) in entries {
            let (name, span) = (key.get_ref().as_ref(), value.span());
            if let Some(known) = KEYS.iter().find(|k| k.name == name) {
                (known.take)(&mut recipe, value.get_ref(), known.kind)
                    .map_err(|what| at(span.clone(), format!("{name} {what}")))?;
                check_named(&recipe, name, catalogue).map_err(|what| at(span, what))?;
            } else if LISTS.contains(&name) {
                let names = frames(value, catalogue).map_err(|(span, what)| at(span, what))?;
                *(match name {
                    "before" => &mut recipe.before,
                    "after" => &mut recipe.after,
                    "aside" => &mut recipe.aside,
                    _ => &mut recipe.corona_without,
                }) = names;
            } else {
                return Err(at(key.span(), unknown_key(name)));
            }
        }
        Ok(recipe)
    }
}

/// A list of frames with its comment, a frame a line.
fn list_text(catalogue: &Catalogue, key: &str, about: &str, names: &[String]) -> String {
    let mut text =
        format!("\n# {about} Names are those of the `file` column of shots.csv.\n{key} = [\n");
    for name in names {
        let beside = catalogue
            .shot(name)
            .map_or_else(String::new, |r| beside(catalogue, r));
        text.push_str(&format!("  {},{beside}\n", quoted(name)));
    }
    text + "]\n"
}

/// The line, from 1, of a place in a text.
fn line_of(text: &str, offset: usize) -> usize {
    let before = text.get(..offset).unwrap_or(text);
    before.matches('\n').count() + 1
}

pub(super) fn unknown_key(name: &str) -> String {
    let all = KEYS.iter().map(|k| k.name).chain(LISTS);
    match like(name, all) {
        Some(near) => format!("unknown key {name}; did you mean {near}?"),
        None => format!(
            "unknown key {name}; known keys are {}, {}",
            KEYS.iter().map(|k| k.name).collect::<Vec<_>>().join(", "),
            LISTS.join(", ")
        ),
    }
}

/// Frames named outside the lists must be on the card too.
fn check_named(recipe: &Recipe, key: &str, catalogue: &Catalogue) -> Result<(), String> {
    let named = match (key, &recipe.centre, &recipe.foreground) {
        ("centre", Centre::Frame(name), _) | ("foreground", _, Some(name)) => name,
        _ => return Ok(()),
    };
    on_card(named, catalogue)
}

fn on_card(name: &str, catalogue: &Catalogue) -> Result<(), String> {
    if catalogue.shot(name).is_some() {
        return Ok(());
    }
    Err(match nearest_name(name, catalogue) {
        Some(near) => format!("no frame {name} on the card; did you mean {near}?"),
        None => {
            format!("no frame {name} on the card; names are those of the file column of shots.csv")
        }
    })
}

/// The nearest name on the card, by the whole path or by the file's own name.
pub(super) fn nearest_name<'a>(name: &str, catalogue: &'a Catalogue) -> Option<&'a str> {
    let own = |path: &'a str| path.rsplit('/').next().unwrap_or(path);
    let wanted = name.rsplit('/').next().unwrap_or(name).to_lowercase();
    let names = || catalogue.shots.iter().map(ShotRecord::name);
    let same = names().find(|n| own(n).to_lowercase() == wanted);
    same.or_else(|| {
        names()
            .map(|n| {
                (
                    strsim::normalized_damerau_levenshtein(&wanted, &own(n).to_lowercase()),
                    n,
                )
            })
            .filter(|(near, _)| *near >= 0.5)
            .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(a.1)))
            .map(|(_, n)| n)
    })
}

fn frames(
    value: &Spanned<DeValue<'_>>,
    catalogue: &Catalogue,
) -> Result<Vec<String>, (Range<usize>, String)> {
    let list = value.get_ref().as_array().ok_or_else(|| {
        (
            value.span(),
            "a list of frames is [\"name\", \"name\"]".to_owned(),
        )
    })?;
    let mut names = Vec::new();
    for entry in list {
        let name = entry
            .get_ref()
            .as_str()
            .ok_or_else(|| (entry.span(), "a frame is its name in quotes".to_owned()))?;
        on_card(name, catalogue).map_err(|what| (entry.span(), what))?;
        names.push(name.to_owned());
    }
    Ok(names)
}

/// The comment beside a frame: local time and how much was covered.
pub(super) fn beside(catalogue: &Catalogue, record: &ShotRecord) -> String {
    let time = record.utc.map(|utc| local_time(catalogue, utc, "%H:%M:%S"));
    let covered = record
        .predicted
        .map(|sky| format!("obscuration {:.0} %", sky.obscuration * 100.0));
    let words: Vec<String> = [time, covered].into_iter().flatten().collect();
    if words.is_empty() {
        return String::new();
    }
    format!("  # {}", words.join(", "))
}
