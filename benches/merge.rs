//! The merge on nine 24-megapixel frames: time, memory and error, for comparison with OpenCV's.
//!
//! ```text
//! cargo bench --bench merge -- draw FOLDER      draws the frames, in place and out of place, as JPEG
//! cargo bench --bench merge -- aligned FOLDER   merges those in place, decoded beforehand; registration off
//! cargo bench --bench merge -- whole FOLDER     decodes, registers and merges those out of place
//! ```
//!
//! Run `benches/merge_opencv.py` on the same folder for the other side. Without arguments (as `cargo bench` and
//! `cargo test --benches` do) it draws a small set, merges it both ways and prints the same lines.
#![allow(clippy::print_stdout, missing_docs)]

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Instant;

use contactstrip::domain::{Circle, Exposure, Orientation};
use contactstrip::merge::{MergeInput, MergeOptions, Merged, merge};
use contactstrip::raster::{Frame, decode};
use rayon::prelude::*;

/// Shutter denominators in powers of two: 1/2048 s to 2 s, a stop and a half apart on average.
const STOPS: [f64; 9] = [-11.0, -10.0, -8.0, -7.0, -5.0, -4.0, -2.0, -1.0, 1.0];

/// Light in mean solar discs that saturates one second.
const SATURATES_1S: f64 = 8e-9;

#[derive(Clone, Copy)]
struct Scene {
    width: usize,
    height: usize,
    radius_px: f64,
}

const LARGE: Scene = Scene {
    width: 6000,
    height: 4000,
    radius_px: 480.0,
};

const SMALL: Scene = Scene {
    width: 900,
    height: 600,
    radius_px: 72.0,
};

impl Scene {
    fn sun(self, k: usize, out_of_place: bool) -> [f64; 2] {
        let middle = [self.width as f64 / 2.0, self.height as f64 / 2.0];
        let k = k as f64;
        let off = if out_of_place {
            [7.3 * (1.7 * k).sin(), 7.3 * (2.9 * k).cos()]
        } else {
            [0.0; 2]
        };
        [middle[0] + off[0], middle[1] + off[1]]
    }
}

/// Baumbach's corona with five streamers, in mean solar discs. The Python side has the same.
fn light(r: f64, angle: f64) -> f64 {
    let r = r.max(1.0);
    let mean = 1e-6 * (0.0532 * r.powf(-2.5) + 1.425 * r.powi(-7) + 2.565 * r.powi(-17));
    mean * (1.0 + 0.35 * (5.0 * angle).cos() + 0.06 * (31.0 * angle + r).sin()) + 2e-10
}

fn drawn(scene: Scene, k: usize, out_of_place: bool) -> Vec<u8> {
    let sun = scene.sun(k, out_of_place);
    let gather = STOPS[k].exp2() / SATURATES_1S;
    let mut out = vec![0_u8; scene.width * scene.height * 3];
    let rows = out.par_chunks_mut(scene.width * 3).enumerate();
    rows.for_each(|(y, row)| {
        let mut state = (k * 1_000_003 + y * 7919 + 1) as u64;
        for (x, rgb) in row.chunks_exact_mut(3).enumerate() {
            let (dx, dy) = (x as f64 - sun[0], y as f64 - sun[1]);
            let r = dx.hypot(dy) / scene.radius_px;
            let clear = 0.5 * (1.0 + ((r - 1.04) * scene.radius_px / 0.9).tanh());
            let seen = (light(r, dy.atan2(dx)) * clear + 3e-10 * (1.0 - clear)) * gather;
            for v in rgb {
                let noise = normal(&mut state) * (2.5e-5 * seen.min(1.0) + 9e-8).sqrt();
                *v = coded(seen + noise);
            }
        }
    });
    out
}

/// Near enough to normal: four even deviates from a linear congruence (Knuth's constants), less two, to unit variance.
fn normal(state: &mut u64) -> f64 {
    let mut even = || {
        *state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (*state >> 40) as f64 / f64::from(1_u32 << 24)
    };
    (even() + even() + even() + even() - 2.0) * 3.0_f64.sqrt()
}

fn coded(light: f64) -> u8 {
    let l = light.clamp(0.0, 1.0);
    let v = if l <= 0.003_130_8 {
        12.92 * l
    } else {
        1.055 * l.powf(1.0 / 2.4) - 0.055
    };
    (v * 255.0).round() as u8
}

fn name(folder: &Path, k: usize, out_of_place: bool) -> PathBuf {
    folder.join(format!(
        "{}-{k}.jpg",
        if out_of_place { "moved" } else { "still" }
    ))
}

fn draw(scene: Scene, folder: &Path) {
    std::fs::create_dir_all(folder).expect("the folder can be made");
    for out_of_place in [false, true] {
        for k in 0..STOPS.len() {
            let picture = drawn(scene, k, out_of_place);
            let file =
                std::fs::File::create(name(folder, k, out_of_place)).expect("a file can be made");
            image::codecs::jpeg::JpegEncoder::new_with_quality(std::io::BufWriter::new(file), 97)
                .encode(
                    &picture,
                    scene.width as u32,
                    scene.height as u32,
                    image::ExtendedColorType::Rgb8,
                )
                .expect("the frame can be written");
        }
    }
}

fn inputs(scene: Scene, out_of_place: bool) -> Vec<MergeInput> {
    (0..STOPS.len())
        .map(|k| {
            let [x, y] = scene.sun(k, out_of_place);
            let error = if out_of_place {
                0.4 * (k as f64).sin()
            } else {
                0.0
            };
            let circle = |radius_px| Circle {
                x_px: x + error,
                y_px: y - error,
                radius_px,
            };
            MergeInput {
                name: format!("frame {k}"),
                exposure: Exposure {
                    shutter_s: Some(STOPS[k].exp2()),
                    ..Exposure::default()
                },
                moon: circle(1.04 * scene.radius_px),
                sun: circle(scene.radius_px),
                sun_sigma_px: 0.4,
                moon_sigma_px: 0.4,
                north_deg: Some(0.0),
                mirrored: false,
                flattened: None,
            }
        })
        .collect()
}

fn opened(folder: &Path, k: usize, out_of_place: bool) -> Result<Arc<Frame>, String> {
    decode(&name(folder, k, out_of_place), Orientation::UPRIGHT)
        .map(Arc::new)
        .map_err(|e| e.to_string())
}

fn aligned(scene: Scene, folder: &Path) {
    let frames: Vec<Arc<Frame>> = (0..STOPS.len())
        .map(|k| opened(folder, k, false).expect("drawn before"))
        .collect();
    let options = MergeOptions {
        register: false,
        ..MergeOptions::default()
    };
    let start = Watch::start();
    let merged = merge(
        &inputs(scene, false),
        &|k| Ok(Arc::clone(&frames[k])),
        &options,
        None,
        &|_, _| {},
    )
    .expect("the frames merge");
    report("aligned, decoded before", &start, scene, &merged);
}

fn whole(scene: Scene, folder: &Path) {
    let start = Watch::start();
    let open = |k: usize| opened(folder, k, true);
    let merged = merge(
        &inputs(scene, true),
        &open,
        &MergeOptions::default(),
        None,
        &|_, _| {},
    )
    .expect("the frames merge");
    report("decode, register, merge", &start, scene, &merged);
}

/// Wall and processor time.
struct Watch {
    wall: Instant,
    processor_s: Option<f64>,
}

impl Watch {
    fn start() -> Self {
        Self {
            wall: Instant::now(),
            processor_s: processor_s(),
        }
    }

    fn read(&self) -> String {
        let wall = self.wall.elapsed().as_secs_f64();
        let used = processor_s().zip(self.processor_s).map(|(b, a)| b - a);
        let used = used.map_or("unknown".to_owned(), |s| format!("{s:.1} s"));
        format!("{wall:.2} s, processor {used}")
    }
}

/// Processor time of all threads in seconds, where the system tells (Linux, 100 ticks a second).
fn processor_s() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/stat").ok()?;
    let fields: Vec<&str> = text.rsplit(')').next()?.split_whitespace().collect();
    let ticks = |i: usize| fields.get(i)?.parse::<f64>().ok();
    Some((ticks(11)? + ticks(12)?) / 100.0)
}

fn report(what: &str, start: &Watch, scene: Scene, merged: &Merged) {
    println!(
        "{what}: {}, {} MB at most, {:.2} % rms in 1.05 to 4 radii",
        start.read(),
        peak_mb().map_or("unknown".to_owned(), |m| m.to_string()),
        100.0 * error(scene, merged),
    );
}

/// Root mean square of merged green light over the truth less 1, scaled to a median of 1.
fn error(scene: Scene, merged: &Merged) -> f64 {
    let sun = merged.sun;
    let mut ratios = Vec::new();
    for y in (0..merged.radiance.height()).step_by(3) {
        for x in (0..merged.radiance.width()).step_by(3) {
            let (dx, dy) = (x as f64 - sun.x_px, y as f64 - sun.y_px);
            let r = dx.hypot(dy) / scene.radius_px;
            if (1.05..4.0).contains(&r) {
                let got = f64::from(merged.radiance.at(x, y)[1]);
                ratios.push(got / light(r, dy.atan2(dx)));
            }
        }
    }
    ratios.sort_by(f64::total_cmp);
    let middle = ratios[ratios.len() / 2];
    (ratios
        .iter()
        .map(|q| (q / middle - 1.0).powi(2))
        .sum::<f64>()
        / ratios.len() as f64)
        .sqrt()
}

/// Most memory the process has held, where the system tells (Linux).
fn peak_mb() -> Option<u64> {
    let text = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = text.lines().find(|l| l.starts_with("VmHWM:"))?;
    let kb: u64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kb / 1024)
}

fn main() {
    let words: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| !a.starts_with("--"))
        .collect();
    let folder = words.get(1).map(PathBuf::from);
    match (words.first().map(String::as_str), folder) {
        (Some("draw"), Some(folder)) => draw(LARGE, &folder),
        (Some("aligned"), Some(folder)) => aligned(LARGE, &folder),
        (Some("whole"), Some(folder)) => whole(LARGE, &folder),
        _ => {
            let folder = tempfile::tempdir().expect("a temporary folder");
            draw(SMALL, folder.path());
            aligned(SMALL, folder.path());
            whole(SMALL, folder.path());
        }
    }
}
