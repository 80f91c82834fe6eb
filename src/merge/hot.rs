//! Hot pixels: places of the sensor that shine whatever the sky does.
//!
//! A single frame hardly tells a hot pixel from a star or the tip of a prominence; many frames do. Each frame names the
//! places where one channel alone stands out over a ring of pixels around it. What several frames name while the Sun
//! moved over the sensor, or what stands alone in several frames of a Sun that kept its place, is hot.

use std::collections::BTreeSet;

use memchr::memchr_iter;

use crate::domain::upper_median;
use crate::raster::{Frame, Samples};

/// Times its noise by which a place must stand out: of 72 million values of a 24-megapixel frame chance lifts less than
/// one so far.
const TIMES_NOISE: f32 = 6.0;

/// Least that counts, as a fraction of the largest stored value: three steps of eight bits, less than which no print shows.
const LEAST: f32 = 3.0 / 255.0;

/// Most of its excess that the other channels of a place may share. Hot photosites have one colour; raw conversion and
/// subsampled colour carry up to half of it over (our choice: between that and white stars).
const SHARED: f32 = 0.66;

/// Frames that must name a place (our choice: long exposures of a single bracket are hardly more).
const FRAMES: usize = 2;

/// The same where the Sun hardly moved over the sensor between them, so that the sky could have done it.
const FRAMES_STILL: usize = 3;

/// Movement of the Sun between frames over which the sky's own structure cannot stay on a pixel, in pixels.
const MOVED_PX: f64 = 3.0;

/// Solar radii within which nothing is believed of a Sun that kept its place: prominences are small, red and still.
const LIMB_RADII: f64 = 1.3;

/// Half-width of the square about a place in which a still Sun's structure would show other such places, in pixels.
const ALONE_PX: usize = 10;

/// The places a frame names, row-major and in order.
#[derive(Clone, Debug, Default)]
pub(crate) struct Specks {
    size: [usize; 2],
    places: Vec<u32>,
}

/// Hot pixels by size of frame.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct HotMap {
    sizes: Vec<([usize; 2], Vec<u32>)>,
}

impl HotMap {
    /// Row-major places, in order, of frames of a size.
    pub(crate) fn of(&self, size: [usize; 2]) -> &[u32] {
        let found = self.sizes.iter().find(|(s, _)| *s == size);
        found.map_or(&[], |(_, places)| places)
    }
}

/// Stored values of 8 or 16 bits.
trait Stored: Copy + Ord + Into<u32> + Default {
    const MOST: u32;
    fn plus(self, more: Self) -> Self;
    fn from_level(level: f32) -> Self;
}

impl Stored for u8 {
    const MOST: u32 = 255;
    fn plus(self, more: Self) -> Self {
        self.saturating_add(more)
    }
    fn from_level(level: f32) -> Self {
        level as Self
    }
}

impl Stored for u16 {
    const MOST: u32 = 65_535;
    fn plus(self, more: Self) -> Self {
        self.saturating_add(more)
    }
    fn from_level(level: f32) -> Self {
        level as Self
    }
}

/// Places of a frame where one channel stands out.
pub(crate) fn specks(frame: &Frame) -> Specks {
    let places = match frame.samples() {
        Samples::U8(values) => outstanding(frame, values),
        Samples::U16(values) => outstanding(frame, values),
    };
    Specks {
        size: [frame.width(), frame.height()],
        places,
    }
}

/// Distance of the ring a place is held against, in pixels: raw conversion spreads a photosite over one pixel either way.
const RING: usize = 2;

fn outstanding<T: Stored>(frame: &Frame, values: &[T]) -> Vec<u32> {
    let (width, height, channels) = (frame.width(), frame.height(), frame.channels());
    if width < 4 * RING || height < 4 * RING || channels != 3 {
        return Vec::new();
    }
    let noise = Noise::of(values, width, channels);
    let least = T::from_level(noise.least);
    let stride = width * channels;
    let mut out = Vec::new();
    let mut flags = vec![0_u8; stride];
    for y in RING..height - RING {
        let row = |y: usize| &values[y * stride..(y + 1) * stride];
        flag(row(y), [row(y - RING), row(y + RING)], least, &mut flags);
        for at in memchr_iter(1, &flags) {
            let pixel = (y * width + at / channels) as u32;
            if out.last() != Some(&pixel) && stands_out(values, stride, y * stride + at, &noise) {
                out.push(pixel);
            }
        }
    }
    out
}

/// Marks values over those at the ring's four ends; simple enough for vector registers.
fn flag<T: Stored>(row: &[T], [above, below]: [&[T]; 2], least: T, flags: &mut [u8]) {
    let off = 3 * RING;
    let inner = row.len() - 2 * off;
    let parts = row[off..off + inner]
        .iter()
        .zip(&row[..inner])
        .zip(&row[2 * off..])
        .zip(&above[off..off + inner])
        .zip(&below[off..off + inner]);
    for (flag, ((((v, left), right), up), down)) in flags[off..off + inner].iter_mut().zip(parts) {
        let most = (*left).max(*right).max((*up).max(*down));
        *flag = u8::from(*v > most.plus(least));
    }
}

/// Whether a value is well above the ring about it, and its channel alone is.
fn stands_out<T: Stored>(values: &[T], stride: usize, at: usize, noise: &Noise) -> bool {
    let level = |i: usize| -> f32 {
        let v: u32 = values[i].into();
        v as f32
    };
    let excess = |i: usize| {
        let mut ring = ring(i, stride, 3).map(level);
        ring.sort_unstable_by(f32::total_cmp);
        (level(i) - ring[8], ring[12], ring[8])
    };
    let (own, high, middle) = excess(at);
    if own < noise.limit(middle) || level(at) - high < 0.6 * own {
        return false;
    }
    let first = at - at % 3;
    let others = (first..first + 3).filter(|i| *i != at);
    others.map(excess).all(|(other, ..)| other < SHARED * own)
}

/// The sixteen places of a channel around one, two pixels away.
fn ring(at: usize, stride: usize, channels: usize) -> [usize; 16] {
    let mut out = [0; 16];
    let mut n = 0;
    for j in 0..=2 * RING {
        for i in 0..=2 * RING {
            if i % (2 * RING) == 0 || j % (2 * RING) == 0 {
                out[n] = at + j * stride + i * channels - RING * (stride + channels);
                n += 1;
            }
        }
    }
    out
}

/// Noise of stored values by their level, measured in the frame itself.
struct Noise {
    /// One sigma in stored steps for each sixteenth of the range.
    sigma: [f32; 16],
    most: f32,
    /// The least limit of all levels.
    least: f32,
}

impl Noise {
    /// From the second differences of a sample of values.
    fn of<T: Stored>(values: &[T], width: usize, channels: usize) -> Self {
        const SAMPLES: usize = 60_000;
        let (most, off) = (T::MOST as f32, RING * channels);
        let stride = width * channels;
        let step = (values.len() / SAMPLES).max(1) | 1;
        let mut lists: [Vec<f32>; 16] = Default::default();
        for i in (stride..values.len().saturating_sub(stride)).step_by(step) {
            let [v, a, b] = [i, i - off, i + off].map(|i| -> f32 {
                let v: u32 = values[i].into();
                v as f32
            });
            lists[((v / (most + 1.0)) * 16.0) as usize].push((2.0 * v - a - b).abs());
        }
        let sigma = lists.map(|mut list| {
            if list.len() < 30 {
                return 0.0;
            }
            // Median to sigma, and from a second difference to one value.
            upper_median(&mut list).unwrap_or(0.0) * 1.4826 / 6.0_f32.sqrt()
        });
        let mut out = Self {
            sigma,
            most,
            least: 0.0,
        };
        let limits = (0..16).map(|k| out.limit((k as f32 + 0.5) * most / 16.0));
        out.least = limits.fold(f32::INFINITY, f32::min);
        out
    }

    /// How far over its ring a value must be.
    fn limit(&self, level: f32) -> f32 {
        let k = ((level / (self.most + 1.0)) * 16.0) as usize;
        (TIMES_NOISE * self.sigma[k.min(15)]).max(LEAST * self.most)
    }
}

/// One frame's say: what it names, and where its Sun stands in it (x, y, radius in pixels).
pub(crate) struct Say<'a> {
    pub(crate) specks: &'a Specks,
    pub(crate) sun: [f64; 3],
}

/// What the frames agree on.
pub(crate) fn shared(says: &[Say]) -> HotMap {
    let mut sizes: Vec<[usize; 2]> = says.iter().map(|s| s.specks.size).collect();
    sizes.sort_unstable();
    sizes.dedup();
    let of_size = |size: [usize; 2]| {
        let alike: Vec<&Say> = says.iter().filter(|s| s.specks.size == size).collect();
        (size, agreed(&alike, size))
    };
    HotMap {
        sizes: sizes.into_iter().map(of_size).collect(),
    }
}

fn agreed(says: &[&Say], size: [usize; 2]) -> Vec<u32> {
    let mut named: Vec<(u32, usize)> = Vec::new();
    for (k, say) in says.iter().enumerate() {
        named.extend(say.specks.places.iter().map(|&p| (p, k)));
    }
    named.sort_unstable();
    let runs = || {
        named
            .chunk_by(|a, b| a.0 == b.0)
            .filter(|run| run.len() >= FRAMES)
    };
    let all: BTreeSet<u32> = runs().map(|run| run[0].0).collect();
    runs()
        .filter(|run| {
            moved(says, run) || (run.len() >= FRAMES_STILL && apart(says, run, &all, size))
        })
        .map(|run| run[0].0)
        .collect()
}

/// Whether the Sun moved over the sensor between frames that name a place.
fn moved(says: &[&Say], run: &[(u32, usize)]) -> bool {
    let [x, y, _] = says[run[0].1].sun;
    run.iter().any(|(_, k)| {
        let [there_x, there_y, _] = says[*k].sun;
        (there_x - x).hypot(there_y - y) > MOVED_PX
    })
}

/// Whether a place is clear of the Sun's limb and of other such places.
fn apart(says: &[&Say], run: &[(u32, usize)], all: &BTreeSet<u32>, size: [usize; 2]) -> bool {
    let place = run[0].0 as usize;
    let (px, py) = (place % size[0], place / size[0]);
    let clear = run.iter().all(|(_, k)| {
        let [x, y, radius] = says[*k].sun;
        (px as f64 - x).hypot(py as f64 - y) > LIMB_RADII * radius
    });
    let near = (py.saturating_sub(ALONE_PX)..=(py + ALONE_PX).min(size[1] - 1)).flat_map(|y| {
        let from = y * size[0] + px.saturating_sub(ALONE_PX);
        let to = y * size[0] + (px + ALONE_PX).min(size[0] - 1);
        all.range(from as u32..=to as u32)
    });
    let others = near.filter(|&&p| {
        let (x, y) = (p as usize % size[0], p as usize / size[0]);
        x.abs_diff(px).max(y.abs_diff(py)) > RING
    });
    clear && others.count() == 0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::raster::Transfer;

    const SIDE: usize = 64;

    /// A dark slope with a red photosite at one place and a white star at another.
    fn frame(star: [usize; 2]) -> Frame {
        let mut values: Vec<u8> = (0..SIDE * SIDE)
            .flat_map(|i| [(30 + i % 5 + i / SIDE / 8) as u8; 3])
            .collect();
        values[(20 * SIDE + 30) * 3] = 90;
        for c in 0..3 {
            values[(star[1] * SIDE + star[0]) * 3 + c] = 120;
        }
        Frame::new(SIDE, SIDE, 3, Samples::U8(values), Transfer::Srgb)
    }

    #[test]
    fn what_stays_on_the_sensor_is_hot_and_stars_are_not() {
        let looks: Vec<Specks> = [[40, 40], [45, 41], [50, 42]]
            .map(|star| specks(&frame(star)))
            .into();
        let says: Vec<Say> = looks
            .iter()
            .enumerate()
            .map(|(k, specks)| Say {
                specks,
                sun: [10.0 + 5.0 * k as f64, 10.0, 5.0],
            })
            .collect();
        let map = shared(&says);
        assert_eq!(map.of([SIDE, SIDE]), [20 * SIDE as u32 + 30]);
        assert!(map.of([3, 3]).is_empty());
    }

    #[test]
    fn beside_the_limb_of_a_still_sun_nothing_is_believed() {
        let look = specks(&frame([40, 40]));
        let says = |x: f64| -> Vec<Say> {
            (0..4)
                .map(|_| Say {
                    specks: &look,
                    sun: [x, 20.0, 8.0],
                })
                .collect()
        };
        assert!(shared(&says(24.0)).of([SIDE, SIDE]).is_empty());
        assert_eq!(shared(&says(10.0)).of([SIDE, SIDE]).len(), 1);
    }
}
