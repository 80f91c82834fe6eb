//! The keys of a recipe as fields of a form: the same names, words and limits as in the file.

use super::keys::{KEYS, Kind};
use super::recipe::Recipe;

/// One key as a field.
#[derive(Clone, Debug, PartialEq)]
pub struct Field {
    /// Its name in the file.
    pub name: &'static str,
    /// What it is for, as the file says.
    pub about: String,
    /// What it may hold.
    pub kind: FieldKind,
    /// The value as TOML.
    pub value: String,
}

/// What a field may hold.
#[derive(Clone, Debug, PartialEq)]
pub enum FieldKind {
    /// One of some words.
    Choice(Vec<&'static str>),
    /// Any of some words, at least one.
    Several(Vec<&'static str>),
    /// A number within limits.
    Number {
        /// The least.
        least: f64,
        /// The most.
        most: f64,
        /// Without a fraction.
        whole: bool,
        /// The word `auto` too.
        auto: bool,
    },
    /// True or false.
    Truth,
    /// Text, or the word `none`.
    Text,
    /// Paper such as `12x18 in`, or the word `none`.
    Paper,
    /// `#rrggbb`.
    Colour,
    /// The words `none` and `corona`, or the name of a frame.
    Centre,
    /// The name of a frame, or the word `none`.
    Frame,
}

impl From<Kind> for FieldKind {
    fn from(kind: Kind) -> Self {
        let number = |least, most, whole, auto| Self::Number {
            least,
            most,
            whole,
            auto,
        };
        match kind {
            Kind::Choice(words) => Self::Choice(words()),
            Kind::Several(words) => Self::Several(words()),
            Kind::Number { least, most } => number(least, most, false, false),
            Kind::Whole { least, most } => number(least, most, true, false),
            Kind::Auto { least, most } => number(least, most, false, true),
            Kind::Truth => Self::Truth,
            Kind::Text => Self::Text,
            Kind::Paper => Self::Paper,
            Kind::Colour => Self::Colour,
            Kind::Centre => Self::Centre,
            Kind::Frame => Self::Frame,
        }
    }
}

/// The fields of a recipe, in the file's order.
pub fn fields(recipe: &Recipe) -> Vec<Field> {
    let field = |key: &super::keys::Key| Field {
        name: key.name,
        about: key.about.replace('\n', " "),
        kind: key.kind.into(),
        value: (key.show)(recipe),
    };
    KEYS.iter().map(field).collect()
}
