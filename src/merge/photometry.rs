//! Exposure ratios and the residual response, from the light the frames share.

use nalgebra::{DMatrix, DVector};

use super::response::{Response, TERMS, basis};
use super::survey::{CELLS, Survey};

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
const SCATTER_LIMIT: f64 = 0.10;

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
}

/// Two frames seeing the same cell: `ln a - ln b` of decoded light against the difference of their exposures.
struct Pair {
    frames: [usize; 2],
    log_ratio: f64,
    basis: [f64; TERMS],
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
        found.sort_by(f64::total_cmp);
        let middle = found.get(found.len() / 2).copied().unwrap_or(0.0);
        middle.clamp(0.0, 0.02) as f32
    })
}

/// All pairs of frames next to each other in exposure among those that see a cell well.
fn pairs(frames: &[Exposed], black: [f32; 3], odd: &[Option<String>]) -> Vec<Pair> {
    let mut order: Vec<usize> = (0..frames.len()).filter(|&i| odd[i].is_none()).collect();
    order.sort_by(|&a, &b| frames[a].stops.total_cmp(&frames[b].stops).then(a.cmp(&b)));
    let mut out = Vec::new();
    for cell in 0..CELLS * CELLS {
        for channel in 0..3 {
            let light = |i: usize| frames[i].survey.cells[cell][channel] - black[channel];
            let seeing = order
                .iter()
                .copied()
                .filter(|&i| (USABLE[0]..USABLE[1]).contains(&light(i)));
            let mut last: Option<usize> = None;
            for i in seeing {
                if let Some(before) = last {
                    out.push(pair([before, i], [light(before), light(i)]));
                }
                last = Some(i);
            }
        }
    }
    out
}

fn pair(frames: [usize; 2], [a, b]: [f32; 2]) -> Pair {
    let (one, two) = (basis(a), basis(b));
    let noise = |v: f32| 2e-6 / f64::from(v) + (4e-4 / f64::from(v)).powi(2);
    Pair {
        frames,
        log_ratio: f64::from(a).ln() - f64::from(b).ln(),
        basis: std::array::from_fn(|k| one[k] - two[k]),
        weight: 1.0 / (CELL_SIGMA.powi(2) + noise(a) + noise(b)),
    }
}

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

fn step(frames: &[Exposed], pairs: &[Pair], now: &Fit, curve: bool) -> Fit {
    let (n, size) = (frames.len(), frames.len() + TERMS);
    let mut normal = DMatrix::<f64>::zeros(size, size);
    let mut right = DVector::<f64>::zeros(size);
    for pair in pairs {
        let off = residual(frames, pair, now);
        let weight = pair.weight / (1.0 + off * off * pair.weight / 4.0);
        let [a, b] = pair.frames;
        let mut places = [
            (a, -1.0),
            (b, 1.0),
            (0, 0.0),
            (0, 0.0),
            (0, 0.0),
            (0, 0.0),
            (0, 0.0),
        ];
        for k in 0..TERMS {
            places[2 + k] = (n + k, pair.basis[k]);
        }
        let target = pair.log_ratio - (frames[a].stops - frames[b].stops) * std::f64::consts::LN_2;
        for (i, vi) in places {
            right[i] -= weight * vi * target;
            for (j, vj) in places {
                normal[(i, j)] += weight * vi * vj;
            }
        }
    }
    for (i, frame) in frames.iter().enumerate() {
        let sigma = if frame.known {
            EXPOSURE_SIGMA
        } else {
            UNKNOWN_SIGMA
        };
        normal[(i, i)] += sigma.powi(-2);
    }
    if curve {
        hold_slope(frames, &mut normal);
    }
    let response_sigma = if curve { RESPONSE_SIGMA } else { 1e-9 };
    for k in n..size {
        normal[(k, k)] += response_sigma.powi(-2);
    }
    let Some(found) = normal.cholesky().map(|c| c.solve(&right)) else {
        return Fit {
            corrections: now.corrections.clone(),
            response: now.response,
        };
    };
    Fit {
        corrections: found.iter().take(n).copied().collect(),
        response: Response {
            terms: std::array::from_fn(|k| found[n + k]),
        },
    }
}

/// Keeps the corrections free of any trend with exposure. Light raised to a power with all exposure steps stretched
/// alike fits as well as the truth, and light pressed flat even better; the steps of the header are right on average,
/// which settles it.
fn hold_slope(frames: &[Exposed], normal: &mut DMatrix<f64>) {
    /// Far stiffer than all pairs together.
    const STIFFNESS: f64 = 1e10;
    let known: Vec<usize> = (0..frames.len()).filter(|&i| frames[i].known).collect();
    let mean = known.iter().map(|&i| frames[i].stops).sum::<f64>() / known.len().max(1) as f64;
    let lever = |i: usize| frames[i].stops - mean;
    let length = known.iter().map(|&i| lever(i).powi(2)).sum::<f64>().sqrt();
    if length < 1e-6 {
        return;
    }
    for &i in &known {
        for &j in &known {
            normal[(i, j)] += STIFFNESS * lever(i) * lever(j) / (length * length);
        }
    }
}

/// Frames that do not go with the brightest group that agrees: cloud only ever takes light away.
fn disagreeing(frames: &[Exposed], pairs: &[Pair], fit: &Fit) -> Vec<Option<String>> {
    let stops: Vec<f64> = fit
        .corrections
        .iter()
        .map(|c| c / std::f64::consts::LN_2)
        .collect();
    let company = |at: f64| stops.iter().filter(|s| (*s - at).abs() < 0.15).count();
    let most = stops.iter().map(|&s| company(s)).max().unwrap_or(0);
    let anchor = stops
        .iter()
        .copied()
        .filter(|&s| company(s) == most)
        .fold(f64::NEG_INFINITY, f64::max);
    let scatter = scatter(frames, pairs, fit);
    (0..frames.len())
        .map(|i| {
            let off = stops[i] - anchor;
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

/// Median absolute residual of each frame's pairs with its best-fitting neighbour, as a sigma. 0 where it has none.
fn scatter(frames: &[Exposed], pairs: &[Pair], fit: &Fit) -> Vec<f64> {
    let mut by_link: std::collections::BTreeMap<[usize; 2], Vec<f64>> = Default::default();
    for pair in pairs {
        let off = residual(frames, pair, fit).abs();
        by_link.entry(pair.frames).or_default().push(off);
    }
    let mut best = vec![f64::INFINITY; frames.len()];
    for (link, mut list) in by_link {
        if list.len() < 60 {
            continue;
        }
        let middle = list.len() / 2;
        let sigma = 1.4826 * *list.select_nth_unstable_by(middle, f64::total_cmp).1;
        for i in link {
            best[i] = best[i].min(sigma);
        }
    }
    best.into_iter()
        .map(|s| if s.is_finite() { s } else { 0.0 })
        .collect()
}
