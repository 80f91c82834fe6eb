//! The sheet from the command line.

use std::fs;

use super::rehearse::{SOUND, Session};
use super::{run, stderr, stdout, text};

const PLACE: [&str; 5] = ["plan", "--site", "39.5,3.1,10", "--date", "2026-08-12"];

#[test]
fn a_horizon_file_is_read_or_refused_by_its_line() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("horizon.txt");
    let with = |content: &str| {
        fs::write(&file, content).unwrap();
        run(&[&PLACE[..], &["--horizon", text(&file)]].concat())
    };
    let good = with("# terrace\nazimuth, altitude\n270, 1\n290, 1\n310, 1\n");
    assert_eq!(good.status.code(), Some(0), "{}", stderr(&good));
    assert!(stdout(&good).contains("Your horizon hides the Sun"));
    for (content, said) in [
        ("270, 1\n290, hill\n", "line 2"),
        ("270, 1\n\n290, 95\n", "line 3"),
        ("", "two points"),
    ] {
        let bad = with(content);
        let told = stderr(&bad);
        assert_eq!(bad.status.code(), Some(2), "{told}");
        assert!(
            told.contains(said) && told.contains("horizon.txt"),
            "{told}"
        );
    }
    let absent = run(&[&PLACE[..], &["--horizon", "no-such-file.txt"]].concat());
    assert!(stderr(&absent).contains("no-such-file.txt"));
}

/// The text with its lines run together.
fn flat(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn json(args: &[&str]) -> serde_json::Value {
    let output = run(&[&PLACE[..], args, &["--json", "--quiet"]].concat());
    assert_eq!(output.status.code(), Some(0), "{}", stderr(&output));
    serde_json::from_str(&stdout(&output)).unwrap()
}

#[test]
fn the_sheet_takes_what_the_rehearsal_measured() {
    let card = Session { frames: 6, ..SOUND }.drawn();
    let sheet = json(&["--from-rehearsal", text(card.path())]);
    let number = |path: &str| sheet.pointer(path).unwrap().as_f64().unwrap();
    // 220 of 700 pixels are 11.31 of 36 mm; the Sun of that day is 1928 seconds of arc wide: 11.31 mm / 0.009347.
    assert!((number("/gear/focal_mm") / 1210.4 - 1.0).abs() < 0.01);
    assert!((number("/gear/sensor/width_px") - 700.0).abs() < 0.1);
    assert!((number("/gear/sensor/height_mm") - 36.0 * 5.0 / 7.0).abs() < 0.01);
    // In mid-August the Sun's radius is 947 seconds of arc.
    assert!((number("/framing/disc_px") - 220.0 * 947.3 / 964.0).abs() < 1.5);
    // 0.55 in the middle at 1/800 s is 0.35 of the disc; 0.45 wants 1/630 s, which the table gives through 15.9 stops.
    assert!((number("/gear/filter_stops") - 15.9).abs() < 0.2);
    assert_eq!(sheet["gear"]["tracked"], true);
    assert!((number("/rehearsed/practice/clock_error_s") - 0.2).abs() < 0.6);
    // Noon at the equinox, 30 degrees north.
    assert!((number("/rehearsed/practice/sun_alt_deg") - 60.0).abs() < 1.0);
    // What `rehearse` writes says the same.
    let output = run(&["rehearse", text(card.path()), "--json"]);
    let kept = card.path().join("rehearsal.json");
    fs::write(&kept, &output.stdout).unwrap();
    let from_file = json(&["--from-rehearsal", text(&kept)]);
    assert_eq!(from_file["practice_words"], sheet["practice_words"]);
    assert_eq!(from_file["gear"], sheet["gear"]);
}

/// What `rehearse --json` writes of a body, as far as the sheet reads it: 1210 mm on 36 mm and 700 pixels, a filter of 15.9 stops.
fn kept(body: &str, day: &str, more: &str) -> String {
    format!(
        r#"{{"version": 1, "bodies": [{{"body": "{body}", "points": [], "measured": {{"body": "{body}", "frames": 12,
            "day": "{day}", "sides_px": [700.0, 500.0], "sun_radius_px": 110.0, "arcsec_per_px": 8.7636,
            "filtered_q": 8.66, "sun_alt_deg": null, {more}}}}}]}}"#
    )
}

const STILL: &str = r#""drift_arcsec_s": 15.0, "follows": false, "clock_error_s": null"#;
const FOLLOWED: &str = r#""drift_arcsec_s": 0.09, "follows": true, "clock_error_s": -3.2"#;

#[test]
fn what_is_typed_stands_against_what_was_measured() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("rehearsal.json");
    fs::write(&file, kept("Test Long", "2026-03-20", FOLLOWED)).unwrap();
    let taken = run(&[&PLACE[..], &["--from-rehearsal", text(&file)]].concat());
    let said = flat(&stdout(&taken));
    for words in [
        "1210 mm f/8 ISO 100 filter 15.9 stops sensor 36 x 25.71 mm",
        "FROM YOUR PRACTICE FRAMES Test Long: 12 frames, 2026-03-20.",
        "The Sun was 220 pixels across: a focal length of 1210 mm on a sensor 36 mm wide",
        "The filter takes 15.9 stops by the exposures of the sheet, taken as of a high Sun",
        "the filtered shutters follow it",
        "The mount followed and lost 0.09 seconds of arc a second",
        "The camera's clock was 3.2 s slow by GPS",
    ] {
        assert!(said.contains(words), "'{words}': {said}");
    }
    assert!(!said.contains("Try the filter on the plain Sun"), "{said}");
    let typed = [
        "--from-rehearsal",
        text(&file),
        "--focal",
        "600",
        "--filter-stops",
        "14",
    ];
    let sheet = json(&typed);
    assert_eq!(sheet["gear"]["focal_mm"], 600.0);
    assert_eq!(sheet["gear"]["filter_stops"], 14.0);
    let said = sheet["practice_words"].to_string();
    assert!(
        said.contains("The sheet keeps to the 600 mm given"),
        "{said}"
    );
    assert!(
        said.contains("The sheet keeps to the 14 stops given"),
        "{said}"
    );
}

#[test]
fn sessions_with_one_body_complete_each_other() {
    let folder = tempfile::tempdir().unwrap();
    let [still, followed, small] = ["still", "followed", "small"].map(|n| folder.path().join(n));
    fs::write(&still, kept("Test Long", "2026-07-01", STILL)).unwrap();
    fs::write(&followed, kept("Test Long", "2026-03-20", FOLLOWED)).unwrap();
    let wide = kept("Test Wide", "2026-08-01", FOLLOWED).replace("110.0", "11.0");
    fs::write(&small, wide).unwrap();
    let sheet = json(&[
        "--from-rehearsal",
        text(&followed),
        text(&small),
        text(&still),
    ]);
    // The latest session with the longest lens has the say; its clock comes from the other one.
    let practice = &sheet["rehearsed"]["practice"];
    assert_eq!(practice["body"], "Test Long");
    assert_eq!(practice["day"], "2026-07-01");
    assert_eq!(practice["frames"], 24);
    assert_eq!(practice["clock_error_s"], -3.2);
    assert_eq!(sheet["gear"]["tracked"], false);
    assert!(
        sheet["practice_words"]
            .to_string()
            .contains("The mount stood still")
    );
}

#[test]
fn what_is_no_rehearsal_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("notes.json");
    for (content, said) in [
        ("{}", "holds no rehearsal"),
        ("{\"version\": 9, \"bodies\": []}", "layout 9"),
    ] {
        fs::write(&file, content).unwrap();
        let output = run(&[&PLACE[..], &["--from-rehearsal", text(&file)]].concat());
        assert_eq!(output.status.code(), Some(2));
        assert!(stderr(&output).contains(said), "{}", stderr(&output));
    }
    let absent = run(&[&PLACE[..], &["--from-rehearsal", "no-such-folder"]].concat());
    assert_eq!(absent.status.code(), Some(2));
}
