//! Work of a person among the results.

use super::*;

/// Six frames on which a Sun is drawn, so that there is a strip.
fn with_suns() -> Desk {
    let desk = Desk::new();
    for minute in 0..6 {
        let (width, height) = (320_u32, 240_u32);
        let mut pixels = Vec::new();
        for y in 0..height {
            for x in 0..width {
                let off = (f64::from(x) - 160.0).hypot(f64::from(y) - 120.0);
                let bite =
                    (f64::from(x) - 210.0 - 4.0 * f64::from(minute)).hypot(f64::from(y) - 90.0);
                let light = (60.5 - off).clamp(0.0, 1.0) * (bite - 59.5).clamp(0.0, 1.0);
                pixels.extend([
                    (30.0 + 180.0 * light) as u8,
                    (20.0 + 140.0 * light) as u8,
                    (10.0 + 50.0 * light) as u8,
                ]);
            }
        }
        let bytes = jpeg(
            &pixels,
            width,
            height,
            &taken(&format!("2019:07:02 15:{:02}:00", 30 + 5 * minute)),
        );
        desk.put(&format!("IMG_000{minute}.JPG"), &bytes);
    }
    desk
}

/// The command ran to its end, whatever there is to look at.
#[track_caller]
fn went(output: &Output, words: &[&str]) {
    let code = output.status.code().unwrap();
    assert!(code < 2, "{}", stderr(output));
    ended(output, code, words);
}

#[test]
fn what_a_person_retouched_is_kept_and_told() {
    let desk = with_suns();
    ended(&desk.run("all", &[]), 1, &[]);
    let mine: [&[u8]; 4] = [b"retouched", b"my rows", b"my page", b"my record"];
    let names = ["strip.tif", "shots.csv", "report.html", "catalogue.json"];
    let ours: Vec<Vec<u8>> = names
        .iter()
        .map(|n| fs::read(desk.out().join(n)).unwrap())
        .collect();
    for (name, bytes) in names.iter().zip(mine) {
        fs::write(desk.out().join(name), bytes).unwrap();
    }
    let words = [
        "strip.tif",
        "kept as strip-1.tif",
        "kept as shots-1.csv",
        "kept as report-1.html",
    ];
    ended(&desk.run("all", &[]), 1, &words);
    for (n, (name, bytes)) in names.iter().zip(mine).enumerate() {
        let (stem, ending) = name.split_once('.').unwrap();
        let kept = desk.out().join(format!("{stem}-1.{ending}"));
        assert_eq!(fs::read(kept).unwrap(), bytes, "{name}");
        assert_eq!(fs::read(desk.out().join(name)).unwrap(), ours[n], "{name}");
    }
    // Nothing more to keep the next time.
    let before = contents(&desk.out());
    let output = desk.run("all", &[]);
    assert!(!stderr(&output).contains("kept as"), "{}", stderr(&output));
    assert!(contents(&desk.out()) == before);
}

#[test]
fn a_file_that_was_there_first_is_kept() {
    let desk = with_suns();
    fs::write(desk.out().join("strip.png"), b"mine").unwrap();
    fs::create_dir_all(desk.out().join(".writing-notes")).unwrap();
    fs::write(desk.out().join(".writing-letter"), b"mine").unwrap();
    ended(&desk.run("all", &[]), 1, &["kept as strip-1.png"]);
    for name in ["strip-1.png", ".writing-letter"] {
        assert_eq!(fs::read(desk.out().join(name)).unwrap(), b"mine", "{name}");
    }
    assert!(desk.out().join(".writing-notes").is_dir());
}

#[test]
fn stale_results_go_when_they_are_ours_and_unchanged() {
    let desk = with_suns();
    ended(&desk.run("all", &[]), 1, &[]);
    let recipe = desk.out().join("strip.toml");
    let edit = |from: &str, to: &str| {
        let text = fs::read_to_string(&recipe).unwrap();
        assert!(text.contains(from), "{text}");
        fs::write(&recipe, text.replace(from, to)).unwrap();
    };
    edit(
        "outputs = [\"tif\", \"png\", \"jpg\"]",
        "outputs = [\"png\"]",
    );
    edit("layers = false", "layers = true");
    fs::write(desk.out().join("strip.jpg"), b"retouched").unwrap();
    let output = desk.on_out("strip", &[]);
    went(
        &output,
        &[
            "strip.tif",
            "removed",
            "strip.jpg",
            "left, as they were changed",
        ],
    );
    assert!(!desk.out().join("strip.tif").exists());
    assert_eq!(
        fs::read(desk.out().join("strip.jpg")).unwrap(),
        b"retouched"
    );
    let layers = |desk: &Desk| contents(&desk.out().join("layers"));
    let first = layers(&desk);
    assert!(!first.is_empty());
    let retouched = first.keys().next().unwrap();
    fs::write(retouched, b"retouched").unwrap();
    edit("layers = true", "layers = false");
    went(&desk.on_out("strip", &[]), &["removed"]);
    let left = layers(&desk);
    assert_eq!(left.len(), 1);
    assert_eq!(left[retouched], b"retouched");
    // The recipe itself is the person's: choosing frames anew keeps the edited one.
    let edited = fs::read(&recipe).unwrap();
    went(
        &desk.on_out("strip", &["--each-side", "2"]),
        &["kept as strip-1.toml"],
    );
    assert_eq!(fs::read(desk.out().join("strip-1.toml")).unwrap(), edited);
}
