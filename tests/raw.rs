//! Raw files: drawn ones against another reader's values and drawn truth, real and damaged ones.

use std::fs;
use std::path::{Path, PathBuf};

use contactstrip::card;
use contactstrip::domain::{CardFile, FileFormat, Orientation};
use contactstrip::exif;
use contactstrip::raster::{self, DecodeError, Reading, Samples, photograph, sensor_values};

use crate::support::dng::{Dng, Packing, Taken};
use crate::support::photos;

const RGGB: [u8; 4] = [0, 1, 1, 2];
const GBRG: [u8; 4] = [1, 2, 0, 1];

/// A picture of 52 by 36 pixels whose values leave no bit unused.
fn busy(name: &str) -> Dng {
    let (width, height) = (52, 36);
    let value = |x: usize, y: usize| {
        let smooth = 300.0 * x as f64 + 90.0 * y as f64;
        let grain = ((x * 7919 + y * 104_729) % 1013) as f64;
        (420.0 + smooth * 0.7 + grain).min(16_383.0) as u16
    };
    let plain = Dng {
        width,
        height,
        values: (0..width * height)
            .map(|i| value(i % width, i / width))
            .collect(),
        pattern: RGGB,
        black: [512; 4],
        white: 15_871,
        neutral: [500, 1000, 700],
        active: None,
        crop: None,
        packing: Packing::Plain,
        taken: Taken::default(),
        preview: None,
        more: Vec::new(),
    };
    match name {
        "plain" => plain,
        "packed" => Dng {
            packing: Packing::Tiles(16, 16),
            ..plain
        },
        "bordered" => Dng {
            active: Some([4, 6, 34, 50]),
            crop: Some([4, 2, 36, 26]),
            pattern: GBRG,
            packing: Packing::Tiles(32, 16),
            ..plain
        },
        // LibRaw moves odd borders to even ones, so this one is held against the drawing alone.
        "odd" => Dng {
            active: Some([3, 5, 35, 51]),
            crop: Some([3, 1, 39, 29]),
            pattern: GBRG,
            black: [500, 510, 520, 530],
            packing: Packing::Tiles(32, 16),
            ..plain
        },
        "uneven" => Dng {
            black: [500, 510, 520, 530],
            ..plain
        },
        other => panic!("no picture {other}"),
    }
}

/// Flat fields of four colours, 32 by 32 pixels each.
fn fields() -> Dng {
    const COLOURS: [[f64; 3]; 4] = [
        [0.2, 0.2, 0.2],
        [0.6, 0.3, 0.1],
        [0.1, 0.5, 0.3],
        [0.2, 0.25, 0.7],
    ];
    let (width, height) = (128, 32);
    let neutral = [0.5, 1.0, 0.7];
    let values = (0..width * height).map(|i| {
        let (x, y) = (i % width, i / width);
        let channel = usize::from(RGGB[(y % 2) * 2 + x % 2]);
        let light = COLOURS[x / 32][channel] * neutral[channel];
        (512.0 + light * (15_871.0 - 512.0)).round() as u16
    });
    Dng {
        width,
        height,
        values: values.collect(),
        ..busy("plain")
    }
}

/// Where drawn files are left for the script that stores another reader's values.
fn left(name: &str, dng: &Dng) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("raw");
    fs::create_dir_all(&folder).unwrap();
    let path = folder.join(format!("{name}.dng"));
    // Several tests may draw one file; each finds it whole.
    let whole = tempfile::NamedTempFile::new_in(&folder).unwrap();
    fs::write(whole.path(), dng.bytes()).unwrap();
    whole.persist(&path).unwrap();
    path
}

fn card_file(path: &Path) -> CardFile {
    CardFile {
        name: path.file_name().unwrap().to_string_lossy().into_owned(),
        path: path.to_owned(),
        format: FileFormat::Raw,
        size_bytes: fs::metadata(path).unwrap().len(),
        modified: None,
    }
}

/// Rows of a table of stored values: name, then numbers.
fn stored(table: &str) -> Vec<(String, Vec<f64>)> {
    let path = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/raw")
        .join(table);
    let rows = fs::read_to_string(path).unwrap();
    rows.lines()
        .filter(|line| !line.starts_with('#'))
        .map(|line| {
            let mut cells = line.split(',');
            let name = cells.next().unwrap().to_owned();
            (name, cells.map(|c| c.parse().unwrap()).collect())
        })
        .collect()
}

#[test]
fn sensor_values_are_another_readers_to_the_last_bit() {
    const NAMES: [&str; 4] = ["plain", "packed", "bordered", "uneven"];
    let drawn = NAMES.map(|name| (name, left(name, &busy(name))));
    let rows = stored("values.csv");
    for (name, path) in drawn {
        let ours = sensor_values(&path).unwrap();
        let theirs: Vec<&Vec<f64>> = rows.iter().filter(|r| r.0 == name).map(|r| &r.1).collect();
        assert_eq!(ours.height, theirs.len(), "{name}");
        for (y, (ours, theirs)) in ours.values.chunks(ours.width).zip(theirs).enumerate() {
            let ours: Vec<f64> = ours.iter().map(|v| f64::from(*v)).collect();
            assert_eq!(&ours, theirs, "{name}, row {y}");
        }
    }
}

#[test]
fn borders_at_odd_places_keep_colours_and_blacks_in_place() {
    let drawn = busy("odd");
    let ours = sensor_values(&left("odd", &drawn)).unwrap();
    assert_eq!((ours.width, ours.height), (39, 29));
    for (i, value) in ours.values.iter().enumerate() {
        // From the active area's corner, which the pattern starts at.
        let (x, y) = (3 + i % 39, 1 + i / 39);
        let place = (y % 2) * 2 + x % 2;
        let stored = drawn.values[(3 + y) * drawn.width + 5 + x];
        let light = f32::from(stored) - f32::from(drawn.black[place]);
        assert_eq!(value.to_bits(), light.to_bits(), "pixel {i}");
    }
    assert_eq!(ours.pattern, pattern_from(3, 1));
}

/// The pattern of the drawing from a place on, as letters.
fn pattern_from(x: usize, y: usize) -> String {
    let place = |dx: usize, dy: usize| usize::from(GBRG[((y + dy) % 2) * 2 + (x + dx) % 2]);
    [(0, 0), (1, 0), (0, 1), (1, 1)]
        .map(|(dx, dy)| ["R", "G", "B"][place(dx, dy)])
        .concat()
}

#[test]
fn colours_are_another_readers() {
    let path = left("fields", &fields());
    let frame = photograph(
        &card_file(&path),
        Orientation::UPRIGHT,
        Reading::Light(None),
    )
    .unwrap();
    for (name, row) in stored("colours.csv") {
        let at: usize = name.parse().unwrap();
        let ours = frame.rgb(at, 16);
        for (ours, theirs) in ours.iter().zip(&row) {
            let apart = f64::from(*ours) - theirs;
            assert!(apart.abs() < 0.002, "column {at}: {ours} for {theirs}");
        }
    }
}

#[test]
fn every_reading_and_the_header_say_one_size() {
    for name in ["plain", "packed", "bordered", "odd"] {
        let drawn = busy(name);
        let path = left(name, &drawn);
        let file = card_file(&path);
        let header = raster::raw_header(&path).unwrap();
        let wanted = drawn
            .crop
            .map_or((drawn.width as u32, drawn.height as u32), |c| (c[2], c[3]));
        assert_eq!((header.width_px, header.height_px), wanted);
        for (turn, swapped) in [(1, false), (3, false), (6, true), (8, true)] {
            let orientation = Orientation::from_exif(turn).unwrap();
            for reading in [Reading::Quick, Reading::Light(header.balance)] {
                let frame = photograph(&file, orientation, reading).unwrap();
                let size = (frame.width() as u32, frame.height() as u32);
                let upright = if swapped { (size.1, size.0) } else { size };
                assert_eq!(upright, wanted, "{name}, turn {turn}");
            }
        }
    }
}

#[test]
fn packing_makes_no_difference_to_the_picture() {
    let open = |name: &str| {
        let path = left(name, &busy(name));
        photograph(&card_file(&path), Orientation::UPRIGHT, Reading::Quick).unwrap()
    };
    assert_eq!(open("plain"), open("packed"));
}

/// A JPEG of one grey.
fn grey_jpeg(width: u32, height: u32) -> Vec<u8> {
    let mut out = Vec::new();
    let picture = image::RgbImage::from_pixel(width, height, image::Rgb([200; 3]));
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut out, 95)
        .encode_image(&picture)
        .unwrap();
    out
}

#[test]
fn the_cameras_own_picture_serves_for_looking_where_it_fits() {
    let with = |width, height| Dng {
        preview: Some((grey_jpeg(width, height), width, height)),
        ..busy("packed")
    };
    let is_preview = |name: &str, dng: &Dng, reading| {
        let file = card_file(&left(name, dng));
        let frame = photograph(&file, Orientation::UPRIGHT, reading).unwrap();
        assert_eq!((frame.width(), frame.height()), (52, 36));
        matches!(frame.samples(), Samples::U8(_))
    };
    let fits = with(52, 36);
    assert!(is_preview("preview", &fits, Reading::Quick));
    assert!(!is_preview("preview", &fits, Reading::Light(None)));
    assert!(!is_preview("small-preview", &with(26, 18), Reading::Quick));
}

#[test]
fn headers_of_drawn_files_are_read_whole() {
    let drawn = Dng {
        taken: Taken {
            orientation: 6,
            ..Taken::default()
        },
        ..busy("bordered")
    };
    let shot = exif::read(&card_file(&left("turned", &drawn)))
        .unwrap()
        .shot;
    assert_eq!((shot.width_px, shot.height_px), (Some(26), Some(36)));
    assert_eq!(shot.orientation.exif(), 6);
    assert_eq!(shot.camera.unwrap().make_model(), "Drawn Raw 14");
    let stamp = shot.stamp.unwrap();
    assert!(stamp.has_subsec);
    assert_eq!(stamp.time.civil().to_string(), "2019-07-02T16:38:07.25");
    assert_eq!(shot.exposure.shutter_s, Some(1.0 / 800.0));
    assert_eq!(shot.exposure.focal_mm, Some(600.0));
    assert_eq!(shot.exposure.iso, Some(100.0));
    let gps = shot.gps.unwrap();
    assert!((gps.lat_deg + 30.03).abs() < 1e-5 && (gps.lon_deg + 70.71).abs() < 1e-5);
}

#[test]
fn saturated_pixels_are_white() {
    let full = Dng {
        values: vec![15_871; 52 * 36],
        ..busy("packed")
    };
    let file = card_file(&left("full", &full));
    let frame = photograph(&file, Orientation::UPRIGHT, Reading::Light(None)).unwrap();
    assert!(frame.rgb(26, 18).iter().all(|v| *v >= 1.0));
}

fn open(bytes: &[u8]) -> Result<raster::Frame, DecodeError> {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("a.dng");
    fs::write(&path, bytes).unwrap();
    // Reading the header must not break down either.
    let _ = raster::raw_header(&path);
    photograph(&card_file(&path), Orientation::UPRIGHT, Reading::Quick)
}

#[test]
fn files_cut_anywhere_are_errors() {
    for name in ["plain", "packed"] {
        let mut whole = busy(name).bytes();
        // The slack that sound files may lack at their end is no pixel.
        whole.resize(whole.len() + 600, 0);
        assert!(open(&whole).is_ok());
        let strips = busy(name).bytes().len();
        for end in (0..strips - 600).step_by(41) {
            assert!(open(&whole[..end]).is_err(), "{name} cut at {end}");
        }
    }
}

#[test]
fn flipped_bits_break_nothing() {
    for name in ["plain", "packed"] {
        let whole = busy(name).bytes();
        let tags = whole.len() - 1400;
        let ends = (8..40).chain(tags..whole.len());
        for at in ends.step_by(7) {
            for bits in [0x01, 0x80, 0xFF] {
                let mut damaged = whole.clone();
                damaged[at] ^= bits;
                // Some of it is harmless; whatever comes, it comes as an answer.
                let _ = open(&damaged);
            }
        }
    }
}

#[test]
fn sizes_beyond_the_limit_are_refused_before_they_cost_memory() {
    let whole = busy("plain").bytes();
    let width = [0x00, 0x01, 4, 0, 1, 0, 0, 0];
    let entry = whole.windows(8).position(|w| w == width).unwrap();
    for side in [30_001_u32, 1 << 20, u32::MAX] {
        let mut huge = whole.clone();
        huge[entry + 8..entry + 12].copy_from_slice(&side.to_le_bytes());
        assert!(
            matches!(open(&huge), Err(DecodeError::TooLarge { .. })),
            "{side}"
        );
    }
}

/// A directory of one entry that holds two thousand million fractions.
const GREEDY: [u8; 18] = [
    1, 0, 0x99, 0x99, 5, 0, 0xFF, 0xFF, 0xFF, 0x7F, 0, 1, 0, 0, 0, 0, 0, 0,
];

#[test]
fn profiles_of_colours_are_no_directories() {
    let plain = open(&busy("plain").bytes()).unwrap();
    // The profile's length comes first (ICC.1, 7.2): from 64 KiB on its first bytes, taken for a directory, count entries.
    let mut large: Vec<u8> = (0..600_000_u32)
        .map(|n| (n % 1009 * 7919 % 251) as u8)
        .collect();
    large[..4].copy_from_slice(&600_000_u32.to_be_bytes());
    let mut small = vec![0; 3000];
    small[..4].copy_from_slice(&3000_u32.to_be_bytes());
    for profile in [large, small, GREEDY.to_vec()] {
        let drawn = Dng {
            more: vec![(0x8773, 7, profile)],
            ..busy("plain")
        };
        let frame = open(&drawn.bytes()).unwrap();
        let row = |frame: &raster::Frame| -> Vec<[f64; 3]> {
            (0..52).map(|x| frame.rgb(x, 18).map(f64::from)).collect()
        };
        assert_eq!(row(&frame), row(&plain));
    }
}

#[test]
fn what_asks_for_more_memory_than_there_is_is_one_files_trouble() {
    // Further pictures, Exif and the maker's own notes, told in ways that lead to a greedy directory.
    for (tag, kind) in [(0x014A, 7), (0x014A, 99), (0x8825, 7), (0xC634, 7)] {
        let drawn = Dng {
            more: vec![(tag, kind, GREEDY.to_vec())],
            taken: Taken {
                place: None,
                ..Taken::default()
            },
            ..busy("plain")
        };
        // The picture itself is whole.
        assert!(open(&drawn.bytes()).is_ok(), "{tag:#x} {kind}");
    }
    let place = |bytes: &[u8]| bytes.windows(18).position(|w| w == GREEDY).unwrap() as u32;
    let mut named = Dng {
        more: vec![(0x014A, 4, vec![0; 8]), (0xC634, 7, GREEDY.to_vec())],
        ..busy("plain")
    };
    let at = place(&named.bytes());
    named.more[0].2[..4].copy_from_slice(&at.to_le_bytes());
    let mut bytes = named.bytes();
    // Two places, not eight bytes.
    let entry = bytes
        .windows(8)
        .position(|w| w == [0x4A, 1, 4, 0, 8, 0, 0, 0]);
    bytes[entry.unwrap() + 4] = 2;
    assert!(matches!(open(&bytes), Err(DecodeError::Raw(_))));
}

#[test]
fn directories_in_a_circle_come_to_an_end() {
    let mut whole = busy("plain").bytes();
    let root = whole[4..8].to_vec();
    let end = whole.len();
    whole[end - 4..].copy_from_slice(&root);
    assert!(matches!(open(&whole), Err(DecodeError::Raw(_))));
}

#[test]
fn real_and_damaged_files_are_all_answered() {
    let Some(photos) = photos::folder() else {
        return;
    };
    let files = card::read(&[photos.join("raw")], &[]).unwrap().files;
    assert_eq!(files.len(), 17);
    let mut developed = Vec::new();
    for file in &files {
        let shot = exif::read(file).unwrap().shot;
        for reading in [Reading::Quick, Reading::Light(None)] {
            match photograph(file, shot.orientation, reading) {
                Ok(frame) => {
                    let size = (frame.width() as u32, frame.height() as u32);
                    let told = shot.width_px.zip(shot.height_px);
                    assert_eq!(told, Some(size), "{}", file.name);
                    developed.push(file.name.clone());
                }
                Err(error) => assert!(!error.to_string().is_empty()),
            }
        }
    }
    developed.dedup();
    for name in ["canon-30d.cr2", "jpeg-named.nef"] {
        assert!(developed.iter().any(|n| n == name), "{name}: {developed:?}");
    }
}

/// A row of the stored table of another reader of headers; private fields are not in it.
#[derive(serde::Deserialize)]
#[serde(rename_all = "PascalCase")]
struct Told {
    source_file: String,
    make: String,
    model: String,
    date_time_original: String,
    sub_sec_time_original: String,
    exposure_time: Option<f64>,
    #[serde(rename = "FNumber")]
    f_number: Option<f64>,
    #[serde(rename = "ISO")]
    iso: Option<f64>,
    focal_length: Option<f64>,
    orientation: Option<u32>,
}

#[test]
fn real_headers_say_what_another_reader_says() {
    let Some(photos) = photos::folder() else {
        return;
    };
    let files = card::read(&[photos.join("raw")], &[]).unwrap().files;
    let table = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/raw/exiftool.csv");
    let mut rows = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .from_path(table)
        .unwrap();
    let near = |name: &str, ours: Option<f64>, theirs: Option<f64>| match (ours, theirs) {
        (Some(a), Some(b)) => assert!((a / b - 1.0).abs() < 1e-6, "{name}: {a} for {b}"),
        (ours, theirs) => assert_eq!(ours, theirs, "{name}"),
    };
    let mut seen = 0;
    for row in rows.deserialize() {
        let told: Told = row.unwrap();
        let name = told.source_file.as_str();
        // The oldest container keeps no Exif tags; its files are placed by name alone.
        if name.ends_with(".crw") {
            continue;
        }
        let file = files.iter().find(|f| f.name == name).unwrap();
        let shot = exif::read(file).unwrap().shot;
        let camera = shot.camera.unwrap();
        assert_eq!(
            (camera.make, camera.model),
            (told.make, told.model),
            "{name}"
        );
        let stamp = shot.stamp.map(|s| s.time.civil());
        let whole = stamp.map(|t| t.strftime("%Y:%m:%d %H:%M:%S").to_string());
        // Where the time of the shot is missing ours is the second-best tag, with a notice.
        if !told.date_time_original.is_empty() {
            assert_eq!(whole.unwrap_or_default(), told.date_time_original, "{name}");
        }
        let part = stamp.map_or(0, |t| t.subsec_nanosecond());
        let digits = format!("{:0<9}", told.sub_sec_time_original);
        assert_eq!(part, digits.parse().unwrap_or(0), "{name}");
        let exposure = shot.exposure;
        near(name, exposure.shutter_s, told.exposure_time);
        near(name, exposure.f_number, told.f_number);
        // That body keeps its speed in the maker's note alone.
        if name != "jpeg-named.nef" {
            near(name, exposure.iso, told.iso);
        }
        near(name, exposure.focal_mm, told.focal_length);
        assert_eq!(
            u32::from(shot.orientation.exif()),
            told.orientation.unwrap_or(1),
            "{name}"
        );
        seen += 1;
    }
    assert_eq!(seen, 15);
}

/// Draws a 24-megapixel file and says what reading it costs; run by hand, with `--ignored --nocapture`, in release.
#[test]
#[ignore = "a measurement"]
#[allow(clippy::print_stdout)]
fn what_a_large_file_costs() {
    let (width, height) = (6000, 4000);
    let value = |i: usize| {
        let (x, y) = ((i % width) as i64 - 3000, (i / width) as i64 - 2000);
        let disc = if x * x + y * y < 600 * 600 { 9000 } else { 530 };
        disc + (i * 7919 % 61) as u16
    };
    let drawn = Dng {
        width,
        height,
        values: (0..width * height).map(value).collect(),
        packing: Packing::Tiles(512, 512),
        ..busy("plain")
    };
    let path = left("large", &drawn);
    drop(drawn);
    let file = card_file(&path);
    let start = std::time::Instant::now();
    assert!(raster::raw_header(&path).is_some());
    let header_s = start.elapsed().as_secs_f64();
    let start = std::time::Instant::now();
    let frame = photograph(&file, Orientation::UPRIGHT, Reading::Light(None)).unwrap();
    let whole_s = start.elapsed().as_secs_f64();
    assert_eq!((frame.width(), frame.height()), (width, height));
    println!(
        "header {header_s:.3} s, {:.1} MB developed in {whole_s:.2} s",
        file.size_bytes as f64 / 1e6
    );
}
