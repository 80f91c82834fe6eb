//! The `card` room, through its door.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use contactstrip::card::{self, CardError, CardListing};
use contactstrip::domain::{FileFormat, FilmContainer, StrayKind};
use tempfile::TempDir;

use crate::support::{header, photos};

const JPEG: &[u8] = b"\xFF\xD8\xFF\xE0rest";
const PNG: &[u8] = b"\x89PNG\r\n\x1A\nrest";
const CR2: &[u8] = b"II\x2A\x00\x10\x00\x00\x00CR\x02\x00rest";
const CR3: &[u8] = b"\x00\x00\x00\x18ftypcrx \x00\x00\x00\x01crx isom";
const HEIC: &[u8] = b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic";
const MOV: &[u8] = b"\x00\x00\x00\x14ftypqt  \x00\x00\x00\x00qt  ";

/// A temporary card with these files.
fn card(files: &[(&str, &[u8])]) -> TempDir {
    let dir = tempfile::tempdir().unwrap();
    for (name, bytes) in files {
        let path = dir.path().join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, bytes).unwrap();
    }
    dir
}

fn read(card: &TempDir) -> CardListing {
    card::read(&[card.path().to_owned()], &[]).unwrap()
}

fn names(listing: &CardListing) -> Vec<&str> {
    listing.files.iter().map(|f| f.name.as_str()).collect()
}

fn format_of(listing: &CardListing, name: &str) -> Option<FileFormat> {
    let found = listing.files.iter().find(|f| f.name == name);
    found.map(|f| f.format)
}

fn reason(listing: &CardListing, name: &str) -> String {
    let found = listing.strays.iter().find(|(n, _)| n == name);
    let (_, kind) = found.unwrap_or_else(|| panic!("{name} is no stray"));
    kind.to_string()
}

#[test]
fn bytes_decide_not_names() {
    let card = card(&[
        ("jpeg.nef", JPEG),
        ("png.JPG", PNG),
        ("a.cr2", CR2),
        ("b.CR3", CR3),
        ("c.heic", HEIC),
        ("c.raf", b"FUJIFILMCCD-RAW 0201"),
        ("d.rw2", b"IIU\x00rest"),
        ("e.orf", b"IIROrest"),
        ("f.crw", b"II\x1A\x00\x00\x00HEAPCCDR"),
        ("g.mrw", b"\x00MRM\x00\x00rest"),
    ]);
    let listing = read(&card);
    assert_eq!(format_of(&listing, "jpeg.nef"), Some(FileFormat::Jpeg));
    assert_eq!(format_of(&listing, "png.JPG"), Some(FileFormat::Png));
    assert_eq!(format_of(&listing, "c.heic"), Some(FileFormat::Heif));
    for raw in [
        "a.cr2", "b.CR3", "c.raf", "d.rw2", "e.orf", "f.crw", "g.mrw",
    ] {
        assert_eq!(format_of(&listing, raw), Some(FileFormat::Raw), "{raw}");
    }
    assert!(listing.strays.is_empty(), "{:?}", listing.strays);
}

#[test]
fn tags_tell_a_raw_tiff_from_a_finished_one() {
    use exif::{Context, Tag};
    let subfile = Tag(Context::Tiff, 0x00FE);
    let photometric = Tag::PhotometricInterpretation;
    let rgb = header::block(&[header::short(photometric, 2)], true);
    let mosaic = header::block(&[header::short(photometric, 32_803)], false);
    let dng_version = header::short(Tag(Context::Tiff, 0xC612), 1);
    let dng = header::block(&[header::short(photometric, 2), dng_version], true);
    let below = header::short(Tag(Context::Tiff, 0x014A), 8);
    let reduced = header::block(
        &[
            header::short(subfile, 1),
            header::short(photometric, 2),
            below,
        ],
        true,
    );
    let card = card(&[
        ("finished.tif", &rgb),
        ("finished.nef", &rgb),
        ("mosaic.tif", &mosaic),
        ("dng.tif", &dng),
        ("reduced.nef", &reduced),
        ("far.nef", b"II\x2A\x00\xFF\xFF\xFF\x00"),
        ("far.tif", b"II\x2A\x00\xFF\xFF\xFF\x00"),
    ]);
    let listing = read(&card);
    for tiff in ["finished.tif", "finished.nef", "far.tif"] {
        assert_eq!(format_of(&listing, tiff), Some(FileFormat::Tiff), "{tiff}");
    }
    for raw in ["mosaic.tif", "dng.tif", "reduced.nef", "far.nef"] {
        assert_eq!(format_of(&listing, raw), Some(FileFormat::Raw), "{raw}");
    }
}

#[test]
fn strays_are_accounted_for() {
    let card = card(&[
        ("DCIM/100CANON/IMG_0001.JPG", JPEG),
        ("DCIM/100CANON/._IMG_0001.JPG", b"\x00\x05\x16\x07\x00\x02"),
        ("DCIM/100CANON/MVI_0002.MOV", MOV),
        ("DCIM/100CANON/MVI_0002.THM", JPEG),
        ("DCIM/100CANON/IMG_0003.JPG", b""),
        ("DCIM/100CANON/IMG_0004.JPG", b"not a picture at all"),
        ("PRIVATE/M4ROOT/THMBNL/C0001T01.JPG", JPEG),
        ("notes.txt", "Südwind, klar".as_bytes()),
        ("empty", b""),
        ("CANONMSC/M0100.CTG", &[0, 1, 2, 3, 200]),
    ]);
    let listing = read(&card);
    assert_eq!(
        names(&listing),
        [
            "DCIM/100CANON/IMG_0001.JPG",
            "DCIM/100CANON/IMG_0003.JPG",
            "DCIM/100CANON/IMG_0004.JPG"
        ]
    );
    for lost in ["DCIM/100CANON/IMG_0003.JPG", "DCIM/100CANON/IMG_0004.JPG"] {
        assert_eq!(format_of(&listing, lost), Some(FileFormat::Other), "{lost}");
    }
    assert!(reason(&listing, "DCIM/100CANON/._IMG_0001.JPG").contains("AppleDouble"));
    assert_eq!(listing.films[0].name, "DCIM/100CANON/MVI_0002.MOV");
    assert!(reason(&listing, "DCIM/100CANON/MVI_0002.THM").contains("thumbnail"));
    assert!(reason(&listing, "PRIVATE/M4ROOT/THMBNL/C0001T01.JPG").contains("thumbnails"));
    assert_eq!(reason(&listing, "notes.txt"), "text");
    assert_eq!(reason(&listing, "empty"), "empty file");
    assert_eq!(reason(&listing, "CANONMSC/M0100.CTG"), "not a picture");
}

/// Films in every container cameras write, one in a folder of thumbnails, one that is only named like a film.
fn films() -> TempDir {
    let packets = |step: usize, before: usize| {
        let mut bytes = vec![0; 8 * step];
        bytes
            .iter_mut()
            .skip(before)
            .step_by(step)
            .for_each(|b| *b = 0x47);
        bytes
    };
    card(&[
        ("DCIM/100CANON/IMG_0001.JPG", JPEG),
        ("DCIM/100CANON/MVI_0002.MOV", MOV),
        (
            "DCIM/100CANON/MVI_0003.MP4",
            b"\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00mp42isom",
        ),
        (
            "DCIM/100CANON/MVI_0004.MOV",
            b"\x00\x00\x00\x08wide\x00\x00\x00\x08mdat",
        ),
        ("PRIVATE/AVCHD/BDMV/STREAM/00000.MTS", &packets(192, 4)),
        ("plain.ts", &packets(188, 0)),
        ("old.avi", b"RIFF\x00\x00\x00\x00AVI LIST"),
        ("old.mpg", b"\x00\x00\x01\xBA\x44\x00\x04"),
        (
            "sound.m4a",
            b"\x00\x00\x00\x18ftypM4A \x00\x00\x00\x00M4A isom",
        ),
        ("THMBNL/C0001.MP4", MOV),
        ("named.mov", b"a note"),
        ("empty.mp4", b""),
    ])
}

#[test]
fn films_are_told_by_their_bytes() {
    let listing = read(&films());
    assert_eq!(names(&listing), ["DCIM/100CANON/IMG_0001.JPG"]);
    let films: Vec<(&str, FilmContainer)> = listing
        .films
        .iter()
        .map(|film| (film.name.as_str(), film.container))
        .collect();
    assert_eq!(
        films,
        [
            ("DCIM/100CANON/MVI_0002.MOV", FilmContainer::Quicktime),
            ("DCIM/100CANON/MVI_0003.MP4", FilmContainer::Mp4),
            ("DCIM/100CANON/MVI_0004.MOV", FilmContainer::Quicktime),
            (
                "PRIVATE/AVCHD/BDMV/STREAM/00000.MTS",
                FilmContainer::TransportStream
            ),
            ("old.avi", FilmContainer::Avi),
            ("old.mpg", FilmContainer::ProgramStream),
            ("plain.ts", FilmContainer::TransportStream),
        ]
    );
    assert_eq!(reason(&listing, "sound.m4a"), "sound");
    assert!(reason(&listing, "THMBNL/C0001.MP4").contains("thumbnails"));
    assert_eq!(reason(&listing, "named.mov"), "text");
    assert_eq!(reason(&listing, "empty.mp4"), "empty file");
}

#[test]
fn order_follows_folders_and_numbers_round_the_turn() {
    let card = card(&[
        ("DCIM/100NIKON/DSC_9998.JPG", JPEG),
        ("DCIM/100NIKON/DSC_9999.JPG", JPEG),
        ("DCIM/101NIKON/DSC_0001.JPG", JPEG),
        ("DCIM/100EOS_R/IMG_0001.JPG", JPEG),
        ("DCIM/100EOS_R/IMG_9999.JPG", JPEG),
        ("DCIM/100EOS_R/IMG_9999.CR3", CR3),
    ]);
    assert_eq!(
        names(&read(&card)),
        [
            "DCIM/100EOS_R/IMG_9999.CR3",
            "DCIM/100EOS_R/IMG_9999.JPG",
            "DCIM/100EOS_R/IMG_0001.JPG",
            "DCIM/100NIKON/DSC_9998.JPG",
            "DCIM/100NIKON/DSC_9999.JPG",
            "DCIM/101NIKON/DSC_0001.JPG",
        ]
    );
}

#[test]
fn several_cards_are_told_apart() {
    let both = tempfile::tempdir().unwrap();
    let cards: Vec<PathBuf> = ["left/CARD", "right/CARD", "other"]
        .iter()
        .map(|name| both.path().join(name))
        .collect();
    for card in &cards {
        fs::create_dir_all(card).unwrap();
        fs::write(card.join("DSC_0001.JPG"), JPEG).unwrap();
    }
    let listing = card::read(&cards, &[]).unwrap();
    assert_eq!(
        names(&listing).into_iter().collect::<BTreeSet<_>>(),
        BTreeSet::from([
            "CARD/DSC_0001.JPG",
            "CARD-2/DSC_0001.JPG",
            "other/DSC_0001.JPG"
        ])
    );
}

#[test]
fn nothing_is_read_twice_and_out_is_left_out() {
    let card = card(&[("DCIM/A.JPG", JPEG), ("out/phases/B.JPG", JPEG)]);
    let inner = card.path().join("DCIM");
    let out = card.path().join("out");
    let listing = card::read(&[card.path().to_owned(), inner], &[out]).unwrap();
    assert_eq!(listing.files.len(), 1, "{:?}", names(&listing));
    assert!(listing.strays.is_empty());
}

#[test]
fn a_raw_is_paired_with_its_jpeg() {
    let card = card(&[
        ("a/DSC_0001.CR2", CR2),
        ("a/dsc_0001.jpg", JPEG),
        ("b/DSC_0001.JPG", JPEG),
        ("b/DSC_0002.NEF", JPEG),
        ("b/DSC_0002.JPG", JPEG),
        ("b/DSC_0003.CR3", CR3),
        ("b/DSC_0003.HIF", HEIC),
    ]);
    let listing = read(&card);
    let pairs: Vec<(&str, &str)> = card::siblings(&listing.files)
        .iter()
        .map(|p| {
            let name = |i: usize| listing.files[i].name.as_str();
            (name(p.raw), name(p.picture))
        })
        .collect();
    assert_eq!(
        pairs,
        [
            ("a/DSC_0001.CR2", "a/dsc_0001.jpg"),
            ("b/DSC_0003.CR3", "b/DSC_0003.HIF")
        ]
    );
}

#[test]
fn a_card_that_cannot_be_read_says_why() {
    let dir = card(&[("file.jpg", JPEG)]);
    let at = |name: &str| card::read(&[dir.path().join(name)], &[]).unwrap_err();
    assert!(matches!(at("absent"), CardError::Missing(_)));
    assert!(at("absent").to_string().contains("no such folder"));
    assert!(matches!(at("file.jpg"), CardError::NotAFolder(_)));
    assert!(matches!(card::read(&[], &[]), Err(CardError::NoCard)));
}

#[cfg(unix)]
#[test]
fn links_neither_loop_nor_lead_away() {
    use std::os::unix::fs::symlink;
    let elsewhere = card(&[("E.JPG", JPEG)]);
    let card = card(&[("DCIM/A.JPG", JPEG)]);
    let at = |name: &str| card.path().join(name);
    symlink(card.path(), at("DCIM/loop")).unwrap();
    symlink("/", at("everything")).unwrap();
    symlink(at("DCIM"), at("again")).unwrap();
    symlink(at("DCIM/A.JPG"), at("link.jpg")).unwrap();
    symlink(at("gone"), at("dangling.jpg")).unwrap();
    symlink(elsewhere.path(), at("elsewhere")).unwrap();
    let listing = read(&card);
    assert_eq!(names(&listing), ["DCIM/A.JPG", "elsewhere/E.JPG"]);
    assert!(reason(&listing, "link.jpg").contains("its own name"));
    assert!(reason(&listing, "dangling.jpg").contains("not there"));
    assert_eq!(listing.notices.len(), 3, "{:?}", listing.notices);
}

#[cfg(unix)]
#[test]
fn names_that_are_no_text_are_shown_and_kept_apart() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    let card = card(&[("a%FF.jpg", JPEG)]);
    fs::write(card.path().join(OsStr::from_bytes(b"a\xFF.jpg")), JPEG).unwrap();
    let listing = read(&card);
    let shown: BTreeSet<&str> = names(&listing).into_iter().collect();
    assert_eq!(shown, BTreeSet::from(["a%FF.jpg", "a%FF.jpg~2"]));
    for file in &listing.files {
        assert_eq!(fs::read(&file.path).unwrap(), JPEG);
    }
}

#[cfg(target_os = "linux")]
#[test]
fn what_is_no_file_is_not_opened() {
    let card = card(&[("A.JPG", JPEG)]);
    let pipe = card.path().join("pipe.jpg");
    let made = std::process::Command::new("mkfifo").arg(&pipe).status();
    assert!(made.unwrap().success());
    let listing = read(&card);
    assert_eq!(names(&listing), ["A.JPG"]);
    assert!(reason(&listing, "pipe.jpg").contains("not opened"));
}

#[test]
fn ten_thousand_files_are_all_there() {
    let dir = tempfile::tempdir().unwrap();
    for n in 0..10_000 {
        let folder = dir.path().join(format!("{}APPLE", 100 + n / 1000));
        if n % 1000 == 0 {
            fs::create_dir(&folder).unwrap();
        }
        fs::write(folder.join(format!("IMG_{:04}.JPG", n % 9999 + 1)), JPEG).unwrap();
    }
    let listing = card::read(&[dir.path().to_owned()], &[]).unwrap();
    assert_eq!(listing.files.len() + listing.strays.len(), 10_000);
}

/// Names with contents' length and time of change: what reading must leave as it is.
fn state(dir: &Path) -> Vec<(PathBuf, u64, std::time::SystemTime)> {
    let mut all = Vec::new();
    for entry in walkdir::WalkDir::new(dir).sort_by_file_name() {
        let entry = entry.unwrap();
        let meta = entry.metadata().unwrap();
        all.push((
            entry.path().to_owned(),
            meta.len(),
            meta.modified().unwrap(),
        ));
    }
    all
}

#[test]
fn real_photographs_are_all_accounted_for() {
    let Some(photos) = photos::folder() else {
        return;
    };
    let before = state(&photos);
    let files_there = before.iter().filter(|(path, ..)| path.is_file()).count();
    let listing = card::read(std::slice::from_ref(&photos), &[]).unwrap();
    assert_eq!(listing.files.len() + listing.strays.len(), files_there);
    assert_eq!(listing.strays, [("CREDITS.md".to_owned(), StrayKind::Text)]);
    assert_eq!(listing.notices, []);
    assert_eq!(
        format_of(&listing, "raw/jpeg-named.nef"),
        Some(FileFormat::Jpeg)
    );
    for file in listing.files.iter().filter(|f| f.name.starts_with("raw/")) {
        if file.name != "raw/jpeg-named.nef" {
            assert_eq!(file.format, FileFormat::Raw, "{}", file.name);
        }
    }
    assert_eq!(state(&photos), before, "reading changes nothing");
}
