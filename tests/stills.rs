//! Stills from films, where ffmpeg is on the path.

use std::fs;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use contactstrip::card;
use contactstrip::catalogue::{CATALOGUE_FILE, Catalogue, FileRecord, FilmRecord};
use contactstrip::domain::{FilmTime, Phase, Utc};
use contactstrip::pipeline::{self, FILM_STILLS, Target, Unwatched};
use contactstrip::{exif, film, raster};
use tempfile::TempDir;

const RATE: f64 = 10.0;
const SIZE: (usize, usize) = (32, 24);

/// Brightness of the n-th picture: no two near one another have the same.
fn grey(n: usize) -> u8 {
    (20 + n * 7 % 200) as u8
}

/// A film of plain grey pictures that tell their number, without loss; `None` where ffmpeg is missing.
fn draw(path: &Path, pictures: usize) -> Option<()> {
    let mut child = Command::new("ffmpeg")
        .args(["-v", "error", "-y", "-f", "rawvideo", "-pix_fmt", "gray"])
        .args([
            "-s", "32x24", "-r", "10", "-i", "-", "-c:v", "png", "-g", "10",
        ])
        .arg(path)
        .stdin(Stdio::piped())
        .spawn()
        .ok()?;
    let mut pipe = child.stdin.take().unwrap();
    for n in 0..pictures {
        pipe.write_all(&vec![grey(n); SIZE.0 * SIZE.1]).unwrap();
    }
    drop(pipe);
    assert!(child.wait().unwrap().success());
    Some(())
}

/// A record with one film that begins five seconds before second contact and lasts half a minute, and that contact.
fn recorded(folder: &Path, film_path: Option<&Path>) -> (PathBuf, Utc) {
    let out = folder.join("out");
    fs::create_dir_all(&out).unwrap();
    let text = include_bytes!("../fixtures/fuzz/catalogue/demo.json");
    fs::write(out.join(CATALOGUE_FILE), text).unwrap();
    let mut record = Catalogue::load(&out).unwrap();
    let c2 = record.contacts.as_ref().unwrap().c2.unwrap().utc;
    record.cards[0].path = folder.join("card");
    let listing = card::read(&[folder.join("card")], &[]).unwrap();
    let mut film = film::read(&listing.films[0]);
    if film_path.is_none() {
        (film.duration_s, film.frame_rate) = (Some(30.0), Some(RATE));
    }
    record.cards[0].files.push(FileRecord {
        name: film.file.name.clone(),
        below: film.file.name.clone().into(),
        size_bytes: film.file.size_bytes,
        content_id: None,
        same_as: None,
    });
    record.films.push(FilmRecord {
        film,
        camera_label: String::new(),
        clock_of: None,
        role: None,
        time_from: FilmTime::TagWithZone,
        settled_by: None,
        utc: Some(c2.plus_s(-5.0)),
        utc_sigma_s: Some(0.0),
        phase: Phase::SecondContact,
        phases: vec![Phase::SecondContact, Phase::Totality],
        near_contact: None,
    });
    let mut file = fs::File::create(out.join(CATALOGUE_FILE)).unwrap();
    record.write_json(&mut file).unwrap();
    (out, c2)
}

fn place() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("card")).unwrap();
    folder
}

/// Every still is the very picture its time says, and a camera of its own names it.
#[test]
#[allow(clippy::print_stdout)]
fn stills_are_the_pictures_their_times_say() {
    let folder = place();
    let path = folder.path().join("card/MVI_0001.MOV");
    if draw(&path, 300).is_none() {
        println!("skipped: no ffmpeg on the path");
        return;
    }
    let (out, c2) = recorded(folder.path(), Some(&path));
    let before = fs::read(&path).unwrap();
    let target = Target {
        out: out.clone(),
        ..Target::default()
    };
    let made = pipeline::film(&target, &Unwatched).unwrap();
    // Beads each tenth of a second from the film's beginning to three seconds past second contact; totality each ten seconds.
    assert!(
        made.text.starts_with("83 stills from 1 films"),
        "{}",
        made.text
    );
    let listing = card::read(&[out.join(FILM_STILLS)], &[]).unwrap();
    assert_eq!(listing.files.len(), 83);
    for (n, file) in listing.files.iter().enumerate() {
        let shot = exif::read(file).unwrap().shot;
        assert_eq!(shot.camera.unwrap().model, "MVI-0001-MOV film");
        let stamp = shot.stamp.unwrap();
        assert_eq!(stamp.offset_s, Some(0));
        let since_s = stamp.time.read_as_utc().seconds_since(c2);
        let due_s = match n {
            0..81 => -5.0 + n as f64 / RATE,
            _ => 10.0 * (n - 80) as f64,
        };
        assert!(
            (since_s - due_s).abs() < 0.002,
            "{n}: {since_s} for {due_s}"
        );
        let picture = ((since_s + 5.0) * RATE).round() as usize;
        let bytes = fs::read(&file.path).unwrap();
        let frame = raster::decode_bytes(&bytes, shot.orientation).unwrap();
        let light = frame.rgb(16, 12)[1];
        let value = raster::linear_to_srgb(light) * 255.0;
        assert!(
            (value - f32::from(grey(picture))).abs() < 2.0,
            "{n}: {value} for {}",
            grey(picture)
        );
    }
    assert_eq!(fs::read(&path).unwrap(), before, "the film is only read");
    // Once more: the same bytes, nothing set aside.
    let first = fs::read(&listing.files[40].path).unwrap();
    pipeline::film(&target, &Unwatched).unwrap();
    assert_eq!(fs::read(&listing.files[40].path).unwrap(), first);
    let again = card::read(&[out.join(FILM_STILLS)], &[]).unwrap();
    assert_eq!(again.files.len(), 83);
    // A film that breaks off is told, and no still of it is lost.
    fs::write(&path, &before[..before.len() / 2]).unwrap();
    let made = pipeline::film(&target, &Unwatched).unwrap();
    assert!(
        made.notices
            .iter()
            .any(|n| n.text().starts_with("no still at"))
    );
    let left = card::read(&[out.join(FILM_STILLS)], &[]).unwrap();
    assert_eq!(left.files.len(), 83);
}

/// Without ffmpeg the program says what to install, and that it could not run.
#[test]
fn without_ffmpeg_it_says_what_to_install() {
    let folder = place();
    let stored = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/films/plain.mov");
    fs::copy(stored, folder.path().join("card/MVI_0001.MOV")).unwrap();
    let (out, _) = recorded(folder.path(), None);
    let Output { status, stderr, .. } = Command::new(env!("CARGO_BIN_EXE_contactstrip"))
        .arg("film")
        .arg(&out)
        .env("PATH", folder.path())
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&stderr);
    assert_eq!(status.code(), Some(2), "{told}");
    assert!(told.contains("apt install ffmpeg"), "{told}");
    assert!(!out.join(FILM_STILLS).exists());
}

/// A record without films says so and makes nothing.
#[test]
fn a_card_without_films_is_told() {
    let folder = place();
    let out = folder.path().join("out");
    fs::create_dir(&out).unwrap();
    let text = include_bytes!("../fixtures/fuzz/catalogue/demo.json");
    fs::write(out.join(CATALOGUE_FILE), text).unwrap();
    let target = Target {
        out: out.clone(),
        ..Target::default()
    };
    let made = pipeline::film(&target, &Unwatched).unwrap();
    assert!(made.notices.iter().any(|n| n.text().contains("no film")));
    assert!(made.files.is_empty() && !out.join(FILM_STILLS).exists());
}
