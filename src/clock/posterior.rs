//! All that is known of a clock error at once: belief and evidence multiplied over every error that is possible, then the
//! peaks of the product.

use rayon::prelude::*;

/// Step of the first look in seconds.
const COARSE_S: f64 = 5.0;

/// Errors less likely than the best by this, as a log, are not looked at closer.
const NEGLIGIBLE: f64 = 16.0;

/// Steps of the closer look in seconds: at most, and at least.
const FINE_S: (f64, f64) = (0.5, 0.01);

/// Most steps of the closer look.
const MOST_STEPS: usize = 60_000;

/// A peak ends where the density has fallen by this, as a log, for longer than [`GAP_S`]: to what doubts of single frames leave
/// between two times.
const FOOT: f64 = 5.0;

/// Peaks nearer together than this, in seconds, are one.
const GAP_S: f64 = 15.0;

/// Most values kept of the curve that is drawn.
const CURVE: usize = 160;

/// One peak of what is known of a clock error.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Peak {
    /// Camera reading as UTC, minus UTC, in seconds: the mean over the peak.
    pub(super) tau_s: f64,
    /// One sigma of it in seconds.
    pub(super) sigma_s: f64,
    /// Share of all that is likely.
    pub(super) weight: f64,
}

/// What is known of a clock error.
#[derive(Clone, Debug, Default)]
pub(super) struct Posterior {
    /// Peaks, heaviest first; never empty once made.
    pub(super) peaks: Vec<Peak>,
    /// Log of the whole: of how likely the evidence is in the light of the belief.
    pub(super) log_whole: f64,
    /// Error and density over the largest, in order of error, for drawing.
    pub(super) curve: Vec<(f64, f64)>,
}

/// A run of values a step apart.
struct Run {
    from_s: f64,
    logs: Vec<f64>,
}

/// Works the product out. `log(tau_s, step_s)` gives its log at an error, smoothed over a step, and `most` no less than that, but
/// quickly; `spans` are where to look; `sharp_s` is the narrowest feature expected.
pub(super) fn of(
    spans: &[(f64, f64)],
    sharp_s: f64,
    log: &(dyn Fn(f64, f64) -> f64 + Sync),
    most: &(dyn Fn(f64, f64) -> f64 + Sync),
) -> Option<Posterior> {
    let bounds: Vec<Run> = joined(spans.to_vec(), COARSE_S)
        .into_iter()
        .map(|span| run(span, COARSE_S, most))
        .collect();
    // What cannot come near one value that is reached need not be worked out.
    let least =
        highest(&bounds).map_or(f64::NEG_INFINITY, |tau_s| log(tau_s, COARSE_S) - NEGLIGIBLE);
    let coarse: Vec<Run> = bounds
        .into_iter()
        .map(|bound| bound.reached(least, log))
        .collect();
    let best = top(&coarse)?;
    let near: Vec<(f64, f64)> = coarse
        .iter()
        .flat_map(|run| {
            let likely = |(_, log): &(usize, &f64)| **log > best - NEGLIGIBLE;
            run.logs.iter().enumerate().filter(likely).map(|(n, _)| {
                let at_s = run.from_s + n as f64 * COARSE_S;
                (at_s - COARSE_S, at_s + COARSE_S)
            })
        })
        .collect();
    let near = joined(near, 0.0);
    let length_s: f64 = near.iter().map(|(from, to)| to - from).sum();
    let wanted_s = (sharp_s / 4.0).clamp(FINE_S.1, FINE_S.0);
    let step_s = wanted_s.max(length_s / MOST_STEPS as f64);
    let fine: Vec<Run> = near
        .into_iter()
        .map(|span| run(span, step_s, log))
        .collect();
    let best = top(&fine)?;
    Some(Posterior {
        peaks: peaks(&fine, step_s, best),
        log_whole: best + (whole(&fine, best) * step_s).ln(),
        curve: curve(&fine, step_s, best),
    })
}

fn run((from_s, to_s): (f64, f64), step_s: f64, log: &(dyn Fn(f64, f64) -> f64 + Sync)) -> Run {
    let count = ((to_s - from_s) / step_s).ceil().max(1.0) as usize + 1;
    let at = |n: usize| log(from_s + n as f64 * step_s, step_s);
    Run {
        from_s,
        logs: (0..count).into_par_iter().map(at).collect(),
    }
}

/// The error at which coarse runs are highest.
fn highest(runs: &[Run]) -> Option<f64> {
    let places = runs.iter().flat_map(|run| {
        let at = |(n, log): (usize, &f64)| (run.from_s + n as f64 * COARSE_S, *log);
        run.logs.iter().enumerate().map(at)
    });
    let best = places.max_by(|a, b| a.1.total_cmp(&b.1))?;
    best.1.is_finite().then_some(best.0)
}

impl Run {
    /// The values themselves where these, their bounds, are over `least`.
    fn reached(self, least: f64, log: &(dyn Fn(f64, f64) -> f64 + Sync)) -> Self {
        let at = |(n, bound): (usize, f64)| match bound < least {
            true => f64::NEG_INFINITY,
            false => log(self.from_s + n as f64 * COARSE_S, COARSE_S),
        };
        Self {
            from_s: self.from_s,
            logs: self.logs.into_par_iter().enumerate().map(at).collect(),
        }
    }
}

fn top(runs: &[Run]) -> Option<f64> {
    let all = runs.iter().flat_map(|run| &run.logs).copied();
    all.filter(|log| log.is_finite()).reduce(f64::max)
}

fn whole(runs: &[Run], best: f64) -> f64 {
    let all = runs.iter().flat_map(|run| &run.logs);
    all.map(|log| (log - best).exp()).sum()
}

/// Spans in order, those that touch or overlap made one; each a little longer than nothing.
fn joined(mut spans: Vec<(f64, f64)>, slack_s: f64) -> Vec<(f64, f64)> {
    spans.retain(|(from, to)| from.is_finite() && to.is_finite() && from <= to);
    spans.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut out: Vec<(f64, f64)> = Vec::new();
    for (from, to) in spans {
        match out.last_mut() {
            Some(last) if from <= last.1 + slack_s => last.1 = last.1.max(to),
            _ => out.push((from, to)),
        }
    }
    out
}

fn peaks(runs: &[Run], step_s: f64, best: f64) -> Vec<Peak> {
    let all = whole(runs, best);
    let cells = runs.iter().flat_map(|run| {
        let at = |(n, log): (usize, &f64)| (run.from_s + n as f64 * step_s, log - best);
        run.logs.iter().enumerate().map(at).collect::<Vec<_>>()
    });
    let high: Vec<(f64, f64)> = cells.filter(|(_, log)| *log > -FOOT).collect();
    let mut found: Vec<Peak> = high
        .chunk_by(|a, b| b.0 - a.0 <= GAP_S)
        .map(|cells| peak(cells, step_s, all))
        .collect();
    found.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    found
}

fn peak(cells: &[(f64, f64)], step_s: f64, all: f64) -> Peak {
    let weight: f64 = cells.iter().map(|c| c.1.exp()).sum();
    let tau_s = cells.iter().map(|c| c.1.exp() * c.0).sum::<f64>() / weight;
    let square = cells
        .iter()
        .map(|c| c.1.exp() * (c.0 - tau_s).powi(2))
        .sum::<f64>()
        / weight;
    Peak {
        tau_s,
        sigma_s: square.max(step_s * step_s / 12.0).sqrt(),
        weight: weight / all,
    }
}

/// The curve thinned to what a picture can show, largest values kept.
fn curve(runs: &[Run], step_s: f64, best: f64) -> Vec<(f64, f64)> {
    let cells: Vec<(f64, f64)> = runs
        .iter()
        .flat_map(|run| {
            let at = |(n, log): (usize, &f64)| (run.from_s + n as f64 * step_s, (log - best).exp());
            run.logs.iter().enumerate().map(at).collect::<Vec<_>>()
        })
        .collect();
    let shown: Vec<(f64, f64)> = cells.into_iter().filter(|c| c.1 > 1e-3).collect();
    let every = shown.len().div_ceil(CURVE).max(1);
    shown
        .chunks(every)
        .filter_map(|some| some.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn any(_: f64, _: f64) -> f64 {
        f64::INFINITY
    }

    #[test]
    fn a_bell_has_its_mean_and_sigma() {
        let bell = |tau_s: f64, step_s: f64| {
            let sigma_s = 2.0f64.hypot(step_s / 3.5);
            -0.5 * ((tau_s - 31.0) / sigma_s).powi(2) - sigma_s.ln()
        };
        let found = of(&[(-500.0, 500.0)], 2.0, &bell, &any).unwrap();
        assert_eq!(found.peaks.len(), 1);
        let peak = found.peaks[0];
        assert!((peak.tau_s - 31.0).abs() < 0.05 && (peak.sigma_s - 2.0).abs() < 0.1);
        assert!(peak.weight > 0.99);
        assert!((found.log_whole - std::f64::consts::TAU.sqrt().ln()).abs() < 0.05);
    }

    #[test]
    fn two_bells_are_two_peaks() {
        let bells = |tau_s: f64, _: f64| {
            let bell = |at_s: f64| (-0.5 * ((tau_s - at_s) / 5.0).powi(2)).exp();
            (bell(-100.0) + 3.0 * bell(100.0) + 1e-12).ln()
        };
        let found = of(&[(-500.0, 0.0), (0.0, 500.0)], 5.0, &bells, &any).unwrap();
        let weights: Vec<f64> = found.peaks.iter().map(|p| p.weight).collect();
        assert_eq!(weights.len(), 2);
        assert!((weights[0] - 0.75).abs() < 0.01 && (weights[1] - 0.25).abs() < 0.01);
    }
}
