//! The `export` room, through its door.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use contactstrip::catalogue::{self, CameraRecord, Catalogue, ShotRecord};
use contactstrip::domain::{
    CameraId, CardFile, ClockCorrection, ClockOutcome, ContactKind, Exposure, FileFormat, Flag,
    Flags, Orientation, Phase, Role, Shot, Utc, ZoneSource,
};
use contactstrip::export::{
    self, Action, ExportError, ExportOptions, ExportOutcome, MANIFEST_FILE, SidecarNames,
};
use tempfile::TempDir;
use walkdir::WalkDir;

use crate::support::photos;

const COPIES: ExportOptions = ExportOptions {
    link: false,
    sidecars: None,
};

fn record(card: &Path, name: &str, phase: Phase) -> ShotRecord {
    ShotRecord {
        shot: Shot {
            file: CardFile {
                name: name.to_owned(),
                path: card.join(name),
                format: FileFormat::Jpeg,
                size_bytes: 0,
                modified: None,
            },
            camera: None,
            stamp: None,
            gps: None,
            exposure: Exposure::default(),
            orientation: Orientation::UPRIGHT,
            width_px: None,
            height_px: None,
        },
        role: Some(Role::Tele),
        utc: None,
        utc_sigma_s: None,
        phase,
        near_contact: None,
        burst: None,
        disc: None,
        no_disc: None,
        look: None,
        north_deg: None,
        mirrored: None,
        predicted: None,
        quality: None,
        flags: Flags::default(),
        sibling: None,
    }
}

fn catalogue(shots: Vec<ShotRecord>) -> Catalogue {
    Catalogue {
        corona: None,
        version: catalogue::VERSION,
        program: String::new(),
        cards: Vec::new(),
        sources: Vec::new(),
        site_source: None,
        zone: None,
        contacts: None,
        cameras: Vec::new(),
        shots,
        films: Vec::new(),
        strays: Vec::new(),
        notices: Vec::new(),
    }
}

/// A card with a file for each shot, holding the shot's name, changed at a known time.
fn fill(card: &Path, shots: &[ShotRecord]) {
    for shot in shots {
        let path = &shot.shot.file.path;
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, shot.name()).unwrap();
        let file = fs::File::options().write(true).open(path).unwrap();
        let then = std::time::UNIX_EPOCH + std::time::Duration::from_millis(1_562_099_892_250);
        file.set_modified(then).unwrap();
    }
    assert!(card.is_dir());
}

struct Place {
    _dir: TempDir,
    card: PathBuf,
    out: PathBuf,
}

fn place() -> Place {
    let dir = tempfile::tempdir().unwrap();
    let (card, out) = (dir.path().join("card"), dir.path().join("out"));
    fs::create_dir(&card).unwrap();
    Place {
        _dir: dir,
        card,
        out,
    }
}

/// Five shots of all kinds on a card.
fn five(place: &Place) -> Catalogue {
    let mut wide = record(&place.card, "DCIM/100CANON/IMG_0001.JPG", Phase::Totality);
    wide.role = Some(Role::Wide);
    let mut odd = record(&place.card, "DCIM/100CANON/IMG_0002.JPG", Phase::Unrelated);
    odd.role = Some(Role::Wide);
    let shots = vec![
        record(&place.card, "DCIM/100NIKON/DSC_0001.JPG", Phase::Ingress),
        record(&place.card, "DCIM/101NIKON/DSC_0001.JPG", Phase::Ingress),
        record(&place.card, "DCIM/101NIKON/DSC_0002.JPG", Phase::Totality),
        wide,
        odd,
    ];
    fill(&place.card, &shots);
    catalogue(shots)
}

fn run(catalogue: &Catalogue, out: &Path, options: &ExportOptions) -> ExportOutcome {
    let plan = export::plan(catalogue, out, options);
    export::carry_out(&plan, &mut |_| {}).unwrap()
}

/// Every file below a folder with its contents.
fn contents(dir: &Path) -> BTreeMap<String, Vec<u8>> {
    let files = WalkDir::new(dir).into_iter().filter_map(Result::ok);
    files
        .filter(|entry| entry.file_type().is_file())
        .map(|entry| {
            let below = entry.path().strip_prefix(dir).unwrap();
            let name = below.to_str().unwrap().to_owned();
            (name, fs::read(entry.path()).unwrap())
        })
        .collect()
}

const FIVE_PLACES: [&str; 5] = [
    "phases/2-ingress/DCIM-100NIKON-DSC_0001.JPG",
    "phases/2-ingress/DCIM-101NIKON-DSC_0001.JPG",
    "phases/4-totality/DSC_0002.JPG",
    "phases/unrelated/IMG_0002.JPG",
    "phases/wide/4-totality/IMG_0001.JPG",
];

#[test]
fn each_shot_goes_to_its_phase() {
    let place = place();
    let catalogue = five(&place);
    let before = contents(&place.card);
    let outcome = run(&catalogue, &place.out, &COPIES);
    assert_eq!((outcome.made, outcome.kept), (5, 0));
    assert_eq!((outcome.missing, outcome.notices), (vec![], vec![]));
    let mut made = contents(&place.out);
    assert!(made.remove(MANIFEST_FILE).is_some());
    assert_eq!(made.keys().collect::<Vec<_>>(), FIVE_PLACES);
    assert_eq!(made[FIVE_PLACES[1]], b"DCIM/101NIKON/DSC_0001.JPG");
    let times = |path: PathBuf| fs::metadata(path).unwrap().modified().unwrap();
    assert_eq!(
        times(place.out.join(FIVE_PLACES[2])),
        times(place.card.join("DCIM/101NIKON/DSC_0002.JPG"))
    );
    assert_eq!(contents(&place.card), before);
}

#[test]
fn a_dry_run_prints_what_a_real_run_does() {
    let place = place();
    let catalogue = five(&place);
    let plan = export::plan(&catalogue, &place.out, &COPIES);
    let text = plan.text();
    assert!(!place.out.exists(), "planning writes nothing");
    export::carry_out(&plan, &mut |_| {}).unwrap();
    let copied: Vec<&str> = text
        .lines()
        .filter_map(|line| line.strip_prefix("copy ")?.split_once(" -> "))
        .map(|(_, below)| below)
        .collect();
    let mut copied_sorted = copied.clone();
    copied_sorted.sort_unstable();
    assert_eq!(copied_sorted, FIVE_PLACES);
    assert!(text.ends_with("5 to copy, 0 to link, 0 sidecars to write, 0 there already, 0 in the way of other files, 0 missing\n"));
    let again = export::plan(&catalogue, &place.out, &COPIES);
    assert!(again.steps.iter().all(|step| step.action == Action::Keep));
}

#[test]
fn a_second_run_changes_nothing() {
    let place = place();
    let catalogue = five(&place);
    run(&catalogue, &place.out, &COPIES);
    let first = contents(&place.out);
    let outcome = run(&catalogue, &place.out, &COPIES);
    assert_eq!((outcome.made, outcome.kept), (0, 5));
    assert_eq!(contents(&place.out), first);
}

#[test]
fn nothing_is_overwritten() {
    let place = place();
    let catalogue = five(&place);
    let taken = place.out.join(FIVE_PLACES[2]);
    let same = place.out.join(FIVE_PLACES[3]);
    for (path, text) in [
        (&taken, "somebody's work"),
        (&same, "DCIM/100CANON/IMG_0002.JPG"),
    ] {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(path, text).unwrap();
    }
    let outcome = run(&catalogue, &place.out, &COPIES);
    assert_eq!(
        (outcome.made, outcome.kept, outcome.missing.len()),
        (3, 1, 1)
    );
    assert_eq!(outcome.missing[0].0, FIVE_PLACES[2]);
    assert_eq!(fs::read_to_string(&taken).unwrap(), "somebody's work");
    // Taking it back leaves both, for neither was made here.
    assert_eq!(
        export::undo(&catalogue, &place.out, false)
            .unwrap()
            .removed
            .len(),
        3
    );
    assert_eq!(
        contents(&place.out).into_keys().collect::<Vec<_>>(),
        [FIVE_PLACES[2], FIVE_PLACES[3]]
    );
}

#[test]
fn a_file_that_appears_after_planning_is_spared() {
    let place = place();
    let catalogue = five(&place);
    let plan = export::plan(&catalogue, &place.out, &COPIES);
    let taken = place.out.join(FIVE_PLACES[0]);
    fs::create_dir_all(taken.parent().unwrap()).unwrap();
    fs::write(&taken, "DCIM/100NIKON/DSC_0001.JPG").unwrap();
    let outcome = export::carry_out(&plan, &mut |_| {}).unwrap();
    assert_eq!((outcome.made, outcome.missing.len()), (4, 1));
    export::undo(&catalogue, &place.out, false).unwrap();
    assert!(taken.exists(), "the same contents, but not made here");
}

#[test]
fn an_interrupted_export_goes_on_to_the_same_end() {
    let whole = place();
    run(&five(&whole), &whole.out, &COPIES);
    let place = place();
    let catalogue = five(&place);
    let plan = export::plan(&catalogue, &place.out, &COPIES);
    // Stopped in the middle: the listener breaks down before the fourth file.
    let stopped = std::panic::catch_unwind(|| {
        export::carry_out(&plan, &mut |p| assert!(p.done < 3, "stopped on purpose"))
    });
    assert!(stopped.is_err());
    let list = place.out.join(MANIFEST_FILE);
    let mut text = fs::read(&list).unwrap();
    text.extend(b"{\"file\":{\"below\":\"phases/2-in");
    fs::write(&list, text).unwrap();
    let outcome = run(&catalogue, &place.out, &COPIES);
    assert_eq!((outcome.made, outcome.kept), (2, 3));
    assert_eq!(contents(&place.out), contents(&whole.out));
}

#[test]
fn undo_removes_exactly_what_was_made() {
    let place = place();
    let catalogue = five(&place);
    let card_before = contents(&place.card);
    fs::create_dir_all(&place.out).unwrap();
    fs::write(place.out.join("strip.toml"), "mine").unwrap();
    run(&catalogue, &place.out, &COPIES);
    fs::write(place.out.join(FIVE_PLACES[2]), "edited since").unwrap();
    fs::write(place.out.join("phases/unrelated/notes.txt"), "mine").unwrap();
    let outcome = export::undo(&catalogue, &place.out, false).unwrap();
    assert_eq!(outcome.removed.len(), 4);
    assert_eq!(outcome.changed, [FIVE_PLACES[2]]);
    assert_eq!(
        contents(&place.out).into_keys().collect::<Vec<_>>(),
        [FIVE_PLACES[2], "phases/unrelated/notes.txt", "strip.toml"]
    );
    assert!(!place.out.join("phases/2-ingress").exists());
    assert_eq!(contents(&place.card), card_before);
    assert!(matches!(
        export::undo(&catalogue, &place.out, false),
        Err(ExportError::NothingMade(_))
    ));
}

#[test]
fn a_list_that_was_tampered_with_leads_nowhere_else() {
    let place = place();
    let catalogue = five(&place);
    run(&catalogue, &place.out, &COPIES);
    let victim = place.card.join("DCIM/100NIKON/DSC_0001.JPG");
    let copy = fs::read_to_string(place.out.join(MANIFEST_FILE)).unwrap();
    let line = copy.lines().find(|l| l.contains(FIVE_PLACES[0])).unwrap();
    let outside = line.replace(FIVE_PLACES[0], "../card/DCIM/100NIKON/DSC_0001.JPG");
    fs::write(place.out.join(MANIFEST_FILE), format!("{copy}{outside}\n")).unwrap();
    export::undo(&catalogue, &place.out, false).unwrap();
    assert!(victim.exists());
}

#[cfg(unix)]
#[test]
fn links_share_the_original() {
    use std::os::unix::fs::MetadataExt;
    let place = place();
    let catalogue = five(&place);
    let options = ExportOptions {
        link: true,
        ..COPIES
    };
    assert!(
        export::plan(&catalogue, &place.out, &options)
            .text()
            .contains("5 to link")
    );
    let outcome = run(&catalogue, &place.out, &options);
    assert_eq!(outcome.made, 5);
    assert!(
        outcome.notices[0].text().contains("originals"),
        "a caution is given"
    );
    let inode = |path: PathBuf| fs::metadata(path).unwrap().ino();
    assert_eq!(
        inode(place.out.join(FIVE_PLACES[2])),
        inode(place.card.join("DCIM/101NIKON/DSC_0002.JPG"))
    );
    assert_eq!(
        export::undo(&catalogue, &place.out, false)
            .unwrap()
            .removed
            .len(),
        5
    );
    assert!(place.card.join("DCIM/101NIKON/DSC_0002.JPG").exists());
}

#[test]
fn a_pulled_card_is_listed_and_made_good_later() {
    let place = place();
    let catalogue = five(&place);
    let gone = place.card.join("DCIM/101NIKON");
    let aside = place.card.join("aside");
    let plan = export::plan(&catalogue, &place.out, &COPIES);
    fs::rename(&gone, &aside).unwrap();
    let outcome = export::carry_out(&plan, &mut |_| {}).unwrap();
    assert_eq!((outcome.made, outcome.missing.len()), (3, 2));
    let planned_without = export::plan(&catalogue, &place.out, &COPIES);
    assert!(planned_without.text().contains("2 missing"));
    fs::rename(&aside, &gone).unwrap();
    let outcome = run(&catalogue, &place.out, &COPIES);
    assert_eq!(
        (outcome.made, outcome.kept, outcome.missing.len()),
        (2, 3, 0)
    );
}

#[test]
fn a_raw_goes_with_its_jpeg() {
    let place = place();
    let mut jpeg = record(&place.card, "a/DSC_0001.JPG", Phase::Totality);
    jpeg.sibling = Some("a/DSC_0001.NEF".to_owned());
    let raw = record(&place.card, "a/DSC_0001.NEF", Phase::Totality);
    let other = record(&place.card, "b/DSC_0001.JPG", Phase::Totality);
    fill(&place.card, &[jpeg.clone(), raw.clone(), other.clone()]);
    let expected = ["a-DSC_0001.JPG", "a-DSC_0001.NEF", "b-DSC_0001.JPG"];
    // Whether the raw has a row of its own or not.
    for shots in [vec![jpeg.clone(), other.clone()], vec![jpeg, raw, other]] {
        let plan = export::plan(&catalogue(shots), &place.out, &COPIES);
        let names: Vec<&str> = plan
            .steps
            .iter()
            .map(|s| s.below.rsplit('/').next().unwrap())
            .collect();
        assert_eq!(names, expected);
    }
}

#[test]
fn names_that_differ_only_in_case_are_kept_apart() {
    let place = place();
    let shots = ["a.jpg", "A.JPG", "A.jpg"].map(|name| record(&place.card, name, Phase::After));
    let plan = export::plan(&catalogue(shots.to_vec()), &place.out, &COPIES);
    let names: Vec<&str> = plan
        .steps
        .iter()
        .map(|s| s.below.rsplit('/').next().unwrap())
        .collect();
    assert_eq!(names, ["a.jpg", "A~2.JPG", "A~3.jpg"]);
}

#[test]
fn sidecars_carry_phase_time_and_rating() {
    let place = place();
    let body = CameraId {
        make: "NIKON".into(),
        model: "D850".into(),
        serial: None,
    };
    let mut shot = record(&place.card, "DSC_0001.NEF", Phase::SecondContact);
    shot.shot.camera = Some(body.clone());
    shot.utc = Some(Utc::new("2019-07-02T20:38:11.5Z".parse().unwrap()));
    shot.quality = Some(0.71);
    shot.near_contact = Some(ContactKind::C2);
    shot.flags = Flags::from_iter([Flag::Clipped]);
    let unreadable = record(&place.card, "DSC_0002.NEF", Phase::Unreadable);
    let shots = vec![shot, unreadable];
    fill(&place.card, &shots);
    let mut catalogue = catalogue(shots);
    catalogue.cameras.push(CameraRecord {
        id: body,
        label: String::new(),
        clock: ClockCorrection::trusting(-4 * 3600, ZoneSource::Given, 1.0),
        arcsec_per_px: None,
        clock_outcome: ClockOutcome::Given,
        clock_points: Vec::new(),
        clock_curve: Default::default(),
    });
    let options = ExportOptions {
        link: false,
        sidecars: Some(SidecarNames::Both),
    };
    assert_eq!(run(&catalogue, &place.out, &options).made, 4);
    let folder = place.out.join("phases/3-second-contact");
    let text = fs::read_to_string(folder.join("DSC_0001.xmp")).unwrap();
    assert_eq!(
        fs::read_to_string(folder.join("DSC_0001.NEF.xmp")).unwrap(),
        text
    );
    for part in [
        "<exif:DateTimeOriginal>2019-07-02T16:38:11.500-04:00</exif:DateTimeOriginal>",
        "<xmp:Rating>4</xmp:Rating>",
        "<rdf:li>second-contact</rdf:li><rdf:li>C2</rdf:li><rdf:li>clipped</rdf:li>",
    ] {
        assert!(text.contains(part), "{part} in {text}");
    }
    assert_eq!(run(&catalogue, &place.out, &options).kept, 4);
    assert_eq!(
        export::undo(&catalogue, &place.out, false)
            .unwrap()
            .removed
            .len(),
        4
    );
    assert!(!place.out.join("phases").exists());
}

#[test]
fn an_out_that_cannot_be_written_is_an_error() {
    let place = place();
    let catalogue = five(&place);
    fs::write(&place.out, "a file where the folder should be").unwrap();
    let plan = export::plan(&catalogue, &place.out, &COPIES);
    let error = export::carry_out(&plan, &mut |_| {}).unwrap_err();
    assert!(error.to_string().contains("cannot"), "{error}");
}

#[test]
fn real_photographs_are_exported_whole() {
    let Some(folder) = photos::folder() else {
        return;
    };
    let listing = contactstrip::card::read(std::slice::from_ref(&folder), &[]).unwrap();
    let shots: Vec<ShotRecord> = listing
        .files
        .iter()
        .map(|file| {
            let mut shot = record(&folder, &file.name, Phase::Unrelated);
            shot.shot.file = file.clone();
            shot
        })
        .collect();
    let place = place();
    let outcome = run(&catalogue(shots), &place.out, &COPIES);
    assert_eq!(outcome.made, listing.files.len());
    assert_eq!(outcome.missing, []);
}

/// Set to a folder on a disk of 2 MiB (`mount -t tmpfs -o size=2m tmpfs FOLDER`) to have this checked.
const SMALL_DISK: &str = "CONTACTSTRIP_SMALL_DISK";

#[test]
#[allow(clippy::print_stdout)]
fn a_full_disk_leaves_nothing_half_written() {
    let Some(disk) = std::env::var_os(SMALL_DISK).map(PathBuf::from) else {
        println!("{SMALL_DISK} is not set; nothing checked");
        return;
    };
    let place = place();
    let names = ["1.JPG", "2.JPG", "3.JPG", "4.JPG", "5.JPG"];
    let shots = names
        .map(|name| record(&place.card, name, Phase::Totality))
        .to_vec();
    for shot in &shots {
        fs::write(&shot.shot.file.path, vec![7; 600 << 10]).unwrap();
    }
    let (catalogue, out) = (catalogue(shots), disk.join("out"));
    let outcome = run(&catalogue, &out, &COPIES);
    assert_eq!((outcome.made, outcome.missing.len()), (3, 2), "{outcome:?}");
    assert!(outcome.missing[1].1.contains("full"), "{outcome:?}");
    let mut there = contents(&out);
    there.remove(MANIFEST_FILE);
    assert_eq!(there.len(), 3);
    assert!(there.values().all(|bytes| bytes.len() == 600 << 10));
    // Room is made; the export goes on where it stopped.
    fs::remove_file(out.join("phases/4-totality/1.JPG")).unwrap();
    let outcome = run(&catalogue, &out, &COPIES);
    assert_eq!(
        (outcome.made, outcome.kept, outcome.missing.len()),
        (1, 2, 2)
    );
    assert_eq!(
        export::undo(&catalogue, &out, false).unwrap().removed.len(),
        3
    );
    assert_eq!(fs::read_dir(&out).unwrap().count(), 0);
}
