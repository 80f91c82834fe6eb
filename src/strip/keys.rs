//! The keys of `strip.toml`: what each means, how it is written and how it is read.

use toml::de::DeValue;

use super::recipe::{
    Align, Arrangement, Captions, Centre, Flatten, Output, Paper, Recipe, Tint, Up, Worded,
};

/// One key: its name, the comment above it, its value as TOML, and how a value is taken.
pub(super) struct Key {
    /// As it stands in the file.
    pub(super) name: &'static str,
    /// Comment lines.
    pub(super) about: &'static str,
    /// What a value may be; numbers are taken within its limits.
    pub(super) kind: Kind,
    /// The value as TOML.
    pub(super) show: fn(&Recipe) -> String,
    /// Takes a value, or says what it must be.
    pub(super) take: fn(&mut Recipe, &DeValue<'_>, Kind) -> Result<(), String>,
}

/// What the value of a key may be.
#[derive(Clone, Copy, Debug)]
pub(super) enum Kind {
    /// One of some words.
    Choice(fn() -> Vec<&'static str>),
    /// Any of some words, at least one.
    Several(fn() -> Vec<&'static str>),
    /// A number.
    Number { least: f64, most: f64 },
    /// A number without a fraction.
    Whole { least: f64, most: f64 },
    /// A number, or the word `auto`.
    Auto { least: f64, most: f64 },
    /// True or false.
    Truth,
    /// Any text, or the word `none`.
    Text,
    /// Two sides and a unit, or the word `none`.
    Paper,
    /// `#rrggbb`.
    Colour,
    /// The word `none`, the word `corona`, or the name of a frame.
    Centre,
    /// The name of a frame, or the word `none`.
    Frame,
}

impl Kind {
    /// Least and most of a number; all numbers where it is none.
    fn limits(self) -> (f64, f64) {
        match self {
            Self::Number { least, most }
            | Self::Whole { least, most }
            | Self::Auto { least, most } => (least, most),
            _ => (f64::NEG_INFINITY, f64::INFINITY),
        }
    }
}

/// The words of a choice.
fn words_of<T: Worded>() -> Vec<&'static str> {
    T::WORDS.iter().map(|(_, word)| *word).collect()
}

/// Keys in the order of the file; the lists of frames stand apart, at its end.
pub(super) const KEYS: &[Key] = &[
    Key {
        name: "layout",
        about: "How the discs are arranged: row, arc, grid, ring (around totality), diagonal, or path (where the Sun\n\
                stood, azimuth and altitude to scale).",
        kind: Kind::Choice(words_of::<Arrangement>),
        show: |r| quoted(r.arrangement.word()),
        take: |r, v, _| set(&mut r.arrangement, choice::<Arrangement>(v)),
    },
    Key {
        name: "width_px",
        about: "Pixels across, where no paper is given; the height follows.",
        kind: Kind::Whole {
            least: 64.0,
            most: 60_000.0,
        },
        show: |r| r.width_px.to_string(),
        take: |r, v, k| set(&mut r.width_px, whole(v, k)),
    },
    Key {
        name: "paper",
        about: "Paper to fill instead, such as \"12x18 in\", \"8x10 in\", \"84x12 in\" or \"30x45 cm\"; \"none\" for none.",
        kind: Kind::Paper,
        show: |r| quoted(&r.paper.map_or_else(|| "none".into(), |p| p.to_string())),
        take: |r, v, _| set(&mut r.paper, paper(v)),
    },
    Key {
        name: "dpi",
        about: "Dots per inch of the print.",
        kind: Kind::Number {
            least: 30.0,
            most: 2_400.0,
        },
        show: |r| decimal(r.dpi),
        take: |r, v, k| set(&mut r.dpi, number(v, k)),
    },
    Key {
        name: "bleed_in",
        about: "Extra background on every side to be trimmed off, in inches (printers ask for 0.125).",
        kind: Kind::Number {
            least: 0.0,
            most: 2.0,
        },
        show: |r| decimal(r.bleed_in),
        take: |r, v, k| set(&mut r.bleed_in, number(v, k)),
    },
    Key {
        name: "disc_px",
        about: "Disc diameter in pixels, or \"auto\" for the largest that fits.",
        kind: Kind::Auto {
            least: 4.0,
            most: 20_000.0,
        },
        show: |r| auto_or(r.disc_px),
        take: |r, v, k| set(&mut r.disc_px, auto(v, k)),
    },
    Key {
        name: "spacing",
        about: "Gap between neighbours, in disc diameters.",
        kind: Kind::Number {
            least: 0.0,
            most: 10.0,
        },
        show: |r| decimal(r.spacing),
        take: |r, v, k| set(&mut r.spacing, number(v, k)),
    },
    Key {
        name: "margin",
        about: "Free margin around everything, in disc diameters, or \"auto\" for half a diameter and no less than a 25th of\n\
                width and height.",
        kind: Kind::Auto {
            least: 0.0,
            most: 10.0,
        },
        show: |r| auto_or(r.margin),
        take: |r, v, k| set(&mut r.margin, auto(v, k)),
    },
    Key {
        name: "centre",
        about: "What stands in the middle: \"corona\" (the merged one), \"none\", or the name of a frame.",
        kind: Kind::Centre,
        show: |r| {
            quoted(match &r.centre {
                Centre::None => "none",
                Centre::Corona => "corona",
                Centre::Frame(name) => name,
            })
        },
        take: |r, v, _| set(&mut r.centre, words(v).map(centre)),
    },
    Key {
        name: "extent_radii",
        about: "How far the middle picture reaches, in solar radii from the Sun's centre, or \"auto\" to follow the corona.",
        kind: Kind::Auto {
            least: 1.1,
            most: 30.0,
        },
        show: |r| auto_or(r.extent_radii),
        take: |r, v, k| set(&mut r.extent_radii, auto(v, k)),
    },
    Key {
        name: "centre_size",
        about: "Diameter of the middle picture's disc, in diameters of the others: 1 for equal discs, more for a large corona\n\
                within a ring.",
        kind: Kind::Number {
            least: 0.5,
            most: 10.0,
        },
        show: |r| decimal(r.centre_size),
        take: |r, v, k| set(&mut r.centre_size, number(v, k)),
    },
    Key {
        name: "background",
        about: "Background as red, green and blue in hexadecimal.",
        kind: Kind::Colour,
        show: |r| {
            let [red, green, blue] = r.background;
            quoted(&format!("#{red:02x}{green:02x}{blue:02x}"))
        },
        take: |r, v, _| set(&mut r.background, colour(v)),
    },
    Key {
        name: "orientation",
        about: "What is up in every disc: north, zenith (as the eye saw it), or as-shot.",
        kind: Kind::Choice(words_of::<Up>),
        show: |r| quoted(r.orientation.word()),
        take: |r, v, _| set(&mut r.orientation, choice::<Up>(v)),
    },
    Key {
        name: "align",
        about: "Which disc stands still and has the common size: sun, or moon (for beads and diamond rings).",
        kind: Kind::Choice(words_of::<Align>),
        show: |r| quoted(r.align.word()),
        take: |r, v, _| set(&mut r.align, choice::<Align>(v)),
    },
    Key {
        name: "white_balance",
        about: "Colour of the filtered discs: as-shot (the filter's own), neutral, or warm.",
        kind: Kind::Choice(words_of::<Tint>),
        show: |r| quoted(r.white_balance.word()),
        take: |r, v, _| set(&mut r.white_balance, choice::<Tint>(v)),
    },
    Key {
        name: "matched",
        about: "Bring all filtered discs to one brightness and colour, whatever their exposures and filters (true), or leave each as it\n\
                was photographed (false; white_balance and brightness then count for nothing).",
        kind: Kind::Truth,
        show: |r| r.matched.to_string(),
        take: |r, v, _| set(&mut r.matched, truth(v)),
    },
    Key {
        name: "brightness",
        about: "Light at the centre of an uncovered disc, 0.05 to 1.",
        kind: Kind::Number {
            least: 0.05,
            most: 1.0,
        },
        show: |r| decimal(r.brightness),
        take: |r, v, k| set(&mut r.brightness, number(v, k)),
    },
    Key {
        name: "captions",
        about: "What is written beside each disc: none, time, obscuration, both, or contact (seconds from the nearest one).",
        kind: Kind::Choice(words_of::<Captions>),
        show: |r| quoted(r.captions.word()),
        take: |r, v, _| set(&mut r.captions, choice::<Captions>(v)),
    },
    Key {
        name: "foreground",
        about: "A wide view to lay the path over: the name of a frame, or \"none\".",
        kind: Kind::Frame,
        show: |r| none_or(r.foreground.as_deref()),
        take: |r, v, _| {
            set(
                &mut r.foreground,
                words(v).map(|w| (w != "none").then(|| w.to_owned())),
            )
        },
    },
    Key {
        name: "foreground_az_deg",
        about: "Azimuth at the middle of the wide view, degrees from north through east, or \"auto\" to take it from the Sun\n\
                in the view.",
        kind: Kind::Auto {
            least: -360.0,
            most: 360.0,
        },
        show: |r| auto_or(r.foreground_az_deg),
        take: |r, v, k| set(&mut r.foreground_az_deg, auto(v, k)),
    },
    Key {
        name: "foreground_horizon",
        about: "Where the flat horizon lies in the wide view, 0 its top and 1 its bottom, or \"auto\" to take it from the Sun in the\n\
                view.",
        kind: Kind::Auto {
            least: -3.0,
            most: 4.0,
        },
        show: |r| auto_or(r.foreground_horizon),
        take: |r, v, k| set(&mut r.foreground_horizon, auto(v, k)),
    },
    Key {
        name: "foreground_width_deg",
        about: "Degrees the wide view spans from side to side, or \"auto\" to take its focal length's.",
        kind: Kind::Auto {
            least: 1.0,
            most: 150.0,
        },
        show: |r| auto_or(r.foreground_width_deg),
        take: |r, v, k| set(&mut r.foreground_width_deg, auto(v, k)),
    },
    Key {
        name: "credit",
        about: "Credit line written into the files, or \"none\".",
        kind: Kind::Text,
        show: |r| none_or(r.credit.as_deref()),
        take: |r, v, _| {
            set(
                &mut r.credit,
                words(v).map(|w| (w != "none").then(|| w.to_owned())),
            )
        },
    },
    Key {
        name: "embed_location",
        about: "Whether the files may tell where the pictures were taken.",
        kind: Kind::Truth,
        show: |r| r.embed_location.to_string(),
        take: |r, v, _| set(&mut r.embed_location, truth(v)),
    },
    Key {
        name: "outputs",
        about: "Files to write: any of \"tif\" (16 bits), \"png\", \"jpg\".",
        kind: Kind::Several(words_of::<Output>),
        show: |r| {
            let all: Vec<String> = r.outputs.iter().map(|o| quoted(o.word())).collect();
            format!("[{}]", all.join(", "))
        },
        take: |r, v, _| set(&mut r.outputs, outputs(v)),
    },
    Key {
        name: "corona_strength",
        about: "Strength of streamers and fine structure in corona.tif and .png, drawn by `contactstrip merge`: 0 as light falls, 1 usual.",
        kind: Kind::Number {
            least: 0.0,
            most: 3.0,
        },
        show: |r| decimal(r.corona_strength),
        take: |r, v, k| set(&mut r.corona_strength, number(v, k)),
    },
    Key {
        name: "corona_extent_radii",
        about: "How far corona.png reaches, in solar radii from the Sun's centre, or \"auto\" as far as the corona is to be seen; 40 shows\n\
                all there is, as corona.tif and .exr do.",
        kind: Kind::Auto {
            least: 1.2,
            most: 40.0,
        },
        show: |r| auto_or(r.corona_extent_radii),
        take: |r, v, k| set(&mut r.corona_extent_radii, auto(v, k)),
    },
    Key {
        name: "flatten",
        about: "The oval that air makes of a low Sun, in the corona and its layers: kept (as the eye saw it), or undone.",
        kind: Kind::Choice(words_of::<Flatten>),
        show: |r| quoted(r.flatten.word()),
        take: |r, v, _| set(&mut r.flatten, choice::<Flatten>(v)),
    },
    Key {
        name: "layers",
        about: "Whether each disc is also written by itself into layers/, on the same canvas, for editors.",
        kind: Kind::Truth,
        show: |r| r.layers.to_string(),
        take: |r, v, _| set(&mut r.layers, truth(v)),
    },
    Key {
        name: "time_lapse",
        about: "Whether a steady time-lapse of the partial phases and of totality is made too, in time-lapse/.",
        kind: Kind::Truth,
        show: |r| r.time_lapse.to_string(),
        take: |r, v, _| set(&mut r.time_lapse, truth(v)),
    },
    Key {
        name: "time_lapse_px",
        about: "Side of its square pictures in pixels.",
        kind: Kind::Whole {
            least: 64.0,
            most: 8_192.0,
        },
        show: |r| r.time_lapse_px.to_string(),
        take: |r, v, k| set(&mut r.time_lapse_px, whole(v, k)),
    },
    Key {
        name: "time_lapse_fps",
        about: "Pictures a second in its animated file.",
        kind: Kind::Whole {
            least: 1.0,
            most: 60.0,
        },
        show: |r| r.time_lapse_fps.to_string(),
        take: |r, v, k| set(&mut r.time_lapse_fps, whole(v, k)),
    },
];

fn set<T>(place: &mut T, value: Result<T, String>) -> Result<(), String> {
    *place = value?;
    Ok(())
}

/// A string as TOML writes it.
pub(super) fn quoted(words: &str) -> String {
    toml::Value::String(words.to_owned()).to_string()
}

/// A number that reads back the same.
fn decimal(n: f64) -> String {
    format!("{n:?}")
}

fn auto_or(n: Option<f64>) -> String {
    n.map_or_else(|| quoted("auto"), decimal)
}

fn none_or(words: Option<&str>) -> String {
    quoted(words.unwrap_or("none"))
}

fn words<'a>(value: &'a DeValue<'_>) -> Result<&'a str, String> {
    value
        .as_str()
        .ok_or_else(|| format!("must be text in quotes, not {}", a_kind(value)))
}

fn truth(value: &DeValue<'_>) -> Result<bool, String> {
    value
        .as_bool()
        .ok_or_else(|| format!("must be true or false, not {}", a_kind(value)))
}

fn a_kind(value: &DeValue<'_>) -> String {
    match value.type_str() {
        kind @ ("array" | "integer") => format!("an {kind}"),
        kind => format!("a {kind}"),
    }
}

fn number(value: &DeValue<'_>, kind: Kind) -> Result<f64, String> {
    let (least, most) = kind.limits();
    let digits = match value {
        DeValue::Integer(n) if n.radix() == 10 => n.as_str(),
        DeValue::Float(n) => n.as_str(),
        _ => return Err(format!("must be a number, not {}", a_kind(value))),
    };
    let found: f64 = digits
        .parse()
        .map_err(|_| format!("cannot read the number {digits}"))?;
    if (least..=most).contains(&found) {
        Ok(found)
    } else {
        Err(format!("is {digits}, outside {least} to {most}"))
    }
}

fn whole(value: &DeValue<'_>, kind: Kind) -> Result<u32, String> {
    number(value, kind).map(|n| n.round() as u32)
}

fn auto(value: &DeValue<'_>, kind: Kind) -> Result<Option<f64>, String> {
    match value.as_str() {
        Some("auto") => Ok(None),
        Some(other) => Err(format!("is \"{other}\"; it must be a number or \"auto\"")),
        None => number(value, kind).map(Some),
    }
}

fn choice<T: Worded>(value: &DeValue<'_>) -> Result<T, String> {
    let found = words(value)?;
    if let Some((choice, _)) = T::WORDS.iter().find(|(_, word)| *word == found) {
        return Ok(*choice);
    }
    let all = words_of::<T>();
    let hint = like(found, all.iter().copied())
        .map_or_else(String::new, |near| format!("; did you mean \"{near}\"?"));
    Err(format!(
        "is \"{found}\"; it must be one of {}{hint}",
        all.join(", ")
    ))
}

fn centre(found: &str) -> Centre {
    match found {
        "none" => Centre::None,
        "corona" => Centre::Corona,
        name => Centre::Frame(name.to_owned()),
    }
}

fn paper(value: &DeValue<'_>) -> Result<Option<Paper>, String> {
    let found = words(value)?;
    if found == "none" {
        return Ok(None);
    }
    let wrong =
        || format!("is \"{found}\"; it must be like \"12x18 in\", \"30x45 cm\" or \"none\"");
    let (sides, in_cm) = match (found.strip_suffix("cm"), found.strip_suffix("in")) {
        (Some(sides), _) => (sides, true),
        (_, Some(sides)) => (sides, false),
        _ => return Err(wrong()),
    };
    let (width, height) = sides.split_once('x').ok_or_else(wrong)?;
    let side = |text: &str| text.trim().parse::<f64>().map_err(|_| wrong());
    let paper = Paper {
        width: side(width)?,
        height: side(height)?,
        in_cm,
    };
    let (w, h) = paper.inches();
    let fits = |inches: f64| (0.5..=400.0).contains(&inches);
    if fits(w) && fits(h) {
        Ok(Some(paper))
    } else {
        Err(format!(
            "is \"{found}\"; sides from 0.5 to 400 inches can be made"
        ))
    }
}

fn colour(value: &DeValue<'_>) -> Result<[u8; 3], String> {
    let found = words(value)?;
    let wrong = || format!("is \"{found}\"; it must be like \"#000000\"");
    let digits = found.strip_prefix('#').ok_or_else(wrong)?;
    if digits.len() != 6 || !digits.bytes().all(|b| b.is_ascii_hexdigit()) {
        return Err(wrong());
    }
    let all = u32::from_str_radix(digits, 16).map_err(|_| wrong())?;
    let [_, red, green, blue] = all.to_be_bytes();
    Ok([red, green, blue])
}

fn outputs(value: &DeValue<'_>) -> Result<Vec<Output>, String> {
    let list = value
        .as_array()
        .ok_or_else(|| format!("must be a list, not {}", a_kind(value)))?;
    let mut outputs = Vec::new();
    for entry in list {
        let output = choice::<Output>(entry.get_ref())?;
        if !outputs.contains(&output) {
            outputs.push(output);
        }
    }
    if outputs.is_empty() {
        return Err("names no file to write".into());
    }
    Ok(outputs)
}

/// The nearest of some words, where one is near enough to be a slip of the pen.
pub(super) fn like<'a>(found: &str, words: impl Iterator<Item = &'a str>) -> Option<&'a str> {
    let lower = found.to_lowercase();
    words
        .map(|word| (strsim::jaro_winkler(&lower, &word.to_lowercase()), word))
        .filter(|(near, _)| *near > 0.75)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, word)| word)
}
