//! The record's layout: its published schema, and records of earlier layouts.

use std::fs;
use std::path::{Path, PathBuf};

use contactstrip::catalogue::{
    CATALOGUE_FILE, CameraRecord, Catalogue, ShotRecord, VERSION, schema,
};
use contactstrip::demo::{DemoOptions, draw_card};
use contactstrip::domain::{CardFile, FileFormat, NoDisc, Notice};
use contactstrip::pipeline::{self, Settings, Target, Unwatched, sort};
use serde_json::{Map, Value, json};

fn stored_schema() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("fixtures/schema/catalogue-{VERSION}.json"))
}

/// `REGENERATE=1` writes it anew; a change of the layout that older programs cannot read wants a new [`VERSION`].
#[test]
fn the_schema_in_the_repository_is_that_of_the_types() {
    let text = serde_json::to_string_pretty(&schema()).unwrap() + "\n";
    let path = stored_schema();
    if std::env::var_os("REGENERATE").is_some() {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, &text).unwrap();
    }
    assert_eq!(fs::read_to_string(path).unwrap_or_default(), text);
}

/// A small card that was drawn and sorted, and its record as JSON.
fn sorted() -> (tempfile::TempDir, Value) {
    sorted_with(|_| ())
}

/// The same, with something done to the card before.
fn sorted_with(change: impl Fn(&Path)) -> (tempfile::TempDir, Value) {
    let folder = tempfile::tempdir().unwrap();
    let options = DemoOptions {
        width_px: 300,
        ..DemoOptions::default()
    };
    let truth = draw_card(folder.path(), &options, &|_, _| ()).unwrap();
    for (n, frame) in truth.frames.iter().enumerate() {
        if n % 4 != 0 {
            fs::remove_file(folder.path().join("card").join(&frame.file)).unwrap();
        }
    }
    change(&folder.path().join("card"));
    let settings = Settings {
        cards: vec![folder.path().join("card")],
        out: folder.path().join("out"),
        ..Settings::default()
    };
    sort(&settings, &Unwatched).unwrap();
    let text = fs::read(folder.path().join("out").join(CATALOGUE_FILE)).unwrap();
    (folder, serde_json::from_slice(&text).unwrap())
}

/// One card with all sorts of trouble for every test that only reads it: drawing and sorting it takes seconds.
fn troubled() -> &'static (Catalogue, Value) {
    static CARD: std::sync::OnceLock<(Catalogue, Value)> = std::sync::OnceLock::new();
    CARD.get_or_init(|| {
        let (folder, record) = sorted_with(trouble);
        let loaded = Catalogue::load(&folder.path().join("out")).unwrap();
        (loaded, record)
    })
}

/// Every value of a record has a place in the schema that allows it: kinds, required fields, no field the schema does not name,
/// words of the lists it gives. There are kinds and numbers, for programs in any language; the words are made where they are shown.
#[test]
fn a_record_keeps_to_the_schema_and_holds_no_sentences() {
    let (_, record) = troubled();
    let schema: Value = serde_json::from_slice(&fs::read(stored_schema()).unwrap()).unwrap();
    assert_eq!(
        faults(&schema, &schema, record, "record"),
        Vec::<String>::new()
    );
    let spoilt = |change: fn(&mut Value)| {
        let mut other = record.clone();
        change(&mut other);
        !faults(&schema, &schema, &other, "record").is_empty()
    };
    assert!(spoilt(|r| r["version"] = json!("two")));
    assert!(spoilt(|r| r["shots"][0]["phase"] = json!("lunch")));
    assert!(spoilt(
        |r| r["cards"][0]["files"][0]["size_bytes"] = json!(null)
    ));
    assert!(spoilt(|r| {
        r["shots"][0].as_object_mut().unwrap().remove("shot");
    }));

    let mut found = Vec::new();
    sentences("", record, &mut found);
    assert_eq!(found, Vec::<String>::new());
    for (list, fewest) in [("notices", 6), ("strays", 1), ("cameras", 1)] {
        assert!(record[list].as_array().unwrap().len() >= fewest, "{list}");
    }
}

/// Keys whose strings come from outside: names of files, folders and bodies, and what libraries say of a damaged file.
const OUTSIDE: [&str; 15] = [
    "name",
    "file",
    "files",
    "path",
    "below",
    "from_out",
    "first",
    "second",
    "camera",
    "make",
    "model",
    "label",
    "camera_label",
    "sibling",
    "same_as",
];

/// Strings of more than two words, with the key they stand under, but for those from outside.
fn sentences(key: &str, value: &Value, found: &mut Vec<String>) {
    match value {
        Value::String(text) => {
            let outside = OUTSIDE.contains(&key) || key == "library";
            if !outside && text.split_whitespace().count() > 2 {
                found.push(format!("{key}: {text}"));
            }
        }
        Value::Array(values) => values.iter().for_each(|v| sentences(key, v, found)),
        Value::Object(fields) => {
            if fields.get("kind") == Some(&json!("words")) {
                found.push(format!("{key}: {value}"));
            }
            fields.iter().for_each(|(key, v)| sentences(key, v, found));
        }
        _ => {}
    }
}

/// A card with all sorts of trouble on it.
fn trouble(card: &Path) {
    let picture = fs::read(first_jpeg(card)).unwrap();
    fs::write(card.join("empty.jpg"), b"").unwrap();
    fs::write(card.join("named.jpg"), b"no picture at all").unwrap();
    fs::write(card.join("cut.jpg"), &picture[..picture.len() / 2]).unwrap();
    fs::write(card.join("head.jpg"), &picture[..300]).unwrap();
    fs::write(card.join("copy.jpg"), &picture).unwrap();
    fs::write(card.join("notes.txt"), "where we stood").unwrap();
    fs::write(card.join("raw.crw"), b"II\x1A\0\0\0HEAPCCDR").unwrap();
    fs::write(card.join("damaged.dng"), b"II*\0\x08\0\0\0\xFF\xFF").unwrap();
}

/// The first picture below a folder, by name.
fn first_jpeg(folder: &Path) -> PathBuf {
    let listing = contactstrip::card::read(&[folder.to_owned()], &[]).unwrap();
    let jpeg = |f: &&CardFile| f.format == FileFormat::Jpeg;
    listing.files.iter().find(jpeg).unwrap().path.clone()
}

/// What a value has against a schema: the part of JSON Schema that ours uses, written out plainly.
fn faults(root: &Value, schema: &Value, value: &Value, at: &str) -> Vec<String> {
    if let Some(to) = schema.get("$ref").and_then(Value::as_str) {
        let target = root.pointer(to.trim_start_matches('#')).unwrap();
        return faults(root, target, value, at);
    }
    for word in ["anyOf", "oneOf"] {
        if let Some(ways) = schema.get(word).and_then(Value::as_array) {
            let fits = ways
                .iter()
                .any(|way| faults(root, way, value, at).is_empty());
            return if fits {
                Vec::new()
            } else {
                vec![format!("{at}: fits no way")]
            };
        }
    }
    let mut found = Vec::new();
    if let Some(words) = schema.get("enum").and_then(Value::as_array)
        && !words.contains(value)
    {
        found.push(format!("{at}: {value} is not among {words:?}"));
    }
    if schema.get("const").is_some_and(|only| only != value) {
        found.push(format!("{at}: {value} is another word"));
    }
    if let Some(kind) = schema.get("type")
        && !is_of(kind, value)
    {
        found.push(format!("{at}: {value} is no {kind}"));
    }
    if let Value::Object(fields) = value {
        let known = schema.get("properties").and_then(Value::as_object);
        for name in schema
            .get("required")
            .and_then(Value::as_array)
            .into_iter()
            .flatten()
        {
            if !fields.contains_key(name.as_str().unwrap()) {
                found.push(format!("{at}: no {name}"));
            }
        }
        for (name, field) in fields {
            let at = format!("{at}.{name}");
            match known.and_then(|known| known.get(name)) {
                Some(schema) => found.extend(faults(root, schema, field, &at)),
                None => found.push(format!("{at}: not in the schema")),
            }
        }
    }
    if let (Value::Array(values), Some(schema)) = (value, schema.get("items")) {
        for (n, value) in values.iter().enumerate() {
            found.extend(faults(root, schema, value, &format!("{at}[{n}]")));
        }
    }
    found
}

fn is_of(kind: &Value, value: &Value) -> bool {
    match kind {
        Value::Array(kinds) => kinds.iter().any(|kind| is_of(kind, value)),
        kind => match kind.as_str().unwrap() {
            "null" => value.is_null(),
            "boolean" => value.is_boolean(),
            "integer" => value.is_i64() || value.is_u64(),
            "number" => value.is_number(),
            "string" => value.is_string(),
            "array" => value.is_array(),
            "object" => value.is_object(),
            other => panic!("unknown kind {other}"),
        },
    }
}

/// A missing disc as the programs that wrote layout 2 worded it.
fn sentence_of_layout_2(why: NoDisc) -> String {
    match why {
        NoDisc::Dark { peak } => {
            format!("nothing but dark (brightest part {peak:.4} of saturation)")
        }
        NoDisc::Cluttered { percent } => format!(
            "the round edge found is one of many: {percent:.0} % of the edges around lie on it"
        ),
        NoDisc::NotTheSun => "the round edge found has no dark sky around it".to_owned(),
        NoDisc::NoEdge => "the round shape found fades out: a glow, not a disc".to_owned(),
        NoDisc::Astray { percent } => {
            format!("the flattened disc found is {percent:.0} % off this lens's Sun in radius")
        }
        NoDisc::NoLimb => "no round limb stands out".to_owned(),
        NoDisc::Several { shapes } => format!("{shapes} bright shapes of like size, not one disc"),
        NoDisc::Untold => "no disc was fitted".to_owned(),
    }
}

/// The record as layout 2 had it: with sentences.
fn as_layout_2(mut record: Value, today: &Catalogue) -> Value {
    fn each<'a>(
        record: &'a mut Value,
        list: &str,
    ) -> impl Iterator<Item = &'a mut Map<String, Value>> {
        let all = record[list].as_array_mut().unwrap().iter_mut();
        all.map(|one| one.as_object_mut().unwrap())
    }
    record["version"] = json!(2);
    for (notice, own) in each(&mut record, "notices").zip(&today.notices) {
        notice.remove("what");
        notice.insert("text".to_owned(), json!(own.text()));
    }
    for (stray, own) in each(&mut record, "strays").zip(&today.strays) {
        stray.insert("reason".to_owned(), json!(own.reason.to_string()));
    }
    for (camera, own) in each(&mut record, "cameras").zip(&today.cameras) {
        camera.remove("clock_outcome");
        camera.insert("clock_summary".to_owned(), json!(own.clock_words()));
    }
    for (shot, own) in each(&mut record, "shots").zip(&today.shots) {
        let why = own.no_disc.map(sentence_of_layout_2);
        shot.insert("no_disc".to_owned(), json!(why));
    }
    record
}

/// What a record of sentences still says: the shots, with numbers of missing discs rounded as the sentences had them, and every
/// line that is shown.
fn said(record: &Catalogue) -> (Vec<ShotRecord>, Vec<String>) {
    let mut shots = record.shots.clone();
    let mut lines: Vec<String> = record.notices.iter().map(Notice::to_string).collect();
    lines.extend(
        record
            .strays
            .iter()
            .map(|s| format!("{}: {}", s.name, s.reason)),
    );
    lines.extend(record.cameras.iter().map(CameraRecord::clock_words));
    for shot in &mut shots {
        lines.extend(shot.no_disc.take().map(|why| why.to_string()));
    }
    (shots, lines)
}

#[test]
fn a_record_of_layout_2_opens_and_says_what_it_said() {
    let (today, record) = troubled();
    let old = as_layout_2(record.clone(), today);
    let out = tempfile::tempdir().unwrap();
    fs::write(out.path().join(CATALOGUE_FILE), old.to_string()).unwrap();
    let opened = Catalogue::load(out.path()).unwrap();
    assert_eq!(opened.version, VERSION);
    assert_eq!(said(&opened), said(today));
    let kept = opened.shots.iter().filter_map(|s| s.no_disc);
    assert!(!kept.into_iter().any(|why| why == NoDisc::Untold));
}

/// The record as program 0.1 wrote it: sentences, cards by their paths, absolute paths of shots.
fn as_layout_1(mut record: Value, card: &Path) -> Value {
    record["version"] = json!(1);
    let files = record["cards"][0]["files"].take();
    record["cards"] = json!([card]);
    for shot in record["shots"].as_array_mut().unwrap() {
        let name = shot["shot"]["file"]["name"].as_str().unwrap();
        let file = files.as_array().unwrap().iter().find(|f| f["name"] == name);
        let path = card.join(file.unwrap()["below"].as_str().unwrap());
        shot["shot"]["file"]["path"] = json!(path);
    }
    record
}

/// A record that program 0.1 wrote (`fixtures/fuzz/catalogue`, thinned out) opens and is worked from.
#[test]
fn a_record_of_program_0_1_opens() {
    let folder = tempfile::tempdir().unwrap();
    let text = include_bytes!("../fixtures/fuzz/catalogue/demo.json");
    fs::write(folder.path().join(CATALOGUE_FILE), text).unwrap();
    let record = Catalogue::load(folder.path()).unwrap();
    assert_eq!(record.version, VERSION);
    assert_eq!(record.cards[0].path, Path::new("/card"));
    let shot = record.shot("DCIM/100LONGB/IMG_9953.JPG").unwrap();
    let path = Path::new("/card/DCIM/100LONGB/IMG_9953.JPG");
    assert_eq!(shot.shot.file.path, path);
    let target = Target {
        out: folder.path().to_owned(),
        ..Target::default()
    };
    let told = pipeline::clock(&target, &Unwatched).unwrap().text;
    assert!(told.contains("38.8 s fast"), "{told}");
}

#[test]
fn a_record_of_layout_1_opens_and_one_of_the_future_says_what_to_do() {
    let (folder, record) = sorted();
    let (card, out) = (folder.path().join("card"), folder.path().join("out"));
    let today = Catalogue::load(&out).unwrap();
    let put = |record: &Value| {
        fs::write(out.join(CATALOGUE_FILE), record.to_string()).unwrap();
        Catalogue::load(&out)
    };
    let layout_2 = as_layout_2(record.clone(), &today);
    let older = put(&as_layout_1(layout_2, &card)).unwrap();
    assert_eq!(older.version, VERSION);
    assert_eq!(
        said(&older),
        said(&today),
        "paths of the shots are the same"
    );
    // Layout 1 knew of no films.
    let files = older.cards[0].files.len() + today.films.len();
    assert_eq!(files, today.cards[0].files.len());
    let mut future = record;
    future["version"] = json!(VERSION + 1);
    let error = put(&future).unwrap_err().to_string();
    assert!(
        error.contains("newer contactstrip") && error.contains("move it away"),
        "{error}"
    );
}
