//! Films: their headers held against another reader, their times on cards, their folders, and the fuzz target's answer.

use std::fs;
use std::path::{Path, PathBuf};

use contactstrip::card;
use contactstrip::catalogue::{Catalogue, FILM_COLUMNS, FilmRecord};
use contactstrip::demo::{DemoOptions, DemoTruth, draw_card};
use contactstrip::domain::{
    Contacts, Film, FilmEvidence, FilmLack, FilmTime, NoticeKind, Phase, Role, Utc,
};
use contactstrip::film;
use contactstrip::phase::{self, PhaseWindows};
use contactstrip::pipeline::{self, ExportWish, Settings, Target, Unwatched, sort};
use tempfile::TempDir;

fn stored() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/films")
}

/// The header of a film with these bytes.
pub(crate) fn header(folder: &Path, bytes: &[u8]) -> Option<Film> {
    fs::write(folder.join("film.mov"), bytes).unwrap();
    let listing = card::read(&[folder.to_owned()], &[]).unwrap();
    listing.films.first().map(film::read)
}

fn of(name: &str) -> Film {
    let folder = tempfile::tempdir().unwrap();
    header(folder.path(), &fs::read(stored().join(name)).unwrap()).unwrap()
}

/// Sizes, rates, lengths and creation times are those ffprobe gives (fixtures/scripts/make_films.py): to the pixel, to 0.001 pictures
/// a second, to a millisecond (a creation time to the second).
#[test]
fn headers_agree_with_another_reader() {
    let text = fs::read_to_string(stored().join("values.csv")).unwrap();
    let mut table = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_reader(text.as_bytes());
    let mut compared = 0;
    for row in table.records() {
        let row = row.unwrap();
        let film = of(&row[0]);
        if film.lacks.contains(&FilmLack::Container) {
            assert!(row[0].starts_with("old."), "{row:?}");
            continue;
        }
        let same = |found: Option<f64>, said: &str, within: f64| {
            let said: f64 = said.parse().unwrap();
            assert!(
                found.is_some_and(|v| (v - said).abs() <= within),
                "{row:?} {found:?}"
            );
        };
        same(film.width_px.map(f64::from), &row[1], 0.0);
        same(film.height_px.map(f64::from), &row[2], 0.0);
        if film.lacks.contains(&FilmLack::Fragments) {
            assert_eq!((film.duration_s, film.frame_rate), (None, None));
        } else {
            same(film.frame_rate, &row[3], 1e-3);
            same(film.duration_s, &row[4], 1e-3);
        }
        let created = film.created.map(|time| time.to_string());
        let said = row[5].get(..19).map(str::to_owned);
        assert_eq!(created, said, "{row:?}");
        compared += 1;
    }
    assert_eq!(compared, 9);
}

#[test]
fn cameras_and_their_own_times_are_read() {
    let named = of("named.mov");
    let id = named.camera.unwrap();
    assert_eq!((id.make.as_str(), id.model.as_str()), ("Demo", "Wide 24"));
    assert_eq!(named.stamp, None);
    let keys = of("keys.mov");
    assert_eq!(keys.camera.unwrap().model, "Phone 3");
    let stamp = keys.stamp.unwrap();
    assert_eq!(stamp.time.to_string(), "2024-04-08T13:40:05");
    assert_eq!(stamp.offset_s, Some(-5 * 3600));
    assert!(of("android.mp4").by_android && !of("plain.mov").by_android);
    let maker = of("maker.mts");
    assert_eq!(maker.camera.unwrap().make, "Panasonic");
    let stamp = maker.stamp.unwrap();
    assert_eq!(stamp.time.to_string(), "2024-04-08T13:40:05");
    assert_eq!(stamp.offset_s, Some(-5 * 3600));
    assert_eq!(maker.codec.as_deref(), Some("h264"));
}

#[test]
fn what_cannot_be_read_is_said() {
    let lacks = |name: &str| of(name).lacks;
    assert_eq!(lacks("plain.mov"), []);
    assert_eq!(lacks("maker.mts"), []);
    assert_eq!(lacks("plain.ts"), [FilmLack::NoDate]);
    assert_eq!(lacks("fragments.mp4"), [FilmLack::Fragments]);
    assert_eq!(lacks("old.mpg"), [FilmLack::Container]);
    assert_eq!(lacks("old.avi"), [FilmLack::Container]);
    let folder = tempfile::tempdir().unwrap();
    let whole = fs::read(stored().join("plain.mov")).unwrap();
    let cut = |at: usize| header(folder.path(), &whole[..at]).unwrap().lacks;
    let index = whole.windows(4).position(|w| w == b"moov").unwrap();
    assert_eq!(cut(index - 4), [FilmLack::NoIndex]);
    assert_eq!(cut(index - 40), [FilmLack::NoIndex, FilmLack::EndsInside]);
    // Cut inside the index: what came before is known.
    let most = header(folder.path(), &whole[..whole.len() - 60]).unwrap();
    assert!(most.lacks.contains(&FilmLack::EndsInside));
    assert!(most.created.is_some() && most.width_px == Some(32));
}

/// A drawn card without most of its stills, with something done to it, sorted.
struct Sorted {
    folder: TempDir,
    truth: DemoTruth,
    catalogue: Catalogue,
}

fn sorted(change: impl Fn(&Path, &DemoTruth)) -> Sorted {
    let folder = tempfile::tempdir().unwrap();
    let options = DemoOptions {
        width_px: 300,
        ..DemoOptions::default()
    };
    let truth = draw_card(folder.path(), &options, &|_, _| ()).unwrap();
    let tele = truth.frames.iter().filter(|f| f.role == Role::Tele);
    for (_, frame) in tele.enumerate().filter(|(n, _)| n % 4 != 0) {
        fs::remove_file(folder.path().join("card").join(&frame.file)).unwrap();
    }
    change(&folder.path().join("card"), &truth);
    let settings = Settings {
        cards: vec![folder.path().join("card")],
        out: folder.path().join("out"),
        ..Settings::default()
    };
    let catalogue = sort(&settings, &Unwatched).unwrap().catalogue.unwrap();
    Sorted {
        folder,
        truth,
        catalogue,
    }
}

fn film_of<'a>(catalogue: &'a Catalogue, name: &str) -> &'a FilmRecord {
    let found = catalogue.films.iter().find(|f| f.name().ends_with(name));
    found.unwrap_or_else(|| panic!("no film {name}"))
}

/// The same film with its creation time moved: fields of `mvhd` count seconds from 1904 (version 0, at its fourth byte).
fn created_at(bytes: &[u8], utc: Utc) -> Vec<u8> {
    let mut bytes = bytes.to_vec();
    let at = bytes.windows(4).position(|w| w == b"mvhd").unwrap() + 8;
    let seconds = (utc.unix_s() as i64 + 2_082_844_800) as u32;
    bytes[at..at + 4].copy_from_slice(&seconds.to_be_bytes());
    bytes
}

/// When the wide camera took its first still.
fn first_wide(truth: &DemoTruth) -> Utc {
    let mut wide = truth.frames.iter().filter(|f| f.role == Role::Wide);
    wide.next().unwrap().utc
}

/// Films of the wide camera and of others about totality. Truth: the drawn contacts and the drawn clock of the wide camera, 72 s slow, which
/// keeps Chile's winter time, four hours west.
#[test]
fn films_are_members_of_the_card() {
    let named = fs::read(stored().join("named.mov")).unwrap();
    let plain = fs::read(stored().join("plain.mov")).unwrap();
    let android = fs::read(stored().join("android.mp4")).unwrap();
    let maker = fs::read(stored().join("maker.mts")).unwrap();
    let on_clock = |utc: Utc| utc.plus_s(-72.0);
    let sorted = sorted(|card, truth| {
        let c2 = truth.contacts.c2.unwrap();
        let wide = card.join("DCIM/102WIDEB");
        let numbers: Vec<u32> = fs::read_dir(&wide)
            .unwrap()
            .filter_map(|e| e.unwrap().file_name().to_str()?[4..8].parse().ok())
            .collect();
        let (first, last) = (numbers.iter().min().unwrap(), numbers.iter().max().unwrap());
        assert!(*first > 2 && *last < 900);
        // After its last still (the drawn film stands there), local time; long before its first, on UTC.
        let early = on_clock(first_wide(truth).plus_s(-3600.0));
        let film = |n: u32| format!("MVI_{n:04}.MOV");
        fs::write(wide.join(film(first - 2)), created_at(&named, early)).unwrap();
        // Of no still's neighbourhood.
        fs::write(card.join("alone.mov"), created_at(&named, c2)).unwrap();
        fs::write(card.join("nobody.mov"), created_at(&plain, c2)).unwrap();
        fs::write(
            card.join("phone.mp4"),
            created_at(&android, c2.plus_s(30.0)),
        )
        .unwrap();
        fs::write(card.join("copy.mp4"), created_at(&android, c2.plus_s(30.0))).unwrap();
        fs::write(card.join("camcorder.mts"), &maker).unwrap();
        fs::write(card.join("broken.mov"), &plain[..400]).unwrap();
    });
    let Sorted {
        folder,
        truth,
        catalogue,
    } = &sorted;
    assert_eq!(catalogue.films.len(), 7, "{:?}", catalogue.films);
    assert_eq!(catalogue.strays.len() + 1, truth.strays.len());

    let drawn = film_of(catalogue, ".MP4");
    assert_eq!(drawn.time_from, FilmTime::CreationLocal);
    assert_eq!(drawn.settled_by, Some(FilmEvidence::Stills));
    assert_eq!(drawn.camera_label, "Demo Wide 24");
    let mut wide = truth.frames.iter().filter(|f| f.role == Role::Wide);
    let last = wide.next_back();
    let begin = last.unwrap().utc.plus_s(60.0);
    let off_s = drawn.utc.unwrap().seconds_since(begin);
    assert!(
        off_s.abs() <= 3.0 * drawn.utc_sigma_s.unwrap(),
        "{off_s} {drawn:?}"
    );
    assert_eq!(drawn.end(), drawn.utc.map(|utc| utc.plus_s(40.0)));

    let early = catalogue
        .films
        .iter()
        .find(|f| f.name().contains("MVI_") && f.name().ends_with(".MOV"));
    let early = early.unwrap();
    assert_eq!(early.time_from, FilmTime::CreationUtc);
    let off_s = early
        .utc
        .unwrap()
        .seconds_since(first_wide(truth).plus_s(-3600.0));
    assert!(off_s.abs() <= 3.0 * early.utc_sigma_s.unwrap(), "{off_s}");
    let (contacts, windows) = (
        catalogue.contacts.as_ref().unwrap(),
        PhaseWindows::default(),
    );
    let due = phase::at(first_wide(truth).plus_s(-3600.0), contacts, &windows);
    assert_eq!(early.phases, [due]);

    let unsettled: Vec<&str> = catalogue
        .notices
        .iter()
        .filter(|n| matches!(n.what, NoticeKind::FilmTimeUnsettled { .. }))
        .filter_map(|n| n.file.as_deref())
        .collect();
    assert_eq!(unsettled, ["alone.mov", "nobody.mov"]);
    for name in unsettled {
        let film = film_of(catalogue, name);
        assert_eq!((film.utc, film.phase), (None, Phase::Untimed));
    }

    let phone = catalogue.films.iter().find(|f| f.film.by_android).unwrap();
    assert_eq!(phone.time_from, FilmTime::CreationUtc);
    assert_eq!(phone.settled_by, Some(FilmEvidence::System));
    assert_eq!(phone.clock_of, None);
    assert_eq!(phone.phase, Phase::Totality);
    let copies = catalogue.cards[0]
        .files
        .iter()
        .filter(|f| f.same_as.is_some());
    assert_eq!(copies.count(), 1);
    let camcorder = film_of(catalogue, ".mts");
    assert_eq!(camcorder.time_from, FilmTime::TagWithZone);
    assert_eq!(camcorder.phase, Phase::Unrelated);
    assert_eq!(film_of(catalogue, "broken.mov").phase, Phase::Unreadable);

    let out = folder.path().join("out");
    let mut table = csv::Reader::from_path(out.join("films.csv")).unwrap();
    assert_eq!(table.headers().unwrap(), FILM_COLUMNS.as_slice());
    assert_eq!(table.records().count(), 7);
    exported_once(folder.path(), catalogue);
    phases_of_a_long_film(catalogue.contacts.as_ref().unwrap());
    let target = Target {
        out: out.clone(),
        ..Target::default()
    };
    pipeline::report(&target, &Unwatched).unwrap();
    let page = fs::read_to_string(out.join("report.html")).unwrap();
    assert!(page.contains("id=\"films\"") && page.contains("class=\"film b"));
    assert!(page.contains("1 film"));
}

/// A film of the whole afternoon runs through all phases in order, each as long as its window.
fn phases_of_a_long_film(contacts: &Contacts) {
    let (from, to) = (contacts.c1.utc.plus_s(-100.0), contacts.c4.utc.plus_s(50.0));
    let held = phase::between(from, to, contacts, &PhaseWindows::default());
    let phases: Vec<Phase> = held.iter().map(|(phase, _)| *phase).collect();
    assert_eq!(
        phases,
        [
            Phase::Before,
            Phase::Ingress,
            Phase::SecondContact,
            Phase::Totality,
            Phase::ThirdContact,
            Phase::Egress,
            Phase::After,
        ]
    );
    let length_s = held.iter().map(|(_, s)| s).sum::<f64>();
    assert!((length_s - to.seconds_since(from)).abs() < 1e-6);
    for (at, lasts_s) in [(0, 100.0), (2, 25.0), (4, 25.0), (6, 50.0)] {
        assert!((held[at].1 - lasts_s).abs() < 1e-6, "{held:?}");
    }
    let instant = phase::between(
        contacts.c1.utc,
        contacts.c1.utc,
        contacts,
        &PhaseWindows::default(),
    );
    assert_eq!(instant, [(Phase::Ingress, 0.0)]);
}

/// Every film goes to one folder, is found again when taken back, and stays as it was.
fn exported_once(folder: &Path, catalogue: &Catalogue) {
    let target = Target {
        out: folder.join("out"),
        ..Target::default()
    };
    pipeline::export(
        &target,
        &ExportWish {
            link: false,
            xmp: true,
        },
        &Unwatched,
    )
    .unwrap();
    let exported: Vec<PathBuf> = walkdir::WalkDir::new(folder.join("out/phases"))
        .into_iter()
        .map(|entry| entry.unwrap().into_path())
        .collect();
    for film in &catalogue.films {
        let own = film.name().rsplit('/').next().unwrap();
        let copies: Vec<&PathBuf> = exported
            .iter()
            .filter(|path| path.file_name().is_some_and(|name| name == own))
            .collect();
        assert_eq!(copies.len(), 1, "{own}");
        let beside = copies[0].parent().unwrap();
        assert!(beside.ends_with(film.phase.folder()), "{beside:?}");
        let original = fs::read(&film.film.file.path).unwrap();
        assert_eq!(fs::read(copies[0]).unwrap(), original);
    }
    pipeline::undo_export(&target).unwrap();
    let left = walkdir::WalkDir::new(folder.join("out"));
    let films = left.into_iter().filter(|e| {
        let path = e.as_ref().unwrap().path();
        path.extension().is_some_and(|e| e == "mov" || e == "mts")
    });
    assert_eq!(films.count(), 0);
}

fn boxed(kind: &[u8; 4], contents: &[u8]) -> Vec<u8> {
    let size = 8 + contents.len() as u32;
    [&size.to_be_bytes(), kind.as_slice(), contents].concat()
}

/// A film whose tags stand where Canon keeps them: a small JPEG with the header of a photograph, in the user data.
fn canon() -> Vec<u8> {
    let block = crate::support::header::block(&crate::exif::everything(), true);
    let jpeg = crate::support::header::with_exif(&crate::support::header::jpeg(16, 8), &block);
    let tags = boxed(b"udta", &boxed(b"CNTH", &boxed(b"CNDA", &jpeg)));
    [boxed(b"ftyp", b"qt  \0\0\0\0qt  "), boxed(b"moov", &tags)].concat()
}

/// One with a text beside the film, as Sony keeps them.
fn sony() -> Vec<u8> {
    let text = br#"<?xml version="1.0"?><NonRealTimeMeta><Duration value="50"/><CreationDate value="2024-04-08T13:40:05-05:00"/><Device manufacturer="Sony" modelName="Demo 7" serialNo="0012"/></NonRealTimeMeta>"#;
    let xml = boxed(b"xml ", &[b"\0\0\0\0".as_slice(), text].concat());
    let meta = boxed(b"meta", &[b"\0\0\0\0".as_slice(), &xml].concat());
    [
        boxed(b"ftyp", b"XAVC\0\0\0\0XAVC"),
        boxed(b"moov", &[]),
        meta,
    ]
    .concat()
}

/// Films drawn with the makers' own places for camera and time.
pub(crate) fn drawn() -> Vec<Vec<u8>> {
    vec![canon(), sony()]
}

#[test]
fn tags_of_makers_are_read() {
    let folder = tempfile::tempdir().unwrap();
    let canon = header(folder.path(), &canon()).unwrap();
    assert!(canon.stamp.is_some() && canon.camera.is_some(), "{canon:?}");
    let sony = header(folder.path(), &sony()).unwrap();
    let id = sony.camera.unwrap();
    assert_eq!(
        (id.make_model().as_str(), id.serial.as_deref()),
        ("Sony Demo 7", Some("0012"))
    );
    let stamp = sony.stamp.unwrap();
    assert_eq!(stamp.time.to_string(), "2024-04-08T13:40:05");
    assert_eq!(stamp.offset_s, Some(-5 * 3600));
}
