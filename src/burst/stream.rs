//! The frames of one body in shooting order.

use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};

use crate::domain::{CameraId, CameraTime, FileFormat, TaggedShot, Utc};

/// One release of the shutter.
#[derive(Clone, Debug)]
pub(super) struct Fired {
    /// Index of its shot in the list given.
    pub(super) shot: usize,
    /// Start of the exposure in seconds since the stream's first frame, on the camera's clock.
    pub(super) start_s: f64,
    /// Whether the stamp was cut off to whole seconds.
    pub(super) whole_second: bool,
    /// Exposure in stops; `None` without a shutter time.
    pub(super) stops: Option<f64>,
    /// Exposure time in seconds, 0 when not known.
    pub(super) shutter_s: f64,
    /// Whether the camera said it was bracketing.
    pub(super) bracketing: Option<bool>,
    /// How many file numbers between the frame before and this one are nowhere on the card; 0 where that cannot be told.
    pub(super) lost_before: usize,
}

/// Frames with no long idle time between them.
pub(super) struct Run<'a> {
    pub(super) frames: &'a [Fired],
}

/// What makes two files pictures of the same release: body, stamp, file name without folder and ending, settings.
type Release<'a> = (
    Option<&'a CameraId>,
    Option<CameraTime>,
    String,
    Option<u64>,
    Option<u64>,
);

/// The release a shot is a picture of.
pub(super) fn release(tagged: &TaggedShot) -> Release<'_> {
    let shot = &tagged.shot;
    (
        shot.camera.as_ref(),
        shot.stamp.map(|stamp| stamp.time),
        stem(&shot.file.name).to_ascii_lowercase(),
        shot.exposure.shutter_s.map(f64::to_bits),
        shot.exposure.iso.map(f64::to_bits),
    )
}

/// Streams of the bodies, one release once. Without a serial number two lenses count as two bodies.
pub(super) fn of_bodies(shots: &[TaggedShot]) -> Vec<Vec<Fired>> {
    let mut bodies: BTreeMap<(Option<&CameraId>, Option<u64>), Vec<usize>> = BTreeMap::new();
    for index in one_each(shots) {
        let shot = &shots[index].shot;
        let named = shot.camera.as_ref().is_some_and(|id| id.serial.is_some());
        let lens = shot.exposure.focal_mm.filter(|_| !named);
        let body = (shot.camera.as_ref(), lens.map(f64::to_bits));
        bodies.entry(body).or_default().push(index);
    }
    let numbers: BTreeSet<u64> = shots.iter().map(|t| number(&t.shot.file.name)).collect();
    bodies
        .into_values()
        .map(|indices| in_order(shots, indices, &numbers))
        .collect()
}

/// One index per release that has a time: the picture that can be decoded soonest, then the first by name.
fn one_each(shots: &[TaggedShot]) -> Vec<usize> {
    let mut chosen: BTreeMap<Release<'_>, usize> = BTreeMap::new();
    for (index, tagged) in shots.iter().enumerate() {
        if tagged.shot.stamp.is_none() {
            continue;
        }
        let best = chosen.entry(release(tagged)).or_insert(index);
        if preference(tagged) < preference(&shots[*best]) {
            *best = index;
        }
    }
    chosen.into_values().collect()
}

/// Lower is preferred.
fn preference(tagged: &TaggedShot) -> (u8, &str) {
    let rank = match tagged.shot.file.format {
        FileFormat::Jpeg => 0,
        FileFormat::Tiff | FileFormat::Png => 1,
        FileFormat::Raw => 2,
        FileFormat::Heif => 3,
        FileFormat::Other => 4,
    };
    (rank, &tagged.shot.file.name)
}

fn in_order(shots: &[TaggedShot], mut indices: Vec<usize>, numbers: &BTreeSet<u64>) -> Vec<Fired> {
    let time = |index: usize| shots[index].shot.stamp.map(|stamp| stamp.time);
    let name = |index: usize| shots[index].shot.file.name.as_str();
    indices.sort_by(|&a, &b| (time(a), name(a)).cmp(&(time(b), name(b))));
    let mut ordered = Vec::with_capacity(indices.len());
    for same_time in indices.chunk_by(|&a, &b| time(a) == time(b)) {
        ordered.extend(by_number(same_time, name));
    }
    let first = ordered.first().and_then(|&index| time(index));
    let mut frames: Vec<Fired> = ordered
        .iter()
        .filter_map(|&index| fired(&shots[index], index, first?))
        .collect();
    for n in 1..frames.len() {
        let between = number(name(frames[n - 1].shot)) + 1..number(name(frames[n].shot));
        if between.clone().count() <= MOST_LOST {
            frames[n].lost_before = between.filter(|k| !numbers.contains(k)).count();
        }
    }
    frames
}

/// More missing file numbers than this in a row are no frames lost from a set.
const MOST_LOST: usize = 32;

fn fired(tagged: &TaggedShot, index: usize, first: CameraTime) -> Option<Fired> {
    let stamp = tagged.shot.stamp?;
    let exposure = &tagged.shot.exposure;
    let stops = exposure.stops();
    Some(Fired {
        shot: index,
        start_s: stamp.time.seconds_since(first),
        whole_second: !stamp.has_subsec,
        stops,
        shutter_s: exposure
            .shutter_s
            .filter(|_| stops.is_some())
            .unwrap_or(0.0),
        bracketing: exposure.auto_bracket,
        lost_before: 0,
    })
}

/// Puts shots of one stamp in order of their file numbers. A counter that rolled over within them (9999 then 0001)
/// shows as the widest hole in the numbers: the order begins after it.
fn by_number<'a>(indices: &[usize], name: impl Fn(usize) -> &'a str) -> Vec<usize> {
    let mut numbered: Vec<(u64, usize)> = indices
        .iter()
        .map(|&index| (number(name(index)), index))
        .collect();
    numbered.sort_by_key(|&(number, index)| (number, name(index)));
    let holes = numbered
        .windows(2)
        .enumerate()
        .map(|(at, pair)| (pair[1].0 - pair[0].0, at + 1));
    if let Some((hole, at)) = holes.max()
        && hole > ROLLOVER_HOLE
    {
        numbered.rotate_left(at);
    }
    numbered.into_iter().map(|(_, index)| index).collect()
}

/// More frames than any camera fires in one second: a wider hole in the numbers of one stamp is a counter's rollover.
const ROLLOVER_HOLE: u64 = 500;

/// File name without folders and ending.
fn stem(name: &str) -> &str {
    let file = name.rsplit('/').next().unwrap_or(name);
    file.rsplit_once('.').map_or(file, |(stem, _)| stem)
}

/// The last run of digits in a file's name, 0 without one; of long runs the last 18 digits.
fn number(name: &str) -> u64 {
    let digits: Vec<u8> = stem(name)
        .bytes()
        .rev()
        .skip_while(|b| !b.is_ascii_digit())
        .take_while(u8::is_ascii_digit)
        .take(18)
        .collect();
    digits
        .iter()
        .rev()
        .fold(0, |number, b| number * 10 + u64::from(b - b'0'))
}

/// Time order of shots across bodies: corrected time where there is one, else the camera's, then the name.
pub(super) fn time_order(a: &TaggedShot, b: &TaggedShot) -> Ordering {
    let key = |tagged: &TaggedShot| -> Option<Utc> {
        tagged
            .utc
            .or_else(|| Some(tagged.shot.stamp?.time.read_as_utc()))
    };
    (key(a), &a.shot.file.name).cmp(&(key(b), &b.shot.file.name))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_rolled_over_counter_goes_on_counting() {
        let names = ["b/IMG_0001.JPG", "a/IMG_9999.JPG", "b/IMG_0002.JPG"];
        assert_eq!(by_number(&[0, 1, 2], |i| names[i]), [1, 0, 2]);
    }

    #[test]
    fn numbers_are_the_last_digits() {
        assert_eq!(number("DCIM/100ABC/DSC_0042.JPG"), 42);
        assert_eq!(number("x/20190702_163812(7).jpg"), 7);
        assert_eq!(number("none.jpg"), 0);
    }
}
