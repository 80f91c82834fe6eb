//! Two cards of one name, and two copies of one card.

use super::*;

/// Frames of one minute each, from `first` on; another `body` makes other bytes.
fn put(desk: &Desk, below: &str, body: &str, minutes: std::ops::Range<u32>) {
    for minute in minutes {
        let fields = with(
            taken(&format!("2019:07:02 15:{minute:02}:00")),
            vec![header::text(Tag::Model, body)],
        );
        desk.put(&format!("{below}/IMG_{minute:04}.JPG"), &black(&fields));
    }
}

fn all_in(folder: &Path, card: &str) -> Output {
    let mut command = Command::new(PROGRAM);
    command.current_dir(folder).arg("all").arg(card).arg(SITE);
    command.output().unwrap()
}

#[test]
fn the_results_of_a_card_of_the_same_name_are_left_alone() {
    let desk = Desk::new();
    let (here, there) = (desk.folder.path().join("a"), desk.folder.path().join("b"));
    put(&desk, "../a/EOS_DIGITAL/DCIM", "One", 30..33);
    put(&desk, "../b/EOS_DIGITAL/DCIM", "Two", 30..33);
    let (one, two) = (here.join("EOS_DIGITAL"), there.join("EOS_DIGITAL"));
    ended(&all_in(desk.folder.path(), one.to_str().unwrap()), 1, &[]);
    let out = desk.folder.path().join("contactstrip-EOS_DIGITAL");
    let before = contents(&out);
    for more in [&["all"][..], &["sort"], &["sort", "--dry-run"]] {
        let mut command = Command::new(PROGRAM);
        command.current_dir(desk.folder.path());
        let output = command.args(more).arg(&two).arg(SITE).output().unwrap();
        let words = [
            one.to_str().unwrap(),
            two.to_str().unwrap(),
            "another card",
            "try: -o",
        ];
        ended(&output, 2, &words);
        assert!(contents(&out) == before, "{more:?}");
    }
    // The same card again, mounted elsewhere, with more on it: that is the same card.
    put(&desk, "../a/EOS_DIGITAL/DCIM", "One", 33..34);
    let elsewhere = desk.folder.path().join("c");
    fs::rename(&here, &elsewhere).unwrap();
    let again = elsewhere.join("EOS_DIGITAL");
    ended(&all_in(desk.folder.path(), again.to_str().unwrap()), 1, &[]);
    assert_eq!(Catalogue::load(&out).unwrap().shots.len(), 4);
}

#[test]
fn a_record_that_knows_more_than_the_card_is_kept() {
    let desk = Desk::new();
    put(&desk, "DCIM", "One", 30..36);
    ended(&desk.run("sort", &[]), 1, &[]);
    let before = fs::read(desk.out().join("catalogue.json")).unwrap();
    for minute in 30..34 {
        fs::remove_file(desk.card().join(format!("DCIM/IMG_{minute:04}.JPG"))).unwrap();
    }
    ended(&desk.run("sort", &[]), 1, &["kept as catalogue-1.json"]);
    assert_eq!(
        fs::read(desk.out().join("catalogue-1.json")).unwrap(),
        before
    );
    assert_eq!(Catalogue::load(&desk.out()).unwrap().shots.len(), 2);
}

#[test]
fn a_run_that_fails_on_the_recipe_leaves_the_record() {
    let desk = Desk::new();
    put(&desk, "DCIM", "One", 30..33);
    ended(&desk.run("all", &[]), 1, &[]);
    fs::write(desk.out().join("strip.toml"), "layout = \"spiral\"\n").unwrap();
    put(&desk, "DCIM", "One", 33..35);
    let before = contents(&desk.out());
    ended(&desk.run("all", &[]), 2, &["strip.toml line 1"]);
    let mut after = contents(&desk.out());
    let kept = desk.out().join(".contactstrip-analysis"); // looks are added to it as they are made
    after.insert(kept.clone(), before[&kept].clone());
    assert!(after == before);
}

#[test]
fn a_backup_beside_the_card_counts_once() {
    let plain = Desk::new();
    put(&plain, "DCIM", "One", 30..36);
    ended(&plain.run("all", &[]), 1, &[]);
    let doubled = Desk::new();
    put(&doubled, "DCIM", "One", 30..36);
    put(&doubled, "backup/old/DCIM", "One", 30..36);
    let output = doubled.run("all", &[]);
    ended(&output, 1, &["6 files hold the same bytes"]);
    assert_eq!(stderr(&output).matches("hold the same bytes").count(), 1);
    let rows = |desk: &Desk| fs::read_to_string(desk.out().join("shots.csv")).unwrap();
    let nested = |text: String| text.replace("backup/old/", "");
    assert_eq!(nested(rows(&doubled)), rows(&plain));
    assert_eq!(contents(&doubled.out().join("phases")).len(), 6);
    // With one place gone the other serves.
    let record = Catalogue::load(&doubled.out()).unwrap();
    fs::remove_file(&record.shots[0].shot.file.path).unwrap();
    fs::remove_dir_all(doubled.out().join("phases")).unwrap();
    ended(&doubled.on_out("export", &[]), 0, &[]);
    assert_eq!(contents(&doubled.out().join("phases")).len(), 6);
}

#[test]
fn a_copy_that_lacks_the_raw_is_the_second_one() {
    let desk = Desk::new();
    let bytes = black(&taken("2019:07:02 15:30:00"));
    let mut raw = b"II\x2A\x00\x10\x00\x00\x00CR\x02\x00".to_vec();
    raw.resize(4000, 7);
    desk.put("a/IMG_0001.JPG", &bytes);
    desk.put("b/IMG_0001.JPG", &bytes);
    desk.put("b/IMG_0001.CR2", &raw);
    ended(&desk.run("sort", &[]), 1, &["1 file holds the same bytes"]);
    let record = Catalogue::load(&desk.out()).unwrap();
    assert_eq!(record.shots.len(), 1);
    assert_eq!(record.shots[0].name(), "b/IMG_0001.JPG");
    assert_eq!(record.shots[0].sibling.as_deref(), Some("b/IMG_0001.CR2"));
    // Two files whose ends agree and whose middles do not are two shots.
    let mut other = vec![0; 400_000];
    let noise = noisy(&taken("2019:07:02 15:31:00"));
    other[..noise.len().min(400_000)].copy_from_slice(&noise[..noise.len().min(400_000)]);
    desk.put("c/IMG_0002.JPG", &other);
    other[200_000] ^= 1;
    desk.put("d/IMG_0002.JPG", &other);
    ended(&desk.run("sort", &[]), 1, &[]);
    assert_eq!(Catalogue::load(&desk.out()).unwrap().shots.len(), 3);
}
