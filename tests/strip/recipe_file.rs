//! `strip.toml`, written and read.

use contactstrip::strip::{Arrangement, Captions, Centre, Output, Paper, Recipe, Tint, Up};
use proptest::prelude::*;

use super::drawn::{Scene, card};

#[test]
fn a_proposal_comes_back_as_it_was() {
    let (catalogue, _) = card(&Scene::SMALL, 300.0);
    let (recipe, _) = Recipe::propose(&catalogue);
    let text = recipe.to_toml(&catalogue);
    assert_eq!(
        Recipe::parse(&text, &catalogue).unwrap(),
        recipe,
        "\n{text}"
    );
    assert!(text.contains("# How the discs are arranged"));
    assert!(text.contains("obscuration "));
}

proptest! {
    #[test]
    fn every_recipe_comes_back_as_it_was(
        arrangement in prop::sample::select(vec![Arrangement::Row, Arrangement::Arc, Arrangement::Grid, Arrangement::Ring, Arrangement::Diagonal, Arrangement::Path]),
        centre in prop::sample::select(vec![Centre::None, Centre::Corona, Centre::Frame("DCIM/100/SUN_0003.JPG".into())]),
        paper in prop::sample::select(vec![None, Some(Paper { width: 84.0, height: 12.0, in_cm: false }), Some(Paper { width: 29.7, height: 42.05, in_cm: true })]),
        disc_px in prop::option::of(4.0..20_000.0_f64),
        extent_radii in prop::option::of(1.1..30.0_f64),
        spacing in 0.0..10.0_f64,
        margin in prop::option::of(0.0..10.0_f64),
        centre_size in 0.5..10.0_f64,
        background in any::<[u8; 3]>(),
        credit in prop::option::of("[a-zA-Z \"\\\\'#é]{1,20}"),
        embed_location in any::<bool>(),
    ) {
        let (catalogue, _) = card(&Scene::SMALL, 900.0);
        let recipe = Recipe {
            arrangement, centre, paper, disc_px, extent_radii, spacing, margin, centre_size, background,
            credit: credit.filter(|c| c != "none"), embed_location, layers: embed_location,
            orientation: Up::Zenith, white_balance: Tint::Warm, captions: Captions::Both,
            foreground: Some("DCIM/100/SUN_0001.JPG".into()),
            outputs: vec![Output::Jpeg, Output::Tiff],
            before: vec!["DCIM/100/SUN_0002.JPG".into()],
            ..Recipe::default()
        };
        let text = recipe.to_toml(&catalogue);
        prop_assert_eq!(Recipe::parse(&text, &catalogue), Ok(recipe));
    }

    #[test]
    fn no_text_is_fatal(text in "\\PC{0,80}") {
        let (catalogue, _) = card(&Scene::SMALL, 900.0);
        let _ = Recipe::parse(&text, &catalogue);
    }
}

#[test]
fn mistakes_are_told_with_their_line_and_a_hint() {
    let (catalogue, _) = card(&Scene::SMALL, 300.0);
    let cases = [
        (
            "layout = \"row\"\nlayuot = \"arc\"\n",
            2,
            "did you mean layout?",
        ),
        ("\n\nlayout = \"rign\"\n", 3, "did you mean \"ring\"?"),
        ("white_balance = 3\n", 1, "must be text"),
        ("dpi = 3\n", 1, "outside 30 to 2400"),
        ("spacing = nan\n", 1, "outside"),
        (
            "before = [\n  \"DCIM/100/SUN_0001.JPG\",\n  \"DCIM/100/SUN_00O2.JPG\",\n]\n",
            3,
            "did you mean DCIM/100/SUN_",
        ),
        (
            "before = [\"sun_0004.jpg\"]\n",
            1,
            "did you mean DCIM/100/SUN_0004.JPG?",
        ),
        (
            "centre = \"DCIM/100/NONE.JPG\"\n",
            1,
            "no frame DCIM/100/NONE.JPG",
        ),
        ("paper = \"A4\"\n", 1, "12x18 in"),
        ("background = \"#12\"\n", 1, "#000000"),
        ("outputs = [\"gif\"]\n", 1, "must be one of tif, png, jpg"),
        ("width_px = \n", 1, ""),
        ("[table]\nx = 1\n", 1, "unknown key table"),
    ];
    for (text, line, hint) in cases {
        let error = Recipe::parse(text, &catalogue).unwrap_err();
        assert_eq!(error.line, line, "{text}: {error}");
        assert!(error.to_string().contains(hint), "{text}: {error}");
    }
}

#[test]
fn what_is_left_out_takes_its_default() {
    let (catalogue, _) = card(&Scene::SMALL, 300.0);
    assert_eq!(Recipe::parse("", &catalogue).unwrap(), Recipe::default());
}
