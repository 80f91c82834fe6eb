//! Which frames are chosen.

use contactstrip::catalogue::ShotRecord;
use contactstrip::domain::{Flag, LocalKind, Notice, Phase};
use contactstrip::strip::{By, Centre, Recipe, Wish};

use super::drawn::{Scene, Take, card, catalogue, maximum, record};

fn time_of(catalogue: &contactstrip::catalogue::Catalogue, name: &str) -> f64 {
    let utc = catalogue.shot(name).unwrap().utc.unwrap();
    utc.seconds_since(maximum())
}

fn times(catalogue: &contactstrip::catalogue::Catalogue, names: &[String]) -> Vec<f64> {
    names.iter().map(|n| time_of(catalogue, n)).collect()
}

#[test]
fn an_even_card_gives_an_even_strip_about_totality() {
    let (catalogue, _) = card(&Scene::SMALL, 300.0);
    let (recipe, notices) = Recipe::propose(&catalogue);
    assert_eq!(recipe.centre, Centre::Corona);
    assert_eq!((recipe.before.len(), recipe.after.len()), (14, 14));
    for side in [&recipe.before, &recipe.after] {
        let times = times(&catalogue, side);
        assert!(
            times.windows(2).all(|t| (t[1] - t[0] - 300.0).abs() < 1.0),
            "{times:?}"
        );
    }
    assert!(notices.is_empty(), "{notices:?}");
}

#[test]
fn a_dense_card_is_thinned_evenly() {
    let (catalogue, _) = card(&Scene::SMALL, 60.0);
    let wish = Wish {
        each_side: Some(6),
        by: By::Time,
    };
    let (recipe, _) = Recipe::propose_for(&catalogue, &wish);
    assert_eq!((recipe.before.len(), recipe.after.len()), (6, 6));
    let times = times(&catalogue, &recipe.before);
    let steps: Vec<f64> = times.windows(2).map(|t| t[1] - t[0]).collect();
    assert!(
        steps.iter().all(|s| (s - steps[0]).abs() <= 60.0),
        "{steps:?}"
    );
}

#[test]
fn a_clouded_frame_is_replaced_by_its_neighbour_and_told() {
    let (mut catalogue, _) = card(&Scene::SMALL, 300.0);
    let bad = catalogue.shots[5].name().to_owned();
    let t_s = time_of(&catalogue, &bad) + 90.0;
    let stand_in = record(
        &Scene::SMALL,
        "DCIM/100/EXTRA.JPG",
        &Take::varied(&Scene::SMALL, t_s),
        Phase::Ingress,
    );
    catalogue.shots[5].flags.set(Flag::Clouded);
    catalogue.shots.insert(6, stand_in);
    let (recipe, notices) = Recipe::propose(&catalogue);
    assert!(!recipe.before.contains(&bad));
    assert!(recipe.before.contains(&"DCIM/100/EXTRA.JPG".to_owned()));
    let texts: Vec<String> = notices.iter().map(Notice::text).collect();
    assert!(
        texts
            .iter()
            .any(|t| t.contains(&bad) && t.contains("left out of the strip as clouded")),
        "{texts:?}"
    );
}

#[test]
fn a_flawed_frame_is_taken_where_there_is_no_better_one() {
    let (mut catalogue, _) = card(&Scene::SMALL, 300.0);
    let flawed = [
        (3, Flag::Clouded),
        (5, Flag::Cut),
        (7, Flag::Soft),
        (20, Flag::Clouded),
        (22, Flag::Shaken),
    ];
    for (n, flag) in flawed {
        catalogue.shots[n].flags.set(flag);
        catalogue.shots[n].quality = Some(0.05);
    }
    let (recipe, notices) = Recipe::propose(&catalogue);
    assert_eq!((recipe.before.len(), recipe.after.len()), (14, 14));
    // One line a reason, the names with it.
    assert_eq!(notices.len(), 4, "{notices:?}");
    let clouded = notices
        .iter()
        .find(|n| n.text().contains("clouded"))
        .unwrap();
    for n in [3, 20] {
        assert!(
            clouded.text().contains(catalogue.shots[n].name()),
            "{clouded}"
        );
    }
}

#[test]
fn whole_suns_of_the_morning_and_unsure_cut_ones_are_no_steps() {
    let (mut catalogue, _) = card(&Scene::SMALL, 300.0);
    let (usual, _) = Recipe::propose(&catalogue);
    let c1_s = catalogue
        .contacts
        .as_ref()
        .unwrap()
        .c1
        .utc
        .seconds_since(maximum());
    let whole = |name: &str, t_s: f64, flags: &[Flag]| {
        let take = Take::varied(&Scene::SMALL, t_s);
        let mut shot = record(&Scene::SMALL, name, &take, Phase::Before);
        flags.iter().for_each(|flag| shot.flags.set(*flag));
        shot
    };
    let cut = [Flag::Cut, Flag::Approximate];
    let extra = [
        whole("MORNING.JPG", c1_s - 7200.0, &[]),
        whole("CUT.JPG", c1_s - 400.0, &cut),
        whole("BEFORE.JPG", c1_s - 300.0, &[]),
    ];
    catalogue.shots.splice(0..0, extra);
    let (recipe, notices) = Recipe::propose(&catalogue);
    assert!(
        recipe.before.contains(&"BEFORE.JPG".to_owned()),
        "{recipe:?}"
    );
    assert_eq!(recipe.before.len(), usual.before.len() + 1, "{recipe:?}");
    let texts: Vec<String> = notices.iter().map(Notice::text).collect();
    assert!(
        texts
            .iter()
            .any(|t| t.contains("MORNING.JPG") && t.contains("CUT.JPG")),
        "{texts:?}"
    );
}

#[test]
fn as_many_are_taken_as_were_asked_for() {
    let (mut catalogue, _) = card(&Scene::SMALL, 300.0);
    for shot in catalogue.shots.iter_mut().step_by(2) {
        shot.flags.set(Flag::Clouded);
        shot.flags.set(Flag::Soft);
    }
    for asked in [1, 5, 9, 13, 14] {
        let wish = Wish {
            each_side: Some(asked),
            by: By::Time,
        };
        let (recipe, _) = Recipe::propose_for(&catalogue, &wish);
        assert_eq!((recipe.before.len(), recipe.after.len()), (asked, asked));
    }
    let wish = Wish {
        each_side: Some(20),
        by: By::Time,
    };
    let (recipe, notices) = Recipe::propose_for(&catalogue, &wish);
    assert_eq!((recipe.before.len(), recipe.after.len()), (14, 14));
    assert!(
        notices
            .iter()
            .any(|n| n.text().contains("14 frames") && n.text().contains("20 were asked")),
        "{notices:?}"
    );
}

#[test]
fn an_uneven_card_gives_all_its_moments() {
    // Minutes before totality at which somebody happened to press the button, and after.
    let (full, _) = card(&Scene::SMALL, 60.0);
    let minutes = [-67.0, -37.0, -33.0, -4.0, 5.0];
    let mut few = full.clone();
    few.shots.retain(|s| {
        let after = s.utc.unwrap().seconds_since(maximum()) / 60.0;
        s.phase == Phase::Totality || minutes.iter().any(|m| (m - after).abs() < 0.1)
    });
    let (recipe, _) = Recipe::propose(&few);
    assert_eq!((recipe.before.len(), recipe.after.len()), (4, 1));
    // No larger than the photographs bear, and no corona that leaves one disc at the edge.
    assert!(recipe.width_px < 3_000, "{}", recipe.width_px);
}

#[test]
fn frames_without_a_time_are_offered_apart() {
    let (mut catalogue, _) = card(&Scene::SMALL, 300.0);
    let name = catalogue.shots[2].name().to_owned();
    catalogue.shots[2].utc = None;
    catalogue.shots[2].phase = Phase::Untimed;
    let (recipe, notices) = Recipe::propose(&catalogue);
    assert!(recipe.frames().all(|frame| frame != name));
    assert!(
        notices
            .iter()
            .any(|n| n.text().contains(&name) && n.text().contains("without a usable time"))
    );
    let text = recipe.to_toml(&catalogue);
    assert!(text.contains(&format!("#   \"{name}\",")), "{text}");
    assert_eq!(Recipe::parse(&text, &catalogue).unwrap(), recipe);
}

#[test]
fn a_wide_gap_is_told() {
    let (mut catalogue, _) = card(&Scene::SMALL, 300.0);
    catalogue.shots.drain(4..8);
    let (recipe, notices) = Recipe::propose(&catalogue);
    assert_eq!(recipe.before.len(), 10);
    assert!(
        notices.iter().any(|n| n.text().contains("gap of 25.0 min")),
        "{notices:?}"
    );
}

#[test]
fn equal_obscuration_is_equal() {
    let (catalogue, _) = card(&Scene::SMALL, 60.0);
    let wish = Wish {
        each_side: Some(5),
        by: By::Obscuration,
    };
    let (recipe, _) = Recipe::propose_for(&catalogue, &wish);
    assert_eq!(recipe.before.len(), 5);
    for (k, name) in recipe.before.iter().enumerate() {
        let covered = catalogue.shot(name).unwrap().predicted.unwrap().obscuration;
        assert!((covered - (k as f64 + 0.5) / 5.0).abs() < 0.02, "{covered}");
    }
}

#[test]
fn the_middle_of_an_annular_and_of_a_partial_eclipse() {
    for kind in [LocalKind::Annular, LocalKind::Partial] {
        let scene = Scene {
            kind,
            ..Scene::SMALL
        };
        let (catalogue, _) = card(&scene, 300.0);
        let (recipe, notices) = Recipe::propose(&catalogue);
        let Centre::Frame(name) = &recipe.centre else {
            panic!("{kind:?}: {:?}", recipe.centre)
        };
        assert!(time_of(&catalogue, name).abs() < 1.0);
        assert!(!recipe.before.contains(name) && !recipe.after.contains(name));
        assert_eq!(
            (recipe.before.len(), recipe.after.len()),
            (14, 14),
            "{notices:?}"
        );
    }
}

#[test]
fn little_gives_little_and_nothing_gives_a_word() {
    let (mut catalogue, _) = card(&Scene::SMALL, 300.0);
    catalogue.shots.truncate(2);
    let (recipe, _) = Recipe::propose(&catalogue);
    assert_eq!(recipe.before.len() + recipe.after.len(), 2);
    catalogue.shots.truncate(1);
    let (recipe, _) = Recipe::propose(&catalogue);
    assert_eq!(recipe.before.len(), 1);
    let none = super::drawn::catalogue(&Scene::SMALL, Vec::new());
    let (recipe, notices) = Recipe::propose(&none);
    assert_eq!(recipe.frames().count(), 0);
    assert!(
        notices
            .iter()
            .any(|n| n.text().contains("no frame for the strip"))
    );
}

#[test]
fn a_card_without_an_eclipse_still_gives_a_row() {
    let (mut with, _) = card(&Scene::SMALL, 300.0);
    with.contacts = None;
    let (recipe, _) = Recipe::propose(&with);
    assert!(recipe.frames().count() >= 20);
    let mut timeless = catalogue(&Scene::SMALL, with.shots);
    timeless.contacts = None;
    timeless.shots.iter_mut().for_each(|s| s.utc = None);
    let (recipe, notices) = Recipe::propose(&timeless);
    let names: Vec<&str> = timeless.shots.iter().map(|s| s.name()).collect();
    let row: Vec<&String> = recipe.before.iter().chain(&recipe.after).collect();
    assert_eq!(row, names);
    assert!(notices.iter().any(|n| n.text().contains("no times")));
}

#[test]
fn without_times_what_shows_totality_stands_in_the_middle() {
    let (mut with, _) = card(&Scene::SMALL, 300.0);
    let total: Vec<String> = with
        .shots
        .iter()
        .filter(|s| s.phase == Phase::Totality)
        .map(|s| s.name().to_owned())
        .collect();
    let first = with.shots.iter().position(|s| s.name() == total[0]);
    let names = |shots: &[ShotRecord]| -> Vec<String> {
        let partial = shots.iter().filter(|s| !total.contains(&s.shot.file.name));
        partial.map(|s| s.name().to_owned()).collect()
    };
    let sides = with.shots.split_at(first.unwrap());
    let (before, after) = (names(sides.0), names(sides.1));
    for shot in &mut with.shots {
        (shot.utc, shot.phase, shot.predicted) = (None, Phase::Untimed, None);
    }
    let (recipe, notices) = Recipe::propose(&with);
    assert_eq!(recipe.centre, Centre::Corona);
    assert_eq!((recipe.before, recipe.after), (before, after));
    assert!(notices.iter().any(|n| n.text().contains("no times")));
}
