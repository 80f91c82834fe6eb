//! Strings from outside, and what a run says.

use super::*;

const NASTY: &str = "\u{1b}[2J=evil\nname\u{202e}.jpg";

fn nasty() -> Desk {
    let desk = Desk::new();
    for (n, name) in [NASTY, "=HYPERLINK(1).jpg", "plain.jpg"].iter().enumerate() {
        let fields = with(
            taken(&format!("2019:07:02 15:3{n}:00")),
            vec![
                header::text(Tag::Model, "=cmd|' /C calc'!A0"),
                header::text(Tag::Make, ""),
            ],
        );
        desk.put(name, &black(&fields));
    }
    ended(&desk.run("all", &[]), 1, &[]);
    desk
}

#[track_caller]
fn harmless(text: &str) {
    let stray = text
        .chars()
        .find(|c| c.is_control() && *c != '\n' || *c == '\u{202e}');
    assert_eq!(stray, None, "{text}");
    assert!(!text.contains("evil\nname"), "{text}");
}

#[cfg(unix)]
#[test]
fn no_string_from_outside_reaches_its_medium_raw() {
    let desk = nasty();
    for words in [
        &["clock"][..],
        &["export", "--verbose"],
        &["export", "--dry-run"],
        &["export", "--undo", "--dry-run"],
        &["report", "--dry-run"],
        &["strip"],
        &["merge"],
    ] {
        let output = desk.on_out(words[0], &words[1..]);
        harmless(&stdout(&output));
        harmless(&stderr(&output));
    }
    let output = desk.run("sort", &["--verbose"]);
    harmless(&(stdout(&output) + &stderr(&output)));
    let plot = fs::read_to_string(desk.out().join("clock.svg")).unwrap();
    harmless(&plot);
    let table = fs::read(desk.out().join("shots.csv")).unwrap();
    let mut rows = csv::Reader::from_reader(table.as_slice());
    let mut files = Vec::new();
    for row in rows.records().map(Result::unwrap) {
        for cell in &row {
            assert!(!cell.starts_with(['=', '@', '\t', '\r']), "{cell}");
        }
        assert_eq!(&row[2], "'=cmd|' /C calc'!A0");
        files.push(row[0].to_owned());
    }
    assert!(
        files.contains(&"'=HYPERLINK(1).jpg".to_owned()),
        "{files:?}"
    );
    // The record keeps the very name.
    assert!(Catalogue::load(&desk.out()).unwrap().shot(NASTY).is_some());
}

#[test]
fn an_export_prints_a_sum_and_a_dry_run_would_write() {
    let desk = Desk::new();
    for minute in 0..3 {
        let bytes = black(&taken(&format!("2019:07:02 15:3{minute}:00")));
        desk.put(&format!("IMG_{minute}.JPG"), &bytes);
    }
    let tried = desk.run("all", &["--dry-run"]);
    ended(&tried, 1, &[]);
    assert!(stdout(&tried).contains("would write") && !stdout(&tried).contains("Written"));
    assert!(contents(&desk.out()).is_empty());
    ended(&desk.run("sort", &[]), 1, &[]);
    let tried = desk.on_out("export", &["--dry-run"]);
    assert_eq!(stdout(&tried).matches("would write phases/").count(), 3);
    for verb in ["strip", "report", "clock"] {
        let tried = desk.on_out(verb, &["--dry-run"]);
        let told = stdout(&tried) + &stderr(&tried);
        assert!(
            told.contains("would write") || told.contains("no strip"),
            "{verb}: {told}"
        );
    }
    let made = desk.on_out("export", &[]);
    assert_eq!(
        stdout(&made).trim(),
        "3 files written below phases, 0 there already, 0 missing"
    );
    assert_eq!(
        stdout(&desk.on_out("export", &["--verbose"]))
            .lines()
            .count(),
        4
    );
    assert_eq!(stdout(&desk.on_out("export", &["-q"])), "");
    // Many notices: the rest is counted, and one option tells all of them.
    for n in 0..60 {
        desk.put(&format!("empty-{n}.jpg"), b"");
    }
    let short = stderr(&desk.run("sort", &[]));
    assert!(
        short.contains("more; --verbose tells all of them"),
        "{short}"
    );
    let long = stderr(&desk.run("sort", &["--verbose"]));
    assert_eq!(
        (0..60)
            .filter(|n| long.contains(&format!("empty-{n}.jpg")))
            .count(),
        60
    );
}

#[test]
fn an_intact_raw_of_an_old_kind_is_not_called_damaged() {
    let desk = Desk::new();
    desk.put("a.jpg", &black(&taken("2019:07:02 15:30:00")));
    let mut crw = b"II\x1a\0\0\0HEAPCCDR\x02\0\x01\0".to_vec();
    crw.resize(5000, 1);
    desk.put("CRW_0001.CRW", &crw);
    let output = desk.run("sort", &["--verbose"]);
    ended(&output, 1, &["CRW_0001.CRW", "of a kind that is not read"]);
    let text = stderr(&output);
    let own = text.lines().filter(|line| line.contains("CRW_0001.CRW"));
    assert!(
        own.clone().count() > 0 && own.clone().all(|line| !line.contains("damaged")),
        "{text}"
    );
    // Nothing is wrong with it that another copy would mend.
    assert!(!text.contains("copy it from the card again"), "{text}");
}

#[test]
fn advice_fits_the_command_and_failed_runs_leave_no_folder() {
    let desk = Desk::new();
    desk.put("notes.txt", b"nothing here");
    let out = desk.folder.path().join("new/results");
    let mut command = Command::new(PROGRAM);
    command
        .arg("all")
        .arg(desk.card())
        .arg("-o")
        .arg(&out)
        .arg(SITE);
    ended(&command.output().unwrap(), 2, &["no picture"]);
    assert!(!desk.folder.path().join("new").exists());
    // A place that nobody tells comes out once the card is read.
    let placeless = Desk::new();
    placeless.put("a.jpg", &black(&taken("2019:07:02 15:30:00")));
    let mut command = Command::new(PROGRAM);
    command.arg("sort").arg(placeless.card());
    command.arg("-o").arg(&out);
    ended(&command.output().unwrap(), 2, &["the place is not known"]);
    assert!(!desk.folder.path().join("new").exists());
    ended(
        &desk.run("sort", &["--zone", "+25:00"]),
        2,
        &["cannot read the zone '+25:00'"],
    );
    desk.put("a.jpg", &black(&taken("2019:07:02 15:30:00")));
    ended(&desk.run("sort", &[]), 1, &[]);
    let lock = fs::File::create(desk.out().join(".contactstrip-lock")).unwrap();
    lock.lock().unwrap();
    let busy = desk.on_out("report", &[]);
    ended(&busy, 2, &["another run is working on", "try: again"]);
    assert!(!stderr(&busy).contains("-o"), "{}", stderr(&busy));
    drop(lock);
}
