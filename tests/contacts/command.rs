//! `contactstrip contacts` as typed.

use std::path::Path;

use assert_cmd::Command;
use serde_json::Value;

/// Standard output, standard error and exit code.
fn run(args: &[&str], folder: &Path) -> (String, String, i32) {
    let output = Command::cargo_bin("contactstrip")
        .unwrap()
        .arg("contacts")
        .args(args)
        .current_dir(folder)
        .output()
        .unwrap();
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    (
        text(&output.stdout),
        text(&output.stderr),
        output.status.code().unwrap(),
    )
}

fn here(args: &[&str]) -> (String, String, i32) {
    run(args, Path::new("."))
}

#[test]
fn the_times_are_printed_with_the_cautions() {
    let place = ["--site", "-30.03,-70.71,600", "--date", "2019-07-02"];
    let (out, err, code) = here(&[&place[..], &["--limb", "mean"]].concat());
    assert_eq!((err.as_str(), code), ("", 0));
    assert!(
        out.contains("16:38:33.3") && out.contains("ISO 12312-2"),
        "{out}"
    );
}

#[test]
fn json_goes_to_standard_output_with_the_delta_t_given() {
    let args = [
        "--site",
        "-33.8688,151.2093,30",
        "--date",
        "2028-07-22",
        "--delta-t",
        "69.5089",
        "--json",
        "--limb",
        "mean",
    ];
    let (out, _, code) = here(&args);
    let json: Value = serde_json::from_str(&out).unwrap();
    assert_eq!((code, &json["delta_t_status"]), (0, &"given".into()));
    let c2 = json["c2"]["utc"].as_str().unwrap();
    assert!(c2.starts_with("2028-07-22T03:59:35.4"), "{c2}");
    let other = [&args[..], &["--k2", "0.272281"]].concat();
    let json: Value = serde_json::from_str(&here(&other).0).unwrap();
    let c2 = json["c2"]["utc"].as_str().unwrap();
    assert!(c2.starts_with("2028-07-22T03:59:37.4"), "{c2}");
}

#[test]
fn files_are_written_where_asked_and_not_in_a_rehearsal() {
    let folder = tempfile::tempdir().unwrap();
    let args = [
        "--site",
        "39.57,2.65,20",
        "--date",
        "2026-08-12",
        "--ics",
        "a/sun.ics",
        "--diagram",
        "sun.svg",
    ];
    let (out, _, code) = run(&[&args[..], &["--dry-run"]].concat(), folder.path());
    assert!(code == 0 && out.contains("would write sun.svg"), "{out}");
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
    let (out, _, code) = run(&args, folder.path());
    assert!(code == 0 && out.contains("wrote a/sun.ics"), "{out}");
    let read = |name: &str| std::fs::read_to_string(folder.path().join(name)).unwrap();
    assert!(read("a/sun.ics").starts_with("BEGIN:VCALENDAR"));
    assert!(read("sun.svg").starts_with("<svg"));
    let first = read("sun.svg");
    run(&args, folder.path());
    assert_eq!(first, read("sun.svg"));
}

#[test]
fn a_miss_says_none_in_json_and_what_to_try() {
    let (out, err, code) = here(&["--site", "25.76,-80.19", "--date", "2026-08-12", "--json"]);
    let json: Value = serde_json::from_str(&out).unwrap();
    assert_eq!((code, &json["kind"]), (2, &"none".into()));
    assert!(
        err.contains("not seen from") && err.contains("try: --date 2028-01-26"),
        "{err}"
    );
}

#[test]
fn wrong_words_get_the_right_ones() {
    let cases: [(&[&str], &str); 8] = [
        (
            &["--site", "91,0", "--date", "2019-07-02"],
            "latitude 91 is outside",
        ),
        (
            &["--site", "-120.7,38.4", "--date", "2019-07-02"],
            "did you mean 38.4,-120.7?",
        ),
        (
            &["--site", "-30,289.3", "--date", "2019-07-02"],
            "did you mean -70.7?",
        ),
        (
            &["--site", "-30,-70.7", "--date", "2.7.2019"],
            "written YYYY-MM-DD",
        ),
        (
            &["--site", "-30,-70.7", "--date", "2019-07-12"],
            "2019-07-02 (total)",
        ),
        (
            &["--site", "-30,-70.7", "--list", "1990..1999"],
            "1994 to 2053",
        ),
        (
            &[
                "--site",
                "-30,-70.7",
                "--date",
                "2019-07-02",
                "--zone",
                "Mars/Base",
            ],
            "IANA",
        ),
        (
            &[
                "--site",
                "-30,-70.7",
                "--date",
                "2019-07-02",
                "--diagram",
                "a.png",
            ],
            ".svg",
        ),
    ];
    for (args, words) in cases {
        let (out, err, code) = here(args);
        assert_eq!((out.as_str(), code), ("", 2), "{args:?}");
        assert!(err.contains(words), "{args:?}: {err}");
    }
}

#[test]
fn a_site_below_the_horizon_is_told_where_to_look() {
    let (out, _, code) = here(&["--site", "-70.71,-30.03", "--date", "2019-07-02"]);
    assert_eq!(code, 0);
    assert!(out.contains("nothing of it is seen from here"), "{out}");
    assert!(
        out.contains("--site=-30.03,-70.71 if the two were swapped; there it is total"),
        "{out}"
    );
}

#[test]
fn the_list_is_in_time_order_and_in_json() {
    let args = ["--site", "-30.03,-70.71", "--list", "2019..2030"];
    let (out, _, code) = here(&args);
    assert!(
        code == 0 && out.find("2019-07-02") < out.find("2020-12-14"),
        "{out}"
    );
    let json: Value = serde_json::from_str(&here(&[&args[..], &["--json"]].concat()).0).unwrap();
    assert_eq!(json["format"], "contactstrip-eclipses");
    assert_eq!(json["eclipses"].as_array().unwrap().len(), 7);
}

/// The mean limb's times stand beside the real ones; a smooth Moon's radius is not mixed with a real limb.
#[test]
fn the_real_limb_is_the_default_and_the_mean_one_stands_beside_it() {
    let place = ["--site", "-30.03,-70.71,600", "--date", "2019-07-02"];
    let told = |more: &[&str]| {
        let (out, _, code) = here(&[&place[..], more].concat());
        assert_eq!(code, 0);
        out
    };
    let json = |more: &[&str]| -> Value {
        serde_json::from_str(&told(&[more, &["--json"]].concat())).unwrap()
    };
    let (real, mean) = (json(&[]), json(&["--limb", "mean"]));
    assert_eq!(
        (&real["limb"], &mean["limb"]),
        (&"real".into(), &"mean".into())
    );
    assert_eq!(real["radii"]["sun_arcsec"], 959.95);
    assert_eq!(mean["radii"]["sun_arcsec"], 959.63);
    assert_eq!(real["mean_limb"]["c2_utc"], mean["c2"]["utc"]);
    assert_eq!(
        real["mean_limb"]["central_duration_s"],
        mean["central_duration_s"]
    );
    let sigma = |json: &Value| json["c2"]["sigma_s"].as_f64().unwrap();
    assert!(sigma(&real) < sigma(&mean) / 3.0);
    assert!(mean["mean_limb"].is_null());
    assert_eq!(json(&["--k2", "0.272281"])["limb"], "mean");
    let text = told(&[]);
    assert!(
        text.contains("On a smooth mean Moon totality would run from 16:38:33.3"),
        "{text}"
    );
    let (_, err, code) = here(&[&place[..], &["--limb", "real", "--k2", "0.272281"]].concat());
    assert!(code == 2 && err.contains("try: --limb mean"), "{err}");
}
