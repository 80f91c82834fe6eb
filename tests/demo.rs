//! The `demo` room, through its door.

use std::path::Path;
use std::sync::LazyLock;

use contactstrip::demo::{
    CARD_FOLDER, CORONA_COLOUR, DemoError, DemoOptions, DemoTruth, FrameTruth, Heavens, Placement,
    Scenario, TRUTH_FOLDER, draw_card, draw_frame, draw_scenario, sky_light,
};
use contactstrip::domain::{BurstPlace, Flag, Orientation, Phase, Role, SunMoon};
use contactstrip::raster::{Channel, Frame, decode, srgb_to_linear};

/// A small card, drawn once for all tests here.
struct Card {
    dir: tempfile::TempDir,
    truth: DemoTruth,
}

static CARD: LazyLock<Card> = LazyLock::new(|| {
    let dir = tempfile::tempdir().unwrap();
    let truth = draw_card(dir.path(), &small(), &|_, _| {}).unwrap();
    Card { dir, truth }
});

fn small() -> DemoOptions {
    DemoOptions {
        width_px: 480,
        ..DemoOptions::default()
    }
}

fn frame(name: &str, orientation: Orientation) -> Frame {
    decode(&CARD.dir.path().join(CARD_FOLDER).join(name), orientation).unwrap()
}

fn header(name: &str) -> exif::Exif {
    let bytes = std::fs::read(CARD.dir.path().join(CARD_FOLDER).join(name)).unwrap();
    exif::Reader::new()
        .read_from_container(&mut std::io::Cursor::new(bytes))
        .unwrap()
}

fn text(header: &exif::Exif, tag: exif::Tag) -> Option<String> {
    let field = header.get_field(tag, exif::In::PRIMARY)?;
    match &field.value {
        exif::Value::Ascii(parts) => Some(String::from_utf8(parts[0].clone()).unwrap()),
        _ => None,
    }
}

#[test]
fn a_card_has_the_frames_of_an_afternoon() {
    let frames = &CARD.truth.frames;
    assert!((110..=130).contains(&frames.len()), "{}", frames.len());
    let count = |phase| frames.iter().filter(|f| f.phase == phase).count();
    for phase in [
        Phase::Before,
        Phase::Ingress,
        Phase::SecondContact,
        Phase::Totality,
        Phase::ThirdContact,
        Phase::Egress,
        Phase::After,
        Phase::Unrelated,
        Phase::Unreadable,
    ] {
        assert!(count(phase) > 0, "no {phase}");
    }
    for flag in [
        Flag::Capped,
        Flag::FilterOn,
        Flag::Cut,
        Flag::Soft,
        Flag::Clouded,
        Flag::IncompleteBurst,
    ] {
        assert!(frames.iter().any(|f| f.flags.has(flag)), "no {flag:?}");
    }
    let bursts: Vec<u32> = (1..=8)
        .map(|id| frames.iter().filter(|f| f.burst == Some(id)).count() as u32)
        .collect();
    assert_eq!(bursts, [9, 9, 9, 9, 8, 9, 9, 9]);
    assert!(
        CARD.dir
            .path()
            .join(CARD_FOLDER)
            .join("DCIM/100LONGB/IMG_9999.JPG")
            .exists()
    );
    assert!(
        CARD.dir
            .path()
            .join(CARD_FOLDER)
            .join("DCIM/101LONGB/IMG_0001.JPG")
            .exists()
    );
}

#[test]
fn truth_stays_out_of_the_card() {
    let dir = CARD.dir.path();
    assert!(dir.join(TRUTH_FOLDER).join("truth.csv").exists());
    assert!(dir.join(TRUTH_FOLDER).join("truth.json").exists());
    for entry in walkdir::WalkDir::new(dir.join(CARD_FOLDER)) {
        let name = entry.unwrap().file_name().to_string_lossy().into_owned();
        assert!(!name.contains("truth"), "{name}");
    }
}

#[test]
fn headers_read_back_with_the_clocks_errors_in() {
    for truth in CARD
        .truth
        .frames
        .iter()
        .filter(|f| f.phase != Phase::Unrelated)
    {
        let header = header(&truth.file);
        let camera = CARD
            .truth
            .cameras
            .iter()
            .find(|c| c.camera == truth.camera)
            .unwrap();
        let shown = truth
            .utc
            .plus_s(f64::from(camera.zone_offset_s) + camera.clock_error_s);
        let shown = shown.timestamp().strftime("%Y:%m:%d %H:%M:%S").to_string();
        assert_eq!(
            text(&header, exif::Tag::DateTimeOriginal),
            Some(shown),
            "{}",
            truth.file
        );
        assert_eq!(text(&header, exif::Tag::Make).as_deref(), Some("Demo"));
        assert_eq!(text(&header, exif::Tag::OffsetTimeOriginal), None);
        let subsec = text(&header, exif::Tag::SubSecTimeOriginal);
        assert_eq!(subsec.is_some(), truth.role == Role::Tele);
        let uint = |tag| {
            header
                .get_field(tag, exif::In::PRIMARY)
                .unwrap()
                .value
                .get_uint(0)
        };
        assert_eq!(
            uint(exif::Tag::PhotographicSensitivity),
            Some(truth.iso as u32)
        );
        assert_eq!(
            uint(exif::Tag::ExposureMode),
            Some(if truth.burst.is_some() { 2 } else { 1 })
        );
    }
}

#[test]
fn marked_exposures_are_near_the_true_ones() {
    for truth in &CARD.truth.frames {
        let header = header(&truth.file);
        let marked = |tag| match &header.get_field(tag, exif::In::PRIMARY).unwrap().value {
            exif::Value::Rational(v) => v[0].to_f64(),
            other => panic!("{other:?}"),
        };
        assert!(
            (marked(exif::Tag::ExposureTime) / truth.shutter_s)
                .log2()
                .abs()
                < 0.1
        );
        assert!((marked(exif::Tag::FNumber) / truth.f_number).log2().abs() < 0.05);
    }
}

#[test]
fn every_file_is_whole_but_the_truncated_one() {
    for truth in &CARD.truth.frames {
        let path = CARD.dir.path().join(CARD_FOLDER).join(&truth.file);
        let bytes = std::fs::read(&path).unwrap();
        // Start of image, and end of image (ISO/IEC 10918-1, table B.1).
        assert!(bytes.starts_with(&[0xFF, 0xD8]));
        let broken = !bytes.ends_with(&[0xFF, 0xD9]);
        assert_eq!(broken, truth.phase == Phase::Unreadable, "{}", truth.file);
    }
}

#[test]
fn positions_are_those_of_the_site() {
    let placed = CARD
        .truth
        .frames
        .iter()
        .filter(|f| {
            header(&f.file)
                .get_field(exif::Tag::GPSLatitude, exif::In::PRIMARY)
                .is_some()
        })
        .count();
    assert_eq!(placed, 3);
}

#[test]
fn the_sun_is_where_truth_says() {
    // The centroid of the whole Sun, where it is whole, in frame and unharmed.
    let mut measured = 0;
    for truth in &CARD.truth.frames {
        let whole = matches!(truth.phase, Phase::Before | Phase::After)
            && truth.role == Role::Tele
            && truth.flags.is_empty();
        let Some(sun) = truth.sun.filter(|_| whole) else {
            continue;
        };
        let frame = frame(&truth.file, Orientation::UPRIGHT);
        let (mut sum, mut sx, mut sy) = (0.0, 0.0, 0.0);
        for y in 0..frame.height() {
            for x in 0..frame.width() {
                let v = f64::from(frame.value(x, y, Channel::Luma)).max(0.02) - 0.02;
                (sum, sx, sy) = (sum + v, sx + v * x as f64, sy + v * y as f64);
            }
        }
        let off = (sx / sum - sun.x_px).hypot(sy / sum - sun.y_px);
        assert!(off < 0.1, "{} px off in {}", off, truth.file);
        measured += 1;
    }
    assert!(measured >= 2);
}

#[test]
fn the_moon_of_totality_is_where_truth_says() {
    // Light just outside the limb, dark just inside, all round.
    let deep = CARD
        .truth
        .frames
        .iter()
        .find(|f| f.burst == Some(4) && f.burst_index == Some(6))
        .unwrap();
    let frame = frame(&deep.file, Orientation::UPRIGHT);
    let moon = deep.moon.unwrap();
    for n in 0..60 {
        let (sin, cos) = (f64::from(n) * 6.0).to_radians().sin_cos();
        let at = |r: f64| {
            let (x, y) = (moon.x_px + r * sin, moon.y_px - r * cos);
            frame.value(x.round() as usize, y.round() as usize, Channel::Luma)
        };
        let (inside, outside) = (at(moon.radius_px - 3.0), at(moon.radius_px + 3.0));
        assert!(outside > 4.0 * inside, "{inside} {outside} at {n}");
    }
}

#[test]
fn one_stop_is_twice_the_light() {
    let burst: Vec<_> = CARD
        .truth
        .frames
        .iter()
        .filter(|f| f.burst == Some(6))
        .collect();
    let level = |n: usize| {
        let truth = burst[n];
        let (sun, frame) = (truth.sun.unwrap(), frame(&truth.file, Orientation::UPRIGHT));
        let x = (sun.x_px + 2.0 * sun.radius_px).round() as usize;
        let y = sun.y_px.round() as usize;
        let mut sum = 0.0;
        (0..49).for_each(|k| sum += frame.value(x - 3 + k % 7, y - 3 + k / 7, Channel::Green));
        sum
    };
    for n in 6..8 {
        let stops = (level(n + 1) / level(n)).log2();
        assert!((stops - 1.0).abs() < 0.12, "{stops} stops from {n}");
    }
}

#[test]
fn offsets_agree_with_the_domains_axes() {
    let scenario = Scenario::vicuna_2019(&small()).unwrap();
    let high = |f: &&FrameTruth| f.role == Role::Tele && f.squeeze.is_some_and(|s| s > 0.995);
    for truth in CARD.truth.frames.iter().filter(high) {
        let at = scenario.sky.at(truth.utc_mid).unwrap();
        let sky = SunMoon {
            utc: truth.utc_mid,
            sun_radius_arcsec: at.sun_radius_arcsec,
            moon_radius_arcsec: at.moon_radius_arcsec,
            moon_east_arcsec: at.moon_east_arcsec,
            moon_north_arcsec: at.moon_north_arcsec,
            obscuration: at.obscuration(),
            magnitude: 0.0,
            sun_alt_deg: at.alt_deg,
            sun_alt_refracted_deg: at.alt_refracted_deg,
            sun_az_deg: at.az_deg,
            parallactic_deg: at.parallactic_deg,
            vertical_squeeze: at.squeeze,
        };
        let (dx, dy) = sky.moon_offset_in_picture(truth.north_deg.unwrap(), false);
        let (sun, moon) = (truth.sun.unwrap(), truth.moon.unwrap());
        let off = (moon.x_px - sun.x_px - dx * sun.radius_px)
            .hypot(moon.y_px - sun.y_px - dy * sun.radius_px);
        // What is left is the squeeze of at most half a per cent.
        assert!(
            off < 0.006 * dx.hypot(dy) * sun.radius_px,
            "{off} px in {}",
            truth.file
        );
    }
}

#[test]
fn a_bracket_carries_the_coronas_radiance() {
    // Pixels over the frame's gain give back the drawn radiance, sky included, at some places in the corona.
    let options = DemoOptions {
        width_px: 900,
        ..DemoOptions::default()
    };
    let scenario = Scenario::vicuna_2019(&options).unwrap();
    let heavens = Heavens::new(scenario.seed, &scenario.flames_deg, scenario.limb.clone());
    let mut ratios = Vec::new();
    for index in [3, 5, 7, 9] {
        let place = Some(BurstPlace { id: 6, index });
        let shot = scenario.shots.iter().find(|s| s.burst == place).unwrap();
        let drawn = draw_frame(&scenario, &heavens, shot, "x", 5).unwrap();
        let sun = drawn.truth.sun.unwrap();
        for n in 0..24 {
            let (sin, cos) = (f64::from(n) * 15.0).to_radians().sin_cos();
            for r in [1.2, 1.5, 2.0, 2.6] {
                let (x, y) = (
                    sun.x_px + r * sun.radius_px * sin,
                    sun.y_px - r * sun.radius_px * cos,
                );
                let (x, y) = (x.round(), y.round());
                let value = drawn.pixels[(y as usize * drawn.width_px + x as usize) * 3 + 1];
                if !(60..=235).contains(&value) {
                    continue;
                }
                let light =
                    f64::from(srgb_to_linear(f32::from(value) / 255.0)) / drawn.truth.gain[1];
                let (east, north) = placement(&drawn.truth).sky_place(x, y);
                let corona = heavens.corona.at(east as f32, north as f32);
                let truth = f64::from(CORONA_COLOUR[1] * corona + sky_light(1.0)[1]);
                ratios.push(light / truth - 1.0);
            }
        }
    }
    let n = ratios.len() as f64;
    let mean = ratios.iter().sum::<f64>() / n;
    let rms = (ratios.iter().map(|r| r * r).sum::<f64>() / n).sqrt();
    // Blur, a moving Sun, grain, eight bits and the encoder leave some noise on single pixels, but no bias.
    assert!(
        n > 80.0 && mean.abs() < 0.005 && rms < 0.03,
        "{n} places: {mean}, {rms}"
    );
}

/// The truth's placement, for its way from pixels to the sky.
fn placement(truth: &FrameTruth) -> Placement {
    Placement {
        sun: truth.sun.unwrap(),
        moon: truth.moon.unwrap(),
        north_deg: truth.north_deg.unwrap(),
        zenith_deg: truth.zenith_deg.unwrap(),
        squeeze: truth.squeeze.unwrap(),
    }
}

#[test]
fn portrait_frames_turn_upright() {
    let mut portraits = 0;
    for truth in CARD.truth.frames.iter().filter(|f| f.role == Role::Wide) {
        let field = header(&truth.file);
        let value = field
            .get_field(exif::Tag::Orientation, exif::In::PRIMARY)
            .unwrap();
        let turn = Orientation::from_exif(value.value.get_uint(0).unwrap()).unwrap();
        let frame = frame(&truth.file, turn);
        assert_eq!(frame.height() > frame.width(), turn.swaps_sides());
        if let (Some(sun), true) = (truth.sun, turn.swaps_sides()) {
            let (x, y) = (sun.x_px.round() as usize, sun.y_px.round() as usize);
            assert!(frame.value(x, y, Channel::Luma) > 0.95, "{}", truth.file);
            portraits += 1;
        }
    }
    assert_eq!(portraits, 2);
}

#[test]
fn the_same_options_give_the_same_bytes_and_replace_the_old_card() {
    let dir = tempfile::tempdir().unwrap();
    let options = DemoOptions {
        width_px: 240,
        ..DemoOptions::default()
    };
    let mut scenario = Scenario::vicuna_2019(&options).unwrap();
    scenario.shots.truncate(30);
    let draw = |scenario: &Scenario| draw_scenario(dir.path(), scenario, &|_, _| {}).unwrap();
    let truth = draw(&scenario);
    let read = |name: &str| std::fs::read(dir.path().join(CARD_FOLDER).join(name)).unwrap();
    let first: Vec<_> = truth.frames.iter().map(|f| read(&f.file)).collect();
    scenario.shots.truncate(25);
    let again = draw(&scenario);
    for (n, frame) in again.frames.iter().enumerate() {
        assert!(first[n] == read(&frame.file), "{} changed", frame.file);
    }
    let gone = &truth.frames[29].file;
    assert!(!dir.path().join(CARD_FOLDER).join(gone).exists());
}

#[test]
fn a_strangers_folder_is_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    let mine = dir.path().join(CARD_FOLDER).join("DCIM/holiday.jpg");
    std::fs::create_dir_all(mine.parent().unwrap()).unwrap();
    std::fs::write(&mine, b"mine").unwrap();
    let error = draw_card(dir.path(), &small(), &|_, _| {}).unwrap_err();
    assert!(matches!(error, DemoError::Foreign { .. }), "{error}");
    assert_eq!(std::fs::read(&mine).unwrap(), b"mine");
    assert!(!has_more_than(dir.path(), 1));
}

#[test]
fn a_strangers_truth_is_left_alone() {
    let dir = tempfile::tempdir().unwrap();
    let mine = dir.path().join(TRUTH_FOLDER).join("truth.csv");
    std::fs::create_dir_all(mine.parent().unwrap()).unwrap();
    std::fs::write(&mine, b"mine").unwrap();
    let error = draw_card(dir.path(), &small(), &|_, _| {}).unwrap_err();
    assert!(error.to_string().contains("truth.csv"), "{error}");
    assert_eq!(std::fs::read(&mine).unwrap(), b"mine");
}

fn has_more_than(dir: &Path, files: usize) -> bool {
    walkdir::WalkDir::new(dir)
        .into_iter()
        .filter_map(Result::ok)
        .filter(|e| e.file_type().is_file())
        .count()
        > files
}

#[test]
fn sizes_out_of_range_are_refused() {
    let options = DemoOptions {
        width_px: 100,
        ..DemoOptions::default()
    };
    let error = draw_card(Path::new("nowhere"), &options, &|_, _| {}).unwrap_err();
    assert!(error.to_string().contains("240 to 6000"), "{error}");
}
