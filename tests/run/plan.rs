//! The sheet from the command line.

use std::fs;

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
