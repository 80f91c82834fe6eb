//! The program on cards drawn into temporary folders: files, messages, exit codes.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use assert_cmd::Command;
use contactstrip::catalogue::{COLUMNS, Catalogue};
use contactstrip::demo::{DemoOptions, draw_card};
use contactstrip::domain::{Phase, Role};
use contactstrip::pipeline::score;
use exif::Tag;
use image::ExtendedColorType;
use image::codecs::jpeg::JpegEncoder;

mod coming;
mod plan;
mod rehearse;

use crate::support::files::contents;
use crate::support::{cards, header, photos};

/// Runs the program.
fn run(args: &[&str]) -> Output {
    let mut command = Command::cargo_bin("contactstrip").unwrap();
    // Nobody's own settings.
    command.env("XDG_CONFIG_HOME", "/nowhere");
    command.args(args).output().unwrap()
}

fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn stdout(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

fn text(path: &Path) -> &str {
    path.to_str().unwrap()
}

/// A folder for a card and one for results, gone at the end.
struct Desk {
    folder: tempfile::TempDir,
}

impl Desk {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir(folder.path().join("card")).unwrap();
        Self { folder }
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

    fn sort(&self, more: &[&str]) -> Output {
        let (card, out) = (self.card(), self.out());
        let mut args = vec!["sort", text(&card), "-o", text(&out)];
        args.extend(more);
        run(&args)
    }
}

/// A black JPEG taken at a local time, as with the cap on.
fn capped(local: &str) -> Vec<u8> {
    let mut jpeg = Vec::new();
    JpegEncoder::new(&mut jpeg)
        .encode(&vec![0; 240 * 160 * 3], 240, 160, ExtendedColorType::Rgb8)
        .unwrap();
    let fields = [
        header::text(Tag::Make, "Test"),
        header::text(Tag::Model, "Long"),
        header::text(Tag::DateTimeOriginal, local),
        header::ratios(Tag::ExposureTime, &[(1, 800)]),
        header::ratios(Tag::FocalLength, &[(600, 1)]),
    ];
    header::with_exif(&jpeg, &header::block(&fields, true))
}

/// Vicuna, where the eclipse of 2019-07-02 was total.
const SITE: &str = "--site=-30.03,-70.71,600";

#[track_caller]
fn could_not_run(output: &Output, words: &[&str]) {
    assert_eq!(output.status.code(), Some(2), "{}", stderr(output));
    for word in words {
        assert!(
            stderr(output).contains(word),
            "no '{word}' in: {}",
            stderr(output)
        );
    }
}

#[test]
fn a_missing_card_is_an_error() {
    let desk = Desk::new();
    let missing = desk.card().join("nowhere");
    let out = desk.out();
    could_not_run(
        &run(&["sort", text(&missing), "-o", text(&out), SITE]),
        &["no such folder", "mounted"],
    );
    assert!(!out.exists() || contents(&out).is_empty());
}

#[test]
fn a_card_without_pictures_is_an_error() {
    let desk = Desk::new();
    desk.put("notes.txt", b"nothing here");
    could_not_run(&desk.sort(&[SITE]), &["no picture", "1 other file", "DCIM"]);
}

#[test]
fn pictures_without_time_ask_for_the_date() {
    let desk = Desk::new();
    desk.put("a.jpg", &header::jpeg(64, 48));
    could_not_run(&desk.sort(&[SITE]), &["when it was taken", "--date"]);
}

#[test]
fn a_day_without_eclipse_names_the_nearest() {
    let desk = Desk::new();
    desk.put("a.jpg", &capped("2019:05:02 12:00:00"));
    could_not_run(
        &desk.sort(&[SITE]),
        &["no solar eclipse", "2019-07-02", "--date"],
    );
}

#[test]
fn no_place_asks_for_the_site() {
    let desk = Desk::new();
    desk.put("a.jpg", &capped("2019:07:02 15:30:00"));
    could_not_run(&desk.sort(&[]), &["place is not known", "--site"]);
}

#[test]
fn an_eclipse_not_seen_from_there_is_an_error() {
    let desk = Desk::new();
    desk.put("a.jpg", &capped("2019:07:02 15:30:00"));
    could_not_run(&desk.sort(&["--site=48.2,16.4"]), &["not seen", "--site"]);
}

#[test]
fn one_capped_picture_is_kept_and_flagged() {
    let desk = Desk::new();
    desk.put("a.jpg", &capped("2019:07:02 15:30:00"));
    let output = desk.sort(&[SITE]);
    assert_eq!(output.status.code(), Some(1), "{}", stderr(&output));
    let table = fs::read_to_string(desk.out().join("shots.csv")).unwrap();
    assert_eq!(table.lines().next().unwrap(), COLUMNS.join(","));
    let row = table.lines().nth(1).unwrap();
    assert!(row.contains("ingress") && row.contains("capped"), "{row}");
    assert!(stdout(&output).contains("capped 1"));
}

#[test]
fn all_frames_capped_still_ends_with_a_record() {
    let desk = Desk::new();
    for minute in 0..6 {
        let name = format!("DCIM/100TEST/IMG_{minute:04}.JPG");
        desk.put(
            &name,
            &capped(&format!("2019:07:02 16:{:02}:00", 36 + minute)),
        );
    }
    let (card, out) = (desk.card(), desk.out());
    let output = run(&["all", text(&card), "-o", text(&out), SITE]);
    assert_eq!(output.status.code(), Some(1), "{}", stderr(&output));
    assert!(stderr(&output).contains("no corona") && stderr(&output).contains("no strip"));
    let catalogue = Catalogue::load(&out).unwrap();
    assert_eq!(catalogue.shots.len(), 6);
    assert!(out.join("report.html").exists());
}

#[test]
fn results_never_land_on_the_card() {
    let desk = Desk::new();
    desk.put("a.jpg", &capped("2019:07:02 15:30:00"));
    let before = contents(&desk.card());
    let card = desk.card();
    let inside = card.join("out");
    could_not_run(
        &run(&["all", text(&card), "-o", text(&inside), SITE]),
        &["lies inside the card"],
    );
    could_not_run(
        &run(&["all", text(&card), "-o", text(desk.folder.path()), SITE]),
        &["lies inside the results folder"],
    );
    assert_eq!(contents(&card), before);
}

#[test]
fn a_results_folder_that_is_a_file_is_an_error() {
    let desk = Desk::new();
    desk.put("a.jpg", &capped("2019:07:02 15:30:00"));
    fs::write(desk.out(), b"in the way").unwrap();
    could_not_run(&desk.sort(&[SITE]), &["cannot write to the results folder"]);
    assert_eq!(fs::read(desk.out()).unwrap(), b"in the way");
}

#[test]
fn misuse_is_told_before_anything_runs() {
    let desk = Desk::new();
    desk.put("a.jpg", &capped("2019:07:02 15:30:00"));
    could_not_run(
        &desk.sort(&["--zone", "Mars/Olympus"]),
        &["zone", "America/Santiago"],
    );
    could_not_run(&desk.sort(&["--site=91,0"]), &["latitude 91"]);
    could_not_run(&desk.sort(&["--clock", "soon"]), &["camera minus true"]);
    assert!(!desk.out().exists());
}

#[test]
fn a_huge_size_in_a_header_is_one_files_notice() {
    let desk = Desk::new();
    desk.put("a.jpg", &capped("2019:07:02 15:30:00"));
    let mut png = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec();
    png.extend(60_000_u32.to_be_bytes());
    png.extend(60_000_u32.to_be_bytes());
    png.extend([8, 2, 0, 0, 0, 0, 0, 0, 0]);
    desk.put("huge.png", &png);
    let output = desk.sort(&[SITE]);
    assert_eq!(output.status.code(), Some(1), "{}", stderr(&output));
    let catalogue = Catalogue::load(&desk.out()).unwrap();
    let huge = catalogue.shot("huge.png").unwrap();
    assert_eq!(huge.phase.word(), "unreadable");
    assert!(stderr(&output).contains("huge.png"), "{}", stderr(&output));
}

#[test]
fn a_dry_run_writes_nothing() {
    let desk = Desk::new();
    desk.put("a.jpg", &capped("2019:07:02 15:30:00"));
    let (card, out) = (desk.card(), desk.out());
    let output = run(&["all", text(&card), "-o", text(&out), SITE, "--dry-run"]);
    assert_eq!(output.status.code(), Some(1), "{}", stderr(&output));
    assert!(!out.exists());
    assert!(
        stdout(&output).contains("phases/2-ingress/a.jpg"),
        "{}",
        stdout(&output)
    );
}

#[test]
fn later_commands_want_a_record() {
    let desk = Desk::new();
    for command in ["strip", "merge", "export", "report", "clock"] {
        could_not_run(
            &run(&[command, text(&desk.card())]),
            &["catalogue.json", "contactstrip sort"],
        );
    }
}

#[test]
fn an_annular_eclipse_has_its_ring_in_the_middle() {
    let desk = Desk::new();
    let card = desk.card();
    let truth = cards::annular(&card);
    let (site, date) = cards::annular_place();
    let out = desk.out();
    let place = format!("{},{},{}", site.lat_deg, site.lon_deg, site.elev_m);
    let all = run(&[
        "all",
        text(&card),
        "-o",
        text(&out),
        "--site",
        &place,
        "--date",
        &date.to_string(),
        "--zone",
        "+00:00",
    ]);
    assert!(all.status.code() < Some(2), "{}", stderr(&all));
    assert!(stderr(&all).contains("not total here"), "{}", stderr(&all));
    let catalogue = Catalogue::load(&out).unwrap();
    let clock = &catalogue.cameras[0].clock;
    let off_s = clock.error_s - cards::RING_CLOCK_S;
    assert!(
        off_s.abs() < 3.0 * clock.sigma_s && off_s.abs() < 2.0,
        "{clock:?}"
    );

    let contacts = catalogue.contacts.as_ref().unwrap();
    let (c2, c3) = (contacts.c2.unwrap().utc, contacts.c3.unwrap().utc);
    let (mut sum, mut count) = (0.0, 0.0);
    for drawn in &truth {
        let shot = catalogue.shot(&drawn.name).unwrap();
        let (from_c2, from_c3) = (drawn.utc.seconds_since(c2), drawn.utc.seconds_since(c3));
        let wanted = match () {
            () if drawn.utc.seconds_since(contacts.c1.utc) < 0.0 => Phase::Before,
            () if from_c2 < -20.0 => Phase::Ingress,
            () if from_c2 > 20.0 && from_c3 < -20.0 => Phase::Annularity,
            () if drawn.utc.seconds_since(contacts.c4.utc) > 0.0 => Phase::After,
            () if from_c3 > 20.0 => Phase::Egress,
            // By second or third contact.
            () => shot.phase,
        };
        assert_eq!(shot.phase, wanted, "{}", drawn.name);
        let sun = shot.disc.and_then(|d| d.sun);
        let sun = sun.unwrap_or_else(|| panic!("{}: {:?}", drawn.name, shot.no_disc));
        let off = (sun.x_px - drawn.sun.0).hypot(sun.y_px - drawn.sun.1);
        assert!(off < 0.3, "{} is {off} px off", drawn.name);
        (sum, count) = (sum + off * off, count + 1.0);
    }
    assert!(
        (sum / count).sqrt() < 0.05,
        "{} px rms",
        (sum / count).sqrt()
    );

    let recipe = fs::read_to_string(out.join("strip.toml")).unwrap();
    let middle = recipe.lines().find(|l| l.starts_with("centre = ")).unwrap();
    let name = middle.split('"').nth(1).unwrap();
    assert_eq!(
        catalogue.shot(name).unwrap().phase,
        Phase::Annularity,
        "{middle}"
    );
    assert!(out.join("strip.png").exists() && !out.join("corona.png").exists());
}

/// The mean brightness of the K corona in a ring, against the formula the corona is drawn to: S. Baumbach 1937, "Strahlung,
/// Ergiebigkeit und Elektronendichte der Sonnenkorona", Astron. Nachr. 263, 121, in units of the mean solar disc.
fn corona_is_as_bright_as_drawn(out: &Path, sun: contactstrip::domain::Circle) {
    let picture = exr::prelude::read_first_rgba_layer_from_file(
        out.join("corona.exr"),
        |size, _| (size.width(), vec![0.0_f32; size.area()]),
        |(width, green), at, (_, g, _, _): (f32, f32, f32, f32)| {
            green[at.y() * *width + at.x()] = g;
        },
    )
    .unwrap();
    let (width, green) = picture.layer_data.channel_data.pixels;
    let mean = |from: f64, to: f64| {
        let inside = green.iter().enumerate().filter(|(i, _)| {
            let (x, y) = ((i % width) as f64, (i / width) as f64);
            let r = (x - sun.x_px).hypot(y - sun.y_px) / sun.radius_px;
            (from..to).contains(&r)
        });
        let (sum, count) = inside.fold((0.0, 0), |(s, n), (_, v)| (s + f64::from(*v), n + 1));
        sum / f64::from(count)
    };
    for r in [1.3_f64, 1.6, 2.0] {
        let formula = 1e-6 * (0.0532 * r.powf(-2.5) + 1.425 * r.powi(-7) + 2.565 * r.powi(-17));
        let got = mean(r - 0.02, r + 0.02);
        // The drawn corona has streamers and a colour, and the air takes as much of the Sun as of the corona.
        assert!(
            (0.8..1.2).contains(&(got / formula)),
            "{r}: {got:e} for {formula:e}"
        );
    }
}

/// `corona.fits` has the record's Sun at its reference pixel, counted from 1 and from the bottom (FITS 4.0, 8.1).
fn fits_has_the_sun_at(out: &Path, sun: contactstrip::domain::Circle) {
    let bytes = fs::read(out.join("corona.fits")).unwrap();
    let header = String::from_utf8_lossy(&bytes[..2880 * 4]).into_owned();
    let number = |keyword: &str| -> f64 {
        let (_, rest) = header.split_once(&format!("{keyword:<8}= ")).unwrap();
        rest[..20].trim().parse().unwrap()
    };
    assert!((number("CRPIX1") - 1.0 - sun.x_px).abs() < 1e-6);
    assert!((number("NAXIS2") - number("CRPIX2") - sun.y_px).abs() < 1e-6);
    assert!((number("CDELT1") * sun.radius_px - number("RSUN_OBS")).abs() < 1e-6);
}

#[test]
fn a_second_run_gives_the_same_bytes() {
    let desk = Desk::new();
    let options = DemoOptions {
        width_px: 480,
        ..DemoOptions::default()
    };
    let truth = draw_card(desk.folder.path(), &options, &|_, _| ()).unwrap();
    let card = desk.card();
    let before = contents(&card);
    let out = desk.out();
    let all = || run(&["all", text(&card), "-o", text(&out)]);
    let first = all();
    assert_eq!(first.status.code(), Some(1), "{}", stderr(&first));
    let made = contents(&out);
    let second = all();
    assert_eq!(second.status.code(), Some(1), "{}", stderr(&second));
    let again = contents(&out);
    assert!(made.keys().eq(again.keys()), "other files than before");
    let changed: Vec<_> = made
        .iter()
        .filter(|(name, bytes)| again[*name] != **bytes)
        .map(|(name, _)| name)
        .collect();
    assert!(changed.is_empty(), "changed: {changed:?}");
    assert_eq!(contents(&card), before, "the card was touched");

    // What still stands is not made again: the strip does not ask for its pieces. A corona that a person changed is kept, and made.
    fs::remove_dir_all(out.join(".cache/tiles")).unwrap();
    fs::write(out.join("corona.png"), "retouched").unwrap();
    let third = all();
    assert_eq!(third.status.code(), Some(1), "{}", stderr(&third));
    assert!(
        !out.join(".cache/tiles").exists(),
        "the strip was drawn again"
    );
    let kept = fs::read(out.join("corona-1.png")).unwrap();
    assert_eq!(kept, b"retouched");
    let whole = fs::read(out.join("corona.png")).unwrap();
    assert_eq!(whole, made[Path::new("corona.png")]);
    // A recipe changed by hand is drawn.
    let recipe = fs::read_to_string(out.join("strip.toml")).unwrap();
    fs::write(out.join("strip.toml"), recipe + "\n# looked at\n").unwrap();
    all();
    assert!(out.join(".cache/tiles").exists(), "the strip was not drawn");

    let catalogue = Catalogue::load(&out).unwrap();
    assert_eq!(catalogue.shots.len(), truth.frames.len());
    assert_eq!(
        catalogue.strays.len() + catalogue.films.len(),
        truth.strays.len()
    );
    let score = score(&catalogue, &truth);
    assert_eq!(score.bursts_right, score.frames, "{score:?}");
    assert!(score.phases_right + 3 >= score.frames, "{score:?}");

    // The frames of each exposure lie in register with the corona, once.
    let corona = catalogue.corona.as_ref().unwrap();
    fits_has_the_sun_at(&out, corona.sun);
    let layers = fs::read_dir(out.join("layers")).unwrap();
    let names: Vec<String> = layers
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    let numbered = |name: &&String| name.as_bytes()["corona-".len()].is_ascii_digit();
    let settings = |name: &String| {
        let e = catalogue.shot(name).unwrap().shot.exposure;
        format!("{:?} {:?} {:?}", e.shutter_s, e.f_number, e.iso)
    };
    let mut exposures: Vec<String> = corona.frames.iter().map(settings).collect();
    exposures.sort();
    exposures.dedup();
    assert_eq!(names.iter().filter(numbered).count(), exposures.len());

    // In units of the solar disc (drawn with a filter of 16 stops), the sky taken off; the picture to share no wider than the
    // recipe says.
    let recipe = out.join("strip.toml");
    let text_before = fs::read_to_string(&recipe).unwrap();
    let narrow = text_before.replace(
        "corona_extent_radii = \"auto\"",
        "corona_extent_radii = 1.5",
    );
    assert_ne!(narrow, text_before);
    fs::write(&recipe, narrow).unwrap();
    let merge = run(&[
        "merge",
        text(&out),
        "--no-layers",
        "--subtract-sky",
        "--filter-stops",
        "16",
    ]);
    assert!(merge.status.code() < Some(2), "{}", stderr(&merge));
    assert!(
        stderr(&merge).contains("mean solar disc"),
        "{}",
        stderr(&merge)
    );
    let sun = Catalogue::load(&out).unwrap().corona.unwrap().sun;
    corona_is_as_bright_as_drawn(&out, sun);
    let sides = |name: &str| image::image_dimensions(out.join(name)).unwrap();
    let (width, height) = sides("corona.png");
    let due = (3.0 * sun.radius_px).ceil() as u32;
    assert!(
        width.abs_diff(due) < 3 && height.abs_diff(due) < 3,
        "{width} by {height}, not {due}"
    );
    let whole = sides("corona.tif");
    assert!(whole.0 > width && whole.1 > height, "{whole:?}");

    // The path over the wide view, and the time-lapse.
    let old = fs::read_to_string(&recipe).unwrap();
    let wide = catalogue
        .shots
        .iter()
        .find(|s| s.role == Some(Role::Wide) && s.phase == Phase::Totality)
        .unwrap();
    let path = old
        .replace("layout = \"row\"", "layout = \"path\"")
        .replace("captions = \"none\"", "captions = \"time\"")
        .replace("time_lapse_px = 1080", "time_lapse_px = 160")
        .replace(
            "foreground = \"none\"",
            &format!("foreground = \"{}\"", wide.name()),
        );
    fs::write(&recipe, &path).unwrap();
    let strip = run(&["strip", text(&out), "--time-lapse"]);
    assert!(strip.status.code() < Some(2), "{}", stderr(&strip));
    assert!(stdout(&strip).contains("time-lapse"), "{}", stdout(&strip));
    for stem in ["partials", "totality"] {
        let first = image::open(out.join(format!("time-lapse/{stem}-0001.png"))).unwrap();
        assert_eq!((first.width(), first.height()), (160, 160));
        let film = fs::File::open(out.join(format!("time-lapse/{stem}.apng"))).unwrap();
        let film = png::Decoder::new(std::io::BufReader::new(film));
        let frames = film.read_info().unwrap().info().animation_control.unwrap();
        let numbered = |n: u32| out.join(format!("time-lapse/{stem}-{n:04}.png")).exists();
        assert!(frames.num_frames > 3 && numbered(frames.num_frames));
        assert!(!numbered(frames.num_frames + 1));
    }
    let over_land = fs::read(out.join("strip.png")).unwrap();

    // The strip is drawn again after an edit, with the card away.
    fs::rename(&card, desk.folder.path().join("elsewhere")).unwrap();
    let strip = run(&["strip", text(&out)]);
    assert!(strip.status.code() < Some(2), "{}", stderr(&strip));
    assert!(fs::read(out.join("strip.png")).unwrap() == over_land);
    let new = old.replace("width_px = 6000", "width_px = 3000");
    assert_ne!(old, new);
    fs::write(&recipe, new).unwrap();
    let strip = run(&["strip", text(&out)]);
    assert!(strip.status.code() < Some(2), "{}", stderr(&strip));
    let picture = image::open(out.join("strip.png")).unwrap();
    assert_eq!(picture.width(), 3000);
    fs::write(&recipe, old.replace("width_px", "widht_px")).unwrap();
    could_not_run(&run(&["strip", text(&out)]), &["strip.toml", "width_px"]);
}

#[test]
fn the_photographs_are_all_accounted_for() {
    let Some(folder) = photos::folder() else {
        return;
    };
    let desk = Desk::new();
    let out = desk.out();
    let files = contents(&folder).len();
    let output = run(&["all", text(&folder), "-o", text(&out)]);
    assert_eq!(output.status.code(), Some(1), "{}", stderr(&output));
    let catalogue = Catalogue::load(&out).unwrap();
    let siblings = catalogue
        .shots
        .iter()
        .filter(|s| s.sibling.is_some())
        .count();
    assert_eq!(
        catalogue.shots.len() + siblings + catalogue.films.len() + catalogue.strays.len(),
        files
    );
    let totality = catalogue.shot("totality-phone-2024.jpg").unwrap();
    assert_eq!(totality.phase.word(), "totality");
    let montage = catalogue.shot("six-partials-montage.jpg").unwrap();
    assert!(montage.disc.is_none());
}
