//! Pages of help beyond those of the commands: `contactstrip help TOPIC`, and the manual pages of section 7.

use contactstrip::strip::{FieldKind, Recipe, fields};

/// One page.
pub(crate) struct Topic {
    /// What it is asked for by.
    pub(crate) name: &'static str,
    /// In a few words.
    pub(crate) about: &'static str,
    text: fn() -> String,
}

impl Topic {
    /// The page itself.
    pub(crate) fn text(&self) -> String {
        (self.text)()
    }
}

/// All pages.
pub(crate) const TOPICS: &[Topic] = &[
    Topic {
        name: "choosing",
        about: "the page to choose frames by eye, and its keys",
        text: || include_str!("topics/choosing.txt").to_owned(),
    },
    Topic {
        name: "strip.toml",
        about: "every key of the strip's recipe",
        text: recipe,
    },
    Topic {
        name: "clocks",
        about: "how camera clocks are found",
        text: || include_str!("topics/clocks.txt").to_owned(),
    },
    Topic {
        name: "corona",
        about: "the corona's light, its pictures and layers",
        text: || include_str!("topics/corona.txt").to_owned(),
    },
    Topic {
        name: "files",
        about: "what is in the folder of results, columns and phases",
        text: || include_str!("topics/files.txt").to_owned(),
    },
    Topic {
        name: "flags",
        about: "what each flag of a frame says",
        text: || include_str!("topics/flags.txt").to_owned(),
    },
    Topic {
        name: "planning",
        about: "contacts, the shooting sheet and the rehearsal",
        text: || include_str!("topics/planning.txt").to_owned(),
    },
    Topic {
        name: "accuracy",
        about: "what was measured, and on what",
        text: || include_str!("topics/accuracy.txt").to_owned(),
    },
    Topic {
        name: "settings",
        about: "a file for site, zone and credit",
        text: || include_str!("topics/settings.txt").to_owned(),
    },
];

/// The keys of a recipe, from the table that reads them.
fn recipe() -> String {
    let recipe = Recipe::default();
    let mut text = String::from(
        "strip.toml is written once and then yours to edit; `contactstrip strip OUT` draws it again, and `strip OUT --set KEY=VALUE` or the \
         page of `choose` edit it with its comments kept.\n\nThe lists before and after hold the names of frames in order, as in the file \
         column of shots.csv; aside is a list of your own, in no picture.\n",
    );
    for field in fields(&recipe) {
        let may = match field.kind {
            FieldKind::Choice(words) => words.join(", "),
            FieldKind::Several(words) => format!("any of {}", words.join(", ")),
            FieldKind::Number {
                least, most, auto, ..
            } => format!(
                "{least} to {most}{}",
                if auto { ", or \"auto\"" } else { "" }
            ),
            FieldKind::Truth => "true or false".to_owned(),
            FieldKind::Text => "text, or \"none\"".to_owned(),
            FieldKind::Paper => "\"12x18 in\", \"30x45 cm\" and the like, or \"none\"".to_owned(),
            FieldKind::Colour => "\"#rrggbb\"".to_owned(),
            FieldKind::Centre => "\"corona\", \"none\", or a frame".to_owned(),
            FieldKind::Frame => "a frame, or \"none\"".to_owned(),
        };
        text += &format!(
            "\n{} = {}\n  {}\n  {may}\n",
            field.name, field.value, field.about
        );
    }
    text
}
