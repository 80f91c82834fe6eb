//! `strip OUT --drop … --add … --set … --recipe …`.

use std::fs;

use contactstrip::domain::Phase;
use contactstrip::pipeline::{RecipeName, RecipeStep, recipe_step};
use contactstrip::strip::{Recipe, RecipeEdit};

use super::desk::{Desk, said, size};

/// A desk with a small strip that was drawn, in one format.
fn desk() -> Desk {
    let desk = Desk::new();
    let small = [
        "--set",
        "width_px=600",
        "--set",
        "outputs=[\"png\"]",
        "--set",
        "centre=none",
    ];
    let drawn = desk.strip(&small);
    assert!(drawn.status.code() < Some(2), "{}", said(&drawn));
    desk
}

fn recipe(desk: &Desk, file: &str) -> Recipe {
    Recipe::parse(&desk.read(file), &desk.catalogue()).unwrap()
}

#[test]
fn frames_go_out_and_in_by_name_and_comments_stay() {
    let desk = desk();
    let mut text = desk.read("strip.toml");
    let before = recipe(&desk, "strip.toml").before;
    let (out, other) = (before[1].clone(), before[0].clone());
    text = text.replace(
        &format!("\"{other}\","),
        &format!("\"{other}\", # the best of all"),
    );
    fs::write(desk.out().join("strip.toml"), &text).unwrap();
    let earlier = fs::read(desk.out().join("strip.png")).unwrap();

    let own = out.rsplit('/').next().unwrap().to_lowercase();
    let drawn = desk.strip(&["--drop", &own]);
    assert!(drawn.status.code() < Some(2), "{}", said(&drawn));
    let now = recipe(&desk, "strip.toml").before;
    assert_eq!(now.len() + 1, before.len());
    assert!(!now.contains(&out) && desk.read("strip.toml").contains("# the best of all"));
    assert!(
        desk.read("strip.toml")
            .contains("# How the discs are arranged")
    );
    assert_ne!(
        fs::read(desk.out().join("strip.png")).unwrap(),
        earlier,
        "it was drawn anew"
    );

    let drawn = desk.strip(&["--add", &out]);
    assert!(drawn.status.code() < Some(2), "{}", said(&drawn));
    assert_eq!(recipe(&desk, "strip.toml").before, before);
    assert_eq!(fs::read(desk.out().join("strip.png")).unwrap(), earlier);
    // What was changed by hand was kept in its place, not beside it.
    assert!(!desk.has("strip-1.toml"));
}

#[test]
fn what_cannot_be_done_is_told_and_changes_nothing() {
    let desk = desk();
    let text = desk.read("strip.toml");
    let inside = recipe(&desk, "strip.toml").before[0].clone();
    for (args, words) in [
        (vec!["--drop", "SUN_9999.JPG"], "no frame SUN_9999.JPG"),
        (vec!["--add", inside.as_str()], "is in the strip already"),
        (vec!["--set", "paper=A4"], "12x18 in"),
        (vec!["--set", "papre=none"], "did you mean paper?"),
        (vec!["--recipe", "../up"], "no name for a recipe"),
        (vec!["--recipe", "1"], "begins with a letter"),
    ] {
        let output = desk.strip(&args);
        assert_eq!(output.status.code(), Some(2), "{args:?}: {}", said(&output));
        assert!(said(&output).contains(words), "{args:?}: {}", said(&output));
        assert_eq!(desk.read("strip.toml"), text, "{args:?}");
    }
    let dry = desk.strip(&["--drop", &inside, "--dry-run"]);
    assert!(dry.status.code() < Some(2), "{}", said(&dry));
    assert_eq!(desk.read("strip.toml"), text);
}

#[test]
fn recipes_with_names_live_beside_the_first() {
    let desk = desk();
    let first = (
        desk.read("strip.toml"),
        fs::read(desk.out().join("strip.png")).unwrap(),
    );
    let drawn = desk.strip(&[
        "--recipe",
        "print",
        "--set",
        "paper=6x2 in",
        "--set",
        "dpi=100",
    ]);
    assert!(drawn.status.code() < Some(2), "{}", said(&drawn));
    assert_eq!(size(&desk.out().join("strip-print.png")), (600, 200));
    assert!(said(&drawn).contains("strip-print.png"), "{}", said(&drawn));
    assert_eq!(desk.read("strip.toml"), first.0, "the first is as it was");
    assert_eq!(fs::read(desk.out().join("strip.png")).unwrap(), first.1);
    let (of_first, of_print) = (
        recipe(&desk, "strip.toml"),
        recipe(&desk, "strip-print.toml"),
    );
    assert_eq!(of_first.before, of_print.before, "it began as a copy");
    // Drawing the first again takes nothing of the other away.
    let again = desk.strip(&[]);
    assert!(again.status.code() < Some(2), "{}", said(&again));
    assert!(desk.has("strip-print.png") && desk.has("strip-print.toml"));
    let names = contactstrip::pipeline::recipes(&desk.out());
    assert_eq!(
        names.iter().map(ToString::to_string).collect::<Vec<_>>(),
        ["", "print"]
    );
}

#[test]
fn steps_are_taken_back_and_again_whoever_took_them() {
    let desk = desk();
    let (catalogue, out, first) = (desk.catalogue(), desk.out(), RecipeName::default());
    let step = |step: RecipeStep| recipe_step(&catalogue, &out, &first, &step).unwrap();
    let begun = step(RecipeStep::Read);
    let frame = begun.recipe.before[0].clone();
    let dropped = step(RecipeStep::Edit(vec![RecipeEdit::Drop(frame.clone())]));
    assert_eq!(dropped.undo, begun.undo + 1);
    // By hand, with an editor that knows nothing of this.
    let by_hand = dropped
        .text
        .replace("layout = \"row\"", "layout = \"arc\" # mine");
    fs::write(out.join("strip.toml"), &by_hand).unwrap();
    assert_eq!(step(RecipeStep::Read).text, by_hand);
    assert_eq!(step(RecipeStep::Undo).text, dropped.text);
    assert_eq!(step(RecipeStep::Undo).text, begun.text);
    assert_eq!(step(RecipeStep::Redo).text, dropped.text);
    let last = step(RecipeStep::Redo);
    assert_eq!((last.text.as_str(), last.redo), (by_hand.as_str(), 0));
    assert_eq!(desk.read("strip.toml"), by_hand);
    // A text that is no recipe can be taken back too.
    fs::write(out.join("strip.toml"), "layout = \"rign\"\n").unwrap();
    assert!(recipe_step(&catalogue, &out, &first, &RecipeStep::Read).is_err());
    assert_eq!(step(RecipeStep::Undo).text, by_hand);
}

#[test]
fn many_hands_at_once_lose_no_change() {
    let desk = desk();
    let (catalogue, out) = (desk.catalogue(), desk.out());
    let frames = desk.frames(Phase::Ingress);
    std::thread::scope(|scope| {
        for frame in &frames {
            let (catalogue, out) = (&catalogue, &out);
            scope.spawn(move || {
                let edit = RecipeStep::Edit(vec![RecipeEdit::SetAside(frame.clone())]);
                recipe_step(catalogue, out, &RecipeName::default(), &edit).unwrap();
            });
        }
    });
    let mut aside = recipe(&desk, "strip.toml").aside;
    aside.sort();
    assert_eq!(aside, frames);
}
