//! Coming in: help, manual pages, completions, settings, and what to do next.

use std::fs;

use contactstrip::catalogue::Catalogue;
use contactstrip::pipeline::{RecipeName, RecipeStep, recipe_step};

use super::{Desk, SITE, capped, could_not_run, run, stderr, stdout, text};

#[test]
fn every_topic_and_command_has_its_help() {
    let all = run(&["help"]);
    assert!(all.status.success(), "{}", stderr(&all));
    for topic in [
        "choosing",
        "strip.toml",
        "clocks",
        "corona",
        "files",
        "flags",
        "settings",
    ] {
        assert!(stdout(&all).contains(topic), "{topic} is not listed");
        let page = run(&["help", topic]);
        assert!(
            page.status.success() && stdout(&page).len() > 300,
            "{topic}: {}",
            stderr(&page)
        );
    }
    for command in ["all", "choose", "strip"] {
        assert!(
            stdout(&run(&["help", command])).contains("Usage"),
            "{command}"
        );
    }
    let keys = stdout(&run(&["help", "strip.toml"]));
    for key in [
        "layout = \"row\"",
        "30 to 2400",
        "foreground_az_deg",
        "row, arc, grid",
    ] {
        assert!(keys.contains(key), "{key}");
    }
    let flags = stdout(&run(&["help", "flags"]));
    let words = "capped filter-on cut out-of-frame soft shaken clouded clipped flare approximate no-time incomplete-burst";
    for flag in words.split(' ') {
        assert!(flags.contains(flag), "{flag}");
    }
    could_not_run(
        &run(&["help", "coffee"]),
        &["no help on coffee", "strip.toml"],
    );
}

#[test]
fn manual_pages_and_completions_come_from_the_same_description() {
    let desk = Desk::new();
    let dir = desk.out().join("man");
    let made = run(&["man", text(&dir)]);
    assert!(made.status.success(), "{}", stderr(&made));
    let page = |name: &str| fs::read_to_string(dir.join(name)).unwrap();
    assert!(page("contactstrip.1").contains(".SH NAME"));
    assert!(
        page("contactstrip-strip.1").contains("\\-\\-drop")
            && page("contactstrip-choose.1").contains("no\\-browser")
    );
    assert!(page("contactstrip-strip.toml.7").contains("foreground_az_deg"));
    // No line of a page may be taken for a command of the typesetter.
    let flags = page("contactstrip-flags.7");
    assert!(flags.contains("incomplete\\-burst"), "{flags}");
    for shell in ["bash", "zsh", "fish"] {
        let script = stdout(&run(&["completions", shell]));
        assert!(
            script.contains("no-browser") && script.contains("each-side"),
            "{shell}"
        );
    }
}

#[test]
fn settings_give_the_place_where_pictures_do_not() {
    let desk = Desk::new();
    desk.put("a.jpg", &capped("2019:07:02 15:30:00"));
    let file = desk.card().with_file_name("settings.toml");
    fs::write(
        &file,
        "site = \"-30.03,-70.71,600\"\ncredit = \"A. Person\"\n",
    )
    .unwrap();
    let (card, out) = (desk.card(), desk.out());
    let with = [
        "all",
        text(&card),
        "-o",
        text(&out),
        "--config",
        text(&file),
    ];
    let output = run(&with);
    assert_eq!(output.status.code(), Some(1), "{}", stderr(&output));
    let catalogue = Catalogue::load(&out).unwrap();
    assert!((catalogue.contacts.as_ref().unwrap().site.lat_deg + 30.03).abs() < 1e-9);
    let recipe = recipe_step(&catalogue, &out, &RecipeName::default(), &RecipeStep::Read).unwrap();
    assert_eq!(recipe.recipe.credit.as_deref(), Some("A. Person"));
    // What is typed stands above it, and commands that need a place need it no more.
    let typed = run(&[
        "contacts",
        "--site",
        "-29,-70",
        "--date",
        "2019-07-02",
        "--json",
        "--config",
        text(&file),
    ]);
    assert!(stdout(&typed).contains("-29"), "{}", stderr(&typed));
    let settled = run(&[
        "--config",
        text(&file),
        "contacts",
        "--date",
        "2019-07-02",
        "--json",
    ]);
    assert!(
        settled.status.success() && stdout(&settled).contains("-30.03"),
        "{}",
        stderr(&settled)
    );
    fs::write(&file, "sight = 3\n").unwrap();
    could_not_run(&run(&with), &["settings.toml", "help settings"]);
    could_not_run(&run(&["contacts", "--date", "2019-07-02"]), &["--site"]);
}

#[test]
fn a_run_ends_with_what_to_do_next_and_an_old_page_is_told() {
    let desk = Desk::new();
    for minute in [30, 40] {
        desk.put(
            &format!("{minute}.jpg"),
            &capped(&format!("2019:07:02 15:{minute}:00")),
        );
    }
    let (card, out) = (desk.card(), desk.out());
    let all = run(&["all", text(&card), "-o", text(&out), SITE]);
    let words = stdout(&all);
    let last: Vec<&str> = words.lines().rev().take(2).collect();
    assert!(
        last[1].contains("open ") && last[1].contains("report.html"),
        "{words}"
    );
    assert!(
        last[0].contains(&format!("contactstrip choose {}", text(&out))),
        "{words}"
    );
    let quiet = run(&["all", text(&card), "-o", text(&out), SITE, "--quiet"]);
    assert!(!stdout(&quiet).contains("contactstrip choose"));
    // Pictures newer than the page: told once it is so, and not before.
    assert!(!stderr(&run(&["strip", text(&out)])).contains("earlier pictures"));
    std::thread::sleep(std::time::Duration::from_millis(30));
    fs::write(out.join("strip.png"), "newer").unwrap();
    assert!(stderr(&run(&["strip", text(&out)])).contains("it shows the earlier pictures"));
    run(&["report", text(&out)]);
    assert!(!stderr(&run(&["strip", text(&out)])).contains("earlier pictures"));
}
