//! The `exif` room, through its door.

use std::fs;
use std::path::Path;

use ::exif::{Context, Field, Tag, Value};
use contactstrip::card;
use contactstrip::domain::{CardFile, FileFormat, Severity, Shot};
use contactstrip::exif::{self, Reading};
use tempfile::TempDir;

use crate::support::header::{block, field, jpeg, ratios, short, signed_ratio, text, with_exif};
use crate::support::photos;

fn listed(dir: &Path) -> Vec<CardFile> {
    card::read(&[dir.to_owned()], &[]).unwrap().files
}

/// What is read from a file of these bytes.
fn reading(bytes: &[u8]) -> Reading {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("A.JPG"), bytes).unwrap();
    exif::read(&listed(dir.path())[0]).unwrap()
}

/// What is read from a JPEG with these tags.
fn shot_with(fields: &[Field]) -> Shot {
    reading(&with_exif(&jpeg(24, 16), &block(fields, false))).shot
}

pub(crate) fn everything() -> Vec<Field> {
    vec![
        text(Tag::Make, "NIKON CORPORATION"),
        text(Tag::Model, "NIKON D850  "),
        short(Tag::Orientation, 6),
        text(Tag::DateTime, "2019:07:05 10:00:00"),
        text(Tag::DateTimeOriginal, "2019:07:02 16:38:12"),
        text(Tag::SubSecTimeOriginal, "25"),
        text(Tag::OffsetTimeOriginal, "-04:00"),
        ratios(Tag::ExposureTime, &[(1, 800)]),
        ratios(Tag::FNumber, &[(80, 10)]),
        short(Tag::PhotographicSensitivity, 100),
        ratios(Tag::FocalLength, &[(600, 1)]),
        short(Tag::FocalLengthIn35mmFilm, 900),
        signed_ratio(Tag::ExposureBiasValue, -2, 3),
        short(Tag::ExposureMode, 2),
        text(Tag::BodySerialNumber, "3001234"),
        text(Tag::GPSLatitudeRef, "S"),
        ratios(Tag::GPSLatitude, &[(30, 1), (1, 1), (4800, 100)]),
        text(Tag::GPSLongitudeRef, "W"),
        ratios(Tag::GPSLongitude, &[(70, 1), (42, 1), (36, 1)]),
        field(Tag::GPSAltitudeRef, Value::Byte(vec![0])),
        ratios(Tag::GPSAltitude, &[(6000, 10)]),
        ratios(Tag::GPSTimeStamp, &[(20, 1), (38, 1), (11, 1)]),
        text(Tag::GPSDateStamp, "2019:07:02"),
    ]
}

fn close(a: Option<f64>, b: f64) -> bool {
    a.is_some_and(|a| (a - b).abs() < 1e-9)
}

#[test]
fn everything_in_a_full_header_is_read() {
    for little_endian in [false, true] {
        let picture = with_exif(&jpeg(24, 16), &block(&everything(), little_endian));
        let Reading { shot, notices } = reading(&picture);
        assert_eq!(notices, []);
        let camera = shot.camera.unwrap();
        assert_eq!(camera.to_string(), "NIKON D850#3001234");
        let stamp = shot.stamp.unwrap();
        assert_eq!(stamp.time.to_string(), "2019-07-02T16:38:12.25");
        assert!(stamp.has_subsec);
        assert_eq!(stamp.offset_s, Some(-4 * 3600));
        let e = shot.exposure;
        assert!(close(e.shutter_s, 1.0 / 800.0) && close(e.f_number, 8.0) && close(e.iso, 100.0));
        assert!(close(e.focal_mm, 600.0) && close(e.focal_35mm, 900.0));
        assert!(close(e.bias_ev, -2.0 / 3.0));
        assert_eq!(e.auto_bracket, Some(true));
        let gps = shot.gps.unwrap();
        assert!((gps.lat_deg + 30.03).abs() < 1e-9 && (gps.lon_deg + 70.71).abs() < 1e-9);
        assert!(close(gps.elev_m, 600.0));
        assert_eq!(gps.utc.unwrap().to_string(), "2019-07-02T20:38:11.000Z");
        assert_eq!(shot.orientation.exif(), 6);
        assert_eq!((shot.width_px, shot.height_px), (Some(16), Some(24)));
    }
}

#[test]
fn absent_stays_absent() {
    let Reading { shot, notices } = reading(&jpeg(24, 16));
    assert_eq!(notices, []);
    assert_eq!((shot.camera, shot.stamp, shot.gps), (None, None, None));
    assert_eq!(shot.exposure, Default::default());
    assert_eq!((shot.width_px, shot.height_px), (Some(24), Some(16)));
}

#[test]
fn impossible_values_are_absent() {
    let shot = shot_with(&[
        ratios(Tag::ExposureTime, &[(1, 0)]),
        ratios(Tag::FNumber, &[(0, 1)]),
        short(Tag::PhotographicSensitivity, 0),
        ratios(Tag::FocalLength, &[(u32::MAX, 1)]),
        short(Tag::FocalLengthIn35mmFilm, 0),
        signed_ratio(Tag::ExposureBiasValue, 0, 0),
        short(Tag::ExposureMode, 9),
        short(Tag::Orientation, 99),
        text(Tag::DateTimeOriginal, "0000:00:00 00:00:00"),
        text(Tag::Model, "   "),
    ]);
    assert_eq!(shot.exposure, Default::default());
    assert_eq!((shot.camera, shot.stamp), (None, None));
    assert_eq!(shot.orientation.exif(), 1);
    let zero = shot_with(&[ratios(Tag::ExposureTime, &[(0, 1)])]);
    assert_eq!(zero.exposure.shutter_s, None);
    let long = shot_with(&[ratios(Tag::ExposureTime, &[(u32::MAX, 1)])]);
    assert_eq!(long.exposure.shutter_s, None);
    let not_a_number = shot_with(&[field(Tag::ExposureTime, Value::Float(vec![f32::NAN]))]);
    assert_eq!(not_a_number.exposure.shutter_s, None);
}

#[test]
fn the_iso_is_found_where_it_is() {
    let long = |tag, value| field(tag, Value::Long(vec![value]));
    let iso = |fields: &[Field]| shot_with(fields).exposure.iso;
    assert!(close(
        iso(&[short(Tag::PhotographicSensitivity, 400)]),
        400.0
    ));
    assert!(close(
        iso(&[
            short(Tag::PhotographicSensitivity, 65_535),
            short(Tag::SensitivityType, 2),
            long(Tag::RecommendedExposureIndex, 102_400),
            long(Tag::ISOSpeed, 90_000),
        ]),
        102_400.0
    ));
    assert!(close(iso(&[long(Tag::ISOSpeed, 200)]), 200.0));
    assert!(close(
        iso(&[long(Tag::StandardOutputSensitivity, 64)]),
        64.0
    ));
}

#[test]
fn apex_values_stand_in() {
    let shot = shot_with(&[
        signed_ratio(Tag::ShutterSpeedValue, 10, 1),
        ratios(Tag::ApertureValue, &[(6, 1)]),
    ]);
    assert!(close(shot.exposure.shutter_s, 1.0 / 1024.0));
    assert!(close(shot.exposure.f_number, 8.0));
}

#[test]
fn a_second_best_time_is_said_to_be_one() {
    let tags = [
        text(Tag::DateTime, "2019:07:02 16:38:12"),
        text(Tag::SubSecTime, "5"),
    ];
    let Reading { shot, notices } = reading(&with_exif(&jpeg(8, 8), &block(&tags, true)));
    assert_eq!(
        shot.stamp.unwrap().time.to_string(),
        "2019-07-02T16:38:12.5"
    );
    assert_eq!(notices.len(), 1);
    assert!(notices[0].text().contains("last change"), "{}", notices[0]);
    assert!(shot.stamp.unwrap().of_change);
}

#[test]
fn an_offset_of_the_last_change_counts_only_if_nothing_changed() {
    let with_changed = |changed: &str| {
        shot_with(&[
            text(Tag::DateTime, changed),
            text(Tag::DateTimeOriginal, "2024:04:08 14:17:12"),
            text(Tag::OffsetTime, "-05:00"),
        ])
    };
    let same = with_changed("2024:04:08 14:17:12").stamp.unwrap();
    assert_eq!(same.offset_s, Some(-5 * 3600));
    let edited = with_changed("2024:04:10 20:00:00").stamp.unwrap();
    assert_eq!(edited.offset_s, None);
}

#[test]
fn a_place_that_cannot_be_is_absent() {
    let place = |lat: &[(u32, u32)], lat_ref: &str, lon: &[(u32, u32)], more: Option<Field>| {
        let mut fields = vec![
            text(Tag::GPSLatitudeRef, lat_ref),
            ratios(Tag::GPSLatitude, lat),
            text(Tag::GPSLongitudeRef, "W"),
            ratios(Tag::GPSLongitude, lon),
        ];
        fields.extend(more);
        shot_with(&fields).gps
    };
    let (lat, lon) = ([(30, 1), (1, 1), (48, 1)], [(70, 1), (42, 1), (36, 1)]);
    assert!(place(&lat, "S", &lon, None).is_some());
    assert_eq!(place(&lat, "Q", &lon, None), None, "no such hemisphere");
    assert_eq!(place(&[(91, 1), (0, 1), (0, 1)], "N", &lon, None), None);
    assert_eq!(place(&lat, "N", &[(181, 1), (0, 1), (0, 1)], None), None);
    assert_eq!(place(&[(30, 1), (75, 1), (0, 1)], "N", &lon, None), None);
    assert_eq!(place(&[(0, 0), (0, 0), (0, 0)], "N", &lon, None), None);
    let zero = [(0, 1), (0, 1), (0, 1)];
    let no_date = text(Tag::GPSDateStamp, "0000:00:00");
    assert_eq!(place(&zero, "N", &zero, Some(no_date)), None);
    assert_eq!(
        place(&lat, "N", &lon, Some(text(Tag::GPSStatus, "V"))),
        None
    );
    let only_lat = shot_with(&[
        text(Tag::GPSLatitudeRef, "N"),
        ratios(Tag::GPSLatitude, &lat),
    ]);
    assert_eq!(only_lat.gps, None);
}

#[test]
fn a_fix_of_another_month_is_pointed_out() {
    let mut tags = everything();
    tags.retain(|f| f.tag != Tag::GPSDateStamp);
    tags.push(text(Tag::GPSDateStamp, "2019:05:02"));
    let Reading { shot, notices } = reading(&with_exif(&jpeg(8, 8), &block(&tags, true)));
    assert!(shot.gps.is_some());
    assert_eq!(notices.len(), 1);
    assert!(notices[0].text().contains("61 days"), "{}", notices[0]);
}

#[test]
fn png_and_tiff_carry_metadata_too() {
    let dir = tempfile::tempdir().unwrap();
    write_png(&dir, "late.png", &block(&everything(), true));
    let picture = image::RgbImage::new(24, 16);
    picture.save(dir.path().join("plain.tif")).unwrap();
    let files = listed(dir.path());
    let png = exif::read(&files[0]).unwrap().shot;
    assert_eq!(png.file.format, FileFormat::Png);
    assert_eq!(
        png.stamp.unwrap().time.to_string(),
        "2019-07-02T16:38:12.25"
    );
    assert_eq!((png.width_px, png.height_px), (Some(16), Some(24)));
    let tiff = exif::read(&files[1]).unwrap().shot;
    assert_eq!((tiff.width_px, tiff.height_px), (Some(24), Some(16)));
}

/// A PNG with its metadata behind the pixels, as the standard allows.
fn write_png(dir: &TempDir, name: &str, block: &[u8]) {
    let mut out = Vec::new();
    let mut encoder = png::Encoder::new(&mut out, 24, 16);
    encoder.set_color(png::ColorType::Grayscale);
    let mut writer = encoder.write_header().unwrap();
    writer.write_image_data(&[0; 24 * 16]).unwrap();
    writer
        .write_chunk(png::chunk::ChunkType(*b"eXIf"), block)
        .unwrap();
    writer.finish().unwrap();
    fs::write(dir.path().join(name), out).unwrap();
}

#[test]
fn a_tiff_with_its_tags_at_the_end_is_read() {
    let head = block(&everything(), true);
    let push_back = 3 << 20;
    // The same block with 3 MiB of pixels before its directories: every offset moves by as much.
    let moved = move_tiff(&head, push_back);
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("far.tif"), moved).unwrap();
    let shot = exif::read(&listed(dir.path())[0]).unwrap().shot;
    assert_eq!(
        shot.stamp.unwrap().time.to_string(),
        "2019-07-02T16:38:12.25"
    );
    assert!(shot.gps.is_some());
}

/// Moves everything behind the 8-byte header of a little-endian block by `by` bytes.
fn move_tiff(block: &[u8], by: u32) -> Vec<u8> {
    let u16_at = |at: usize| u16::from_le_bytes([block[at], block[at + 1]]);
    let u32_at = |at: usize| u32::from_le_bytes(*block[at..].first_chunk().unwrap());
    let mut out = block.to_vec();
    let mut put =
        |at: usize, value: u32| out[at..at + 4].copy_from_slice(&(value + by).to_le_bytes());
    let mut directories = vec![u32_at(4) as usize];
    put(4, u32_at(4));
    while let Some(at) = directories.pop() {
        for n in 0..usize::from(u16_at(at)) {
            let entry = at + 2 + 12 * n;
            let (tag, kind, count) = (u16_at(entry), u16_at(entry + 2), u32_at(entry + 4));
            let size = [0, 1, 1, 2, 4, 8, 1, 1, 2, 4, 8, 4, 8][usize::from(kind)] * count;
            let below = matches!(tag, 0x8769 | 0x8825);
            if below {
                directories.push(u32_at(entry + 8) as usize);
            }
            if below || size > 4 {
                put(entry + 8, u32_at(entry + 8));
            }
        }
    }
    let mut moved = out[..8].to_vec();
    moved.resize(8 + by as usize, 0);
    moved.extend(&out[8..]);
    moved
}

#[test]
fn damaged_headers_lose_fields_not_files() {
    let whole = with_exif(&jpeg(24, 16), &block(&everything(), false));
    for end in [3, 10, 30, 60, 120, 200, 300, 400] {
        let Reading { shot, notices } = reading(&whole[..end]);
        assert_eq!(notices.len(), 1, "cut at {end}: {notices:?}");
        assert_eq!(shot.stamp, None, "cut at {end}");
        assert_eq!(notices[0].severity, Severity::Look);
    }
    // Every byte of the block changed in turn: no crash, and always an answer.
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("A.JPG");
    fs::write(&path, &whole).unwrap();
    let file = listed(dir.path()).remove(0);
    for at in 12..whole.len().min(900) {
        let mut changed = whole.clone();
        changed[at] ^= 0xFF;
        fs::write(&path, changed).unwrap();
        exif::read(&file).unwrap();
    }
}

#[test]
fn a_file_that_has_gone_is_an_error() {
    let dir = tempfile::tempdir().unwrap();
    fs::write(dir.path().join("A.JPG"), jpeg(8, 8)).unwrap();
    let file = listed(dir.path()).remove(0);
    drop(dir);
    let error = exif::read(&file).unwrap_err().to_string();
    assert!(error.starts_with("A.JPG: cannot be read"), "{error}");
}

#[test]
fn subseconds_that_are_always_zero_are_not_in_use() {
    let tags = |subsec: &str| {
        [
            text(Tag::Model, "A"),
            text(Tag::DateTimeOriginal, "2019:07:02 16:38:12"),
            text(Tag::SubSecTimeOriginal, subsec),
        ]
    };
    let mut unused: Vec<Shot> = (0..5).map(|_| shot_with(&tags("00"))).collect();
    exif::settle_subsec(&mut unused);
    assert!(unused.iter().all(|s| !s.stamp.unwrap().has_subsec));
    let mut used: Vec<Shot> = (0..5).map(|_| shot_with(&tags("00"))).collect();
    used.push(shot_with(&tags("07")));
    exif::settle_subsec(&mut used);
    assert!(used.iter().all(|s| s.stamp.unwrap().has_subsec));
}

#[test]
fn real_headers_are_read() {
    let Some(photos) = photos::folder() else {
        return;
    };
    let mut with_time = 0;
    for file in listed(&photos) {
        let Reading { shot, .. } = exif::read(&file).unwrap();
        with_time += usize::from(shot.stamp.is_some());
        match file.name.as_str() {
            "totality-phone-2024.jpg" => {
                let stamp = shot.stamp.unwrap();
                let offset_s = f64::from(stamp.offset_s.unwrap());
                let utc = stamp.time.read_as_utc().plus_s(-offset_s).to_string();
                assert!(
                    ("2024-04-08T19:16:16".."2024-04-08T19:19:59").contains(&utc.as_str()),
                    "taken in totality"
                );
                assert!(shot.gps.is_some());
            }
            name if name.starts_with("gps/") => assert!(shot.gps.is_some(), "{name}"),
            name if name.ends_with(".png") => assert!(shot.width_px.is_some(), "{name}"),
            _ => {}
        }
    }
    assert!(with_time >= 15, "{with_time} files with a time");
}

/// A box of an ISO base media file.
fn media_box(kind: &[u8; 4], contents: &[u8]) -> Vec<u8> {
    let size = u32::try_from(contents.len() + 8).unwrap().to_be_bytes();
    [&size, &kind[..], contents].concat()
}

/// A raw in which blocks of TIFF for the picture, the exposure and the place stand apart.
pub(crate) fn canon_raw() -> Vec<u8> {
    let of = |wanted: fn(Tag) -> bool| -> Vec<Field> {
        let fields = everything().into_iter().filter(|f| wanted(f.tag));
        // In a block of its own a tag stands in the first directory.
        let plain = |f: Field| field(Tag(Context::Tiff, f.tag.number()), f.value);
        fields.map(plain).collect()
    };
    let blocks = [
        (b"CMT1", of(|tag| tag.context() == Context::Tiff)),
        (b"CMT2", of(|tag| tag.context() == Context::Exif)),
        (b"CMT4", of(|tag| tag.context() == Context::Gps)),
    ];
    let mut canon = b"\x85\xC0\xB6\x87\x82\x0F\x11\xE0\x81\x11\xF4\xCE\x46\x2B\x6A\x48".to_vec();
    for (kind, fields) in blocks {
        canon.extend(media_box(kind, &block(&fields, true)));
    }
    let moov = media_box(b"moov", &media_box(b"uuid", &canon));
    [media_box(b"ftyp", b"crx \0\0\0\x01crx isom"), moov].concat()
}

pub(crate) fn fujifilm_raw() -> Vec<u8> {
    let mut raw = b"FUJIFILMCCD-RAW 0201".to_vec();
    raw.resize(160, 0);
    raw[84..88].copy_from_slice(&160_u32.to_be_bytes());
    raw.extend(with_exif(&jpeg(24, 16), &block(&everything(), false)));
    raw
}

pub(crate) fn minolta_raw() -> Vec<u8> {
    let tags = block(&everything(), false);
    let size = |len: usize| u32::try_from(len).unwrap().to_be_bytes();
    let settings = [&b"\0PRD"[..], &size(4), b"none"].concat();
    let ttw = [&b"\0TTW"[..], &size(tags.len()), &tags].concat();
    let body = [settings, ttw].concat();
    [&b"\0MRM"[..], &size(body.len()), &body].concat()
}

/// The block as TIFF but for the mark of a maker.
fn marked(mark: &[u8; 4]) -> Vec<u8> {
    let mut raw = block(&everything(), mark[0] == b'I');
    raw[..4].copy_from_slice(mark);
    raw
}

/// A HEIF with nothing in it but metadata (ISO/IEC 23008-12, annex A).
pub(crate) fn heif() -> Vec<u8> {
    let tags = [&b"\0\0\0\0"[..], &block(&everything(), false)].concat();
    let length = u32::try_from(tags.len()).unwrap().to_be_bytes();
    let entry = media_box(b"infe", b"\x02\0\0\0\0\x01\0\0Exif\0");
    let items = media_box(b"iinf", &[&b"\0\0\0\0\0\x01"[..], &entry].concat());
    // Version 1, sizes of 4 bytes, one item in `idat` with one extent from 0.
    let place = [
        &b"\x01\0\0\0\x44\0\0\x01\0\x01\0\x01\0\0\0\x01\0\0\0\0"[..],
        &length,
    ]
    .concat();
    let inside = [items, media_box(b"iloc", &place), media_box(b"idat", &tags)].concat();
    let meta = media_box(b"meta", &[&b"\0\0\0\0"[..], &inside].concat());
    [media_box(b"ftyp", b"heic\0\0\0\0mif1heic"), meta].concat()
}

#[test]
fn raw_and_heif_containers_are_opened() {
    let files = [
        ("a.cr3", canon_raw(), FileFormat::Raw),
        ("b.raf", fujifilm_raw(), FileFormat::Raw),
        ("c.mrw", minolta_raw(), FileFormat::Raw),
        ("d.rw2", marked(b"IIU\0"), FileFormat::Raw),
        ("e.orf", marked(b"IIRO"), FileFormat::Raw),
        ("f.orf", marked(b"MMOR"), FileFormat::Raw),
        ("g.heic", heif(), FileFormat::Heif),
    ];
    let dir = tempfile::tempdir().unwrap();
    for (name, bytes, _) in &files {
        fs::write(dir.path().join(name), bytes).unwrap();
    }
    for (file, (name, bytes, format)) in listed(dir.path()).into_iter().zip(&files) {
        assert_eq!((file.name.as_str(), file.format), (*name, *format));
        let Reading { shot, notices } = exif::read(&file).unwrap();
        assert_eq!(notices, [], "{name}");
        assert_eq!(shot.camera.unwrap().model, "NIKON D850", "{name}");
        let stamp = shot.stamp.unwrap();
        assert_eq!(stamp.time.to_string(), "2019-07-02T16:38:12.25", "{name}");
        assert!(close(shot.exposure.shutter_s, 1.0 / 800.0), "{name}");
        assert!((shot.gps.unwrap().lat_deg + 30.03).abs() < 1e-9, "{name}");
        // Cut anywhere: an answer, no crash.
        for end in (16..bytes.len()).step_by(7) {
            fs::write(&file.path, &bytes[..end]).unwrap();
            exif::read(&file).unwrap();
        }
    }
}
