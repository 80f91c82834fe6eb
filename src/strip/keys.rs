//! The keys of `strip.toml`: what each means, how it is written and how it is read.

use toml::de::DeValue;

use super::recipe::{
    Align, Arrangement, Captions, Centre, Output, Paper, Recipe, Tint, Up, Worded,
};

/// One key: its name, the comment above it, its value as TOML, and how a value is taken.
pub(super) struct Key {
    /// As it stands in the file.
    pub(super) name: &'static str,
    /// Comment lines.
    pub(super) about: &'static str,
    /// The value as TOML.
    pub(super) show: fn(&Recipe) -> String,
    /// Takes a value, or says what it must be.
    pub(super) take: fn(&mut Recipe, &DeValue<'_>) -> Result<(), String>,
}

/// Keys in the order of the file; the lists of frames stand apart, at its end.
pub(super) const KEYS: &[Key] = &[
    Key {
        name: "layout",
        about: "How the discs are arranged: row, arc, grid, ring (around totality), diagonal, or path (where the Sun\n\
                stood, azimuth and altitude to scale).",
        show: |r| quoted(r.arrangement.word()),
        take: |r, v| set(&mut r.arrangement, choice::<Arrangement>(v)),
    },
    Key {
        name: "width_px",
        about: "Pixels across, where no paper is given; the height follows.",
        show: |r| r.width_px.to_string(),
        take: |r, v| set(&mut r.width_px, whole(v, 64.0, 60_000.0)),
    },
    Key {
        name: "paper",
        about: "Paper to fill instead, such as \"12x18 in\", \"8x10 in\", \"84x12 in\" or \"30x45 cm\"; \"none\" for none.",
        show: |r| quoted(&r.paper.map_or_else(|| "none".into(), |p| p.to_string())),
        take: |r, v| set(&mut r.paper, paper(v)),
    },
    Key {
        name: "dpi",
        about: "Dots per inch of the print.",
        show: |r| decimal(r.dpi),
        take: |r, v| set(&mut r.dpi, number(v, 30.0, 2_400.0)),
    },
    Key {
        name: "bleed_in",
        about: "Extra background on every side to be trimmed off, in inches (printers ask for 0.125).",
        show: |r| decimal(r.bleed_in),
        take: |r, v| set(&mut r.bleed_in, number(v, 0.0, 2.0)),
    },
    Key {
        name: "disc_px",
        about: "Disc diameter in pixels, or \"auto\" for the largest that fits.",
        show: |r| auto_or(r.disc_px),
        take: |r, v| set(&mut r.disc_px, auto(v, 4.0, 20_000.0)),
    },
    Key {
        name: "spacing",
        about: "Gap between neighbours, in disc diameters.",
        show: |r| decimal(r.spacing),
        take: |r, v| set(&mut r.spacing, number(v, 0.0, 10.0)),
    },
    Key {
        name: "margin",
        about: "Free margin around everything, in disc diameters, or \"auto\" for half a diameter and no less than a 25th of\n\
                width and height.",
        show: |r| auto_or(r.margin),
        take: |r, v| set(&mut r.margin, auto(v, 0.0, 10.0)),
    },
    Key {
        name: "centre",
        about: "What stands in the middle: \"corona\" (the merged one), \"none\", or the name of a frame.",
        show: |r| {
            quoted(match &r.centre {
                Centre::None => "none",
                Centre::Corona => "corona",
                Centre::Frame(name) => name,
            })
        },
        take: |r, v| set(&mut r.centre, words(v).map(centre)),
    },
    Key {
        name: "reach",
        about: "How far the middle picture reaches, in solar radii from the Sun's centre, or \"auto\" to follow the corona.",
        show: |r| auto_or(r.reach),
        take: |r, v| set(&mut r.reach, auto(v, 1.1, 30.0)),
    },
    Key {
        name: "centre_size",
        about: "Diameter of the middle picture's disc, in diameters of the others: 1 for equal discs, more for a large corona\n\
                within a ring.",
        show: |r| decimal(r.centre_size),
        take: |r, v| set(&mut r.centre_size, number(v, 0.5, 10.0)),
    },
    Key {
        name: "background",
        about: "Background as red, green and blue in hexadecimal.",
        show: |r| {
            let [red, green, blue] = r.background;
            quoted(&format!("#{red:02x}{green:02x}{blue:02x}"))
        },
        take: |r, v| set(&mut r.background, colour(v)),
    },
    Key {
        name: "up",
        about: "What is up in every disc: north, zenith (as the eye saw it), or as-shot.",
        show: |r| quoted(r.up.word()),
        take: |r, v| set(&mut r.up, choice::<Up>(v)),
    },
    Key {
        name: "align",
        about: "Which disc stands still and has the common size: sun, or moon (for beads and diamond rings).",
        show: |r| quoted(r.align.word()),
        take: |r, v| set(&mut r.align, choice::<Align>(v)),
    },
    Key {
        name: "tint",
        about: "Colour of the filtered discs: as-shot (the filter's own), neutral, or warm.",
        show: |r| quoted(r.tint.word()),
        take: |r, v| set(&mut r.tint, choice::<Tint>(v)),
    },
    Key {
        name: "matched",
        about: "Bring all filtered discs to one brightness and colour, whatever their exposures and filters (true), or leave each as it\n\
                was photographed (false; tint and brightness then count for nothing).",
        show: |r| r.matched.to_string(),
        take: |r, v| set(&mut r.matched, truth(v)),
    },
    Key {
        name: "brightness",
        about: "Light at the centre of an uncovered disc, 0.05 to 1.",
        show: |r| decimal(r.brightness),
        take: |r, v| set(&mut r.brightness, number(v, 0.05, 1.0)),
    },
    Key {
        name: "captions",
        about: "What is written beside each disc: none, time, obscuration, both, or contact (seconds from the nearest one).",
        show: |r| quoted(r.captions.word()),
        take: |r, v| set(&mut r.captions, choice::<Captions>(v)),
    },
    Key {
        name: "landscape",
        about: "A wide view to lay the path over: the name of a frame, or \"none\".",
        show: |r| none_or(r.landscape.as_deref()),
        take: |r, v| {
            set(
                &mut r.landscape,
                words(v).map(|w| (w != "none").then(|| w.to_owned())),
            )
        },
    },
    Key {
        name: "landscape_az_deg",
        about: "Azimuth at the middle of the wide view, degrees from north through east, or \"auto\" to take it from the Sun\n\
                in the view.",
        show: |r| auto_or(r.landscape_az_deg),
        take: |r, v| set(&mut r.landscape_az_deg, auto(v, -360.0, 360.0)),
    },
    Key {
        name: "landscape_horizon",
        about: "Where the flat horizon lies in the wide view, 0 its top and 1 its bottom, or \"auto\" to take it from the Sun in the\n\
                view.",
        show: |r| auto_or(r.landscape_horizon),
        take: |r, v| set(&mut r.landscape_horizon, auto(v, -3.0, 4.0)),
    },
    Key {
        name: "landscape_width_deg",
        about: "Degrees the wide view spans from side to side, or \"auto\" to take its focal length's.",
        show: |r| auto_or(r.landscape_width_deg),
        take: |r, v| set(&mut r.landscape_width_deg, auto(v, 1.0, 150.0)),
    },
    Key {
        name: "credit",
        about: "Credit line written into the files, or \"none\".",
        show: |r| none_or(r.credit.as_deref()),
        take: |r, v| {
            set(
                &mut r.credit,
                words(v).map(|w| (w != "none").then(|| w.to_owned())),
            )
        },
    },
    Key {
        name: "tell_place",
        about: "Whether the files may tell where the pictures were taken.",
        show: |r| r.tell_place.to_string(),
        take: |r, v| set(&mut r.tell_place, truth(v)),
    },
    Key {
        name: "outputs",
        about: "Files to write: any of \"tif\" (16 bits), \"png\", \"jpg\".",
        show: |r| {
            let all: Vec<String> = r.outputs.iter().map(|o| quoted(o.word())).collect();
            format!("[{}]", all.join(", "))
        },
        take: |r, v| set(&mut r.outputs, outputs(v)),
    },
    Key {
        name: "layers",
        about: "Whether each disc is also written by itself into layers/, on the same canvas, for editors.",
        show: |r| r.layers.to_string(),
        take: |r, v| set(&mut r.layers, truth(v)),
    },
    Key {
        name: "time_lapse",
        about: "Whether a steady time-lapse of the partial phases and of totality is made too, in time-lapse/.",
        show: |r| r.time_lapse.to_string(),
        take: |r, v| set(&mut r.time_lapse, truth(v)),
    },
    Key {
        name: "time_lapse_px",
        about: "Side of its square pictures in pixels.",
        show: |r| r.time_lapse_px.to_string(),
        take: |r, v| set(&mut r.time_lapse_px, whole(v, 64.0, 8_192.0)),
    },
    Key {
        name: "time_lapse_fps",
        about: "Pictures a second in its animated file.",
        show: |r| r.time_lapse_fps.to_string(),
        take: |r, v| set(&mut r.time_lapse_fps, whole(v, 1.0, 60.0)),
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

fn number(value: &DeValue<'_>, least: f64, most: f64) -> Result<f64, String> {
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

fn whole(value: &DeValue<'_>, least: f64, most: f64) -> Result<u32, String> {
    number(value, least, most).map(|n| n.round() as u32)
}

fn auto(value: &DeValue<'_>, least: f64, most: f64) -> Result<Option<f64>, String> {
    match value.as_str() {
        Some("auto") => Ok(None),
        Some(other) => Err(format!("is \"{other}\"; it must be a number or \"auto\"")),
        None => number(value, least, most).map(Some),
    }
}

fn choice<T: Worded>(value: &DeValue<'_>) -> Result<T, String> {
    let found = words(value)?;
    if let Some((choice, _)) = T::WORDS.iter().find(|(_, word)| *word == found) {
        return Ok(*choice);
    }
    let all: Vec<&str> = T::WORDS.iter().map(|(_, word)| *word).collect();
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
