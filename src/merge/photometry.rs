//! Exposure ratios and the residual response, from the light the frames share.

use std::collections::BTreeMap;

use nalgebra::{DMatrix, DVector};

use super::response::{Response, TERMS, basis};
use super::survey::{self, CELLS, Survey};
use crate::domain::upper_median;

/// Coded sRGB values used: lower ones are noise and rounding, higher ones near clipping. As linear light.
const USABLE: [f32; 2] = [0.008, 0.80];

/// One sigma of an exposure against its true nominal value, in natural logarithm: a tenth of a stop.
const EXPOSURE_SIGMA: f64 = 0.07;

/// The same where the header has no exposure time.
const UNKNOWN_SIGMA: f64 = 5.0;

/// One sigma of a coefficient of the residual response.
const RESPONSE_SIGMA: f64 = 0.5;

/// Scatter of one cell's logarithm beyond noise: misregistration, structure.
const CELL_SIGMA: f64 = 0.012;

/// A frame this far from the others in brightness is left out, in stops (our choice: well beyond shutter errors).
const DISAGREES_STOPS: f64 = 0.35;

/// A frame whose cells scatter more than this about the others is left out, in natural logarithm: drifting cloud.
const SCATTER_LIMIT: f64 = 0.15;

/// What the frames say about their own exposures.
#[derive(Clone, Debug)]
pub(crate) struct Photometry {
    /// Exposure of each frame in stops, refined.
    pub(crate) stops: Vec<f64>,
    /// The residual response.
    pub(crate) response: Response,
    /// Frames whose brightness disagrees, with the reason.
    pub(crate) odd: Vec<Option<String>>,
    /// Black level per channel in decoded light.
    pub(crate) black: [f32; 3],
}

/// One frame's part in the fit.
pub(crate) struct Exposed<'a> {
    /// The first look.
    pub(crate) survey: &'a Survey,
    /// Exposure in stops by its header.
    pub(crate) stops: f64,
    /// Whether the header had an exposure time.
    pub(crate) known: bool,
    /// One sigma of its place, in solar radii.
    pub(crate) blur_radii: f64,
}

/// Two frames seeing the same cell: `ln a - ln b` of decoded light against the difference of their exposures.
struct Pair {
    frames: [usize; 2],
    log_ratio: f64,
    basis: [f64; TERMS],
    /// Inverse variance of the logarithm's ratio.
    certainty: f64,
    /// The same, lowered where many pairs tell of the same two frames.
    weight: f64,
}

/// Solves for exposures and response together, drops what disagrees, and solves again.
pub(crate) fn solve(frames: &[Exposed], refine: bool, curve: bool) -> Photometry {
    let black = black_level(frames);
    let mut out = Photometry {
        stops: frames.iter().map(|f| f.stops).collect(),
        response: Response::IDENTITY,
        odd: vec![None; frames.len()],
        black,
    };
    if !refine || frames.len() < 2 {
        return out;
    }
    let pairs = pairs(frames, black, &out.odd);
    let first = fit(frames, &pairs, curve);
    out.odd = disagreeing(frames, &pairs, &first);
    let pairs = if out.odd.iter().any(Option::is_some) {
        self::pairs(frames, black, &out.odd)
    } else {
        pairs
    };
    let last = fit(frames, &pairs, curve);
    for (stops, correction) in out.stops.iter_mut().zip(&last.corrections) {
        *stops += correction / std::f64::consts::LN_2;
    }
    out.response = last.response;
    out
}

/// The level of no light: where the Moon's disc would be at no exposure at all, from a line through the levels of the
/// shortest frame and of those at least two stops longer. 0 when no two frames tell.
fn black_level(frames: &[Exposed]) -> [f32; 3] {
    let shortest = frames.iter().min_by(|a, b| a.stops.total_cmp(&b.stops));
    let Some((short, base)) = shortest.and_then(|s| s.survey.moon_level.map(|l| (s, l))) else {
        return [0.0; 3];
    };
    std::array::from_fn(|channel| {
        let mut found: Vec<f64> = frames
            .iter()
            .filter(|f| f.stops > short.stops + 1.9)
            .filter_map(|f| Some((f.stops, f64::from(f.survey.moon_level?[channel]))))
            .filter(|(_, level)| *level < 0.3)
            .map(|(stops, level)| {
                let ratio = (stops - short.stops).exp2();
                (f64::from(base[channel]) * ratio - level) / (ratio - 1.0)
            })
            .collect();
        let middle = upper_median(&mut found).unwrap_or(0.0);
        middle.clamp(0.0, 0.02) as f32
    })
}

/// How many neighbours in exposure a frame is compared with: under broken cloud the next may be the wrong one.
const REACH: usize = 3;

/// Fall of the natural logarithm of brightness per solar radius, roughly, after Baumbach's terms (1937, Astron. Nachr.
/// 263, 121): what a frame out of place by a little is out of brightness by.
fn slope(r: f64) -> f64 {
    let r = r.max(1.0);
    (2.5 + 14.0 * (-(r - 1.0) / 0.15).exp()) / r
}

/// Pairs of frames close to each other in exposure among those that see a cell well.
fn pairs(frames: &[Exposed], black: [f32; 3], odd: &[Option<String>]) -> Vec<Pair> {
    let mut order: Vec<usize> = (0..frames.len()).filter(|&i| odd[i].is_none()).collect();
    order.sort_by(|&a, &b| frames[a].stops.total_cmp(&frames[b].stops).then(a.cmp(&b)));
    let mut out = Vec::new();
    // Every other cell in a chequered order is plenty.
    for cell in (0..CELLS * CELLS).filter(|c| (c / CELLS + c % CELLS).is_multiple_of(2)) {
        let slope = slope(survey::cell_radii(cell));
        for (channel, black) in black.into_iter().enumerate() {
            let light = |i: usize| frames[i].survey.cells[cell][channel] - black;
            let seeing = order
                .iter()
                .copied()
                .filter(|&i| (USABLE[0]..USABLE[1]).contains(&light(i)));
            let mut before: [Option<usize>; REACH] = [None; REACH];
            for i in seeing {
                for j in before.into_iter().flatten() {
                    let shift = slope * frames[i].blur_radii.hypot(frames[j].blur_radii);
                    out.push(pair([j, i], [light(j), light(i)], shift));
                }
                before.rotate_right(1);
                before[0] = Some(i);
            }
        }
    }
    share_say(&mut out);
    out
}

/// Pairs of the same two frames share their errors: together they count as no more than so many.
fn share_say(pairs: &mut [Pair]) {
    const MOST: f64 = 250.0;
    let mut counts: BTreeMap<[usize; 2], f64> = BTreeMap::new();
    for pair in pairs.iter() {
        *counts.entry(pair.frames).or_default() += 1.0;
    }
    for pair in pairs {
        pair.weight *= (MOST / counts[&pair.frames]).min(1.0);
    }
}

fn pair(frames: [usize; 2], [a, b]: [f32; 2], shift: f64) -> Pair {
    let (one, two) = (basis(a), basis(b));
    let noise = |v: f32| 2e-6 / f64::from(v) + (4e-4 / f64::from(v)).powi(2);
    let certainty = 1.0 / (CELL_SIGMA.powi(2) + shift.powi(2) + noise(a) + noise(b));
    Pair {
        frames,
        log_ratio: f64::from(a).ln() - f64::from(b).ln(),
        basis: std::array::from_fn(|k| one[k] - two[k]),
        certainty,
        weight: certainty,
    }
}

#[derive(Clone)]
struct Fit {
    corrections: Vec<f64>,
    response: Response,
}

/// Least squares with Cauchy weights on the pairs and normal priors on what is sought.
fn fit(frames: &[Exposed], pairs: &[Pair], curve: bool) -> Fit {
    let mut now = Fit {
        corrections: vec![0.0; frames.len()],
        response: Response::IDENTITY,
    };
    for _ in 0..8 {
        now = step(frames, pairs, &now, curve);
    }
    while !now.response.rises() {
        now.response = now.response.scaled(0.7);
    }
    now
}

/// What is left of a pair after the corrections found so far.
fn residual(frames: &[Exposed], pair: &Pair, fit: &Fit) -> f64 {
    let [a, b] = pair.frames;
    let exposure = |i: usize| frames[i].stops * std::f64::consts::LN_2 + fit.corrections[i];
    let curve: f64 = pair
        .basis
        .iter()
        .zip(fit.response.terms)
        .map(|(b, c)| b * c)
        .sum();
    pair.log_ratio + curve - (exposure(a) - exposure(b))
}

/// Normal equations: corrections of all frames, then the terms of the response.
struct Equations {
    normal: DMatrix<f64>,
    right: DVector<f64>,
}

fn step(frames: &[Exposed], pairs: &[Pair], now: &Fit, curve: bool) -> Fit {
    let (n, size) = (frames.len(), frames.len() + TERMS);
    let mut sums = Equations {
        normal: DMatrix::zeros(size, size),
        right: DVector::zeros(size),
    };
    for pair in pairs {
        sums.add(frames, pair, now);
    }
    for (i, frame) in frames.iter().enumerate() {
        let sigma = if frame.known {
            EXPOSURE_SIGMA
        } else {
            UNKNOWN_SIGMA
        };
        sums.normal[(i, i)] += sigma.powi(-2);
    }
    // Without a single known exposure nothing tells a curve from a row of exposures.
    let curve = curve && frames.iter().any(|f| f.known);
    if curve {
        hold_slope(frames, now, &mut sums.normal);
    }
    let response_sigma = if curve { RESPONSE_SIGMA } else { 1e-9 };
    for k in n..size {
        sums.normal[(k, k)] += response_sigma.powi(-2);
    }
    let Some(found) = sums.normal.cholesky().map(|c| c.solve(&sums.right)) else {
        return now.clone();
    };
    Fit {
        corrections: found.iter().take(n).copied().collect(),
        response: Response {
            terms: std::array::from_fn(|k| found[n + k]),
        },
    }
}

impl Equations {
    /// One pair, counting less the farther it is off (Cauchy).
    fn add(&mut self, frames: &[Exposed], pair: &Pair, now: &Fit) {
        let off = residual(frames, pair, now);
        let weight = pair.weight / (1.0 + off * off * pair.certainty / 4.0);
        let [a, b] = pair.frames;
        let mut places = [(0, 0.0); 2 + TERMS];
        places[0] = (a, -1.0);
        places[1] = (b, 1.0);
        for k in 0..TERMS {
            places[2 + k] = (frames.len() + k, pair.basis[k]);
        }
        let step = (frames[a].stops - frames[b].stops) * std::f64::consts::LN_2;
        for (i, vi) in places {
            self.right[i] -= weight * vi * (pair.log_ratio - step);
            for (j, vj) in places {
                self.normal[(i, j)] += weight * vi * vj;
            }
        }
    }
}

/// Keeps the corrections free of any trend with exposure. Light raised to a power with all exposure steps stretched
/// alike fits as well as the truth, and light pressed flat even better; the steps of the header are right on average,
/// which settles it. Frames away from the rest have no say.
fn hold_slope(frames: &[Exposed], now: &Fit, normal: &mut DMatrix<f64>) {
    /// Far stiffer than all pairs together.
    const STIFFNESS: f64 = 1e10;
    let agreed = consensus(frames, &now.corrections);
    let say: Vec<f64> = frames
        .iter()
        .zip(&now.corrections)
        .map(|(frame, &correction)| {
            let off = agreed.off(frame, correction) / EXPOSURE_SIGMA;
            f64::from(frame.known) / (1.0 + off * off).powi(2)
        })
        .collect();
    let total: f64 = say.iter().sum();
    let mean = frames
        .iter()
        .zip(&say)
        .map(|(f, s)| f.stops * s)
        .sum::<f64>()
        / total;
    let lever: Vec<f64> = frames
        .iter()
        .zip(&say)
        .map(|(f, s)| (f.stops - mean) * s)
        .collect();
    let length = lever.iter().map(|l| l * l).sum::<f64>().sqrt();
    if length < 1e-6 {
        return;
    }
    for (i, a) in lever.iter().enumerate() {
        for (j, b) in lever.iter().enumerate() {
            normal[(i, j)] += STIFFNESS * a * b / (length * length);
        }
    }
}

/// What most frames share: a level of the corrections and its trend with exposure. The trend is what a wrong response
/// looks like, so that frames under a clear sky lie on one line whatever the response; those under cloud do not.
#[derive(Clone, Copy, Debug)]
struct Consensus {
    level: f64,
    trend: f64,
}

impl Consensus {
    /// How far a frame is off it, in natural logarithm.
    fn off(&self, frame: &Exposed, correction: f64) -> f64 {
        correction - self.level - self.trend * frame.stops
    }
}

/// Looks for the line with most frames within 0.15 stops, steep ones counting less; of equals the brightest, as cloud
/// only ever takes light away.
fn consensus(frames: &[Exposed], corrections: &[f64]) -> Consensus {
    const CLOSE: f64 = 0.15 * std::f64::consts::LN_2;
    /// Frames that a trend of one stop per stop costs.
    const STEEP_COSTS: f64 = 6.0;
    let known: Vec<usize> = (0..frames.len()).filter(|&i| frames[i].known).collect();
    // A few hundred lines tell; many sets only repeat them.
    let step = known.len().div_ceil(60).max(1);
    let mut best = (
        f64::NEG_INFINITY,
        f64::NEG_INFINITY,
        Consensus {
            level: 0.0,
            trend: 0.0,
        },
    );
    for &i in known.iter().step_by(step) {
        for &j in known.iter().step_by(step) {
            let apart = frames[i].stops - frames[j].stops;
            let trend = if i == j {
                0.0
            } else if apart.abs() > 0.9 {
                (corrections[i] - corrections[j]) / apart
            } else {
                continue;
            };
            let line = Consensus {
                level: corrections[i] - trend * frames[i].stops,
                trend,
            };
            let on = known
                .iter()
                .filter(|&&k| line.off(&frames[k], corrections[k]).abs() < CLOSE)
                .count();
            let score = on as f64 - STEEP_COSTS * trend.abs() / std::f64::consts::LN_2;
            if (score, corrections[i]) > (best.0, best.1) {
                best = (score, corrections[i], line);
            }
        }
    }
    best.2
}

/// Frames that do not go with the group that agrees.
fn disagreeing(frames: &[Exposed], pairs: &[Pair], fit: &Fit) -> Vec<Option<String>> {
    let agreed = consensus(frames, &fit.corrections);
    let scatter = scatter(frames, pairs, fit);
    (0..frames.len())
        .map(|i| {
            let off = agreed.off(&frames[i], fit.corrections[i]) / std::f64::consts::LN_2;
            if frames[i].known && off.abs() > DISAGREES_STOPS {
                Some(format!(
                    "its corona is {:.1} stops {} than its exposure gives beside the others",
                    off.abs(),
                    if off < 0.0 { "darker" } else { "brighter" }
                ))
            } else if scatter[i] > SCATTER_LIMIT {
                Some(format!(
                    "its corona is uneven beside the others ({:.0} % scatter, {:.0} % allowed): cloud",
                    100.0 * scatter[i],
                    100.0 * SCATTER_LIMIT
                ))
            } else {
                None
            }
        })
        .collect()
}

/// Scatter of each frame's pairs with its best-fitting neighbour beyond what is expected, as a sigma from the median
/// absolute residual. 0 where it has none.
fn scatter(frames: &[Exposed], pairs: &[Pair], fit: &Fit) -> Vec<f64> {
    let mut by_link: BTreeMap<[usize; 2], Vec<f64>> = BTreeMap::new();
    let mut sigmas: BTreeMap<[usize; 2], f64> = BTreeMap::new();
    for pair in pairs {
        let off = residual(frames, pair, fit).abs() * pair.certainty.sqrt();
        by_link.entry(pair.frames).or_default().push(off);
        let expected = sigmas.entry(pair.frames).or_default();
        *expected += 1.0 / pair.certainty;
    }
    let mut best = vec![f64::INFINITY; frames.len()];
    for (link, mut list) in by_link {
        if list.len() < 60 {
            continue;
        }
        let middle = list.len() / 2;
        // Beyond what noise and misregistration explain, in units of what they do.
        let times = 1.4826 * *list.select_nth_unstable_by(middle, f64::total_cmp).1;
        let expected = sigmas[&link] / list.len() as f64;
        let sigma = ((times * times - 1.0).max(0.0) * expected).sqrt();
        for i in link {
            best[i] = best[i].min(sigma);
        }
    }
    best.into_iter()
        .map(|s| if s.is_finite() { s } else { 0.0 })
        .collect()
}
