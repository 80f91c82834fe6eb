//! The page in a real browser, where there is one: node with playwright-core and axe-core (`.ci/run` puts them below `target/browser`), and
//! a Chromium. Without them each test says what it skipped.

use std::path::{Path, PathBuf};
use std::process::Command;

use super::client::Served;
use super::desk::{Desk, said};

/// Where `.ci/run` puts the modules.
fn modules() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("target/browser/node_modules")
}

/// A Chromium on the path, or the one `CHROMIUM` names.
fn chromium() -> Option<PathBuf> {
    let named = std::env::var_os("CHROMIUM").map(PathBuf::from);
    let names = [
        "chromium",
        "chromium-browser",
        "google-chrome",
        "google-chrome-stable",
    ];
    let path = std::env::var_os("PATH").unwrap_or_default();
    let folders: Vec<PathBuf> = std::env::split_paths(&path).collect();
    let all = names
        .iter()
        .flat_map(|name| folders.iter().map(move |folder| folder.join(name)));
    named
        .into_iter()
        .chain(all)
        .find(|program| program.is_file())
}

/// Why the browser cannot be driven here, where it cannot.
fn lacking() -> Option<&'static str> {
    if !modules().join("playwright-core").is_dir() || !modules().join("axe-core").is_dir() {
        return Some(
            "playwright-core and axe-core are not below target/browser (.ci/run puts them there)",
        );
    }
    if !Command::new("node")
        .arg("--version")
        .output()
        .is_ok_and(|o| o.status.success())
    {
        return Some("there is no node");
    }
    chromium().is_none().then_some("there is no Chromium")
}

/// Drives one part of the script on a page that is served; gives what it printed.
#[track_caller]
fn drive(served: &Served, part: &str) -> String {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/browser/choose.mjs");
    let output = Command::new("node")
        .arg(script)
        .env("ADDRESS", format!("http://{}{}", served.host, served.root))
        .env("SERVER", served.id().to_string())
        .env("CHROMIUM", chromium().unwrap())
        .env("MODULES", modules())
        .env("PART", part)
        .output()
        .unwrap();
    assert!(output.status.success(), "{part}: {}", said(&output));
    said(&output)
}

/// Whether to go on; says what is skipped otherwise.
#[allow(clippy::print_stdout)]
fn can(what: &str) -> bool {
    match lacking() {
        Some(why) => {
            println!("SKIPPED {what} in a browser: {why}");
            false
        }
        None => true,
    }
}

#[test]
fn frames_are_chosen_compared_and_moved_by_keys() {
    if can("choosing") {
        let desk = Desk::new();
        drive(&Served::of(&desk), "choose");
    }
}

#[test]
fn a_narrow_dark_screen_and_strangers() {
    if can("a narrow, dark screen, and other pages") {
        let desk = Desk::new();
        let served = Served::of(&desk);
        drive(&served, "small");
        drive(&served, "strangers");
    }
}

#[test]
fn the_program_killed_under_the_page() {
    if can("a program killed under the page") {
        let desk = Desk::new();
        let served = Served::of(&desk);
        let before = desk_frames(&served);
        drive(&served, "killed");
        drop(served);
        let served = Served::of(&desk);
        assert_eq!(desk_frames(&served) + 1, before);
    }
}

/// Frames in the strip.
fn desk_frames(served: &Served) -> usize {
    let recipe = served.get("recipe/-").json();
    ["before", "after"]
        .iter()
        .map(|list| recipe[*list].as_array().unwrap().len())
        .sum()
}

#[test]
#[allow(clippy::print_stdout)]
fn a_card_of_five_thousand() {
    if can("a card of 5,000 frames") {
        let desk = Desk::of_many(5_000);
        print!("{}", drive(&Served::of(&desk), "many"));
    }
}
