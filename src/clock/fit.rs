//! The joint fit: clock error, roll and lean of the mount from the whole vectors and the ways of the discs through the frame.
//!
//! Gauss-Newton least squares with priors on the nuisances, frames beyond four sigmas left out. Each stretch between two aims may
//! stray from the mount's roll by an angle of its own, which is eliminated from the normal equations (Schur complement); how far
//! they stray is estimated from the stretches, and where they stray far, as by hand, only the length of a vector counts. What the
//! vectors scatter beyond their stated errors is estimated too and joins these, so that likelihoods and sigmas rest on the scatter
//! the vectors really have.

use nalgebra::{Matrix2, SMatrix, SVector, Vector2};

use super::course::Course;
use super::measured::{Measured, Vectors};
use super::mount::{self, Axis, Hold};
use super::tracks::{Drift, Setup, Tracks};
use crate::domain::median;

/// Number of unknowns.
pub(super) const N: usize = 8;

/// Clock error, roll, scale, limb bias, air, limb bias of the later side over the earlier, and the two leans of the mount's axis, in
/// this order.
pub(super) type Unknowns = SVector<f64, N>;

/// Places of the unknowns.
const TAU: usize = 0;
const ROLL: usize = 1;
const SCALE: usize = 2;
const EDGE: usize = 3;
const AIRY: usize = 4;
const SIDE: usize = 5;
const LEAN: [usize; 2] = [6, 7];

/// One sigma of a lean in radians: 1.5 degrees, of a tripod levelled or a pole found by eye (our choice).
const LEAN_SIGMA: f64 = 1.5 * std::f64::consts::PI / 180.0;
/// Share of the usual refraction expected in the pictures, and its one sigma (our choice: wide enough for none).
const AIR: (f64, f64) = (0.8, 0.5);
/// Frames farther off than this many sigmas are left out.
const OUTLIER_SIGMAS: f64 = 4.0;
/// Straying of a frame within its stretch, one sigma in radians: 0.02 degrees, of lenses' distortion and refraction.
const FRAME_STRAY: f64 = 0.02 * std::f64::consts::PI / 180.0;
/// Least straying of a stretch, in radians: 0.02 degrees.
const LEAST_STRAY: f64 = 0.02 * std::f64::consts::PI / 180.0;
/// Straying that a few stretches cannot disprove, in radians: 0.1 degrees.
const USUAL_STRAY: f64 = 0.1 * std::f64::consts::PI / 180.0;
/// How many stretches' worth that expectation counts.
const USUAL_STRAY_COUNT: f64 = 2.0;
/// Straying allowed while a fit is far from its end, in radians.
const LOOSE_STRAY: f64 = 0.3;
/// A stray counts for how far strays go up to this many times their middle size.
const FAR_STRAY: f64 = 5.0;
/// Fewest vectors whose scatter is believed beyond what they state.
const LEAST_FOR_SCATTER: usize = 6;
/// Most that vectors may scatter beyond what they state, in solar radii.
const MOST_UNTOLD: f64 = 0.1;
/// Least share of their stated sigmas by which vectors are taken to scatter (our choice: about a third).
const LEAST_SHARE: f64 = 0.3;
/// One sigma of a variance told by the middle of `n` squares, over the variance and times `sqrt(n)`: the middle is 0.37 times as
/// efficient as their mean (of normal errors; worked out).
const SHARE_DOUBT: f64 = 2.3;

/// How far a stretch strays from the mount's roll.
#[derive(Clone, Debug)]
struct Stray {
    /// The angle in radians.
    turn: f64,
    /// Weight of the evidence on it, its prior included: inverse variance while the unknowns are held.
    weight: f64,
    /// How it hangs together with the unknowns.
    shared: Unknowns,
    /// By the evidence of the stretch alone, and one sigma of that.
    own: (f64, f64),
    /// Whether the drift of the discs joins in.
    drifts: bool,
}

/// A solved body.
#[derive(Clone, Debug)]
pub(super) struct Solved {
    pub(super) hold: Hold,
    unknowns: Unknowns,
    /// Covariance of the unknowns, in their own units.
    covariance: SMatrix<f64, N, N>,
    /// Per stretch of the tracks, where it has evidence.
    strays: Vec<Option<Stray>>,
    /// Straying of the roll from stretch to stretch, one sigma in radians.
    pub(super) stray: f64,
    /// Error of the vectors that their sigmas do not tell, one sigma per axis in solar radii.
    pub(super) untold: f64,
    /// By how much of their stated sigmas the vectors scatter where that is less, 1 at most.
    pub(super) share: f64,
    /// Minus twice the log likelihood, up to a constant shared by all fits of the body.
    pub(super) cost: f64,
    /// One sigma of the clock error in seconds.
    pub(super) tau_sigma_s: f64,
    /// Root mean square of the used vectors' lengths about the fit, in sigmas.
    pub(super) scatter: f64,
    /// Per vector: whether it was used.
    pub(super) used: Vec<bool>,
}

/// Where north lies in a frame, in the stored picture, anticlockwise from up.
#[derive(Clone, Copy, Debug)]
pub(super) struct North {
    pub(super) angle: f64,
    pub(super) sigma: f64,
}

impl Solved {
    /// Camera reading as UTC, minus UTC, in seconds.
    pub(super) fn tau_s(&self) -> f64 {
        self.unknowns[TAU]
    }

    /// Vectors used.
    pub(super) fn used_count(&self) -> usize {
        self.used.iter().filter(|used| **used).count()
    }

    /// How far a stretch strays from the mount's roll, in radians, where it has evidence of its own.
    pub(super) fn stray_of(&self, stretch: usize) -> Option<f64> {
        Some(self.strays.get(stretch)?.as_ref()?.turn)
    }

    /// Celestial north at the Sun in a frame whose Sun falls on `place`. `stretch` is its stretch where that has evidence; else
    /// `stray` is taken, as uncertain as strays are.
    pub(super) fn north(&self, look: &Look, course: &Course) -> North {
        let turn = look.stray.unwrap_or(0.0);
        let at = |u: &Unknowns, turn: f64| {
            north(
                u,
                self.hold,
                course,
                &Seen {
                    reading_s: look.reading_s,
                    place: look.place,
                    turn,
                },
            )
        };
        let known = look.stretch.and_then(|k| self.strays.get(k)?.as_ref());
        let turn = known.map_or(turn, |stray| stray.turn);
        let angle = at(&self.unknowns, turn);
        let mut slope = Unknowns::zeros();
        for k in [TAU, ROLL, LEAN[0], LEAN[1]] {
            let (mut more, mut less) = (self.unknowns, self.unknowns);
            more[k] += PROBE[k];
            less[k] -= PROBE[k];
            slope[k] = wrapped(at(&more, turn) - at(&less, turn)) / (2.0 * PROBE[k]);
        }
        let own = slope[ROLL];
        let stray2 = match known {
            Some(stray) => {
                slope -= stray.shared * (own / stray.weight);
                own * own / stray.weight
            }
            None => (own * self.stray).powi(2),
        };
        let shared2 = slope.dot(&(self.covariance * slope)).max(0.0);
        North {
            angle,
            sigma: (shared2 + stray2 + FRAME_STRAY * FRAME_STRAY).sqrt(),
        }
    }

    fn turn_in(&self, stretch: usize) -> f64 {
        self.stray_of(stretch).unwrap_or(0.0)
    }

    /// Moon from Sun (right, up) in solar radii as a frame should show it, `later_s` after it was taken.
    fn predicted(&self, m: &Measured, later_s: f64, course: &Course) -> Vector2<f64> {
        let seen = Seen {
            reading_s: m.reading_s + later_s,
            place: m.place,
            turn: self.turn_in(m.stretch),
        };
        predicted(&self.unknowns, self.hold, course, &seen)
    }

    /// Camera minus true time by a frame alone, less the solved one, and its one sigma, in seconds.
    pub(super) fn residual_s(&self, m: &Measured, course: &Course) -> (f64, f64) {
        let off = Vector2::new(m.right, m.up) - self.predicted(m, 0.0, course);
        let speed = (self.predicted(m, 1.0, course) - self.predicted(m, -1.0, course)) / 2.0;
        let Some(weight) = covariance(self, m, course).try_inverse() else {
            return (0.0, f64::INFINITY);
        };
        let pull = (weight * speed).dot(&speed).max(1e-300);
        (-(weight * speed).dot(&off) / pull, 1.0 / pull.sqrt())
    }
}

/// A frame whose north is asked for.
#[derive(Clone, Copy, Debug)]
pub(super) struct Look {
    /// As in [`Measured`].
    pub(super) reading_s: f64,
    /// Where the Sun falls.
    pub(super) place: Vector2<f64>,
    /// Its stretch of the tracks.
    pub(super) stretch: Option<usize>,
    /// How far its stretch is taken to stray where that has no evidence of its own, in radians.
    pub(super) stray: Option<f64>,
}

/// What a prediction is made for.
struct Seen {
    reading_s: f64,
    place: Vector2<f64>,
    /// How far the stretch strays from the mount's roll.
    turn: f64,
}

fn wrapped(angle: f64) -> f64 {
    let full = 2.0 * std::f64::consts::PI;
    (angle + std::f64::consts::PI).rem_euclid(full) - std::f64::consts::PI
}

fn north(u: &Unknowns, hold: Hold, course: &Course, seen: &Seen) -> f64 {
    let axis = hold.axis(course.pole(), (u[LEAN[0]], u[LEAN[1]]));
    let stand = course.at(seen.reading_s - u[TAU]);
    mount::north(&axis, u[ROLL] + seen.turn, &seen.place, &stand, hold.hand())
}

fn predicted(u: &Unknowns, hold: Hold, course: &Course, seen: &Seen) -> Vector2<f64> {
    let t_s = seen.reading_s - u[TAU];
    let stand = course.at(t_s);
    let (east, north_part) = stand.through_air(u[AIRY]);
    let (sin, cos) = north(u, hold, course, seen).sin_cos();
    let east = east * hold.hand();
    let shown = Vector2::new(
        -sin * north_part - cos * east,
        cos * north_part - sin * east,
    );
    let length = shown.norm();
    let grown = u[SCALE].exp()
        + if length > 1e-9 {
            (u[EDGE] + u[SIDE] * course.side(t_s)) / length
        } else {
            0.0
        };
    shown * grown
}

/// Covariance of a vector about its prediction: centres, straying roll (across), cut time stamps (along the motion).
fn covariance(solved: &Solved, m: &Measured, course: &Course) -> Matrix2<f64> {
    let p = solved.predicted(m, 0.0, course);
    let speed = solved.predicted(m, 0.5, course) - solved.predicted(m, -0.5, course);
    let across = Vector2::new(-p.y, p.x) * FRAME_STRAY;
    let along = speed * m.reading_sigma_s;
    let stated = solved.share * m.sigma;
    Matrix2::identity() * (stated * stated + solved.untold * solved.untold)
        + across * across.transpose()
        + along * along.transpose()
}

/// What a fit starts from and is held by.
pub(super) struct Setting<'a> {
    pub(super) vectors: &'a Vectors,
    pub(super) shoot: &'a [Measured],
    pub(super) tracks: &'a Tracks,
    pub(super) course: &'a Course,
    /// The clock error and its one sigma in seconds, where the vectors do not tell it.
    pub(super) clock: Option<(f64, f64)>,
}

/// Fits from a clock error found by the search.
pub(super) fn fit(setting: &Setting<'_>, tau_s: f64, hold: Hold) -> Solved {
    let mut solved = start(setting, tau_s, hold);
    for stray in [3.0, LOOSE_STRAY] {
        solved.stray = stray;
        improve(setting, &mut solved);
    }
    settle(setting, &mut solved);
    solved
}

/// Fits anew from a fit of fewer vectors.
pub(super) fn refit(setting: &Setting<'_>, from: &Solved) -> Solved {
    let mut solved = Solved {
        used: vec![true; setting.shoot.len()],
        ..from.clone()
    };
    improve(setting, &mut solved);
    settle(setting, &mut solved);
    solved
}

/// The roll by the ways of the discs through the frame alone, for a clock error and its one sigma; `None` where they do not tell.
pub(super) fn by_drift(
    tracks: &Tracks,
    course: &Course,
    clock: (f64, f64),
    mirrored: bool,
) -> Option<Solved> {
    let vectors = Vectors::none();
    let setting = Setting {
        vectors: &vectors,
        shoot: &[],
        tracks,
        course,
        clock: Some(clock),
    };
    // Only what stands still tells, and that is a tripod mostly.
    let solved = fit(&setting, clock.0, Hold::new(Axis::Zenith, mirrored));
    let told = solved.strays.iter().flatten().any(|stray| stray.drifts);
    (told && solved.unknowns.iter().all(|v| v.is_finite())).then_some(solved)
}

fn settle(setting: &Setting<'_>, solved: &mut Solved) {
    for _ in 0..6 {
        solved.stray = strayed(solved);
        improve(setting, solved);
        solved.untold = untold(setting, solved);
        solved.share = share(setting, solved);
        leave_out(setting, solved);
    }
    conclude(setting, solved);
}

fn start(setting: &Setting<'_>, tau_s: f64, hold: Hold) -> Solved {
    let shoot = setting.shoot;
    let mut solved = Solved {
        hold,
        unknowns: Unknowns::from([tau_s, 0.0, 0.0, 0.0, AIR.0, 0.0, 0.0, 0.0]),
        covariance: SMatrix::zeros(),
        strays: vec![None; setting.tracks.stretches.len()],
        stray: 3.0,
        untold: 0.0,
        share: 1.0,
        cost: f64::INFINITY,
        tau_sigma_s: f64::INFINITY,
        scatter: f64::INFINITY,
        used: vec![true; shoot.len()],
    };
    let (mut dot, mut cross) = (0.0, 0.0);
    for m in shoot {
        let p = solved.predicted(m, 0.0, setting.course);
        dot += p.x * m.right + p.y * m.up;
        cross += p.x * m.up - p.y * m.right;
    }
    solved.unknowns[ROLL] = cross.atan2(dot);
    solved
}

/// Sigmas of the nuisances: `None` where free.
fn prior_sigmas(vectors: &Vectors) -> [Option<f64>; N] {
    [
        None,
        None,
        Some(vectors.scale_sigma),
        Some(vectors.edge_sigma),
        Some(AIR.1),
        Some(vectors.side_sigma),
        Some(LEAN_SIGMA),
        Some(LEAN_SIGMA),
    ]
}

/// Means of the nuisances.
const MEANS: [f64; N] = [0.0, 0.0, 0.0, 0.0, AIR.0, 0.0, 0.0, 0.0];

/// Steps for the numerical derivatives, about a hundredth of a sigma each.
const PROBE: [f64; N] = [0.5, 1e-5, 1e-5, 1e-6, 1e-3, 1e-6, 1e-5, 1e-5];

/// Normal equations of the least squares about the present unknowns, the strays apart.
struct Normal {
    matrix: SMatrix<f64, N, N>,
    right: Unknowns,
    strays: Vec<Option<StraySum>>,
}

/// The part of one stretch in them.
#[derive(Clone, Debug, Default)]
struct StraySum {
    weight: f64,
    shared: Unknowns,
    right: f64,
    drifts: bool,
}

impl Normal {
    fn of(setting: &Setting<'_>, solved: &Solved) -> Self {
        let mut sums = Self {
            matrix: SMatrix::zeros(),
            right: Unknowns::zeros(),
            strays: vec![None; setting.tracks.stretches.len()],
        };
        for (m, _) in setting
            .shoot
            .iter()
            .zip(&solved.used)
            .filter(|(_, used)| **used)
        {
            sums.add_vector(setting, solved, m);
        }
        for stretch in 0..sums.strays.len() {
            sums.add_drift(setting, solved, stretch);
        }
        for (k, sigma) in prior_sigmas(setting.vectors).iter().enumerate() {
            if let Some(sigma) = sigma {
                let weight = 1.0 / (sigma * sigma);
                sums.matrix[(k, k)] += weight;
                sums.right[k] += weight * (MEANS[k] - solved.unknowns[k]);
            }
        }
        if let Some((tau_s, sigma_s)) = setting.clock {
            let weight = 1.0 / (sigma_s * sigma_s).max(1e-6);
            sums.matrix[(TAU, TAU)] += weight;
            sums.right[TAU] += weight * (tau_s - solved.unknowns[TAU]);
        }
        sums
    }

    fn add_vector(&mut self, setting: &Setting<'_>, solved: &Solved, m: &Measured) {
        let course = setting.course;
        let Some(weight) = covariance(solved, m, course).try_inverse() else {
            return;
        };
        let seen = Seen {
            reading_s: m.reading_s,
            place: m.place,
            turn: solved.turn_in(m.stretch),
        };
        let at = |u: &Unknowns| predicted(u, solved.hold, course, &seen);
        let mut slope = SMatrix::<f64, 2, N>::zeros();
        for k in [TAU, ROLL, AIRY, LEAN[0], LEAN[1]] {
            let (mut more, mut less) = (solved.unknowns, solved.unknowns);
            more[k] += PROBE[k];
            less[k] -= PROBE[k];
            slope.set_column(k, &((at(&more) - at(&less)) / (2.0 * PROBE[k])));
        }
        // Scale and biases only stretch the vector.
        let side = course.side(seen.reading_s - solved.unknowns[TAU]);
        let here = at(&solved.unknowns);
        let outward = here / here.norm().max(1e-9);
        let biased = solved.unknowns[EDGE] + solved.unknowns[SIDE] * side;
        slope.set_column(SCALE, &(here - outward * biased));
        slope.set_column(EDGE, &outward);
        slope.set_column(SIDE, &(outward * side));
        let off = Vector2::new(m.right, m.up) - here;
        let weighed = slope.transpose() * weight;
        self.matrix += weighed * slope;
        self.right += weighed * off;
        let turn = slope.column(ROLL).into_owned();
        let sum = self.strays[m.stretch].get_or_insert_default();
        sum.weight += turn.dot(&(weight * turn));
        sum.shared += weighed * turn;
        sum.right += turn.dot(&(weight * off));
    }

    fn add_drift(&mut self, setting: &Setting<'_>, solved: &Solved, stretch: usize) {
        // An aim that looks like a drift would draw the roll anywhere before the vectors have told it.
        if solved.stray >= LOOSE_STRAY && !setting.shoot.is_empty() {
            return;
        }
        let Some((drift, slope)) = drift_of(setting, solved, stretch) else {
            return;
        };
        let weight = drift.sigma.powi(-2);
        self.matrix += slope * slope.transpose() * weight;
        self.right += slope * (weight * drift.off);
        let sum = self.strays[stretch].get_or_insert_default();
        sum.weight += weight;
        sum.shared += slope * weight;
        sum.right += weight * drift.off;
        sum.drifts = true;
    }
}

/// A drift that disagrees with the mount by more than this many sigmas of both was no drift: an aim in between.
const NO_DRIFT_SIGMAS: f64 = 4.0;

/// What the way of a stretch through the frame says of the roll about the present unknowns, and its slope.
fn drift_of(setting: &Setting<'_>, solved: &Solved, stretch: usize) -> Option<(Drift, Unknowns)> {
    let turn = solved.turn_in(stretch);
    let at = |u: &Unknowns| {
        let setup = setup(setting, solved.hold, u);
        setting.tracks.drift(stretch, &setup, u[ROLL] + turn)
    };
    let here = at(&solved.unknowns)?;
    let most = NO_DRIFT_SIGMAS * here.sigma.hypot(solved.stray);
    if (here.off + turn).abs() > most {
        return None;
    }
    let mut slope = Unknowns::zeros();
    slope[ROLL] = 1.0;
    for k in [TAU, LEAN[0], LEAN[1]] {
        let mut more = solved.unknowns;
        more[k] += PROBE[k];
        slope[k] = wrapped(here.off - at(&more)?.off) / PROBE[k];
    }
    Some((here, slope))
}

/// Longest step of the clock error at once, in seconds: the course is straight over that.
const LONGEST_STEP_S: f64 = 300.0;

fn improve(setting: &Setting<'_>, solved: &mut Solved) {
    for _ in 0..10 {
        let mut sums = Normal::of(setting, solved);
        hold_strays(&mut sums, solved);
        for sum in sums.strays.iter().flatten() {
            sums.matrix -= sum.shared * sum.shared.transpose() / sum.weight;
            sums.right -= sum.shared * (sum.right / sum.weight);
        }
        let Some(step) = sums.matrix.cholesky().map(|c| c.solve(&sums.right)) else {
            return;
        };
        let held = (LONGEST_STEP_S / step[TAU].abs().max(1e-9)).min(1.0);
        let step = step * held;
        solved.unknowns += step;
        solved.covariance = sums.matrix.try_inverse().unwrap_or_default();
        let before: Vec<f64> = (0..sums.strays.len()).map(|k| solved.turn_in(k)).collect();
        solved.strays = sums
            .strays
            .into_iter()
            .zip(before)
            .map(|(sum, turn)| Some(stray(sum?, turn, &step, solved.stray)))
            .collect();
        if step[TAU].abs() < 1e-4 && step[ROLL].abs() < 1e-8 {
            return;
        }
    }
}

/// Holds the strays by their prior.
fn hold_strays(sums: &mut Normal, solved: &Solved) {
    let weight = solved.stray.powi(-2);
    for (k, sum) in sums.strays.iter_mut().enumerate() {
        if let Some(sum) = sum {
            sum.weight += weight;
            sum.right -= weight * solved.turn_in(k);
        }
    }
}

/// A stretch's stray after a step of the unknowns.
fn stray(sum: StraySum, turn: f64, step: &Unknowns, prior: f64) -> Stray {
    let moved = turn + (sum.right - sum.shared.dot(step)) / sum.weight;
    let held = prior.powi(-2);
    let weight = (sum.weight - held).max(1e-12);
    Stray {
        turn: moved,
        weight: sum.weight,
        shared: sum.shared,
        // The prior drew the stray towards none; without it:
        own: (moved * sum.weight / weight, weight.powf(-0.5)),
        drifts: sum.drifts,
    }
}

/// Straying of the roll by the stretches' own turns, their measuring errors taken out; a few lean on what is usual.
fn strayed(solved: &Solved) -> f64 {
    let own = || solved.strays.iter().flatten().map(|s| s.own);
    let best = own()
        .map(|(_, sigma)| sigma)
        .fold(f64::INFINITY, f64::min)
        .max(1e-9);
    // Each turn weighs as it was measured; one unknown is spent on the mean.
    let (mut weights, mut excess) = (0.0, 0.0);
    let mut sizes: Vec<f64> = own().map(|(turn, _)| turn.abs()).collect();
    let usual = median(&mut sizes).unwrap_or(0.0).max(LEAST_STRAY);
    for (turn, sigma) in own() {
        let weight = 1.0 / (1.0 + (sigma / best).powi(2) / 4.0);
        weights += weight;
        let most = FAR_STRAY * usual.hypot(sigma);
        excess += weight * ((turn * turn).min(most * most) - sigma * sigma);
    }
    let spent = (weights - 1.0).max(0.5);
    let usual = USUAL_STRAY_COUNT * USUAL_STRAY * USUAL_STRAY;
    let square = (excess.max(0.0) + usual) / (spent + USUAL_STRAY_COUNT);
    square.sqrt().clamp(LEAST_STRAY, 3.0)
}

/// Distance of a vector from its prediction in sigmas.
fn distance(setting: &Setting<'_>, solved: &Solved, m: &Measured) -> f64 {
    let off = Vector2::new(m.right, m.up) - solved.predicted(m, 0.0, setting.course);
    covariance(solved, m, setting.course)
        .try_inverse()
        .map_or(f64::INFINITY, |w| off.dot(&(w * off)).max(0.0).sqrt())
}

/// What the vectors scatter beyond their sigmas, one sigma per axis in solar radii: as much as brings the middle distance
/// to that of normal errors.
fn untold(setting: &Setting<'_>, solved: &Solved) -> f64 {
    if setting.shoot.len() < LEAST_FOR_SCATTER {
        return 0.0;
    }
    let wanted = usual_middle(free_share(solved, setting.shoot.len()));
    let stated: Vec<(Vector2<f64>, Matrix2<f64>)> = setting
        .shoot
        .iter()
        .map(|m| {
            let off = Vector2::new(m.right, m.up) - solved.predicted(m, 0.0, setting.course);
            let known = Matrix2::identity() * (solved.untold * solved.untold);
            (off, covariance(solved, m, setting.course) - known)
        })
        .collect();
    let excess = |untold: f64| {
        let more = Matrix2::identity() * (untold * untold);
        let square = |(off, spread): &(Vector2<f64>, Matrix2<f64>)| {
            let inverse = (spread + more).try_inverse();
            inverse.map_or(f64::INFINITY, |w| off.dot(&(w * off)))
        };
        let mut squares: Vec<f64> = stated.iter().map(square).collect();
        squares.sort_by(f64::total_cmp);
        squares[squares.len() / 2] - wanted
    };
    let (mut low, mut high) = (0.0, MOST_UNTOLD);
    if excess(low) <= 0.0 {
        return 0.0;
    }
    for _ in 0..12 {
        let middle = 0.5 * (low + high);
        if excess(middle) > 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}

/// By how much of their stated sigmas the vectors scatter along the line of centres, where the discs are evened and that is less:
/// what is common to all frames is in the stated sigmas too.
fn share(setting: &Setting<'_>, solved: &Solved) -> f64 {
    let count = setting.shoot.len();
    if !setting.vectors.levelled || count < LEAST_FOR_SCATTER {
        return 1.0;
    }
    let mut squares: Vec<f64> = setting
        .shoot
        .iter()
        .map(|m| {
            let p = solved.predicted(m, 0.0, setting.course);
            let along = p.dot(&(Vector2::new(m.right, m.up) - p)) / p.norm().max(1e-9);
            (along / m.sigma).powi(2)
        })
        .collect();
    let middle = median(&mut squares).unwrap_or(f64::INFINITY);
    let count = count as f64;
    let free = (1.0 - ALONG_SPENT / count).max(0.5);
    let square = middle / usual_middle(free) * (1.0 + SHARE_DOUBT / count.sqrt());
    square.sqrt().clamp(LEAST_SHARE, 1.0)
}

/// Unknowns that stretch the vectors or move them along: clock error, biases and scale, which hang together (our choice).
const ALONG_SPENT: f64 = 3.0;

/// Values of a vector, of its two, that are left free once strays and unknowns have taken theirs.
fn free_share(solved: &Solved, vectors: usize) -> f64 {
    let taken = |s: &Stray| 1.0 - 1.0 / (s.weight * solved.stray * solved.stray);
    let strays: f64 = solved.strays.iter().flatten().map(taken).sum();
    // Clock error and roll are always free, lean, scale and biases in part.
    let spent = 3.0 + strays.max(0.0);
    (2.0 - spent / vectors as f64).clamp(0.5, 2.0)
}

/// Middle of chi-squared with this many degrees of freedom (E. B. Wilson, M. M. Hilferty 1931, "The distribution of chi-square",
/// PNAS 17, 684; from memory).
fn usual_middle(free: f64) -> f64 {
    free * (1.0 - 2.0 / (9.0 * free)).powi(3)
}

/// Leaves out vectors beyond [`OUTLIER_SIGMAS`] of the fit's own scatter, at most four in ten.
fn leave_out(setting: &Setting<'_>, solved: &mut Solved) {
    let distances: Vec<f64> = setting
        .shoot
        .iter()
        .map(|m| distance(setting, solved, m))
        .collect();
    if distances.is_empty() {
        return;
    }
    let mut sorted = distances.clone();
    sorted.sort_by(f64::total_cmp);
    let keep = (sorted.len() * 6).div_ceil(10);
    // Middle distance of two-dimensional normal errors: sqrt(2 ln 2) = 1.177.
    let scatter = (sorted[sorted.len() / 2] / 1.177).max(1.0);
    let limit = (OUTLIER_SIGMAS * scatter).max(sorted[keep - 1]);
    solved.used = distances.iter().map(|d| *d <= limit).collect();
}

/// Cost and sigmas of the finished fit; where the vectors scatter more than they should the sigmas grow with them.
fn conclude(setting: &Setting<'_>, solved: &mut Solved) {
    let mut cost = 0.0;
    let (mut radial, mut count) = (0.0, 0.0);
    for (m, used) in setting.shoot.iter().zip(&solved.used) {
        let spread = covariance(solved, m, setting.course);
        let d = distance(setting, solved, m).min(OUTLIER_SIGMAS);
        cost += d * d + (spread.determinant() / m.sigma.powi(4)).max(1e-300).ln();
        if *used {
            let p = solved.predicted(m, 0.0, setting.course);
            let outward = p / p.norm().max(1e-9);
            let off = outward.dot(&(Vector2::new(m.right, m.up) - p));
            radial += off * off / outward.dot(&(spread * outward));
            count += 1.0;
        }
    }
    for (k, sigma) in prior_sigmas(setting.vectors).iter().enumerate() {
        cost += sigma.map_or(0.0, |s| ((solved.unknowns[k] - MEANS[k]) / s).powi(2));
    }
    solved.cost = cost + cost_of_strays(setting, solved);
    let square = radial / f64::max(count - 3.0, 1.0);
    solved.scatter = square.sqrt();
    solved.covariance *= square.max(1.0);
    solved.tau_sigma_s = solved.covariance[(TAU, TAU)].max(0.0).sqrt();
    if solved.tau_sigma_s == 0.0 {
        solved.tau_sigma_s = f64::INFINITY;
    }
}

/// The strays' part in the cost, and that of the drifts.
fn cost_of_strays(setting: &Setting<'_>, solved: &Solved) -> f64 {
    let of_one = |stray: &Stray| {
        (stray.turn / solved.stray).powi(2) + (stray.weight * solved.stray * solved.stray).ln()
    };
    let strays: f64 = solved.strays.iter().flatten().map(of_one).sum();
    let drifts: f64 = (0..solved.strays.len())
        .filter(|k| setting.tracks.stretches[*k].len() > 1)
        .filter_map(|k| {
            let most = OUTLIER_SIGMAS * OUTLIER_SIGMAS;
            let told = solved.strays[k].as_ref().is_some_and(|s| s.drifts);
            if told {
                let (drift, _) = drift_of(setting, solved, k)?;
                Some((drift.off / drift.sigma).powi(2).min(most))
            } else {
                // A drift that does not fit counts as one that is off by as much as any may be.
                drift_any(setting, solved, k).map(|_| most)
            }
        })
        .sum();
    strays + drifts
}

/// The drift of a stretch whether it fits or not.
fn drift_any(setting: &Setting<'_>, solved: &Solved, stretch: usize) -> Option<Drift> {
    let u = &solved.unknowns;
    let roll = u[ROLL] + solved.turn_in(stretch);
    setting
        .tracks
        .drift(stretch, &setup(setting, solved.hold, u), roll)
}

fn setup<'a>(setting: &Setting<'a>, hold: Hold, u: &Unknowns) -> Setup<'a> {
    Setup {
        course: setting.course,
        hold,
        axis: hold.axis(setting.course.pole(), (u[LEAN[0]], u[LEAN[1]])),
        tau_s: u[TAU],
    }
}
