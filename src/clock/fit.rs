//! The joint fit: clock error and roll from the whole vectors.
//!
//! Gauss-Newton least squares on the vectors with priors on the nuisances, frames beyond four sigmas left out. The roll
//! may stray from frame to frame; how far is estimated from the frames, and where it strays far only the length of the
//! vector counts.

use nalgebra::{Matrix2, SMatrix, SVector, Vector2};

use super::course::{Course, Stand};
use super::measured::{Measured, Vectors};

/// Number of unknowns.
const N: usize = 7;

/// Clock error, roll, drift of the roll, scale, limb bias, air, and limb bias of the later side over the earlier, in this
/// order.
type Unknowns = SVector<f64, N>;

/// One sigma of a drift of the roll in radians a second: 0.3 degrees an hour, of a mount set up by eye (our choice).
const DRIFT_SIGMA: f64 = 0.3 * std::f64::consts::PI / 180.0 / 3600.0;
/// Share of the usual refraction expected in the pictures, and its one sigma (our choice: wide enough for none).
const AIR: (f64, f64) = (0.8, 0.5);
/// Frames farther off than this many sigmas are left out.
const OUTLIER_SIGMAS: f64 = 4.0;
/// Least straying of the roll, in radians: 0.02 degrees.
const LEAST_STRAY: f64 = 0.02 * std::f64::consts::PI / 180.0;
/// Straying of the roll that a few frames cannot disprove, in radians: 0.1 degrees.
const USUAL_STRAY: f64 = 0.1 * std::f64::consts::PI / 180.0;
/// How many frames' worth that expectation counts.
const USUAL_STRAY_FRAMES: f64 = 2.0;

/// How the camera was held.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Hold {
    /// Whether it kept its roll towards the zenith (a tripod) rather than towards celestial north (a tracker).
    pub(super) tripod: bool,
    /// Whether the stored picture is mirrored.
    pub(super) mirrored: bool,
}

impl Hold {
    /// All ways.
    pub(super) const ALL: [Self; 4] = [
        Self::new(false, false),
        Self::new(true, false),
        Self::new(false, true),
        Self::new(true, true),
    ];

    const fn new(tripod: bool, mirrored: bool) -> Self {
        Self { tripod, mirrored }
    }

    fn hand(self) -> f64 {
        if self.mirrored { -1.0 } else { 1.0 }
    }

    /// Turn of north, anticlockwise from picture up in radians, that the sky itself makes.
    fn sky_turn(self, stand: &Stand) -> f64 {
        if self.tripod {
            -self.hand() * stand.q_rad()
        } else {
            0.0
        }
    }
}

/// A solved body.
#[derive(Clone, Debug)]
pub(super) struct Solved {
    pub(super) hold: Hold,
    unknowns: Unknowns,
    /// Instant, in seconds after the course's origin, at which the roll has its mean.
    middle_s: f64,
    /// Straying of the roll from frame to frame, one sigma in radians.
    pub(super) stray: f64,
    /// Minus twice the log likelihood, up to a constant shared by all fits of the body.
    pub(super) cost: f64,
    /// One sigma of the clock error in seconds.
    pub(super) tau_sigma_s: f64,
    /// One sigma of the mean roll in radians.
    pub(super) roll_sigma: f64,
    /// Root mean square of the used vectors' lengths about the fit, in sigmas.
    pub(super) scatter: f64,
    /// Per vector: whether it was used.
    pub(super) used: Vec<bool>,
}

impl Solved {
    /// Camera reading as UTC, minus UTC, in seconds.
    pub(super) fn tau_s(&self) -> f64 {
        self.unknowns[0]
    }

    /// Vectors used.
    pub(super) fn used_count(&self) -> usize {
        self.used.iter().filter(|used| **used).count()
    }

    /// Angle of celestial north in the stored picture at an instant, anticlockwise from its up, radians, straying left out.
    pub(super) fn north_rad(&self, t_s: f64, course: &Course) -> f64 {
        north(
            &self.unknowns,
            self.hold,
            t_s - self.middle_s,
            &course.at(t_s),
        )
    }

    /// Moon from Sun (right, up) in solar radii as a frame should show it.
    fn predicted(&self, reading_s: f64, course: &Course) -> Vector2<f64> {
        predicted(&self.unknowns, self.hold, self.middle_s, reading_s, course)
    }

    /// How much the roll of a frame strays from the mean by its own vector, and one sigma of that, in radians.
    pub(super) fn stray_of(&self, m: &Measured, course: &Course) -> (f64, f64) {
        let p = self.predicted(m.reading_s, course);
        let v = Vector2::new(m.right, m.up);
        let turn = (p.x * v.y - p.y * v.x).atan2(p.dot(&v));
        (turn, m.sigma / p.norm().max(1e-6))
    }

    /// Camera minus true time by a frame alone, less the solved one, and its one sigma, in seconds.
    pub(super) fn residual_s(&self, m: &Measured, course: &Course) -> (f64, f64) {
        let off = Vector2::new(m.right, m.up) - self.predicted(m.reading_s, course);
        let speed = (self.predicted(m.reading_s + 1.0, course)
            - self.predicted(m.reading_s - 1.0, course))
            / 2.0;
        let Some(weight) = covariance(self, m, course).try_inverse() else {
            return (0.0, f64::INFINITY);
        };
        let pull = (weight * speed).dot(&speed).max(1e-300);
        (-(weight * speed).dot(&off) / pull, 1.0 / pull.sqrt())
    }
}

fn north(unknowns: &Unknowns, hold: Hold, since_middle_s: f64, stand: &Stand) -> f64 {
    unknowns[1] + unknowns[2] * since_middle_s + hold.sky_turn(stand)
}

fn predicted(
    unknowns: &Unknowns,
    hold: Hold,
    middle_s: f64,
    reading_s: f64,
    course: &Course,
) -> Vector2<f64> {
    let t_s = reading_s - unknowns[0];
    let stand = course.at(t_s);
    let (east, north_part) = stand.through_air(unknowns[5]);
    let (sin, cos) = north(unknowns, hold, t_s - middle_s, &stand).sin_cos();
    let east = east * hold.hand();
    let seen = Vector2::new(
        -sin * north_part - cos * east,
        cos * north_part - sin * east,
    );
    let length = seen.norm();
    let grown = unknowns[3].exp()
        + if length > 1e-9 {
            (unknowns[4] + unknowns[6] * course.side(t_s)) / length
        } else {
            0.0
        };
    seen * grown
}

/// Covariance of a vector about its prediction: centres, straying roll (across), cut time stamps (along the motion).
fn covariance(solved: &Solved, m: &Measured, course: &Course) -> Matrix2<f64> {
    let p = solved.predicted(m.reading_s, course);
    let speed =
        solved.predicted(m.reading_s + 0.5, course) - solved.predicted(m.reading_s - 0.5, course);
    let across = Vector2::new(-p.y, p.x) * solved.stray;
    let along = speed * m.reading_sigma_s;
    Matrix2::identity() * (m.sigma * m.sigma)
        + across * across.transpose()
        + along * along.transpose()
}

/// What a fit starts from and is held by.
pub(super) struct Setting<'a> {
    pub(super) vectors: &'a Vectors,
    pub(super) shoot: &'a [Measured],
    pub(super) course: &'a Course,
}

/// Fits from a clock error found by the search.
pub(super) fn fit(setting: &Setting<'_>, tau_s: f64, hold: Hold) -> Solved {
    let mut solved = start(setting, tau_s, hold);
    for stray in [3.0, 0.3] {
        solved.stray = stray;
        improve(setting, &mut solved);
    }
    for _ in 0..6 {
        solved.stray = strayed(setting, &solved);
        improve(setting, &mut solved);
        leave_out(setting, &mut solved);
    }
    conclude(setting, &mut solved);
    solved
}

fn start(setting: &Setting<'_>, tau_s: f64, hold: Hold) -> Solved {
    let shoot = setting.shoot;
    let mean =
        |f: &dyn Fn(&Measured) -> f64| shoot.iter().map(f).sum::<f64>() / shoot.len().max(1) as f64;
    let mut solved = Solved {
        hold,
        unknowns: Unknowns::from([tau_s, 0.0, 0.0, 0.0, 0.0, AIR.0, 0.0]),
        middle_s: mean(&|m| m.reading_s) - tau_s,
        stray: 3.0,
        cost: f64::INFINITY,
        tau_sigma_s: f64::INFINITY,
        roll_sigma: f64::INFINITY,
        scatter: f64::INFINITY,
        used: vec![true; shoot.len()],
    };
    let (mut dot, mut cross) = (0.0, 0.0);
    for m in shoot {
        let p = solved.predicted(m.reading_s, setting.course);
        dot += p.x * m.right + p.y * m.up;
        cross += p.x * m.up - p.y * m.right;
    }
    solved.unknowns[1] = cross.atan2(dot);
    solved
}

/// Sigmas of the nuisances: `None` where free.
fn prior_sigmas(vectors: &Vectors) -> [Option<f64>; N] {
    [
        None,
        None,
        Some(DRIFT_SIGMA),
        Some(vectors.scale_sigma),
        Some(vectors.edge_sigma),
        Some(AIR.1),
        Some(vectors.side_sigma),
    ]
}

/// Steps for the numerical derivatives, about a hundredth of a sigma each.
const PROBE: [f64; N] = [0.5, 1e-5, 1e-10, 1e-5, 1e-6, 1e-3, 1e-6];

/// Normal matrix and right side of the least squares about the present unknowns.
fn normal(setting: &Setting<'_>, solved: &Solved) -> (SMatrix<f64, N, N>, Unknowns) {
    let mut matrix = SMatrix::<f64, N, N>::zeros();
    let mut right = Unknowns::zeros();
    for (m, _) in setting
        .shoot
        .iter()
        .zip(&solved.used)
        .filter(|(_, used)| **used)
    {
        let Some(weight) = covariance(solved, m, setting.course).try_inverse() else {
            continue;
        };
        let at =
            |u: &Unknowns| predicted(u, solved.hold, solved.middle_s, m.reading_s, setting.course);
        let here = at(&solved.unknowns);
        let mut slope = SMatrix::<f64, 2, N>::zeros();
        for (k, probe) in PROBE.iter().enumerate() {
            let (mut more, mut less) = (solved.unknowns, solved.unknowns);
            more[k] += probe;
            less[k] -= probe;
            slope.set_column(k, &((at(&more) - at(&less)) / (2.0 * probe)));
        }
        matrix += slope.transpose() * weight * slope;
        right += slope.transpose() * weight * (Vector2::new(m.right, m.up) - here);
    }
    let means = [0.0, 0.0, 0.0, 0.0, 0.0, AIR.0, 0.0];
    for (k, sigma) in prior_sigmas(setting.vectors).iter().enumerate() {
        if let Some(sigma) = sigma {
            let weight = 1.0 / (sigma * sigma);
            matrix[(k, k)] += weight;
            right[k] += weight * (means[k] - solved.unknowns[k]);
        }
    }
    (matrix, right)
}

/// Longest step of the clock error at once, in seconds: the course is straight over that.
const LONGEST_STEP_S: f64 = 300.0;

fn improve(setting: &Setting<'_>, solved: &mut Solved) {
    for _ in 0..10 {
        let (matrix, right) = normal(setting, solved);
        let Some(step) = matrix.cholesky().map(|c| c.solve(&right)) else {
            return;
        };
        let held = (LONGEST_STEP_S / step[0].abs().max(1e-9)).min(1.0);
        solved.unknowns += step * held;
        if step[0].abs() < 1e-4 && step[1].abs() < 1e-8 {
            return;
        }
    }
}

/// Straying of the roll by the frames' own turns, their measuring errors taken out; a few frames lean on what is usual.
fn strayed(setting: &Setting<'_>, solved: &Solved) -> f64 {
    let turns: Vec<(f64, f64)> = setting
        .shoot
        .iter()
        .zip(&solved.used)
        .filter(|(_, used)| **used)
        .map(|(m, _)| solved.stray_of(m, setting.course))
        .collect();
    // Each turn weighs as it was measured; one unknown is spent on the mean.
    let (mut weights, mut excess) = (0.0, 0.0);
    let best = turns
        .iter()
        .map(|t| t.1)
        .fold(f64::INFINITY, f64::min)
        .max(1e-9);
    for (turn, sigma) in &turns {
        let weight = 1.0 / (1.0 + (sigma / best).powi(2) / 4.0);
        weights += weight;
        excess += weight * (turn * turn - sigma * sigma);
    }
    let spent = (weights - 1.0).max(0.5);
    let usual = USUAL_STRAY_FRAMES * USUAL_STRAY * USUAL_STRAY;
    let square = (excess.max(0.0) + usual) / (spent + USUAL_STRAY_FRAMES);
    square.sqrt().clamp(LEAST_STRAY, 3.0)
}

/// Distance of a vector from its prediction in sigmas.
fn distance(setting: &Setting<'_>, solved: &Solved, m: &Measured) -> f64 {
    let off = Vector2::new(m.right, m.up) - solved.predicted(m.reading_s, setting.course);
    covariance(solved, m, setting.course)
        .try_inverse()
        .map_or(f64::INFINITY, |w| off.dot(&(w * off)).max(0.0).sqrt())
}

/// Leaves out vectors beyond [`OUTLIER_SIGMAS`] of the fit's own scatter, at most four in ten.
fn leave_out(setting: &Setting<'_>, solved: &mut Solved) {
    let distances: Vec<f64> = setting
        .shoot
        .iter()
        .map(|m| distance(setting, solved, m))
        .collect();
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
            let p = solved.predicted(m.reading_s, setting.course);
            let outward = p / p.norm().max(1e-9);
            let off = outward.dot(&(Vector2::new(m.right, m.up) - p));
            radial += off * off / outward.dot(&(spread * outward));
            count += 1.0;
        }
    }
    let means = [0.0, 0.0, 0.0, 0.0, 0.0, AIR.0, 0.0];
    for (k, sigma) in prior_sigmas(setting.vectors).iter().enumerate() {
        cost += sigma.map_or(0.0, |s| ((solved.unknowns[k] - means[k]) / s).powi(2));
    }
    solved.cost = cost;
    let square = radial / f64::max(count - 3.0, 1.0);
    solved.scatter = square.sqrt();
    let grown = square.max(1.0);
    if let Some(c) = normal(setting, solved).0.try_inverse() {
        solved.tau_sigma_s = (c[(0, 0)].max(0.0) * grown).sqrt();
        solved.roll_sigma = (c[(1, 1)].max(0.0) * grown).sqrt();
    }
}
