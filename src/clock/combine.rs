//! Brings belief and all kinds of evidence together.

use super::belief;
use super::chance::{self, Sky};
use super::gps::GpsBound;
use super::kind::{Shows, Witness};
use super::posterior::{self, Posterior};
use crate::domain::ClockEvidence;

/// A clock error that many frames gave together: by their vectors, or by the darkening of the sky.
#[derive(Clone, Copy, Debug)]
pub(super) struct Joint {
    /// Camera reading as UTC, minus UTC, in seconds.
    pub(super) tau_s: f64,
    /// One sigma of it in seconds.
    pub(super) sigma_s: f64,
    /// Log of the chance that they are all wrong.
    pub(super) doubt_log: f64,
}

impl Joint {
    fn log(&self, tau_s: f64, step_s: f64) -> f64 {
        let sigma_s = self.sigma_s.hypot(step_s / 12f64.sqrt());
        let bell = -0.5 * ((tau_s - self.tau_s) / sigma_s).powi(2) + (self.sigma_s / sigma_s).ln();
        // The doubt does not care how far off: a sum of two chances.
        let top = bell.max(self.doubt_log);
        top + ((bell - top).exp() + (self.doubt_log - top).exp()).ln()
    }
}

/// Log of the chance that one vector of a joint fit is wrong (our choice).
pub(super) const DOUBT_OF_ONE: f64 = -4.0;

/// Most witnesses of one kind that are heard: neighbours say the same again.
const MOST_OF_A_KIND: usize = 40;

/// The first and the last of a kind are always heard.
const ENDS: usize = 4;

/// Clock errors this long on either side of the camera's word are looked at, in seconds: other zones.
const ZONES_S: f64 = 15.0 * 3600.0;

/// Frames farther than this outside C1 to C4, in seconds, show no eclipse.
const MARGIN_S: f64 = 600.0;

/// Longest of all spans together, in seconds.
const LONGEST_S: f64 = 6.0 * 86_400.0;

/// All evidence of one body.
pub(super) struct Evidence {
    pub(super) witnesses: Vec<Witness>,
    pub(super) gps: Option<GpsBound>,
    pub(super) joint: Option<Joint>,
    /// What the camera's clock was read in: local minus UTC, in seconds.
    pub(super) zone_s: i32,
    /// Seconds after the course's origin of C1 and of C4.
    pub(super) eclipse_s: (f64, f64),
}

impl Evidence {
    /// Log of belief times evidence at a clock error, smoothed over a step.
    pub(super) fn log(&self, tau_s: f64, step_s: f64, sky: &Sky<'_>) -> f64 {
        self.belief(tau_s) + self.log_of_pictures(tau_s, step_s, sky)
    }

    fn belief(&self, tau_s: f64) -> f64 {
        belief::log_density(tau_s - f64::from(self.zone_s), self.zone_s)
    }

    /// The most that the single frames can add to [`Evidence::log`].
    pub(super) fn most_of_witnesses(&self) -> f64 {
        self.witnesses.iter().map(chance::most).sum()
    }

    /// What they add to: belief and what many frames say together.
    pub(super) fn log_beside_witnesses(&self, tau_s: f64, step_s: f64) -> f64 {
        self.belief(tau_s) + self.log_of_many(tau_s, step_s)
    }

    /// What many frames say together.
    pub(super) fn log_of_many(&self, tau_s: f64, step_s: f64) -> f64 {
        let joint = self.joint.map_or(0.0, |joint| joint.log(tau_s, step_s));
        joint + self.gps.map_or(0.0, |gps| gps.log(tau_s))
    }

    /// [`Evidence::log`] without the belief.
    pub(super) fn log_of_pictures(&self, tau_s: f64, step_s: f64, sky: &Sky<'_>) -> f64 {
        let witnesses: f64 = self
            .witnesses
            .iter()
            .map(|w| chance::log(w, w.reading_s - tau_s, step_s, sky))
            .sum();
        witnesses + self.log_of_many(tau_s, step_s)
    }

    /// Minus twice the log of how likely an error known to `sigma_s` is, up to a constant: at its best within two sigmas.
    pub(super) fn cost(&self, tau_s: f64, sigma_s: f64, sky: &Sky<'_>) -> f64 {
        let near = [-2.0, -1.0, 0.0, 1.0, 2.0].map(|k| self.log(tau_s + k * sigma_s, sigma_s, sky));
        -2.0 * near.into_iter().fold(f64::NEG_INFINITY, f64::max)
    }

    /// Whether there is anything that tells the time of the eclipse or of the day.
    pub(super) fn tells(&self) -> bool {
        self.joint.is_some() || self.gps.is_some() || self.witnesses.iter().any(tells)
    }

    /// Where the error can lie.
    pub(super) fn spans(&self) -> Vec<(f64, f64)> {
        let word_s = f64::from(self.zone_s);
        let (c1_s, c4_s) = self.eclipse_s;
        let mut spans: Vec<(f64, f64)> = self
            .telling_shoot()
            .iter()
            .map(|reading_s| (reading_s - c4_s - MARGIN_S, reading_s - c1_s + MARGIN_S))
            .collect();
        spans.push((word_s - ZONES_S, word_s + ZONES_S));
        spans.extend(self.joint.map(|joint| {
            let reach_s = 8.0 * joint.sigma_s + 30.0;
            (joint.tau_s - reach_s, joint.tau_s + reach_s)
        }));
        spans.extend(
            self.gps
                .map(|gps| (gps.most_s() - 3600.0, gps.most_s() + 10.0)),
        );
        spans
    }

    /// Readings of the frames that show an eclipse; of the shoot that has most of them where they are spread over weeks.
    fn telling_shoot(&self) -> Vec<f64> {
        /// A frame farther than this from the next one, in seconds, is of another shoot.
        const APART_S: f64 = 6.0 * 3600.0;
        let mut readings: Vec<f64> = self
            .witnesses
            .iter()
            .filter(|w| tells(w))
            .map(|w| w.reading_s)
            .collect();
        readings.sort_by(f64::total_cmp);
        let (c1_s, c4_s) = self.eclipse_s;
        if (c4_s - c1_s + 2.0 * MARGIN_S) * (readings.len() as f64) < LONGEST_S {
            return readings;
        }
        readings
            .chunk_by(|a, b| b - a <= APART_S)
            .max_by_key(|shoot| shoot.len())
            .map(<[f64]>::to_vec)
            .unwrap_or_default()
    }

    /// The narrowest feature of the evidence in seconds.
    pub(super) fn sharp_s(&self) -> f64 {
        self.joint.map_or(2.0, |joint| joint.sigma_s)
    }

    /// What is known of the error once all is weighed.
    pub(super) fn posterior(&self, sky: &Sky<'_>) -> Option<Posterior> {
        let log = |tau_s: f64, step_s: f64| self.log(tau_s, step_s, sky);
        let witnesses = self.most_of_witnesses();
        let most = |tau_s: f64, step_s: f64| self.log_beside_witnesses(tau_s, step_s) + witnesses;
        posterior::of(&self.spans(), self.sharp_s(), &log, &most)
    }

    /// What a clock error rests on, best first.
    pub(super) fn named(
        &self,
        against: &[usize],
        joint: Option<ClockEvidence>,
    ) -> Vec<ClockEvidence> {
        let count = |kind: &dyn Fn(&Shows) -> bool| {
            let speaks = |w: &&Witness| kind(&w.shows) && !against.contains(&w.frame);
            self.witnesses.iter().filter(speaks).count() as u32
        };
        let crescents = count(&|s| matches!(s, Shows::Crescent { .. }));
        let totality = count(&|s| matches!(s, Shows::Corona | Shows::Ring | Shows::MoonsLimb));
        let dusks = count(&|s| matches!(s, Shows::Dusk));
        let mut out: Vec<ClockEvidence> = joint.into_iter().collect();
        out.extend(
            (crescents > 0 && out.is_empty())
                .then_some(ClockEvidence::Partials { frames: crescents }),
        );
        out.extend((totality > 0).then_some(ClockEvidence::Contacts { frames: totality }));
        out.extend((dusks > 0).then_some(ClockEvidence::Sky { frames: dusks }));
        out.extend(
            self.gps
                .map(|gps| ClockEvidence::Gps { frames: gps.frames }),
        );
        out
    }
}

/// The frames whose look cannot be reconciled with a clock error known to `sigma_s`: those of totality far from it. A crescent
/// of another time is sooner a fit that went astray than a stamp that did.
pub(super) fn contradicted(
    witnesses: &[Witness],
    tau_s: f64,
    sigma_s: f64,
    sky: &Sky<'_>,
) -> Vec<usize> {
    let against = |w: &&Witness| {
        let at = |k: f64| chance::log(w, w.reading_s - tau_s + k * sigma_s, sigma_s, sky);
        let near = [-2.0, -1.0, 0.0, 1.0, 2.0].map(at);
        let here = near.into_iter().fold(f64::NEG_INFINITY, f64::max);
        let of_totality = matches!(w.shows, Shows::Corona | Shows::Ring | Shows::MoonsLimb);
        of_totality && here < w.doubt.ln() + 0.5
    };
    witnesses.iter().filter(against).map(|w| w.frame).collect()
}

/// Whether a witness tells the time of the eclipse: the whole Sun and daylight only say when it was not.
fn tells(witness: &Witness) -> bool {
    matches!(
        witness.shows,
        Shows::Crescent { .. } | Shows::Corona | Shows::Ring | Shows::MoonsLimb | Shows::Dusk
    )
}

/// The witnesses that are heard: of each kind the first and the last, and some in between.
pub(super) fn heard(mut all: Vec<Witness>) -> Vec<Witness> {
    all.sort_by(|a, b| a.reading_s.total_cmp(&b.reading_s));
    let mut out = Vec::new();
    let rank = |shows: &Shows| match shows {
        Shows::Crescent { .. } => 0,
        Shows::Whole => 1,
        Shows::SomeSun { .. } => 2,
        Shows::Corona => 3,
        Shows::Ring => 4,
        Shows::MoonsLimb => 5,
        Shows::Day => 6,
        Shows::Dusk => 7,
    };
    for kind in 0..8 {
        let own: Vec<Witness> = all
            .iter()
            .copied()
            .filter(|w| rank(&w.shows) == kind)
            .collect();
        let (count, every) = (own.len(), own.len().div_ceil(MOST_OF_A_KIND).max(1));
        let kept = |n: usize| n < ENDS || n + ENDS >= count || n.is_multiple_of(every);
        out.extend(
            own.into_iter()
                .enumerate()
                .filter(|(n, _)| kept(*n))
                .map(|(_, w)| w),
        );
    }
    out
}
