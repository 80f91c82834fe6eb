//! Cards and results that were moved.

use super::*;

fn three() -> Desk {
    let desk = Desk::new();
    for minute in 0..3 {
        let bytes = black(&taken(&format!("2019:07:02 15:3{minute}:00")));
        desk.put(&format!("DCIM/100TEST/IMG_000{minute}.JPG"), &bytes);
    }
    ended(&desk.run("sort", &[]), 1, &[]);
    desk
}

fn on(out: &Path, words: &[&str]) -> Output {
    let mut command = Command::new(PROGRAM);
    command.arg(words[0]).arg(out).args(&words[1..]);
    command.output().unwrap()
}

fn exported(out: &Path) -> usize {
    contents(&out.join("phases")).len()
}

#[test]
fn paths_in_the_record_are_below_the_card() {
    let desk = three();
    let text = fs::read_to_string(desk.out().join("catalogue.json")).unwrap();
    let card = desk.card().to_str().unwrap().to_owned();
    assert_eq!(text.matches(&card).count(), 1, "the card's own place alone");
    assert!(text.contains("\"below\": \"DCIM/100TEST/IMG_0001.JPG\""));
}

#[test]
fn card_and_results_moved_together_are_found() {
    let desk = three();
    let elsewhere = tempfile::tempdir().unwrap();
    for name in ["card", "out"] {
        fs::rename(desk.folder.path().join(name), elsewhere.path().join(name)).unwrap();
    }
    let out = elsewhere.path().join("out");
    ended(&on(&out, &["export"]), 0, &[]);
    assert_eq!(exported(&out), 3);
    // Results alone moved on: the card is where it was.
    let last = elsewhere.path().join("x/y/out");
    fs::create_dir_all(last.parent().unwrap()).unwrap();
    fs::rename(&out, &last).unwrap();
    fs::remove_dir_all(last.join("phases")).unwrap();
    ended(&on(&last, &["export"]), 0, &[]);
    assert_eq!(exported(&last), 3);
}

#[test]
fn a_card_mounted_elsewhere_is_named_with_an_option_and_remembered() {
    let desk = three();
    let elsewhere = tempfile::tempdir().unwrap();
    let card = elsewhere.path().join("mounted");
    fs::rename(desk.card(), &card).unwrap();
    let lost = desk.on_out("export", &[]);
    ended(
        &lost,
        1,
        &["3 of 3 pictures", "--card NEWPATH", "not exported"],
    );
    let wrong = elsewhere.path().join("wrong");
    fs::create_dir_all(wrong.join("DCIM/100TEST")).unwrap();
    for minute in 0..3 {
        // Names and sizes as on the card, other contents.
        let name = format!("DCIM/100TEST/IMG_000{minute}.JPG");
        let mut bytes = fs::read(card.join(&name)).unwrap();
        bytes.reverse();
        fs::write(wrong.join(name), bytes).unwrap();
    }
    let wrong = wrong.to_str().unwrap();
    ended(
        &desk.on_out("export", &["--card", wrong]),
        2,
        &["is not the card of", "try: --card"],
    );
    ended(
        &desk.on_out("export", &["--card", "/nowhere"]),
        2,
        &["no such folder"],
    );
    let card = card.to_str().unwrap();
    let tried = desk.on_out("export", &["--card", card, "--dry-run"]);
    ended(&tried, 0, &[]);
    assert_eq!(stdout(&tried).matches("would write phases/").count(), 3);
    ended(&desk.on_out("export", &["--card", card]), 0, &[]);
    assert_eq!(exported(&desk.out()), 3);
    // The record knows now, and the copies can be taken back.
    ended(&desk.on_out("export", &["--undo"]), 0, &[]);
    assert_eq!(exported(&desk.out()), 0);
}

#[test]
fn pictures_sorted_into_other_folders_are_known_by_their_contents() {
    let desk = three();
    fs::create_dir_all(desk.card().join("best/of")).unwrap();
    for (minute, name) in [(0, "first.jpg"), (2, "last.jpg")] {
        let from = desk
            .card()
            .join(format!("DCIM/100TEST/IMG_000{minute}.JPG"));
        fs::rename(from, desk.card().join("best/of").join(name)).unwrap();
    }
    ended(&desk.on_out("export", &[]), 0, &[]);
    let names: Vec<String> = contents(&desk.out().join("phases"))
        .into_keys()
        .map(|path| path.file_name().unwrap().to_string_lossy().into_owned())
        .collect();
    assert_eq!(names, ["IMG_0000.JPG", "IMG_0001.JPG", "IMG_0002.JPG"]);
    for verb in ["strip", "clock", "report", "merge"] {
        let output = desk.on_out(verb, &[]);
        assert_ne!(output.status.code(), Some(2), "{verb}: {}", stderr(&output));
    }
}
