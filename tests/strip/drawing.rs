//! What the strip looks like.

use contactstrip::catalogue::Catalogue;
use contactstrip::raster::{Depth, LinearRgb, Picture, Rows, write_png};
use contactstrip::strip::{
    Arrangement, Captions, Centre, CentrePiece, Drawn, Recipe, Tile, Tint, Up, draw, tile_for,
};

use super::drawn::{Scene, Take, card, corona, photograph};

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
        up: Up::North,
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
            tint,
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
        contactstrip::raster::write_tiff16(&drawn.sheet, &drawn.info, &mut file).unwrap();
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
