//! Golden pictures: what layouts and views looked like when somebody last looked at them and was content.
//!
//! `REGENERATE=1 cargo test --test tests golden::` writes them anew; look at them before keeping them. When one differs,
//! the new picture and the difference are saved below the build folder's `golden/`.

use std::path::{Path, PathBuf};

use image::RgbImage;

/// Most that a value may differ from the stored one, of 255: rounding of other processors, and no more.
const MOST: u8 = 6;

/// Most that values may differ on average, of 255.
const MEAN: f64 = 0.25;

/// Compares a picture with the stored one of that name, or stores it.
pub(crate) fn compare(name: &str, picture: &RgbImage) {
    let stored = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/golden")
        .join(name);
    if std::env::var_os("REGENERATE").is_some_and(|v| v == "1") {
        picture.save(&stored).unwrap();
        return;
    }
    let golden = image::open(&stored)
        .unwrap_or_else(|e| panic!("{name}: {e}; REGENERATE=1 writes it"))
        .into_rgb8();
    assert_eq!(golden.dimensions(), picture.dimensions(), "{name}");
    let apart = golden
        .iter()
        .zip(picture.iter())
        .map(|(a, b)| a.abs_diff(*b));
    let most = apart.clone().max().unwrap_or(0);
    let mean = apart.clone().map(f64::from).sum::<f64>() / golden.len().max(1) as f64;
    if most > MOST || mean > MEAN {
        let folder = saved(name, picture, apart.collect());
        panic!(
            "{name} differs by {most} at most and {mean:.2} on average; see {}",
            folder.display()
        );
    }
}

/// The new picture and the difference, ten times as strong, for the eye.
fn saved(name: &str, picture: &RgbImage, apart: Vec<u8>) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("golden");
    std::fs::create_dir_all(&folder).unwrap();
    picture.save(folder.join(name)).unwrap();
    let strong = apart.into_iter().map(|v| v.saturating_mul(10)).collect();
    let (width, height) = picture.dimensions();
    let difference = RgbImage::from_raw(width, height, strong).unwrap();
    difference
        .save(folder.join(format!("difference-{name}")))
        .unwrap();
    folder
}

/// A picture of finished rows, 8 bits.
pub(crate) fn eight_bit(rows: &dyn contactstrip::raster::Rows) -> RgbImage {
    let mut values = vec![0; rows.width() * rows.height() * 3];
    rows.fill(0, &mut values);
    let values = values.iter().map(|v| (v / 257) as u8).collect();
    RgbImage::from_raw(rows.width() as u32, rows.height() as u32, values).unwrap()
}
