//! The recipe as the page knows it, and the changes the page asks for.

use serde::Deserialize;
use serde_json::{Value, json};

use crate::catalogue::{Catalogue, sha256};
use crate::pipeline::{RecipeName, RecipeNow};
use crate::strip::{Centre, Field, FieldKind, ListOf, RecipeEdit, fields};

/// The first recipe's name in addresses; no other can have it.
const FIRST: &str = "-";

/// Reads a recipe's name from an address.
pub(super) fn named(text: &str) -> Option<RecipeName> {
    match text {
        FIRST => Some(RecipeName::default()),
        name => name.parse().ok(),
    }
}

/// A recipe's name for an address.
pub(super) fn address(name: &RecipeName) -> String {
    match name.is_first() {
        true => FIRST.to_owned(),
        false => name.to_string(),
    }
}

/// Which text a page last saw.
pub(super) fn revision(text: &str) -> String {
    sha256(text.as_bytes()).chars().take(16).collect()
}

/// A recipe as JSON, its frames by their numbers.
pub(super) fn json(catalogue: &Catalogue, name: &RecipeName, now: &RecipeNow) -> Value {
    let number = |name: &String| catalogue.shots.iter().position(|s| s.name() == name);
    let numbers = |names: &[String]| names.iter().filter_map(number).collect::<Vec<_>>();
    let recipe = &now.recipe;
    json!({
        "name": address(name),
        "file": name.file(),
        "revision": revision(&now.text),
        "before": numbers(&recipe.before),
        "centre": match &recipe.centre {
            Centre::None => json!("none"),
            Centre::Corona => json!("corona"),
            Centre::Frame(name) => json!(number(name)),
        },
        "after": numbers(&recipe.after),
        "aside": numbers(&recipe.aside),
        "without": numbers(&recipe.corona_without),
        "fields": fields(recipe).iter().map(|field| field_json(catalogue, field)).collect::<Vec<_>>(),
        "undo": now.undo,
        "redo": now.redo,
    })
}

fn field_json(catalogue: &Catalogue, field: &Field) -> Value {
    let value = format!("v = {}", field.value);
    let value = toml::from_str::<toml::Table>(&value).ok();
    let value = value.and_then(|mut table| serde_json::to_value(table.remove("v")?).ok());
    let words = |words: &[&str]| json!(words);
    let mut json = json!({ "name": field.name, "about": field.about, "value": value });
    let (kind, more) = match &field.kind {
        FieldKind::Choice(all) => ("choice", json!({ "words": words(all) })),
        FieldKind::Several(all) => ("several", json!({ "words": words(all) })),
        FieldKind::Number {
            least,
            most,
            whole,
            auto,
        } => (
            "number",
            json!({ "least": least, "most": most, "whole": whole, "auto": auto }),
        ),
        FieldKind::Truth => ("truth", json!({})),
        FieldKind::Text => ("text", json!({})),
        FieldKind::Paper => ("paper", json!({})),
        FieldKind::Colour => ("colour", json!({})),
        FieldKind::Centre => ("centre", frame_of(catalogue, field)),
        FieldKind::Frame => ("frame", frame_of(catalogue, field)),
    };
    json["kind"] = json!(kind);
    if let (Value::Object(json), Value::Object(more)) = (&mut json, more) {
        json.extend(more);
    }
    json
}

/// The number of the frame a field names, where it names one.
fn frame_of(catalogue: &Catalogue, field: &Field) -> Value {
    let named = |name: &str| field.value == toml::Value::String(name.to_owned()).to_string();
    let frame = catalogue.shots.iter().position(|s| named(s.name()));
    json!({ "frame": frame })
}

/// A change the page asks for, frames by their numbers.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub(super) enum Change {
    Take(usize),
    Drop(usize),
    Move { frame: usize, list: Side, at: usize },
    Aside(usize),
    Back(usize),
    Without(usize),
    With(usize),
    Set { key: String, value: Given },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Side {
    Before,
    After,
}

/// The value of a field as the page gives it.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(untagged)]
pub(super) enum Given {
    Truth(bool),
    Number(f64),
    Text(String),
    Words(Vec<String>),
    Frame { frame: usize },
}

/// The change as the recipe takes it; `None` where there is no frame of that number.
pub(super) fn edit(catalogue: &Catalogue, change: Change) -> Option<RecipeEdit> {
    let name = |n: usize| catalogue.shots.get(n).map(|s| s.name().to_owned());
    Some(match change {
        Change::Take(n) => RecipeEdit::Take(name(n)?),
        Change::Drop(n) => RecipeEdit::Drop(name(n)?),
        Change::Aside(n) => RecipeEdit::SetAside(name(n)?),
        Change::Back(n) => RecipeEdit::BringBack(name(n)?),
        Change::Without(n) => RecipeEdit::KeepFromCorona(name(n)?),
        Change::With(n) => RecipeEdit::GiveToCorona(name(n)?),
        Change::Move { frame, list, at } => RecipeEdit::Move {
            frame: name(frame)?,
            list: match list {
                Side::Before => ListOf::Before,
                Side::After => ListOf::After,
            },
            at,
        },
        Change::Set { key, value } => RecipeEdit::Set {
            key,
            value: written(value, &name)?,
        },
    })
}

/// A value as TOML writes it.
fn written(value: Given, name: &dyn Fn(usize) -> Option<String>) -> Option<String> {
    let quoted = |text: String| toml::Value::String(text).to_string();
    Some(match value {
        Given::Truth(truth) => truth.to_string(),
        Given::Number(n) if n.fract().abs() < f64::EPSILON && n.abs() < 1e9 => format!("{n:.0}"),
        Given::Number(n) => format!("{n:?}"),
        Given::Text(text) => quoted(text),
        Given::Words(words) => {
            let words: Vec<String> = words.into_iter().map(quoted).collect();
            format!("[{}]", words.join(", "))
        }
        Given::Frame { frame } => quoted(name(frame)?),
    })
}
