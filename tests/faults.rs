//! Whole runs under what goes wrong with cards, disks and files.

mod cards;
mod moved;
mod outside;
mod results;
mod signals;
mod undo;

use std::collections::BTreeMap;
use std::fs;
use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::Mutex;

use contactstrip::catalogue::Catalogue;
use contactstrip::domain::{Notice, Site};
use contactstrip::pipeline::{self, ModelError, PipelineError, Settings, Watch};
use exif::{Field, Tag};
use image::ExtendedColorType;
use image::codecs::jpeg::JpegEncoder;
use tempfile::TempDir;

use crate::support::header;

/// Vicuna, where the eclipse of 2019-07-02 was total.
const SITE: &str = "--site=-30.03,-70.71,600";
const DATE: &str = "--date=2019-07-02";

/// A folder with a card and a place for results; both may be used by anybody.
struct Desk {
    folder: TempDir,
}

impl Desk {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let desk = Self { folder };
        fs::create_dir(desk.card()).unwrap();
        fs::create_dir(desk.out()).unwrap();
        open_to_all(desk.folder.path());
        open_to_all(&desk.out());
        desk
    }

    fn card(&self) -> PathBuf {
        self.folder.path().join("card")
    }

    fn out(&self) -> PathBuf {
        self.folder.path().join("out")
    }

    fn put(&self, name: &str, bytes: &[u8]) {
        let path = self.card().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }

    /// Six frames, a minute apart, of 1.4 MB each, so that they fill small disks.
    fn put_six(&self) {
        for minute in 0..6 {
            let bytes = noisy(&taken(&format!("2019:07:02 15:3{minute}:00")));
            self.put(&format!("DCIM/100TEST/IMG_000{minute}.JPG"), &bytes);
        }
    }

    fn words(&self, verb: &str) -> Vec<std::ffi::OsString> {
        let (card, out) = (self.card(), self.out());
        let words: [&std::ffi::OsStr; 5] = [
            verb.as_ref(),
            card.as_ref(),
            "-o".as_ref(),
            out.as_ref(),
            SITE.as_ref(),
        ];
        words.map(ToOwned::to_owned).to_vec()
    }

    fn run(&self, verb: &str, more: &[&str]) -> Output {
        let mut command = Command::new(PROGRAM);
        command.args(self.words(verb)).args(more);
        command.output().unwrap()
    }

    /// A command on the results.
    fn on_out(&self, verb: &str, more: &[&str]) -> Output {
        let mut command = Command::new(PROGRAM);
        command.arg(verb).arg(self.out()).args(more);
        command.output().unwrap()
    }

    fn settings(&self) -> Settings {
        Settings {
            cards: vec![self.card()],
            out: self.out(),
            site: Some(Site::new(-30.03, -70.71, 600.0).unwrap()),
            ..Settings::default()
        }
    }
}

const PROGRAM: &str = env!("CARGO_BIN_EXE_contactstrip");

#[cfg(unix)]
fn open_to_all(path: &Path) {
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(path, fs::Permissions::from_mode(0o777)).unwrap();
}

#[cfg(not(unix))]
fn open_to_all(_: &Path) {}

fn stdout(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[track_caller]
fn ended(output: &Output, code: i32, words: &[&str]) {
    let text = stderr(output);
    assert_eq!(output.status.code(), Some(code), "{text}");
    for word in words {
        assert!(text.contains(word), "no '{word}' in: {text}");
    }
}

/// Tags of a frame taken at a local time.
fn taken(local: &str) -> Vec<Field> {
    vec![
        header::text(Tag::Make, "Test"),
        header::text(Tag::Model, "Long"),
        header::text(Tag::DateTimeOriginal, local),
        header::ratios(Tag::ExposureTime, &[(1, 800)]),
        header::ratios(Tag::FocalLength, &[(600, 1)]),
    ]
}

fn with(mut fields: Vec<Field>, more: Vec<Field>) -> Vec<Field> {
    fields.retain(|field| more.iter().all(|other| other.tag != field.tag));
    fields.extend(more);
    fields
}

fn gps(lat: (u32, u32), lon: (u32, u32)) -> Vec<Field> {
    vec![
        header::text(Tag::GPSLatitudeRef, "S"),
        header::ratios(Tag::GPSLatitude, &[lat, (0, 1), (0, 1)]),
        header::text(Tag::GPSLongitudeRef, "W"),
        header::ratios(Tag::GPSLongitude, &[lon, (0, 1), (0, 1)]),
    ]
}

fn jpeg(pixels: &[u8], width: u32, height: u32, fields: &[Field]) -> Vec<u8> {
    let mut jpeg = Vec::new();
    JpegEncoder::new_with_quality(&mut jpeg, 100)
        .encode(pixels, width, height, ExtendedColorType::Rgb8)
        .unwrap();
    if fields.is_empty() {
        jpeg
    } else {
        header::with_exif(&jpeg, &header::block(fields, true))
    }
}

/// A frame as with the cap on.
fn black(fields: &[Field]) -> Vec<u8> {
    jpeg(&[0; 96 * 64 * 3], 96, 64, fields)
}

/// A frame that does not compress.
fn noisy(fields: &[Field]) -> Vec<u8> {
    let mut state = 1_u32;
    let mut next = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 24) as u8
    };
    let pixels: Vec<u8> = (0..720 * 480 * 3).map(|_| next()).collect();
    jpeg(&pixels, 720, 480, fields)
}

fn contents(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    walkdir::WalkDir::new(folder)
        .into_iter()
        .filter_map(Result::ok)
        .filter(|e| e.file_type().is_file())
        .map(|e| (e.path().to_owned(), fs::read(e.path()).unwrap()))
        .collect()
}

/// Says that something could not be tried here.
#[allow(clippy::print_stdout)]
fn skipped(why: &str) {
    println!("skipped: {why}");
}

/// The program run as somebody with no rights of their own; `None` where that cannot be had.
#[cfg(unix)]
fn as_nobody(words: &[std::ffi::OsString]) -> Option<Output> {
    let probe = tempfile::tempdir().ok()?;
    open_to_all_but(probe.path(), 0o000);
    if fs::read_dir(probe.path()).is_err() {
        return Command::new(PROGRAM).args(words).output().ok(); // no rights here either
    }
    let ids = ["--reuid=65534", "--regid=65534", "--clear-groups"];
    let mut can = Command::new("setpriv");
    can.args(ids).arg(PROGRAM).arg("--version");
    if !can.output().is_ok_and(|output| output.status.success()) {
        skipped("we may do everything, and there is no setpriv to give that up");
        return None;
    }
    let mut command = Command::new("setpriv");
    command.args(ids).arg(PROGRAM).args(words).output().ok()
}

#[cfg(unix)]
fn open_to_all_but(path: &Path, mode: u32) {
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
}

#[cfg(unix)]
#[test]
fn an_out_that_may_not_be_written_is_told_before_anything_is_read() {
    let desk = Desk::new();
    desk.put("a.jpg", &black(&taken("2019:07:02 15:30:00")));
    open_to_all_but(&desk.out(), 0o555);
    for verb in ["sort", "all"] {
        let Some(output) = as_nobody(&desk.words(verb)) else {
            return;
        };
        ended(
            &output,
            2,
            &["cannot write to the results folder", "try: -o"],
        );
    }
    assert!(contents(&desk.out()).is_empty());
}

#[cfg(unix)]
#[test]
fn what_may_not_be_read_is_told_and_left_out() {
    let desk = Desk::new();
    desk.put("DCIM/100TEST/a.jpg", &black(&taken("2019:07:02 15:30:00")));
    desk.put("DCIM/101TEST/b.jpg", &black(&taken("2019:07:02 15:31:00")));
    desk.put("DCIM/100TEST/c.jpg", &black(&taken("2019:07:02 15:32:00")));
    open_to_all_but(&desk.card().join("DCIM/101TEST"), 0o000);
    open_to_all_but(&desk.card().join("DCIM/100TEST/c.jpg"), 0o000);
    let Some(output) = as_nobody(&desk.words("all")) else {
        return;
    };
    open_to_all_but(&desk.card().join("DCIM/101TEST"), 0o755);
    ended(&output, 1, &["DCIM/101TEST", "left out", "c.jpg", "denied"]);
    let catalogue = Catalogue::load(&desk.out()).unwrap();
    assert_eq!(
        catalogue.shot("DCIM/100TEST/a.jpg").unwrap().phase.word(),
        "ingress"
    );
    let text = fs::read_to_string(desk.out().join("shots.csv")).unwrap();
    assert!(text.contains("c.jpg") || catalogue.strays.iter().any(|s| s.name.ends_with("c.jpg")));
    // The card is readable again: the same command makes it whole.
    open_to_all_but(&desk.card().join("DCIM/100TEST/c.jpg"), 0o644);
    ended(&as_nobody(&desk.words("all")).unwrap(), 1, &[]);
    assert_eq!(Catalogue::load(&desk.out()).unwrap().shots.len(), 3);
    for name in ["DCIM/101TEST/b.jpg", "DCIM/100TEST/c.jpg"] {
        assert!(
            desk.out()
                .join("phases/2-ingress")
                .join(name.rsplit('/').next().unwrap())
                .exists()
                || desk.out().join("phases/2-ingress").join(name).exists(),
            "{name}"
        );
    }
}

/// Listens to a run and does something to the card when a stage begins.
struct Meddler<F: Fn() + Sync> {
    stage: &'static str,
    act: F,
    told: Mutex<Vec<String>>,
}

impl<F: Fn() + Sync> Watch for Meddler<F> {
    fn begin(&self, stage: &str, _total: u64) {
        self.told.lock().unwrap().push(stage.to_owned());
        if stage == self.stage {
            (self.act)();
        }
    }
    fn advance(&self, _by: u64) {}
    fn end(&self) {}
}

fn meddling<F: Fn() + Sync>(stage: &'static str, act: F) -> Meddler<F> {
    let told = Mutex::new(Vec::new());
    Meddler { stage, act, told }
}

fn about(notices: &[Notice], file: &str) -> Vec<String> {
    let own = notices.iter().filter(|n| n.file.as_deref() == Some(file));
    own.map(Notice::text).collect()
}

#[test]
fn a_file_that_vanishes_midway_is_one_files_trouble() {
    for stage in ["reading headers", "learning the Sun's size"] {
        let desk = Desk::new();
        for minute in 0..3 {
            let bytes = black(&taken(&format!("2019:07:02 15:3{minute}:00")));
            desk.put(&format!("{minute}.jpg"), &bytes);
        }
        let gone = desk.card().join("1.jpg");
        let watch = meddling(stage, || fs::remove_file(&gone).unwrap());
        let made = pipeline::sort(&desk.settings(), &watch).unwrap();
        assert!(watch.told.lock().unwrap().iter().any(|s| s == stage));
        let catalogue = made.catalogue.unwrap();
        assert_eq!(catalogue.shots.len(), 3);
        assert_eq!(catalogue.shot("1.jpg").unwrap().phase.word(), "unreadable");
        assert_eq!(catalogue.shot("2.jpg").unwrap().phase.word(), "ingress");
        let told = about(&made.notices, "1.jpg");
        assert!(
            told.iter().any(|t| t.contains("cannot be read")),
            "{stage}: {told:?}"
        );
    }
}

#[test]
fn a_card_pulled_midway_ends_the_run_and_costs_nothing_that_was_done() {
    let desk = Desk::new();
    desk.put_six();
    let away = desk.folder.path().join("away");
    let watch = meddling("learning the Sun's size", || {
        fs::rename(desk.card(), &away).unwrap()
    });
    let error = pipeline::sort(&desk.settings(), &watch).unwrap_err();
    assert!(
        matches!(error, PipelineError::Model(ModelError::CardGone(_))),
        "{error}"
    );
    let text = error.to_string();
    assert!(
        text.contains("went away") && text.contains("try:"),
        "{text}"
    );
    assert!(!desk.out().join("catalogue.json").exists());
    fs::rename(&away, desk.card()).unwrap();
    ended(&desk.run("all", &[]), 1, &[]);
    // Pulled before the copies are made: each is named, and made when the card is back.
    let exported = desk.out().join("phases");
    let before = contents(&exported);
    fs::remove_file(before.keys().next().unwrap()).unwrap();
    fs::rename(desk.card(), &away).unwrap();
    let export = || {
        let mut command = Command::new(PROGRAM);
        command.arg("export").arg(desk.out()).output().unwrap()
    };
    ended(
        &export(),
        1,
        &["not exported", "cannot be read", "1 files are missing"],
    );
    fs::rename(&away, desk.card()).unwrap();
    export();
    assert_eq!(contents(&exported), before);
}

/// A disk of a size of its own, gone at the end.
#[cfg(target_os = "linux")]
struct SmallDisk(TempDir);

#[cfg(target_os = "linux")]
impl SmallDisk {
    /// `None`, said so, where we may not mount one.
    fn new(size: &str) -> Option<Self> {
        let folder = tempfile::tempdir().unwrap();
        let options = format!("size={size}");
        let mut mount = Command::new("mount");
        mount
            .args(["-t", "tmpfs", "-o", &options, "tmpfs"])
            .arg(folder.path());
        if mount.output().is_ok_and(|output| output.status.success()) {
            Some(Self(folder))
        } else {
            skipped("no right to mount a small disk");
            None
        }
    }
}

#[cfg(target_os = "linux")]
impl Drop for SmallDisk {
    fn drop(&mut self) {
        let _ = Command::new("umount").arg(self.0.path()).output();
    }
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_is_told_and_a_larger_one_goes_on() {
    let desk = Desk::new();
    desk.put_six();
    for size in ["16k", "64k", "256k", "3m"] {
        let Some(disk) = SmallDisk::new(size) else {
            return;
        };
        let run = || {
            let mut command = Command::new(PROGRAM);
            command
                .arg("all")
                .arg(desk.card())
                .arg("-o")
                .arg(disk.0.path())
                .arg(SITE);
            command.output().unwrap()
        };
        let output = run();
        let text = stderr(&output);
        let code = output.status.code();
        assert!(code == Some(1) || code == Some(2), "{size}: {text}");
        assert!(
            text.contains("No space left") || text.contains("the disk was full"),
            "{size}: {text}"
        );
        let half = |path: &PathBuf| path.to_string_lossy().contains("-writing");
        assert!(!contents(disk.0.path()).keys().any(half), "{size}");
        let mut mount = Command::new("mount");
        mount.args(["-o", "remount,size=64m"]).arg(disk.0.path());
        assert!(mount.output().unwrap().status.success());
        ended(&run(), 1, &[]);
        let whole = tempfile::tempdir().unwrap();
        let mut command = Command::new(PROGRAM);
        command
            .arg("all")
            .arg(desk.card())
            .arg("-o")
            .arg(whole.path())
            .arg(SITE);
        ended(&command.output().unwrap(), 1, &[]);
        let below = |folder: &Path| -> BTreeMap<PathBuf, Vec<u8>> {
            contents(folder)
                .into_iter()
                .map(|(path, bytes)| (path.strip_prefix(folder).unwrap().to_owned(), bytes))
                .collect()
        };
        let (a, b) = (below(disk.0.path()), below(whole.path()));
        assert!(
            a.keys().eq(b.keys()),
            "{size}: {:?} {:?}",
            a.keys(),
            b.keys()
        );
        assert!(a == b, "{size}");
    }
}

/// The same where nothing can be mounted: no file may grow beyond some size.
#[cfg(target_os = "linux")]
/// Runs the whole job under a shell's limit of so many blocks a file: it ends with an error that says what could not be written.
#[track_caller]
fn held_short(desk: &Desk, blocks: &str, limited: &str) {
    let mut command = Command::new("sh");
    command
        .arg("-c")
        .arg(limited)
        .arg(PROGRAM)
        .args(desk.words("all"));
    let output = command.output().unwrap();
    let text = stderr(&output);
    assert!(
        matches!(output.status.code(), Some(1 | 2)),
        "{blocks}: {text}"
    );
    assert!(
        text.contains("too large") || text.contains("cannot write"),
        "{blocks}: {text}"
    );
}

#[cfg(target_os = "linux")]
#[test]
fn a_file_that_may_not_grow_is_told() {
    let desk = Desk::new();
    desk.put_six();
    for blocks in ["0", "1", "8", "64"] {
        let limited = format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$0\" \"$@\"");
        held_short(&desk, blocks, &limited);
        let half = |path: &PathBuf| path.to_string_lossy().contains("-writing");
        assert!(!contents(&desk.out()).keys().any(half), "{blocks}");
    }
    ended(&desk.run("all", &[]), 1, &[]);
    assert_eq!(contents(&desk.out().join("phases")).len(), 6);
}

#[cfg(unix)]
#[test]
fn an_odd_card_is_read_to_the_end_and_every_file_is_accounted_for() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    use std::os::unix::fs::symlink;
    let desk = Desk::new();
    let at = |minute: u32| taken(&format!("2019:07:02 15:{minute:02}:00"));
    let float = |tag, value| header::field(tag, exif::Value::Float(vec![value]));
    let double = |tag, value| header::field(tag, exif::Value::Double(vec![value]));
    let odd: Vec<(&str, Vec<Field>)> = vec![
        ("plain.jpg", at(30)),
        (
            "nan.jpg",
            with(
                at(31),
                vec![
                    float(Tag::ExposureTime, f32::NAN),
                    double(Tag::FNumber, f64::NAN),
                ],
            ),
        ),
        (
            "infinite.jpg",
            with(at(32), vec![double(Tag::ExposureTime, f64::INFINITY)]),
        ),
        (
            "huge.jpg",
            with(
                at(33),
                vec![
                    header::ratios(Tag::ExposureTime, &[(u32::MAX, 1)]),
                    header::ratios(Tag::FocalLength, &[(u32::MAX, 1)]),
                ],
            ),
        ),
        (
            "over-zero.jpg",
            with(
                at(34),
                vec![
                    header::ratios(Tag::ExposureTime, &[(1, 0)]),
                    header::ratios(Tag::FNumber, &[(0, 0)]),
                ],
            ),
        ),
        (
            "zero.jpg",
            with(at(35), vec![header::ratios(Tag::ExposureTime, &[(0, 1)])]),
        ),
        (
            "tiny.jpg",
            with(
                at(36),
                vec![header::ratios(Tag::ExposureTime, &[(1, u32::MAX)])],
            ),
        ),
        ("epoch.jpg", taken("1970:01:01 00:00:00")),
        ("ancient.jpg", taken("0001:01:01 00:00:00")),
        ("far-future.jpg", taken("9999:12:31 23:59:59")),
        ("blank-date.jpg", taken("    :  :     :  :  ")),
        ("no-such-day.jpg", taken("2019:02:30 25:61:61")),
        ("bare.jpg", Vec::new()),
        ("north.jpg", with(at(37), gps((30, 1), (70, 1)))),
        ("south.jpg", with(at(38), gps((60, 1), (10, 1)))),
        ("nowhere.jpg", with(at(39), gps((u32::MAX, 1), (1, 0)))),
    ];
    for (name, fields) in &odd {
        desk.put(name, &black(fields));
    }
    let strange = desk.card().join(OsStr::from_bytes(b"caf\xE9 \xFF.jpg"));
    fs::write(strange, black(&at(40))).unwrap();
    desk.put("line\nbreak, \"quoted\".jpg", &black(&at(41)));
    desk.put("empty.jpg", b"");
    desk.put("text.jpg", b"no picture at all");
    let whole = black(&at(42));
    desk.put("cut.jpg", &whole[..whole.len() / 2]);
    desk.put("header-only.jpg", &whole[..40]);
    symlink(desk.card(), desk.card().join("loop")).unwrap();
    symlink("loop2", desk.card().join("loop2")).unwrap();
    symlink("/", desk.card().join("root")).unwrap();

    let first = desk.run("all", &[]);
    ended(&first, 1, &["no corona"]);
    let made = contents(&desk.out());
    ended(&desk.run("all", &[]), 1, &[]);
    assert!(made == contents(&desk.out()), "a second run differs");
    let catalogue = Catalogue::load(&desk.out()).unwrap();
    assert_eq!(catalogue.shots.len(), odd.len() + 6);
    let phase = |name: &str| catalogue.shot(name).unwrap().phase.word();
    for name in [
        "plain.jpg",
        "nan.jpg",
        "infinite.jpg",
        "huge.jpg",
        "over-zero.jpg",
        "zero.jpg",
        "nowhere.jpg",
    ] {
        assert_eq!(phase(name), "ingress", "{name}");
    }
    for name in [
        "nan.jpg",
        "infinite.jpg",
        "huge.jpg",
        "over-zero.jpg",
        "zero.jpg",
    ] {
        let exposure = catalogue.shot(name).unwrap().shot.exposure;
        assert_eq!(exposure.shutter_s, None, "{name}");
    }
    // A clock that was never set says nothing; other days are other days.
    for name in ["epoch.jpg", "ancient.jpg", "far-future.jpg"] {
        assert!(["unrelated", "untimed"].contains(&phase(name)), "{name}");
    }
    for name in ["empty.jpg", "text.jpg", "cut.jpg", "header-only.jpg"] {
        assert_eq!(phase(name), "unreadable", "{name}");
        assert!(stderr(&first).contains(name));
    }
    let mut rows = csv::Reader::from_path(desk.out().join("shots.csv")).unwrap();
    assert_eq!(rows.records().map(Result::unwrap).count(), odd.len() + 6);
    let copies = contents(&desk.out().join("phases"));
    assert_eq!(copies.len(), odd.len() + 6);
    // The same card, with the place left to its contradictory positions.
    let mut command = Command::new(PROGRAM);
    let other = desk.folder.path().join("other");
    command.arg("sort").arg(desk.card()).arg("-o").arg(&other);
    ended(
        &command.output().unwrap(),
        1,
        &["GPS positions of the day lie elsewhere", "--site"],
    );
}

#[test]
fn a_card_of_1970_or_without_headers_says_what_it_wants_and_then_runs() {
    let desk = Desk::new();
    for n in 0..3 {
        desk.put(
            &format!("{n}.jpg"),
            &black(&taken(&format!("1970:01:01 00:0{n}:00"))),
        );
    }
    ended(
        &desk.run("sort", &[]),
        2,
        &["no solar eclipse", "1970-01-01", "try: --date"],
    );
    ended(&desk.run("all", &[DATE]), 1, &[]);
    let bare = Desk::new();
    bare.put("a.jpg", &black(&[]));
    ended(
        &bare.run("sort", &[]),
        2,
        &["when it was taken", "try: --date"],
    );
    let output = bare.run("all", &[DATE]);
    ended(&output, 1, &[]);
    let table = fs::read_to_string(bare.out().join("shots.csv")).unwrap();
    assert!(table.lines().nth(1).unwrap().contains("no-time"), "{table}");
}

#[test]
fn ten_thousand_tiny_files_take_seconds() {
    let desk = Desk::new();
    let tiny = |n: u32| {
        let time = format!(
            "2019:07:02 {:02}:{:02}:{:02}",
            15 + n / 3600,
            n / 60 % 60,
            n % 60
        );
        jpeg(&[0; 8 * 8 * 3], 8, 8, &taken(&time))
    };
    for n in 0..10_000 {
        desk.put(
            &format!("DCIM/{}TEST/IMG_{:04}.JPG", 100 + n / 1000, n % 1000),
            &tiny(n),
        );
    }
    ended(&desk.run("sort", &["--quiet"]), 1, &[]);
    let catalogue = Catalogue::load(&desk.out()).unwrap();
    assert_eq!(catalogue.shots.len(), 10_000);
    let begin = std::time::Instant::now();
    ended(&desk.run("sort", &["--quiet"]), 1, &[]);
    assert!(begin.elapsed().as_secs() < 60, "{:?}", begin.elapsed());
}

#[test]
fn a_png_and_a_tiff_of_one_pixel_are_pictures() {
    let desk = Desk::new();
    for (name, format) in [
        ("a.png", image::ImageFormat::Png),
        ("b.tif", image::ImageFormat::Tiff),
    ] {
        let mut bytes = Cursor::new(Vec::new());
        image::RgbImage::new(1, 1)
            .write_to(&mut bytes, format)
            .unwrap();
        desk.put(name, &bytes.into_inner());
    }
    ended(&desk.run("all", &[DATE]), 1, &[]);
    assert_eq!(Catalogue::load(&desk.out()).unwrap().shots.len(), 2);
}
