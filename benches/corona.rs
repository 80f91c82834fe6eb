//! Cards of totality on several mounts, under several skies, drawn, sorted and merged: how far the result is from the light
//! they were drawn with.
//!
//! ```text
//! cargo bench --bench corona -- [WORD] [FOLDER]    cards whose name holds the word; pictures into the folder
//! ```
//!
//! Without a word (as `cargo test --benches` does) the first card is run.
#![allow(clippy::print_stdout, missing_docs)]

#[path = "../tests/support/corona.rs"]
#[allow(dead_code)]
mod corona;
#[path = "../tests/support/corona_card.rs"]
mod corona_card;
#[path = "../tests/support/header.rs"]
#[allow(dead_code)]
mod header;
#[path = "../tests/support/sun.rs"]
#[allow(dead_code)]
mod sun;

use std::path::Path;

use contactstrip::merge::{Merged, ViewOptions, view};
use contactstrip::raster::{LinearRgb, linear_to_srgb};
use corona_card::{Kind, RADIUS_PX, Result, kinds, run};

fn main() {
    let words: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| !a.starts_with("--"))
        .collect();
    let wanted: Vec<Kind> = match words.first() {
        Some(word) => kinds()
            .into_iter()
            .filter(|k| k.name.contains(word.as_str()))
            .collect(),
        None => kinds().into_iter().take(1).collect(),
    };
    println!(
        "{:38} {:>6} {:>6} {:>6} {:>7} {:>7} {:>7} {:>6} {:>5} {:>5}",
        "card", "frames", "rms %", "step %", "turn", "px", "common", "specks", "moon", "black"
    );
    for kind in wanted {
        let result = run(&kind);
        println!("{:38} {}", kind.name, Figures::of(&result));
        for notice in result.merged.notices.iter().take(4) {
            println!("    {notice}");
        }
        if let Some(folder) = words.get(1) {
            let shown = view(&result.merged, &ViewOptions::default());
            save(
                &shown,
                &Path::new(folder).join(format!("{}.png", kind.name)),
            );
        }
    }
}

fn save(shown: &LinearRgb, path: &Path) {
    let coded = |v: &f32| (linear_to_srgb(*v) * 255.0).round() as u8;
    let bytes: Vec<u8> = shown.data().iter().map(coded).collect();
    let picture = image::RgbImage::from_raw(shown.width() as u32, shown.height() as u32, bytes)
        .expect("whole");
    picture.save(path).expect("the picture can be written");
}

/// How good a merge is.
struct Figures {
    used: usize,
    given: usize,
    /// Over 1.06 to 4 radii.
    rms: f64,
    /// Between rings of 0.03 radii.
    step: f64,
    /// Worst turn of a frame against the others, and the turn of all, in degrees.
    turn_deg: f64,
    common_deg: f64,
    /// Worst place of a frame against the others, in pixels.
    off_px: f64,
    /// Pixels of 1.3 to 4 radii more than 30 % from what lies around them.
    specks: usize,
    /// Coded value of the Moon in the picture, 0 to 255.
    moon: f64,
    /// Pixels of the map without light outside the Moon.
    black: usize,
}

impl std::fmt::Display for Figures {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "{:>3}/{:<2} {:6.2} {:6.2} {:7.3} {:7.2} {:7.2} {:6} {:5.0} {:5}",
            self.used,
            self.given,
            100.0 * self.rms,
            100.0 * self.step,
            self.turn_deg,
            self.off_px,
            self.common_deg,
            self.specks,
            self.moon,
            self.black
        )
    }
}

impl Figures {
    fn of(result: &Result) -> Self {
        let merged = &result.merged;
        let lie = Lie::best(result);
        let ratios = ratios(result, &lie);
        let used = merged.frames.iter().filter(|f| f.left_out.is_none());
        let (turn_deg, off_px) = worst_place(result);
        let shown = view(merged, &ViewOptions::default());
        let (x, y) = (merged.moon.x_px as usize, merged.moon.y_px as usize);
        let dark = |x: usize, y: usize| {
            let off = (x as f64 - merged.moon.x_px).hypot(y as f64 - merged.moon.y_px);
            off > merged.moon.radius_px && merged.radiance.at(x, y).iter().all(|v| *v <= 0.0)
        };
        let all = (0..merged.radiance.height())
            .flat_map(|y| (0..merged.radiance.width()).map(move |x| (x, y)));
        Self {
            used: used.count(),
            given: merged.frames.len(),
            rms: rms(&ratios),
            step: largest_step(&ratios),
            turn_deg,
            common_deg: lie.north_deg - merged.north_deg.unwrap_or(0.0),
            off_px,
            specks: specks(merged),
            moon: f64::from(linear_to_srgb(shown.at(x, y)[1])) * 255.0,
            black: all.filter(|&(x, y)| dark(x, y)).count(),
        }
    }
}

/// Where the canvas lies on the sky: place of the Sun, north and size, as fits best; what all limb fits share no merge can
/// know.
#[derive(Clone, Copy)]
struct Lie {
    sun: [f64; 2],
    north_deg: f64,
}

impl Lie {
    fn sky(&self, x: f64, y: f64) -> [f64; 2] {
        let (dx, dy) = (x - self.sun[0], y - self.sun[1]);
        let (sin, cos) = self.north_deg.to_radians().sin_cos();
        [
            (-cos * dx + sin * dy) / RADIUS_PX,
            (-sin * dx - cos * dy) / RADIUS_PX,
        ]
    }

    fn best(result: &Result) -> Self {
        let merged = &result.merged;
        let mut best = Self {
            sun: [merged.sun.x_px, merged.sun.y_px],
            north_deg: merged.north_deg.unwrap_or(0.0),
        };
        for span in [1.0, 0.5, 0.2, 0.08, 0.03] {
            let start = best;
            let mut least = spread(result, &best);
            for (i, j, k) in (0..125).map(|n| (n % 5, n / 5 % 5, n / 25)) {
                let off = |n: i32| span * (f64::from(n) - 2.0);
                let trial = Self {
                    sun: [start.sun[0] + off(i), start.sun[1] + off(j)],
                    north_deg: start.north_deg + 0.7 * off(k),
                };
                let here = spread(result, &trial);
                if here < least {
                    (least, best) = (here, trial);
                }
            }
        }
        best
    }
}

/// Sum of squares of the logarithm of merged over true light, less its mean, at some places.
fn spread(result: &Result, lie: &Lie) -> f64 {
    let merged = &result.merged;
    let logs: Vec<f64> = (0..3000)
        .map(|k| {
            let (r, angle) = (1.15 + 1.2 * f64::from(k % 50) / 50.0, f64::from(k) * 0.077);
            let x = (merged.sun.x_px + r * RADIUS_PX * angle.cos()).round();
            let y = (merged.sun.y_px + r * RADIUS_PX * angle.sin()).round();
            let [east, north] = lie.sky(x, y);
            let value = f64::from(merged.radiance.at(x as usize, y as usize)[1]);
            (value.max(1e-12) / truth(result, east, north)[1]).ln()
        })
        .collect();
    let mean = logs.iter().sum::<f64>() / logs.len() as f64;
    logs.iter().map(|l| (l - mean).powi(2).min(0.25)).sum()
}

/// The light drawn, haze included; a low Sun's is that of the sky.
fn truth(result: &Result, east: f64, north: f64) -> [f64; 3] {
    let haze = result.sky.haze / (1.0 + (east.hypot(north) / 2.5).powi(2));
    result.sky.light(east, north).map(|v| v + haze)
}

/// Distance in solar radii and ratio of merged to true light, scaled to a median of 1, outside the Moon and prominences.
fn ratios(result: &Result, lie: &Lie) -> Vec<(f64, f64)> {
    let (map, moon) = (&result.merged.radiance, result.merged.moon);
    let mut out = Vec::new();
    for y in 0..map.height() {
        for x in 0..map.width() {
            let (px, py) = (x as f64, y as f64);
            let [east, north] = lie.sky(px, py);
            let r = east.hypot(north);
            let clear = (px - moon.x_px).hypot(py - moon.y_px) > moon.radius_px + 3.0;
            let [red, green, _] = truth(result, east, north);
            if (1.06..4.0).contains(&r) && clear && red < 1.02 * green {
                out.push((r, f64::from(map.at(x, y)[1]) / green));
            }
        }
    }
    let mut sorted: Vec<f64> = out.iter().map(|o| o.1).collect();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted[sorted.len() / 2];
    out.iter().map(|(r, q)| (*r, q / middle)).collect()
}

fn rms(ratios: &[(f64, f64)]) -> f64 {
    (ratios.iter().map(|(_, q)| (q - 1.0).powi(2)).sum::<f64>() / ratios.len() as f64).sqrt()
}

fn largest_step(ratios: &[(f64, f64)]) -> f64 {
    let mut rings = vec![(0.0, 0.0); 101];
    for (r, q) in ratios {
        let ring = &mut rings[((r - 1.0) / 0.03) as usize];
        ring.0 += q;
        ring.1 += 1.0;
    }
    let means: Vec<f64> = rings
        .iter()
        .filter(|r| r.1 > 60.0)
        .map(|r| r.0 / r.1)
        .collect();
    let steps = means.windows(2).map(|w| (w[1] / w[0] - 1.0).abs());
    steps.fold(0.0, f64::max)
}

/// Worst turn and place of a frame that was used, beyond what all share.
fn worst_place(result: &Result) -> (f64, f64) {
    let used: Vec<[f64; 3]> = result
        .merged
        .frames
        .iter()
        .enumerate()
        .filter(|(_, f)| f.left_out.is_none())
        .map(|(i, f)| {
            let take = &result.takes[result.take_of[i]];
            let north = result.inputs[i].north_deg.unwrap_or(0.0) + f.turn_deg;
            [
                f.sun.x_px - take.sun[0],
                f.sun.y_px - take.sun[1],
                (north - take.north_deg + 180.0).rem_euclid(360.0) - 180.0,
            ]
        })
        .collect();
    let median = |k: usize| {
        let mut list: Vec<f64> = used.iter().map(|u| u[k]).collect();
        list.sort_by(f64::total_cmp);
        list[list.len() / 2]
    };
    let middle = [0, 1, 2].map(median);
    let off = |u: &[f64; 3]| (u[0] - middle[0]).hypot(u[1] - middle[1]);
    (
        used.iter()
            .map(|u| (u[2] - middle[2]).abs())
            .fold(0.0, f64::max),
        used.iter().map(off).fold(0.0, f64::max),
    )
}

/// Pixels whose brightest channel stands out over those two pixels away by 30 %.
fn specks(merged: &Merged) -> usize {
    let map = &merged.radiance;
    let mut count = 0;
    for y in 2..map.height() - 2 {
        for x in 2..map.width() - 2 {
            let r = (x as f64 - merged.sun.x_px).hypot(y as f64 - merged.sun.y_px) / RADIUS_PX;
            if !(1.3..4.0).contains(&r) {
                continue;
            }
            let around =
                [(0, 2), (4, 2), (2, 0), (2, 4)].map(|(i, j)| map.at(x + i - 2, y + j - 2));
            let here = map.at(x, y);
            count += usize::from((0..3).any(|c| {
                let most = around.iter().map(|v| v[c]).fold(0.0, f32::max);
                here[c] > 1.3 * most
            }));
        }
    }
    count
}
