//! The program on cards of drawn raw files: partial phases and brackets of totality with known truth.

use std::fs;
use std::path::{Path, PathBuf};

use assert_cmd::Command;
use contactstrip::catalogue::Catalogue;
use contactstrip::demo::{CARD_FOLDER, DemoOptions, DemoTruth, FrameTruth, draw_card};
use contactstrip::domain::{CardFile, FileFormat, Flag, Limb, Orientation, Phase, Role};
use contactstrip::exif;
use contactstrip::pipeline::score;
use contactstrip::raster::{self, Frame};

use crate::support::dng::{Dng, Packing, Taken};
use crate::support::header;

const BLACK: u16 = 512;
const WHITE: u16 = 15_871;
const NEUTRAL: [u32; 3] = [480, 1000, 650];

/// Vicuna, where the eclipse of 2019-07-02 was total.
const SITE: &str = "--site=-30.03,-70.71,600";

/// Partial phases some minutes apart and every frame of two brackets of totality, without the accidents.
fn chosen(frame: &FrameTruth, nth: usize) -> bool {
    let sound = [
        Flag::Capped,
        Flag::Soft,
        Flag::Clouded,
        Flag::FilterOn,
        Flag::Cut,
    ];
    let sound = !sound.iter().any(|flag| frame.flags.has(*flag));
    let partial = matches!(frame.phase, Phase::Ingress | Phase::Egress) && nth.is_multiple_of(3);
    let bracket = frame.phase == Phase::Totality && matches!(frame.burst, Some(4 | 6));
    frame.role == Role::Tele && sound && (partial || bracket)
}

/// The sensor's picture of a drawn frame: one colour a pixel, less light through red and blue, 14 bits.
fn sensor_values(frame: &Frame) -> Vec<u16> {
    let value = |i: usize| {
        let (x, y) = (i % frame.width(), i / frame.width());
        let channel = [0, 1, 1, 2][(y % 2) * 2 + x % 2];
        let light = frame.rgb(x, y)[channel] * NEUTRAL[channel] as f32 / 1000.0;
        (f32::from(BLACK) + light * f32::from(WHITE - BLACK)).round() as u16
    };
    (0..frame.width() * frame.height()).map(value).collect()
}

/// A drawn JPEG as a raw file with the same header.
fn as_dng(path: &Path) -> Vec<u8> {
    let file = CardFile {
        name: "x".to_owned(),
        path: path.to_owned(),
        format: FileFormat::Jpeg,
        size_bytes: 0,
        modified: None,
    };
    let shot = exif::read(&file).unwrap().shot;
    let stored = raster::decode(path, Orientation::UPRIGHT).unwrap();
    let (stamp, camera, exposure) = (shot.stamp.unwrap(), shot.camera.unwrap(), shot.exposure);
    let civil = stamp.time.civil();
    let fraction = |value: f64| match value < 0.5 {
        true => (1_000_000, (1e6 / value).round() as u32),
        false => ((value * 1000.0).round() as u32, 1000),
    };
    Dng {
        width: stored.width(),
        height: stored.height(),
        values: sensor_values(&stored),
        pattern: [0, 1, 1, 2],
        black: [BLACK; 4],
        white: WHITE,
        neutral: NEUTRAL,
        active: None,
        crop: None,
        packing: Packing::Tiles(256, 256),
        taken: Taken {
            make: camera.make,
            model: camera.model,
            local: civil.strftime("%Y:%m:%d %H:%M:%S").to_string(),
            subsec: Some(format!("{:02}", civil.subsec_nanosecond() / 10_000_000)),
            shutter: fraction(exposure.shutter_s.unwrap()),
            f_number: fraction(exposure.f_number.unwrap()),
            iso: exposure.iso.unwrap() as u16,
            focal: fraction(exposure.focal_mm.unwrap()),
            orientation: u16::from(shot.orientation.exif()),
            place: None,
        },
        preview: None,
        more: Vec::new(),
    }
    .bytes()
}

/// A drawn JPEG at half its size, with the same header.
fn halved(path: &Path) -> Vec<u8> {
    let whole = fs::read(path).unwrap();
    assert_eq!(&whole[2..4], [0xFF, 0xE1], "the header comes first");
    let length = usize::from(u16::from_be_bytes([whole[4], whole[5]]));
    let block = &whole[12..4 + length];
    let picture = image::load_from_memory(&whole).unwrap().into_rgb8();
    let half = image::RgbImage::from_fn(picture.width() / 2, picture.height() / 2, |x, y| {
        let at = |dx, dy| picture.get_pixel(2 * x + dx, 2 * y + dy).0.map(u32::from);
        let four = [at(0, 0), at(1, 0), at(0, 1), at(1, 1)];
        image::Rgb([0, 1, 2].map(|c| (four.iter().map(|p| p[c]).sum::<u32>() / 4) as u8))
    });
    let mut jpeg = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, 95)
        .encode_image(&half)
        .unwrap();
    header::with_exif(&jpeg, block)
}

/// A card of raw files, with the JPEGs beside them where asked for.
struct RawCard {
    folder: tempfile::TempDir,
    truth: DemoTruth,
}

impl RawCard {
    fn new(with_jpegs: bool) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let options = DemoOptions {
            width_px: 900,
            ..DemoOptions::default()
        };
        let mut truth = draw_card(folder.path(), &options, &|_, _| {}).unwrap();
        let from = folder.path().join(CARD_FOLDER);
        let to = folder.path().join("raws");
        let all = std::mem::take(&mut truth.frames);
        for (nth, mut frame) in all.into_iter().enumerate() {
            if !chosen(&frame, nth) {
                continue;
            }
            let source = from.join(&frame.file);
            let raw = Path::new(&frame.file).with_extension("DNG");
            fs::create_dir_all(to.join(&raw).parent().unwrap()).unwrap();
            fs::write(to.join(&raw), as_dng(&source)).unwrap();
            if with_jpegs {
                fs::write(to.join(&frame.file), halved(&source)).unwrap();
            } else {
                frame.file = raw.to_str().unwrap().to_owned();
            }
            truth.frames.push(frame);
        }
        Self { folder, truth }
    }

    fn out(&self) -> PathBuf {
        self.folder.path().join("out")
    }

    /// Runs everything on it.
    fn all(&self) -> Catalogue {
        let card = self.folder.path().join("raws");
        let output = Command::cargo_bin("contactstrip")
            .unwrap()
            .args(["all", card.to_str().unwrap(), "-o"])
            .args([self.out().to_str().unwrap(), SITE])
            .output()
            .unwrap();
        let told = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(matches!(output.status.code(), Some(0 | 1)), "{told}");
        assert!(!told.contains("panicked"), "{told}");
        Catalogue::load(&self.out()).unwrap()
    }
}

/// How far each fitted Moon is off the drawn one. The Sun of totality is its centre less an offset that the clock gives.
fn moon_errors_px(catalogue: &Catalogue, truth: &DemoTruth) -> Vec<f64> {
    let error = |frame: &FrameTruth| {
        let fit = catalogue
            .shot(&frame.file)?
            .disc
            .filter(|d| d.limb == Limb::Moon)?;
        let (ours, drawn) = (fit.moon?, frame.moon?);
        Some((ours.x_px - drawn.x_px).hypot(ours.y_px - drawn.y_px))
    };
    truth.frames.iter().filter_map(error).collect()
}

#[test]
fn discs_are_found_and_a_corona_made_from_raw_files_alone() {
    let card = RawCard::new(false);
    let catalogue = card.all();
    assert_eq!(catalogue.shots.len(), card.truth.frames.len());
    for record in &catalogue.shots {
        assert_eq!(record.shot.file.format, FileFormat::Raw);
        let sides = (record.shot.width_px, record.shot.height_px);
        assert!(
            matches!(sides, (Some(900), Some(600)) | (Some(600), Some(900))),
            "{sides:?}"
        );
    }
    let score = score(&catalogue, &card.truth);
    assert_eq!(score.phases_right, score.frames, "{score:?}");
    assert!(score.suns_found + 1 >= score.suns_due, "{score:?}");
    assert!(score.partial_rms_px < 0.25, "{score:?}");
    let moons = moon_errors_px(&catalogue, &card.truth);
    let rms = (moons.iter().map(|e| e * e).sum::<f64>() / moons.len() as f64).sqrt();
    assert!(moons.len() >= 9 && rms < 0.3, "{moons:?}");
    let table = fs::read_to_string(card.out().join("shots.csv")).unwrap();
    assert_eq!(table.matches(",raw,").count(), catalogue.shots.len());
    let corona = catalogue.corona.unwrap();
    assert!(corona.frames.len() >= 9, "{:?}", corona.frames);
    for name in ["corona.exr", "corona.tif", "corona.png"] {
        assert!(card.out().join(name).exists(), "{name}");
    }
}

#[test]
fn raw_files_beside_smaller_jpegs_give_the_corona_its_light() {
    let card = RawCard::new(true);
    let catalogue = card.all();
    assert_eq!(catalogue.shots.len(), card.truth.frames.len());
    let total: Vec<_> = catalogue
        .shots
        .iter()
        .filter(|r| r.phase == Phase::Totality && r.disc.is_some())
        .collect();
    assert!(total.len() >= 9);
    for record in &total {
        assert_eq!(record.shot.file.format, FileFormat::Jpeg);
        assert!(record.sibling.as_ref().unwrap().ends_with(".DNG"));
    }
    let corona = catalogue.corona.clone().unwrap();
    let row = total[0].disc.unwrap().sun.unwrap();
    let ratio = corona.sun.radius_px / row.radius_px;
    assert!((ratio - 2.0).abs() < 0.02, "{ratio}");
    assert!(corona.frames.len() >= 9, "{:?}", corona.frames);
}
