//! Taking an export back when the copies may be all there is.

use super::*;

/// A card of three black frames, everything run on it.
fn exported(more: &[&str]) -> Desk {
    let desk = Desk::new();
    for minute in 0..3 {
        let bytes = black(&taken(&format!("2019:07:02 15:3{minute}:00")));
        desk.put(&format!("DCIM/100TEST/IMG_000{minute}.JPG"), &bytes);
    }
    ended(&desk.run("all", more), 1, &[]);
    assert_eq!(copies(&desk).len(), 3);
    desk
}

fn copies(desk: &Desk) -> BTreeMap<PathBuf, Vec<u8>> {
    contents(&desk.out().join("phases"))
}

fn original(desk: &Desk, minute: u32) -> PathBuf {
    desk.card()
        .join(format!("DCIM/100TEST/IMG_000{minute}.JPG"))
}

#[test]
fn undo_after_the_card_was_formatted_keeps_every_copy() {
    let desk = exported(&[]);
    let before = copies(&desk);
    let aside = desk.folder.path().join("aside");
    fs::rename(desk.card().join("DCIM"), &aside).unwrap();
    let tried = desk.on_out("export", &["--undo", "--dry-run"]);
    ended(&tried, 1, &["last copies"]);
    assert!(stdout(&tried).contains("would remove 0 files, 3 kept"));
    let output = desk.on_out("export", &["--undo"]);
    ended(&output, 1, &["3 exported files stay", "last copies"]);
    for minute in 0..3 {
        let name = format!("keep phases/2-ingress/IMG_000{minute}.JPG");
        assert!(stdout(&output).contains(&name), "{}", stdout(&output));
    }
    assert!(copies(&desk) == before);
    // With the card back the same command removes them.
    fs::rename(&aside, desk.card().join("DCIM")).unwrap();
    ended(&desk.on_out("export", &["--undo"]), 0, &[]);
    assert!(!desk.out().join("phases").exists());
    ended(
        &desk.on_out("export", &["--undo"]),
        2,
        &["nothing was exported"],
    );
}

#[cfg(unix)]
#[test]
fn undo_keeps_what_is_the_last_link_or_differs_from_its_original() {
    let desk = exported(&["--link"]);
    fs::remove_file(original(&desk, 0)).unwrap();
    ended(
        &desk.on_out("export", &["--undo"]),
        1,
        &["1 exported files"],
    );
    assert_eq!(copies(&desk).len(), 1);

    // One byte of an original is not what it was, its size and time are.
    let desk = exported(&[]);
    let path = original(&desk, 1);
    let mut bytes = fs::read(&path).unwrap();
    let time = fs::metadata(&path).unwrap().modified().unwrap();
    let middle = bytes.len() / 2;
    bytes[middle] ^= 1;
    fs::write(&path, bytes).unwrap();
    let file = fs::File::options().write(true).open(&path).unwrap();
    file.set_modified(time).unwrap();
    ended(
        &desk.on_out("export", &["--undo"]),
        1,
        &["1 exported files"],
    );
    let left = copies(&desk);
    let names: Vec<&PathBuf> = left.keys().collect();
    assert!(
        left.len() == 1 && names[0].ends_with("IMG_0001.JPG"),
        "{names:?}"
    );

    // The card's pictures are links to the copies: those are no originals.
    let desk = exported(&[]);
    for minute in 0..3 {
        let copy = desk
            .out()
            .join(format!("phases/2-ingress/IMG_000{minute}.JPG"));
        fs::remove_file(original(&desk, minute)).unwrap();
        std::os::unix::fs::symlink(copy, original(&desk, minute)).unwrap();
    }
    ended(
        &desk.on_out("export", &["--undo"]),
        1,
        &["3 exported files"],
    );
    assert_eq!(copies(&desk).len(), 3);
}

#[cfg(unix)]
#[test]
fn an_edited_list_takes_nothing_else_and_damage_is_told() {
    let desk = exported(&[]);
    let elsewhere = desk.folder.path().join("elsewhere");
    fs::create_dir(&elsewhere).unwrap();
    fs::copy(original(&desk, 0), elsewhere.join("IMG_0000.JPG")).unwrap();
    std::os::unix::fs::symlink(&elsewhere, desk.out().join("phases/linked")).unwrap();
    let list = desk.out().join("exported.jsonl");
    let mut text = fs::read_to_string(&list).unwrap();
    let line = text.lines().find(|l| l.contains("IMG_0000.JPG")).unwrap();
    let through_link = line.replace("phases/2-ingress/", "phases/linked/");
    let own_result = line.replace("phases/2-ingress/IMG_0000.JPG", "shots.csv");
    let upwards = line.replace("phases/2-ingress/", "phases/../../elsewhere/");
    let outright = line.replace("phases/2-ingress/", "/elsewhere/");
    for more in [
        &through_link,
        &own_result,
        &upwards,
        &outright,
        "{\"file\":{\"bel",
        "words",
    ] {
        text.push_str(more);
        text.push('\n');
    }
    fs::write(&list, &text).unwrap();
    let keep = contents(&desk.card());
    let output = desk.on_out("export", &["--undo"]);
    ended(
        &output,
        1,
        &["5 lines of it are damaged", "leads out of the results"],
    );
    assert!(elsewhere.join("IMG_0000.JPG").exists());
    assert!(desk.out().join("shots.csv").exists());
    assert!(contents(&desk.card()) == keep);
    let damaged = desk.out().join("exported-damaged-1.jsonl");
    assert_eq!(fs::read_to_string(damaged).unwrap(), text);
    // Going on with an export tells of damage too.
    fs::write(&list, "nonsense\n").unwrap();
    ended(
        &desk.on_out("export", &[]),
        1,
        &["1 lines of it are damaged"],
    );
    assert_eq!(fs::read_to_string(&list).unwrap().lines().count(), 4);
}

#[test]
fn what_a_person_put_among_the_exported_stays() {
    let desk = exported(&[]);
    let mine = desk.out().join("phases/.contactstrip-writing/mine.txt");
    fs::create_dir_all(mine.parent().unwrap()).unwrap();
    for path in [&mine, &desk.out().join("phases/2-ingress/notes.txt")] {
        fs::write(path, b"mine").unwrap();
    }
    ended(&desk.on_out("export", &["--undo"]), 0, &[]);
    ended(&desk.on_out("export", &[]), 0, &[]);
    assert_eq!(copies(&desk).len(), 5);
    assert_eq!(fs::read(mine).unwrap(), b"mine");
}
