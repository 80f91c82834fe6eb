//! The merge from first look to finished map.

use rayon::prelude::*;

use super::light::{Conversion, Light, Noise};
use super::photometry::{self, Exposed, Photometry};
use super::place::{Placement, Sky, centre};
use super::register::{self, Found};
use super::stack::{Mask, Stack};
use super::stops::true_stops;
use super::survey::{self, Grids, Survey};
use super::{FrameReport, MIN_RADIUS_PX, MergeError, MergeInput, MergeOptions, Merged};
use crate::domain::{Circle, Notice};
use crate::raster::{Frame, LinearRgb, Rect};

/// Opens the frame of an input by its index.
type Open<'a> = &'a (dyn Fn(usize) -> Result<Frame, String> + Sync);

/// Frames held decoded at a time.
const FRAMES_AT_ONCE: usize = 2;

/// How much of the way to no shift a frame may be off its limb fit and still be believed, in solar radii.
const FARTHEST_SHIFT_RADII: f64 = 0.06;

/// Slip of the Moon at which a frame's light just outside the limb hardly counts: there the corona, not the Moon,
/// should stand still.
const RING_SLIP_PX: f64 = 0.7;

/// Moon's radii that differ by more than this from the reference's mean another scale of picture.
const SAME_SCALE: f64 = 0.02;

/// Merges frames of totality, given in any order, into one radiance map on the Sun's frame.
///
/// `open` gives the decoded frame of an input by its index; it is called twice per input at most, from any thread, and
/// two frames at most are held at a time. `progress` is told how many steps of how many are done.
///
/// A frame that cannot be opened or that disagrees with the others is left out with a notice. One frame alone is
/// merged too: its radiance with the clipped parts as they are.
///
/// # Errors
/// [`MergeError`] when there is nothing to merge.
pub fn merge(
    inputs: &[MergeInput],
    open: Open,
    options: &MergeOptions,
    progress: &(dyn Fn(usize, usize) + Sync),
) -> Result<Merged, MergeError> {
    let usable = usable_inputs(inputs)?;
    let mut notices = Vec::new();
    let job = Job::new(inputs, &usable, options);
    let steps = 2 * usable.len() + 1;
    let surveys = look(&job, open, &|done| progress(done, steps))?;
    let photometry = measure(&job, &surveys, options);
    let places = registered(&job, &surveys, &photometry, options, &mut notices);
    let used = used_frames(&job, &surveys, &photometry);
    let canvas = Canvas::new(&job, &surveys, &places, &used, options);
    let frames = Ready {
        job: &job,
        photometry: &photometry,
        places: &places,
        used: &used,
        canvas: &canvas,
    };
    let stacked = frames.stacked(open, &|done| progress(usable.len() + done, steps));
    let mut merged = frames.compose(stacked, &surveys, inputs);
    merged.notices.splice(0..0, notices);
    merged.notices.extend(advice(&job, &merged, &used));
    progress(steps, steps);
    Ok(merged)
}

/// Indices of inputs whose circles can be used.
fn usable_inputs(inputs: &[MergeInput]) -> Result<Vec<usize>, MergeError> {
    if inputs.is_empty() {
        return Err(MergeError::NoTotality);
    }
    let good = |c: &Circle| {
        c.x_px.is_finite()
            && c.y_px.is_finite()
            && c.radius_px.is_finite()
            && (MIN_RADIUS_PX..1e5).contains(&c.radius_px)
            && c.x_px.abs().max(c.y_px.abs()) < 1e6
    };
    let usable: Vec<usize> = (0..inputs.len())
        .filter(|&i| good(&inputs[i].moon) && good(&inputs[i].sun))
        .collect();
    if usable.is_empty() {
        return Err(MergeError::NoDiscs(inputs.len()));
    }
    Ok(usable)
}

/// What is settled before any frame is opened. Positions in its lists are those of `indices`.
struct Job<'a> {
    indices: Vec<usize>,
    inputs: Vec<&'a MergeInput>,
    stops: Vec<Option<f64>>,
    /// Position of the input whose instant and lie the canvas has.
    reference: usize,
    sky: Sky,
    /// From a canvas with the Sun at (0, 0) to each frame, by the circles given.
    places: Vec<Placement>,
    grids: Grids,
}

impl<'a> Job<'a> {
    fn new(inputs: &'a [MergeInput], usable: &[usize], options: &MergeOptions) -> Self {
        let picked: Vec<&MergeInput> = usable.iter().map(|&i| &inputs[i]).collect();
        let north = common_north(&picked);
        let skies: Vec<Sky> = picked.iter().map(|i| sky(i, north)).collect();
        let asked = options
            .instant
            .and_then(|wanted| usable.iter().position(|&i| i == wanted));
        let reference = asked.unwrap_or_else(|| middle_of_the_way(&picked, &skies));
        let reference_radius = picked[reference].moon.radius_px;
        let places = picked
            .iter()
            .zip(&skies)
            .map(|(input, &own)| {
                let ratio = input.moon.radius_px / reference_radius;
                let scale = if (ratio - 1.0).abs() > SAME_SCALE {
                    ratio
                } else {
                    1.0
                };
                Placement::new([0.0; 2], skies[reference], centre(&input.sun), own, scale)
            })
            .collect();
        let radius = picked[reference].sun.radius_px;
        Self {
            indices: usable.to_vec(),
            stops: picked.iter().map(|i| true_stops(&i.exposure)).collect(),
            sky: skies[reference],
            reference,
            places,
            grids: Grids::new([0.0; 2], radius, picture_side(radius, usable.len())),
            inputs: picked,
        }
    }

    fn len(&self) -> usize {
        self.inputs.len()
    }

    fn sigma_px(&self, i: usize) -> f64 {
        let sigma = self.inputs[i].sun_sigma_px;
        if sigma.is_finite() && sigma > 0.0 {
            sigma
        } else {
            0.5
        }
    }
}

/// Side of the registration pictures: fewer pixels where there are many frames to hold.
fn picture_side(radius_px: f64, frames: usize) -> usize {
    let most = match frames {
        0..=16 => 1024,
        17..=40 => 768,
        _ => 512,
    };
    ((radius_px * 6.4 / 32.0).ceil() as usize * 32).clamp(256, most)
}

/// North of the first input that has one; 0 where none has.
fn common_north(inputs: &[&MergeInput]) -> f64 {
    let finite = |i: &&MergeInput| i.north_deg.filter(|n| n.is_finite());
    inputs.iter().find_map(finite).unwrap_or(0.0)
}

fn sky(input: &MergeInput, common_north: f64) -> Sky {
    Sky {
        north_deg: input
            .north_deg
            .filter(|n| n.is_finite())
            .unwrap_or(common_north),
        mirrored: input.mirrored,
    }
}

/// The input whose Moon stands nearest the middle of all Moons, seen from the Sun.
fn middle_of_the_way(inputs: &[&MergeInput], skies: &[Sky]) -> usize {
    let level = Sky {
        north_deg: 0.0,
        mirrored: false,
    };
    let offsets: Vec<[f64; 2]> = inputs
        .iter()
        .zip(skies)
        .map(|(input, &own)| {
            Placement::new(
                [0.0; 2],
                level,
                centre(&input.sun),
                own,
                input.sun.radius_px,
            )
            .to_canvas(input.moon.x_px, input.moon.y_px)
        })
        .collect();
    let middle = [0, 1].map(|axis| median(offsets.iter().map(|o| o[axis])));
    let distance = |o: &[f64; 2]| (o[0] - middle[0]).hypot(o[1] - middle[1]);
    (0..offsets.len())
        .min_by(|&a, &b| distance(&offsets[a]).total_cmp(&distance(&offsets[b])))
        .unwrap_or(0)
}

fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut list: Vec<f64> = values.collect();
    list.sort_by(f64::total_cmp);
    list.get(list.len() / 2).copied().unwrap_or(0.0)
}

/// The first look at every frame; an entry is the trouble where a frame could not be opened.
fn look(
    job: &Job,
    open: Open,
    progress: &(dyn Fn(usize) + Sync),
) -> Result<Vec<Result<Survey, String>>, MergeError> {
    let mut out: Vec<Result<Survey, String>> = Vec::with_capacity(job.len());
    let positions: Vec<usize> = (0..job.len()).collect();
    for few in positions.chunks(FRAMES_AT_ONCE) {
        let found: Vec<_> = few
            .par_iter()
            .map(|&i| {
                let frame = open(job.indices[i])?;
                let moon = &job.inputs[i].moon;
                let sigma = job.sigma_px(i);
                Ok(survey::survey(
                    &frame,
                    &job.places[i],
                    moon,
                    sigma,
                    &job.grids,
                ))
            })
            .collect();
        out.extend(found);
        progress(out.len());
    }
    if let (Some(Err(first)), true) = (out.first(), out.iter().all(Result::is_err)) {
        return Err(MergeError::Unreadable {
            tried: out.len(),
            first: first.clone(),
        });
    }
    Ok(out)
}

/// Exposures and response. Entries of frames that were not opened keep their header's exposure.
fn measure(job: &Job, surveys: &[Result<Survey, String>], options: &MergeOptions) -> Photometry {
    let any_known = job.stops.iter().any(Option::is_some);
    let seen: Vec<usize> = (0..job.len())
        .filter(|&i| surveys[i].is_ok() && (job.stops[i].is_some() || !any_known))
        .collect();
    let exposed: Vec<Exposed> = seen
        .iter()
        .filter_map(|&i| {
            Some(Exposed {
                survey: surveys[i].as_ref().ok()?,
                stops: job.stops[i].unwrap_or(0.0),
                known: job.stops[i].is_some(),
            })
        })
        .collect();
    let found = photometry::solve(&exposed, options.refine_exposures, options.recover_response);
    let mut out = Photometry {
        stops: job.stops.iter().map(|s| s.unwrap_or(0.0)).collect(),
        odd: vec![None; job.len()],
        ..found
    };
    for (k, &i) in seen.iter().enumerate() {
        out.stops[i] = found.stops[k];
        out.odd[i].clone_from(&found.odd[k]);
    }
    for i in 0..job.len() {
        if let Err(trouble) = &surveys[i] {
            out.odd[i] = Some(format!("it cannot be opened: {trouble}"));
        } else if any_known && job.stops[i].is_none() {
            out.odd[i] = Some("its header has no exposure time".into());
        }
    }
    out
}

/// Positions of the frames that are stacked, from the longest exposure to the shortest.
fn used_frames(
    job: &Job,
    surveys: &[Result<Survey, String>],
    photometry: &Photometry,
) -> Vec<usize> {
    let mut used: Vec<usize> = (0..job.len())
        .filter(|&i| photometry.odd[i].is_none())
        .collect();
    if used.is_empty() {
        used = (0..job.len()).filter(|&i| surveys[i].is_ok()).collect();
    }
    let stops = &photometry.stops;
    used.sort_by(|&a, &b| stops[b].total_cmp(&stops[a]).then(a.cmp(&b)));
    used
}

/// Where one frame was put and why.
#[derive(Clone, Copy, Debug)]
struct Placed {
    place: Placement,
    shift_px: [f64; 2],
    corona: Option<([f64; 2], f64)>,
    sigma_px: f64,
    turn_rad: f64,
}

/// Registers on the corona and combines that with the limb fits by their errors.
fn registered(
    job: &Job,
    surveys: &[Result<Survey, String>],
    photometry: &Photometry,
    options: &MergeOptions,
    notices: &mut Vec<Notice>,
) -> Vec<Placed> {
    let found = if options.register && job.len() > 1 {
        correlated(job, surveys, photometry)
    } else {
        vec![None; job.len()]
    };
    let pitch = job.grids.pitch_px;
    let common = common_offset(job, &found, pitch);
    let common_turn = median(found.iter().flatten().map(|f| f.turn_rad));
    (0..job.len())
        .map(|i| {
            let placed = combined(job, i, found[i], common, common_turn);
            if let Some((off, sigma)) = placed.corona {
                let expected = 5.0 * sigma.hypot(job.sigma_px(i)) + 1.0;
                if off[0].hypot(off[1]) > expected {
                    notices.push(
                        Notice::note(format!(
                            "the corona puts the Sun {:.1} px from where the limb does; the corona was followed",
                            off[0].hypot(off[1])
                        ))
                        .about(&job.inputs[i].name),
                    );
                }
            }
            placed
        })
        .collect()
}

fn correlated(
    job: &Job,
    surveys: &[Result<Survey, String>],
    photometry: &Photometry,
) -> Vec<Option<Found>> {
    let coronas: Vec<_> = surveys
        .par_iter()
        .enumerate()
        .map(|(i, s)| {
            let s = s.as_ref().ok().filter(|_| photometry.odd[i].is_none())?;
            register::log_corona(&s.picture, &photometry.response)
        })
        .collect();
    let worth: Vec<f64> = coronas
        .iter()
        .map(|c| c.as_ref().map_or(0.0, register::worth))
        .collect();
    let stops = &photometry.stops;
    let best = (0..worth.len()).fold(0, |best, i| if worth[i] > worth[best] { i } else { best });
    let mut order: Vec<usize> = (0..worth.len()).collect();
    let away = |i: usize| (stops[i] - stops[best]).abs();
    order.sort_by(|&a, &b| {
        (b == best)
            .cmp(&(a == best))
            .then(away(a).total_cmp(&away(b)))
            .then(a.cmp(&b))
    });
    let radius_px = job.inputs[job.reference].sun.radius_px;
    let limit = (FARTHEST_SHIFT_RADII * radius_px).max(8.0) / job.grids.pitch_px;
    register::register(&coronas, job.grids.side, &order, limit)
}

/// The corona gives places only relative to each other; the limb fits say where all of it lies: their weighted mean.
fn common_offset(job: &Job, found: &[Option<Found>], pitch: f64) -> [f64; 2] {
    let mut sum = [0.0; 3];
    for (i, f) in found.iter().enumerate() {
        if let Some(f) = f {
            let w = job.sigma_px(i).powi(-2);
            sum[0] += w * f.shift[0] * pitch;
            sum[1] += w * f.shift[1] * pitch;
            sum[2] += w;
        }
    }
    if sum[2] > 0.0 {
        [sum[0] / sum[2], sum[1] / sum[2]]
    } else {
        [0.0; 2]
    }
}

/// One frame's place from limb and corona, weighted by their errors.
fn combined(
    job: &Job,
    i: usize,
    found: Option<Found>,
    common: [f64; 2],
    common_turn_rad: f64,
) -> Placed {
    let given = job.places[i];
    let limb = job.sigma_px(i);
    let Some(found) = found else {
        return Placed {
            place: given,
            shift_px: [0.0; 2],
            corona: None,
            sigma_px: limb,
            turn_rad: 0.0,
        };
    };
    let pitch = job.grids.pitch_px;
    let off = [0, 1].map(|k| found.shift[k] * pitch - common[k]);
    // Never believed beyond a fiftieth of a pixel: systematic errors of interpolation and masks remain.
    let sigma = (found.sigma * pitch).max(0.02);
    let far = off[0].hypot(off[1]) > 5.0 * sigma.hypot(limb);
    let share = if far {
        1.0
    } else {
        limb.powi(2) / (limb.powi(2) + sigma.powi(2))
    };
    let turn = found.turn_rad - common_turn_rad;
    let turned = turn.abs() > 3.0 * found.turn_sigma_rad;
    let turn_rad = if turned { turn } else { 0.0 };
    let on_frame = |canvas: [f64; 2]| {
        let [x, y] = given.nudged(canvas, 0.0).frame_centre();
        [x - given.frame_centre()[0], y - given.frame_centre()[1]]
    };
    Placed {
        place: given.nudged(off.map(|v| v * share), turn_rad),
        shift_px: on_frame(off.map(|v| v * share)),
        corona: Some((on_frame(off), sigma)),
        sigma_px: (limb.powi(-2) + sigma.powi(-2)).powf(-0.5),
        turn_rad,
    }
}

/// The result's extent: Sun and Moon in it and its size.
struct Canvas {
    size: [usize; 2],
    sun: Circle,
    moon: Circle,
}

impl Canvas {
    fn new(
        job: &Job,
        surveys: &[Result<Survey, String>],
        places: &[Placed],
        used: &[usize],
        options: &MergeOptions,
    ) -> Self {
        let reach = reach(job, surveys, places, used);
        let radius = job.inputs[job.reference].sun.radius_px;
        let [mut left, mut up, mut right, mut down] = reach.map(|r| r.max(1.3 * radius));
        let pixels = (left + right + 1.0) * (up + down + 1.0);
        if pixels > options.max_pixels as f64 {
            let half = (options.max_pixels as f64).sqrt() / 2.0;
            let wide = half * half / (0.5 * (up + down)).min(half);
            let high = half * half / (0.5 * (left + right)).min(half);
            (left, right) = (left.min(wide), right.min(wide));
            (up, down) = (up.min(high.min(half)), down.min(high.min(half)));
        }
        let sun = [left.floor(), up.floor()];
        let moon = moon_offset(job, places);
        Self {
            size: [
                (sun[0] + right).floor() as usize + 1,
                (sun[1] + down).floor() as usize + 1,
            ],
            sun: Circle {
                x_px: sun[0],
                y_px: sun[1],
                radius_px: radius,
            },
            moon: Circle {
                x_px: sun[0] + moon[0],
                y_px: sun[1] + moon[1],
                radius_px: median(used.iter().map(|&i| {
                    let scale = job.places[i].step();
                    job.inputs[i].moon.radius_px / scale[0].hypot(scale[1])
                })),
            },
        }
    }

    fn area(&self) -> Rect {
        Rect {
            x: 0,
            y: 0,
            width: self.size[0],
            height: self.size[1],
        }
    }

    /// Width of the ring around the Moon for which light is stacked on the Moon too.
    fn ring_px(&self) -> f64 {
        (0.04 * self.moon.radius_px).max(8.0)
    }

    fn moon_area(&self) -> Rect {
        let half = self.moon.radius_px + self.ring_px() + 2.0;
        let range = |centre: f64, limit: usize| {
            let from = (centre - half).floor().clamp(0.0, limit as f64) as usize;
            let to = (centre + half).ceil().clamp(0.0, limit as f64) as usize;
            (from, to - from)
        };
        let (x, width) = range(self.moon.x_px, self.size[0]);
        let (y, height) = range(self.moon.y_px, self.size[1]);
        Rect {
            x,
            y,
            width,
            height,
        }
    }
}

/// How far the frames reach from the Sun to the left, up, right and down: at least half of them do.
fn reach(
    job: &Job,
    surveys: &[Result<Survey, String>],
    places: &[Placed],
    used: &[usize],
) -> [f64; 4] {
    let bounds: Vec<[f64; 4]> = used
        .iter()
        .filter_map(|&i| {
            let [w, h] = surveys[i].as_ref().ok()?.size.map(|v| v as f64 - 1.0);
            let corners = [(0.0, 0.0), (w, 0.0), (0.0, h), (w, h)]
                .map(|(x, y)| places[i].place.to_canvas(x, y));
            let least = |axis: usize| {
                corners
                    .iter()
                    .map(|c| c[axis])
                    .fold(f64::INFINITY, f64::min)
            };
            let most = |axis: usize| {
                corners
                    .iter()
                    .map(|c| c[axis])
                    .fold(f64::NEG_INFINITY, f64::max)
            };
            Some([-least(0), -least(1), most(0), most(1)])
        })
        .collect();
    let limit = 40.0 * job.inputs[job.reference].sun.radius_px;
    [0, 1, 2, 3].map(|side| median(bounds.iter().map(|b| b[side])).min(limit))
}

/// The Moon's centre at the chosen instant, from the Sun, on the canvas.
fn moon_offset(job: &Job, places: &[Placed]) -> [f64; 2] {
    let input = job.inputs[job.reference];
    let given = job.places[job.reference];
    let _ = places;
    given.to_canvas(input.moon.x_px, input.moon.y_px)
}

/// All that the second pass needs.
struct Ready<'a> {
    job: &'a Job<'a>,
    photometry: &'a Photometry,
    places: &'a [Placed],
    used: &'a [usize],
    canvas: &'a Canvas,
}

/// The two stacks and what was noticed on the way.
struct Stacked {
    sun: Stack,
    moon: Stack,
    hot: Vec<usize>,
    lost: Vec<(usize, String)>,
}

impl Ready<'_> {
    /// Stops of the shortest exposure used.
    fn unit_stops(&self) -> f64 {
        let last = self.used.last().map(|&i| self.photometry.stops[i]);
        last.unwrap_or(0.0)
    }

    fn conversion(&self, i: usize) -> Conversion {
        let unit = self.unit_stops();
        Conversion {
            black: self.photometry.black,
            response: self.photometry.response,
            scale: (unit - self.photometry.stops[i]).exp2(),
            noise: Noise::at_iso(self.job.inputs[i].exposure.iso.unwrap_or(100.0)),
            last_resort: self.photometry.stops[i] < unit + 0.4,
        }
    }

    /// From the canvas to a frame by the Sun.
    fn by_sun(&self, i: usize) -> Placement {
        let place = self.places[i].place;
        place.about(centre(&self.canvas.sun), place.frame_centre())
    }

    /// From the canvas to a frame by the Moon.
    fn by_moon(&self, i: usize) -> Placement {
        let moon = self.moon_in(i);
        self.places[i]
            .place
            .about(centre(&self.canvas.moon), [moon.x_px, moon.y_px])
    }

    /// The Moon in a frame: limb and Sun were fitted as one, so both move by the same.
    fn moon_in(&self, i: usize) -> Circle {
        let [dx, dy] = self.places[i].shift_px;
        let moon = self.job.inputs[i].moon;
        Circle {
            x_px: moon.x_px + dx,
            y_px: moon.y_px + dy,
            ..moon
        }
    }

    /// Stacks every used frame, decoding the next while one is being stacked.
    fn stacked(&self, open: Open, progress: &(dyn Fn(usize) + Sync)) -> Stacked {
        let mut out = Stacked {
            sun: Stack::new(self.canvas.area()),
            moon: Stack::new(self.canvas.moon_area()),
            hot: vec![0; self.job.len()],
            lost: Vec::new(),
        };
        let opened = |k: usize| self.used.get(k).map(|&i| open(self.job.indices[i]));
        let mut next = opened(0);
        for (k, &i) in self.used.iter().enumerate() {
            let frame = next.take();
            let ((), after) = rayon::join(
                || match frame {
                    Some(Ok(frame)) => self.add(i, &frame, &mut out),
                    Some(Err(trouble)) => out.lost.push((i, trouble)),
                    None => {}
                },
                || opened(k + 1),
            );
            next = after;
            progress(k + 1);
        }
        out
    }

    fn add(&self, i: usize, frame: &Frame, out: &mut Stacked) {
        let light = Light::new(frame, &self.conversion(i));
        out.hot[i] = light.hot_count();
        let by_sun = self.by_sun(i);
        let moon = self.moon_in(i);
        let on_canvas = by_sun.to_canvas(moon.x_px, moon.y_px);
        let edge = self.canvas.moon.radius_px;
        let margin = 1.2 + 2.0 * self.places[i].sigma_px.min(1.0);
        let outside = Mask::Outside {
            centre: on_canvas,
            from_px: edge + margin,
            to_px: edge + margin + 1.5,
        };
        out.sun.add(&light, &by_sun, &outside);
        let slip =
            (on_canvas[0] - self.canvas.moon.x_px).hypot(on_canvas[1] - self.canvas.moon.y_px);
        let inside = Mask::Disc {
            centre: centre(&self.canvas.moon),
            limb_px: edge,
            reach_px: edge + self.canvas.ring_px(),
            ring: (-0.5 * (slip / RING_SLIP_PX).powi(2)).exp().max(1e-3) as f32,
        };
        out.moon.add(&light, &self.by_moon(i), &inside);
    }

    /// Sets the Moon's disc in place and puts the result together.
    fn compose(
        &self,
        stacked: Stacked,
        surveys: &[Result<Survey, String>],
        inputs: &[MergeInput],
    ) -> Merged {
        let Stacked {
            sun,
            moon,
            hot,
            lost,
        } = stacked;
        let (mut radiance, weight) = sun.into_parts();
        set_moon(&mut radiance, &weight, &moon, self.canvas);
        let mut notices: Vec<Notice> = lost
            .iter()
            .map(|(i, trouble)| {
                Notice::look(format!("left out of the corona: {trouble}"))
                    .about(&self.job.inputs[*i].name)
            })
            .collect();
        for i in 0..self.job.len() {
            if let (Some(why), false) = (&self.photometry.odd[i], self.used.contains(&i)) {
                notices.push(
                    Notice::look(format!("left out of the corona: {why}"))
                        .about(&self.job.inputs[i].name),
                );
            }
        }
        let _ = surveys;
        Merged {
            radiance,
            sun: self.canvas.sun,
            moon: self.canvas.moon,
            north_deg: self
                .job
                .inputs
                .iter()
                .any(|i| i.north_deg.is_some())
                .then_some(self.job.sky.north_deg),
            mirrored: self.job.sky.mirrored,
            instant: self.job.indices[self.job.reference],
            unit_stops: self.unit_stops(),
            response: self.photometry.response,
            black: self.photometry.black,
            frames: self.reports(inputs, &hot, &lost),
            notices,
        }
    }

    fn reports(
        &self,
        inputs: &[MergeInput],
        hot: &[usize],
        lost: &[(usize, String)],
    ) -> Vec<FrameReport> {
        (0..inputs.len())
            .map(
                |index| match self.job.indices.iter().position(|&i| i == index) {
                    Some(i) => {
                        let trouble = lost.iter().find(|(k, _)| *k == i).map(|(_, t)| t.clone());
                        self.report(i, hot[i], trouble)
                    }
                    None => no_disc_report(&inputs[index]),
                },
            )
            .collect()
    }

    fn report(&self, i: usize, hot_pixels: usize, lost: Option<String>) -> FrameReport {
        let (input, placed) = (self.job.inputs[i], &self.places[i]);
        let [dx, dy] = placed.shift_px;
        let left_out = if self.used.contains(&i) {
            lost
        } else {
            self.photometry.odd[i].clone()
        };
        FrameReport {
            name: input.name.clone(),
            left_out,
            header_stops: self.job.stops[i],
            stops: self.photometry.stops[i],
            shift_px: placed.shift_px,
            corona_shift_px: placed.corona.map(|c| c.0),
            corona_sigma_px: placed.corona.map(|c| c.1),
            sigma_px: placed.sigma_px,
            turn_deg: -placed.turn_rad.to_degrees(),
            sun: Circle {
                x_px: input.sun.x_px + dx,
                y_px: input.sun.y_px + dy,
                ..input.sun
            },
            moon: self.moon_in(i),
            hot_pixels,
        }
    }
}

fn no_disc_report(input: &MergeInput) -> FrameReport {
    FrameReport {
        name: input.name.clone(),
        left_out: Some("its Sun or Moon is not usable".into()),
        header_stops: true_stops(&input.exposure),
        stops: true_stops(&input.exposure).unwrap_or(0.0),
        shift_px: [0.0; 2],
        corona_shift_px: None,
        corona_sigma_px: None,
        sigma_px: 0.0,
        turn_deg: 0.0,
        sun: input.sun,
        moon: input.moon,
        hot_pixels: 0,
    }
}

/// Light stacked on the Moon goes inside its limb and, where the Sun's stack has nothing good, just outside.
fn set_moon(radiance: &mut LinearRgb, weight: &[f32], moon: &Stack, canvas: &Canvas) {
    let area = canvas.moon_area();
    let width = radiance.width();
    let disc = canvas.moon;
    for y in area.y..area.y + area.height {
        for x in area.x..area.x + area.width {
            let off = (x as f64 - disc.x_px).hypot(y as f64 - disc.y_px) - disc.radius_px;
            if off > canvas.ring_px() {
                continue;
            }
            let (inside, moon_weight) = moon.at(x, y);
            let sun_weight = weight[y * width + x];
            if moon_weight <= 0.0 {
                continue;
            }
            let outside = super::light::smooth_step(1.0, 2.5, off as f32);
            let good = sun_weight / (sun_weight + 0.03 * moon_weight);
            let share = outside * good;
            let sun = radiance.at(x, y);
            let mixed = std::array::from_fn(|c| inside[c] + (sun[c] - inside[c]) * share);
            radiance.set(x, y, mixed);
        }
    }
}

/// What the merge as a whole could not do.
fn advice(job: &Job, merged: &Merged, used: &[usize]) -> Vec<Notice> {
    let stops: Vec<f64> = used.iter().filter_map(|&i| job.stops[i]).collect();
    let most = stops.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let least = stops.iter().copied().fold(f64::INFINITY, f64::min);
    let mut out = Vec::new();
    if used.len() == 1 {
        out.push(Notice::note(
            "the corona comes from one frame: nothing to merge it with, so its clipped parts stay clipped",
        ));
    } else if stops.is_empty() {
        out.push(Notice::note(
            "no frame of totality has an exposure time: the exposures were worked out from the pictures alone",
        ));
    } else if most - least < 0.5 {
        out.push(Notice::note(format!(
            "all {} frames of the corona have one exposure: they were averaged, without more range from dark to bright",
            used.len()
        )));
    }
    let _ = merged;
    out
}
