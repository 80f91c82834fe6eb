//! Damaged and invented input for everything that reads files: no panic, no wild values, no endless work.
//!
//! Each target takes its seeds from `fixtures/fuzz/<target>` and from drawings, tries them as they are (so what was once
//! found stays mended), then changed at random for `CONTACTSTRIP_FUZZ_S` seconds (3 when not set), from the random seed
//! `CONTACTSTRIP_FUZZ_SEED`. Input that gives a new kind of answer is changed further. What breaks a target is written to
//! the build folder, named in the failure; put it beside the seeds once mended.

mod mutate;

use std::collections::BTreeSet;
use std::fs;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use contactstrip::card;
use contactstrip::catalogue::Catalogue;
use contactstrip::disc::{self, DiscHint};
use contactstrip::domain::Orientation;
use contactstrip::exif::exposure_limits;
use contactstrip::pipeline::{self, CoronaWish, ExportWish, Unwatched};
use contactstrip::raster;
use contactstrip::strip::Recipe;
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64Mcg;

use crate::exif as headers;
use crate::film as films;
use crate::support::header;

/// Seconds one input may take in a build for tests, on a busy machine.
const PATIENCE: Duration = Duration::from_secs(20);

/// Longest input tried, in bytes.
const LONGEST: usize = 1 << 16;

/// Most inputs kept to be changed further.
const MOST_KEPT: usize = 2000;

/// The seeds stored for a target, in order of their names.
fn stored(target: &str) -> Vec<Vec<u8>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/fuzz")
        .join(target);
    // A target whose seeds are all drawn has no folder.
    let Ok(entries) = fs::read_dir(folder) else {
        return Vec::new();
    };
    let mut paths: Vec<PathBuf> = entries.map(|e| e.unwrap().path()).collect();
    paths.sort();
    paths.iter().map(|path| fs::read(path).unwrap()).collect()
}

fn number(name: &str, or: u64) -> u64 {
    std::env::var(name)
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(or)
}

/// Tries one input; gives the kind of answer, or keeps the input and says where when it broke the target.
fn tried(target: &str, input: &[u8], answer: &dyn Fn(&[u8]) -> String) -> String {
    let begin = Instant::now();
    let outcome = catch_unwind(AssertUnwindSafe(|| answer(input)));
    let slow = begin.elapsed() > PATIENCE;
    match outcome {
        Ok(kind) if !slow => kind,
        outcome => {
            let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("fuzz");
            fs::create_dir_all(&folder).unwrap();
            let name = format!(
                "{target}-{}",
                input
                    .iter()
                    .fold(0_u64, |a, b| a.wrapping_mul(31) + u64::from(*b))
                    % 1_000_000
            );
            let path = folder.join(name);
            fs::write(&path, input).unwrap();
            let what = if outcome.is_ok() {
                "took too long on"
            } else {
                "panicked on"
            };
            panic!("{target} {what} {}", path.display());
        }
    }
}

/// Runs a target over its seeds and what comes of them.
#[allow(clippy::print_stdout)]
fn fuzz(target: &str, drawn: Vec<Vec<u8>>, words: &[&str], answer: &dyn Fn(&[u8]) -> String) {
    let mut pool = stored(target);
    pool.extend(drawn);
    let mut kinds = BTreeSet::new();
    for input in &pool {
        kinds.insert(tried(target, input, answer));
    }
    let mut chance = Pcg64Mcg::seed_from_u64(number("CONTACTSTRIP_FUZZ_SEED", 1));
    let time = Duration::from_secs(number("CONTACTSTRIP_FUZZ_S", 3));
    let begin = Instant::now();
    let mut count = 0_u64;
    while begin.elapsed() < time {
        let base = &pool[chance.random_range(0..pool.len())];
        let other = &pool[chance.random_range(0..pool.len())];
        let mut input = mutate::changed(base, other, words, &mut chance);
        input.truncate(LONGEST);
        let kind = tried(target, &input, answer);
        if kinds.insert(kind) && pool.len() < MOST_KEPT {
            pool.push(input);
        }
        count += 1;
    }
    println!("{target}: {count} inputs, {} kinds of answer", kinds.len());
}

/// A text without its figures and names: what kind of answer it is.
fn kind(text: &str) -> String {
    text.chars()
        .filter(|c| !c.is_ascii_digit())
        .take(200)
        .collect()
}

#[test]
fn headers_of_any_bytes_are_read() {
    let folder = tempfile::tempdir().unwrap();
    let picture = header::jpeg(16, 8);
    let drawn = vec![
        header::with_exif(&picture, &header::block(&headers::everything(), true)),
        header::with_exif(&picture, &header::block(&headers::everything(), false)),
        header::block(&headers::everything(), true),
        headers::canon_raw(),
        headers::fujifilm_raw(),
        headers::minolta_raw(),
        headers::heif(),
        picture,
    ];
    let path = folder.path().join("picture.dng");
    fuzz("header", drawn, &[], &|input| {
        fs::write(&path, input).unwrap();
        let listing = card::read(&[folder.path().to_owned()], &[]).unwrap();
        let Some(file) = listing.files.first() else {
            return "no picture".to_owned();
        };
        let reading = contactstrip::exif::read(file).unwrap();
        assert_eq!(reading, contactstrip::exif::read(file).unwrap());
        let shot = &reading.shot;
        let within = |value: Option<f64>, (least, most): (f64, f64)| {
            assert!(
                value.is_none_or(|v| (least..=most).contains(&v)),
                "{value:?}"
            );
        };
        within(shot.exposure.shutter_s, exposure_limits::SHUTTER_S);
        within(shot.exposure.f_number, exposure_limits::F_NUMBER);
        within(shot.exposure.iso, exposure_limits::ISO);
        within(shot.exposure.focal_mm, exposure_limits::FOCAL_MM);
        within(shot.gps.map(|g| g.lat_deg), (-90.0, 90.0));
        within(shot.gps.map(|g| g.lon_deg), (-180.0, 180.0));
        within(shot.gps.and_then(|g| g.elev_m), (-1e6, 1e9));
        let there = [
            shot.camera.is_some(),
            shot.stamp.is_some(),
            shot.gps.is_some(),
            shot.width_px.is_some(),
        ];
        let told: Vec<String> = reading.notices.iter().map(|n| kind(&n.text())).collect();
        format!("{:?} {there:?} {told:?}", file.format)
    });
}

#[test]
fn films_of_any_bytes_are_read() {
    let folder = tempfile::tempdir().unwrap();
    let words = [
        "moov",
        "mvhd",
        "trak",
        "tkhd",
        "mdia",
        "mdhd",
        "hdlr",
        "vide",
        "minf",
        "stbl",
        "stts",
        "stsd",
        "udta",
        "meta",
        "keys",
        "ilst",
        "data",
        "uuid",
        "mvex",
        "xml ",
        "MDPM",
        "\0\0\0\0",
        "\0\0\0\u{1}",
        "\0\0\u{1}",
        "G",
    ];
    fuzz("film", films::drawn(), &words, &|input| {
        let Some(film) = films::header(folder.path(), input) else {
            return "no film".to_owned();
        };
        assert_eq!(film, contactstrip::film::read(&film.file));
        assert!(film.duration_s.is_none_or(|s| s.is_finite() && s > 0.0));
        assert!(film.frame_rate.is_none_or(|r| r.is_finite() && r > 0.0));
        assert!(film.camera.iter().all(|c| c.model.chars().count() <= 128));
        let there = [
            film.camera.is_some(),
            film.stamp.is_some(),
            film.created.is_some(),
            film.duration_s.is_some(),
            film.frame_rate.is_some(),
            film.width_px.is_some(),
            film.codec.is_some(),
        ];
        let lacks: Vec<String> = film.lacks.iter().map(|l| kind(&l.to_string())).collect();
        format!("{:?} {there:?} {lacks:?}", film.file.container)
    });
}

#[test]
fn pictures_of_any_bytes_are_decoded_or_refused() {
    let turned = Orientation::from_exif(6).unwrap();
    fuzz(
        "decode",
        Vec::new(),
        &[],
        &|input| match raster::decode_bytes(input, turned) {
            Ok(frame) => {
                let values = frame.width() * frame.height() * frame.channels();
                assert!(values > 0);
                if values < 1 << 20 {
                    let report = disc::examine(&frame, &DiscHint::default());
                    assert!((0.0..=1.0).contains(&report.quality));
                    assert!(report.look.mean.is_finite() && report.look.sky.is_finite());
                    let found = report.fit.map(|fit| fit.limb);
                    return kind(&format!("{found:?} {} {}", report.flags, frame.channels()));
                }
                "large".to_owned()
            }
            Err(error) => kind(&error.to_string()),
        },
    );
}

#[test]
fn recipes_of_any_text_are_taken_or_refused() {
    let out = tempfile::tempdir().unwrap();
    fs::write(out.path().join("catalogue.json"), &stored("catalogue")[0]).unwrap();
    let record = Catalogue::load(out.path()).unwrap();
    let (proposed, _) = Recipe::propose(&record);
    let drawn = vec![proposed.to_toml(&record).into_bytes()];
    let words = [
        "layout",
        "grid",
        "ring",
        "path",
        "width_px",
        "paper",
        "\"12x18 in\"",
        "disc_px",
        "spacing",
        "nan",
        "inf",
        "-1",
        "1e308",
        "9223372036854775807",
        "18446744073709551616",
        "\"\"",
        "[]",
        "{}",
        "true",
        "[[",
        "]]",
        "'''",
        "\"\"\"",
        "\\u0000",
        "#",
        "before",
        "after",
        "centre",
        "extent_radii",
        "background",
        "\"#ffffff\"",
        "outputs",
        "[\"tiff\"]",
        "1979-05-27T07:32:00Z",
        ".",
        "=",
        "\n",
    ];
    fuzz("recipe", drawn, &words, &|input| {
        let text = String::from_utf8_lossy(input);
        match Recipe::parse(&text, &record) {
            Ok(recipe) => {
                let written = recipe.to_toml(&record);
                let again = Recipe::parse(&written, &record);
                assert_eq!(again.as_ref(), Ok(&recipe), "{written}");
                "taken".to_owned()
            }
            Err(error) => kind(&error.to_string()),
        }
    });
}

#[test]
fn records_of_any_text_are_worked_from_or_refused() {
    let folder = tempfile::tempdir().unwrap();
    let out = folder.path();
    let words = [
        "null",
        "0",
        "-1",
        "1e308",
        "1e-308",
        "-0.0",
        "9223372036854775807",
        "\"\"",
        "[]",
        "{}",
        "true",
        "\"totality\"",
        "\"unrelated\"",
        "\"wide\"",
        "\"tele\"",
        "\"9999-12-31T23:59:59Z\"",
        "\"-009999-01-02T01:59:59Z\"",
        "\"0000-01-01T00:00:00\"",
        "\"../../x\"",
        "\"/\"",
        "\"percent-coded:%FF%0\"",
        "\"\\u0000\"",
        "4294967295",
        "0.5",
    ];
    fuzz("catalogue", Vec::new(), &words, &|input| {
        fs::write(out.join("catalogue.json"), input).unwrap();
        let real = pipeline::Target {
            out: out.to_owned(),
            ..pipeline::Target::default()
        };
        let dry = pipeline::Target {
            dry_run: true,
            ..real.clone()
        };
        let record = match Catalogue::load(out) {
            Ok(record) => record,
            Err(error) => return kind(&error.to_string().replace(&*out.to_string_lossy(), "")),
        };
        let mut answers = String::new();
        let mut note = |outcome: Result<pipeline::Made, pipeline::PipelineError>| match outcome {
            Ok(made) => answers.push_str(&format!("{} ", made.notices.len())),
            Err(error) => answers.push_str(&kind(&error.to_string())),
        };
        note(pipeline::clock(&real, &Unwatched));
        note(pipeline::report(&real, &Unwatched));
        note(pipeline::export(
            &dry,
            &ExportWish {
                link: false,
                xmp: true,
            },
            &Unwatched,
        ));
        note(pipeline::merge(&dry, &CoronaWish::default(), &Unwatched));
        note(pipeline::strip(
            &dry,
            &pipeline::StripWish::default(),
            &Unwatched,
        ));
        let mut file = fs::File::create(out.join("catalogue.json")).unwrap();
        record.write_json(&mut file).unwrap();
        assert_eq!(Catalogue::load(out).unwrap(), record);
        answers
    });
}
