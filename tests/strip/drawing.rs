//! What the strip looks like.

use contactstrip::catalogue::Catalogue;
use contactstrip::domain::{ContactKind, DiscFit, Notice, Phase};
use contactstrip::raster::{Animation, Depth, LinearRgb, Picture, Rows, write_png};
use contactstrip::strip::{
    Arrangement, Captions, Centre, CentrePiece, Drawn, Lapse, Paper, Recipe, Tile, Tint, Up, draw,
    tile_for, time_lapse,
};

use super::drawn::{Scene, Take, card, corona, photograph};
use crate::golden;

/// Draws with the photographs of a drawn card.
fn drawn(scene: &Scene, catalogue: &Catalogue, takes: &[(String, Take)], recipe: &Recipe) -> Drawn {
    let (light, sun) = corona(90.0, 800);
    let centre = CentrePiece {
        light: &light,
        sun,
        north_deg: 0.0,
        mirrored: false,
        frames: 9,
    };
    let open = |record: &contactstrip::catalogue::ShotRecord| -> Result<Tile, String> {
        let (_, take) = takes
            .iter()
            .find(|(n, _)| n == record.name())
            .ok_or("gone")?;
        Ok(photograph(scene, take, record.phase))
    };
    draw(catalogue, recipe, &open, Some(centre)).unwrap()
}

/// Saves a sheet for the eye when LOOK names a folder.
fn look(name: &str, rows: &dyn Rows, info: &contactstrip::raster::PictureInfo) {
    if let Some(folder) = std::env::var_os("LOOK") {
        let mut file = std::fs::File::create(std::path::Path::new(&folder).join(name)).unwrap();
        write_png(rows, info, Depth::Eight, &mut file).unwrap();
    }
}

fn usual(width_px: u32) -> (Scene, Catalogue, Vec<(String, Take)>, Recipe) {
    let scene = Scene::SMALL;
    let (catalogue, takes) = card(&scene, 600.0);
    let (recipe, _) = Recipe::propose(&catalogue);
    (scene, catalogue, takes, Recipe { width_px, ..recipe })
}

/// Mean light of a small patch.
fn patch(light: &LinearRgb, x: f64, y: f64, half: i64) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for dy in -half..=half {
        for dx in -half..=half {
            let rgb = light.at(
                (x.round() as i64 + dx) as usize,
                (y.round() as i64 + dy) as usize,
            );
            for c in 0..3 {
                sum[c] += f64::from(rgb[c]);
            }
        }
    }
    let n = ((2 * half + 1) * (2 * half + 1)) as f64;
    sum.map(|s| s / n)
}

#[test]
fn every_layout_can_be_drawn() {
    let (scene, catalogue, takes, recipe) = usual(3_000);
    for (arrangement, name) in [
        (Arrangement::Row, "row"),
        (Arrangement::Arc, "arc"),
        (Arrangement::Grid, "grid"),
        (Arrangement::Ring, "ring"),
        (Arrangement::Diagonal, "diagonal"),
        (Arrangement::Path, "path"),
    ] {
        let recipe = Recipe {
            arrangement,
            captions: Captions::Both,
            orientation: Up::Zenith,
            ..recipe.clone()
        };
        let drawn = drawn(&scene, &catalogue, &takes, &recipe);
        look(&format!("{name}.png"), &drawn.sheet, &drawn.info);
        assert_eq!(
            drawn.placed.len(),
            recipe.before.len() + recipe.after.len() + 1
        );
        assert!(drawn.notices.is_empty(), "{:?}", drawn.notices);
        assert_eq!(Rows::width(&drawn.sheet), 3_000);
    }
}

#[test]
fn brightness_and_white_are_matched() {
    let (scene, catalogue, takes, recipe) = usual(4_000);
    let recipe = Recipe {
        orientation: Up::North,
        ..recipe
    };
    let drawn = drawn(&scene, &catalogue, &takes, &recipe);
    let light = drawn.sheet.picture().to_linear();
    // The same place on every disc that shows it, clear of Moon and spot.
    let places: Vec<(f64, f64)> = (0..24)
        .map(|i| (f64::from(i) * 15.0_f64.to_radians()).sin_cos())
        .collect();
    let mut seen: Vec<[f64; 3]> = Vec::new();
    for placed in drawn.placed.iter().filter(|p| p.name != "corona") {
        let sky = catalogue.shot(&placed.name).unwrap().predicted.unwrap();
        let (mx, my) = sky.moon_offset_in_picture(0.0, false);
        let r = 0.7;
        let clear = places.iter().map(|(s, c)| (r * c, r * s)).find(|(x, y)| {
            (x - mx).hypot(y - my) > sky.ratio() + 0.12 && (x - 0.0).hypot(y + 0.4) > 0.25
        });
        if let Some((x, y)) = clear {
            let half = (0.05 * placed.sun.radius_px) as i64;
            seen.push(patch(
                &light,
                placed.sun.x_px + x * placed.sun.radius_px,
                placed.sun.y_px + y * placed.sun.radius_px,
                half,
            ));
        }
    }
    assert!(seen.len() >= 10, "{} discs show the place", seen.len());
    let mean = |f: &dyn Fn(&[f64; 3]) -> f64| seen.iter().map(f).sum::<f64>() / seen.len() as f64;
    for f in [
        |v: &[f64; 3]| v[0],
        |v: &[f64; 3]| v[1],
        |v: &[f64; 3]| v[2],
    ] {
        let usual = mean(&f);
        let worst = seen
            .iter()
            .map(|v| (f(v) / usual - 1.0).abs())
            .fold(0.0, f64::max);
        assert!(worst < 0.05, "brightness differs by {worst}");
    }
    for f in [|v: &[f64; 3]| v[1] / v[0], |v: &[f64; 3]| v[2] / v[0]] {
        let usual = mean(&f);
        let worst = seen
            .iter()
            .map(|v| (f(v) / usual - 1.0).abs())
            .fold(0.0, f64::max);
        assert!(worst < 0.02, "white differs by {worst}");
    }
}

#[test]
fn a_sun_with_no_blue_left_is_matched_to_the_rest() {
    let (scene, catalogue, mut takes, recipe) = usual(4_000);
    let last = recipe.after.last().unwrap().clone();
    let (_, take) = takes.iter_mut().find(|(name, _)| *name == last).unwrap();
    take.light = [0.75, 0.16, 0.004];
    let drawn = drawn(&scene, &catalogue, &takes, &recipe);
    let light = drawn.sheet.picture().to_linear();
    let middle_of = |name: &str| {
        let placed = drawn.placed.iter().find(|p| p.name == name).unwrap();
        let half = (0.1 * placed.sun.radius_px) as i64;
        patch(&light, placed.sun.x_px, placed.sun.y_px, half)
    };
    let [red, usual] = [middle_of(&last), middle_of(&recipe.before[0])];
    for c in 0..3 {
        let off = (red[c] / usual[c] - 1.0).abs();
        assert!(off < 0.05, "channel {c}: {red:?} beside {usual:?}");
    }
}

#[test]
fn discs_stand_where_they_should_and_on_pure_black() {
    let (scene, catalogue, takes, recipe) = usual(3_000);
    let drawn = drawn(&scene, &catalogue, &takes, &recipe);
    let picture = drawn.sheet.picture();
    assert_eq!(picture.at(0, 0), [0; 3]);
    // Beyond the fade of every disc there is nothing at all.
    let mut black = 0;
    for y in (0..picture.height()).step_by(3) {
        for x in (0..picture.width()).step_by(3) {
            let far = drawn.placed.iter().all(|p| {
                let reach = if p.name == "corona" { 5.1 } else { 1.34 };
                (x as f64 - p.sun.x_px).hypot(y as f64 - p.sun.y_px) > reach * p.sun.radius_px
            });
            if far {
                black += 1;
                assert_eq!(picture.at(x, y), [0; 3], "light at {x}, {y}");
            }
        }
    }
    assert!(black > 1_000);
}

#[test]
fn north_is_up_however_the_camera_was_held() {
    let scene = Scene::SMALL;
    let (mut catalogue, mut takes) = card(&scene, 600.0);
    for (i, (name, take)) in takes.iter_mut().enumerate() {
        take.north_deg = 53.0 * i as f64;
        take.mirrored = i % 2 == 1;
        let phase = catalogue.shot(name).unwrap().phase;
        catalogue.shots[i] = super::drawn::record(&scene, name, take, phase);
    }
    let (recipe, _) = Recipe::propose(&catalogue);
    let drawn = drawn(
        &scene,
        &catalogue,
        &takes,
        &Recipe {
            width_px: 3_000,
            ..recipe
        },
    );
    look("turned.png", &drawn.sheet, &drawn.info);
    let light = drawn.sheet.picture().to_linear();
    let mut checked = 0;
    for placed in drawn.placed.iter().filter(|p| p.name != "corona") {
        let sky = catalogue.shot(&placed.name).unwrap().predicted.unwrap();
        // Dark where the Moon is with north up, bright opposite.
        let (mx, my) = sky.moon_offset_in_picture(0.0, false);
        let away = mx.hypot(my);
        if !(0.4..1.5).contains(&away) {
            continue;
        }
        let at = |s: f64| {
            let (x, y) = (
                placed.sun.x_px + s * mx / away * placed.sun.radius_px,
                placed.sun.y_px + s * my / away * placed.sun.radius_px,
            );
            patch(&light, x, y, 1)[0]
        };
        assert!(
            at(0.8) < 0.02 && at(-0.85) > 0.15,
            "{}: {} and {}",
            placed.name,
            at(0.8),
            at(-0.85)
        );
        checked += 1;
    }
    assert!(checked >= 6);
}

#[test]
fn tiles_kept_beside_the_catalogue_give_the_same_strip() {
    let (scene, catalogue, takes, recipe) = usual(1_500);
    let recipe = Recipe {
        centre: Centre::Frame(catalogue.shots[7].name().to_owned()),
        ..recipe
    };
    let photographs = drawn(&scene, &catalogue, &takes, &recipe).sheet.picture();
    let kept = |record: &contactstrip::catalogue::ShotRecord| -> Result<Tile, String> {
        let (_, take) = takes
            .iter()
            .find(|(n, _)| n == record.name())
            .ok_or("gone")?;
        let tile =
            tile_for(&catalogue, record, photograph(&scene, take, record.phase)).ok_or("off")?;
        let mut file = Vec::new();
        tile.write(&mut file).map_err(|e| e.to_string())?;
        Tile::read(&file).map_err(|e| e.to_string())
    };
    let from_tiles = draw(&catalogue, &recipe, &kept, None)
        .unwrap()
        .sheet
        .picture();
    assert!(photographs == from_tiles);
}

#[test]
fn a_lost_frame_closes_up_and_is_told() {
    let (scene, catalogue, mut takes, recipe) = usual(2_000);
    let gone = takes.remove(2).0;
    let drawn = drawn(&scene, &catalogue, &takes, &recipe);
    assert!(drawn.placed.iter().all(|p| p.name != gone));
    assert!(
        drawn
            .notices
            .iter()
            .any(|n| n.file.as_deref() == Some(gone.as_str()))
    );
}

#[test]
fn tints_are_what_they_say() {
    let (scene, catalogue, takes, recipe) = usual(2_000);
    for (tint, name) in [
        (Tint::Neutral, "neutral"),
        (Tint::Warm, "warm"),
        (Tint::AsShot, "as-shot"),
    ] {
        let recipe = Recipe {
            white_balance: tint,
            ..recipe.clone()
        };
        let drawn = drawn(&scene, &catalogue, &takes, &recipe);
        look(&format!("tint-{name}.png"), &drawn.sheet, &drawn.info);
        let light = drawn.sheet.picture().to_linear();
        let first = &drawn.placed[0].sun;
        let [r, g, b] = patch(&light, first.x_px, first.y_px + 0.3 * first.radius_px, 2);
        let wanted = match tint {
            Tint::Neutral => [1.0, 1.0],
            Tint::Warm => [0.62, 0.22],
            Tint::AsShot => [0.62, 0.2],
        };
        assert!(
            (g / r - wanted[0]).abs() < 0.05 && (b / r - wanted[1]).abs() < 0.05,
            "{name}: {r} {g} {b}"
        );
    }
}

#[test]
fn the_same_strip_gives_the_same_bytes() {
    let (scene, catalogue, takes, recipe) = usual(1_500);
    let file = || {
        let drawn = drawn(&scene, &catalogue, &takes, &recipe);
        let mut file = std::io::Cursor::new(Vec::new());
        contactstrip::raster::write_tiff16(
            &drawn.sheet,
            &drawn.info,
            contactstrip::raster::Packing::Lzw,
            &mut file,
        )
        .unwrap();
        file.into_inner()
    };
    assert!(file() == file());
}

#[test]
fn layers_join_to_the_sheet() {
    let (scene, catalogue, takes, recipe) = usual(1_200);
    let drawn = drawn(&scene, &catalogue, &takes, &recipe);
    let whole = drawn.sheet.picture();
    let mut joined = vec![0_u16; whole.data().len()];
    for (_, layer) in drawn.sheet.layers() {
        for (place, v) in joined.iter_mut().zip(Picture::from_rows(&layer).data()) {
            *place = (*place).max(*v);
        }
    }
    assert!(joined == whole.data());
}

#[test]
fn thin_crescents_are_as_bright_as_the_rest() {
    let scene = Scene {
        width: 700,
        height: 640,
        radius_px: 190.0,
        ..Scene::SMALL
    };
    let (mut catalogue, mut takes) = card(&scene, 600.0);
    // A crescent of about a hundredth of the Sun, exposed as the camera's frames before it but a stop more.
    let mut take = Take::varied(&scene, -150.0);
    take.light = [0.4, 0.24, 0.08];
    for (name, other) in &mut takes {
        other.light = [0.2, 0.12, 0.04];
        let i = catalogue
            .shots
            .iter()
            .position(|s| s.name() == name)
            .unwrap();
        catalogue.shots[i].shot.exposure.shutter_s = Some(1.0 / 2_000.0);
    }
    let mut thin = super::drawn::record(&scene, "THIN.JPG", &take, catalogue.shots[0].phase);
    thin.shot.exposure.shutter_s = Some(1.0 / 1_000.0);
    assert!(thin.predicted.unwrap().obscuration > 0.975);
    catalogue.shots.push(thin);
    takes.push(("THIN.JPG".to_owned(), take));
    let (mut recipe, _) = Recipe::propose(&catalogue);
    recipe.before.push("THIN.JPG".to_owned());
    let drawn = drawn(&scene, &catalogue, &takes, &recipe);
    assert!(drawn.notices.is_empty(), "{:?}", drawn.notices);
    look("thin.png", &drawn.sheet, &drawn.info);
    let level = |name: &str| {
        drawn
            .placed
            .iter()
            .find(|p| p.name == name)
            .unwrap()
            .level
            .unwrap()
    };
    for (c, wanted) in [0.4, 0.24, 0.08].into_iter().enumerate() {
        let found = f64::from(level("THIN.JPG")[c]);
        assert!(
            (found / wanted - 1.0).abs() < 0.05,
            "channel {c}: {found} for {wanted}"
        );
        let full = f64::from(level(&recipe.before[0])[c]);
        assert!(
            (full / (wanted / 2.0) - 1.0).abs() < 0.03,
            "channel {c}: {full}"
        );
    }
}

#[test]
fn a_path_stands_over_the_land() {
    let (scene, mut catalogue, mut takes, recipe) = usual(2_000);
    let take = Take::varied(&scene, 5_000.0);
    let mut wide = super::drawn::record(&scene, "WIDE.JPG", &take, catalogue.shots[0].phase);
    wide.disc = None;
    wide.shot.exposure.focal_mm = Some(24.0);
    catalogue.shots.push(wide);
    takes.push(("WIDE.JPG".to_owned(), take));
    let recipe = Recipe {
        arrangement: Arrangement::Path,
        foreground: Some("WIDE.JPG".to_owned()),
        foreground_az_deg: Some(318.0),
        foreground_horizon: Some(0.9),
        disc_px: Some(40.0),
        orientation: Up::Zenith,
        extent_radii: Some(1.3),
        ..recipe
    };
    let redrawn = drawn;
    let drawn = redrawn(&scene, &catalogue, &takes, &recipe);
    look("land.png", &drawn.sheet, &drawn.info);
    assert_eq!(Rows::width(&drawn.sheet), 2_000);
    assert_eq!(
        Rows::height(&drawn.sheet),
        (2_000 * scene.height).div_ceil(scene.width)
    );
    // The Sun goes down to the left here, and nothing is lost on the way.
    assert!(drawn.notices.is_empty(), "{:?}", drawn.notices);
    let suns: Vec<_> = drawn.placed.iter().map(|p| p.sun).collect();
    assert!(
        suns.windows(2)
            .all(|w| w[1].x_px < w[0].x_px && w[1].y_px > w[0].y_px)
    );
    // Without a word from the person a view is aimed by its Sun, or refused.
    let unaimed = Recipe {
        foreground_az_deg: None,
        disc_px: None,
        ..recipe.clone()
    };
    let refused = redrawn(&scene, &catalogue, &takes, &unaimed);
    let told = |n: &Notice| n.text().contains("cannot be made out");
    assert!(refused.notices.iter().any(told), "{:?}", refused.notices);
    let mut fitted = catalogue.clone();
    let sun = super::drawn::circle(take.sun, take.radius_px);
    let fit = fitted.shots[0].disc.map(|fit| DiscFit {
        sun: Some(sun),
        ..fit
    });
    fitted.shots.last_mut().unwrap().disc = fit;
    let aimed = redrawn(&scene, &fitted, &takes, &unaimed);
    assert!(!aimed.notices.iter().any(told), "{:?}", aimed.notices);
    // A corona that would reach over its neighbours keeps its light: they make way and are told.
    let whole = Recipe {
        extent_radii: None,
        ..recipe.clone()
    };
    let alone = redrawn(&scene, &catalogue, &takes, &whole);
    assert_eq!(alone.placed.len() + 2, drawn.placed.len());
    assert_eq!(alone.notices.len(), 2, "{:?}", alone.notices);
    let told = |n: &Notice| {
        n.text()
            .contains("within the reach of the picture in the middle")
    };
    assert!(alone.notices.iter().all(told), "{:?}", alone.notices);
    // A paper of another shape is filled, bleed and all; the view keeps its middle and loses its sides.
    let paper = Recipe {
        paper: Some(Paper {
            width: 10.0,
            height: 10.0,
            in_cm: false,
        }),
        dpi: 100.0,
        bleed_in: 0.1,
        disc_px: None,
        orientation: Up::AsShot,
        ..recipe
    };
    let printed = redrawn(&scene, &catalogue, &takes, &paper);
    assert_eq!(Rows::width(&printed.sheet), 1_020);
    assert_eq!(Rows::height(&printed.sheet), 1_020);
    let texts: Vec<String> = printed.notices.iter().map(Notice::text).collect();
    assert!(
        texts
            .iter()
            .any(|t| t.contains("fills the paper and loses"))
    );
    assert!(texts.iter().any(|t| t.contains("orientation = \"zenith\"")));
    // The pieces stand as far from the middle as on the whole view, at the scale of the paper.
    let scale = 1_020.0 / Rows::height(&drawn.sheet) as f64;
    let name = &printed.placed[0].name;
    let before = drawn.placed.iter().find(|p| p.name == *name).unwrap();
    let wide_px = (before.sun.x_px - 999.5) * scale;
    assert!((printed.placed[0].sun.x_px - 509.5 - wide_px).abs() < 1.0);
}

/// A larger picture in the middle of a ring: its Moon has the size asked for, the other discs keep theirs.
#[test]
fn the_middle_may_be_larger() {
    let (scene, catalogue, takes, recipe) = usual(2_000);
    let recipe = Recipe {
        arrangement: Arrangement::Ring,
        centre_size: 2.0,
        ..recipe
    };
    let drawn = drawn(&scene, &catalogue, &takes, &recipe);
    look("ring-large.png", &drawn.sheet, &drawn.info);
    let radius = |middle: bool| {
        let is = |p: &&contactstrip::strip::Placed| (p.name == "corona") == middle;
        drawn.placed.iter().find(is).unwrap().sun.radius_px
    };
    assert!((radius(true) / radius(false) - 2.0).abs() < 1e-9);
}

#[test]
fn beads_are_aligned_on_the_moon() {
    let scene = Scene::SMALL;
    let shots_and_takes: Vec<_> = (0..20)
        .map(|i| {
            let t_s = -super::drawn::HALF_CENTRAL_S - 12.0 + 0.8 * f64::from(i);
            let mut take = Take::varied(&scene, t_s);
            take.radius_px = 80.0;
            take.north_deg = 20.0;
            // A steady drift of the mount.
            take.sun = (200.0 + 1.5 * t_s / 10.0, 160.0 - 0.7 * t_s / 10.0);
            let name = format!("BEAD_{i:02}.JPG");
            let mut record = super::drawn::record(&scene, &name, &take, Phase::SecondContact);
            if i % 3 == 1 {
                // A fit spoilt by beads: the place must come from the neighbours.
                let fit = record.disc.as_mut().unwrap();
                fit.sigma_px = 5.0;
                fit.moon = fit.moon.map(|m| contactstrip::domain::Circle {
                    x_px: m.x_px + 9.0,
                    ..m
                });
            }
            (record, (name, take))
        })
        .collect();
    let (shots, takes): (Vec<_>, Vec<_>) = shots_and_takes.into_iter().unzip();
    let catalogue = super::drawn::catalogue(&scene, shots);
    let recipe = Recipe::propose_beads(&catalogue, ContactKind::C2).unwrap();
    assert_eq!(recipe.before.len(), 9);
    assert!(Recipe::propose_beads(&catalogue, ContactKind::C3).is_none());
    // One frame alone makes a picture of the ring, unless it is of totality.
    let alone = |n: usize| {
        let mut catalogue = catalogue.clone();
        catalogue.shots = vec![catalogue.shots[n].clone()];
        Recipe::propose_beads(&catalogue, ContactKind::C2)
    };
    assert_eq!(alone(0).unwrap().before, ["BEAD_00.JPG"]);
    assert!(alone(19).is_none(), "3.2 s after the contact");
    let drawn = drawn(
        &scene,
        &catalogue,
        &takes,
        &Recipe {
            width_px: 3_000,
            ..recipe
        },
    );
    look("beads.png", &drawn.sheet, &drawn.info);
    assert!(drawn.notices.is_empty(), "{:?}", drawn.notices);
    // Pictures of the Moon's own light: its dark disc must lie on the place asked for.
    let light = drawn.sheet.picture().to_linear();
    for placed in &drawn.placed {
        let dark = patch(
            &light,
            placed.sun.x_px,
            placed.sun.y_px,
            (0.6 * placed.sun.radius_px) as i64,
        );
        assert!(dark[0] < 0.01, "{}: {dark:?}", placed.name);
    }
}

#[test]
fn a_time_lapse_is_steady() {
    let scene = Scene::SMALL;
    let (catalogue, takes) = card(&scene, 600.0);
    let open = |record: &contactstrip::catalogue::ShotRecord| -> Result<Tile, String> {
        let (_, take) = takes
            .iter()
            .find(|(n, _)| n == record.name())
            .ok_or("gone")?;
        Ok(photograph(&scene, take, record.phase))
    };
    let mut levels = Vec::new();
    let mut centres = Vec::new();
    let mut film = Vec::new();
    let mut animation = None;
    let mut take = |frame: &contactstrip::strip::LapseFrame| {
        let picture = frame.sheet.picture();
        assert_eq!((picture.width(), picture.height()), (240, 240));
        let light = picture.to_linear();
        let sky = catalogue.shot(&frame.name).unwrap().predicted.unwrap();
        if sky.obscuration < 0.1 {
            levels.push(patch(&light, 119.5, 119.5 + 20.0, 3)[0]);
            let moon = sky.moon_offset_in_picture(0.0, false);
            centres.extend(limbs_off(&light, 0.36 * 240.0, moon, sky.ratio()));
        }
        if animation.is_none() {
            let count = u32::try_from(frame.count).unwrap();
            let begun = Animation::begin((240, 240), count, 80, &frame.info, Vec::new());
            animation = Some(begun.unwrap());
        }
        animation.as_mut().unwrap().add(&frame.sheet)
    };
    let recipe = Recipe::default();
    let notices = time_lapse(&catalogue, Lapse::Partials, &recipe, 240, &open, &mut take).unwrap();
    assert!(notices.is_empty());
    animation.unwrap().finish().unwrap();
    film.extend(levels.iter().map(|l| l / levels[0]));
    assert!(
        film.len() >= 3 && film.iter().all(|l| (l - 1.0).abs() < 0.03),
        "{film:?}"
    );
    assert!(centres.iter().all(|off| off.abs() < 0.3), "{centres:?}");
}

/// How far the disc lies off the middle, in pixels, along every direction whose two limbs are both uncovered.
fn limbs_off(light: &LinearRgb, radius_px: f64, moon: (f64, f64), ratio: f64) -> Vec<f64> {
    let middle = (light.width() as f64 - 1.0) / 2.0;
    let clear = |x: f64, y: f64| (x - moon.0).hypot(y - moon.1) > ratio + 0.1;
    let limb = |x: f64, y: f64| {
        let value = |r: f64| interpolated(light, middle + r * x, middle + r * y);
        let half = value(0.9 * radius_px) / 2.0;
        let mut r = 0.93 * radius_px;
        while value(r) > half {
            r += 0.01;
        }
        r
    };
    (0..12)
        .map(|i| (f64::from(i) * 15.0_f64.to_radians()).sin_cos())
        .filter(|(y, x)| clear(*x, *y) && clear(-x, -y))
        .map(|(y, x)| (limb(x, y) - limb(-x, -y)) / 2.0)
        .collect()
}

/// Red light between pixels.
fn interpolated(light: &LinearRgb, x: f64, y: f64) -> f64 {
    let (x0, y0) = (x.floor(), y.floor());
    let (fx, fy) = (x - x0, y - y0);
    let at = |dx: usize, dy: usize| f64::from(light.at(x0 as usize + dx, y0 as usize + dy)[0]);
    let top = at(0, 0) * (1.0 - fx) + at(1, 0) * fx;
    let bottom = at(0, 1) * (1.0 - fx) + at(1, 1) * fx;
    top * (1.0 - fy) + bottom * fy
}

#[test]
fn a_panorama_is_written_band_by_band() {
    let (scene, catalogue, takes, recipe) = usual(2_000);
    let paper = Some(Paper {
        width: 84.0,
        height: 12.0,
        in_cm: false,
    });
    let recipe = Recipe {
        paper,
        dpi: 60.0,
        ..recipe
    };
    let drawn = drawn(&scene, &catalogue, &takes, &recipe);
    assert_eq!(
        (Rows::width(&drawn.sheet), Rows::height(&drawn.sheet)),
        (5_040, 720)
    );
    // Rows asked for one by one are the rows of the whole.
    let whole = drawn.sheet.picture();
    let mut row = vec![0; 5_040 * 3];
    for y in [0, 100, 359, 719] {
        drawn.sheet.fill(y, &mut row);
        assert!(row == whole.data()[y * 5_040 * 3..(y + 1) * 5_040 * 3]);
    }
}

#[test]
fn layouts_look_as_they_did() {
    let (scene, catalogue, takes, recipe) = usual(480);
    for (name, arrangement, captions) in [
        ("strip-row.png", Arrangement::Row, Captions::None),
        ("strip-grid.png", Arrangement::Grid, Captions::Time),
        ("strip-ring.png", Arrangement::Ring, Captions::None),
        ("strip-path.png", Arrangement::Path, Captions::Both),
    ] {
        let recipe = Recipe {
            arrangement,
            captions,
            ..recipe.clone()
        };
        let drawn = drawn(&scene, &catalogue, &takes, &recipe);
        golden::compare(name, &golden::eight_bit(&drawn.sheet));
    }
}
