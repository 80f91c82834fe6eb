//! Draws a card of many frames for `benches/card.sh`: `cargo bench --bench card -- DIR FRAMES WIDTH_PX [--tele] [--noise SIGMA]`.
//!
//! The built-in card is drawn once at the wanted width; further frames are copies of it under new names with the capture
//! time moved on by a second for each round, so that they are frames of their own to the reader. With `--tele` only
//! frames of the long lens are used. With `--noise` Gaussian noise of so many stored values is added to all channels alike and
//! the frames are encoded anew, which makes their files as large as a camera's.

#![allow(clippy::print_stdout, missing_docs)]

use std::path::{Path, PathBuf};

use contactstrip::demo::{DemoOptions, draw_card};
use rand::SeedableRng as _;
use rand_distr::Distribution as _;
use rayon::prelude::*;

fn main() {
    let mut args: Vec<String> = std::env::args()
        .skip(1)
        .filter(|arg| arg != "--bench")
        .collect();
    let noise = args.iter().position(|arg| arg == "--noise").map(|at| {
        let sigma = args.drain(at..at + 2).nth(1).expect("a sigma");
        sigma.parse::<f32>().expect("a sigma")
    });
    let (Some(dir), Some(frames), Some(width_px)) = (args.first(), args.get(1), args.get(2)) else {
        println!("usage: cargo bench --bench card -- DIR FRAMES WIDTH_PX [--tele]");
        return;
    };
    let frames: usize = frames.parse().expect("a number of frames");
    let options = DemoOptions {
        width_px: width_px.parse().expect("a width in pixels"),
        ..DemoOptions::default()
    };
    let dir = Path::new(dir);
    let drawn = dir.join("drawn");
    draw_card(&drawn, &options, &|_, _| ()).expect("the card is drawn");
    let tele = args.iter().any(|arg| arg == "--tele");
    let mut sources = pictures(&drawn.join("card/DCIM"), tele);
    sources.truncate(frames);
    if let Some(sigma) = noise.filter(|sigma| *sigma > 0.0) {
        sources
            .par_iter()
            .enumerate()
            .for_each(|(seed, path)| add_noise(path, sigma, seed));
    }
    let card = dir.join("card/DCIM/100BENCH");
    std::fs::create_dir_all(&card).expect("a folder for the card");
    for frame in 0..frames {
        let (round, source) = (frame / sources.len(), &sources[frame % sources.len()]);
        let mut bytes = std::fs::read(source).expect("a drawn frame");
        move_on(&mut bytes, round);
        let name = format!("BEN_{frame:05}.JPG");
        std::fs::write(card.join(name), bytes).expect("a frame is written");
    }
}

/// The whole pictures drawn, in order of their paths.
fn pictures(folder: &Path, tele: bool) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).expect("a folder of the card") {
            let path = entry.expect("an entry").path();
            let name = path.to_string_lossy().into_owned();
            if path.is_dir() {
                if !(tele && name.ends_with("WIDEB")) {
                    folders.push(path);
                }
            } else if name.ends_with(".JPG") && is_whole(&path) {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

/// Writes a frame anew with noise in it and its header kept.
fn add_noise(path: &Path, sigma: f32, seed: usize) {
    let bytes = std::fs::read(path).expect("a drawn frame");
    let mut picture = image::load_from_memory(&bytes)
        .expect("a picture")
        .into_rgb8();
    let mut random = rand_pcg::Pcg64Mcg::seed_from_u64(seed as u64);
    let normal = rand_distr::Normal::new(0.0, sigma).expect("a sigma");
    for pixel in picture.pixels_mut() {
        let more: f32 = normal.sample(&mut random);
        // A little over black, where cameras put it.
        pixel.0 = pixel
            .0
            .map(|v| (f32::from(v) + 2.0 * sigma + more).round() as u8);
    }
    let mut coded = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut coded, 95)
        .encode_image(&picture)
        .expect("a picture is encoded");
    // The header stands first, as a segment with its length.
    let header = 4 + usize::from(u16::from_be_bytes([bytes[4], bytes[5]]));
    let whole = [&bytes[..header], &coded[2..]].concat();
    std::fs::write(path, whole).expect("a frame is written");
}

fn is_whole(path: &Path) -> bool {
    std::fs::read(path).is_ok_and(|bytes| bytes.ends_with(&[0xFF, 0xD9]))
}

/// Moves the last digits of the capture times (`YYYY:MM:DD HH:MM:SS`) on by some seconds, within the minute.
fn move_on(bytes: &mut [u8], seconds: usize) {
    let head = bytes.len().min(4096);
    for at in 0..head.saturating_sub(19) {
        let text = &mut bytes[at..at + 19];
        let is_time = text.starts_with(b"20")
            && [4, 7, 13, 16].iter().all(|&i| text[i] == b':')
            && text[10] == b' ';
        if is_time {
            let tens = usize::from(text[17].wrapping_sub(b'0'));
            let ones = usize::from(text[18].wrapping_sub(b'0'));
            let moved = (10 * tens + ones + seconds) % 60;
            text[17] = b'0' + (moved / 10) as u8;
            text[18] = b'0' + (moved % 10) as u8;
        }
    }
}
