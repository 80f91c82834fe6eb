//! Records of earlier layouts, brought to today's.

use std::path::Path;

use serde_json::{Map, Value, json};

/// Brings a record of layout `version` to the next; `None` for one this program does not know.
pub(super) fn next(version: u32, mut record: Value) -> Option<Value> {
    let fields = record.as_object_mut()?;
    match version {
        1 => from_1(fields),
        2 => from_2(fields),
        _ => return None,
    }
    fields.insert("version".to_owned(), json!(version + 1));
    Some(record)
}

/// Layout 1 (program 0.1) named cards by their paths alone and gave each shot's absolute path. From layout 2 on a card lists its
/// files by their place below it.
fn from_1(fields: &mut Map<String, Value>) {
    let roots: Vec<String> = fields
        .get("cards")
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
        .filter_map(|card| card.as_str().map(str::to_owned))
        .collect();
    let mut files: Vec<Vec<Value>> = vec![Vec::new(); roots.len()];
    let shots = fields.get_mut("shots").and_then(Value::as_array_mut);
    for shot in shots.into_iter().flatten() {
        let sibling = shot
            .get("sibling")
            .and_then(Value::as_str)
            .map(str::to_owned);
        let Some(file) = shot
            .pointer_mut("/shot/file")
            .and_then(Value::as_object_mut)
        else {
            continue;
        };
        let Some(Value::String(path)) = file.remove("path") else {
            continue;
        };
        let size_bytes = file.get("size_bytes").cloned().unwrap_or(json!(0));
        let below = |root: &String| Path::new(&path).strip_prefix(root).ok();
        let Some((card, below)) = roots
            .iter()
            .enumerate()
            .find_map(|(n, root)| Some((n, below(root)?)))
        else {
            continue;
        };
        let entry = |name: &str, below: &Path, size_bytes: &Value| {
            json!({
                "name": name,
                "below": below.to_string_lossy(),
                "size_bytes": size_bytes,
                "content_id": null,
                "same_as": null,
            })
        };
        let name = file.get("name").and_then(Value::as_str).unwrap_or_default();
        files[card].push(entry(name, below, &size_bytes));
        if let Some(sibling) = sibling {
            let own = sibling.rsplit('/').next().unwrap_or(&sibling);
            files[card].push(entry(&sibling, &below.with_file_name(own), &json!(0)));
        }
    }
    let cards = roots
        .into_iter()
        .zip(files)
        .map(|(path, files)| json!({ "path": path, "from_out": null, "files": files }));
    fields.insert("cards".to_owned(), Value::Array(cards.collect()));
}

/// What pictures that name no camera were called.
const UNNAMED: &str = "shots of no named camera";

/// Layout 2 told in sentences what layout 3 tells in kinds and numbers. Sentences stay as words, but for those on missing discs,
/// of which there were few.
fn from_2(fields: &mut Map<String, Value>) {
    let words = |text: Option<Value>| json!({ "kind": "words", "text": text.unwrap_or(json!("")) });
    for notice in list(fields, "notices") {
        let text = notice.remove("text");
        notice.insert("what".to_owned(), words(text));
    }
    for stray in list(fields, "strays") {
        let reason = stray.remove("reason");
        stray.insert("reason".to_owned(), words(reason));
    }
    for camera in list(fields, "cameras") {
        let summary = camera.remove("clock_summary");
        camera.insert("clock_outcome".to_owned(), words(summary));
        let evidence = camera
            .get_mut("clock")
            .and_then(|clock| clock.get_mut("evidence"))
            .and_then(Value::as_array_mut);
        for other in evidence.into_iter().flatten() {
            if let Some(body) = other.pointer_mut("/other-body/camera")
                && body == UNNAMED
            {
                *body = Value::Null;
            }
        }
    }
    for shot in list(fields, "shots") {
        if let Some(Value::String(sentence)) = shot.get("no_disc") {
            let why = no_disc(sentence);
            shot.insert("no_disc".to_owned(), why);
        }
    }
}

fn list<'a>(
    fields: &'a mut Map<String, Value>,
    name: &str,
) -> impl Iterator<Item = &'a mut Map<String, Value>> {
    let all = fields.get_mut(name).and_then(Value::as_array_mut);
    all.into_iter().flatten().filter_map(Value::as_object_mut)
}

/// The kind of a sentence of layouts 1 and 2 on a missing disc.
fn no_disc(sentence: &str) -> Value {
    const SENTENCES: [(&str, &str, Option<&str>); 7] = [
        ("nothing but dark", "dark", Some("peak")),
        ("no round limb", "no-limb", None),
        (
            "the round edge found is one of many",
            "cluttered",
            Some("percent"),
        ),
        ("the round edge found has no dark", "not-the-sun", None),
        ("the round shape found fades out", "no-edge", None),
        ("the flattened disc found", "astray", Some("percent")),
        ("", "several", Some("shapes")),
    ];
    let number = sentence
        .split(|c: char| !c.is_ascii_digit() && c != '.')
        .find_map(|part| part.parse::<f64>().ok());
    let fits = |begin: &str, kind: &str| {
        sentence.starts_with(begin) && (kind != "several" || sentence.contains("bright shapes"))
    };
    let found = SENTENCES.iter().find(|(begin, kind, _)| fits(begin, kind));
    match (found, number) {
        (Some((_, kind, None)), _) => json!({ "kind": kind }),
        (Some((_, "several", Some(name))), Some(shapes)) => {
            json!({ "kind": "several", *name: shapes.max(0.0) as u64 })
        }
        (Some((_, kind, Some(name))), Some(number)) => json!({ "kind": kind, *name: number }),
        _ => json!({ "kind": "untold" }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::NoDisc;

    #[test]
    fn sentences_on_missing_discs_become_kinds_again() {
        // As the programs that wrote those layouts worded them.
        let all = [
            (
                "nothing but dark (brightest part 0.0123 of saturation)",
                NoDisc::Dark { peak: 0.0123 },
            ),
            ("no round limb stands out", NoDisc::NoLimb),
            (
                "the round edge found is one of many: 13 % of the edges around lie on it",
                NoDisc::Cluttered { percent: 13.0 },
            ),
            (
                "the round edge found has no dark sky around it",
                NoDisc::NotTheSun,
            ),
            (
                "the round shape found fades out: a glow, not a disc",
                NoDisc::NoEdge,
            ),
            (
                "the flattened disc found is 7 % off this lens's Sun in radius",
                NoDisc::Astray { percent: 7.0 },
            ),
            (
                "3 bright shapes of like size, not one disc",
                NoDisc::Several { shapes: 3 },
            ),
        ];
        for (sentence, why) in all {
            let back: NoDisc = serde_json::from_value(no_disc(sentence)).unwrap();
            assert_eq!(back, why);
        }
        assert_eq!(no_disc("22\u{b0} of limb"), json!({ "kind": "untold" }));
    }
}
