//! Changes to a recipe's text: what is asked for changes, everything else stays as the person wrote it.

use contactstrip::catalogue::Catalogue;
use contactstrip::strip::{
    Centre, EditError, FieldKind, ListOf, Recipe, RecipeEdit, edited, fields, frame_meant,
};
use proptest::prelude::*;

use super::drawn::{Scene, card};

fn name(n: usize) -> String {
    format!("DCIM/100/SUN_{n:04}.JPG")
}

fn taken(text: &str, catalogue: &Catalogue, edits: &[RecipeEdit]) -> (String, Recipe) {
    let text = edited(text, catalogue, edits).unwrap();
    let recipe = Recipe::parse(&text, catalogue).unwrap();
    (text, recipe)
}

/// Comments of a text, in order.
fn comments(text: &str) -> Vec<&str> {
    text.lines()
        .filter_map(|l| l.split_once('#'))
        .map(|(_, c)| c)
        .collect()
}

/// A recipe as a person may have left it: odd spacing, notes of their own, a list on one line.
const BY_HAND: &str = "# for the hall\n\nlayout = 'arc' # as Ann likes it\npaper=\"12x18 in\"\n\nbefore = [ # morning\n  # the first bite\n  \
     \"DCIM/100/SUN_0002.JPG\",  # sharp!\n\n  \"DCIM/100/SUN_0005.JPG\" # a little soft\n]\n# evening\nafter = [\"DCIM/100/SUN_0020.JPG\", \
     \"DCIM/100/SUN_0025.JPG\"]\n# the end\n";

#[test]
fn a_frame_is_taken_at_its_time_and_dropped_with_its_own_comment() {
    let (catalogue, _) = card(&Scene::SMALL, 300.0);
    let (text, recipe) = taken(BY_HAND, &catalogue, &[RecipeEdit::Take(name(4))]);
    assert_eq!(recipe.before, [name(2), name(4), name(5)], "{text}");
    let own = format!("\n  \"{}\",  # ", name(4));
    assert!(
        text.contains(&own) && text.contains("obscuration "),
        "{text}"
    );
    for kept in comments(BY_HAND) {
        assert!(comments(&text).contains(&kept), "{kept:?} is lost:\n{text}");
    }
    // Out again: the text is as it was, but for the comma before the added line.
    let (back, recipe) = taken(&text, &catalogue, &[RecipeEdit::Drop(name(4))]);
    assert_eq!(recipe.before, [name(2), name(5)]);
    assert_eq!(comments(&back), comments(BY_HAND), "{back}");
    // A dropped frame takes the comment on its line along; the lines above it stay.
    let (text, _) = taken(BY_HAND, &catalogue, &[RecipeEdit::Drop(name(2))]);
    let left = comments(&text);
    assert!(
        !left.contains(&" sharp!") && left.contains(&" the first bite"),
        "{text}"
    );
    assert!(left.contains(&" a little soft"), "{text}");
}

#[test]
fn lists_on_one_line_stay_on_one_line_and_empty_ones_begin_with_one_a_line() {
    let (catalogue, _) = card(&Scene::SMALL, 300.0);
    for (n, list) in [(22, [20, 22, 25]), (16, [16, 20, 25]), (28, [20, 25, 28])] {
        let (text, recipe) = taken(BY_HAND, &catalogue, &[RecipeEdit::Take(name(n))]);
        assert_eq!(recipe.after, list.map(name), "{text}");
        let line = text.lines().find(|l| l.starts_with("after")).unwrap();
        let written = list.map(|n| format!("\"{}\"", name(n))).join(", ");
        assert_eq!(line, format!("after = [{written}]"));
    }
    for empty in [
        "",
        "before = []\n",
        "before = [\n]\n",
        "before = [\n  # none yet\n]\n",
    ] {
        let edits = [RecipeEdit::Take(name(3)), RecipeEdit::Take(name(2))];
        let (text, recipe) = taken(empty, &catalogue, &edits);
        assert_eq!(recipe.before, [name(2), name(3)], "{text}");
        assert_eq!(text.matches(",  # ").count(), 2, "{text}");
    }
}

#[test]
fn the_program_s_own_text_keeps_every_comment_beside_its_frame() {
    let (catalogue, _) = card(&Scene::SMALL, 300.0);
    let (recipe, _) = Recipe::propose(&catalogue);
    let text = recipe.to_toml(&catalogue);
    let middle = recipe.before[recipe.before.len() / 2].clone();
    let edits = [RecipeEdit::Drop(middle.clone()), RecipeEdit::Take(middle)];
    // Out and in again is no change at all, to the byte.
    assert_eq!(edited(&text, &catalogue, &edits).unwrap(), text);
    let first = recipe.before[0].clone();
    let moved = RecipeEdit::Move {
        frame: first.clone(),
        list: ListOf::After,
        at: usize::MAX,
    };
    let (text, moved) = taken(&text, &catalogue, &[moved]);
    assert_eq!(moved.after.last(), Some(&first));
    let line = text.lines().find(|l| l.contains(&first)).unwrap();
    assert!(line.contains("obscuration"), "it keeps its comment: {line}");
}

#[test]
fn values_change_in_their_place_and_within_their_limits() {
    let (catalogue, _) = card(&Scene::SMALL, 300.0);
    let set = |key: &str, value: &str| RecipeEdit::Set {
        key: key.into(),
        value: value.into(),
    };
    let edits = [
        set("layout", "ring"),
        set("paper", "30x45 cm"),
        set("spacing", "0.5"),
        set("credit", "A \"B\""),
    ];
    let (text, recipe) = taken(BY_HAND, &catalogue, &edits);
    assert!(
        text.contains("layout = \"ring\" # as Ann likes it\npaper=\"30x45 cm\"\n"),
        "{text}"
    );
    assert!((recipe.spacing - 0.5).abs() < 1e-12 && recipe.paper.unwrap().in_cm);
    assert_eq!(recipe.credit.as_deref(), Some("A \"B\""));
    for (key, value, hint) in [
        ("dpi", "3", "outside 30 to 2400"),
        ("layuot", "\"row\"", "did you mean layout?"),
        ("layout", "\"rign\"", "did you mean \"ring\"?"),
        ("centre", "\"DCIM/100/NONE.JPG\"", "no frame"),
        ("layout", "[1, 2]", "must be text"),
    ] {
        let error = edited(BY_HAND, &catalogue, &[set(key, value)]).unwrap_err();
        assert!(error.to_string().contains(hint), "{key}: {error}");
    }
}

#[test]
fn every_field_takes_its_limits_and_nothing_beyond() {
    let (catalogue, _) = card(&Scene::SMALL, 300.0);
    let fields = fields(&Recipe::default());
    assert!(fields.len() > 25 && fields[0].name == "layout");
    let fits = |key: &str, value: String| {
        let set = RecipeEdit::Set {
            key: key.into(),
            value,
        };
        edited("", &catalogue, &[set]).is_ok()
    };
    for field in &fields {
        assert!(fits(field.name, field.value.clone()), "{field:?}");
        match &field.kind {
            FieldKind::Number {
                least, most, auto, ..
            } => {
                let near = |v: f64| fits(field.name, format!("{v:?}"));
                assert!(near(*least) && near(*most), "{field:?}");
                assert!(!near(least - 0.01) && !near(most + 0.01), "{field:?}");
                assert_eq!(fits(field.name, "\"auto\"".into()), *auto, "{field:?}");
            }
            FieldKind::Choice(words) => {
                assert!(words.iter().all(|w| fits(field.name, format!("\"{w}\""))));
                assert!(!fits(field.name, "\"other\"".into()), "{field:?}");
            }
            _ => {}
        }
    }
}

#[test]
fn the_middle_and_the_list_set_aside_are_the_persons_too() {
    let (catalogue, _) = card(&Scene::SMALL, 300.0);
    let text = format!("centre = \"{}\"\n{BY_HAND}", name(15));
    let there = edited(&text, &catalogue, &[RecipeEdit::Take(name(15))]).unwrap_err();
    assert_eq!(there, EditError::There(name(15)));
    let (_, recipe) = taken(&text, &catalogue, &[RecipeEdit::Drop(name(15))]);
    assert_eq!(recipe.centre, Centre::None);
    let gone = edited(&text, &catalogue, &[RecipeEdit::Drop(name(9))]).unwrap_err();
    assert_eq!(gone, EditError::NotThere(name(9)));
    let aside = [
        RecipeEdit::SetAside(name(7)),
        RecipeEdit::SetAside(name(2)),
        RecipeEdit::SetAside(name(7)),
    ];
    let (text, recipe) = taken(&text, &catalogue, &aside);
    assert_eq!(recipe.aside, [name(7), name(2)], "{text}");
    assert!(
        recipe.before.contains(&name(2)),
        "setting aside takes nothing from the strip"
    );
    let (_, recipe) = taken(&text, &catalogue, &[RecipeEdit::BringBack(name(7))]);
    assert_eq!(recipe.aside, [name(2)]);
    assert_eq!(
        Recipe::parse(&recipe.to_toml(&catalogue), &catalogue),
        Ok(recipe)
    );
}

#[test]
fn frames_are_known_by_what_people_call_them() {
    let (mut catalogue, _) = card(&Scene::SMALL, 300.0);
    for said in [
        "DCIM/100/SUN_0004.JPG",
        "SUN_0004.JPG",
        "sun_0004.jpg",
        "SUN_0004",
    ] {
        assert_eq!(frame_meant(&catalogue, said), Ok(name(4)), "{said}");
    }
    let error = frame_meant(&catalogue, "SUN_00O4.JPG")
        .unwrap_err()
        .to_string();
    assert!(error.contains("did you mean DCIM/100/SUN_"), "{error}");
    catalogue.shots[0].shot.file.name = "DCIM/101/SUN_0004.JPG".into();
    let error = frame_meant(&catalogue, "SUN_0004").unwrap_err().to_string();
    assert!(error.contains("101/") && error.contains("100/"), "{error}");
}

#[test]
fn a_list_that_becomes_empty_keeps_the_comments_above_its_last_frame() {
    let (catalogue, _) = card(&Scene::SMALL, 300.0);
    let (text, recipe) = taken(
        BY_HAND,
        &catalogue,
        &[RecipeEdit::Drop(name(2)), RecipeEdit::Drop(name(5))],
    );
    assert!(recipe.before.is_empty(), "{text}");
    assert!(text.contains("  # the first bite\n"), "{text}");
    let (text, recipe) = taken(&text, &catalogue, &[RecipeEdit::Take(name(5))]);
    assert_eq!(recipe.before, [name(5)], "{text}");
    // Moved about, a frame takes the comment on its line along, behind its comma.
    let moved = RecipeEdit::Move {
        frame: name(5),
        list: ListOf::Before,
        at: 0,
    };
    let (text, recipe) = taken(BY_HAND, &catalogue, &[moved]);
    assert_eq!(recipe.before, [name(5), name(2)], "{text}");
    assert!(text.contains("SUN_0005.JPG\", # a little soft\n"), "{text}");
}

proptest! {
    /// Whatever is done in whatever order, the text stays a recipe, holds what was asked for, and no comment is lost but those on the
    /// lines of frames that left.
    #[test]
    fn any_course_of_changes_leaves_a_recipe(steps in prop::collection::vec((1_usize..28, 0_u8..5, 0_usize..6), 1..24)) {
        let (catalogue, _) = card(&Scene::SMALL, 300.0);
        let mut text = BY_HAND.to_owned();
        for (n, what, at) in steps {
            let edit = match what {
                0 => RecipeEdit::Take(name(n)),
                1 => RecipeEdit::Drop(name(n)),
                2 => RecipeEdit::Move { frame: name(n), list: ListOf::Before, at },
                3 => RecipeEdit::SetAside(name(n)),
                _ => RecipeEdit::BringBack(name(n)),
            };
            match edited(&text, &catalogue, std::slice::from_ref(&edit)) {
                Ok(next) => text = next,
                Err(EditError::There(_) | EditError::NotThere(_)) => {}
                Err(other) => prop_assert!(false, "{other}\n{text}"),
            }
            let recipe = Recipe::parse(&text, &catalogue).unwrap();
            let holds = |list: &[String]| list.contains(&name(n));
            match what {
                0 => prop_assert!(holds(&recipe.before) || holds(&recipe.after)),
                1 => prop_assert!(!holds(&recipe.before) && !holds(&recipe.after)),
                3 => prop_assert!(holds(&recipe.aside)),
                4 => prop_assert!(!holds(&recipe.aside)),
                _ => {}
            }
        }
        for kept in [" for the hall", " as Ann likes it", " morning", " the first bite", " evening", " the end"] {
            prop_assert!(comments(&text).contains(&kept), "{:?} is lost:\n{}", kept, text);
        }
    }
}
