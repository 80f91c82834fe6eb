//! Records of earlier layouts, brought to today's.

use std::path::Path;

use serde_json::{Map, Value, json};

/// Brings a record of layout `version` to the next; `None` for one this program does not know.
pub(super) fn next(version: u32, mut record: Value) -> Option<Value> {
    let fields = record.as_object_mut()?;
    match version {
        1 => from_1(fields),
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
